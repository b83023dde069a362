"""What a person typed beside the site, carried into a workbook that is drawn anew.

Revisions, choices of the worked path, field readings, the first week, the review record, and columns of the user's own
on the input sheets. An open cell is known by the words that lead to it: the sheet, its heading or label, and its row;
so it is found again where rows and columns have moved. A number is converted where the units beside two cells differ.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from drenchbook.site_model import tag_key
from drenchbook.site_sheets import ReadSite, column_letters
from drenchbook.site_tables import PROJECT, STATIONS, TABLES, Table
from drenchbook.units import UNITS, convert
from drenchbook.workbook.beside_stations import HEADINGS as BESIDE_HEADINGS
from drenchbook.workbook.layout import COVER, FIELD_TEST, HEADING_ROW, REVIEW, WEEKLY, WORKED_PATH
from drenchbook.workbook.look import SLATE
from drenchbook.workbook.opening import place_of_name

SHEETS_WITH_OPEN_CELLS = (COVER, WORKED_PATH, FIELD_TEST, WEEKLY, REVIEW)
_HEADING_FILL = "FF" + SLATE[1:]
# Words of older templates for what has other words today.
_RENAMED = {
    "static pressure at the supply's gauge": "static pressure, first supply, before",
    "hot water at its source": "hot water at the first source",
    "gauge may err ±": "pressure gauge may err ±",
    "static pressure": "static",
    "flowing pressure": "flowing",
}

SHOWN = 3  # cells that a sentence names

Cell = tuple[str, int, int]  # sheet, row and column, 1-based
Key = tuple[str, ...]


@dataclass(frozen=True)
class OwnColumn:
    """A column of the user's own on an input sheet: its heading, and its cells by the row of the site."""

    table: Table
    heading: str
    cells: Mapping[int, Any]


@dataclass
class Carried:
    """What is taken along, and from which cells."""

    typed: dict[Key, tuple[Cell, str, Any]] = field(default_factory=dict)  # the cell, its unit and its value
    own: list[OwnColumn] = field(default_factory=list)
    cells: set[Cell] = field(default_factory=set)  # cells that nothing needs to be said of
    said: list[str] = field(default_factory=list)

    def __bool__(self) -> bool:
        return bool(self.typed or self.own)


@dataclass(frozen=True)
class Open:
    """A cell that is open for typing."""

    cell: Cell
    unit: str
    value: Any


def carried_from(book: Any, read: ReadSite, units: str) -> Carried:
    """Everything of a workbook that is taken along into one in `units`."""
    found = Carried()
    for key, place in open_cells(book).items():
        if place.value not in (None, "") and len(key) > 1:
            found.typed[key] = place.cell, place.unit, place.value
            found.cells.add(place.cell)
    for table in TABLES:
        if table is not PROJECT:
            for column, cells in _own_columns(book, read, table):
                found.own.append(column)
                found.cells |= cells
                numbers = any(isinstance(v, (int, float)) and not isinstance(v, bool) for v in column.cells.values())
                if units != read.site.units and numbers:
                    found.said.append(
                        f'carried over as typed: sheet {table.sheet}, your own column "{column.heading}"; its numbers '
                        "were not converted, as its unit is not known"
                    )
    return found


def open_cells(book: Any) -> dict[Key, Open]:
    """The open cells of the computed sheets by the words that lead to them; two with the same words are left out."""
    found: dict[Key, Open] = {}
    twice: set[Key] = set()
    for title in SHEETS_WITH_OPEN_CELLS:
        if title not in book.sheetnames:
            continue
        sheet = book[title]
        for cell in list(sheet._cells.values()):
            if cell.protection.locked or cell.data_type == "f":
                continue
            key, unit = _words_to(sheet, cell)
            twice |= {key} & found.keys()
            found[key] = Open((title, cell.row, cell.column), unit, cell.value)
    return {key: place for key, place in found.items() if key not in twice}


def _words_to(sheet: Any, cell: Any) -> tuple[Key, str]:
    """The words that lead to an open cell, and its unit."""
    heading = _heading_above(sheet, cell)
    if heading is None:
        return _labelled(sheet, cell)
    beside = _text(sheet, heading.row, 1)
    row = str(cell.row - heading.row)
    if sheet.title == FIELD_TEST:
        names = [_text(sheet, cell.row, column) for column in (1, 2)]
        if cell.column <= 2 or not names[0]:
            return (sheet.title,), ""  # names of a line, which is drawn anew, or a line without a name
        row = " | ".join(names)
    unit = _text(sheet, heading.row + 1, cell.column, exact=True)
    return (sheet.title, beside, _today(heading.value), row), unit if unit in UNITS else ""


def _labelled(sheet: Any, cell: Any) -> tuple[Key, str]:
    """An open cell with its label to the left, or right above where nothing stands to the left."""
    number = 1  # of the open cells behind the label
    for column in range(cell.column - 1, 0, -1):
        other = sheet._cells.get((cell.row, column))
        if other is not None and isinstance(other.value, str) and other.protection.locked and other.data_type != "f":
            words, _, unit = other.value.rpartition(", ")
            if unit not in UNITS:
                words, unit = other.value, _text(sheet, cell.row, cell.column + 1, exact=True)
            return (sheet.title, _today(words), str(number)), unit if unit in UNITS else ""
        number += other is not None and not other.protection.locked
    return (sheet.title, _today(_text(sheet, cell.row - 1, cell.column)), "below"), ""


