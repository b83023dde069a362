"""The values formulas calculate with, and what a spreadsheet makes of them: errors, grids, blanks, text as numbers.

A value is None (a blank cell), a number, True or False, text, a date, an `ErrorValue`, or a `Grid` of these.
"""

from __future__ import annotations

import datetime
import itertools
import math
import re
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

EPOCH = datetime.datetime(1899, 12, 30)  # day 0 of the spreadsheet calendar, counted so that 1 March 1900 is day 61
DAY = 86_400.0
NEARLY_EQUAL = 2.0**-48  # relative; spreadsheets call numbers equal that differ in the last bits only


class ErrorValue:
    """An error as a value: its code, and where known the sentence that says why."""

    __slots__ = ("code", "reason")

    def __init__(self, code: str, reason: str = ""):
        self.code, self.reason = code, reason

    def __eq__(self, other: object) -> bool:
        return isinstance(other, ErrorValue) and other.code == self.code

    def __hash__(self) -> int:
        return hash(self.code)

    def __str__(self) -> str:
        return self.code

    def __repr__(self) -> str:
        return f"ErrorValue({self.code!r}, {self.reason!r})"


VALUE, NOT_AVAILABLE, NAME, REFERENCE, DIVISION, NUMBER = (
    ErrorValue(code) for code in ("#VALUE!", "#N/A", "#NAME?", "#REF!", "#DIV/0!", "#NUM!")
)
ERRORS = {e.code: e for e in (VALUE, NOT_AVAILABLE, NAME, REFERENCE, DIVISION, NUMBER, ErrorValue("#NULL!"))}


class Refused(Exception):  # noqa: N818 - it carries a value of the language and is no failure of the program
    """Leaves a function with an error value."""

    def __init__(self, value: ErrorValue):
        super().__init__(value.code)
        self.value = value


class Grid:
    """Cells in rows and columns: a range of a sheet, or an array that a formula made.

    `cells` is a numpy array of two dimensions whose type may be float, bool, text or object. `place` is (row, column)
    of the first cell where the grid is a range. What has been worked out about the cells once is kept.
    """

    __slots__ = ("_counts", "_numbers", "_positions", "cells", "place")

    def __init__(self, cells: Any, place: tuple[int, int] | None = None):
        self.cells, self.place = cells, place
        self._numbers: Any = False
        self._positions: dict[Any, int] | None = None
        self._counts: dict[Any, int] | None = None

    @classmethod
    def of(cls, rows: Sequence[Sequence[Any]], place: tuple[int, int] | None = None) -> Grid:
        """Grid of the given rows, all of the same length."""
        cells = np.empty((len(rows), len(rows[0]) if rows else 0), dtype=object)
        for at, row in enumerate(rows):
            cells[at] = row
        return cls(cells, place)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.cells.shape

    def rows(self) -> list[list[Any]]:
        """The cells as lists of ordinary Python values."""
        return self.cells.tolist()

    def values(self) -> list[Any]:
        """All cells in reading order."""
        return self.cells.ravel().tolist()

    def item(self, row: int, column: int) -> Any:
        """One cell, counted from zero."""
        value = self.cells[row, column]
        return value.item() if isinstance(value, np.generic) else value

    def numbers(self) -> Any:
        """The cells as operands of arithmetic in a float array, or None where one is text or an error."""
        if self._numbers is False:
            self._numbers = self._as_numbers()
        return self._numbers

    def _as_numbers(self) -> Any:
        if self.cells.dtype.kind in "fb":
            return self.cells.astype(float, copy=False)
        if self.cells.dtype.kind == "U":
            return None
        try:
            flat = [_OPERAND[v.__class__](v) for v in self.cells.ravel().tolist()]
        except KeyError:
            return None
        return np.array(flat, dtype=float).reshape(self.cells.shape)

    def positions(self) -> dict[Any, int]:
        """First place of each value, by `match_key`."""
        if self._positions is None:
            found: dict[Any, int] = {}
            for at, value in enumerate(self.values()):
                found.setdefault(match_key(value), at)
            self._positions = found
        return self._positions

    def counts(self) -> dict[Any, int]:
        """How often each value stands in the grid, by `match_key`."""
        if self._counts is None:
            found: dict[Any, int] = {}
            for value in self.values():
                key = match_key(value)
                found[key] = found.get(key, 0) + 1
            self._counts = found
        return self._counts


