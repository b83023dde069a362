"""The command `doctor`: the usual reasons why functions do not compute, each with its cure.

A probe is a function from facts to findings; it looks at nothing itself, so each is tried in both directions on any
computer. A fault stops something from working; a note is only worth knowing.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from drenchbook.errors import ALL_MET, NOT_MET
from drenchbook.hosts.doctor_facts import (
    EXCEL_LIBRARIES,
    PORT,
    SERVER_LIBRARIES,
    Computer,
    WorkbookFile,
    this_computer,
    this_workbook,
)
from drenchbook.hosts.excel_module import MODULE_NAME, PYTHON_MODULE, module_text
from drenchbook.hosts.excel_workbook import SETTINGS_SHEET, XLWINGS_MODULE

OK, NOTE, FAULT = "ok", "note", "fault"
LEAST_PYTHON = (3, 11)
FROM_THE_INTERNET = 3
# Words by which folders that a program copies to other computers are usually known, and variables that name some.
SYNCHRONISED = ("onedrive", "sharepoint", "dropbox", "google drive", "googledrive", "iclouddrive", "mobile documents",
                "nextcloud", "owncloud", "syncthing")  # fmt: skip
SYNCHRONISED_VARIABLES = ("OneDrive", "OneDriveCommercial", "OneDriveConsumer")
WRITE_AGAIN = "write it again: drenchbook addin excel {name} NEW.xlsm"


@dataclass(frozen=True)
class Finding:
    """What one probe found."""

    about: str
    state: str
    found: str
    cure: str = ""

    def __str__(self) -> str:
        cure = f". Cure: {self.cure}" if self.cure else ""
        return f"{self.state.upper() if self.state == FAULT else self.state:<6}{self.about}: {self.found}{cure}"


Findings = Iterator[Finding]


# --- this computer --------------------------------------------------------------------------------------------------


def python(computer: Computer) -> Findings:
    """The interpreter is new enough."""
    found = f"{computer.python[0]}.{computer.python[1]}, {computer.bits} bits, {computer.interpreter}"
    if computer.python < LEAST_PYTHON:
        least = ".".join(map(str, LEAST_PYTHON))
        yield Finding("Python", FAULT, found, f"install Python {least} or later and Drenchbook in it")
    else:
        yield Finding("Python", OK, found)


def package(computer: Computer) -> Findings:
    """The program is installed in this interpreter, so that a spreadsheet program that starts it finds it."""
    found = computer.installed.get("drenchbook")
    if found is None:
        yield Finding("Drenchbook", FAULT, "is not installed in this Python; it runs from a folder",
                      "install it: python -m pip install drenchbook")  # fmt: skip
    elif found != computer.version:
        yield Finding("Drenchbook", FAULT, f"version {computer.version} runs, version {found} is installed",
                      "install it again: python -m pip install --force-reinstall drenchbook")  # fmt: skip
    else:
        yield Finding("Drenchbook", OK, f"version {found}")


def excel_libraries(computer: Computer) -> Findings:
    """What the functions in Excel on Windows need."""
    if computer.platform != "win32":
        yield Finding("Excel on Windows", NOTE, "this is another system; the functions in an .xlsm compute there only")
        return
    for name in EXCEL_LIBRARIES:
        if name in computer.installed:
            yield Finding(name, OK, f"version {computer.installed[name]}")
        else:
            yield Finding(name, FAULT, "is not installed in this Python", f"python -m pip install {name}")


def bitness(computer: Computer) -> Findings:
    """The library that Excel itself loads is there, in Excel's own bitness."""
    version = computer.installed.get("xlwings")
    if computer.platform != "win32" or version is None:
        return
    bits = computer.excel_bits or computer.bits
    wanted = f"xlwings{bits}-{version}.dll"
    whose = f"Excel ({bits} bits)" if computer.excel_bits else f"Excel (taken for {bits} bits)"
    if wanted in computer.bridges:
        yield Finding("Bitness", OK, f"{wanted} is there for {whose}")
    else:
        there = ", ".join(computer.bridges) or "none"
        yield Finding("Bitness", FAULT, f"{whose} needs {wanted} beside Python; there: {there}",
                      "python -m pip install --force-reinstall xlwings; if it is still missing, install Python for "
                      f"{bits} bits")  # fmt: skip


