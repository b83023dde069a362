"""The ordinary spreadsheet functions that we evaluate: a short list, named, and nothing beyond it."""

from __future__ import annotations

import datetime
import decimal
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from drenchbook.formula_counting import (
    as_grid,
    count_if,
    count_ifs,
    count_numbers,
    each_value,
    numbers_of,
    sum_if,
    total,
    wildcard,
)
from drenchbook.formula_operators import power
from drenchbook.formula_text_functions import TEXT_FUNCTIONS, rounded
from drenchbook.formula_values import (
    DIVISION,
    NOT_AVAILABLE,
    NUMBER,
    REFERENCE,
    VALUE,
    ErrorValue,
    Grid,
    Refused,
    asked,
    compare,
    is_number,
    lifted,
    match_key,
    number,
    serial,
    truth,
)


@dataclass(frozen=True)
class OrdinaryFunction:
    """One ordinary function.

    `wants` has one letter per argument, the last one repeated: v a value, taken cell by cell where a grid is given; g a
    grid as it is; a a grid whose formula is calculated cell by cell. `whole` does the same for grids at once, or gives
    None where it cannot. `placed` functions get the place of their own cell first.
    """

    calls: Callable[..., Any]
    wants: str
    least: int
    most: int | None
    sees_errors: bool = False
    whole: Callable[..., Grid | None] | None = None
    placed: bool = False

    def want(self, place: int) -> str:
        """The letter of an argument, counted from zero."""
        return self.wants[min(place, len(self.wants) - 1)]


def _truths(arguments: tuple[Any, ...]) -> list[bool]:
    found = []
    for value, in_grid in each_value(arguments):
        if value.__class__ is ErrorValue:
            raise Refused(value)
        if not in_grid or value.__class__ is bool or is_number(value):
            found.append(truth(value))
    if not found:
        raise Refused(VALUE)
    return found


def _index(grid: Any, row: Any, column: Any = None) -> Any:
    grid = as_grid(grid)
    rows, columns = grid.shape
    if column is None and rows == 1 and columns > 1:  # one number counts along a single row
        row, column = 1.0, row
    down, across = math.floor(number(row)), math.floor(number(1.0 if column is None and columns == 1 else column))
    if down < 0 or across < 0 or down > rows or across > columns:
        raise Refused(REFERENCE if down >= 0 and across >= 0 else VALUE)
    if down and across:
        return grid.item(down - 1, across - 1)
    place = grid.place and (grid.place[0] + max(down - 1, 0), grid.place[1] + max(across - 1, 0))
    picked = grid.cells[down - 1 : down] if down else grid.cells
    return Grid(picked[:, across - 1 : across] if across else picked, place)


def _match(wanted: Any, grid: Any, how: Any = 1.0) -> float:
    grid, how = as_grid(grid), number(how)
    if 1 not in grid.shape:
        raise Refused(NOT_AVAILABLE)
    if how == 0:
        at = None if wanted is None else _exact_place(wanted, grid)
    else:
        at = _sorted_place(wanted, grid.values(), 1 if how > 0 else -1)
    if at is None:
        raise Refused(NOT_AVAILABLE)
    return float(at + 1)


def _exact_place(wanted: Any, grid: Grid) -> int | None:
    if wanted.__class__ is str and re.search(r"[*?~]", wanted):
        pattern = wildcard(wanted)
        return next((at for at, v in enumerate(grid.values()) if v.__class__ is str and pattern.fullmatch(v)), None)
    return grid.positions().get(match_key(wanted))


def _sorted_place(wanted: Any, values: list[Any], direction: int) -> int | None:
    """Last place, in a sorted list, of a value of the same kind that does not lie beyond the wanted one."""
    kind, found = match_key(wanted), None
    for at, value in enumerate(values):
        key = match_key(value)
        if key is None or kind is None or key[0] != kind[0]:
            continue
        if compare(value, wanted) * direction > 0:
            break
        found = at
    return found


def _sum_product(*arguments: Any) -> float:
    grids = [as_grid(argument) for argument in arguments]
    if len({grid.shape for grid in grids}) != 1:
        raise Refused(VALUE)
    product = np.ones(grids[0].shape)
    for grid in grids:
        product = product * _plain_numbers(grid)
    return math.fsum(product.ravel().tolist())