def serial(date: datetime.date | datetime.time) -> float:
    """The number that a spreadsheet keeps for a date.

    >>> serial(datetime.date(2026, 5, 4))
    46146.0
    """
    if isinstance(date, datetime.datetime):
        return (date.replace(tzinfo=None) - EPOCH).total_seconds() / DAY
    if isinstance(date, datetime.date):
        return float((date - EPOCH.date()).days)
    return (date.hour * 3600 + date.minute * 60 + date.second + date.microsecond * 1e-6) / DAY


_OPERAND: dict[type, Callable[[Any], float]] = {
    float: float, int: float, bool: float, type(None): lambda blank: 0.0,
    datetime.datetime: serial, datetime.date: serial, datetime.time: serial,
    datetime.timedelta: lambda span: span.total_seconds() / DAY,
}  # fmt: skip
DATES = (datetime.datetime, datetime.date, datetime.time, datetime.timedelta)
_NUMBER_TEXT = re.compile(r"[+-]?(?:\d+(?:,\d{3})*\.?\d*|\.\d+)(?:e[+-]?\d+)?", re.IGNORECASE)
_DATE_TEXT = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")


def is_number(value: Any) -> bool:
    """Whether a value is a number or a date; a truth value is neither."""
    return value.__class__ is float or value.__class__ is int or isinstance(value, DATES)


def number_of_text(text: str) -> float | None:
    """The number that a text spells, or None.

    >>> number_of_text(" 1,250.5 "), number_of_text("12%"), number_of_text("2,5")
    (1250.5, 0.12, None)
    """
    plain = text.strip()
    percent = plain.endswith("%")
    if percent:
        plain = plain[:-1].rstrip()
    if _NUMBER_TEXT.fullmatch(plain):
        number = float(plain.replace(",", ""))
        return number / 100 if percent else number
    date = _DATE_TEXT.fullmatch(plain)
    if date and not percent:
        try:
            return serial(datetime.date(int(date[1]), int(date[2]), int(date[3])))
        except ValueError:
            return None
    return None


def number(value: Any) -> float:
    """The value as an operand of arithmetic; leaves with #VALUE! where text spells no number."""
    if value.__class__ is float:
        return value
    convert = _OPERAND.get(value.__class__)
    if convert is not None:
        return convert(value)
    if value.__class__ is str:
        found = number_of_text(value)
        if found is not None:
            return found
    raise Refused(value if value.__class__ is ErrorValue else VALUE)


def truth(value: Any) -> bool:
    """The value as a condition."""
    if value.__class__ is bool:
        return value
    if value.__class__ is str:
        word = value.strip().upper()
        if word in ("TRUE", "FALSE"):
            return word == "TRUE"
        raise Refused(VALUE)
    return number(value) != 0


def text(value: Any) -> str:
    """The value as text: what & joins.

    >>> text(0.1 + 0.2), text(2.0), text(True), text(None), text(1e21)
    ('0.3', '2', 'TRUE', '', '1E+21')
    """
    if value.__class__ is str:
        return value
    if value is None:
        return ""
    if value.__class__ is bool:
        return "TRUE" if value else "FALSE"
    if value.__class__ is ErrorValue:
        raise Refused(value)
    return number_text(number(value))


def number_text(value: float) -> str:
    """A number with at most 15 digits, as a spreadsheet joins it to text."""
    if value == int(value) and abs(value) < 1e15 if math.isfinite(value) else False:
        return str(int(value))
    shown = f"{value:.15g}"
    mantissa, _, exponent = shown.partition("e")
    if not exponent:
        return shown
    power = int(exponent)
    if -10 < power < 0:
        return f"{value:.{14 - power}f}".rstrip("0").rstrip(".")
    if 0 < power < 21:
        return f"{value:.0f}"
    return f"{mantissa}E{'-' if power < 0 else '+'}{abs(power):02d}"


def match_key(value: Any) -> Any:
    """What two cells share when a look-up calls them equal: kind, and value without regard to case."""
    kind = value.__class__
    if kind is str:
        return "t", value.casefold()
    if kind is bool:
        return "b", value
    if value is None:
        return None
    if kind is ErrorValue:
        return "e", value.code
    return "n", number(value)