def server(computer: Computer) -> Findings:
    """A server that runs answers, and is of this version."""
    missing = [name for name in SERVER_LIBRARIES if name not in computer.installed]
    if missing:
        yield Finding("Server", FAULT, f"{' and '.join(missing)} are not installed in this Python",
                      "install Drenchbook again: python -m pip install drenchbook")  # fmt: skip
    elif computer.announced_port is None and computer.default_port_version:
        yield Finding("Server", NOTE, f"version {computer.default_port_version} listens on port {PORT}, but another "
                      "user or another state folder (DRENCHBOOK_STATE) started it",
                      f"end it there, or start one of your own: drenchbook server --port {PORT + 10}")  # fmt: skip
    elif computer.announced_port is None:
        yield Finding("Server", NOTE, "none runs", "where a program needs one: drenchbook server")
    elif computer.announced_version is None:
        yield Finding("Server", NOTE, f"the one that listened on port {computer.announced_port} does not answer",
                      "start it again: drenchbook server")  # fmt: skip
    elif computer.announced_version != computer.version:
        yield Finding("Server", FAULT, f"version {computer.announced_version} runs on port {computer.announced_port}, "
                      f"this is version {computer.version}; their numbers may differ",
                      "drenchbook server --stop, then drenchbook server")  # fmt: skip
    else:
        yield Finding("Server", OK, f"version {computer.announced_version} on port {computer.announced_port}")


def port(computer: Computer) -> Findings:
    """The server's port is free, or its own."""
    if computer.default_port_taken and computer.default_port_version is None:
        yield Finding("Port", FAULT, f"{PORT} is taken by another program",
                      f"end that program, or use another port: drenchbook server --port {PORT + 10}")  # fmt: skip
    else:
        yield Finding("Port", OK, f"{PORT} is {'the server' if computer.default_port_version else 'free'}")


def state(computer: Computer) -> Findings:
    """The folder in which a server says where it listens can be written."""
    if computer.state_folder_writable:
        yield Finding("State folder", OK, computer.state_folder)
    else:
        yield Finding("State folder", FAULT, f"{computer.state_folder} may not be written by this user",
                      "change its permissions, or name another folder in the variable DRENCHBOOK_STATE")  # fmt: skip


def libreoffice(computer: Computer) -> Findings:
    """LibreOffice has the extension."""
    install = "drenchbook addin libreoffice, then Tools > Extension Manager > Add in LibreOffice"
    if computer.libreoffice is None:
        yield Finding("LibreOffice", NOTE, "is not on this computer")
    elif computer.strange_python and computer.extension != "":
        yield Finding("LibreOffice", FAULT if computer.extension else NOTE,
                      f"started from here it takes {computer.strange_python} for its Python, which cannot speak to it: "
                      "with the extension it may open no file",
                      "start it from the menu, or leave the active Python environment first (deactivate); where none "
                      "is active, install python3-uno")  # fmt: skip
    elif computer.extension is None:
        yield Finding("LibreOffice", NOTE, f"{computer.libreoffice} does not say which extensions it has",
                      "look in Tools > Extension Manager for Drenchbook")  # fmt: skip
    elif not computer.extension:
        yield Finding("LibreOffice", NOTE, "does not have the extension", f"where it is wanted: {install}")
    elif computer.extension != computer.version:
        yield Finding("LibreOffice", FAULT, f"has the extension of version {computer.extension}, this is version "
                      f"{computer.version}", f"write and install it again: {install}")  # fmt: skip
    else:
        yield Finding("LibreOffice", OK, f"has the extension, version {computer.extension}")


# --- one workbook ---------------------------------------------------------------------------------------------------


