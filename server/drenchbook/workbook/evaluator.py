"""The headless evaluator: works out the formulas that stand in a workbook, without any spreadsheet program.

Each formula cell is worked out when it is first asked for and kept. Chains of cells deeper than Python's own stack are
taken up again from the cell they had reached.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from openpyxl.utils.cell import get_column_letter, range_boundaries
from openpyxl.workbook import Workbook
from openpyxl.worksheet.formula import ArrayFormula, DataTableFormula

from drenchbook.errors import InputError, Problem
from drenchbook.formula_grammar import Node, parsed
from drenchbook.formula_language import Language
from drenchbook.formula_values import (
    DATES,
    ERRORS,
    NAME,
    NOT_AVAILABLE,
    NUMBER,
    REFERENCE,
    VALUE,
    ErrorValue,
    Grid,
    first_cell,
    serial,
)
from drenchbook.registry_externals import EXTERNALS

DEEPEST = 8  # formula cells inside each other; a nested formula takes up to a hundred frames of Python's thousand
LONG, WIDE = 100_000, 10_000  # rows and columns from which a range is taken for a whole column or row
Cached = Callable[[str, str], Any]  # sheet title and cell to the value that the file holds


@dataclass
class Evaluation:
    """What came out: a value for each formula cell and array member, and the sentences.

    `values` maps (sheet, cell) to a number, text, True or False, or an `ErrorValue`. `problems` are formulas that could
    not be evaluated; `reasons` says for (sheet, cell) why one of our functions refused its arguments.
    """

    values: dict[tuple[str, str], Any] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    reasons: dict[tuple[str, str], str] = field(default_factory=dict)


def evaluate_workbook(
    book: Workbook, wanted_sheets: Collection[str] | None = None, cached: Cached | None = None
) -> Evaluation:
    """Work out the formulas of a workbook that was loaded with its formulas.

    Parameters
    ----------
    book : openpyxl workbook
        Loaded without `data_only` and not read-only. [-]
    wanted_sheets : collection of str, optional
        Titles of the sheets whose formulas are wanted, with whatever they refer to elsewhere; all where left out. [-]
    cached : function, optional
        Gives the value that the file holds for (sheet, cell); it stands in for a formula that we do not evaluate. [-]

    Returns
    -------
    Evaluation
        Values, problems and reasons. [-]
    """
    running = _Book(book, cached)
    for title in book.sheetnames:
        if wanted_sheets is None or title in wanted_sheets:
            for formula in running.formulas(title):
                running.value_of(formula)
    return running.evaluation()


class _Formula:
    """A cell that holds a formula; a member of an array points to the cell that holds it for all."""

    __slots__ = ("anchor", "area", "book", "column", "done", "row", "sheet", "text", "trouble", "value")

    def __init__(self, sheet: _Sheet, row: int, column: int, text: str, area: tuple[int, int] | None = None,
                 anchor: _Formula | None = None):  # fmt: skip
        self.book, self.sheet, self.row, self.column, self.text = sheet.book, sheet, row, column, text
        self.area, self.anchor = area, anchor  # rows and columns of an array formula
        self.done = False
        self.trouble = ""
        self.value: Any = None

    @property
    def cell(self) -> str:
        return f"{get_column_letter(self.column)}{self.row}"


class _Sheet:
    """One sheet: its cells by (row, column), formulas among them."""

    def __init__(self, book: _Book, source: Any):
        self.book, self.title = book, source.title
        self.cells: dict[tuple[int, int], Any] = {}
        self.rows, self.columns = 1, 1
        self.names = {name.upper(): each.attr_text for name, each in source.defined_names.items()}
        arrays: list[_Formula] = []
        # The sheet's own dictionary of cells: walking it by rows would create every cell in between.
        for place, cell in source._cells.items():
            value = cell.value
            if value is None:
                continue
            kind = cell.data_type
            if kind == "f":
                value = self._formula(place, value, arrays)
            elif kind == "e":
                value = ERRORS.get(value, VALUE)
            self.cells[place] = value
            self.rows, self.columns = max(self.rows, place[0]), max(self.columns, place[1])
        for anchor in arrays:
            self._members(anchor)

    def _formula(self, place: tuple[int, int], value: Any, arrays: list[_Formula]) -> _Formula:
        if isinstance(value, ArrayFormula):
            left, top, right, bottom = range_boundaries(value.ref)
            made = _Formula(self, *place, value.text or "", (bottom - top + 1, right - left + 1))
            arrays.append(made)
            return made
        return _Formula(self, *place, "" if isinstance(value, DataTableFormula) else value)

    def _members(self, anchor: _Formula) -> None:
        rows, columns = anchor.area or (1, 1)
        for down in range(rows):
            for across in range(columns):
                if down or across:
                    row, column = anchor.row + down, anchor.column + across
                    self.cells[row, column] = _Formula(self, row, column, "", anchor=anchor)
        self.rows = max(self.rows, anchor.row + rows - 1)
        self.columns = max(self.columns, anchor.column + columns - 1)


class _NeedsFirst(Exception):  # noqa: N818 - not an error: the cell that has to be worked out before going on
    def __init__(self, formula: _Formula):
        super().__init__(formula.cell)
        self.formula = formula


class _Book:
    """The workbook while it is worked out; formulas read their cells here."""

    def __init__(self, source: Workbook, cached: Cached | None):
        self.cached = cached
        self.language = Language(EXTERNALS)
        self.sources = {sheet.title.casefold(): sheet for sheet in source.worksheets}
        self.sheets: dict[str, _Sheet] = {}
        self.names = {name.upper(): each.attr_text for name, each in source.defined_names.items()}
        self.definitions: dict[str, Node | None] = {}
        self.areas: dict[Any, Grid] = {}
        self.under_way: list[_Formula] = []
        self.waiting: dict[_Formula, None] = {}
        self.circular: set[_Formula] = set()
        self.problems: dict[_Formula, str] = {}
        self.reasons: dict[_Formula, str] = {}
        self.told: dict[int, ErrorValue] = {}

    def sheet(self, title: str) -> _Sheet | None:
        """A sheet by its title, its cells sorted out when it is first asked for."""
        key = title.casefold()
        if key not in self.sheets and key in self.sources:
            self.sheets[key] = _Sheet(self, self.sources[key])
        return self.sheets.get(key)

    def formulas(self, title: str) -> Iterator[_Formula]:
        """The formula cells of a sheet, in the order of the file."""
        sheet = self.sheet(title)
        return (value for value in (sheet.cells.values() if sheet else ()) if value.__class__ is _Formula)

    # What formulas ask for ---------------------------------------------------------------------------------------

    def cell(self, at: _Formula, sheet: str | None, row: int, column: int) -> Any:
        """Value of one cell; None where it is blank."""
        where = at.sheet if sheet is None else self.sheet(sheet)
        if where is None or row < 1 or column < 1:
            return self._no_sheet(at, sheet)
        value = where.cells.get((row, column))
        if value.__class__ is _Formula:
            return value.value if value.done else self._inside(value)
        return value

    def area(self, at: _Formula, sheet: str | None, first: tuple[int, int], last: tuple[int, int]) -> Grid:
        """Values of a range, kept for the next formula that asks for the same one."""
        where = at.sheet if sheet is None else self.sheet(sheet)
        if where is None or first[0] < 1 or first[1] < 1:
            return Grid.of([[self._no_sheet(at, sheet)]])
        key = where, first, last
        found = self.areas.get(key)
        if found is None:
            found = self._grid(where, first, last)
            if not self.circular:
                self.areas[key] = found
        return found

    def _grid(self, where: _Sheet, first: tuple[int, int], last: tuple[int, int]) -> Grid:
        # A whole column or row ends where the sheet's used part ends.
        bottom = last[0] if last[0] - first[0] < LONG else max(where.rows, first[0])
        right = last[1] if last[1] - first[1] < WIDE else max(where.columns, first[1])
        rows, columns, get = range(first[0], bottom + 1), range(first[1], right + 1), where.cells.get
        found = [get((row, column)) for row in rows for column in columns]
        for at, value in enumerate(found):
            if value.__class__ is _Formula:
                found[at] = value.value if value.done else self._inside(value)
        cells = np.empty(len(found), dtype=object)
        cells[:] = found
        return Grid(cells.reshape(len(rows), len(columns)), first)

    def definition(self, at: _Formula, sheet: str | None, name: str) -> Node | None:
        """Tree of a defined name; a name of the formula's own sheet comes before the workbook's."""
        owner = getattr(at, "sheet", None) if sheet is None else self.sheet(sheet)
        text = owner.names.get(name.upper()) if owner else None
        text = text or self.names.get(name.upper())
        if text is None:
            return None
        if text not in self.definitions:
            try:
                self.definitions[text] = parsed(text)
            except InputError:
                self.definitions[text] = None
        return self.definitions[text]

    def trouble(self, at: _Formula, error: ErrorValue) -> ErrorValue:
        """Note a formula that we cannot evaluate."""
        at.trouble = at.trouble or error.reason
        return error

    def _no_sheet(self, at: _Formula, sheet: str | None) -> ErrorValue:
        sentence = f"there is no sheet {sheet}" if sheet is not None else "the reference lies outside the sheet"
        return self.trouble(at, ErrorValue(REFERENCE.code, sentence))

    # Working a cell out ------------------------------------------------------------------------------------------

    def value_of(self, formula: _Formula) -> Any:
        """Value of a formula cell, asked from outside of any formula."""
        self.waiting[formula.anchor or formula] = None
        while self.waiting:
            last = next(reversed(self.waiting))
            try:
                if not last.done:
                    self._work_out(last)
                del self.waiting[last]
            except _NeedsFirst as needed:
                self.waiting[needed.formula] = None
        return formula.value

    def _inside(self, formula: _Formula) -> Any:
        """Value of a formula cell that another formula asks for."""
        source = formula.anchor or formula
        if source in self.waiting or source in self.under_way:
            # Whatever waits for a cell that waits for it stands in one circle with it; whoever asked gets an error.
            chain = [*self.waiting, *self.under_way]
            self.circular.update(chain[chain.index(source) :])
            return VALUE
        if len(self.under_way) >= DEEPEST:
            raise _NeedsFirst(source)
        self._work_out(source)
        return formula.value

    def _work_out(self, formula: _Formula) -> None:
        self.under_way.append(formula)
        try:
            value = self._value(formula)
        finally:
            self.under_way.pop()
        if formula in self.circular:
            formula.trouble = "refers to itself, directly or through other cells"
            value = ErrorValue(VALUE.code, formula.trouble)
        elif formula.trouble and self.cached is not None:
            value = self._kept(formula, value)
        self._spread(formula, value)
        if formula.trouble:
            self.problems[formula] = formula.trouble
        elif value.__class__ is ErrorValue and value.reason and id(value) not in self.told:
            self.told[id(value)] = value  # the cells that it spreads to need no sentence of their own
            self.reasons[formula] = value.reason

    def _kept(self, formula: _Formula, value: Any) -> Any:
        """The value that the file holds, for a formula that we do not evaluate."""
        assert self.cached is not None
        kept = self.cached(formula.sheet.title, formula.cell)
        return value if kept is None else ERRORS.get(kept, kept) if isinstance(kept, str) else kept

    def _value(self, formula: _Formula) -> Any:
        scope = formula.sheet.title if formula.sheet.names else ""
        try:
            runs = self.language.compiled(formula.text, formula, formula.area is not None, scope)
        except InputError as error:
            return self.trouble(formula, ErrorValue(NAME.code, error.wanted))
        return runs(formula)

    def _spread(self, formula: _Formula, value: Any) -> None:
        """Give the cell its value, and the members of an array theirs."""
        rows, columns = formula.area or (1, 1)
        for down in range(rows):
            for across in range(columns):
                member = formula.sheet.cells.get((formula.row + down, formula.column + across))
                if member.__class__ is _Formula and (member is formula or member.anchor is formula):
                    member.value = _final(_member(value, down, across) if formula.area else first_cell(value))
                    member.done = True

    def evaluation(self) -> Evaluation:
        """Everything that was worked out."""
        found = Evaluation()
        for sheet in self.sheets.values():
            for value in sheet.cells.values():
                if value.__class__ is _Formula and value.done:
                    found.values[sheet.title, value.cell] = value.value
        found.problems = [Problem(f.sheet.title, f.cell, f.text, sentence) for f, sentence in self.problems.items()]
        found.reasons = {(f.sheet.title, f.cell): sentence for f, sentence in self.reasons.items()}
        return found


def _member(value: Any, down: int, across: int) -> Any:
    """One member of an array: a single row, column or value repeats, a place beyond the array is #N/A."""
    if value.__class__ is not Grid:
        return value
    rows, columns = value.shape
    down, across = (0 if rows == 1 else down), (0 if columns == 1 else across)
    return value.item(down, across) if down < rows and across < columns else NOT_AVAILABLE


def _final(value: Any) -> Any:
    """A value as a cell keeps it: a blank is zero, a date its number, and every number finite."""
    if value is None:
        return 0.0
    if isinstance(value, DATES):
        return _date_number(value)
    if value.__class__ is float:
        return value if math.isfinite(value) else NUMBER
    return float(value) if value.__class__ is int else value


def _date_number(value: Any) -> float:
    if isinstance(value, datetime.timedelta):
        return value.total_seconds() / 86_400
    return serial(value)
