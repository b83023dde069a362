"""What each worksheet function computes, in SI: physics and published tables put together, no unit conversion."""

from __future__ import annotations

import math
import re
from typing import Any

from drenchbook.errors import InputError
from drenchbook.physics import dead_leg, heat_loss, outlets, pipe_flow, storage, water
from drenchbook.physics import fittings as fitting_losses
from drenchbook.published.fittings_table import fittings_resistance
from drenchbook.published.pipes import Pipe, pipe

REFERENCE_TEMPERATURE = (60 - 32) * 5 / 9  # [°C] 60 °F, at which handbooks state water and valve coefficients
DARCY_WEISBACH, HAZEN_WILLIAMS = "Darcy-Weisbach", "Hazen-Williams"
LEAST_C, GREATEST_C = 20.0, 170.0  # outside these no Hazen-Williams C is printed anywhere, common practice
ONE_DAY = 86_400.0  # [s] shown for a store that does not end
OK, LOW, HIGH, UNKNOWN = "OK", "LOW", "HIGH", "UNKNOWN"
NO_LIMIT = "none"
SLACK = 1e-9  # relative; a value equal to its limit meets it, whatever the last bit of a conversion says


def inside_diameter(material: object, size: object) -> float:
    """Inside diameter of a pipe. [m]

    >>> round(inside_diameter("copper L", "1") / 0.0254, 3)
    1.025
    """
    return pipe(material, size).inside_diameter


def pipe_loss(
    flow: float, material: object, size: object, length: float, fittings: object, temperature: float, method: object
) -> float:
    """Friction and fittings loss of one run, no elevation. [Pa]

    >>> pipe_loss(0.0, "copper L", "1", 30.0, "none", 15.0, "Darcy-Weisbach")
    0.0
    """
    run = pipe(material, size)
    density, viscosity = water.density(temperature), water.viscosity(temperature)
    resistance = fittings_resistance(fittings, run.nominal_inches)
    coefficient = _hazen_williams_coefficient(method, run)
    if coefficient is None:
        friction = pipe_flow.darcy_weisbach_loss(flow, run.inside_diameter, length, run.roughness, density, viscosity)
    else:
        friction = pipe_flow.hazen_williams_loss(flow, run.inside_diameter, length, coefficient)
    return float(friction + pipe_flow.minor_loss(flow, run.inside_diameter, resistance, density))


def rough_pipe_loss(
    flow: float, material: object, size: object, length: float, fittings: object, temperature: float, roughness: float
) -> float:
    """Darcy-Weisbach loss of one run of its own roughness, no elevation. [Pa]

    >>> rough_pipe_loss(0.0, "steel 40", "1", 30.0, "none", 15.0, 1e-3)
    0.0
    """
    run = pipe(material, size)
    density, viscosity = water.density(temperature), water.viscosity(temperature)
    resistance = fittings_resistance(fittings, run.nominal_inches)
    friction = pipe_flow.darcy_weisbach_loss(flow, run.inside_diameter, length, roughness, density, viscosity)
    return float(friction + pipe_flow.minor_loss(flow, run.inside_diameter, resistance, density))


def _hazen_williams_coefficient(method: object, run: Pipe) -> float | None:
    """The C to use, or None for Darcy-Weisbach."""
    if isinstance(method, str):
        plain = re.sub(r"[\s\-–—_]+", " ", method.strip()).casefold()
        if plain == "darcy weisbach":
            return None
        if plain == "hazen williams":
            return run.hazen_williams_c
    elif isinstance(method, (int, float)) and not isinstance(method, bool) and LEAST_C <= method <= GREATEST_C:
        return float(method)
    raise InputError("method", method, f'must be "{DARCY_WEISBACH}", "{HAZEN_WILLIAMS}" or a Hazen-Williams C '
                                       f"from {LEAST_C:g} to {GREATEST_C:g}")  # fmt: skip