def file(computer: Computer, book: WorkbookFile) -> Findings:
    """The file is there, is a workbook, and may be written."""
    if not book.exists:
        yield Finding("File", FAULT, f"{book.path} does not exist", "check the name and the folder")
    elif not book.readable:
        yield Finding("File", FAULT, "may not be read by this user", "change its permissions, or copy it elsewhere")
    elif not book.package:
        yield Finding("File", FAULT, "is no workbook (.xlsx, .xlsm), or is damaged, encrypted or too large",
                      "drenchbook recalc FILE --check says which and what to do")  # fmt: skip
    elif not (book.file_writable and book.folder_writable):
        what = "the file" if not book.file_writable else "its folder"
        yield Finding("File", FAULT, f"{what} may not be written by this user, so results cannot be saved",
                      "clear the read-only mark, or copy the workbook to a folder of your own")  # fmt: skip
    else:
        yield Finding("File", OK, "can be read and written")
    if book.owner_file:
        yield Finding("File", NOTE, "is open in a spreadsheet program, or was when that program ended",
                      "close it there before drenchbook recalc")  # fmt: skip


def folder(computer: Computer, book: WorkbookFile) -> Findings:
    """Where the workbook lies does not matter to its functions."""
    if not is_synchronised(book.path, computer):
        yield Finding("Folder", OK, "is no synchronised folder")
    elif book.settings is not None and _says_yes(book.settings.get("ADD_WORKBOOK_TO_PYTHONPATH", True)):
        yield Finding("Folder", FAULT, "is a synchronised folder, and the settings sheet makes Python look for its "
                      "modules there", f"in {SETTINGS_SHEET} set ADD_WORKBOOK_TO_PYTHONPATH to FALSE")  # fmt: skip
    else:
        yield Finding("Folder", NOTE, "is a synchronised folder; the functions do not depend on it, but two people can "
                      "save over each other", "let one person at a time have the workbook open")  # fmt: skip


def is_synchronised(path: Path, computer: Computer) -> bool:
    """Whether a path looks like a folder that a program copies to other computers."""
    text = str(path.absolute() if not str(path).lower().startswith("http") else path).replace("\\", "/").lower()
    named = [computer.environment.get(name, "") for name in SYNCHRONISED_VARIABLES]
    inside = [folder.replace("\\", "/").lower().rstrip("/") + "/" for folder in named if folder]
    parts = text.split("/")
    return (
        text.startswith("http")
        or any(text.startswith(folder) for folder in inside)
        or any(part.startswith(SYNCHRONISED) for part in parts[:-1])
    )


def macros(computer: Computer, book: WorkbookFile) -> Findings:
    """Windows lets the workbook run its functions."""
    if book.zone is not None and book.zone >= FROM_THE_INTERNET:
        yield Finding("Macros", FAULT, "Windows marks the file as coming from the internet, so Excel blocks its macros",
                      "in the Explorer: Properties > Unblock; or put it in a trusted location of Excel")  # fmt: skip
    elif book.path.suffix.lower() == ".xlsm":
        yield Finding("Macros", OK, "Windows does not mark the file; Excel may still ask once")


def functions(computer: Computer, book: WorkbookFile) -> Findings:
    """The workbook has the functions of this version, and the module that starts Python."""
    again = WRITE_AGAIN.format(name=book.path.name)
    if book.path.suffix.lower() != ".xlsm":
        yield Finding("Functions", NOTE, "are not in an .xlsx; LibreOffice and web add-ins bring their own",
                      f"for Excel on Windows: drenchbook addin excel {book.path.name} NEW.xlsm")  # fmt: skip
        return
    if book.unread_macros:
        yield Finding("Functions", FAULT, f"the macros cannot be read: {book.unread_macros}", again)
        return
    missing = [name for name in (MODULE_NAME, XLWINGS_MODULE) if name not in book.modules]
    if missing:
        yield Finding("Functions", FAULT, f"the module {' and the module '.join(missing)} is missing", again)
        return
    if book.modules[MODULE_NAME].splitlines() != module_text().splitlines():
        yield Finding("Functions", FAULT, "are of another version, or were changed by hand", again)
    else:
        yield Finding("Functions", OK, f"of version {computer.version}")
    version = re.search(r'XLWINGS_VERSION As String = "([^"]+)"', book.modules[XLWINGS_MODULE])
    installed = computer.installed.get("xlwings")
    if version and installed and version[1] != installed:
        yield Finding("xlwings", FAULT, f"the workbook has version {version[1]}, Python has {installed}", again)