def _heading_above(sheet: Any, cell: Any) -> Any:
    for row in range(cell.row - 1, 0, -1):
        other = sheet._cells.get((row, cell.column))
        if other is None or other.data_type == "f" or not isinstance(other.value, str):
            continue
        if other.protection.locked and other.fill.fill_type == "solid" and other.fill.fgColor.rgb == _HEADING_FILL:
            return other
    return None


def _text(sheet: Any, row: int, column: int, *, exact: bool = False) -> str:
    cell = sheet._cells.get((row, column))
    text = cell.value if cell is not None and isinstance(cell.value, str) and cell.data_type != "f" else ""
    return text if exact else tag_key(" ".join(text.split()))


def _today(words: Any) -> str:
    """Words as they are compared, those of older templates as they read today."""
    text = tag_key(" ".join(str(words).split()))
    return _RENAMED.get(text, text)


def _own_columns(book: Any, read: ReadSite, table: Table) -> Iterator[tuple[OwnColumn, set[Cell]]]:
    place = place_of_name(book, table.range_name)
    if place is None or place[0] not in book.sheetnames:
        return
    title, top, left, bottom, right = place
    sheet, known = book[title], {column.heading.casefold() for column in table.columns}
    rows = {_row_of(where): number for number, where in enumerate(read.places.get(table.key, ())) if where}
    columns = sorted({cell.column for cell in sheet._cells.values() if top < cell.row <= bottom})
    for column in columns:
        heading = sheet._cells.get((top, column))
        words = " ".join(str(heading.value).split()) if heading is not None and heading.value is not None else ""
        first = str(heading.value).split("\n")[0].strip().casefold() if words else ""
        if (left <= column <= right and first in known) or (table is STATIONS and words in BESIDE_HEADINGS):
            continue
        kept = {}
        for row, number in rows.items():
            cell = sheet._cells.get((row, column))
            if cell is not None and cell.value not in (None, "") and cell.data_type != "f":
                kept[number] = cell.value
        if kept:
            cells = {(title, row, column) for row, number in rows.items() if number in kept}
            yield OwnColumn(table, words, kept), cells


def _row_of(where: Mapping[str, str]) -> int:
    return int("".join(letter for letter in next(iter(where.values())) if letter.isdigit()))


def placed(carried: Carried, book: Any) -> tuple[dict[Cell, Any], list[str]]:
    """Where everything stands in a workbook that was drawn anew, and a sentence for what has no place there.

    Parameters
    ----------
    carried : Carried
        What was taken along.
    book : openpyxl.Workbook
        The new workbook.

    Returns
    -------
    dict, list of str
        Cell to value, in the units of the new workbook; sentences.
    """
    there, values, lost = open_cells(book), {}, []
    for key, (cell, unit, value) in carried.typed.items():
        if key not in there:
            lost.append(cell)
            continue
        values[there[key].cell] = _in_unit(value, unit, there[key].unit)
    said = []
    for title in SHEETS_WITH_OPEN_CELLS:
        if cells := [(row, column) for sheet, row, column in lost if sheet == title]:
            words = "what was typed there has no place in the new workbook"
            said.append(f"not carried over: sheet {title}, {words} ({names_of(cells)})")
    values.update(_own_places(carried, book))
    return values, said


def _in_unit(value: Any, old: str, new: str) -> Any:
    if not isinstance(value, (int, float)) or isinstance(value, bool) or old == new or not (old and new):
        return value
    # Fifteen digits hold the number; the sixteenth is noise of the conversion, and there and back must be the same.
    return float(f"{convert(float(value), old, new):.15g}")


def _own_places(carried: Carried, book: Any) -> Iterator[tuple[Cell, Any]]:
    used: dict[str, int] = {}
    for own in carried.own:
        place = place_of_name(book, own.table.range_name)
        if place is None:
            continue
        beside = len(BESIDE_HEADINGS) if own.table is STATIONS else 0
        used[own.table.key] = column = used.get(own.table.key, place[4] + beside) + 1
        yield (own.table.sheet, HEADING_ROW + 1, column), own.heading
        for number, value in own.cells.items():
            yield (own.table.sheet, HEADING_ROW + 2 + number, column), value


def names_of(cells: Iterable[tuple[int, int]]) -> str:
    """The names of some cells (row and column, 1-based) of a sheet as a sentence has them: the first few."""
    names = [f"{column_letters(column)}{row}" for row, column in sorted(cells)]
    return ", ".join(names[:SHOWN]) + (f" and {len(names) - SHOWN} more" if len(names) > SHOWN else "")


def write_typed(sheets: Mapping[str, Any], look: Any, values: Mapping[Cell, Any]) -> None:
    """Put the values into the cells of a workbook while it is drawn, in the format that each cell has."""
    import datetime

    for (title, row, column), value in values.items():
        sheet = sheets[title]
        held = sheet.table.get(row - 1, {}).get(column - 1)
        style = getattr(held, "format", None)
        if held is None:  # a cell of a column of the user's own
            is_date = isinstance(value, (datetime.date, datetime.datetime))
            shape = {"num_format": "yyyy-mm-dd", "align": "left"} if is_date else {"text_wrap": True}
            style = look("heading") if row == HEADING_ROW + 1 else look("input", **shape)
            sheet.set_column(column - 1, column - 1, 16)
        if isinstance(value, str):
            sheet.write_string(row - 1, column - 1, value, style)
        else:
            sheet.write(row - 1, column - 1, value, style)
