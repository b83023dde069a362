"""What one typed cell means: the value of its column, or a `Missing` that says why it cannot be used.

The same rules read a workbook cell and a value of a site file, so both forms of a site mean the same.
"""

from __future__ import annotations

import datetime
import itertools
import math
import numbers
import re
from collections.abc import Callable
from typing import Any

from drenchbook.errors import InputError, shown
from drenchbook.published.fittings_table import fittings_resistance
from drenchbook.published.pipes import MATERIALS, canonical_size
from drenchbook.site_model import Missing
from drenchbook.site_tables import Column
from drenchbook.units import to_si

BLANK = "is blank; it is needed, and a blank is not a zero"
_DATE_IN_NUMBER = "a date stands here; clear the cell's date format and type the number"


# The most that any site has of a quantity, in SI: what is more is a slip of digits or of the unit system.
MOST = {"flow": 1.0, "pressure": 1e7, "temperature": 200.0, "temperature difference": 200.0, "length": 1e5,
        "small length": 20.0, "volume": 1e6, "seconds": 1e8, "minutes": 1e8, "hours": 1e8, "power": 1e9,
        "flow coefficient": 1.0, "loss per flow squared": 1e17, "irradiance": 2000.0, "fraction": 1e6, "number": 1e9,
        "people": 1e6}  # fmt: skip
COLDEST = -100.0  # [°C]
MOST_IN_CURVES = 1e7  # in either unit system: a curve that is refused stays the text that was typed
NEXT_TO_NOTHING = 1e-15  # in the unit of the cell


class _UnusableError(ValueError):
    """Why one cell cannot be used."""


def is_blank(value: Any) -> bool:
    """Whether nothing was typed: None, an empty text, or only spaces."""
    return value is None or (isinstance(value, str) and not value.replace("\u00a0", " ").strip())


# What people type where there is nothing to type; as a source, a listing or a reason it says nothing.
WORDS_FOR_NOTHING = frozenset((
    "none", "no", "not", "nil", "n", "na", "nan", "null", "unknown", "open", "pending", "tbd", "tbc", "tba", "x", "0",
    "false", "missing", "y", "yes", "not known", "not yet", "not listed", "no source", "no data",
))  # fmt: skip


def is_said(value: Any) -> bool:
    """Whether a text says something: not blank, not only marks, and no word for nothing.

    >>> is_said("draw test 12/2025"), is_said("n/a"), is_said(" - "), is_said(None)
    (True, False, False, False)
    """
    if not isinstance(value, str):
        return False
    words = re.sub(r"[\W_]+", " ", value).strip().casefold()
    return bool(words) and words not in WORDS_FOR_NOTHING and words.replace(" ", "") not in WORDS_FOR_NOTHING


def word_of(cell: Any) -> str:
    """A cell as text, "" for a blank: a station may be called 101.

    >>> word_of(101.0), word_of(" L1 "), word_of(None)
    ('101', 'L1', '')
    """
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return "" if cell is None else str(cell).strip()


def tidy(text: str) -> str:
    """A text without stray spaces at its ends, hard spaces included."""
    return text.replace("\u00a0", " ").strip()


def parse_cell(column: Column, typed: Any, units: str, where: str = "") -> Any:
    """The value that `typed` has in `column`, None for an allowed blank, or a Missing with the reason.

    >>> from drenchbook.site_tables import PIPE_RUNS
    >>> parse_cell(PIPE_RUNS.column("developed_length"), 80, "US")
    80.0
    >>> print(parse_cell(PIPE_RUNS.column("developed_length"), "2,5", "US", "sheet Pipe runs, F7"))
    sheet Pipe runs, F7: text "2,5" stands where a number in ft belongs; type 2.5 with a decimal point
    """
    if isinstance(typed, Missing):
        return typed
    if isinstance(typed, datetime.datetime) and typed.time() == datetime.time():
        typed = typed.date()  # a workbook has no dates without a time of day
    if is_blank(typed):
        return None if column.need == "never" else Missing(BLANK, None, where)
    try:
        return _PARSERS[column.kind](column, typed, units)
    except (_UnusableError, InputError) as error:
        reason = error.wanted if isinstance(error, InputError) else str(error)
        return Missing(f"{shown(typed)} {reason}" if isinstance(error, InputError) else reason, typed, where)


