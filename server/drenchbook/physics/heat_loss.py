"""Heat that a pipe exchanges with the air around it, flowing and standing still."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import KELVIN, Numbers, first_where, number, same_kind
from drenchbook.physics.water import HIGHEST, LOWEST, density, heat_capacity

# [W/(m²·K)] still air, radiation included: between tarnished copper (9.5) and steel (12.8) of ASHAE Guide 1955, p. 646
FILM_COEFFICIENT = 10.0
STEFAN_BOLTZMANN = 5.670374419e-8  # [W/(m²·K⁴)] CODATA 2018
GRAVITY = 9.80665  # [m/s²] standard acceleration of free fall, exact [NIST SP 811, B.8]
# Natural convection round a horizontal cylinder [Churchill and Chu 1975, as in Çengel, Table 9-1].
CHURCHILL_LEVEL, CHURCHILL_SCALE, CHURCHILL_PRANDTL = 0.60, 0.387, 0.559
# Dry air at one atmosphere: 45 °C row of Çengel, Table A-15, and the powers of the absolute temperature that meet its
# rows at 0 °C and 100 °C.
AIR_TEMPERATURE, AIR_CONDUCTIVITY, AIR_VISCOSITY, AIR_PRANDTL = 318.15, 0.02699, 1.750e-5, 0.7241
AIR_CONDUCTIVITY_POWER, AIR_VISCOSITY_POWER = 0.8636, 1.7447


def overall_conductance(
    inside_diameter: Numbers,
    outside_diameter: Numbers,
    wall_conductivity: Numbers,
    insulation_thickness: Numbers = 0.0,
    insulation_conductivity: Numbers = 0.04,
    film_coefficient: Numbers = FILM_COEFFICIENT,
) -> Numbers:
    """Heat that passes from the water to the air, per length of pipe and per kelvin.

    Parameters
    ----------
    inside_diameter, outside_diameter : float or array
        Diameters of the pipe wall, the second larger. [m]
    wall_conductivity : float or array
        Thermal conductivity of the wall. [W/(m·K)]
    insulation_thickness : float or array
        Zero for a bare pipe. [m]
    insulation_conductivity : float or array
        Thermal conductivity of the insulation; without effect on a bare pipe. [W/(m·K)]
    film_coefficient : float or array
        Heat transfer coefficient from the outer surface to the air, radiation included. [W/(m²·K)]

    Returns
    -------
    float or array
        Conductance per length. [W/(m·K)]

    Notes
    -----
    1/U′ = ln(Do/Di)/(2π·kw) + ln(Ds/Do)/(2π·ki) + 1/(π·Ds·h) [Incropera, Fundamentals of Heat and Mass Transfer, eq.
    3.36]. The film inside is left out: under 1 % while water flows. Film of a bare pipe in still air 7 to 12 W/(m²·K),
    and up to 30 in wind: bare pipes 25 %, insulated ones 8 %.

    >>> round(overall_conductance(0.1, 0.106, 17, insulation_thickness=0.05, insulation_conductivity=0.033), 3)
    0.298
    """
    Di = number("inside_diameter", inside_diameter, "m", above=0.0)
    Do = number("outside_diameter", outside_diameter, "m", above=0.0)
    _wider(Di, Do)
    kw = number("wall_conductivity", wall_conductivity, "W/(m·K)", above=0.0)
    Ds = Do + 2 * number("insulation_thickness", insulation_thickness, "m", at_least=0.0)
    ki = number("insulation_conductivity", insulation_conductivity, "W/(m·K)", above=0.0)
    h = number("film_coefficient", film_coefficient, "W/(m²·K)", above=0.0)
    layers = np.log(Do / Di) / (2 * math.pi * kw) + np.log(Ds / Do) / (2 * math.pi * ki)
    return same_kind(1 / (layers + 1 / (math.pi * Ds * h)))


def end_temperature(
    flow: Numbers,
    inlet_temperature: Numbers,
    air_temperature: Numbers,
    conductance_per_metre: Numbers,
    length: Numbers,
) -> Numbers:
    """Temperature of water at the far end of a pipe, long after the flow began.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    inlet_temperature : float or array
        Water temperature at the inlet. [°C]
    air_temperature : float or array
        Temperature around the pipe. [°C]
    conductance_per_metre : float or array
        Conductance per length, zero or more. [W/(m·K)]
    length : float or array
        Length, zero or more. [m]

    Returns
    -------
    float or array
        Temperature at the far end; with no flow that of the air. [°C]

    Notes
    -----
    T = Ta + (T0 − Ta)·exp(−U′·L/(ṁ·c)) [Incropera, eq. 8.45a], ρ and c at the inlet. As good as the conductance; the
    water's own properties add under 0.2 %.

    >>> round(end_temperature(1e-4, 50, 10, conductance_per_metre=1.0, length=100), 2)
    41.4
    """
    q = number("flow", flow, "m³/s", at_least=0.0)
    T0 = number("inlet_temperature", inlet_temperature, "°C", at_least=LOWEST, at_most=HIGHEST)
    Ta = number("air_temperature", air_temperature, "°C", above=-KELVIN)
    U = number("conductance_per_metre", conductance_per_metre, "W/(m·K)", at_least=0.0)
    L = number("length", length, "m", at_least=0.0)
    return same_kind(end_temperature_kernel(q * density(T0) * heat_capacity(T0), T0, Ta, U * L))


def end_temperature_kernel(
    heat_flow_rate: Numbers, inlet_temperature: Numbers, air_temperature: Numbers, conductance: Numbers
) -> Numbers:
    """Temperature [°C] at the end of a pipe from ṁ·c [W/K] and U′·L [W/K], nothing checked.

    Notes
    -----
    Source and error as in `end_temperature`.

    >>> round(float(end_temperature_kernel(418.0, 50.0, 10.0, 100.0)), 2)
    41.49
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        units = np.where(np.equal(conductance, 0), 0.0, np.divide(conductance, heat_flow_rate))
    return air_temperature + (np.subtract(inlet_temperature, air_temperature)) * np.exp(-units)


