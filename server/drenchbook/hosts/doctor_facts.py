"""What `doctor` looks at, as plain facts: this computer, and one workbook. Judging them is `doctor`'s."""

from __future__ import annotations

import os
import re
import shutil
import socket
import struct
import subprocess
import sys
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from importlib import metadata, util
from pathlib import Path
from typing import Any

from drenchbook import __version__
from drenchbook.errors import SiteError
from drenchbook.hosts.excel_workbook import SETTINGS_SHEET, read_modules
from drenchbook.hosts.state_folder import announced, state_folder

PORT = 8713
EXTENSION = "drenchbook.functions"  # how LibreOffice names our extension
SERVER_LIBRARIES = ("starlette", "uvicorn")
EXCEL_LIBRARIES = ("xlwings", "pywin32")
EXTENSION_FOLDERS = "*/user/uno_packages/cache/uno_packages/*/*/description.xml"
PATIENCE = 10  # [s] for another program to answer


@dataclass(frozen=True)
class Computer:
    """This computer."""

    platform: str
    python: tuple[int, int]
    interpreter: str
    bits: int
    version: str  # of the program that runs
    installed: Mapping[str, str]  # libraries by name, with their version
    environment: Mapping[str, str] = field(default_factory=dict)
    excel_bits: int | None = None  # None: no Excel, or not known
    bridges: tuple[str, ...] = ()  # libraries of xlwings that lie beside the interpreter
    announced_port: int | None = None  # of the server that said so last
    announced_version: str | None = None  # what that server says now; None where it does not answer
    default_port_version: str | None = None  # what answers at the default port
    default_port_taken: bool = False
    state_folder: str = ""
    state_folder_writable: bool = True
    libreoffice: str | None = None  # where it is
    strange_python: str = ""  # the python3 that LibreOffice started from here takes for its own, where it is another's
    extension: str | None = None  # version of our extension in it; "" where it has none, None where it does not say


@dataclass(frozen=True)
class WorkbookFile:
    """One workbook."""

    path: Path
    exists: bool = True
    readable: bool = True
    file_writable: bool = True
    folder_writable: bool = True
    owner_file: bool = False  # a spreadsheet program has it open, or ended without tidying up
    zone: int | None = None  # what Windows noted about where the file came from; None: nothing
    package: bool = True  # a zip package with a workbook in it
    modules: Mapping[str, str] = field(default_factory=dict)
    unread_macros: str = ""  # why the macros could not be read
    settings: Mapping[str, object] | None = None  # of the settings sheet; None: there is none
    settings_interpreter_exists: bool | None = None  # None: cannot be told on this computer
    refused: str = ""  # why it cannot be read as a site
    is_ours: bool = True  # has our template's marks
    stale: str = ""  # how its results differ from what its inputs give


def this_computer() -> Computer:
    """Facts of the computer on which this runs."""
    told = announced()
    folder = state_folder()
    office = _libreoffice()
    return Computer(
        platform=sys.platform,
        python=(sys.version_info[0], sys.version_info[1]),
        interpreter=sys.executable,
        bits=struct.calcsize("P") * 8,
        version=__version__,
        installed=_installed(),
        environment=dict(os.environ),
        excel_bits=_excel_bits(),
        bridges=_bridges(),
        announced_port=told.port if told else None,
        announced_version=_version_at(told.port) if told else None,
        default_port_version=_version_at(PORT),
        default_port_taken=_taken(PORT),
        state_folder=str(folder),
        state_folder_writable=_writable(folder),
        libreoffice=office,
        strange_python=_strange_python(office) if office else "",
        extension=_extension(office) if office else None,
    )


def _installed() -> dict[str, str]:
    found: dict[str, str] = {}
    for name in ("drenchbook", "pyOpenVBA", *SERVER_LIBRARIES, *EXCEL_LIBRARIES):
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def _excel_bits() -> int | None:
    """Bitness of the installed Excel, from the registry of Windows (place from memory)."""
    if sys.platform != "win32":
        return None
    import winreg

    try:
        with winreg.OpenKey(winreg.HKEY_LOCAL_MACHINE, r"SOFTWARE\Microsoft\Office\ClickToRun\Configuration") as key:
            return 64 if winreg.QueryValueEx(key, "Platform")[0] == "x64" else 32
    except OSError:
        return None


def _bridges() -> tuple[str, ...]:
    """The module in the workbook looks beside the interpreter, and in the folder above it."""
    beside = Path(sys.executable).parent
    return tuple(sorted({path.name for folder in (beside, beside.parent) for path in folder.glob("xlwings*.dll")}))


def _version_at(port: int) -> str | None:
    if any(util.find_spec(name) is None for name in SERVER_LIBRARIES):
        return None
    from drenchbook.hosts.server_running import version_at

    return version_at(port)


