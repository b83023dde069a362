"""The web add-in for Excel on the web, on Mac and on Windows: manifest, metadata, script and page from the registry."""

from __future__ import annotations

import json
import re
from html import escape
from pathlib import Path
from string import Template
from typing import Any
from xml.sax.saxutils import quoteattr

from drenchbook import __version__
from drenchbook.errors import ALL_MET
from drenchbook.hosts import server_pages, web_icons
from drenchbook.result_tables import CAUTIONS
from drenchbook.units import SI, US
from drenchbook.worksheet_arguments import Argument
from drenchbook.worksheet_functions import FUNCTIONS, TABLE, TEXT, WorksheetFunction

WEB_PORT = 8714
IDENTITY = "6f0c1b0e-5d0b-5c43-9f0e-7d2b6a4d9c31"  # of the add-in; it must never change
SCHEMA = "https://developer.microsoft.com/json-schemas/office-js/custom-functions.schema.json"
# The spreadsheet program's own library; it alone can register functions, and it is the one thing not served from here.
HOST_LIBRARY = "https://appsforoffice.microsoft.com/lib/1/hosted/office.js"
POLICY = (
    "default-src 'none'; script-src 'self' https://appsforoffice.microsoft.com; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'self' https://*.officeapps.live.com "
    "https://*.office.com https://*.microsoft365.com https://*.sharepoint.com https://*.live.com"
)
RESULT_TYPES = {TEXT: "string", TABLE: "any"}


def metadata() -> dict[str, Any]:
    """What the spreadsheet program knows of each function.

    >>> metadata()["functions"][0]["id"]
    'DRENCH_MIXED_TEMPERATURE'
    """
    # One error cell inside a table must not turn a whole schedule into an error: the script takes errors as they are.
    functions = [_described(function) for function in FUNCTIONS]
    return {"$schema": SCHEMA, "allowErrorForDataTypeAny": True, "functions": functions}


def metadata_json() -> str:
    """The metadata as the file functions.json."""
    return json.dumps(metadata(), ensure_ascii=False, indent=1) + "\n"


def _described(function: WorksheetFunction) -> dict[str, Any]:
    result = {"type": "any" if function.gives == "number" else RESULT_TYPES.get(function.gives, "number")}
    options = {"cancelable": True}
    if function.takes:
        # Some hosts hand a blank cell over as 0, and the script then asks the cell: it needs the addresses of the
        # arguments, which only a function whose result is declared a matrix is told.
        result["dimensionality"] = "matrix"
        options["requiresParameterAddresses"] = True
    return {
        "id": function.name,
        "name": function.name,
        "description": function.help,
        "parameters": [_parameter(argument) for argument in function.takes],
        "result": result,
        "options": options,
    }


def _parameter(argument: Argument) -> dict[str, Any]:
    described: dict[str, Any] = {"name": argument.name, "description": _words(argument), "type": "any"}
    if argument.kind == "table" or argument.repeats:
        described["dimensionality"] = "matrix"
    if argument.optional:
        described["optional"] = True
    if argument.repeats:
        described["repeating"] = True
    return described


def _words(argument: Argument) -> str:
    us, si = argument.unit(US), argument.unit(SI)
    if us in ("", "–"):
        return argument.help
    return f"{argument.help} [{us}]" if us == si else f"{argument.help} [{us}; SI {si}]"


def script() -> str:
    """The file functions.js: the template with the registry's line filled in."""
    functions = {
        function.name: {
            "arguments": len(function.takes),
            "repeats": any(argument.repeats for argument in function.takes),
            "single": bool(function.takes) and function.gives != TABLE,
        }
        for function in FUNCTIONS
    }
    line = f"const DRENCHBOOK = {json.dumps({'version': __version__, 'functions': functions})};"
    return server_pages.asset("functions.js").replace("const DRENCHBOOK = {};", line, 1)


def page(token: str = "") -> str:
    """The page in which the functions run and which the button opens."""
    cautions = "\n".join(f"<li>{escape(caution)}</li>" for caution in CAUTIONS)
    return Template(server_pages.asset("addin.html")).substitute(
        token=escape(token), version=escape(__version__), cautions=cautions, host_library=HOST_LIBRARY
    )


def manifest(port: int = WEB_PORT) -> str:
    """The file that tells the spreadsheet program of the add-in."""
    parts = re.findall(r"\d+", __version__)[:3]
    version = ".".join([*parts, *["0"] * (4 - len(parts))])
    return Template(server_pages.asset("manifest.xml")).substitute(
        identity=IDENTITY, version=quoteattr(version).strip('"'), address=f"https://localhost:{port}"
    )


def write_web_addin(folder: Path, port: int = WEB_PORT) -> list[Path]:
    """Write the add-in's files into a folder, which is made where it is missing; gives their paths.

    A page from a file has no token; its script gets one from the running server.
    """
    folder.mkdir(parents=True, exist_ok=True)
    contents: dict[str, bytes] = {
        "manifest.xml": manifest(port).encode(),
        "functions.json": metadata_json().encode(),
        "functions.js": script().encode(),
        "functions.html": page().encode(),
        "taskpane.js": server_pages.asset("taskpane.js").encode(),
        **{f"drop-{size}.png": web_icons.drop(size) for size in web_icons.SIZES},
    }
    for name, data in contents.items():
        (folder / name).write_bytes(data)
    return [folder / name for name in contents]


def run(folder: Path, port: int) -> int:
    """The command: write the files and say what comes next."""
    write_web_addin(folder, port)
    print(f"{folder / 'manifest.xml'} and the files it names written")
    print("1. drenchbook server --certificate   once, and trust the authority as it says")
    print(f"2. drenchbook server --port {port - 1}   the add-in is served at https://localhost:{port}")
    print("3. in Excel: Insert, Add-ins, Upload My Add-in, and choose manifest.xml")
    return ALL_MET
