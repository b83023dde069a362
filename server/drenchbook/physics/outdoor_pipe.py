"""A pipe in the sun and a pipe in the ground: what stands around it as one temperature and one conductance."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import KELVIN, Numbers, first_where, number, same_kind


def pipe_sol_air_temperature(
    air_temperature: Numbers, irradiance: Numbers, absorptivity: Numbers, film_coefficient: Numbers
) -> Numbers:
    """Air temperature without sun that would warm a round pipe as air and sun together do.

    Parameters
    ----------
    air_temperature : float or array
        Temperature of the air. [°C]
    irradiance : float or array
        Sun on a surface that faces it, beam, sky and ground together, zero or more. [W/m²]
    absorptivity : float or array
        Share of it that the surface takes up, 0 to 1. [-]
    film_coefficient : float or array
        Heat transfer coefficient from the surface to the air, radiation included. [W/(m²·K)]

    Returns
    -------
    float or array
        Temperature that an idle pipe comes to, insulated or not. [°C]

    Notes
    -----
    te = ta + α·E/h of a flat surface [ASHRAE, Fundamentals, sol-air temperature, eq. 30 of chapter 18, from memory]; a
    pipe takes up the sun over its width D and gives off heat over π·D, so that te = ta + α·E/(π·h) [worked here]. Heat
    radiated to a clear sky is left out, which reads up to 4 °C high. Films of 7 to 12 W/(m²·K) in still air move the
    rise by 40 %.

    >>> round(pipe_sol_air_temperature(45, irradiance=1000, absorptivity=0.9, film_coefficient=10), 2)
    73.65
    """
    Ta = number("air_temperature", air_temperature, "°C", above=-KELVIN)
    E = number("irradiance", irradiance, "W/m²", at_least=0.0)
    alpha = number("absorptivity", absorptivity, at_least=0.0, at_most=1.0)
    h = number("film_coefficient", film_coefficient, "W/(m²·K)", above=0.0)
    return same_kind(Ta + alpha * E / (math.pi * h))


def soil_conductance(diameter: Numbers, depth: Numbers, soil_conductivity: Numbers) -> Numbers:
    """Heat that passes from a buried pipe to the surface of the ground, per length of pipe and per kelvin.

    Parameters
    ----------
    diameter : float or array
        Outer diameter of the pipe or of its insulation, more than zero. [m]
    depth : float or array
        From the surface down to the pipe's centre, more than half the diameter. [m]
    soil_conductivity : float or array
        Thermal conductivity of the soil, dry sand 0.3 to wet clay 2. [W/(m·K)]

    Returns
    -------
    float or array
        Conductance per length. [W/(m·K)]

    Notes
    -----
    U′ = 2π·k/arcosh(2·z/D), a long cylinder below a surface of one temperature [Incropera, Table 4.1]; exact for soil
    that is everywhere alike, and as good as its conductivity.

    >>> round(soil_conductance(0.1, depth=0.5, soil_conductivity=0.9), 3)
    1.889
    """
    D = number("diameter", diameter, "m", above=0.0)
    z = number("depth", depth, "m", above=0.0)
    k = number("soil_conductivity", soil_conductivity, "W/(m·K)", above=0.0)
    if np.any(bare := (np.asarray(2 * z) <= D)):
        wanted = "must be more than half the diameter: the pipe lies in the ground"
        raise InputError("depth", first_where(z, bare), wanted, "m")
    return same_kind(2 * math.pi * k / np.arccosh(2 * z / D))