def pipe_velocity(flow: float, material: object, size: object) -> float:
    """Mean velocity in a pipe. [m/s]

    >>> pipe_velocity(0.0, "PEX", "1/2")
    0.0
    """
    return float(pipe_flow.velocity(flow, pipe(material, size).inside_diameter))


def pipe_volume(material: object, size: object, length: float) -> float:
    """Water content of a pipe. [m³]

    >>> pipe_volume("PEX", "1/2", 0.0)
    0.0
    """
    return float(dead_leg.pipe_volume(pipe(material, size).inside_diameter, length))


def elevation_loss(rise: float, temperature: float) -> float:
    """Static pressure of a rise; negative where the pipe falls. [Pa]

    >>> round(elevation_loss(10.0, 4.0) / 1000, 1)
    98.1
    """
    return float(pipe_flow.elevation_pressure(rise, water.density(temperature)))


def coefficient_loss(flow: float, coefficient: float, temperature: float) -> float:
    """Loss through a valve or device of known flow coefficient; the coefficient belongs to water of 60 °F. [Pa]

    >>> round(coefficient_loss(2e-3, 1e-5, REFERENCE_TEMPERATURE), 6)
    40000.0
    """
    ratio = water.density(temperature) / water.density(REFERENCE_TEMPERATURE)
    density = fitting_losses.REFERENCE_DENSITY * ratio
    return float(fitting_losses.coefficient_loss(flow, coefficient, density))


def outlet_flow(pressure: float, rated_flow: float, rated_pressure: float, regulated: bool) -> float:
    """Flow of one open outlet. [m³/s]

    >>> outlet_flow(-5.0, 1e-3, 2e5, False)
    0.0
    """
    return float(outlets.outlet_flow(pressure, rated_flow, rated_pressure, regulated))


def storage_lasts(model: object, **tank: float) -> float:
    """Time of set temperature from a store; a store that does not end, or lasts longer, shows one day. [s]

    >>> storage_lasts("mixed", volume=1.0, usable_fraction=0.7, start_temperature=60, cold_temperature=10,
    ...               mixed_temperature=30, mixed_flow=0.0, recovery=0.0, approach=11)
    86400.0
    """
    if not isinstance(model, str) or model.strip().casefold() not in storage.MODELS:
        raise InputError("model", model, "must be " + " or ".join(f'"{name}"' for name in storage.MODELS))
    return min(float(storage.storage_seconds(model=model.strip().casefold(), **tank)), ONE_DAY)


def run_purge(flow: float, material: object, size: object, length: float) -> float:
    """Time until new water, and the wall's heat with it, has passed one run. [s]

    >>> run_purge(1e-4, "copper L", "1/2", 0.0)
    0.0
    """
    run = pipe(material, size)
    ratio = dead_leg.wall_heat_ratio(
        run.inside_diameter, run.outside_diameter, run.wall_density, run.wall_heat_capacity, REFERENCE_TEMPERATURE
    )
    volume = dead_leg.pipe_volume(run.inside_diameter, length)
    return float(dead_leg.purge_seconds(flow, volume, ratio))


def pipe_end_temperature(
    flow: float, inlet_temperature: float, air_temperature: float, material: object, size: object, length: float,
    insulation: float, conductivity: float, film: float,
) -> float:  # fmt: skip
    """Steady temperature at the far end of one run. [°C]

    >>> pipe_end_temperature(1e-3, 50.0, 50.0, "copper L", "1", 30.0, 0.0, 0.04, 10.0)
    50.0
    """
    run = pipe(material, size)
    try:
        conductance = heat_loss.overall_conductance(
            run.inside_diameter, run.outside_diameter, run.wall_conductivity, insulation, conductivity, film
        )
    except InputError as error:
        name = {"insulation_thickness": "insulation", "insulation_conductivity": "conductivity",
                "film_coefficient": "film"}.get(error.name, error.name)  # fmt: skip
        raise InputError(name, error.value, error.wanted, error.unit) from None
    return float(heat_loss.end_temperature(flow, inlet_temperature, air_temperature, conductance, length))


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
