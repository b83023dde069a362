"""Pressure added when a closing valve stops the water in a pipe."""

from __future__ import annotations

import numpy as np

from drenchbook.physics.inputs import Numbers, number, same_kind


def wave_speed(
    sound_speed: Numbers, density: Numbers, inside_diameter: Numbers, wall: Numbers, elasticity: Numbers
) -> Numbers:
    """Speed of a pressure wave in water inside an elastic pipe.

    Parameters
    ----------
    sound_speed, density : float or array
        Of the water. [m/s, kg/m³]
    inside_diameter, wall : float or array
        Of the pipe. [m]
    elasticity : float or array
        Modulus of elasticity of the wall. [Pa]

    Returns
    -------
    float or array
        Speed of the wave, below that of sound. [m/s]

    Notes
    -----
    a = c/√(1 + ρ·c²·D/(E·e)) [Korteweg 1878], for a thin wall that is free to lengthen. With the bore for D it reads up
    to 5 % high in tubes; a held or a thick wall changes it by less than 10 %.

    >>> round(wave_speed(sound_speed=1483.2, density=1000, inside_diameter=0.5, wall=0.01, elasticity=200e9), 1)
    1191.3
    """
    c = number("sound_speed", sound_speed, "m/s", above=0.0)
    rho = number("density", density, "kg/m³", above=0.0)
    D, e = number("inside_diameter", inside_diameter, "m", above=0.0), number("wall", wall, "m", above=0.0)
    E = number("elasticity", elasticity, "Pa", above=0.0)
    return same_kind(c / np.sqrt(1 + rho * c**2 * D / (E * e)))


def surge_pressure(velocity_change: Numbers, density: Numbers, wave_speed: Numbers) -> Numbers:
    """Pressure added when a valve stops a flow at once.

    Parameters
    ----------
    velocity_change : float or array
        Velocity that is stopped, zero or more. [m/s]
    density : float or array
        Density. [kg/m³]
    wave_speed : float or array
        Speed of the pressure wave, as of `wave_speed`; the speed of sound in water bounds it from above. [m/s]

    Returns
    -------
    float or array
        Pressure on top of the pressure before. [Pa]

    Notes
    -----
    Δp = ρ·a·Δv [Joukowsky 1898]: an upper bound, reached when the valve shuts faster than the wave returns; an elastic
    wall, air or a slow closure give less.

    >>> surge_pressure(velocity_change=2.0, density=1000, wave_speed=1400)
    2800000.0
    """
    dv = number("velocity_change", velocity_change, "m/s", at_least=0.0)
    a = number("wave_speed", wave_speed, "m/s", above=0.0)
    return same_kind(number("density", density, "kg/m³", above=0.0) * a * dv)


def closing_pressure(
    velocity_change: Numbers, density: Numbers, wave_speed: Numbers, length: Numbers, closing_time: Numbers
) -> Numbers:
    """Pressure added when a valve stops a flow in some time.

    Parameters
    ----------
    velocity_change : float or array
        Velocity that is stopped, zero or more. [m/s]
    density, wave_speed : float or array
        As in `surge_pressure`. [kg/m³, m/s]
    length : float or array
        Pipe from the valve to where the wave turns back: a main or a tank. [m]
    closing_time : float or array
        Time in which the valve closes evenly, zero or more. [s]

    Returns
    -------
    float or array
        Pressure on top of the pressure before. [Pa]

    Notes
    -----
    Δp = 2·ρ·L·Δv/t [Michaud 1878] where the wave is back before the valve has shut, t > 2L/a; else Δp = ρ·a·Δv. A valve
    whose flow falls unevenly may give up to twice as much.

    >>> round(closing_pressure(velocity_change=2.0, density=1000, wave_speed=1191.4, length=1000, closing_time=5.0))
    800000
    """
    a, L = number("wave_speed", wave_speed, "m/s", above=0.0), number("length", length, "m", at_least=0.0)
    t = number("closing_time", closing_time, "s", at_least=0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.where(a * t > 2 * L, np.divide(2 * L, t), a)
    rho = number("density", density, "kg/m³", above=0.0)
    return same_kind(rho * speed * number("velocity_change", velocity_change, "m/s", at_least=0.0))