def idle_time_constant(
    inside_diameter: Numbers,
    outside_diameter: Numbers,
    wall_density: Numbers,
    wall_heat_capacity: Numbers,
    conductance_per_metre: Numbers,
    water_temperature: Numbers,
) -> Numbers:
    """Time in which standing water comes nearer to the air's temperature by the factor e.

    Parameters
    ----------
    inside_diameter, outside_diameter : float or array
        Diameters of the pipe wall, the second larger. [m]
    wall_density : float or array
        Density of the wall. [kg/m³]
    wall_heat_capacity : float or array
        Specific heat capacity of the wall. [J/(kg·K)]
    conductance_per_metre : float or array
        Conductance per length, more than zero. [W/(m·K)]
    water_temperature : float or array
        Temperature the properties are taken at. [°C]

    Returns
    -------
    float or array
        Time constant. [s]

    Notes
    -----
    τ = π/4·(ρ·c·Di² + ρw·cw·(Do² − Di²))/U′ [Incropera, eq. 5.7, lumped capacity]. Insulation's own heat is left out,
    which makes it up to 5 % too short.

    >>> round(idle_time_constant(0.026, 0.0286, 8940, 385, 0.25, 40) / 3600, 2)
    2.87
    """
    Di = number("inside_diameter", inside_diameter, "m", above=0.0)
    Do = number("outside_diameter", outside_diameter, "m", above=0.0)
    _wider(Di, Do)
    wall = number("wall_density", wall_density, "kg/m³", above=0.0)
    wall = wall * number("wall_heat_capacity", wall_heat_capacity, "J/(kg·K)", above=0.0)
    U = number("conductance_per_metre", conductance_per_metre, "W/(m·K)", above=0.0)
    T = number("water_temperature", water_temperature, "°C", at_least=LOWEST, at_most=HIGHEST)
    store = density(T) * heat_capacity(T) * Di**2 + wall * (Do**2 - Di**2)
    return same_kind(math.pi / 4 * store / U)