def _plain_numbers(grid: Grid) -> Any:
    """The numbers of a grid, zero for everything that is none."""
    if grid.cells.dtype.kind == "f":
        return grid.cells
    found = np.zeros(grid.shape)
    for place, value in np.ndenumerate(grid.cells):
        if value.__class__ is ErrorValue:
            raise Refused(value)
        if is_number(value):
            found[place] = number(value)
    return found


def _matrix_product(left: Any, right: Any) -> Grid:
    factors = []
    for argument in (as_grid(left), as_grid(right)):
        values = argument.cells if argument.cells.dtype.kind == "f" else argument.values()
        if values is not argument.cells and not all(is_number(value) for value in values):
            raise Refused(next((value for value in values if value.__class__ is ErrorValue), VALUE))
        factors.append(argument.numbers())
    if factors[0].shape[1] != factors[1].shape[0]:
        raise Refused(VALUE)
    return Grid(factors[0] @ factors[1])


def _ranked(largest: bool) -> Callable[[Any, Any], float]:
    def ranked(grid: Any, rank: Any) -> float:
        found, at = sorted(numbers_of((as_grid(grid),)), reverse=largest), math.ceil(number(rank))
        if not 1 <= at <= len(found):
            raise Refused(NUMBER)
        return float(found[at - 1])

    return ranked


def _date(year: Any, month: Any, day: Any) -> float:
    years, months = math.floor(number(year)), math.floor(number(month)) - 1
    years += (1900 if 0 <= years < 1900 else 0) + months // 12
    if not 1900 <= years <= 9999:
        raise Refused(NUMBER)
    return serial(datetime.date(years, months % 12 + 1, 1)) + math.floor(number(day)) - 1


def _modulo(value: Any, divisor: Any) -> float:
    x, y = number(value), number(divisor)
    if y == 0:
        raise Refused(DIVISION)
    return x - y * math.floor(x / y)


def _checked(function: Callable[[float], float]) -> Callable[[Any], float]:
    def checked(value: Any) -> float:
        try:
            return function(number(value))
        except (ValueError, OverflowError):
            raise Refused(NUMBER) from None

    return checked


def _rounding(how: str) -> Callable[..., float]:
    return lambda value, digits=0.0: rounded(number(value), math.trunc(number(digits)), how)


def _place(axis: int) -> Callable[..., Any]:
    def place(own: tuple[int, int], grid: Any = None) -> Any:
        if grid is None:
            return float(own[axis])
        if grid.__class__ is not Grid or grid.place is None:
            raise Refused(VALUE)
        steps = np.arange(grid.shape[axis], dtype=float) + grid.place[axis]
        return Grid(steps.reshape((-1, 1) if axis == 0 else (1, -1)))

    return place


def _is(test: Callable[[Any], bool]) -> OrdinaryFunction:
    return OrdinaryFunction(test, "v", 1, 1, sees_errors=True, whole=lambda value: asked(test, value))


def _not(value: Any) -> bool:
    return not truth(value)


def _not_available() -> Any:
    raise Refused(NOT_AVAILABLE)


