"""The ordinary functions that add and count: which cells of a range they take, and what a criterion lets through."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Iterator
from typing import Any

from drenchbook.formula_operators import COMPARISONS
from drenchbook.formula_values import (
    VALUE,
    ErrorValue,
    Grid,
    Refused,
    compare,
    is_number,
    match_key,
    number,
    number_of_text,
)


def each_value(arguments: tuple[Any, ...]) -> Iterator[tuple[Any, bool]]:
    """Every value of the arguments, and whether it stands in a grid."""
    for argument in arguments:
        if argument.__class__ is Grid:
            for value in argument.values():
                yield value, True
        else:
            yield argument, False


def numbers_of(arguments: tuple[Any, ...]) -> list[float]:
    """The numbers of the arguments: text, truth values and blanks in a grid do not count, typed ones do."""
    found: list[float] = []
    for argument in arguments:
        if argument.__class__ is not Grid:
            found.append(number(argument))
        elif argument.cells.dtype.kind == "f":
            found.extend(argument.values())
        else:
            for value in argument.values():
                if value.__class__ is float or value.__class__ is int:
                    found.append(value)
                elif value.__class__ is ErrorValue:
                    raise Refused(value)
                elif is_number(value):
                    found.append(number(value))
    return found


def total(*arguments: Any) -> float:
    return math.fsum(numbers_of(arguments))  # exact, so that the order of rows does not change the last digit


def count_numbers(*arguments: Any) -> float:
    return float(sum(_counts_as_number(value, in_grid) for value, in_grid in each_value(arguments)))


def _counts_as_number(value: Any, in_grid: bool) -> bool:
    if is_number(value):
        return True
    return not in_grid and (value.__class__ is bool or (value.__class__ is str and number_of_text(value) is not None))


def as_grid(value: Any) -> Grid:
    return value if value.__class__ is Grid else Grid.of([[value]])


@functools.lru_cache(maxsize=1024)
def wildcard(pattern: str) -> re.Pattern[str]:
    """A text with * and ? for any characters; ~ before one of them means the character itself."""
    parts = re.findall(r"~[*?~]|[*?]|[^*?~]+|~", pattern)
    joined = "".join(".*" if p == "*" else "." if p == "?" else re.escape(p[1:] if len(p) == 2 and p[0] == "~" else p)
                     for p in parts)  # fmt: skip
    return re.compile(joined, re.IGNORECASE | re.DOTALL)


def _criterion(wanted: Any) -> tuple[Any, Callable[[Any], bool]]:
    """What COUNTIF and SUMIF look for: a key to count by, or None, and the test of one cell."""
    if wanted.__class__ is not str:
        key = match_key(0.0 if wanted is None else wanted)
        return key, lambda value: match_key(value) == key
    operator, operand = re.fullmatch(r"(<>|<=|>=|=|<|>)?(.*)", wanted, re.DOTALL).groups()  # type: ignore[union-attr]
    amount = number_of_text(operand)
    if operator in (None, "=", "<>"):
        same = _same_as(operand, amount, blank_only=operator is not None)
        if operator == "<>":
            return None, lambda value: not same(value)
        plain = amount is None and operand and not re.search(r"[*?~]", operand)
        return (match_key(operand) if plain else None), same
    holds, limit = COMPARISONS[operator], operand if amount is None else amount
    kind = match_key(limit)[0]

    def within(value: Any) -> bool:
        key = match_key(value)
        return key is not None and key[0] == kind and holds(compare(value, limit))

    return None, within


def _same_as(operand: str, amount: float | None, blank_only: bool) -> Callable[[Any], bool]:
    if not operand:
        return lambda value: value is None or (value == "" and not blank_only)
    if amount is not None:
        key = match_key(amount)
        return lambda value: match_key(value) == key or (value.__class__ is str and number_of_text(value) == amount)
    if operand.upper() in ("TRUE", "FALSE"):
        return lambda value: value.__class__ is bool and value == (operand.upper() == "TRUE")
    pattern = wildcard(operand)
    return lambda value: value.__class__ is str and bool(pattern.fullmatch(value))


def count_if(grid: Any, wanted: Any) -> float:
    key, test = _criterion(wanted)
    grid = as_grid(grid)
    if key is not None and key[0] != "b":
        return float(grid.counts().get(key, 0))
    return float(sum(map(test, grid.values())))


def count_ifs(*pairs: Any) -> float:
    if len(pairs) % 2:
        raise Refused(VALUE)
    grids = [as_grid(grid) for grid in pairs[::2]]
    if len({grid.shape for grid in grids}) != 1:
        raise Refused(VALUE)
    tests = [_criterion(_one(wanted))[1] for wanted in pairs[1::2]]
    return float(sum(
        all(test(value) for test, value in zip(tests, values, strict=True))
        for values in zip(*(grid.values() for grid in grids), strict=True)
    ))  # fmt: skip


def _one(wanted: Any) -> Any:
    """A condition from the one cell that holds it; a range of several names none."""
    if wanted.__class__ is not Grid:
        return wanted
    if wanted.shape != (1, 1):
        raise Refused(ErrorValue("#VALUE!", "a condition of COUNTIFS is evaluated for one cell only"))
    return wanted.item(0, 0)


def sum_if(grid: Any, wanted: Any, amounts: Any = None) -> float:
    grid, test = as_grid(grid), _criterion(wanted)[1]
    added = grid if amounts is None else as_grid(amounts)
    if added.shape != grid.shape:
        raise Refused(ErrorValue("#VALUE!", "SUMIF is evaluated for ranges of one shape only"))
    picked = [amount for value, amount in zip(grid.values(), added.values(), strict=True) if test(value)]
    return total(Grid.of([picked])) if picked else 0.0
