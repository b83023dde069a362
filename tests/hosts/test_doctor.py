"""Each probe both ways, on facts; then what is read from real files and real ports."""

import json
import socket
import sys
import threading
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path

import pytest

from drenchbook import __version__
from drenchbook.command_line import main
from drenchbook.hosts import doctor, doctor_facts, state_folder
from drenchbook.hosts.doctor import FAULT, NOTE, OK
from drenchbook.hosts.doctor_facts import Computer, WorkbookFile, listed_version, this_workbook
from drenchbook.hosts.excel_module import MODULE_NAME, PYTHON_MODULE, module_text
from drenchbook.hosts.excel_workbook import as_macro_workbook, xlwings_module
from drenchbook.hosts.state_folder import RunningServer
from tests.hosts.test_excel_functions import ROOT
from tests.workbook.packages import loaded, part_of, with_text

INSTALLED = {"drenchbook": "0.1.0", "pyOpenVBA": "6.5.0", "starlette": "1", "uvicorn": "1", "xlwings": "0.37.8",
             "pywin32": "310"}  # fmt: skip
HEALTHY = Computer(
    platform="win32", python=(3, 11), interpreter=r"C:\Python\python.exe", bits=64, version="0.1.0",
    installed=INSTALLED, excel_bits=64, bridges=("xlwings32-0.37.8.dll", "xlwings64-0.37.8.dll"), announced_port=8713,
    announced_version="0.1.0", default_port_version="0.1.0", default_port_taken=True, state_folder="state",
    libreoffice="soffice", extension="0.1.0",
)  # fmt: skip
SETTINGS = {"INTERPRETER_WIN": r"C:\Python\python.exe", "UDF MODULES": PYTHON_MODULE, "DEBUG UDFS": False,
            "ADD_WORKBOOK_TO_PYTHONPATH": False}  # fmt: skip
MODULES = {MODULE_NAME: module_text(), "xlwings": 'Public Const XLWINGS_VERSION As String = "0.37.8"'}
SOUND = WorkbookFile(Path("work/site.xlsm"), modules=MODULES, settings=SETTINGS, settings_interpreter_exists=True)


def without(*names):
    return {name: version for name, version in INSTALLED.items() if name not in names}


def test_a_healthy_computer_has_no_fault_and_no_note():
    assert {finding.state for finding in doctor.of_computer(HEALTHY)} == {OK}


def test_a_sound_workbook_has_no_fault_and_no_note():
    assert {finding.state for finding in doctor.of_workbook(HEALTHY, SOUND)} == {OK}


SICK_COMPUTERS = {
    "old Python": ({"python": (3, 9)}, "Python", FAULT, "3.9", "install Python 3.11 or later"),
    "not installed": ({"installed": without("drenchbook")}, "Drenchbook", FAULT, "runs from a folder", "pip install"),
    "two versions": ({"version": "0.2.0", "announced_version": "0.2.0", "extension": "0.2.0"}, "Drenchbook", FAULT,
                     "version 0.2.0 runs, version 0.1.0 is installed", "force-reinstall"),
    "no xlwings": ({"installed": without("xlwings")}, "xlwings", FAULT, "not installed", "pip install xlwings"),
    "no pywin32": ({"installed": without("pywin32")}, "pywin32", FAULT, "not installed", "pip install pywin32"),
    "other system": ({"platform": "linux"}, "Excel on Windows", NOTE, "another system", ""),
    "32-bit Excel": ({"excel_bits": 32, "bridges": ("xlwings64-0.37.8.dll",)}, "Bitness", FAULT,
                     "Excel (32 bits) needs xlwings32-0.37.8.dll", "Python for 32 bits"),
    "old bridge": ({"bridges": ("xlwings64-0.30.0.dll",)}, "Bitness", FAULT, "there: xlwings64-0.30.0", "reinstall"),
    "no server libraries": ({"installed": without("uvicorn")}, "Server", FAULT, "uvicorn", "pip install drenchbook"),
    "server of another": ({"announced_port": None}, "Server", NOTE, "another user or another state folder",
                          "--port 8723"),
    "no server": ({"announced_port": None, "default_port_version": None, "default_port_taken": False}, "Server", NOTE,
                  "none runs", "drenchbook server"),
    "dead server": ({"announced_version": None}, "Server", NOTE, "8713 does not answer", "drenchbook server"),
    "older server": ({"announced_version": "0.0.9"}, "Server", FAULT, "their numbers may differ", "--stop"),
    "port taken": ({"default_port_version": None}, "Port", FAULT, "8713 is taken", "--port 8723"),
    "locked state": ({"state_folder_writable": False}, "State folder", FAULT, "may not be written", "DRENCHBOOK_STATE"),
    "no LibreOffice": ({"libreoffice": None}, "LibreOffice", NOTE, "not on this computer", ""),
    "silent LibreOffice": ({"extension": None}, "LibreOffice", NOTE, "does not say", "Extension Manager"),
    "no extension": ({"extension": ""}, "LibreOffice", NOTE, "does not have", "drenchbook addin libreoffice"),
    "strange Python": ({"strange_python": "/x/.venv/bin/python3"}, "LibreOffice", FAULT,
                       "takes /x/.venv/bin/python3 for its Python", "deactivate"),
    "old extension": ({"extension": "0.0.9"}, "LibreOffice", FAULT, "of version 0.0.9", "install it again"),
}  # fmt: skip


