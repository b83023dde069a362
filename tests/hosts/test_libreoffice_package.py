"""The extension as a file: what is in it, the type library, the same bytes twice, and how a user installs it."""

import ast
import io
import json
import os
import re
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import pytest

from drenchbook import __version__
from drenchbook.hosts.libreoffice_addin import INTERFACE, MODULE, REPEATED, extension, method, server_command
from drenchbook.hosts.libreoffice_types import type_library
from drenchbook.worksheet_functions import FUNCTIONS
from tests.formulas.libreoffice import need_libreoffice
from tests.hosts.calc import environment
from tests.hosts.calc import python_of_calc as find_python

COMMAND = ["drenchbook"]
WRITER = "/usr/lib/libreoffice/sdk/bin/unoidl-write"
TYPES_OF_THE_PROGRAM = "/usr/lib/libreoffice/program/types.rdb"


@pytest.fixture(scope="module")
def package():
    with zipfile.ZipFile(io.BytesIO(extension(COMMAND))) as parts:
        return {info.filename: parts.read(info) for info in parts.infolist()}


def test_the_same_bytes_twice():
    assert extension(COMMAND) == extension(COMMAND)
    with zipfile.ZipFile(io.BytesIO(extension(COMMAND))) as parts:
        infos = parts.infolist()
    assert [info.filename for info in infos] == sorted(info.filename for info in infos)
    assert {(info.date_time, info.compress_type) for info in infos} == {((1980, 1, 1, 0, 0, 0), zipfile.ZIP_STORED)}


def test_each_function_is_described_with_its_arguments_in_order(package):
    told = json.loads(package["functions.json"])
    assert told["version"] == __version__
    assert told["command"] == COMMAND
    assert set(told["functions"]) == {function.name for function in FUNCTIONS}
    for function in FUNCTIONS:
        row = told["functions"][function.name]
        assert [argument["name"] for argument in row["takes"]] == [argument.name for argument in function.takes]
        assert row["help"].startswith(function.help)
    flow = told["functions"]["DRENCH_PIPE_LOSS"]["takes"][0]
    assert flow["help"] == "flow [gpm; SI: L/min]"


def test_what_the_manifest_names_is_there(package):
    manifest = ElementTree.fromstring(package["META-INF/manifest.xml"])
    spaced = "{http://openoffice.org/2001/manifest}full-path"
    assert {entry.get(spaced) for entry in manifest} <= set(package)
    for name, content in package.items():
        if name.endswith((".xml", ".xcu", ".components")):
            ElementTree.fromstring(content)


def test_the_component_needs_the_standard_library_only(package):
    allowed = set(sys.stdlib_module_names) | {"uno", "unohelper"}
    for name, content in package.items():
        if not name.endswith(".py"):
            continue
        tree = ast.parse(content, feature_version=(3, 8))
        for node in ast.walk(tree):
            if isinstance(node, ast.Import):
                assert {alias.name.split(".")[0] for alias in node.names} <= allowed, name
            elif isinstance(node, ast.ImportFrom):
                assert node.module.split(".")[0] in allowed, name


def idl():
    kinds = {REPEATED: "sequence<any>", "[][]any": "sequence< sequence<any> >"}

    def spelled(kind):
        return kinds.get(kind, kind.replace(".", "::"))

    lines = [f"{spelled(m.gives)} {m.name}({', '.join(f'[in] {spelled(k)} {name}' for name, k in m.takes)});"
             for m in map(method, FUNCTIONS)]  # fmt: skip
    body = "\n".join(lines)
    return f"module {MODULE} {{ interface {INTERFACE}: com::sun::star::uno::XInterface {{\n{body}\n}}; }};"


@pytest.mark.skipif(not Path(WRITER).exists(), reason="needs unoidl-write of the package libreoffice-dev")
def test_the_type_library_is_what_the_programs_own_tool_writes(tmp_path):
    source, made = tmp_path / "functions.idl", tmp_path / "types.rdb"
    source.write_text(idl(), encoding="utf-8")
    offapi = Path(TYPES_OF_THE_PROGRAM).with_name("types") / "offapi.rdb"
    subprocess.run([WRITER, TYPES_OF_THE_PROGRAM, str(offapi), str(source), str(made)], check=True, capture_output=True)
    theirs = made.read_bytes()
    note = re.search(rb"\0\*\* Created by [^\0]*\*\*\0", theirs)
    assert unshifted(theirs, note.start(), len(note.group())) == type_library(
        MODULE, INTERFACE, [method(function) for function in FUNCTIONS]
    )


