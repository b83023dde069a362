"""What each worksheet function computes, in SI: physics and published tables put together, no unit conversion.

Each function that gives a number and takes one works on single values or on columns of equal length: numbers as arrays,
materials, sizes and other words as lists. A column gives the same digits as its values one by one.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics import dead_leg, heat_loss, outlets, pipe_flow, storage, water
from drenchbook.physics import fittings as fitting_losses
from drenchbook.physics.inputs import Numbers, same_kind
from drenchbook.published.fittings_table import fittings_resistance
from drenchbook.published.pipes import Pipe, pipe

REFERENCE_TEMPERATURE = (60 - 32) * 5 / 9  # [°C] 60 °F, at which handbooks state water and valve coefficients
DARCY_WEISBACH, HAZEN_WILLIAMS = "Darcy-Weisbach", "Hazen-Williams"
LEAST_C, GREATEST_C = 20.0, 170.0  # outside these no Hazen-Williams C is printed anywhere, common practice
ONE_DAY = 86_400.0  # [s] shown for a store that does not end
OK, LOW, HIGH, UNKNOWN = "OK", "LOW", "HIGH", "UNKNOWN"
NO_LIMIT = "none"
SLACK = 1e-9  # relative; a value equal to its limit meets it, whatever the last bit of a conversion says


class _Pipes:
    """Many pipes; each property of a `Pipe` as an array."""

    def __init__(self, materials: Sequence[object], sizes: Sequence[object]):
        self.pipes = [pipe(material, size) for material, size in zip(materials, sizes, strict=True)]

    def __getattr__(self, name: str) -> Any:
        return np.array([getattr(each, name) for each in self.pipes])


def _pipes(material: object, size: object) -> Any:
    """The pipe, or of two columns the pipes."""
    if isinstance(material, list) and isinstance(size, list):
        return _Pipes(material, size)
    return pipe(material, size)


def _by_word(words: Sequence[Any], calculated: Callable[[Any, Any], Numbers]) -> Numbers:
    """A column put together from its rows of each word."""
    answers = np.empty(len(words))
    for word in dict.fromkeys(words):
        rows = np.flatnonzero([each == word for each in words])
        answers[rows] = calculated(word, rows)
    return answers


def inside_diameter(material: object, size: object) -> float:
    """Inside diameter of a pipe. [m]

    >>> round(inside_diameter("copper L", "1") / 0.0254, 3)
    1.025
    """
    return pipe(material, size).inside_diameter


def pipe_loss(
    flow: Numbers, material: object, size: object, length: Numbers, fittings: Any, temperature: Numbers, method: Any
) -> Numbers:
    """Friction and fittings loss of one run, no elevation. [Pa]

    >>> pipe_loss(0.0, "copper L", "1", 30.0, "none", 15.0, "Darcy-Weisbach")
    0.0
    """
    run = _pipes(material, size)
    density, viscosity = water.density(temperature), water.viscosity(temperature)
    resistance = _resistance(fittings, run)
    columns = (flow, run.inside_diameter, length, run.roughness, density, viscosity)
    if isinstance(run, Pipe):
        friction = _friction(_hazen_williams_coefficient(method, run), *columns)
    else:
        coefficients = [_hazen_williams_coefficient(*each) for each in zip(method, run.pipes, strict=True)]
        friction = _by_word(coefficients, lambda C, rows: _friction(C, *(column[rows] for column in columns)))
    return same_kind(friction + pipe_flow.minor_loss(flow, run.inside_diameter, resistance, density))


def _resistance(fittings: Any, run: Any) -> Numbers:
    """Total K of the fittings of a run, or of each of many."""
    if isinstance(run, Pipe):
        return fittings_resistance(fittings, run.nominal_inches)
    return np.array([fittings_resistance(*each) for each in zip(fittings, run.nominal_inches, strict=True)])


def _friction(
    coefficient: float | None, flow: Numbers, diameter: Numbers, length: Numbers, *wall_and_water: Numbers
) -> Numbers:
    """Friction by Hazen-Williams with a C; without one by Darcy-Weisbach with roughness, density and viscosity."""
    if coefficient is None:
        roughness, density, viscosity = wall_and_water
        return pipe_flow.darcy_weisbach_loss(flow, diameter, length, roughness, density, viscosity)
    return pipe_flow.hazen_williams_loss(flow, diameter, length, coefficient)


def rough_pipe_loss(
    flow: Numbers, material: object, size: object, length: Numbers, fittings: Any, temperature: Numbers,
    roughness: Numbers,
) -> Numbers:  # fmt: skip
    """Darcy-Weisbach loss of one run of its own roughness, no elevation. [Pa]

    >>> rough_pipe_loss(0.0, "steel 40", "1", 30.0, "none", 15.0, 1e-3)
    0.0
    """
    run = _pipes(material, size)
    density, viscosity = water.density(temperature), water.viscosity(temperature)
    resistance = _resistance(fittings, run)
    friction = pipe_flow.darcy_weisbach_loss(flow, run.inside_diameter, length, roughness, density, viscosity)
    return same_kind(friction + pipe_flow.minor_loss(flow, run.inside_diameter, resistance, density))


def _hazen_williams_coefficient(method: object, run: Pipe) -> float | None:
    """The C to use, or None for Darcy-Weisbach."""
    if isinstance(method, str):
        if method == DARCY_WEISBACH or _plain_method(method) == "darcy weisbach":
            return None
        if _plain_method(method) == "hazen williams":
            return run.hazen_williams_c
    elif isinstance(method, (int, float)) and not isinstance(method, bool) and LEAST_C <= method <= GREATEST_C:
        return float(method)
    raise InputError("method", method, f'must be "{DARCY_WEISBACH}", "{HAZEN_WILLIAMS}" or a Hazen-Williams C '
                                       f"from {LEAST_C:g} to {GREATEST_C:g}")  # fmt: skip


def _plain_method(method: str) -> str:
    return re.sub(r"[\s\-–—_]+", " ", method.strip()).casefold()


def pipe_velocity(flow: Numbers, material: object, size: object) -> Numbers:
    """Mean velocity in a pipe. [m/s]

    >>> pipe_velocity(0.0, "PEX", "1/2")
    0.0
    """
    return pipe_flow.velocity(flow, _pipes(material, size).inside_diameter)


def pipe_volume(material: object, size: object, length: Numbers) -> Numbers:
    """Water content of a pipe. [m³]

    >>> pipe_volume("PEX", "1/2", 0.0)
    0.0
    """
    return dead_leg.pipe_volume(_pipes(material, size).inside_diameter, length)


def elevation_loss(rise: Numbers, temperature: Numbers) -> Numbers:
    """Static pressure of a rise; negative where the pipe falls. [Pa]

    >>> round(elevation_loss(10.0, 4.0) / 1000, 1)
    98.1
    """
    return pipe_flow.elevation_pressure(rise, water.density(temperature))


def coefficient_loss(flow: Numbers, coefficient: Numbers, temperature: Numbers) -> Numbers:
    """Loss through a valve or device of known flow coefficient; the coefficient belongs to water of 60 °F. [Pa]

    >>> round(coefficient_loss(2e-3, 1e-5, REFERENCE_TEMPERATURE), 6)
    40000.0
    """
    ratio = water.density(temperature) / water.density(REFERENCE_TEMPERATURE)
    density = fitting_losses.REFERENCE_DENSITY * ratio
    return fitting_losses.coefficient_loss(flow, coefficient, density)


def outlet_flow(pressure: Numbers, rated_flow: Numbers, rated_pressure: Numbers, regulated: Any) -> Numbers:
    """Flow of one open outlet. [m³/s]

    >>> outlet_flow(-5.0, 1e-3, 2e5, False)
    0.0
    """
    return outlets.outlet_flow(pressure, rated_flow, rated_pressure, regulated)


def storage_lasts(model: Any, **tank: Numbers) -> Numbers:
    """Time of set temperature from a store; a store that does not end, or lasts longer, shows one day. [s]

    >>> storage_lasts("mixed", volume=1.0, usable_fraction=0.7, start_temperature=60, cold_temperature=10,
    ...               mixed_temperature=30, mixed_flow=0.0, recovery=0.0, approach=11)
    86400.0
    """
    if isinstance(model, list):
        return _by_word(model, lambda each, rows: storage_lasts(each, **{name: v[rows] for name, v in tank.items()}))
    if not isinstance(model, str) or model.strip().casefold() not in storage.MODELS:
        raise InputError("model", model, "must be " + " or ".join(f'"{name}"' for name in storage.MODELS))
    return same_kind(np.minimum(storage.storage_seconds(model=model.strip().casefold(), **tank), ONE_DAY))


def run_purge(flow: Numbers, material: object, size: object, length: Numbers) -> Numbers:
    """Time until new water, and the wall's heat with it, has passed one run. [s]

    >>> run_purge(1e-4, "copper L", "1/2", 0.0)
    0.0
    """
    run = _pipes(material, size)
    ratio = dead_leg.wall_heat_ratio(
        run.inside_diameter, run.outside_diameter, run.wall_density, run.wall_heat_capacity, REFERENCE_TEMPERATURE
    )
    volume = dead_leg.pipe_volume(run.inside_diameter, length)
    return dead_leg.purge_seconds(flow, volume, ratio)


def pipe_end_temperature(
    flow: Numbers, inlet_temperature: Numbers, air_temperature: Numbers, material: object, size: object,
    length: Numbers, insulation: Numbers, conductivity: Numbers, film: Numbers,
) -> Numbers:  # fmt: skip
    """Steady temperature at the far end of one run. [°C]

    >>> pipe_end_temperature(1e-3, 50.0, 50.0, "copper L", "1", 30.0, 0.0, 0.04, 10.0)
    50.0
    """
    run = _pipes(material, size)
    try:
        conductance = heat_loss.overall_conductance(
            run.inside_diameter, run.outside_diameter, run.wall_conductivity, insulation, conductivity, film
        )
    except InputError as error:
        name = {"insulation_thickness": "insulation", "insulation_conductivity": "conductivity",
                "film_coefficient": "film"}.get(error.name, error.name)  # fmt: skip
        raise InputError(name, error.value, error.wanted, error.unit) from None
    return heat_loss.end_temperature(flow, inlet_temperature, air_temperature, conductance, length)


def adequacy(value: object, minimum: object, maximum: object) -> str:
    """Where a value stands between its limits: "OK", "LOW", "HIGH", or "UNKNOWN" where anything is missing.

    >>> adequacy(20, 20, "none"), adequacy(None, 20, "none"), adequacy(20, None, 25)
    ('OK', 'UNKNOWN', 'UNKNOWN')
    """
    number, least, most = _plain_number(value), _limit(minimum, -math.inf), _limit(maximum, math.inf)
    if number is None or least is None or most is None or least > most:
        return UNKNOWN
    if number < least - SLACK * abs(least if math.isfinite(least) else 0.0):
        return LOW
    if number > most + SLACK * abs(most if math.isfinite(most) else 0.0):
        return HIGH
    return OK


def _plain_number(cell: Any) -> float | None:
    if isinstance(cell, bool) or not isinstance(cell, (int, float)) or not math.isfinite(cell):
        return None
    return float(cell)


def _limit(cell: object, none: float) -> float | None:
    if isinstance(cell, str) and cell.strip().casefold() == NO_LIMIT:
        return none
    return _plain_number(cell)