@pytest.mark.parametrize("name", SICK_COMPUTERS)
def test_each_fault_of_a_computer_is_found_alone_and_has_a_cure(name):
    changes, about, state, found, cure = SICK_COMPUTERS[name]
    findings = [finding for finding in doctor.of_computer(replace(HEALTHY, **changes)) if finding.state != OK]
    assert [(finding.about, finding.state) for finding in findings] == [(about, state)]
    assert found in findings[0].found
    assert cure in findings[0].cure


SICK_WORKBOOKS = {
    "missing": ({"exists": False}, "File", FAULT, "does not exist", "check the name"),
    "unreadable": ({"readable": False}, "File", FAULT, "may not be read", "permissions"),
    "no workbook": ({"package": False}, "File", FAULT, "no workbook", "recalc FILE --check"),
    "read-only": ({"file_writable": False}, "File", FAULT, "the file may not be written", "read-only mark"),
    "read-only folder": ({"folder_writable": False}, "File", FAULT, "its folder may not be written", "copy"),
    "open": ({"owner_file": True}, "File", NOTE, "is open", "close it"),
    "synchronised": ({"path": Path("/home/ada/OneDrive - Works/site.xlsm")}, "Folder", NOTE, "synchronised", "person"),
    "found by its folder": ({"path": Path("/home/ada/OneDrive/site.xlsm"),
                             "settings": SETTINGS | {"ADD_WORKBOOK_TO_PYTHONPATH": True}},
                            "Folder", FAULT, "look for its modules there", "to FALSE"),
    "from the internet": ({"zone": 3}, "Macros", FAULT, "blocks its macros", "Unblock"),
    "no functions": ({"modules": {"xlwings": MODULES["xlwings"]}}, "Functions", FAULT, "module Drenchbook is missing",
                     "drenchbook addin excel site.xlsm"),
    "no starter": ({"modules": {MODULE_NAME: module_text()}}, "Functions", FAULT, "module xlwings is missing", "again"),
    "old functions": ({"modules": MODULES | {MODULE_NAME: "Option Explicit"}}, "Functions", FAULT, "another version",
                      "drenchbook addin excel"),
    "damaged macros": ({"unread_macros": "bad stream"}, "Functions", FAULT, "bad stream", "again"),
    "other xlwings": ({"modules": MODULES | {"xlwings": 'XLWINGS_VERSION As String = "0.30.0"'}}, "xlwings", FAULT,
                      "has version 0.30.0, Python has 0.37.8", "again"),
    "no settings": ({"settings": None}, "Settings", FAULT, "xlwings.conf is missing", "again"),
    "no interpreter": ({"settings_interpreter_exists": False}, "Settings", FAULT, "not on this computer",
                       r"C:\Python\python.exe"),
    "other functions": ({"settings": SETTINGS | {"UDF MODULES": "mine"}}, "Settings", FAULT, "does not name",
                        "excel_functions"),
    "debugging": ({"settings": SETTINGS | {"DEBUG UDFS": True}}, "Settings", FAULT, "Debug UDFs is on", "to FALSE"),
    "refused": ({"refused": "has template version 9"}, "Template", FAULT, "version 9", "look again"),
    "of another kind": ({"is_ours": False}, "Template", NOTE, "no schedule workbook", ""),
    "stale": ({"stale": "12 stored values differ."}, "Results", FAULT, "12 stored values differ", "drenchbook recalc"),
}  # fmt: skip


@pytest.mark.parametrize("name", SICK_WORKBOOKS)
def test_each_fault_of_a_workbook_is_found_alone_and_has_a_cure(name):
    changes, about, state, found, cure = SICK_WORKBOOKS[name]
    findings = [finding for finding in doctor.of_workbook(HEALTHY, replace(SOUND, **changes)) if finding.state != OK]
    assert [(finding.about, finding.state) for finding in findings] == [(about, state)]
    assert found in findings[0].found
    assert cure in findings[0].cure