def settings(computer: Computer, book: WorkbookFile) -> Findings:
    """The settings sheet names a Python that is there, and our functions."""
    if book.path.suffix.lower() != ".xlsm":
        return
    if book.settings is None:
        yield Finding("Settings", FAULT, f"the sheet {SETTINGS_SHEET} is missing",
                      WRITE_AGAIN.format(name=book.path.name))  # fmt: skip
        return
    interpreter = book.settings.get("INTERPRETER_WIN") or "python"
    if book.settings_interpreter_exists is False:
        yield Finding("Settings", FAULT, f"Interpreter_Win is {interpreter}, which is not on this computer",
                      f"put {computer.interpreter} in its place")  # fmt: skip
    elif PYTHON_MODULE not in str(book.settings.get("UDF MODULES") or ""):
        yield Finding(
            "Settings", FAULT, f"UDF Modules does not name {PYTHON_MODULE}", f"put {PYTHON_MODULE} in its place"
        )
    else:
        yield Finding("Settings", OK, f"Interpreter_Win is {interpreter}")
    if _says_yes(book.settings.get("DEBUG UDFS")):
        yield Finding("Settings", FAULT, "Debug UDFs is on: Excel waits for a Python that somebody starts by hand",
                      f"in {SETTINGS_SHEET} set Debug UDFs to FALSE")  # fmt: skip


def template(computer: Computer, book: WorkbookFile) -> Findings:
    """The workbook can be read as a site by this version."""
    if not book.is_ours:
        yield Finding("Template", NOTE, "is no schedule workbook; only its single functions compute")
    elif book.refused:
        yield Finding("Template", FAULT, book.refused.replace("\n", "; "), "what the sentence says; then look again")
    else:
        yield Finding("Template", OK, "can be read")


def results(computer: Computer, book: WorkbookFile) -> Findings:
    """The results in the file belong to its inputs."""
    if not book.is_ours or book.refused:
        return
    if book.stale:
        yield Finding("Results", FAULT, book.stale.rstrip("."), f"drenchbook recalc {book.path.name}")
    else:
        yield Finding("Results", OK, "belong to the inputs")


def _says_yes(value: object) -> bool:
    return value is True or str(value).strip().lower() == "true"


COMPUTER_PROBES: tuple[Callable[[Computer], Findings], ...] = (
    python, package, excel_libraries, bitness, server, port, state, libreoffice,
)  # fmt: skip
WORKBOOK_PROBES: tuple[Callable[[Computer, WorkbookFile], Findings], ...] = (
    file, folder, macros, functions, settings, template, results,
)  # fmt: skip


def of_computer(computer: Computer) -> list[Finding]:
    """Everything found on the computer."""
    return [finding for probe in COMPUTER_PROBES for finding in probe(computer)]


def of_workbook(computer: Computer, book: WorkbookFile) -> list[Finding]:
    """Everything found in a workbook; what a file that cannot be read would hold is not asked."""
    probes = WORKBOOK_PROBES if book.exists and book.readable and book.package else (file,)
    return [finding for probe in probes for finding in probe(computer, book)]


def run(path: Path | None, *, as_json: bool = False) -> int:
    """Look, say what was found, and give the exit code: 0, or 1 where something is wrong."""
    computer = this_computer()
    found = of_computer(computer)
    if path is not None:
        found += of_workbook(computer, this_workbook(path))
    faults = [finding for finding in found if finding.state == FAULT]
    if as_json:
        print(json.dumps({"faults": len(faults), "findings": [asdict(finding) for finding in found]}, indent=2))
    else:
        print("\n".join(map(str, found)))
        print("nothing is wrong" if not faults else f"{len(faults)} {'fault' if len(faults) == 1 else 'faults'}")
    return NOT_MET if faults else ALL_MET
