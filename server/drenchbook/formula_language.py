"""Formulas made ready to run: each shape of formula is read once and becomes a function of the cell it stands in.

Two formulas have the same shape when they differ only as a formula does that is filled down a column.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from drenchbook.errors import InputError
from drenchbook.formula_functions import CHOOSING, ORDINARY, OrdinaryFunction
from drenchbook.formula_grammar import LAST_COLUMN, LAST_ROW, Node, column_number, parsed
from drenchbook.formula_operators import ARITHMETIC, COMPARISONS, arithmetic, joined, negative, percent
from drenchbook.formula_running import (
    Runs,
    calling,
    choosing,
    choosing_by_number,
    choosing_unless_error,
    comparing,
    constant,
    cut,
    grid_of_lists,
    trouble,
)
from drenchbook.formula_values import NAME, REFERENCE, VALUE, ErrorValue, Grid, first_cell, guarded, lifted


class CellPlace(Protocol):
    """What a formula needs to know of the cell in which it stands."""

    @property
    def row(self) -> int:
        """Row, counted from 1."""

    @property
    def column(self) -> int:
        """Column, counted from 1."""

    @property
    def book(self) -> Book:
        """The book that it stands in."""


class Book(Protocol):
    """Where a formula gets its cells from."""

    def cell(self, at: Any, sheet: str | None, row: int, column: int) -> Any:
        """Value of one cell; `sheet` None is the formula's own."""

    def area(self, at: Any, sheet: str | None, first: tuple[int, int], last: tuple[int, int]) -> Grid:
        """Values of a range; a last row or column beyond the sheet's used part is cut off there."""

    def definition(self, at: Any, sheet: str | None, name: str) -> Node | None:
        """Tree of what a defined name stands for."""

    def trouble(self, at: Any, error: ErrorValue) -> ErrorValue:
        """Note that the formula cannot be evaluated, and go on with the error value."""


class External(Protocol):
    """A function from outside the language, such as one of the registry."""

    def takes_grid(self, place: int) -> bool:
        """Whether an argument, counted from zero, is a whole range."""

    def __call__(self, at: Any, *values: Any) -> Any:
        """The answer, a list of lists where it is an array."""


# Text and quoted sheet names are stepped over; a reference with both its $ is the same from every cell.
_REFERENCES = re.compile(
    r'"[^"]*"|\'[^\']*\'!|(?<![\w.$])(?!\$[A-Za-z]{1,3}\$)(\$?)([A-Za-z]{1,3})(\$?)([1-9]\d{0,6})(?![\w.(!])'
)
_COLUMNS: dict[str, int] = {}


def shape_of(formula: str, row: int, column: int) -> str:
    """The formula with each relative reference told by its distance from the cell.

    >>> shape_of('=A1&"A1"', 2, 1) == shape_of('=A7&"A1"', 8, 1), shape_of("=A$1", 2, 1) == shape_of("=A$2", 3, 1)
    (True, False)
    """

    def relative(found: re.Match[str]) -> str:
        held_column, letters, held_row, digits = found.groups()
        if digits is None:
            return found[0]
        number = _COLUMNS.get(letters)
        if number is None:
            number = _COLUMNS[letters] = column_number(letters)
        across = f"C{number}" if held_column else f"C[{number - column}]"
        return f"R{digits}{across}" if held_row else f"R[{int(digits) - row}]{across}"

    return _REFERENCES.sub(relative, formula)


class Language:
    """Compiles formulas against one set of external functions, and keeps each shape."""

    def __init__(self, externals: Mapping[str, External]):
        self.externals = externals
        self._shapes: dict[Any, Runs] = {}

    def compiled(self, formula: str, at: CellPlace, array: bool = False, scope: str = "") -> Runs:
        """The formula as a function of its cell.

        Parameters
        ----------
        formula : str
            Formula with its equals sign. [-]
        at : object
            Cell in which it stands: row, column, book. [-]
        array : bool
            Whether it is an array formula, calculated cell by cell. [-]
        scope : str
            Sheet, where that sheet defines names of its own. [-]

        Returns
        -------
        function
            Takes a cell, gives a value. InputError where the text is no formula.
        """
        key = shape_of(formula, at.row, at.column), array, scope
        runs = self._shapes.get(key)
        if runs is None:
            runs = self._shapes[key] = _Compiler(self.externals, at, array).value(parsed(formula))
        return runs


