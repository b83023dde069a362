"""The arguments of a worksheet function: what a cell may hold, in which unit, and what to say when it does not."""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from numbers import Real
from types import MappingProxyType
from typing import Any

from drenchbook.errors import InputError
from drenchbook.units import SYSTEMS, US, from_si, to_si, unit_of, unit_system

UNITS_TOO_EARLY = "is a unit system, which comes last; an argument before it is missing"
TRUE_WORDS, FALSE_WORDS = ("TRUE", "YES", "Y"), ("FALSE", "NO", "N")

# What the physics calls the SI unit of a quantity, so that a number in one of its sentences can be told in the user's.
SI_UNIT: Mapping[str, str] = MappingProxyType({
    "flow": "m³/s", "pressure": "Pa", "temperature": "°C", "temperature difference": "K", "length": "m",
    "small length": "m", "volume": "m³", "power": "W", "flow coefficient": "m³/s per √Pa", "velocity": "m/s",
    "insulation conductivity": "W/(m·K)", "film coefficient": "W/(m²·K)", "fraction": "", "number": "",
})  # fmt: skip


@dataclass(frozen=True)
class Argument:
    """One argument, in the words that the user sees.

    `kind` is "number" (with a quantity), "yes_no", "words" (the calculation reads it: a material, a size, a list of
    fittings), "any" (passed on as it stands, a blank included), "table" (a range with its heading row) or "units".
    `default` is what a blank optional argument stands for: a pair is typed in US and in SI units. `least` and `most`
    are in SI and narrow what the physics would take. `repeats` marks a last argument that stands for any number.
    """

    name: str
    kind: str
    help: str
    quantity: str = ""
    optional: bool = False
    default: Any = None
    least: float = -math.inf
    most: float = math.inf
    repeats: bool = False

    def unit(self, system: str) -> str:
        """The unit in which the user types it, or ""."""
        return unit_of(self.quantity, system) if self.quantity else ""

    def default_in(self, system: str) -> Any:
        """What a blank stands for, in the units of the system."""
        return self.default[SYSTEMS.index(system)] if isinstance(self.default, tuple) else self.default


