"""Read a workbook: find its tables by their names, take them as grids, and say in sentences what cannot be used."""

from __future__ import annotations

import datetime
import re
import warnings
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drenchbook.errors import Problem, SiteError
from drenchbook.site_model import Site
from drenchbook.site_sheets import Corner, ReadSite, read_grids
from drenchbook.site_tables import TABLES, Table
from drenchbook.workbook.layout import TEMPLATE_VERSION, VERSION_NAME

LARGEST_FILE = 100 * 2**20  # bytes; a schedule workbook of 5,000 stations has a tenth of it
LARGEST_UNPACKED = 2 * 2**30
_OLD_FORMAT = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_REFERENCE = re.compile(r"^(?:'((?:[^']|'')+)'|([^'!]+))!\$?([A-Z]+)\$?(\d+)(?::\$?([A-Z]+)\$?(\d+))?$")
_FIRST_DAY = datetime.datetime(1899, 12, 30)  # day zero of a spreadsheet's calendar

CellValue = Callable[[str, str], Any]  # sheet and cell to the value of a formula


@dataclass(frozen=True)
class ReadWorkbook:
    """A workbook as read: its site, the problems found, and the open workbook."""

    read: ReadSite
    book: Any
    grids: Mapping[str, list[list[Any]]]

    @property
    def site(self) -> Site:
        """What the input sheets say."""
        return self.read.site

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Every cell that cannot be used, and every broken heading."""
        return self.read.problems


def read_workbook(path: Path) -> ReadWorkbook:
    """The site of a workbook. SiteError when the file is no workbook of ours, or cannot be opened."""
    book = load(path)
    return read_book(book, path, _evaluated(book))


def load(path: Path) -> Any:
    """Open a workbook with its formulas, or say in one sentence why it cannot be opened."""
    _refuse_unusable(path)
    import openpyxl

    try:
        with warnings.catch_warnings():  # what the library does not keep, we do not write: the package is patched
            warnings.simplefilter("ignore")
            book = openpyxl.load_workbook(path)
    except (OSError, ValueError, KeyError, TypeError, SyntaxError, zipfile.BadZipFile) as error:
        raise _refused(
            path, f"is damaged or no workbook: {error}. Open it in a spreadsheet program and save it"
        ) from None
    _refuse_other_version(book, path)
    return book


def _refused(path: Path, sentence: str) -> SiteError:
    return SiteError(str(path), [Problem("workbook", "", None, sentence, breaks_file=True)])


def _refuse_unusable(path: Path) -> None:
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(2**16)
    except FileNotFoundError:
        raise _refused(path, "does not exist; check the name and the folder") from None
    except IsADirectoryError:
        raise _refused(path, "is a folder; name a workbook in it") from None
    except PermissionError:
        raise _refused(path, "is locked or may not be read; close it in the other program and try again") from None
    except OSError as error:
        raise _refused(path, f"cannot be opened: {error.strerror}") from None
    if size > LARGEST_FILE:
        raise _refused(path, f"has {size / 2**20:.0f} MB; at most {LARGEST_FILE // 2**20} MB are read. Remove pictures")
    if size == 0:
        raise _refused(path, "is empty; no workbook was saved in it")
    if head.startswith(_OLD_FORMAT):
        if _ENCRYPTED in head or _ENCRYPTED in path.read_bytes():
            raise _refused(path, "is encrypted; remove its password in the spreadsheet program and save it")
        raise _refused(path, "is in the old .xls format; save it as .xlsx")
    if not zipfile.is_zipfile(path):
        raise _refused(
            path, "is not a workbook; a file ending in .xlsx or .xlsm that a spreadsheet program saved is read"
        )
    with zipfile.ZipFile(path) as package:
        unpacked = sum(entry.file_size for entry in package.infolist())
        if unpacked > LARGEST_UNPACKED:
            raise _refused(
                path, f"unpacks to {unpacked / 2**30:.1f} GB; at most {LARGEST_UNPACKED // 2**30} GB are read"
            )


def _refuse_other_version(book: Any, path: Path) -> None:
    place = _reference(book, VERSION_NAME)
    if place is None:
        raise _refused(path, f"is a workbook, but not one of ours: the name {VERSION_NAME} is missing. "
                             "Begin with: drenchbook start NEW.xlsx")  # fmt: skip
    sheet, row, column, _, _ = place
    version = book[sheet].cell(row, column).value if sheet in book.sheetnames else None
    if isinstance(version, str):
        version = version.lstrip("=")
    try:
        number = int(float(str(version)))
    except ValueError:
        raise _refused(path, f"has no template version in sheet {sheet}, row {row}; restore the sheet") from None
    if number != TEMPLATE_VERSION:
        remedy = "install the newer program"
        if number < TEMPLATE_VERSION:
            remedy = ("with the program version that made it: drenchbook convert OLD.xlsx SITE.toml; "
                      "then with this one: drenchbook convert SITE.toml NEW.xlsx")  # fmt: skip
        raise _refused(path, f"has template version {number}, this program reads version {TEMPLATE_VERSION}; {remedy}")


def _reference(book: Any, name: str) -> tuple[str, int, int, int, int] | None:
    """Sheet, first row and column, last row and column of a name of the whole workbook; None where there is none."""
    defined = book.defined_names.get(name)
    found = _REFERENCE.match(defined.attr_text.strip()) if defined is not None and defined.attr_text else None
    if found is None:
        return None
    from openpyxl.utils.cell import column_index_from_string

    quoted, plain, left, top, right, bottom = found.groups()
    sheet = quoted.replace("''", "'") if quoted else plain
    first, last = column_index_from_string(left), column_index_from_string(right or left)
    return sheet, int(top), first, int(bottom or top), last


def read_book(book: Any, path: Path, value_of: CellValue) -> ReadWorkbook:
    """The site of an open workbook; `value_of` gives the value of a cell that holds a formula."""
    grids: dict[str, list[list[Any]]] = {}
    corners: dict[str, Corner] = {}
    renamed: list[Problem] = []
    for table in TABLES:
        place = _reference(book, table.range_name)
        if place is None or place[0] not in book.sheetnames:
            continue
        sheet, top, left, bottom, right = place
        corners[table.key] = Corner(row=top, column=left)
        grids[table.key] = _grid(book[sheet], top, left, bottom, right, value_of)
        renamed += _other_sheet(table, sheet)
    read = read_grids(grids, corners)
    return ReadWorkbook(ReadSite(read.site, (*renamed, *read.problems), read.places), book, grids)


def _other_sheet(table: Table, sheet: str) -> list[Problem]:
    if sheet == table.sheet:
        return []
    return [
        Problem(
            sheet, "", sheet, f"this sheet holds the table {table.sheet}; give it that name again, sentences use it"
        )
    ]


def _grid(sheet: Any, top: int, left: int, bottom: int, right: int, value_of: CellValue) -> list[list[Any]]:
    get = sheet._cells.get  # walking the sheet by rows would create every cell in between
    return [[_value(sheet, get((row, column)), value_of) for column in range(left, right + 1)]
            for row in range(top, bottom + 1)]  # fmt: skip


def _value(sheet: Any, cell: Any, value_of: CellValue) -> Any:
    if cell is None or cell.value is None:
        return None
    if cell.data_type != "f":
        return cell.value
    from openpyxl.styles.numbers import is_date_format

    value = value_of(sheet.title, cell.coordinate)
    if isinstance(value, float) and is_date_format(cell.number_format):
        return _FIRST_DAY + datetime.timedelta(days=value)
    return getattr(value, "code", value)


def _evaluated(book: Any) -> CellValue:
    """Values of formulas in the input sheets, worked out when the first is asked for."""
    found: dict[tuple[str, str], Any] = {}

    def value_of(sheet: str, cell: str) -> Any:
        if not found:
            from drenchbook.workbook.evaluator import evaluate_workbook

            found.update(evaluate_workbook(book, {table.sheet for table in TABLES}).values)
        return found.get((sheet, cell))

    return value_of


def cell_of_name(book: Any, name: str) -> tuple[str, str] | None:
    """Sheet and cell that a name of the whole workbook stands for."""
    place = _reference(book, name)
    if place is None:
        return None
    from openpyxl.utils.cell import get_column_letter

    return place[0], f"{get_column_letter(place[2])}{place[1]}"
