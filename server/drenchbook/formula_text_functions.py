"""The ordinary functions that make, cut and read text."""

from __future__ import annotations

import datetime
import decimal
import math
import re
from collections.abc import Callable
from typing import Any

import numpy as np

from drenchbook.formula_values import (
    EPOCH,
    NUMBER,
    VALUE,
    ErrorValue,
    Grid,
    Refused,
    is_number,
    lifted,
    number,
    number_of_text,
    text,
)

LONGEST_TEXT = 32_767  # characters in a cell
FORMATS = ("0", "0.0", "0.00", "0%", "#,##0", "yyyy-mm-dd")
_PRECISE = decimal.Context(prec=60)


def rounded(value: float, digits: int, how: str = decimal.ROUND_HALF_UP) -> float:
    """A number rounded to digits after the point, as its 15 printed digits stand.

    >>> rounded(2.5, 0), rounded(-2.675, 2), rounded(1250.0, -2)
    (3.0, -2.68, 1300.0)
    """
    if not math.isfinite(value):
        raise Refused(NUMBER)
    exact = decimal.Decimal(f"{value:.15g}")
    if digits >= -int(exact.as_tuple().exponent):  # nothing left to round
        return value
    step = decimal.Decimal(1).scaleb(-digits)
    return float((exact / step).quantize(decimal.Decimal(1), how, _PRECISE) * step)


def formatted(value: Any, pattern: Any) -> str:
    """TEXT for numbers with fixed decimals, thousands and percent, and for the plain date; other patterns are refused.

    >>> formatted(1234.5, "#,##0"), formatted(0.125, "0%"), formatted(46146, "yyyy-mm-dd"), formatted("a", "0")
    ('1,235', '13%', '2026-05-04', 'a')
    """
    pattern = text(pattern)
    amount = number_of_text(value) if value.__class__ is str else number(value)
    if amount is None:
        return text(value)
    if pattern.lower() == "yyyy-mm-dd":
        if amount < 0:
            raise Refused(VALUE)
        return (EPOCH + datetime.timedelta(days=math.floor(amount))).strftime("%Y-%m-%d")
    fixed = re.fullmatch(r"(#,##)?0(?:\.(0+))?(%)?", pattern)
    if not fixed:
        raise Refused(ErrorValue("#VALUE!", f'TEXT with the pattern "{pattern}" is not evaluated; we know {FORMATS}'))
    decimals = len(fixed[2] or "")
    amount = rounded(amount * 100 if fixed[3] else amount, decimals)
    grouping = "," if fixed[1] else ""
    return f"{amount + 0.0:{grouping}.{decimals}f}" + (fixed[3] or "")


def _count(value: Any, least: int = 0) -> int:
    found = math.floor(number(value))
    if found < least:
        raise Refused(VALUE)
    return found


def _left(value: Any, length: Any = 1.0) -> str:
    return text(value)[: _count(length)]


def _right(value: Any, length: Any = 1.0) -> str:
    whole, wanted = text(value), _count(length)
    return whole[-wanted:] if wanted else ""


def _middle(value: Any, start: Any, length: Any) -> str:
    first = _count(start, 1) - 1
    return text(value)[first : first + _count(length)]


def _repeated(value: Any, times: Any) -> str:
    whole, count = text(value), _count(times)
    if len(whole) * count > LONGEST_TEXT:
        raise Refused(VALUE)
    return whole * count


def _substituted(value: Any, old: Any, new: Any, which: Any = None) -> str:
    whole, found, put = text(value), text(old), text(new)
    if not found:
        return whole
    if which is None:
        return whole.replace(found, put)
    parts, wanted = whole.split(found), _count(which, 1)
    if wanted >= len(parts):
        return whole
    return found.join(parts[:wanted]) + put + found.join(parts[wanted:])


def _code(value: Any) -> float:
    whole = text(value)
    if not whole:
        raise Refused(VALUE)
    return float(ord(whole[0]))


def _character(value: Any) -> str:
    code = _count(value, 1)
    if code > 0x10FFFF or 0xD800 <= code <= 0xDFFF:
        raise Refused(VALUE)
    return chr(code)


def _value(value: Any) -> float:
    if value.__class__ is bool:
        raise Refused(VALUE)
    return number(value)


def _kept_text(value: Any) -> str:
    return value if value.__class__ is str else ""


def _joined(*values: Any) -> str:
    return "".join(text(value) for value in values)


def middle_characters(whole: Any, start: Any, length: Any) -> Grid | None:
    """MID of single characters at many places of many texts at once; None where it is not that."""
    if whole.__class__ is not Grid or start.__class__ is not Grid or start.shape[0] != 1 or length != 1:
        return None
    places = start.numbers()
    values = whole.values()
    if whole.shape[1] != 1 or places is None or not all(v.__class__ is str for v in values) or (places < 1).any():
        return None
    longest = max(1, max(map(len, values), default=1))
    letters = np.array(values, dtype=f"U{longest}").view("U1").reshape(len(values), longest)
    at = np.floor(places[0]).astype(int) - 1
    picked = letters[:, np.minimum(at, longest - 1)]
    picked[:, at >= longest] = ""
    return Grid(picked)


def codes_of_characters(value: Any) -> Grid | None:
    """UNICODE of many single characters at once; None where a cell holds something else."""
    if value.__class__ is not Grid or value.cells.dtype != np.dtype("U1") or not value.cells.size:
        return None
    codes = np.ascontiguousarray(value.cells).view(np.uint32)
    return None if (codes == 0).any() else Grid(codes.astype(float))


def lengths(value: Any) -> Grid | None:
    """LEN of many texts at once."""
    return lifted(lambda each: float(len(text(each))), (value,)) if value.__class__ is Grid else None


# Name → what it does, fewest arguments, most arguments (None: any number), what does it for whole grids at once.
TEXT_FUNCTIONS: dict[str, tuple[Callable[..., Any], int, int | None, Callable[..., Grid | None] | None]] = {
    "LEN": (lambda value: float(len(text(value))), 1, 1, lengths),
    "LEFT": (_left, 1, 2, None),
    "RIGHT": (_right, 1, 2, None),
    "MID": (_middle, 3, 3, middle_characters),
    "TRIM": (lambda value: re.sub(" +", " ", text(value).strip(" ")), 1, 1, None),
    "UPPER": (lambda value: text(value).upper(), 1, 1, None),
    "LOWER": (lambda value: text(value).lower(), 1, 1, None),
    "EXACT": (lambda left, right: text(left) == text(right), 2, 2, None),
    "CONCATENATE": (_joined, 1, None, None),
    "TEXT": (formatted, 2, 2, None),
    "VALUE": (_value, 1, 1, None),
    "REPT": (_repeated, 2, 2, None),
    "UNICODE": (_code, 1, 1, codes_of_characters),
    "UNICHAR": (_character, 1, 1, None),
    "SUBSTITUTE": (_substituted, 3, 4, None),
    "T": (_kept_text, 1, 1, None),
    "N": (lambda value: number(value) if is_number(value) or value.__class__ is bool else 0.0, 1, 1, None),
    "HYPERLINK": (lambda link, label=None: text(link) if label is None else label, 1, 2, None),
}