def _text(column: Column, typed: Any, units: str) -> str:
    if isinstance(typed, str):
        return typed
    if isinstance(typed, datetime.datetime):
        return typed.date().isoformat()
    if isinstance(typed, datetime.date):
        return typed.isoformat()
    if isinstance(typed, float) and typed.is_integer():
        return str(int(typed))
    return str(typed)


def _number(column: Column, typed: Any, units: str) -> float:
    unit = column.unit(units)
    in_unit = f" in {unit}" if unit not in ("", "–") else ""
    if isinstance(typed, bool):
        raise _UnusableError(f"{shown(typed)} stands where a number{in_unit} belongs")
    if isinstance(typed, (datetime.date, datetime.time)):
        raise _UnusableError(_DATE_IN_NUMBER + in_unit)
    if isinstance(typed, str):
        raise _UnusableError(
            f"text {shown(typed)} stands where a number{in_unit} belongs; {_number_advice(typed, unit)}"
        )
    if not isinstance(typed, numbers.Real):
        raise _UnusableError(f"{shown(typed)} stands where a number{in_unit} belongs; type one number")
    try:
        number = float(typed)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise _UnusableError(f"{shown(typed)} is not a finite number{in_unit}")
    if column.low is not None and number < column.low:
        raise _UnusableError(f"{number:g}{' ' + unit if unit else ''} is too small; {column.low:g} or more is accepted")
    if column.high is not None and number > column.high:
        raise _UnusableError(
            f"{number:g}{' ' + unit if unit else ''} is too large; {column.high:g} at most is accepted"
        )
    _plausible(number, column.quantity, unit)
    if column.whole and not number.is_integer():
        raise _UnusableError(f"{number:g} is not a whole number; type {math.floor(number)} or {math.ceil(number)}")
    return number


def _plausible(number: float, quantity: str, unit: str) -> None:
    """Refuse what no site has: too many digits, or the number of another unit."""
    most = MOST.get(quantity, math.inf)
    value = to_si(number, unit) if unit else number
    spelled = f"{number:g}{' ' + unit if unit else ''}"
    if abs(value) > most * (1 + 1e-9) or (quantity == "temperature" and value < COLDEST):
        raise _UnusableError(f"{spelled} is beyond what any site has; look at its digits and its unit")
    if 0 < abs(number) < NEXT_TO_NOTHING:
        raise _UnusableError(f"{spelled} is next to nothing; type 0, or the number that is meant")


def _number_advice(text: str, unit: str) -> str:
    bare = tidy(text)
    if re.fullmatch(r"[-+]?[1-9]\d{0,2},\d{3}", bare):  # a decimal comma, or a mark between thousands
        return f"type {bare.replace(',', '.')} with a decimal point, or {bare.replace(',', '')} without a mark"
    if re.fullmatch(r"[-+]?\d+,\d+", bare):
        return f"type {bare.replace(',', '.')} with a decimal point"
    if bare.startswith("#"):
        return "the cell holds an error; mend its formula or type the number"
    if re.match(r"[-+]?\d", bare) and unit:
        return "type the number alone, its unit stands in the heading"
    return "type the number"


def _choice(column: Column, typed: Any, units: str) -> str:
    choices = MATERIALS if column.name == "material" else column.choices
    for choice in choices:
        if tidy(_text(column, typed, units)).casefold() == choice.casefold():
            return choice
    raise _UnusableError(f"{shown(typed)} is not one of " + ", ".join(choices))


def _yes_no(column: Column, typed: Any, units: str) -> bool:
    words = {"y": True, "yes": True, "true": True, "n": False, "no": False, "false": False}
    answer = words.get(tidy(str(typed)).casefold())
    if answer is None:
        raise _UnusableError(f"{shown(typed)} must be Y or N")
    return answer


def _refs(column: Column, typed: Any, units: str) -> tuple[str, ...]:
    if isinstance(typed, (list, tuple)):
        return tuple(str(tag) for tag in typed)
    return tuple(tidy(tag) for tag in re.split(r"[,;\n]", _text(column, typed, units)) if tidy(tag))


def _size(column: Column, typed: Any, units: str) -> str:
    canonical = canonical_size(typed)
    return tidy(typed) if isinstance(typed, str) else canonical


def _fittings(column: Column, typed: Any, units: str) -> str:
    fittings_resistance(typed, 1.0)  # words and counts are checked here; the bore comes with the run
    return typed if isinstance(typed, str) else f"{typed:.15g}"


