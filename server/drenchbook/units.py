"""Units at the border: what a cell means in SI, and how an SI number is shown.

Physics and solver know SI only. Everything a person types or reads passes through this file. The factors are exact by
definition where a standard defines them so; a test compares each with pint, which also reads any unit not listed here.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Any

from drenchbook.errors import InputError

US, SI = "US", "SI"
SYSTEMS = (US, SI)

_FOOT = 0.3048  # international foot, exact
_INCH = _FOOT / 12
_GALLON = 231 * _INCH**3  # US liquid gallon, exact
_POUND = 0.45359237  # avoirdupois, exact
_GRAVITY = 9.80665  # standard gravity, exact by definition
_PSI = _POUND * _GRAVITY / _INCH**2
_BTU = 1055.05585262  # international table Btu
_GPM = _GALLON / 60
_LITRE_PER_MINUTE = 1e-3 / 60


@dataclass(frozen=True)
class Unit:
    """SI = (value + offset) * factor. `pint` is the same unit spelled for pint."""

    factor: float
    pint: str
    offset: float = 0.0


UNITS: dict[str, Unit] = {
    "gpm": Unit(_GPM, "gallon/minute"),
    "L/min": Unit(_LITRE_PER_MINUTE, "liter/minute"),
    "psi": Unit(_PSI, "psi"),
    "kPa": Unit(1e3, "kilopascal"),
    "°F": Unit(5 / 9, "degF", -32.0),
    "°C": Unit(1.0, "degC"),
    "Δ°F": Unit(5 / 9, "delta_degF"),
    "K": Unit(1.0, "delta_degC"),
    "ft": Unit(_FOOT, "foot"),
    "m": Unit(1.0, "meter"),
    "in": Unit(_INCH, "inch"),
    "mm": Unit(1e-3, "millimeter"),
    "gal": Unit(_GALLON, "gallon"),
    "L": Unit(1e-3, "liter"),
    "s": Unit(1.0, "second"),
    "min": Unit(60.0, "minute"),
    "h": Unit(3600.0, "hour"),
    "Btu/h": Unit(_BTU / 3600, "Btu_it/hour"),
    "kW": Unit(1e3, "kilowatt"),
    "Cv": Unit(_GPM / math.sqrt(_PSI), "gallon/minute/psi**0.5"),
    "Kv": Unit(1 / 3600 / math.sqrt(1e5), "meter**3/hour/bar**0.5"),
    "ft/s": Unit(_FOOT, "foot/second"),
    "m/s": Unit(1.0, "meter/second"),
    "psi/gpm²": Unit(_PSI / _GPM**2, "psi/(gallon/minute)**2"),
    "kPa/(L/min)²": Unit(1e3 / _LITRE_PER_MINUTE**2, "kilopascal/(liter/minute)**2"),
    "Btu·in/(h·ft²·°F)": Unit(_BTU / 3600 * _INCH / _FOOT**2 / (5 / 9), "Btu_it*inch/(hour*foot**2*delta_degF)"),
    "W/(m·K)": Unit(1.0, "watt/(meter*kelvin)"),
    "Btu/(h·ft²·°F)": Unit(_BTU / 3600 / _FOOT**2 / (5 / 9), "Btu_it/(hour*foot**2*delta_degF)"),
    "W/(m²·K)": Unit(1.0, "watt/(meter**2*kelvin)"),
    "Btu/(h·ft²)": Unit(_BTU / 3600 / _FOOT**2, "Btu_it/(hour*foot**2)"),
    "W/m²": Unit(1.0, "watt/meter**2"),
    "%": Unit(0.01, "percent"),
    "–": Unit(1.0, ""),
    "people": Unit(1.0, ""),
    "months": Unit(1.0, ""),  # calendar months, counted from the typed calculation date
    "years": Unit(1.0, ""),
}

# Quantity → its unit in the US and in the SI system of the sheets.
QUANTITIES: dict[str, tuple[str, str]] = {
    "flow": ("gpm", "L/min"),
    "pressure": ("psi", "kPa"),
    "temperature": ("°F", "°C"),
    "temperature difference": ("Δ°F", "K"),
    "length": ("ft", "m"),
    "small length": ("in", "mm"),
    "volume": ("gal", "L"),
    "seconds": ("s", "s"),
    "minutes": ("min", "min"),
    "hours": ("h", "h"),
    "power": ("Btu/h", "kW"),
    "flow coefficient": ("Cv", "Kv"),
    "velocity": ("ft/s", "m/s"),
    "loss per flow squared": ("psi/gpm²", "kPa/(L/min)²"),
    "insulation conductivity": ("Btu·in/(h·ft²·°F)", "W/(m·K)"),
    "film coefficient": ("Btu/(h·ft²·°F)", "W/(m²·K)"),
    "irradiance": ("Btu/(h·ft²)", "W/m²"),
    "fraction": ("–", "–"),
    "number": ("–", "–"),
    "people": ("people", "people"),
    "months": ("months", "months"),
    "years": ("years", "years"),
}


def unit_of(quantity: str, system: str) -> str:
    """The unit in which a quantity is typed and shown.

    >>> unit_of("flow", "US"), unit_of("flow", "SI")
    ('gpm', 'L/min')
    """
    return _UNIT_OF[quantity, system]


_UNIT_OF = {(name, system): pair[place] for name, pair in QUANTITIES.items() for place, system in enumerate(SYSTEMS)}


def unit_system(typed: object) -> str:
    """The unit system a user named: "US" or "SI", in any case; anything else is an InputError."""
    if isinstance(typed, str) and typed.strip().upper() in SYSTEMS:
        return typed.strip().upper()
    raise InputError("units", typed, 'must be "US" or "SI"')


def to_si(value: Any, unit: str) -> Any:
    """SI value of a number or array given in `unit`.

    >>> to_si(212, "°F"), round(to_si(1, "psi"), 3)
    (100.0, 6894.757)
    """
    known = UNITS.get(unit)
    if known is None:
        return _with_pint(value, unit)
    return (value + known.offset) * known.factor


def from_si(value: Any, unit: str) -> Any:
    """The number or array in `unit` of an SI value.

    >>> from_si(100.0, "°F")
    212.0
    """
    known = UNITS.get(unit)
    if known is None:
        return (value - _with_pint(0.0, unit)) / (_with_pint(1.0, unit) - _with_pint(0.0, unit))
    return value / known.factor - known.offset


def convert(value: float, unit: str, other: str) -> float:
    """A number in another unit of the same kind.

    >>> round(convert(20, "gpm", "L/min"), 4)
    75.7082
    """
    return value if unit == other else from_si(to_si(value, unit), other)


def same_kind(unit: str, other: str) -> bool:
    """Whether two units measure the same quantity, so that one converts into the other."""
    if unit == other:
        return True
    try:
        return bool(_parsed(unit).is_compatible_with(_parsed(other)))
    except InputError:
        return False


@functools.cache
def _registry() -> Any:
    import pint  # slow to load, and only needed for a unit that is not in UNITS

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


def _parsed(unit: str) -> Any:
    known = UNITS.get(unit)
    try:
        return _registry().Unit(known.pint if known else unit)
    except Exception as reason:  # pint raises many kinds for text that is no unit
        raise InputError("unit", unit, "is not a unit we can read") from reason


def _with_pint(value: Any, unit: str) -> Any:
    parsed = _parsed(unit)
    quantity = _registry().Quantity(value, parsed)
    for shown in ("meter**3/second", "pascal", "degC", "meter", "second", "watt", "meter/second"):
        if parsed.is_compatible_with(_registry().Unit(shown)):
            return quantity.to(shown).magnitude
    return quantity.to_base_units().magnitude