class _Compiler:
    """Compiles the tree of one formula. `array`: grids are calculated cell by cell instead of cut to one cell."""

    def __init__(self, externals: Mapping[str, External], at: CellPlace, array: bool, names: tuple[str, ...] = ()):
        self.externals, self.at, self.array, self.names = externals, at, array, names

    def value(self, node: Node) -> Runs:
        """A single value; in an array formula also a grid."""
        if node[0] == "cell":
            return self._single_cell(node)
        runs = self.grid(node)
        if self.array or node[0] not in ("area", "name", "call", "array"):
            return runs
        return lambda at: cut(runs(at), at)

    def grid(self, node: Node) -> Runs:
        """What the node gives as it is: a grid for a reference."""
        return getattr(self, f"_{node[0]}")(*node[1:])

    def _value(self, value: Any) -> Runs:
        return lambda at: value

    def _missing(self) -> Runs:
        return lambda at: None

    def _single_cell(self, node: Node) -> Runs:
        _, sheet, row, column = node
        down, across = self._step(row, self.at.row), self._step(column, self.at.column)
        if down is None and across is None:
            place = row[0], column[0]
            return lambda at: at.book.cell(at, sheet, *place)
        if down is not None and across is not None:
            return lambda at: at.book.cell(at, sheet, at.row + down, at.column + across)
        if down is not None:
            return lambda at: at.book.cell(at, sheet, at.row + down, column[0])
        return lambda at: at.book.cell(at, sheet, row[0], at.column + across)

    @staticmethod
    def _step(edge: tuple[int, bool], own: int) -> int | None:
        """Distance from the own row or column; None where a $ holds the place."""
        return None if edge[1] else edge[0] - own

    def _cell(self, sheet: str | None, row: Any, column: Any) -> Runs:
        return self._area(sheet, (row, column), (row, column))

    def _area(self, sheet: str | None, first: Any, last: Any) -> Runs:
        # A whole column or row is told by its own place, with or without $: its shape keeps the letters as typed.
        whole = first[0] is None or first[1] is None or last[0] is None or last[1] is None
        corners = []
        for (row, column), (all_rows, all_columns) in ((first, (1, 1)), (last, (LAST_ROW, LAST_COLUMN))):
            down = None if row is None or whole else self._step(row, self.at.row)
            across = None if column is None or whole else self._step(column, self.at.column)
            fixed = row[0] if row else all_rows, column[0] if column else all_columns
            corners.append((down, across, *fixed))
        (down, across, row, column), (down_2, across_2, row_2, column_2) = corners
        if down is None and across is None and down_2 is None and across_2 is None:
            low = min(row, row_2), min(column, column_2)
            high = max(row, row_2), max(column, column_2)
            return lambda at: at.book.area(at, sheet, low, high)

        def runs(at: Any) -> Grid:
            top, bottom = (row if down is None else at.row + down), (row_2 if down_2 is None else at.row + down_2)
            left = column if across is None else at.column + across
            right = column_2 if across_2 is None else at.column + across_2
            return at.book.area(at, sheet, (min(top, bottom), min(left, right)), (max(top, bottom), max(left, right)))

        return runs

    def _name(self, sheet: str | None, name: str) -> Runs:
        tree = None if name.upper() in self.names else self.at.book.definition(self.at, sheet, name)
        if tree is None:
            return trouble(f"{name} is not a defined name")
        origin = _Origin(self.at.book)
        compiler = _Compiler(self.externals, origin, self.array, (*self.names, name.upper()))
        return compiler.grid(tree)

    def _array(self, rows: Sequence[Sequence[Any]]) -> Runs:
        grid = Grid.of(rows)
        return lambda at: grid

    def _negative(self, node: Node) -> Runs:
        runs = self.value(node)
        return lambda at: negative(runs(at))

    def _percent(self, node: Node) -> Runs:
        runs = self.value(node)
        return lambda at: percent(runs(at))

    def _binary(self, operator: str, left: Node, right: Node) -> Runs:
        first, second = self.value(left), self.value(right)
        if operator == "&":
            return lambda at: joined(first(at), second(at))
        if operator in COMPARISONS:
            return comparing(operator, first, second)
        apply = ARITHMETIC[operator]
        if operator in "/^":
            return lambda at: arithmetic(operator, first(at), second(at))

        def runs(at: Any) -> Any:
            x, y = first(at), second(at)
            if x.__class__ is float and y.__class__ is float:
                return apply(x, y)
            return arithmetic(operator, x, y)

        return runs

    def _call(self, name: str, arguments: tuple[Node, ...]) -> Runs:
        if name in CHOOSING:
            return self._choosing(name, arguments)
        if name in ORDINARY:
            return self._ordinary(name, ORDINARY[name], arguments)
        if name in self.externals:
            return self._external(self.externals[name], arguments)
        return trouble(f"{name} is not a function that we evaluate")

    def _ordinary(self, name: str, function: OrdinaryFunction, arguments: tuple[Node, ...]) -> Runs:
        if not function.least <= len(arguments) <= (function.most or len(arguments)) and function.most != 0:
            return trouble(f"{name} cannot have {len(arguments)} arguments", VALUE.code)
        by_cell = _Compiler(self.externals, self.at, True, self.names)
        wants = [function.want(place) for place in range(len(arguments))]
        runs = [self.value(node) if want == "v" else (self if want == "g" else by_cell).grid(node)
                for want, node in zip(wants, arguments, strict=True)]  # fmt: skip
        if function.placed:
            return lambda at: guarded(function.calls, [(at.row, at.column), *(run(at) for run in runs)])
        return calling(function, runs, [place for place, want in enumerate(wants) if want == "v"])

    def _external(self, function: External, arguments: tuple[Node, ...]) -> Runs:
        grids = [function.takes_grid(place) for place in range(len(arguments))]
        runs = [self.grid(node) if grid else self.value(node) for grid, node in zip(grids, arguments, strict=True)]

        def call(at: Any) -> Any:
            values = [run(at) for run in runs]
            spread = [i for i, value in enumerate(values) if value.__class__ is Grid and not grids[i]]
            if not spread:
                return guarded(lambda *given: grid_of_lists(function(at, *given)), values)

            def one(*cells: Any) -> Any:
                filled = list(values)
                for i, cell in zip(spread, cells, strict=True):
                    filled[i] = cell
                return first_cell(grid_of_lists(function(at, *filled)))

            return lifted(one, [values[i] for i in spread])

        return call

    def _choosing(self, name: str, arguments: tuple[Node, ...]) -> Runs:
        # A chosen range stays a range, so that SUM(IF(…, A1:A3)) adds all of it.
        runs = [self.grid(node) if node[0] in ("area", "name") else self.value(node) for node in arguments]
        least, most = {"IF": (1, 3), "IFERROR": (2, 2), "IFNA": (2, 2), "CHOOSE": (2, 255)}[name]
        if not least <= len(runs) <= most:
            return trouble(f"{name} cannot have {len(runs)} arguments", VALUE.code)
        if name == "IF":
            return choosing(
                runs[0], runs[1] if len(runs) > 1 else constant(True), runs[2] if len(runs) > 2 else constant(False)
            )
        if name == "CHOOSE":
            return choosing_by_number(runs[0], runs[1:])
        return choosing_unless_error(runs[0], runs[1], only_missing=name == "IFNA")