F = OrdinaryFunction
_FUNCTIONS: dict[str, OrdinaryFunction] = {
    "AND": F(lambda *a: all(_truths(a)), "g", 1, None), "OR": F(lambda *a: any(_truths(a)), "g", 1, None),
    "NOT": F(_not, "v", 1, 1), "TRUE": F(lambda: True, "v", 0, 0), "FALSE": F(lambda: False, "v", 0, 0),
    "ISNUMBER": _is(is_number),
    "ISTEXT": _is(lambda v: v.__class__ is str),
    "ISBLANK": _is(lambda v: v is None), "ISERROR": _is(lambda v: v.__class__ is ErrorValue),
    "ISERR": _is(lambda v: v.__class__ is ErrorValue and v != NOT_AVAILABLE),
    "ISNA": _is(lambda v: v.__class__ is ErrorValue and v == NOT_AVAILABLE), "NA": F(_not_available, "v", 0, 0),
    "INDEX": F(_index, "avv", 2, 3), "MATCH": F(_match, "vav", 2, 3),
    "COUNTIF": F(count_if, "gv", 2, 2), "COUNTIFS": F(count_ifs, "gg", 2, None), "SUMIF": F(sum_if, "gvg", 2, 3),
    "COUNTA": F(lambda *a: float(sum(v is not None for v, _ in each_value(a))), "g", 1, None, sees_errors=True),
    "COUNT": F(count_numbers, "g", 1, None, sees_errors=True),
    "COUNTBLANK": F(lambda *a: float(sum(v is None or v == "" for v, _ in each_value(a))), "g", 1, 1, sees_errors=True),
    "SUM": F(total, "g", 1, None), "SUMPRODUCT": F(_sum_product, "a", 1, None),
    "MAX": F(lambda *a: float(max(numbers_of(a), default=0.0)), "g", 1, None),
    "MIN": F(lambda *a: float(min(numbers_of(a), default=0.0)), "g", 1, None),
    "SMALL": F(_ranked(False), "av", 2, 2), "LARGE": F(_ranked(True), "av", 2, 2),
    "MMULT": F(_matrix_product, "a", 2, 2), "TRANSPOSE": F(lambda g: Grid(as_grid(g).cells.T), "a", 1, 1),
    "ABS": F(lambda v: abs(number(v)), "v", 1, 1), "SQRT": F(_checked(math.sqrt), "v", 1, 1),
    "LN": F(_checked(math.log), "v", 1, 1), "EXP": F(_checked(math.exp), "v", 1, 1),
    "SIN": F(_checked(math.sin), "v", 1, 1), "POWER": F(lambda x, y: power(number(x), number(y)), "v", 2, 2),
    "INT": F(lambda v: float(math.floor(float(f"{number(v):.15g}"))), "v", 1, 1), "MOD": F(_modulo, "v", 2, 2),
    "ROUND": F(_rounding(decimal.ROUND_HALF_UP), "v", 1, 2), "ROUNDUP": F(_rounding(decimal.ROUND_UP), "v", 1, 2),
    "ROUNDDOWN": F(_rounding(decimal.ROUND_DOWN), "v", 1, 2), "DATE": F(_date, "v", 3, 3),
    "ROW": F(_place(0), "g", 0, 1, placed=True), "COLUMN": F(_place(1), "g", 0, 1, placed=True),
    "ROWS": F(lambda g: float(as_grid(g).shape[0]), "a", 1, 1),
    "COLUMNS": F(lambda g: float(as_grid(g).shape[1]), "a", 1, 1),
}  # fmt: skip
_FUNCTIONS |= {
    name: F(calls, "v", least, most, whole=whole) for name, (calls, least, most, whole) in TEXT_FUNCTIONS.items()
}
# These choose among their arguments before they are calculated; `formula_language` compiles them itself.
CHOOSING = ("IF", "IFERROR", "IFNA", "CHOOSE")
ORDINARY: dict[str, OrdinaryFunction] = _FUNCTIONS
ORDINARY_FUNCTIONS: tuple[str, ...] = (*CHOOSING, *_FUNCTIONS)


def called(function: OrdinaryFunction, arguments: list[Any]) -> Any:
    """The answer of an ordinary function, cell by cell where a value argument is a grid."""
    if not function.sees_errors:
        for argument in arguments:
            if argument.__class__ is ErrorValue:
                return argument
    spread = [at for at, a in enumerate(arguments) if a.__class__ is Grid and function.want(at) == "v"]
    try:
        if not spread:
            return function.calls(*arguments)
        if function.whole is not None:
            answer = function.whole(*arguments)
            if answer is not None:
                return answer
    except Refused as refused:
        return refused.value

    if set(function.wants) == {"v"}:
        return lifted(function.calls, arguments, function.sees_errors)

    def one(*values: Any) -> Any:
        filled = list(arguments)
        for at, value in zip(spread, values, strict=True):
            filled[at] = value
        answer = function.calls(*filled)
        return answer.item(0, 0) if answer.__class__ is Grid else answer

    return lifted(one, [arguments[at] for at in spread], function.sees_errors)