def idle_temperature(
    start_temperature: Numbers, air_temperature: Numbers, seconds: Numbers, time_constant: Numbers
) -> Numbers:
    """Temperature of standing water after a time.

    Parameters
    ----------
    start_temperature, air_temperature : float or array
        Temperature at the beginning, and around the pipe. [°C]
    seconds : float or array
        Time since the flow stopped, zero or more. [s]
    time_constant : float or array
        From `idle_time_constant`, more than zero. [s]

    Returns
    -------
    float or array
        Temperature. [°C]

    Notes
    -----
    T = Ta + (T0 − Ta)·exp(−t/τ) [Incropera, eq. 5.6]. No ice is formed: below 0 °C it means undercooled water.

    >>> round(idle_temperature(60, 20, seconds=3600, time_constant=3600), 2)
    34.72
    """
    T0 = number("start_temperature", start_temperature, "°C", above=-KELVIN)
    Ta = number("air_temperature", air_temperature, "°C", above=-KELVIN)
    t = number("seconds", seconds, "s", at_least=0.0)
    tau = number("time_constant", time_constant, "s", above=0.0)
    return same_kind(Ta + (T0 - Ta) * np.exp(-t / tau))


def seconds_to_temperature(
    start_temperature: Numbers, air_temperature: Numbers, wanted_temperature: Numbers, time_constant: Numbers
) -> Numbers:
    """Time until standing water passes a temperature on its way to that of the air.

    Parameters
    ----------
    start_temperature, air_temperature : float or array
        Temperature at the beginning, and around the pipe. [°C]
    wanted_temperature : float or array
        Temperature to pass. [°C]
    time_constant : float or array
        From `idle_time_constant`, more than zero. [s]

    Returns
    -------
    float or array
        Time: zero where it is passed already, infinite where it never is. [s]

    Notes
    -----
    t = τ·ln((T0 − Ta)/(T − Ta)) [Incropera, eq. 5.5]. Passed already means: the start lies on the air's side of it.

    >>> round(seconds_to_temperature(10, -15, wanted_temperature=0, time_constant=3600))
    1839
    """
    T0 = number("start_temperature", start_temperature, "°C", above=-KELVIN)
    Ta = number("air_temperature", air_temperature, "°C", above=-KELVIN)
    T = number("wanted_temperature", wanted_temperature, "°C", above=-KELVIN)
    tau = number("time_constant", time_constant, "s", above=0.0)
    start, wanted = np.subtract(T0, Ta), np.subtract(T, Ta)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.divide(start, wanted)
        time = np.where(ratio > 1, tau * np.log(np.where(ratio > 1, ratio, 1.0)), 0.0)
    never = (wanted == 0) & (start != 0) | (wanted * start < 0) | (start == 0) & (wanted != 0)
    return same_kind(np.where(never, math.inf, time))


