"""Read a workbook: find its tables by their names, take them as grids, and say in sentences what cannot be used."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drenchbook.errors import Problem
from drenchbook.site_model import Site
from drenchbook.site_sheets import Corner, ReadSite, read_grids
from drenchbook.site_tables import TABLES, Table
from drenchbook.workbook.older_templates import columns_it_lacked
from drenchbook.workbook.opening import Place, load, place_of_name, template_version

_FIRST_DAY = datetime.datetime(1899, 12, 30)  # day zero of a spreadsheet's calendar

CellValue = Callable[[str, str], Any]  # sheet and cell to the value of a formula


@dataclass(frozen=True)
class ReadWorkbook:
    """A workbook as read: its site, the problems found, and the open workbook."""

    read: ReadSite
    book: Any
    grids: Mapping[str, list[list[Any]]]
    version: int  # of the template

    @property
    def site(self) -> Site:
        """What the input sheets say."""
        return self.read.site

    @property
    def problems(self) -> tuple[Problem, ...]:
        """Every cell that cannot be used, and every broken heading."""
        return self.read.problems


def read_workbook(path: Path, *, older: bool = False) -> ReadWorkbook:
    """The site of a workbook. SiteError when the file is no workbook of ours, or cannot be opened.

    `older` takes workbooks of older templates too: a column that their template did not have is blank cells.
    """
    book = load(path, older=older)
    return read_book(book, path, _evaluated(book))


def read_book(book: Any, path: Path, value_of: CellValue) -> ReadWorkbook:
    """The site of an open workbook; `value_of` gives the value of a cell that holds a formula."""
    grids: dict[str, list[list[Any]]] = {}
    corners: dict[str, Corner] = {}
    broken: list[Problem] = []
    for table in TABLES:
        place = place_of_name(book, table.range_name)
        if place is None or place[0] not in book.sheetnames:
            continue
        sheet, top, left, bottom, right = place
        corners[table.key] = Corner(row=top, column=left)
        grids[table.key] = _grid(book[sheet], top, left, bottom, right, value_of)
        broken += _other_sheet(table, sheet)
        broken += _merged(book[sheet], place)
    version = template_version(book, path)
    read = read_grids(grids, corners, lacked=columns_it_lacked(version))
    return ReadWorkbook(ReadSite(read.site, (*broken, *read.problems), read.places), book, grids, version)


def _other_sheet(table: Table, sheet: str) -> list[Problem]:
    if sheet == table.sheet:
        return []
    return [
        Problem(
            sheet, "", sheet, f"this sheet holds the table {table.sheet}; give it that name again, sentences use it"
        )
    ]


def _merged(sheet: Any, place: Place) -> list[Problem]:
    """Merged cells in a table: only one of them holds what was typed, and the others would count as blank."""
    _, top, left, bottom, right = place
    return [
        Problem(sheet.title, str(area.coord), None, "these cells are merged, and all but the first count as blank; "
                "split them and type the value in each row", breaks_file=True)
        for area in sheet.merged_cells.ranges
        if area.min_row <= bottom and area.max_row >= top and area.min_col <= right and area.max_col >= left
    ]  # fmt: skip


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
    place = place_of_name(book, name)
    if place is None:
        return None
    from openpyxl.utils.cell import get_column_letter

    return place[0], f"{get_column_letter(place[2])}{place[1]}"
