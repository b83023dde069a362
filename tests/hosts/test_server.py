"""The server as adapters meet it: the protocol, several programs at once, its start, its end and what it leaves."""

import concurrent.futures
import json
import math
import signal
import socket
import stat
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from drenchbook import __version__
from drenchbook.hosts import server_batch, state_folder
from drenchbook.hosts.state_folder import RunningServer
from drenchbook.site_file import read_site_file
from drenchbook.site_sheets import full_grids
from drenchbook.site_tables import TABLES
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS
from tests.hosts.live_server import COMMAND, environment, running

SAMPLE = Path(__file__).parents[2] / "samples" / "laboratory.toml"
SITE_FUNCTIONS = [name for name in FUNCTION_BY_NAME if FUNCTION_BY_NAME[name].gives == "table"]


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    with running(tmp_path_factory.mktemp("state")) as live:
        yield live


@pytest.fixture(scope="module")
def tables():
    """The sample site as an adapter hands it over: a list of ranges, blanks null, dates as dates."""
    grids = full_grids(read_site_file(SAMPLE).site)
    return [[[as_json(cell) for cell in row] for row in grids[table.key]] for table in TABLES]


def as_json(cell):
    return {"date": cell.isoformat()} if hasattr(cell, "isoformat") else cell


def column_of(table, name):
    """The place of a column in a table."""
    return next(i for i, c in enumerate(next(t for t in TABLES if t.key == table).columns) if c.name == name)


def said(server, name, *given):
    return server.ask((name, given))[0]


# --- the protocol -----------------------------------------------------------------------------------------------------


def test_health_needs_no_token_and_says_the_version(server):
    status, headers, body = server.request("GET", "/v1/health", headers={})
    assert (status, json.loads(body)) == (
        200,
        {"program": "Drenchbook", "version": __version__, "functions": len(FUNCTIONS)},
    )
    assert headers["content-type"] == "application/json"


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if f.examples], ids=lambda f: f.name)
def test_every_example_has_the_digits_of_the_registry(server, function):
    for example in function.examples:
        assert said(server, function.name, *example.cells) == {"value": function(*example.cells)}


def test_answers_come_in_order_and_a_bad_call_leaves_the_others_alone(server):
    good = ("DRENCH_ELEVATION_LOSS", [10])
    answers = server.ask(good, ("DRENCH_PIPE_VELOCITY", [-2, "copper L", "1"]), ("DRENCH_NONE", []), good)
    assert answers[0] == answers[3] == {"value": FUNCTION_BY_NAME["DRENCH_ELEVATION_LOSS"](10)}
    assert answers[1] == {"error": "#VALUE!", "message": "flow = -2 gpm: must be zero or more"}
    assert answers[2]["error"] == "#NAME?"
    assert "DRENCH_NONE is no function" in answers[2]["message"]


def test_the_version_stands_in_every_answer(server):
    _, _, body = server.request("POST", "/v1/batch", '{"calls": []}')
    assert json.loads(body) == {"version": __version__, "answers": []}


@pytest.mark.parametrize("name", ["DRENCH.ELEVATION_LOSS", "_xldudf_DRENCH_ELEVATION_LOSS", "drench_elevation_loss"])
def test_every_spelling_of_a_name_is_understood(server, name):
    assert said(server, name, 0) == {"value": 0.0}


@pytest.mark.parametrize("blank", [None, "", "  "])
def test_a_blank_is_missing_and_never_zero(server, blank):
    told = said(server, "DRENCH_ELEVATION_LOSS", blank)
    assert told["error"] == "#VALUE!"
    assert told["message"].startswith("rise = ")
    assert "value" not in told
    assert said(server, "DRENCH_ADEQUACY", blank, 20, "none") == {"value": "UNKNOWN"}


def test_one_is_not_true_even_right_after_it(server):
    """1 and TRUE are equal in Python; an answer remembered for one must not be given for the other."""
    assert said(server, "DRENCH_ADEQUACY", 1, 0, 2) == {"value": "OK"}
    assert said(server, "DRENCH_ADEQUACY", True, 0, 2) == {"value": "UNKNOWN"}
    assert said(server, "DRENCH_ADEQUACY", 1, 0, 2) == {"value": "OK"}


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ("2,5", 'rise = "2,5" ft: is text, not a number'),
        (True, "rise = TRUE: is a truth value"),
        ({"date": "2026-05-04"}, "is a date, not a number"),
        ({"date": "4 May"}, "must be a number, text, true, false, null, rows of cells"),
        ({"sum": 1}, "must be a number, text, true, false, null, rows of cells"),
        ([[1, 2]], "must be one number, not a range"),
        (10**400, "must be a finite number"),
        (-(10**400), "must be a finite number"),
    ],
    ids=str,
)
def test_what_is_no_number_is_refused_with_a_sentence(server, given, sentence):
    told = said(server, "DRENCH_ELEVATION_LOSS", given)
    assert told["error"] == "#VALUE!"
    assert sentence in told["message"]


