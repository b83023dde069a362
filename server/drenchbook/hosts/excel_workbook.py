"""A workbook with the functions of Excel on Windows in it: their module, the module of xlwings, and its settings sheet.

Every other part of the package keeps its bytes, with one exception that Excel itself makes when a workbook gets its
first macro: the workbook and each sheet are given the name by which macros know them (`codeName`).
"""

from __future__ import annotations

import io
import re
import sys
import tempfile
import zipfile
from importlib import metadata
from pathlib import Path
from xml.sax.saxutils import escape

from drenchbook.errors import ALL_MET, InputError, Problem, SiteError
from drenchbook.hosts.excel_examples import examples_workbook
from drenchbook.hosts.excel_module import MODULE_NAME, PYTHON_MODULE, module_text
from drenchbook.workbook.opening import refuse_unusable
from drenchbook.workbook.package import replace_file, with_parts

XLWINGS_MODULE = "xlwings"
SETTINGS_SHEET = "xlwings.conf"
PROJECT_PART, CONTENT_TYPES = "xl/vbaProject.bin", "[Content_Types].xml"
BOOK, BOOK_LINKS = "xl/workbook.xml", "xl/_rels/workbook.xml.rels"

_SPREADSHEET = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_MACRO_BOOK = "application/vnd.ms-excel.sheet.macroEnabled.main+xml"
_PLAIN_BOOK = re.compile(rf"{re.escape(_SPREADSHEET)}\.(?:sheet|template)\.main\+xml")
_SHEET_TYPE = f"{_SPREADSHEET}.worksheet+xml"
_SHEET_LINK = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet"
_SHEET = '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{columns}{cells}</worksheet>'
_NO_DATE = (1980, 1, 1, 0, 0, 0)


def as_macro_workbook(source: Path, target: Path, interpreter: str | None = None) -> None:
    """Write a workbook (.xlsx or .xlsm) as one with the functions in it (.xlsm); the same input gives the same bytes.

    Parameters
    ----------
    source, target : Path
        The workbook, which stays as it is, and the file to write, at one stroke. They may be the same file.
    interpreter : str, optional
        Path of the Python that has Drenchbook, for the settings sheet. Left out: this one on Windows, elsewhere
        "python". A settings sheet that is there already is kept.
    """
    if target.suffix.lower() != ".xlsm":
        raise InputError("OUT", target.name, "must end in .xlsm: a workbook with functions in it needs that name")
    try:
        with zipfile.ZipFile(source) as package:
            parts = {name: package.read(name) for name in (CONTENT_TYPES, BOOK, BOOK_LINKS)}
            names = set(package.namelist())
    except (OSError, KeyError, zipfile.BadZipFile):
        refuse_unusable(source)
        raise _refused(source, "is no workbook that can be read; save it as .xlsx in a spreadsheet program") from None
    changed, added = _with_settings(source, parts, names, interpreter or _this_interpreter())
    made = with_parts(source, changed) or source.read_bytes()
    replace_file(target, _with_modules(source, _with_added(made, added)))


def run(source: Path | None, target: Path, interpreter: str | None = None) -> int:
    """The command `addin excel`: of a workbook, or, where none is named, of one with an example of every function."""
    if source is not None:
        as_macro_workbook(source, target, interpreter)
    else:
        with tempfile.TemporaryDirectory() as folder:
            examples = Path(folder) / "examples.xlsx"
            examples.write_bytes(examples_workbook())
            as_macro_workbook(examples, target, interpreter)
    print(
        f"{target} written: open it in Excel on Windows, allow its macros, and read what drenchbook doctor says of it"
    )
    return ALL_MET


def modules() -> dict[str, str]:
    """The modules by name: ours, written from the registry, and the one that xlwings ships."""
    return {MODULE_NAME: module_text(), XLWINGS_MODULE: xlwings_module()}


def xlwings_module() -> str:
    """The module that starts the Python process, as the installed xlwings has it, with its licence (BSD-3)."""
    try:
        path = Path(str(metadata.distribution("xlwings").locate_file("xlwings/xlwings.bas")))
    except metadata.PackageNotFoundError:
        raise InputError("xlwings", None, "is not installed; install it with: python -m pip install xlwings") from None
    return path.read_bytes().decode("ascii")


def settings(interpreter: str) -> list[tuple[str, object]]:
    """What the settings sheet says. The functions must not depend on where a synchronised workbook happens to lie."""
    return [("Interpreter_Win", interpreter), ("PYTHONPATH", None), ("UDF Modules", PYTHON_MODULE),
            ("Debug UDFs", False), ("Use UDF Server", False), ("Show Console", False),
            ("ADD_WORKBOOK_TO_PYTHONPATH", False)]  # fmt: skip


def _this_interpreter() -> str:
    return sys.executable if sys.platform == "win32" else "python"