def _rank(value: Any) -> int:
    kind = value.__class__
    return 1 if kind is str else 2 if kind is bool else 0


def compare(left: Any, right: Any) -> int:
    """-1, 0 or 1: numbers come before text, text before truth values; a blank is like the other's empty value.

    >>> compare(1e9, "a"), compare("a", True), compare(None, ""), compare("b", "A"), compare(0.1 + 0.2, 0.3)
    (-1, -1, 0, 1, 0)
    """
    if left is None:
        left = {1: "", 2: False}.get(_rank(right), 0.0)
    if right is None:
        right = {1: "", 2: False}.get(_rank(left), 0.0)
    rank, other = _rank(left), _rank(right)
    if rank != other:
        return -1 if rank < other else 1
    if rank == 0:
        x, y = number(left), number(right)
        if x == y or abs(x - y) <= abs(x) * NEARLY_EQUAL:
            return 0
        return -1 if x < y else 1
    if rank == 1:
        left, right = left.casefold(), right.casefold()
    return int(left > right) - int(left < right)


def broadcast(arguments: Sequence[Any]) -> tuple[tuple[int, int], list[Any]]:
    """Grids spread to one common shape, as arrays; single values stay as they are.

    A grid of one row or column repeats; where a larger one does not fit, #N/A fills what is missing.
    """
    shapes = [a.shape for a in arguments if a.__class__ is Grid]
    shape = max(s[0] for s in shapes), max(s[1] for s in shapes)
    return shape, [_spread(a.cells, shape) if a.__class__ is Grid else a for a in arguments]


def _spread(cells: Any, shape: tuple[int, int]) -> Any:
    if all(have in (1, want) for have, want in zip(cells.shape, shape, strict=True)):
        return np.broadcast_to(cells, shape)
    filled = np.empty(shape, dtype=object)
    filled.fill(NOT_AVAILABLE)
    rows = shape[0] if cells.shape[0] == 1 else cells.shape[0]
    columns = shape[1] if cells.shape[1] == 1 else cells.shape[1]
    filled[:rows, :columns] = np.broadcast_to(cells, (rows, columns))
    return filled


def lifted(function: Callable[..., Any], arguments: Sequence[Any], sees_errors: bool = False) -> Grid:
    """A function of single values applied cell by cell."""
    shape, spread = broadcast(arguments)
    columns = [part.ravel().tolist() if whole.__class__ is Grid else itertools.repeat(part)
               for part, whole in zip(spread, arguments, strict=True)]  # fmt: skip
    clean = sees_errors or not any(map(_has_error, columns, arguments))
    try:
        answers = list(map(function, *columns)) if clean else _one_by_one(function, columns, sees_errors)
    except Refused:
        answers = _one_by_one(function, columns, sees_errors)
    cells = np.empty(len(answers), dtype=bool if set(map(type, answers)) == {bool} else object)
    cells[:] = answers
    return Grid(cells.reshape(shape))


def _has_error(column: Iterable[Any], whole: Any) -> bool:
    return ErrorValue in set(map(type, column)) if whole.__class__ is Grid else whole.__class__ is ErrorValue


def _one_by_one(function: Callable[..., Any], columns: Sequence[Iterable[Any]], sees_errors: bool) -> list[Any]:
    """The answers where some are errors."""
    return [guarded(function, values, sees_errors) for values in zip(*columns, strict=False)]


def asked(test: Callable[[Any], bool], value: Any) -> Grid | None:
    """A test of single values applied to a whole grid at once."""
    if value.__class__ is not Grid:
        return None
    return Grid(np.array([test(each) for each in value.values()], dtype=bool).reshape(value.shape))


def guarded(function: Callable[..., Any], values: Sequence[Any], sees_errors: bool = False) -> Any:
    """The answer of a function, or the error value that an argument is or that the function left with."""
    if not sees_errors:
        for value in values:
            if value.__class__ is ErrorValue:
                return value
    try:
        return function(*values)
    except Refused as refused:
        return refused.value


def first_cell(value: Any) -> Any:
    """The upper left cell of a grid; any other value as it is."""
    if value.__class__ is Grid:
        return value.item(0, 0) if value.cells.size else NOT_AVAILABLE
    return value
