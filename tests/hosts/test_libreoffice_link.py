"""How the add-in finds, starts and asks the server, and what it says when that cannot be done."""

import json
import os
import sys
import time
from pathlib import Path

import pytest

from drenchbook import __version__
from drenchbook.hosts import state_folder
from drenchbook.hosts.libreoffice import drenchbook_link
from drenchbook.hosts.libreoffice.drenchbook_link import RefusedError, ServerError, ServerLink
from drenchbook.hosts.libreoffice_addin import server_command
from tests.hosts.calc import stop_server
from tests.hosts.live_server import running

NOWHERE = [str(Path(os.sep) / "no" / "such" / "program")]


@pytest.fixture
def state(tmp_path, monkeypatch):
    monkeypatch.setenv("DRENCHBOOK_STATE", str(tmp_path))
    monkeypatch.delenv("DRENCHBOOK_COMMAND", raising=False)
    return tmp_path


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
@pytest.mark.parametrize(
    "given", [{}, {"DRENCHBOOK_STATE": "/x"}, {"XDG_STATE_HOME": "/y", "LOCALAPPDATA": "/z"}], ids=str
)
def test_it_looks_where_the_server_announces_itself(given, platform):
    assert drenchbook_link.state_folder(given, platform) == state_folder.state_folder(given, platform)


def test_it_asks_the_running_server(state):
    with running(state):
        link = ServerLink(__version__, NOWHERE)
        assert link.ask("DRENCH_ELEVATION_LOSS", [0.0]) == 0.0
        assert link.ask("DRENCH_STATUS", []) == f"Drenchbook {__version__}"
        with pytest.raises(RefusedError, match="flow = -2 gpm: must be zero or more") as caught:
            link.ask("DRENCH_PIPE_VELOCITY", [-2.0, "copper L", "1"])
        assert caught.value.code == "#VALUE!"
        link.close()


def test_it_starts_a_server_where_none_runs(state):
    link = ServerLink(__version__, server_command())
    try:
        assert link.ask("DRENCH_STATUS", []) == f"Drenchbook {__version__}"
        assert json.loads((state / "server.json").read_text(encoding="utf-8"))["version"] == __version__
    finally:
        link.close()
        stop_server(state)


def test_the_environment_names_another_command(state, monkeypatch):
    monkeypatch.setenv("DRENCHBOOK_COMMAND", f"{sys.executable} -m drenchbook.command_line")
    link = ServerLink(__version__, NOWHERE)
    try:
        assert link.ask("DRENCH_ELEVATION_LOSS", [0.0]) == 0.0
    finally:
        link.close()
        stop_server(state)


def test_a_server_that_was_started_anew_is_found_again(state):
    link = ServerLink(__version__, NOWHERE)
    for _ in range(2):
        with running(state):
            assert link.ask("DRENCH_ELEVATION_LOSS", [0.0]) == 0.0
    link.close()


def test_a_server_of_another_version_gives_no_number_and_says_so(state):
    with running(state):
        link = ServerLink("9.9.9", NOWHERE)
        with pytest.raises(ServerError, match=rf"this add-in is 9\.9\.9 and the server is {__version__}; install"):
            link.ask("DRENCH_ELEVATION_LOSS", [0.0])
        link.close()


def test_a_program_that_is_not_there_is_named(state):
    with pytest.raises(ServerError, match=r"cannot be started \(.*program: No such file.*DRENCHBOOK_COMMAND"):
        ServerLink(__version__, NOWHERE).ask("DRENCH_STATUS", [])


def test_a_start_that_failed_is_not_tried_for_every_cell(state, monkeypatch):
    link = ServerLink(__version__, [sys.executable, "-c", "raise SystemExit(3)"])
    monkeypatch.setattr(drenchbook_link, "GRACE", 0.1)
    sentence = "the server did not start .*; run that in a terminal to see why"
    with pytest.raises(ServerError, match=sentence):
        link.ask("DRENCH_STATUS", [])
    start = time.monotonic()
    for _ in range(100):
        with pytest.raises(ServerError, match=sentence):
            link.ask("DRENCH_STATUS", [])
    assert time.monotonic() - start < 5  # a hundred starts would take longer


@pytest.mark.parametrize("text", ["", "{", "[]", '{"port": "x", "token": "y"}', '{"port": 1, "token": "y"}'])
def test_an_announcement_of_nobody_is_no_server(state, text):
    (state / "server.json").write_text(text, encoding="utf-8")
    with pytest.raises(ServerError, match="cannot be started"):
        ServerLink(__version__, NOWHERE).ask("DRENCH_STATUS", [])
