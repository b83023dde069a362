"""The steps that compiled formulas are made of: calls, comparisons, choices, and a range cut to one cell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from drenchbook.formula_functions import OrdinaryFunction, called
from drenchbook.formula_operators import COMPARISONS, comparison
from drenchbook.formula_values import (
    NAME,
    NOT_AVAILABLE,
    VALUE,
    ErrorValue,
    Grid,
    Refused,
    broadcast,
    first_cell,
    guarded,
    lifted,
    number,
    truth,
)

Runs = Callable[[Any], Any]  # takes the cell in which the formula stands


def calling(function: OrdinaryFunction, runs: Sequence[Runs], by_cell: Sequence[int]) -> Runs:
    """The call of an ordinary function, short where no argument is an error or has to be taken cell by cell."""
    calls, sees_errors = function.calls, function.sees_errors

    def call(at: Any) -> Any:
        values = [run(at) for run in runs]
        if not sees_errors:
            for value in values:
                if value.__class__ is ErrorValue:
                    return value
        for place in by_cell:
            if values[place].__class__ is Grid:
                return called(function, values)
        try:
            return calls(*values)
        except Refused as refused:
            return refused.value

    return call


def comparing(operator: str, left: Runs, right: Runs) -> Runs:
    """The call of a comparison, short for the question that formulas ask most often: is it blank?"""
    holds = COMPARISONS[operator]

    def runs(at: Any) -> Any:
        x, y = left(at), right(at)
        if x.__class__ is str and y == "":
            return holds(1 if x else 0)
        if x.__class__ is float and y.__class__ is str:
            return holds(-1)
        return comparison(operator, x, y)

    return runs


def constant(value: Any) -> Runs:
    """A value that does not depend on the cell."""
    return lambda at: value


def trouble(sentence: str, code: str = NAME.code) -> Runs:
    """A part of a formula that cannot be evaluated; its book is told when it is reached."""
    return lambda at: at.book.trouble(at, ErrorValue(code, sentence))


def cut(value: Any, at: Any) -> Any:
    """The one cell of a range that lies in the formula's own row or column; the first cell of any other grid."""
    if value.__class__ is not Grid:
        return value
    rows, columns = value.shape
    if value.place is None or (rows, columns) == (1, 1):
        return first_cell(value)
    down, across = at.row - value.place[0], at.column - value.place[1]
    if columns == 1 and 0 <= down < rows:
        return value.item(down, 0)
    if rows == 1 and 0 <= across < columns:
        return value.item(0, across)
    return VALUE


def grid_of_lists(value: Any) -> Any:
    """The answer of an external function: a list of lists becomes a grid."""
    return Grid.of(value) if isinstance(value, list) else value


def choosing(condition: Runs, yes: Runs, no: Runs) -> Runs:
    """IF: one branch is calculated, or both cell by cell where the condition is a grid."""

    def runs(at: Any) -> Any:
        holds = condition(at)
        if holds.__class__ is bool:
            return yes(at) if holds else no(at)
        if holds.__class__ is not Grid:
            holds = guarded(truth, (holds,))
            return holds if holds.__class__ is ErrorValue else (yes if holds else no)(at)

        return _picked(holds, yes(at), no(at))

    return runs


def _picked(holds: Grid, first: Any, second: Any) -> Grid:
    """One of two values for each cell of a condition."""
    shape, (conditions, *branches) = broadcast((holds, first, second))
    if holds.cells.dtype.kind == "b" and holds.shape == shape:
        cells = [branch if whole.__class__ is Grid else np.array(whole, dtype=object)
                 for branch, whole in zip(branches, (first, second), strict=True)]  # fmt: skip
        return Grid(np.where(conditions, *(part.astype(object, copy=False) for part in cells)))

    def pick(holds: Any, first: Any, second: Any) -> Any:
        if holds.__class__ is ErrorValue:
            return holds
        return first if truth(holds) else second

    return lifted(pick, (holds, first, second), sees_errors=True)


def choosing_unless_error(tried: Runs, otherwise: Runs, only_missing: bool) -> Runs:
    """IFERROR and IFNA."""

    def caught(value: Any) -> bool:
        return value.__class__ is ErrorValue and (not only_missing or value == NOT_AVAILABLE)

    def runs(at: Any) -> Any:
        value = tried(at)
        if value.__class__ is Grid:
            return lifted(lambda each, other: other if caught(each) else each, (value, otherwise(at)), sees_errors=True)
        return otherwise(at) if caught(value) else value

    return runs


def choosing_by_number(which: Runs, choices: Sequence[Runs]) -> Runs:
    """CHOOSE: only the chosen argument is calculated."""

    def chosen(at: Any, place: Any) -> Any:
        at_place = int(number(place))
        if not 1 <= at_place <= len(choices):
            raise Refused(VALUE)
        return choices[at_place - 1](at)

    def runs(at: Any) -> Any:
        return guarded(lambda place: chosen(at, place), (first_cell(which(at)),))

    return runs