class _Origin:
    """The cell A1, from which the relative references of a defined name are counted."""

    row = column = 1

    def __init__(self, book: Book):
        self.book = book


class NoCells:
    """A book without any cell, for a formula typed at a terminal. It is also the cell in which the formula stands."""

    row = column = 1

    def __init__(self) -> None:
        self.book = self

    def cell(self, at: Any, sheet: str | None, row: int, column: int) -> Any:
        """No cell can be read here."""
        return ErrorValue(REFERENCE.code, "there are no cells here; type the value itself")

    def area(self, at: Any, sheet: str | None, first: tuple[int, int], last: tuple[int, int]) -> Grid:
        """No range can be read here."""
        return Grid.of([[self.cell(at, sheet, *first)]])

    def definition(self, at: Any, sheet: str | None, name: str) -> Node | None:
        """No name is defined here."""
        return None

    def trouble(self, at: Any, error: ErrorValue) -> ErrorValue:
        """The error value keeps its own sentence."""
        return error


def evaluated(formula: str, externals: Mapping[str, External]) -> Any:
    """The value of a formula that stands in no sheet.

    >>> evaluated("=SUM({1,2;3,4})*2", {})
    20.0
    """
    place = NoCells()
    try:
        return Language(externals).compiled(formula, place, array=True)(place)
    except InputError as error:
        return ErrorValue(NAME.code, str(error))
