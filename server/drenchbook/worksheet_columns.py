"""Many calls of one worksheet function at once: arguments read by column, computed as arrays, the same digits.

A row that a column cannot take (a blank that is needed, text for a number, a value that the physics refuses) is left
out of the arrays and stays without an answer here: asked by itself it gets its own sentence.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Any

import numpy as np

from drenchbook.errors import InputError
from drenchbook.units import US, from_si, to_si, unit_of
from drenchbook.worksheet_arguments import Argument, read_argument, units_of
from drenchbook.worksheet_functions import WorksheetFunction

FEWEST = 4  # rows below which arrays cost more than they save


def column_answers(function: WorksheetFunction, rows: Sequence[Sequence[object]]) -> list[float | None]:
    """The answers to many lists of cells, in order.

    Parameters
    ----------
    function : WorksheetFunction
        A function that works by columns. [-]
    rows : sequence of sequence of object
        What the user gave in each call. [-]

    Returns
    -------
    list of float or None
        Answers in the user's unit; None where the row must be asked by itself. [-]

    >>> from drenchbook.worksheet_functions import FUNCTION_BY_NAME
    >>> velocity = FUNCTION_BY_NAME["DRENCH_PIPE_VELOCITY"]
    >>> rows = [(20.0, "copper L", "1")] * 3 + [(0.0, "PEX", "1"), (-2.0, "copper L", "1")]
    >>> [answer if answer is None else round(answer, 2) for answer in column_answers(velocity, rows + rows[:3])]
    [7.78, 7.78, 7.78, 0.0, None, None, None, None]
    """
    answers: list[float | None] = [None] * len(rows)
    for system, places in _by_system(function.takes, rows).items():
        if len(places) >= FEWEST:
            columns, read = _read_columns(function.takes, [rows[place] for place in places], system)
            unit = unit_of(function.gives, system)
            kept = [place for place, whole in zip(places, read, strict=True) if whole]
            for place, answer in zip(kept, _computed(function, columns, len(kept), unit), strict=True):
                answers[place] = answer
    return answers


def _by_system(takes: Sequence[Argument], rows: Sequence[Sequence[object]]) -> dict[str, list[int]]:
    """Places of the rows of each unit system; rows with too many cells or no such system are left out."""
    found: dict[str, list[int]] = {}
    systems: dict[object, str] = {None: US}
    at = next((place for place, argument in enumerate(takes) if argument.kind == "units"), len(takes))
    for place, cells in enumerate(rows):
        typed = cells[at] if at < len(cells) else None
        if len(cells) > len(takes) or not (typed is None or isinstance(typed, str)):
            continue
        if typed not in systems:
            try:
                systems[typed] = units_of(takes, cells)
            except InputError:
                continue
        found.setdefault(systems[typed], []).append(place)
    return found


def _read_columns(
    takes: Sequence[Argument], rows: Sequence[Sequence[object]], system: str
) -> tuple[dict[str, Any], list[bool]]:
    """Each argument's column, of the rows that can be read, and which rows those are."""
    cells_of = list(itertools.zip_longest(*rows))  # by argument, None where a row is short
    cells_of += [(None,) * len(rows)] * (len(takes) - len(cells_of))
    read, columns = np.ones(len(rows), dtype=bool), {}
    for argument, cells in zip(takes, cells_of, strict=True):
        if argument.kind != "units":
            columns[argument.name] = _read_column(argument, cells, system, read)
    if not read.all():
        kept = np.flatnonzero(read)
        for name, column in columns.items():
            columns[name] = [column[row] for row in kept] if isinstance(column, list) else column[kept]
    return columns, read.tolist()


def _read_column(argument: Argument, cells: Sequence[object], system: str, read: Any) -> Any:
    """One column in SI, or as words; rows that cannot be read are struck from `read`."""
    values = _numbers(cells) if argument.kind == "number" else None
    if values is not None:
        usable = np.isfinite(values)
        in_si = to_si(np.where(usable, values, 0.0), argument.unit(system))
        read &= usable & (argument.least <= in_si) & (in_si <= argument.most)
        return in_si
    known: dict[object, Any] = {}  # what a text or a blank means: most are alike
    column: list[Any] = []
    for row, cell in enumerate(cells):
        text = cell is None or cell.__class__ is str
        if text and cell in known:
            column.append(known[cell])
            continue
        try:
            column.append(read_argument(argument, cell, system))
        except (InputError, OverflowError):  # a whole number of 400 digits
            column.append(None)
            read[row] = False
        else:
            if text:
                known[cell] = column[-1]
    if argument.kind != "number":
        return column
    read &= np.array([value is not None for value in column])
    return np.array([0.0 if value is None else value for value in column])


def _numbers(cells: Sequence[object]) -> Any:
    """The cells as an array, where each is a number and none is too large for one."""
    if not set(map(type, cells)) <= {float, int}:
        return None
    try:
        return np.array(cells, dtype=float)
    except OverflowError:
        return None


def _computed(function: WorksheetFunction, columns: dict[str, Any], rows: int, unit: str) -> list[float | None]:
    """The answers; where a row is refused the column is halved until the others are answered."""
    if rows < FEWEST:
        return [None] * rows
    try:
        with np.errstate(divide="raise", over="raise", invalid="raise"):
            answers: list[float | None] = from_si(function.calls(**columns), unit).tolist()
            return answers
    except (InputError, ArithmeticError):
        half = rows // 2
        first, second = ({name: column[part] for name, column in columns.items()}
                         for part in (slice(half), slice(half, None)))  # fmt: skip
        return [*_computed(function, first, half, unit), *_computed(function, second, rows - half, unit)]