def is_missing(cell: object) -> bool:
    """Whether a cell is blank: hosts hand over None or empty text for it, and never mean zero."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def units_of(takes: Sequence[Argument], cells: Sequence[object]) -> str:
    """The unit system that the user named, read before the numbers; "US" where it was left out."""
    for argument, cell in zip(takes, cells, strict=False):
        if argument.kind == "units" and not is_missing(cell):
            return unit_system(cell)
    return US


def read_arguments(takes: Sequence[Argument], cells: Sequence[object]) -> dict[str, Any]:
    """What a calculation receives, by argument name: numbers in SI, everything else as the user meant it.

    Parameters
    ----------
    takes : sequence of Argument
        Arguments in order.
    cells : sequence of object
        What the user gave, in order; fewer is the same as blank.

    Returns
    -------
    dict
        Argument name to value. The unit system is not in it.

    >>> flow = Argument("flow", "number", "flow", "flow")
    >>> read_arguments((flow,), ("2,5",))
    Traceback (most recent call last):
    drenchbook.errors.InputError: flow = "2,5" gpm: is text, not a number; type it with a decimal point and no unit
    """
    if len(cells) > len(takes) and not (takes and takes[-1].repeats):
        extra = cells[len(takes)]
        raise InputError(f"argument {len(takes) + 1}", extra, f"is one too many; there are at most {len(takes)}")
    system = units_of(takes, cells)
    values: dict[str, Any] = {}
    for place, argument in enumerate(takes):
        if argument.kind == "any" and not argument.repeats:
            values[argument.name] = cells[place] if place < len(cells) else None
        elif argument.repeats:
            values[argument.name] = tuple(cells[place:])
        elif argument.kind != "units":
            values[argument.name] = read_argument(argument, cells[place] if place < len(cells) else None, system)
    return values


def read_argument(argument: Argument, cell: object, system: str) -> Any:
    """What one cell means to a calculation: a number in SI, words as they stand, the default of a blank.

    >>> read_argument(Argument("flow", "number", "flow", "flow"), 60.0, "SI")
    0.001
    """
    if argument.kind == "any":
        return cell
    if is_missing(cell):
        if not argument.optional:
            raise InputError(argument.name, None, _wanted_of_blank(argument, system))
        cell = argument.default_in(system)
        if cell is None:
            return None
    if argument.kind == "number":
        value = to_si(_number(argument, cell, system), argument.unit(system))
        if not argument.least <= value <= argument.most:
            least, most = (from_si(bound, argument.unit(system)) for bound in (argument.least, argument.most))
            unit = shown_unit(argument.quantity, system)
            raise InputError(argument.name, cell, f"must be from {least:.6g} to {most:.6g}", unit)
        return value
    if argument.kind == "yes_no":
        return _yes_no(argument.name, cell)
    if argument.kind == "table":
        return _table(argument, cell)
    if isinstance(cell, str) and cell.strip().upper() in SYSTEMS:
        raise InputError(argument.name, cell, UNITS_TOO_EARLY)
    if isinstance(cell, (list, tuple)):
        raise InputError(argument.name, _outline(cell), "must be one value, not a range")
    return cell


def _wanted_of_blank(argument: Argument, system: str) -> str:
    if argument.kind == "number" and argument.unit(system) not in ("", "–"):
        return f"is blank; give the {argument.help} in {argument.unit(system)}"
    return f"is blank; give the {argument.help}"


def _number(argument: Argument, cell: object, system: str) -> float:
    name, unit = argument.name, shown_unit(argument.quantity, system)
    if isinstance(cell, bool):
        raise InputError(name, cell, "is a truth value, not a number")
    if isinstance(cell, (datetime.date, datetime.time, datetime.timedelta)):
        raise InputError(name, cell, "is a date, not a number; format the cell as a number and type it again")
    if isinstance(cell, str):
        if cell.strip().upper() in SYSTEMS:
            raise InputError(name, cell, UNITS_TOO_EARLY)
        raise InputError(name, cell, "is text, not a number; type it with a decimal point and no unit", unit)
    if not isinstance(cell, Real):
        raise InputError(name, _outline(cell), "must be one number, not a range")
    number = float(cell)
    if not math.isfinite(number):
        raise InputError(name, number, "must be a finite number", unit)
    return number


def _yes_no(name: str, cell: object) -> bool:
    # Some hosts hand a truth value over as 1 or 0.
    if isinstance(cell, Real) and float(cell) in (0.0, 1.0):
        return bool(cell)
    if isinstance(cell, str) and cell.strip().upper() in TRUE_WORDS + FALSE_WORDS:
        return cell.strip().upper() in TRUE_WORDS
    raise InputError(name, _outline(cell), "must be TRUE or FALSE")


def _table(argument: Argument, cell: object) -> list[list[Any]]:
    if not isinstance(cell, (list, tuple)) or not cell or not all(isinstance(row, (list, tuple)) for row in cell):
        raise InputError(argument.name, _outline(cell), f"must be the {argument.help}")
    return [list(row) for row in cell]


def _outline(cell: object) -> object:
    """A cell that is no single value, in a few words."""
    if isinstance(cell, (list, tuple)):
        width = len(cell[0]) if cell and isinstance(cell[0], (list, tuple)) else 1
        return f"{len(cell)} × {width} cells"
    return cell


def shown_unit(quantity: str, system: str) -> str:
    """The unit of a quantity as a sentence writes it: nothing for a plain number."""
    unit = unit_of(quantity, system) if quantity else ""
    return "" if unit == "–" else unit


def retold(error: InputError, takes: Sequence[Argument], cells: Sequence[object]) -> InputError:
    """The error of a calculation in the user's words: the cell as typed, and what is accepted in the user's unit.

    >>> flow = Argument("flow", "number", "flow", "flow")
    >>> error = InputError("flow", 1e-3, "must be at most 0.00063090196", "m³/s")
    >>> print(retold(error, (flow,), (15.85,)))
    flow = 15.85 gpm: must be at most 10
    """
    for argument, cell in zip(takes, list(cells) + [None] * len(takes), strict=False):
        if argument.name != error.name:
            continue
        system = units_of(takes, cells)
        typed = argument.default_in(system) if is_missing(cell) else cell
        unit = shown_unit(argument.quantity, system)
        return InputError(argument.name, _outline(typed), _in_unit(error, argument.quantity, system), unit)
    return error


def _in_unit(error: InputError, quantity: str, system: str) -> str:
    """The sentence with each of its numbers in the user's unit, where the physics told them in SI."""
    inside = SI_UNIT.get(quantity, "")
    if not inside or error.unit != inside:
        return error.wanted
    unit = unit_of(quantity, system)

    def told(found: re.Match[str]) -> str:
        return f"{from_si(float(found[1]), unit):.6g}" + (f" {unit}" if found[2] else "")

    return re.sub(rf"(?<![\w.])(-?\d+(?:\.\d+)?(?:e[-+]?\d+)?)(\s{re.escape(inside)})?(?![\w])", told, error.wanted)