def test_every_fault_says_its_cure():
    sick = [doctor.of_computer(replace(HEALTHY, **case[0])) for case in SICK_COMPUTERS.values()]
    sick += [doctor.of_workbook(HEALTHY, replace(SOUND, **case[0])) for case in SICK_WORKBOOKS.values()]
    faults = [finding for findings in sick for finding in findings if finding.state == FAULT]
    assert len(faults) > 20
    assert all(finding.cure for finding in faults)


def test_a_free_port_is_no_fault():
    free = replace(HEALTHY, default_port_taken=False, default_port_version=None)
    assert [finding.state for finding in doctor.port(free)] == [OK]


def test_an_xlsx_needs_no_functions_and_no_settings():
    plain = replace(SOUND, path=Path("site.xlsx"), modules={}, settings=None)
    findings = doctor.of_workbook(HEALTHY, plain)
    assert [finding.about for finding in findings if finding.state != OK] == ["Functions"]
    assert FAULT not in {finding.state for finding in findings}


@pytest.mark.parametrize(
    ("path", "expected"),
    [
        ("/home/ada/jobs/site.xlsx", False),
        ("/home/ada/OneDrive/site.xlsx", True),
        ("/home/ada/Dropbox (Works)/project/site.xlsx", True),
        ("C:/Users/ada/Works/site.xlsx", True),
        ("/srv/onedrive.xlsx", False),
        ("https://example.org/sites/works/site.xlsx", True),
    ],
)
def test_synchronised_folders_are_known_by_their_names_and_by_the_environment(path, expected):
    computer = replace(HEALTHY, environment={"OneDriveCommercial": str(Path("C:/Users/ada/Works").absolute())})
    assert doctor.is_synchronised(Path(path), computer) is expected


@pytest.mark.parametrize(("answer", "bundled", "strange"), [(0, False, False), (1, False, True), (1, True, False)])
@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere LibreOffice brings its own Python")
def test_a_python_that_cannot_speak_to_libreoffice_is_told(tmp_path, monkeypatch, answer, bundled, strange):
    """A python3 before the system's on the path, as an active environment puts it there, is what LibreOffice takes."""
    program, active = tmp_path / "program", tmp_path / "active"
    for folder in (program, active, *([program / "python-core-3.8"] if bundled else [])):
        folder.mkdir()
    python = active / "python3"
    python.write_text(f"#!/bin/sh\nexit {answer}\n")
    python.chmod(0o755)
    monkeypatch.setenv("PATH", f"{active}:/usr/bin:/bin")
    assert doctor_facts._strange_python(str(program / "soffice")) == (str(python) if strange else "")


def test_the_version_in_the_list_of_extensions_is_ours_and_not_anothers():
    other = "All deployed user extensions:\n\nIdentifier: org.example\n  Version: 9.9\n"
    ours = "Identifier: drenchbook.functions\n  Version: 0.1.0\n  URL: vnd.sun.star.expand:x\n"
    assert listed_version(other) == ""
    assert listed_version(other + ours) == listed_version(ours + other) == "0.1.0"


# --- facts from real files ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def with_functions(tmp_path_factory):
    """The sample with its own results and its functions."""
    target = tmp_path_factory.mktemp("doctor") / "laboratory.xlsm"
    as_macro_workbook(ROOT / "samples" / "laboratory.xlsx", target)
    main(["recalc", str(target)])
    return target


@pytest.fixture
def workbook(with_functions, tmp_path):
    copy = tmp_path / "site.xlsm"
    copy.write_bytes(with_functions.read_bytes())
    return copy


def test_a_workbook_as_written_is_sound(workbook):
    facts = this_workbook(workbook)
    assert facts.modules[MODULE_NAME] == module_text()
    assert facts.modules["xlwings"] == xlwings_module()
    assert facts.settings is not None
    assert facts.settings["ADD_WORKBOOK_TO_PYTHONPATH"] is False
    assert FAULT not in {finding.state for finding in doctor.of_workbook(HEALTHY, facts)}


def test_a_changed_input_is_found(workbook):
    sheet = loaded(workbook)["Pipe runs"]
    typed = next(cell for row in sheet.iter_rows(min_row=7) for cell in row if cell.value == 130)
    with_text(workbook, part_of(workbook, typed.parent.title), b"<v>130</v>", b"<v>131</v>")
    assert [f.about for f in doctor.of_workbook(HEALTHY, this_workbook(workbook)) if f.state == FAULT] == ["Results"]


