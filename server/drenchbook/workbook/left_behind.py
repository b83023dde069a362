"""What a workbook holds and does not pass on when its site is written anew: sentences for who typed it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set
from typing import Any

from drenchbook.site_tables import STATIONS, TABLES, Table
from drenchbook.workbook.beside_stations import HEADINGS
from drenchbook.workbook.carried_over import Cell, names_of
from drenchbook.workbook.layout import FIELD_TEST, SHEETS
from drenchbook.workbook.opening import Place, place_of_name


def left_behind(book: Any, carried: Set[Cell] = frozenset()) -> list[str]:
    """A sentence for each kind of thing that the site of a workbook does not hold, but for the cells that are carried.

    Columns and sheets of the user's own, cells below the dark line, formulas in input cells (their values are carried
    over), comments, and what was typed into the open cells of computed sheets.
    """
    said: list[str] = []
    for table in TABLES:
        place = place_of_name(book, table.range_name)
        if place is not None and place[0] in book.sheetnames:
            said += _of_table(table, book[place[0]], place, carried)
    inputs = {place[0] for table in TABLES if (place := place_of_name(book, table.range_name)) is not None}
    for sheet in book.worksheets:
        if sheet.title not in inputs:
            said += _of_other_sheet(sheet, carried)
    return said


def _of_table(table: Table, sheet: Any, place: Place, carried: Set[Cell]) -> Iterator[str]:
    _, top, left, bottom, right = place
    known = {column.heading.casefold() for column in table.columns}
    cells = [cell for cell in list(sheet._cells.values()) if cell.value is not None and cell.value != ""]
    rows: dict[int, list[Any]] = {}
    for cell in cells:
        rows.setdefault(cell.column, []).append(cell)
    for column in sorted(rows):
        heading = sheet.cell(top, column).value
        words = " ".join(str(heading).split("\n")[0].split()) if heading is not None else ""
        own = [cell for cell in rows[column]
               if top < cell.row <= bottom and (sheet.title, cell.row, cell.column) not in carried]  # fmt: skip
        # the Project sheet has four headings of its own, and its settings stand in rows
        if column > right and table is STATIONS and words in HEADINGS:
            continue  # drawn anew
        of_ours = left <= column <= right and (table.key == "project" or words.casefold() in known)
        if own and not of_ours:
            name = f'your own column "{words}"' if words else f"the column of {own[0].coordinate}"
            yield f"not carried over: sheet {sheet.title}, {name} ({_cells(own)})"
    stray = [cell for cell in cells if cell.row > bottom and not _is_advice(cell, bottom)]
    if stray:
        yield f"not carried over: sheet {sheet.title}, what stands below the dark line ({_cells(stray)})"
    formulas = [cell for cell in cells
                if cell.data_type == "f" and top < cell.row <= bottom and left <= cell.column <= right]  # fmt: skip
    if formulas:
        yield f"carried over as values: sheet {sheet.title}, formulas ({_cells(formulas)})"
    yield from _comments(sheet)


def _is_advice(cell: Any, bottom: int) -> bool:
    return cell.row == bottom + 1 and str(cell.value).startswith("▲")


def _of_other_sheet(sheet: Any, carried: Set[Cell]) -> Iterator[str]:
    cells = [cell for cell in list(sheet._cells.values()) if cell.value is not None and cell.value != ""]
    if sheet.title not in SHEETS:
        if cells:
            yield f"not carried over: your own sheet {sheet.title} ({_cells(cells)})"
        return
    typed = [cell for cell in cells
             if not cell.protection.locked and not _is_line_of_field_test(cell)
             and (sheet.title, cell.row, cell.column) not in carried]  # fmt: skip
    if typed and sheet.protection.sheet:
        yield f"not carried over: sheet {sheet.title}, what was typed or chosen there ({_cells(typed)})"
    yield from _comments(sheet)


def _is_line_of_field_test(cell: Any) -> bool:
    """Station and outlet of a line of the Field test: they are drawn anew from the sheet Stations."""
    return cell.parent.title == FIELD_TEST and cell.column <= 2


def _comments(sheet: Any) -> Iterator[str]:
    commented = [cell for cell in sheet._cells.values() if cell.comment is not None]
    if commented:
        yield f"not carried over: sheet {sheet.title}, comments ({_cells(commented)})"


def _cells(cells: Iterable[Any]) -> str:
    return names_of((cell.row, cell.column) for cell in cells)