def test_a_number_too_large_for_a_float_is_refused(server):
    _, _, body = server.request(
        "POST", "/v1/batch", '{"calls":[{"function":"DRENCH_ELEVATION_LOSS","arguments":[1e999]}]}'
    )
    assert "must be a finite number" in json.loads(body)["answers"][0]["message"]


@pytest.mark.parametrize("name", SITE_FUNCTIONS)
def test_an_array_function_takes_whole_tables(server, tables, name):
    """The same rows as the registry gives in this process, through JSON."""
    told = said(server, name, *tables)
    expected = FUNCTION_BY_NAME[name](*([[server_batch.cell(c) for c in row] for row in grid] for grid in tables))
    assert len({len(row) for row in told["value"]}) == 1
    assert told["value"] == json.loads(json.dumps(expected))


def test_a_blank_cell_in_a_table_stays_blank(server, tables):
    """Runs of no length have a verdict; runs whose length is blank have none, and their stations say why."""
    place = next(place for place, table in enumerate(TABLES) if table.key == "pipe_runs")
    told = {}
    for length in (0, None, ""):
        changed = [[list(row) for row in grid] for grid in tables]
        for row in changed[place][1:]:
            row[column_of("pipe_runs", "plan_length")] = row[column_of("pipe_runs", "developed_length")] = length
        told[length] = json.dumps(said(server, "DRENCH_SCHEDULE", *changed))
    assert told[None] == told[""] != told[0]
    assert "blank" in told[None]
    assert "blank" not in told[0]


def test_a_fault_of_ours_is_an_error_value_with_its_place_and_no_data(monkeypatch, caplog):
    def broken(flow):
        raise ZeroDivisionError(f"secret {flow}")

    function = FUNCTION_BY_NAME["DRENCH_STAMP"]
    monkeypatch.setitem(server_batch.FUNCTION_BY_NAME, "DRENCH_STAMP", type(function)(
        function.name, lambda fingerprint: broken(fingerprint), function.takes, "number", "", (), ()))  # fmt: skip
    told = server_batch.answered({"function": "DRENCH_STAMP", "arguments": [123456.0]})
    assert told["error"] == "#N/A"
    assert "ZeroDivisionError in broken" in told["message"]
    assert "123456" not in told["message"] + caplog.text
    assert "ZeroDivisionError in broken" in caplog.text


@pytest.mark.parametrize("answer", [math.nan, math.inf])
def test_no_number_is_an_error_and_not_a_blank(monkeypatch, answer):
    function = FUNCTION_BY_NAME["DRENCH_STAMP"]
    monkeypatch.setitem(server_batch.FUNCTION_BY_NAME, "DRENCH_STAMP", type(function)(
        function.name, lambda fingerprint: answer, function.takes, "number", "", (), ()))  # fmt: skip
    assert server_batch.answered({"function": "DRENCH_STAMP", "arguments": [7e-5]})["error"] == "#NUM!"


# --- several programs at once -----------------------------------------------------------------------------------------


def test_a_long_array_call_does_not_hold_up_the_others(server, tables):
    """While whole sites are solved, health and small batches are answered."""
    done = threading.Event()

    def solve_again_and_again():
        for place in range(6):
            changed = [[list(row) for row in grid] for grid in tables]
            changed[-1].append([f"X{place}", *[None] * (len(changed[-1][0]) - 1)])  # another site each time
            said(server, "DRENCH_CASES", *changed)
        done.set()

    worker = threading.Thread(target=solve_again_and_again)
    worker.start()
    beside = 0
    while not done.is_set():
        assert server.request("GET", "/v1/health")[0] == 200
        assert said(server, "DRENCH_ELEVATION_LOSS", 0) == {"value": 0.0}
        beside += 1
    worker.join()
    assert beside >= 1


