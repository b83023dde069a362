"""The water that stands in a pipe: how long it takes to push it out and to bring the wall to temperature."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import Numbers, first_where, number, same_kind
from drenchbook.physics.water import HIGHEST, LOWEST, density, heat_capacity


def purge_seconds(flow: Numbers, volume: Numbers, wall_ratio: Numbers) -> Numbers:
    """Time until new water arrives at the far end of a pipe at its own temperature.

    Parameters
    ----------
    flow : float or array
        Volume flow, more than zero. [m³/s]
    volume : float or array
        Water content of the pipe, zero or more. [m³]
    wall_ratio : float or array
        Heat capacity of the wall over that of the water inside, zero or more; zero gives the water's own travel. [-]

    Returns
    -------
    float or array
        Time. [s]

    Notes
    -----
    t = V·(1 + β)/q: a sharp front, delayed by the wall it has to heat [worked here from a heat balance over the pipe].
    Mixing along the pipe brings the first part earlier and the last part later, by some 10 % in turbulent flow.

    >>> round(purge_seconds(flow=2e-4, volume=0.01, wall_ratio=0.2), 6)
    60.0
    """
    q = number("flow", flow, "m³/s", above=0.0)
    V = number("volume", volume, "m³", at_least=0.0)
    return same_kind(V * (1 + number("wall_ratio", wall_ratio, at_least=0.0)) / q)


def pipe_volume(inside_diameter: Numbers, length: Numbers) -> Numbers:
    """Water content of a pipe.

    Parameters
    ----------
    inside_diameter : float or array
        Inside diameter, more than zero. [m]
    length : float or array
        Length, zero or more. [m]

    Returns
    -------
    float or array
        Volume. [m³]

    Notes
    -----
    π/4·D²·L, exact for a round pipe [worked here].

    >>> round(pipe_volume(inside_diameter=0.1, length=1), 6)
    0.007854
    """
    D = number("inside_diameter", inside_diameter, "m", above=0.0)
    return same_kind(math.pi / 4 * (D * D) * number("length", length, "m", at_least=0.0))


def wall_heat_ratio(
    inside_diameter: Numbers,
    outside_diameter: Numbers,
    wall_density: Numbers,
    wall_heat_capacity: Numbers,
    water_temperature: Numbers,
) -> Numbers:
    """Heat capacity of a pipe wall over that of the water inside.

    Parameters
    ----------
    inside_diameter, outside_diameter : float or array
        Diameters of the wall, the second larger. [m]
    wall_density : float or array
        Density of the wall. [kg/m³]
    wall_heat_capacity : float or array
        Specific heat capacity of the wall. [J/(kg·K)]
    water_temperature : float or array
        Water temperature. [°C]

    Returns
    -------
    float or array
        Ratio β. [-]

    Notes
    -----
    β = ρw·cw·(Do² − Di²)/(ρ·c·Di²) [worked here]; insulation is left out, it stores under 2 % of the water's heat.

    >>> round(wall_heat_ratio(0.026035, 0.028575, 8940, 385, 40), 3)
    0.17
    """
    Di = number("inside_diameter", inside_diameter, "m", above=0.0)
    Do = number("outside_diameter", outside_diameter, "m", above=0.0)
    if np.any(thin := (np.asarray(Do) <= Di)):
        wanted = "must be more than the inside diameter"
        raise InputError("outside_diameter", first_where(Do, thin), wanted, "m")
    rho_w = number("wall_density", wall_density, "kg/m³", above=0.0)
    c_w = number("wall_heat_capacity", wall_heat_capacity, "J/(kg·K)", above=0.0)
    T = number("water_temperature", water_temperature, "°C", at_least=LOWEST, at_most=HIGHEST)
    widening = Do / Di
    return same_kind(rho_w * c_w * (widening * widening - 1) / (density(T) * heat_capacity(T)))
