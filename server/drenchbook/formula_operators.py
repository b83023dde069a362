"""The operators of formulas, for single values and cell by cell for grids."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from drenchbook.formula_values import (
    DIVISION,
    NUMBER,
    ErrorValue,
    Grid,
    Refused,
    compare,
    guarded,
    lifted,
    number,
    text,
)


def _divide(x: float, y: float) -> float:
    if y == 0:
        raise Refused(DIVISION)
    return x / y


def power(x: float, y: float) -> float:
    """x to the power y; leaves with #NUM! or #DIV/0! where there is no number."""
    if x == 0 and y <= 0:
        raise Refused(NUMBER if y == 0 else DIVISION)
    try:
        answer = x**y
    except (OverflowError, ZeroDivisionError):
        raise Refused(NUMBER) from None
    if isinstance(answer, complex) or not math.isfinite(answer):
        raise Refused(NUMBER)
    return answer


ARITHMETIC: dict[str, Callable[[float, float], float]] = {
    "+": lambda x, y: x + y, "-": lambda x, y: x - y, "*": lambda x, y: x * y, "/": _divide, "^": power,
}  # fmt: skip
_ARRAYS: dict[str, Callable[[Any, Any], Any]] = {
    "+": np.add, "-": np.subtract, "*": np.multiply, "/": np.divide, "^": np.power,
}  # fmt: skip
COMPARISONS: dict[str, Callable[[int], bool]] = {
    "=": lambda order: order == 0, "<>": lambda order: order != 0, "<": lambda order: order < 0,
    "<=": lambda order: order <= 0, ">": lambda order: order > 0, ">=": lambda order: order >= 0,
}  # fmt: skip


def arithmetic(operator: str, left: Any, right: Any) -> Any:
    """left operator right, for + - * / ^.

    >>> arithmetic("+", "3", 4.0), arithmetic("/", 1.0, 0.0), arithmetic("*", None, 5.0)
    (7.0, ErrorValue('#DIV/0!', ''), 0.0)
    """
    apply = ARITHMETIC[operator]
    if left.__class__ is not Grid and right.__class__ is not Grid:
        return guarded(lambda x, y: apply(number(x), number(y)), (left, right))
    x, y = _operand(left), _operand(right)
    if x is not None and y is not None and _fit(x, y):
        with np.errstate(all="ignore"):
            answer = _ARRAYS[operator](x, y)
        if np.isfinite(answer).all():
            return Grid(answer)
    return lifted(lambda x, y: apply(number(x), number(y)), (left, right))


def _operand(value: Any) -> Any:
    """An operand as a float array of two dimensions, or None where it holds text or an error."""
    if value.__class__ is Grid:
        return value.numbers()
    if value.__class__ is ErrorValue or value.__class__ is str:
        return None
    return np.full((1, 1), number(value))


def _fit(x: Any, y: Any) -> bool:
    return all(a == b or a == 1 or b == 1 for a, b in zip(x.shape, y.shape, strict=True))


def comparison(operator: str, left: Any, right: Any) -> Any:
    """left operator right, for = <> < <= > >=.

    >>> comparison("<", 2.0, "1"), comparison("=", None, 0.0)
    (True, True)
    """
    holds = COMPARISONS[operator]
    if left.__class__ is not Grid and right.__class__ is not Grid:
        return guarded(lambda x, y: holds(compare(x, y)), (left, right))
    return lifted(lambda x, y: holds(compare(x, y)), (left, right))


def joined(left: Any, right: Any) -> Any:
    """left & right.

    >>> joined("L", 1.0)
    'L1'
    """
    if left.__class__ is not Grid and right.__class__ is not Grid:
        return guarded(_join, (left, right))
    return lifted(_join, (left, right))


def _join(left: Any, right: Any) -> str:
    return left + right if left.__class__ is str and right.__class__ is str else text(left) + text(right)


def negative(value: Any) -> Any:
    """Unary minus."""
    return arithmetic("*", -1.0, value)


def percent(value: Any) -> Any:
    """A number with a percent sign."""
    return arithmetic("/", value, 100.0)