def test_a_mark_of_the_internet_is_read(workbook):
    Path(f"{workbook}:Zone.Identifier").write_text("[ZoneTransfer]\nZoneId=3\n")
    assert this_workbook(workbook).zone == 3
    Path(f"{workbook}:Zone.Identifier").write_text("[ZoneTransfer]\nHostUrl=about:internet\n")
    assert this_workbook(workbook).zone is None


def test_an_open_workbook_is_noticed(workbook):
    assert not this_workbook(workbook).owner_file
    (workbook.parent / f"~${workbook.name}").touch()
    assert this_workbook(workbook).owner_file


def test_files_that_are_no_workbooks(tmp_path):
    text = tmp_path / "notes.xlsx"
    text.write_text("no workbook")
    assert not this_workbook(text).package
    assert not this_workbook(tmp_path / "absent.xlsx").exists


def test_a_workbook_of_the_examples_is_no_schedule(tmp_path):
    target = tmp_path / "functions.xlsm"
    main(["addin", "excel", str(target)])
    facts = this_workbook(target)
    assert not facts.is_ours
    assert FAULT not in {finding.state for finding in doctor.of_workbook(HEALTHY, facts)}


# --- the command, on this computer ----------------------------------------------------------------------------------


class Health(BaseHTTPRequestHandler):
    """A server that says it is of some version, or nothing of the kind."""

    answer = b""

    def do_GET(self):
        self.send_response(200)
        self.end_headers()
        self.wfile.write(self.answer)

    def log_message(self, *args):
        """Say nothing."""


@pytest.fixture
def something_at_a_port(monkeypatch, tmp_path):
    """Starts a program that answers so; gives its port, which stands for the default one."""
    monkeypatch.setenv(state_folder.VARIABLE, str(tmp_path / "state"))
    started = []

    def start(answer):
        listener = HTTPServer(("127.0.0.1", 0), type("Answering", (Health,), {"answer": answer}))
        threading.Thread(target=listener.serve_forever, kwargs={"poll_interval": 0.01}, daemon=True).start()
        started.append(listener)
        monkeypatch.setattr(doctor_facts, "PORT", listener.server_port)
        return listener.server_port

    yield start
    for listener in started:
        listener.shutdown()
        listener.server_close()


def said_of(version):
    return json.dumps({"program": "Drenchbook", "version": version, "functions": 1}).encode()


def findings(capsys, *options):
    code = main(["doctor", "--json", *options])
    return code, {finding["about"]: finding for finding in json.loads(capsys.readouterr().out)["findings"]}


def test_a_running_server_is_found(something_at_a_port, capsys):
    port = something_at_a_port(said_of(__version__))
    state_folder.announce(RunningServer(port, "secret", __version__, 1))
    _, found = findings(capsys)
    assert found["Server"]["state"] == found["Port"]["state"] == OK
    assert "secret" not in json.dumps(found)


def test_a_server_of_another_version_is_a_fault(something_at_a_port, capsys):
    port = something_at_a_port(said_of("0.0.1"))
    state_folder.announce(RunningServer(port, "secret", "0.0.1", 1))
    code, found = findings(capsys)
    assert code == 1
    assert found["Server"]["state"] == FAULT


def test_another_program_at_the_port_is_a_fault(something_at_a_port, capsys):
    something_at_a_port(b"<html>something else</html>")
    code, found = findings(capsys)
    assert code == 1
    assert found["Port"]["state"] == FAULT
    assert found["Server"]["state"] == NOTE


def test_nothing_at_the_port_is_no_fault(monkeypatch, tmp_path, capsys):
    monkeypatch.setenv(state_folder.VARIABLE, str(tmp_path / "state"))
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        monkeypatch.setattr(doctor_facts, "PORT", free.getsockname()[1])
    _, found = findings(capsys)
    assert found["Port"]["state"] == OK
    assert found["Server"]["state"] == NOTE


def test_the_command_ends_with_one_where_something_is_wrong_and_says_the_cure(something_at_a_port, capsys, tmp_path):
    something_at_a_port(said_of(__version__))
    assert main(["doctor", str(tmp_path / "absent.xlsx")]) == 1
    said = capsys.readouterr().out
    assert "FAULT File:" in said
    assert "Cure: check the name and the folder" in said
    assert said.splitlines()[-1].endswith(("fault", "faults"))


def test_the_command_ends_with_zero_where_nothing_is_wrong(something_at_a_port, capsys, workbook):
    something_at_a_port(said_of(__version__))
    code, found = findings(capsys, str(workbook))
    faults = {about for about, finding in found.items() if finding["state"] == FAULT}
    assert faults == set()
    assert code == 0