def still_air_film(
    outside_diameter: Numbers, surface_temperature: Numbers, air_temperature: Numbers, emissivity: Numbers
) -> Numbers:
    """Film coefficient of a horizontal pipe in still air, radiation included.

    Parameters
    ----------
    outside_diameter : float or array
        Diameter of the surface. [m]
    surface_temperature, air_temperature : float or array
        Temperatures of the surface and of the air and walls around, not equal. [°C]
    emissivity : float or array
        Emissivity of the surface, 0 to 1: paint and insulation 0.9, tarnished copper 0.4, bright copper 0.05. [-]

    Returns
    -------
    float or array
        Film coefficient. [W/(m²·K)]

    Notes
    -----
    h = Nu·k/D + ε·σ·(Ts⁴ − Ta⁴)/(Ts − Ta) [Çengel, eq. 9-25 and 1-28], air at the mean of both temperatures. Surfaces
    from -40 °C to 150 °C; 2 to 9 % above the ASHAE Guide's tables for bare steel.

    >>> round(still_air_film(0.08, 70, 20, emissivity=0.0), 2)
    5.87
    """
    D = number("outside_diameter", outside_diameter, "m", above=0.0)
    Ts = number("surface_temperature", surface_temperature, "°C", above=-KELVIN) + KELVIN
    Ta = number("air_temperature", air_temperature, "°C", above=-KELVIN) + KELVIN
    eps = number("emissivity", emissivity, at_least=0.0, at_most=1.0)
    if np.any(equal := (np.asarray(Ts) == Ta)):
        wanted = "must differ from the air temperature: no heat flows between equals"
        raise InputError("surface_temperature", first_where(Ts - KELVIN, equal), wanted, "°C")
    film = (Ts + Ta) / 2
    k, nu = air_properties(film - KELVIN)
    rayleigh = GRAVITY / film * abs(Ts - Ta) * D**3 / nu**2 * AIR_PRANDTL
    radiation = eps * STEFAN_BOLTZMANN * (Ts**2 + Ta**2) * (Ts + Ta)
    return same_kind(horizontal_cylinder_nusselt(rayleigh, AIR_PRANDTL) * k / D + radiation)


def horizontal_cylinder_nusselt(rayleigh: Numbers, prandtl: Numbers) -> Numbers:
    """Nusselt number of natural convection round a long horizontal cylinder.

    Parameters
    ----------
    rayleigh : float or array
        Rayleigh number on the diameter, zero to 1e12. [-]
    prandtl : float or array
        Prandtl number of the fluid, more than zero. [-]

    Returns
    -------
    float or array
        Nusselt number on the diameter. [-]

    Notes
    -----
    Nu = (0.60 + 0.387·Ra^(1/6)/(1 + (0.559/Pr)^(9/16))^(8/27))² [Churchill and Chu 1975]; measured values scatter 20 %.

    >>> round(horizontal_cylinder_nusselt(1.869e6, 0.7241), 2)
    17.4
    """
    Ra = number("rayleigh", rayleigh, at_least=0.0, at_most=1e12)
    Pr = number("prandtl", prandtl, above=0.0)
    shape = (1 + (CHURCHILL_PRANDTL / Pr) ** (9 / 16)) ** (8 / 27)
    return same_kind((CHURCHILL_LEVEL + CHURCHILL_SCALE * Ra ** (1 / 6) / shape) ** 2)


def air_properties(temperature: Numbers) -> tuple[Numbers, Numbers]:
    """Thermal conductivity and kinematic viscosity of dry air at one atmosphere.

    Parameters
    ----------
    temperature : float or array
        Air temperature, -50 to 150. [°C]

    Returns
    -------
    tuple of float or array
        Conductivity [W/(m·K)] and kinematic viscosity [m²/s].

    Notes
    -----
    Powers of the absolute temperature through three rows of [Çengel, Table A-15]; within 0.6 % of its rows from
    -10 °C to 140 °C.

    >>> k, nu = air_properties(45.0)
    >>> round(k, 5), round(nu * 1e5, 3)
    (0.02699, 1.75)
    """
    T = number("temperature", temperature, "°C", at_least=-50.0, at_most=150.0) + KELVIN
    ratio = T / AIR_TEMPERATURE
    conductivity = AIR_CONDUCTIVITY * ratio**AIR_CONDUCTIVITY_POWER
    return same_kind(conductivity), same_kind(AIR_VISCOSITY * ratio**AIR_VISCOSITY_POWER)


def _wider(inside: Numbers, outside: Numbers) -> None:
    if np.any(thin := (np.asarray(outside) <= inside)):
        wanted = "must be more than the inside diameter"
        raise InputError("outside_diameter", first_where(outside, thin), wanted, "m")
