"""Makes the LibreOffice extension: the component, what it says about each function, and how the program finds it."""

from __future__ import annotations

import io
import json
import sys
import zipfile
from collections.abc import Sequence
from importlib import resources
from pathlib import Path
from typing import Any

from drenchbook import __version__
from drenchbook.errors import ALL_MET
from drenchbook.function_spelling import PREFIX
from drenchbook.hosts.libreoffice_types import Method, type_library
from drenchbook.units import SI, US
from drenchbook.workbook.package import replace_file
from drenchbook.worksheet_arguments import Argument
from drenchbook.worksheet_functions import FUNCTIONS, TABLE, TEXT, WorksheetFunction

COMPONENT, ROOMS = "drenchbook_calc.py", ("drenchbook_link.py", "drenchbook_blanks.py")
MODULE, INTERFACE = "drenchbook", "XFunctions"
ADD_IN, NAMES_JOB, SERVICE = "drenchbook.Functions", "drenchbook.NamesJob", "DRENCH"
LEAST_VERSION = "7.4"  # of LibreOffice; older ones were not tried
NO_DATE = (1980, 1, 1, 0, 0, 0)
ANY, RANGE, REPEATED, TABLE_ANSWER = "any", "com.sun.star.table.XCellRange", "[]any", "[][]any"
DOCUMENT = ("caller", "com.sun.star.beans.XPropertySet")  # filled in by the program, invisible to the user
SENTENCES = ("DRENCH_STATUS", "DRENCH_REASON")  # tell what is wrong with the server too

MEDIA = "application/vnd.sun.star"
MANIFEST = f"""<?xml version="1.0" encoding="UTF-8"?>
<manifest:manifest xmlns:manifest="http://openoffice.org/2001/manifest">
<manifest:file-entry manifest:full-path="types.rdb" manifest:media-type="{MEDIA}.uno-typelibrary;type=RDB"/>
<manifest:file-entry manifest:full-path="drenchbook.components" manifest:media-type="{MEDIA}.uno-components"/>
<manifest:file-entry manifest:full-path="Jobs.xcu" manifest:media-type="{MEDIA}.configuration-data"/>
</manifest:manifest>
"""
COMPONENTS = f"""<?xml version="1.0" encoding="UTF-8"?>
<components xmlns="http://openoffice.org/2010/uno-components">
<component loader="com.sun.star.loader.Python" uri="{COMPONENT}">
<implementation name="{ADD_IN}"><service name="{SERVICE}"/><service name="com.sun.star.sheet.AddIn"/></implementation>
<implementation name="{NAMES_JOB}"><service name="com.sun.star.task.Job"/><service name="{NAMES_JOB}"/></implementation>
</component>
</components>
"""
JOBS = f"""<?xml version="1.0" encoding="UTF-8"?>
<oor:component-data xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 oor:name="Jobs" oor:package="org.openoffice.Office">
<node oor:name="Jobs"><node oor:name="DrenchbookNames" oor:op="replace">
<prop oor:name="Service"><value>{NAMES_JOB}</value></prop></node></node>
<node oor:name="Events"><node oor:name="OnLoadFinished" oor:op="fuse"><node oor:name="JobList">
<node oor:name="DrenchbookNames" oor:op="replace"/></node></node></node>
</oor:component-data>
"""
DESCRIPTION = f"""<?xml version="1.0" encoding="UTF-8"?>
<description xmlns="http://openoffice.org/extensions/description/2006" xmlns:xlink="http://www.w3.org/1999/xlink">
<identifier value="drenchbook.functions"/>
<version value="{__version__}"/>
<display-name><name lang="en">Drenchbook</name></display-name>
<publisher><name xlink:href="" lang="en">Drenchbook</name></publisher>
<dependencies><l:LibreOffice-minimal-version xmlns:l="http://libreoffice.org/extensions/description/2011"
 value="{LEAST_VERSION}"/></dependencies>
</description>
"""


def run(output: Path) -> int:
    """The command `addin libreoffice`."""
    replace_file(output, extension(server_command()))
    print(f"{output} written: install it in LibreOffice with Tools > Extension Manager > Add, then start the program "
          "anew")  # fmt: skip
    return ALL_MET


def server_command() -> list[str]:
    """How this installation is started from outside, without the word `server`."""
    return [sys.executable, "-m", "drenchbook.command_line"]


def extension(command: Sequence[str]) -> bytes:
    """The bytes of the .oxt file, the same for the same program and command.

    Parameters
    ----------
    command : sequence of str
        What starts the program, where the user's environment does not say otherwise. [-]
    """
    source = resources.files("drenchbook.hosts") / "libreoffice"
    parts = {
        "META-INF/manifest.xml": MANIFEST.encode(),
        "description.xml": DESCRIPTION.encode(),
        "drenchbook.components": COMPONENTS.encode(),
        "Jobs.xcu": JOBS.encode(),
        "types.rdb": type_library(MODULE, INTERFACE, [method(function) for function in FUNCTIONS]),
        "functions.json": functions_json(command).encode(),
        COMPONENT: (source / COMPONENT).read_bytes(),
        **{f"pythonpath/{room}": (source / room).read_bytes() for room in ROOMS},
    }
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_STORED) as package:
        for name in sorted(parts):
            info = zipfile.ZipInfo(name, NO_DATE)
            info.create_system, info.external_attr = 3, 0o644 << 16
            package.writestr(info, parts[name])
    return made.getvalue()


def method_name(function: WorksheetFunction) -> str:
    """The function's name without the prefix, which the service has."""
    return function.name.removeprefix(PREFIX)


def method(function: WorksheetFunction) -> Method:
    """The function as a method: ranges for tables, anything for the rest, the document first."""
    takes = [DOCUMENT]
    for argument in function.takes:
        kind = RANGE if argument.kind == "table" else REPEATED if argument.repeats else ANY
        # An identifier has no underscore there, and must keep clear of the words that the language of types reserves.
        takes.append(("cell" + argument.name.title().replace("_", ""), kind))
    return Method(method_name(function), TABLE_ANSWER if function.gives == TABLE else ANY, tuple(takes))


def functions_json(command: Sequence[str]) -> str:
    """What the component reads about itself."""
    rows = {
        function.name: {
            "method": method_name(function),
            "help": f"{function.help}{_units(function)}",
            "table": function.gives == TABLE,
            "sentences": function.name in SENTENCES,
            "takes": [_argument(argument) for argument in function.takes],
        }
        for function in FUNCTIONS
    }
    told = {"version": __version__, "command": list(command), "functions": rows}
    return json.dumps(told, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def _argument(argument: Argument) -> dict[str, Any]:
    us, si = argument.unit(US), argument.unit(SI)
    unit = "" if not us else f" [{us}]" if us == si else f" [{us}; SI: {si}]"
    more = " (may be left out)" if argument.optional else ""
    return {"name": argument.name, "help": f"{argument.help}{unit}{more}", "repeats": argument.repeats}


def _units(function: WorksheetFunction) -> str:
    if function.gives in (TABLE, TEXT):
        return ""
    us, si = function.unit(), function.unit(tuple(SI if a.kind == "units" else None for a in function.takes))
    return "" if not us else f" [{us}]" if us == si else f" [{us}; SI: {si}]"