# Spreadsheet programs hand a date to a function as the number of days since this one; 20000 to 80000 is 1954 to 2119.
_DAY_ZERO = datetime.date(1899, 12, 30)
_DAY_NUMBERS = range(20000, 80001)


def _date(column: Column, typed: Any, units: str) -> datetime.date:
    if isinstance(typed, datetime.datetime):
        return typed.date()
    if isinstance(typed, datetime.date):
        return typed
    if isinstance(typed, str):
        try:
            return datetime.date.fromisoformat(tidy(typed))
        except ValueError:
            pass
    if isinstance(typed, (int, float)) and not isinstance(typed, bool) and typed in _DAY_NUMBERS:
        return _DAY_ZERO + datetime.timedelta(days=int(typed))
    raise _UnusableError(f"{shown(typed)} is not a date; type it as year-month-day, 2026-05-04")


def _curve(column: Column, typed: Any, units: str) -> tuple[tuple[float, float], ...]:
    points = _points(column, typed, units)
    if len(points) < 2:
        raise _UnusableError(f"{shown(typed)} has fewer than two points; {_CURVE_FORM}")
    if any(flow < 0 or value < 0 for flow, value in points):
        raise _UnusableError(f"{shown(typed)} has a negative number; {_CURVE_FORM}")
    if any(number > MOST_IN_CURVES for point in points for number in point):
        raise _UnusableError(f"{shown(typed)} has a number that no site has; {_CURVE_FORM}")
    if any(later[0] <= earlier[0] for earlier, later in itertools.pairwise(points)):
        raise _UnusableError(f"{shown(typed)} must have flows that rise from point to point; {_CURVE_FORM}")
    if not column.name.startswith(("seat", "bypass")) and points[0][0] != 0:
        raise _UnusableError(f"{shown(typed)} must begin at zero flow; {_CURVE_FORM}")
    if column.name.startswith(("seat", "bypass")) and any(0 in point for point in points):
        raise _UnusableError(f"{shown(typed)} must hold flows and losses above zero")
    return points


_CURVE_FORM = 'write points as "0 11.5; 10 10.6; 20 10.2"'


def _points(column: Column, typed: Any, units: str) -> tuple[tuple[float, float], ...]:
    if isinstance(typed, (list, tuple)):
        pairs = [tuple(point) if isinstance(point, (list, tuple)) else (point,) for point in typed]
    else:
        pairs = [tuple(point.split()) for point in _text(column, typed, units).split(";") if point.strip()]
    if any(len(pair) != 2 for pair in pairs):
        raise _UnusableError(f"{shown(typed)} is not a list of points; {_CURVE_FORM}")
    try:
        points = tuple((float(flow), float(value)) for flow, value in pairs)
    except (TypeError, ValueError):
        raise _UnusableError(f"{shown(typed)} holds something that is no number; {_CURVE_FORM}") from None
    if not all(math.isfinite(number) for point in points for number in point):
        raise _UnusableError(f"{shown(typed)} holds something that is no number; {_CURVE_FORM}")
    return points


_PARSERS: dict[str, Callable[[Column, Any, str], Any]] = {
    "text": _text,
    "number": _number,
    "choice": _choice,
    "yes_no": _yes_no,
    "tag": _text,
    "ref": _text,
    "refs": _refs,
    "size": _size,
    "fittings": _fittings,
    "date": _date,
    "curve": _curve,
}


def typed_form(column: Column, value: Any) -> Any:
    """A model value as a person would type it into a cell: the inverse of `parse_cell`.

    >>> from drenchbook.site_tables import LINE_DEVICES
    >>> typed_form(LINE_DEVICES.column("curve"), ((0.0, 11.5), (10.0, 10.6)))
    '0 11.5; 10 10.6'
    """
    if isinstance(value, Missing):
        return value.typed
    if value is None:
        return None
    if column.kind == "yes_no":
        return "Y" if value else "N"
    if column.kind == "refs":
        return ", ".join(value)
    if column.kind == "curve":
        return "; ".join(f"{_plain(flow)} {_plain(loss)}" for flow, loss in value)
    return value


def _plain(number: float) -> str:
    return str(int(number)) if float(number).is_integer() and abs(number) < 1e15 else repr(float(number))