def test_eight_programs_with_different_sites_get_their_own_answers(server, tables):
    """Each gives its stations another area; nobody may see another's."""

    def program(number):
        own = [[list(row) for row in grid] for grid in tables]
        own[-1][-1][column_of("stations", "area")] = f"OWN-{number}"
        return number, [json.dumps(said(server, "DRENCH_SCHEDULE", *own)) for _ in range(3)]

    with concurrent.futures.ThreadPoolExecutor(8) as programs:
        for number, told in programs.map(program, range(8)):
            for answer in told:
                assert [other for other in range(8) if f"OWN-{other}" in answer] == [number]


def test_one_connection_serves_many_requests(server):
    import http.client

    connection = http.client.HTTPConnection("127.0.0.1", server.port, timeout=10)
    ports = set()
    for _ in range(20):
        connection.request("GET", "/v1/health")
        connection.getresponse().read()
        ports.add(connection.sock.getsockname()[1])
    connection.close()
    assert len(ports) == 1


# --- memory -----------------------------------------------------------------------------------------------------------


def test_remembered_answers_are_bounded_and_forgotten():
    memory = server_batch.Memory(places=10)
    for number in range(25):
        memory.keep({memory.key({"function": "DRENCH_STAMP", "arguments": [number]}): {"value": number}})
    assert len(memory) <= 10
    assert memory.get(memory.key({"function": "DRENCH_STAMP", "arguments": [24]})) == {"value": 24}
    memory.keep({str(number).encode(): {"value": number} for number in range(95)})
    assert 0 < len(memory) <= 10
    memory.forget()
    assert len(memory) == 0


def test_a_call_with_a_range_is_not_remembered():
    assert server_batch.Memory.key({"function": "DRENCH_SITE", "arguments": [[["tag"] * 100] * 100]}) is None


def test_nothing_is_left_in_memory_when_nobody_asks(monkeypatch, tables):
    from drenchbook import table_results
    from drenchbook.hosts.server_app import Workers

    server_batch.answered({"function": "DRENCH_SITE", "arguments": tables})
    server_batch.answered({"function": "DRENCH_STAMP", "arguments": [1.0]})
    assert len(server_batch.MEMORY)
    assert table_results._last._reports
    workers = Workers()
    workers.forget_if_idle()
    assert len(server_batch.MEMORY)
    workers.last_asked -= server_batch.FORGOTTEN_AFTER + 1
    workers.forget_if_idle()
    workers.close()
    assert not len(server_batch.MEMORY)
    assert not table_results._last._reports


def test_a_batch_whose_answers_are_too_large_ends_in_errors(monkeypatch):
    monkeypatch.setattr(server_batch, "MOST_CELLS", 3)
    body = json.dumps({"calls": [{"function": "DRENCH_STATUS"}] * 5}).encode()
    answers = json.loads(server_batch.answer_batch(body))["answers"]
    assert ["value" in answer for answer in answers] == [True, True, True, False, False]
    assert "ask for less" in answers[3]["message"]


# --- start and end ----------------------------------------------------------------------------------------------------


def test_the_announcement_is_private_and_complete(server):
    file = server.state / "server.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    told = json.loads(file.read_text(encoding="utf-8"))
    assert set(told) == {"port", "token", "version", "pid"}
    assert (told["port"], told["version"], told["pid"]) == (server.port, __version__, server.process.pid)
    assert len(told["token"]) > 30


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM], ids=lambda n: n.name)
def test_a_signal_ends_it_cleanly(tmp_path, number):
    with running(tmp_path) as live:
        idle = socket.create_connection(("127.0.0.1", live.port))  # an idle connection does not hold it up
        live.ask(("DRENCH_STATUS", []))
        start = time.monotonic()
        code, said_all = live.stop(number)
        assert time.monotonic() - start < 5
        idle.close()
    assert code == 0
    assert "Traceback" not in said_all
    assert not (tmp_path / "server.json").exists()


def test_the_stop_command_ends_it(tmp_path):
    with running(tmp_path) as live:
        done = command(tmp_path, "--stop")
        assert done.stdout == f"the server on port {live.port} has stopped\n"
        assert live.process.wait(10) == 0
    again = command(tmp_path, "--stop")
    assert (again.returncode, again.stdout) == (0, "no server is running\n")


