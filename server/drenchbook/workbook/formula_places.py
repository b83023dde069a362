"""Where formulas belong in a workbook, and what was typed over them (DAT-6).

When a workbook is drawn, every block of formulas gets a name, `Computed_…`. Spreadsheet programs move names with their
cells, so that the blocks are found again after rows were inserted, and a number, a text or a blank in one is seen.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from drenchbook.check_samples import NOT_KNOWN
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.errors import Problem, shown
from drenchbook.site_line import SiteLine, sentence
from drenchbook.site_tables import STATIONS
from drenchbook.workbook.drawing import Drawing
from drenchbook.workbook.layout import HEADING_ROW, RESULTS, SCHEDULE, cell_name, on_sheet, range_name

PREFIX = "Computed_"
BESIDE = "Beside_"  # blocks in which a row that a person inserts may stay blank
MOST_LINES = 50  # typed-over cells that get a line of their own

Block = tuple[int, int, int, int]  # first row and column, last row and column, 0-based


def name_formula_places(drawing: Drawing) -> None:
    """Give a name to every block of formulas of a workbook that is drawn but not closed yet."""
    for title, sheet in drawing.sheets.items():
        places = set()
        for row, cells in sheet.table.items():
            for column, cell in cells.items():
                kind = type(cell).__name__
                if kind == "Formula":
                    places.add((row, column))
                elif kind == "ArrayFormula":
                    places |= set(_members(cell.range))
        for number, block in enumerate(blocks(places), start=1):
            beside = title == STATIONS.sheet and block[0] > HEADING_ROW
            name = f"{BESIDE if beside else PREFIX}{title.replace(' ', '_')}_{number}"
            drawing.define(name, on_sheet(title, range_name(*block)))


def _members(area: str) -> Iterator[tuple[int, int]]:
    from openpyxl.utils.cell import range_boundaries

    left, top, right, bottom = range_boundaries(area)
    return ((row - 1, column - 1) for row in range(top, bottom + 1) for column in range(left, right + 1))


def blocks(places: set[tuple[int, int]]) -> list[Block]:
    """The rectangles that cover some cells and no others: runs along rows, joined downward where they are alike.

    >>> blocks({(0, 0), (0, 1), (1, 0), (1, 1), (2, 1)})
    [(0, 0, 1, 1), (2, 1, 2, 1)]
    """
    done: list[Block] = []
    growing: dict[tuple[int, int], int] = {}
    for row in sorted({row for row, _ in places} | {row + 1 for row, _ in places}):
        spans = set(_spans(sorted(column for at, column in places if at == row))) if row >= 0 else set()
        for span in [span for span in growing if span not in spans]:
            done.append((growing.pop(span), span[0], row - 1, span[1]))
        for span in spans:
            growing.setdefault(span, row)
    return sorted(done)


def _spans(columns: list[int]) -> Iterator[tuple[int, int]]:
    start = 0
    for place in range(1, len(columns) + 1):
        if place == len(columns) or columns[place] != columns[place - 1] + 1:
            yield columns[start], columns[place - 1]
            start = place


def typed_over(book: Any) -> list[Problem]:
    """Every cell of a workbook that holds a number, a text or nothing where a formula belongs."""
    found, members = [], {sheet.title: _array_members(sheet) for sheet in book.worksheets}
    names = [name for name in book.defined_names if name.startswith((PREFIX, BESIDE))]
    for name in names:
        for sheet, cells in book.defined_names[name].destinations:
            if sheet not in book.sheetnames:
                continue
            get = book[sheet]._cells.get  # asking the sheet itself would create the cells that are missing
            for row, column in _members(cells.replace("$", "")):
                cell = get((row + 1, column + 1))
                value = None if cell is None else cell.value
                if name.startswith(BESIDE) and value is None:
                    continue
                if (row, column) not in members[sheet] and (cell is None or cell.data_type != "f"):
                    found.append(_problem(sheet, row, column, value))
    return found


def _missing_sheets(book: Any) -> list[str]:
    """The sheets that others look up in, of which no block of formulas is left, whatever the sheet is named now."""
    found = []
    for title in (SCHEDULE, RESULTS):
        names = [name for name in book.defined_names if name.startswith(f"{PREFIX}{title}_")]
        places = [place for name in names for place in book.defined_names[name].destinations]
        if not any(sheet in book.sheetnames for sheet, _ in places):
            found.append(title)
    return found


def _array_members(sheet: Any) -> set[tuple[int, int]]:
    found: set[tuple[int, int]] = set()
    for cell in sheet._cells.values():
        area = getattr(cell.value, "ref", None) if cell.data_type == "f" else None
        if area:
            found.update(_members(area))
    return found


def _problem(sheet: str, row: int, column: int, value: Any) -> Problem:
    return Problem(sheet, cell_name(row, column, fixed=False), value, f"{_what(value)} where a formula belongs")


def _what(value: Any) -> str:
    return "a blank stands" if value is None else f"{shown(value)} stands"


def formula_lines(book: Any) -> list[SiteLine]:
    """DAT-6 as lines of the site, one for each cell; UNKNOWN where the workbook does not say where formulas belong."""
    check = CHECK_BY_ID["DAT-6"]
    if not any(name.startswith(PREFIX) for name in book.defined_names):
        words = "Where formulas belong is not known: the names of their places are missing in this workbook."
        return [SiteLine(check, "workbook", NOT_KNOWN, words, remedy=sentence(check.remedy))]
    problems = typed_over(book)
    lines = [
        SiteLine(check, title, check.severity, sentence(f"Sheet {title} is missing, and results are looked up there"),
                 remedy="Make the workbook anew; this one stays: drenchbook convert OLD.xlsx NEW.xlsx.")
        for title in _missing_sheets(book)
    ]  # fmt: skip
    lines += [
        SiteLine(check, f"{problem.sheet} {problem.cell}", check.severity,
                 sentence(f"Sheet {problem.sheet}, cell {problem.cell}: {problem.remedy}"),
                 remedy=sentence(check.remedy))
        for problem in problems[:MOST_LINES]
    ]  # fmt: skip
    if len(problems) > MOST_LINES:
        words = f"{len(problems) - MOST_LINES} more cells hold no formula where one belongs"
        lines.append(SiteLine(check, "more cells", check.severity, sentence(words), remedy=sentence(check.remedy)))
    return lines