def _refused(source: Path, sentence: str) -> SiteError:
    return SiteError(str(source), [Problem("workbook", "", None, sentence, breaks_file=True)])


def _with_settings(
    source: Path, parts: dict[str, bytes], names: set[str], interpreter: str
) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """The parts that change and the parts that are new."""
    types, book, links = (parts[name].decode("utf-8") for name in (CONTENT_TYPES, BOOK, BOOK_LINKS))
    types, plain = _PLAIN_BOOK.subn(_MACRO_BOOK, types, count=1)
    if not plain and _MACRO_BOOK not in types:
        raise _refused(source, "is not an ordinary workbook; open it in a spreadsheet program and save it as .xlsx")
    added: dict[str, bytes] = {}
    if f'name="{SETTINGS_SHEET}"' not in book:
        part = _free_part(names)
        numbers = [int(found) for found in re.findall(r'\bId="rId(\d+)"', links)]
        link = f"rId{max(numbers, default=0) + 1}"
        number = 1 + max((int(found) for found in re.findall(r'\bsheetId="(\d+)"', book)), default=0)
        if "</sheets>" not in book or "r:id=" not in book:
            raise _refused(source, "has an unusual list of sheets; open it in a spreadsheet program and save it again")
        book = book.replace("</sheets>", f'<sheet name="{SETTINGS_SHEET}" sheetId="{number}" r:id="{link}"/></sheets>')
        links = links.replace("</Relationships>", f'<Relationship Id="{link}" Type="{_SHEET_LINK}" '
                                                  f'Target="{part.removeprefix("xl/")}"/></Relationships>')  # fmt: skip
        types = types.replace("</Types>", f'<Override PartName="/{part}" ContentType="{_SHEET_TYPE}"/></Types>')
        added[part] = _settings_sheet(interpreter).encode("utf-8")
    made = {CONTENT_TYPES: types.encode("utf-8"), BOOK: book.encode("utf-8"), BOOK_LINKS: links.encode("utf-8")}
    return {name: content for name, content in made.items() if content != parts[name]}, added


def _free_part(names: set[str]) -> str:
    number = 1
    while f"xl/worksheets/sheet{number}.xml" in names:
        number += 1
    return f"xl/worksheets/sheet{number}.xml"


def _settings_sheet(interpreter: str) -> str:
    rows = []
    for row, (name, value) in enumerate(settings(interpreter), start=1):
        cells = _text_cell(f"A{row}", name)
        if isinstance(value, bool):
            cells += f'<c r="B{row}" t="b"><v>{int(value)}</v></c>'
        elif value is not None:
            cells += _text_cell(f"B{row}", str(value))
        rows.append(f'<row r="{row}">{cells}</row>')
    widths = "".join(
        f'<col min="{at}" max="{at}" width="{width}" customWidth="1"/>' for at, width in ((1, 34), (2, 60))
    )
    return '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n' + _SHEET.format(
        columns=f"<cols>{widths}</cols>", cells=f"<sheetData>{''.join(rows)}</sheetData>"
    )


def _text_cell(place: str, text: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is><t>{escape(text)}</t></is></c>'


def _with_added(content: bytes, added: dict[str, bytes]) -> bytes:
    file = io.BytesIO(content)
    with zipfile.ZipFile(file, "a") as package:
        for name, part in added.items():
            entry = zipfile.ZipInfo(name, _NO_DATE)
            entry.compress_type, entry.external_attr, entry.create_system = zipfile.ZIP_DEFLATED, 0o600 << 16, 3
            package.writestr(entry, part)
    return file.getvalue()


def _with_modules(source: Path, content: bytes) -> bytes:
    """The package with the modules in its macro project, which is made where there is none; other modules stay."""
    try:
        from pyopenvba import ExcelFile, PyOpenVBAError  # type: ignore[import-untyped]
    except ImportError:
        raise InputError(
            "pyOpenVBA", None, "is not installed; install it with: python -m pip install pyOpenVBA"
        ) from None
    with tempfile.TemporaryDirectory() as folder:
        draft = Path(folder) / "draft.xlsm"
        draft.write_bytes(content)
        try:
            with ExcelFile(draft) as book:
                project = book.vba_project() if book.has_vba_project() else book.add_vba_project()
                for name, text in modules().items():
                    if name in project.module_names():
                        book.set_module(name, text)
                    else:
                        project.add_module(name, text)
                book.save()
        except PyOpenVBAError as error:
            raise _refused(source, f"cannot take the functions: {error}") from None
        return draft.read_bytes()


def read_modules(path: Path) -> dict[str, str]:
    """The macro modules that a workbook holds, by name; none where it has no macros."""
    from pyopenvba import ExcelFile

    with ExcelFile(path) as book:
        return book.vba_modules() if book.has_vba_project() else {}