def test_a_stale_announcement_is_cleared(tmp_path, monkeypatch):
    monkeypatch.setenv("DRENCHBOOK_STATE", str(tmp_path))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        state_folder.announce(RunningServer(free.getsockname()[1], "t", "0", 1))
    assert command(tmp_path, "--stop").stdout == "no server is running\n"
    assert not (tmp_path / "server.json").exists()


def test_a_server_does_not_take_back_the_announcement_of_another(tmp_path, monkeypatch):
    monkeypatch.setenv("DRENCHBOOK_STATE", str(tmp_path))
    ours, theirs = RunningServer(1, "a", "0", 1), RunningServer(2, "b", "0", 2)
    state_folder.announce(theirs)
    state_folder.withdraw(ours)
    assert state_folder.announced() == theirs


@pytest.mark.parametrize("damage", ["", "{", "[]", '{"port": "x"}', '{"port": 1}'])
def test_a_damaged_announcement_is_none(tmp_path, monkeypatch, damage):
    monkeypatch.setenv("DRENCHBOOK_STATE", str(tmp_path))
    (tmp_path / "server.json").write_text(damage, encoding="utf-8")
    assert state_folder.announced() is None


def test_a_port_taken_by_another_server_is_said_with_its_version(tmp_path, server):
    done = command(tmp_path, "--port", str(server.port))
    assert done.returncode == 2
    assert done.stderr == (
        f"port = {server.port}: is taken by another Drenchbook server, version {__version__}, which programs can use "
        "as it is; stop it with drenchbook server --stop, or name another: "
        f"drenchbook server --port {server.port + 10}\n"
    )


def test_a_port_taken_by_something_else_is_said(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = command(tmp_path, "--port", str(port))
    assert done.returncode == 2
    assert done.stderr == (
        f"port = {port}: is taken by another program; name another port: drenchbook server --port {port + 10}\n"
    )


@pytest.mark.parametrize("port", ["-1", "70000"])
def test_a_port_that_does_not_exist_is_refused(tmp_path, port):
    done = command(tmp_path, "--port", port)
    assert done.returncode == 2
    assert "name one from 1024 to 65535" in done.stderr


def test_nothing_of_a_project_is_said_or_written(tmp_path, tables):
    """A marked project passes through, good and bad; the marks are in no file and no line of output."""
    marked = [[list(row) for row in grid] for grid in tables]
    marked[-1][-1][column_of("stations", "area")] = "MARKED-AREA"
    with running(tmp_path) as live:
        assert "MARKED-AREA" in json.dumps(said(live, "DRENCH_SCHEDULE", *marked))
        said(live, "DRENCH_PIPE_LOSS", "MARKED-FLOW", "copper L", "1", 1, "none", 60)
        said(live, "MARKED-NAME", 1)
        live.request("POST", "/v1/batch", "MARKED-BODY")
        live.request("GET", "/MARKED-PATH")
        live.raw(b"MARKED-LINE\r\n\r\n")
        kept = b"".join(file.read_bytes() for file in tmp_path.rglob("*") if file.is_file())
        assert b"MARKED" not in kept
        _, output = live.stop()
    assert "MARKED" not in output


@pytest.mark.parametrize(
    ("platform", "environment", "folder"),
    [
        ("linux", {"DRENCHBOOK_STATE": "/a/b"}, "/a/b"),
        ("win32", {"DRENCHBOOK_STATE": "/a/b"}, "/a/b"),
        ("linux", {"XDG_STATE_HOME": "/s"}, "/s/drenchbook"),
        ("win32", {"LOCALAPPDATA": "/l"}, "/l/Drenchbook"),
        ("linux", {}, str(Path.home() / ".local/state/drenchbook")),
        ("darwin", {}, str(Path.home() / "Library/Application Support/Drenchbook")),
    ],
)
def test_the_state_folder_of_each_system(platform, environment, folder):
    assert state_folder.state_folder(environment, platform) == Path(folder)


def command(state, *options):
    return subprocess.run(
        [*COMMAND, *options], env=environment(state), capture_output=True, text=True, check=False, timeout=30
    )


def test_the_registry_is_all_that_a_server_loads_to_start():
    """Spreadsheet libraries and the solver would make the start slow."""
    code = "import sys, drenchbook.hosts.server_running; print(*sorted(sys.modules))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert not {"openpyxl", "xlsxwriter", "pandas", "pint", "drenchbook.solver", "cryptography"} & set(loaded)