def unshifted(library, at, length):
    """A library without the note of its writer: what points behind the note points that much less far."""
    content = bytearray(library)
    ours = type_library(MODULE, INTERFACE, [method(function) for function in FUNCTIONS])
    del content[at : at + length]
    assert len(content) == len(ours)
    for place in range(len(content) - 3):
        mine = int.from_bytes(ours[place : place + 4], "little")
        theirs = int.from_bytes(content[place : place + 4], "little")
        if mine != theirs and theirs - mine == length:
            content[place : place + 4] = ours[place : place + 4]
    return bytes(content)


def test_the_command_writes_the_file(tmp_path):
    made = tmp_path / "drenchbook.oxt"
    done = subprocess.run(
        [sys.executable, "-m", "drenchbook.command_line", "addin", "libreoffice", str(made)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert made.read_bytes() == extension(server_command())
    assert "Extension Manager" in done.stdout


def test_installed_as_a_user_does_it_in_a_clean_profile(server_of_calc, tmp_path_factory):
    """With the program's own installer, as an ordinary user: it refuses the administrator."""
    program = need_libreoffice()
    find_python()
    installer = shutil.which("unopkg") or str(Path(os.path.realpath(program)).with_name("unopkg"))
    home = tmp_path_factory.mktemp("user")
    book = home / "book.csv"
    book.write_text("=DRENCH_ELEVATION_LOSS(20),=DRENCH_STATUS()\n", encoding="utf-8")
    (home / "drenchbook.oxt").write_bytes(extension(server_command()))
    profile = f"-env:UserInstallation=file://{home}/profile"
    as_user = ["setpriv", "--reuid=65534", "--regid=65534", "--clear-groups"] if os.geteuid() == 0 else []
    settings = environment(home / "state") | {"HOME": str(home)}
    state = home / "state"
    state.mkdir()
    shutil.copy(server_of_calc.state / "server.json", state)
    if as_user:
        for each in (home, *home.rglob("*")):
            os.chown(each, 65534, 65534)
        for parent in home.parents:
            if parent.stat().st_uid == os.geteuid() and parent != Path("/"):
                parent.chmod(parent.stat().st_mode | 0o011)
    run = {"env": settings, "capture_output": True, "text": True, "timeout": 120, "check": False, "cwd": home}
    added = subprocess.run([*as_user, installer, "add", profile, str(home / "drenchbook.oxt")], **run)
    assert added.returncode == 0, added.stdout + added.stderr
    listed = subprocess.run([*as_user, installer, "list", profile], **run)
    assert "drenchbook.functions" in listed.stdout
    subprocess.run(
        [*as_user, program, profile, "--headless", "--infilter=CSV:44,34,76,1,,0,false,true,false,false,false,0,true",
         "--convert-to", "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true", "--outdir", str(home / "out"),
         str(book)], **run)  # fmt: skip
    shown = (home / "out" / "book.csv").read_text(encoding="utf-8")
    assert re.match(r"8\.66\d*,Drenchbook \d", shown), shown


def test_the_function_wizard_shows_each_argument_with_its_unit(calc):
    told = calc.ask("described", name="DRENCH_PIPE_LOSS")
    assert told["help"] == "Friction and fittings loss of a run of pipe, no elevation [psi; SI: kPa]"
    assert [argument[0] for argument in told["arguments"]] == [
        "flow", "material", "size", "length", "fittings", "temperature", "method", "units",
    ]  # fmt: skip
    assert told["arguments"][0][1] == "flow [gpm; SI: L/min]"
    assert all(argument[2] for argument in told["arguments"])  # what is left out is named by the sentence, not by Calc
    for function in FUNCTIONS:
        shown = calc.ask("described", name=function.name)
        assert [argument[0] for argument in shown["arguments"]] == [argument.name for argument in function.takes]