def _taken(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as asking:
        asking.settimeout(1)
        return asking.connect_ex(("127.0.0.1", port)) == 0


def _writable(folder: Path) -> bool:
    """Whether a folder can be written to, or made."""
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    return os.access(folder, os.W_OK)


def _libreoffice() -> str | None:
    found = shutil.which("soffice") or shutil.which("libreoffice")
    usual = (Path(r"C:\Program Files\LibreOffice\program\soffice.exe"),
             Path("/Applications/LibreOffice.app/Contents/MacOS/soffice"))  # fmt: skip
    return found or next((str(path) for path in usual if path.exists()), None)


def _strange_python(office: str) -> str:
    """The first python3 on the path, where LibreOffice has no Python of its own and this one cannot speak to it."""
    program, python = Path(office).resolve().parent, shutil.which("python3")
    if sys.platform != "linux" or python is None or any(program.glob("python-core*")):
        return ""
    kept = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    try:
        done = subprocess.run([python, "-c", "import uno"], env=kept, capture_output=True, timeout=20, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return python
    return python if done.returncode else ""


def _extension(office: str) -> str | None:
    """The version of our extension: from the user's own folder, or else from the extension tool."""
    roots = (Path.home() / ".config" / "libreoffice", Path.home() / "Library" / "Application Support" / "LibreOffice",
             Path(os.environ.get("APPDATA") or Path.home()) / "LibreOffice")  # fmt: skip
    described = (path for root in roots for path in root.glob(EXTENSION_FOLDERS))
    for path in described:
        found = described_version(path.read_text(encoding="utf-8", errors="replace"))
        if found is not None:
            return found
    # The tool also knows what is installed for all users. It is silent for root, and while the program is open.
    beside = Path(os.path.realpath(office)).parent
    tool = next((str(path) for path in (beside / "unopkg", beside / "unopkg.com") if path.exists()), None)
    tool = tool or shutil.which("unopkg")
    if tool is None:
        return None
    try:
        told = subprocess.run([tool, "list"], capture_output=True, text=True, timeout=PATIENCE, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return None
    return listed_version(told.stdout) if told.returncode == 0 else None


def described_version(description: str) -> str | None:
    """The version in the description of our extension, None in that of another.

    >>> described_version('<identifier value="drenchbook.functions"/><version value="0.1.0"/>')
    '0.1.0'
    """
    version = re.search(r'<version value="([^"]+)"', description)
    return version[1] if version and f'<identifier value="{EXTENSION}"' in description else None


def listed_version(listing: str) -> str:
    """The version of our extension in what the extension tool lists, "" where it is not there.

    >>> listed_version("Identifier: drenchbook.functions\\n  Version: 0.1.0\\n")
    '0.1.0'
    """
    found = re.search(rf"Identifier: {re.escape(EXTENSION)}\s+Version: (\S+)", listing)
    return found[1] if found else ""


def this_workbook(path: Path) -> WorkbookFile:
    """Facts of one file."""
    if not path.is_file():
        return WorkbookFile(path, exists=False)
    facts: dict[str, Any] = {
        "readable": os.access(path, os.R_OK),
        "file_writable": os.access(path, os.W_OK),
        "folder_writable": os.access(path.absolute().parent, os.W_OK),
        "owner_file": any((path.parent / name).exists() for name in (f"~${path.name}", f".~lock.{path.name}#")),
        "zone": _zone(path),
        "package": _is_package(path),
    }
    if facts["readable"] and facts["package"]:
        facts |= _macros(path) | _settings(path) | _site(path)
    return WorkbookFile(path, **facts)


def _is_package(path: Path) -> bool:
    try:
        with zipfile.ZipFile(path) as package:
            return "xl/workbook.xml" in package.namelist() and path.suffix.lower() in (".xlsx", ".xlsm")
    except (OSError, zipfile.BadZipFile):
        return False


def _zone(path: Path) -> int | None:
    """Windows notes where a file came from in a stream of that name beside it: 3 is the internet, 4 worse."""
    try:
        noted = Path(f"{path}:Zone.Identifier").read_text(encoding="utf-8", errors="replace")
    except OSError:
        return None
    for line in noted.splitlines():
        name, _, value = line.partition("=")
        if name.strip() == "ZoneId" and value.strip().isdigit():
            return int(value)
    return None


def _macros(path: Path) -> dict[str, Any]:
    if path.suffix.lower() != ".xlsm":
        return {}
    try:
        return {"modules": read_modules(path)}
    except ImportError:
        return {"unread_macros": "pyOpenVBA is not installed"}
    except (ValueError, KeyError, OSError) as error:  # a project that another program left damaged
        return {"unread_macros": str(error)}


def _settings(path: Path) -> dict[str, Any]:
    import openpyxl

    try:
        book = openpyxl.load_workbook(path, read_only=True)
    except (OSError, ValueError, KeyError, TypeError, SyntaxError, zipfile.BadZipFile):
        return {}
    try:
        if SETTINGS_SHEET not in book.sheetnames:
            return {}
        rows = book[SETTINGS_SHEET].iter_rows(max_col=2, values_only=True)
        # Read as far as the first gap, as the module in the workbook does.
        found: dict[str, object] = {}
        for row in rows:
            if row[0] is None:
                break
            found[str(row[0]).strip().upper()] = row[1] if len(row) > 1 else None
    finally:
        book.close()
    return {"settings": found, "settings_interpreter_exists": _exists(str(found.get("INTERPRETER_WIN") or "python"))}


def _exists(interpreter: str) -> bool | None:
    """Whether an interpreter named in the settings is there; not known for a path of another kind of computer."""
    if "\\" in interpreter or ":" in interpreter:
        return Path(os.path.expandvars(interpreter)).exists() if sys.platform == "win32" else None
    return shutil.which(interpreter) is not None if sys.platform == "win32" else None


def _site(path: Path) -> dict[str, Any]:
    from drenchbook.workbook.layout import VERSION_NAME
    from drenchbook.workbook.recalculating import recalculate

    with zipfile.ZipFile(path) as package:
        if f'name="{VERSION_NAME}"'.encode() not in package.read("xl/workbook.xml"):
            return {"is_ours": False}
    try:
        return {"stale": recalculate(path, write=False).stale}
    except SiteError as error:
        return {"refused": str(error)}
