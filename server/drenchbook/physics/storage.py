"""How long a hot water tank keeps a mixed flow at its set temperature."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import Numbers, first_where, number, same_kind
from drenchbook.physics.water import HIGHEST, LOWEST, density_kernel, enthalpy_kernel

MODELS = ("stratified", "mixed")
STANDARD_APPROACH = (
    20 / 1.8
)  # [K] hot above set that a valve needs, where its maker gives none (common practice, 20 °F)


def storage_seconds(
    volume: Numbers,
    usable_fraction: Numbers,
    start_temperature: Numbers,
    cold_temperature: Numbers,
    mixed_temperature: Numbers,
    mixed_flow: Numbers,
    recovery: Numbers,
    model: str,
    approach: Numbers = STANDARD_APPROACH,
    recovery_delay: Numbers = 0.0,
) -> Numbers:
    """Time that a tank serves a mixed flow of constant temperature.

    Parameters
    ----------
    volume : float or array
        Volume of the tank. [m³]
    usable_fraction : float or array
        Share of it that can be drawn hot, more than 0 to 1; the mixed model does not use it. [-]
    start_temperature, cold_temperature : float or array
        Temperature of the tank at the beginning, and of the water that replaces what is drawn. [°C]
    mixed_temperature : float or array
        Set temperature of the mixing valve, between the two. [°C]
    mixed_flow : float or array
        Flow that leaves the valve, zero or more. [m³/s]
    recovery : float or array
        Hot water of start temperature that the heater makes meanwhile. [m³/s]
    model : str
        "stratified" or "mixed".
    approach : float or array
        Temperature above the set one that the valve needs at its hot inlet; the stratified model does not use it. [K]
    recovery_delay : float or array
        Time before the heater starts. [s]

    Returns
    -------
    float or array
        Time; infinite where the heater keeps up. [s]

    Notes
    -----
    `stratified_seconds` with the hot flow of a heat balance, or `mixed_seconds` with the heat in that recovery
    [UFC 3-420-01, App. E: usable volume and recovery]. The two bracket a real tank.

    >>> gallon, gpm = 231 * 0.0254**3, 231 * 0.0254**3 / 60
    >>> lab = dict(start_temperature=54.444, cold_temperature=5.556, mixed_temperature=29.444, recovery=2.727 * gpm)
    >>> round(storage_seconds(200 * gallon, 0.75, mixed_flow=28.62 * gpm, model="stratified", **lab) / 60, 1)
    13.1
    """
    if model not in MODELS:
        raise InputError("model", model, 'must be "stratified" or "mixed"')
    start = _temperature("start_temperature", start_temperature)
    cold = _temperature("cold_temperature", cold_temperature)
    mixed = _temperature("mixed_temperature", mixed_temperature)
    if np.any(missed := ((np.asarray(mixed) < cold) | (np.asarray(mixed) > start) | (np.asarray(start) <= cold))):
        wanted = (
            "the tank cannot reach it: must lie between the cold temperature"
            f" {first_where(cold, missed):.10g} °C and the start temperature {first_where(start, missed):.10g} °C"
        )
        raise InputError("mixed_temperature", first_where(mixed, missed), wanted, "°C")
    made = number("recovery", recovery, "m³/s", at_least=0.0)
    mixed_mass = number("mixed_flow", mixed_flow, "m³/s", at_least=0.0) * density_kernel(mixed)
    draw_heat = mixed_mass * (enthalpy_kernel(mixed) - enthalpy_kernel(cold))
    hot_heat = density_kernel(start) * (enthalpy_kernel(start) - enthalpy_kernel(cold))  # in a volume of hot water
    number("usable_fraction", usable_fraction, above=0.0, at_most=1.0)
    if model == "stratified":
        return stratified_seconds(volume, usable_fraction, draw_heat / hot_heat, made, recovery_delay)
    lowest = mixed + number("approach", approach, "K", at_least=0.0)
    return mixed_seconds(volume, start, lowest, draw_heat, made * hot_heat, recovery_delay)


def stratified_seconds(
    volume: Numbers,
    usable_fraction: Numbers,
    hot_flow: Numbers,
    recovery_flow: Numbers,
    recovery_delay: Numbers = 0.0,
) -> Numbers:
    """Time until the cold layer reaches the outlet of a tank that does not mix.

    Parameters
    ----------
    volume : float or array
        Volume of the tank, more than zero. [m³]
    usable_fraction : float or array
        Share of it that can be drawn hot, more than 0 to 1. [-]
    hot_flow : float or array
        Hot water drawn, zero or more. [m³/s]
    recovery_flow : float or array
        Hot water made meanwhile, zero or more. [m³/s]
    recovery_delay : float or array
        Time before the heater starts. [s]

    Returns
    -------
    float or array
        Time; infinite where the heater keeps up. [s]

    Notes
    -----
    t = f·V/(x·q − r) [US Army ETL 1110-3-489, p. 7, R = (Vp − M·St)/d solved for d]. It supposes recovered water of
    full temperature; a coil below the layer makes next to none, then give r = 0. As good as the usable fraction.

    >>> round(stratified_seconds(volume=0.76, usable_fraction=0.75, hot_flow=9e-4, recovery_flow=1.4e-4), 6)
    750.0
    """
    V = number("volume", volume, "m³", above=0.0)
    f = number("usable_fraction", usable_fraction, above=0.0, at_most=1.0)
    q = number("hot_flow", hot_flow, "m³/s", at_least=0.0)
    r = number("recovery_flow", recovery_flow, "m³/s", at_least=0.0)
    delay = number("recovery_delay", recovery_delay, "s", at_least=0.0)
    return same_kind(draw_seconds_kernel(f * V, q, r, delay))


def mixed_seconds(
    volume: Numbers,
    start_temperature: Numbers,
    lowest_hot_temperature: Numbers,
    draw_heat: Numbers,
    recovery_heat: Numbers,
    recovery_delay: Numbers = 0.0,
) -> Numbers:
    """Time until a tank that is mixed throughout falls to the lowest temperature the valve can use.

    Parameters
    ----------
    volume : float or array
        Volume of the tank, all of it used, more than zero. [m³]
    start_temperature : float or array
        Temperature of the tank at the beginning. [°C]
    lowest_hot_temperature : float or array
        Set temperature plus approach. [°C]
    draw_heat : float or array
        Heat drawn above the cold temperature: constant, because a thermostatic valve draws more as the tank cools. [W]
    recovery_heat : float or array
        Heat the heater adds, zero or more. [W]
    recovery_delay : float or array
        Time before the heater starts. [s]

    Returns
    -------
    float or array
        Time; zero where the tank starts too cold, infinite where the heater keeps up. [s]

    Notes
    -----
    Heat balance of a constant mass, ρ·V·dh/dt = Q − P: with a constant mixed draw the temperature falls in a straight
    line [worked here from the first law]. The little cold water that enters because the tank's content shrinks is left
    out: up to 2 % long. Full mixing is the pessimistic bound of what a tank does.

    >>> round(mixed_seconds(0.757, 54.44, 40.56, draw_heat=146e3, recovery_heat=35.2e3) / 60, 1)
    6.5
    """
    V = number("volume", volume, "m³", above=0.0)
    start = _temperature("start_temperature", start_temperature)
    lowest = number("lowest_hot_temperature", lowest_hot_temperature, "°C", at_least=LOWEST, at_most=HIGHEST)
    P = number("draw_heat", draw_heat, "W", at_least=0.0)
    Q = number("recovery_heat", recovery_heat, "W", at_least=0.0)
    delay = number("recovery_delay", recovery_delay, "s", at_least=0.0)
    return same_kind(mixed_seconds_kernel(V, start, lowest, P, Q, delay))


def mixed_seconds_kernel(
    volume: Numbers,
    start_temperature: Numbers,
    lowest_hot_temperature: Numbers,
    draw_heat: Numbers,
    recovery_heat: Numbers,
    recovery_delay: Numbers,
) -> Numbers:
    """Time [s] of a mixed tank, nothing checked.

    Notes
    -----
    Arguments, source and error as in `mixed_seconds`.

    >>> float(round(mixed_seconds_kernel(0.757, 54.44, 40.56, 146e3, 35.2e3, 0.0) / 60, 1))
    6.5
    """
    mass = volume * density_kernel(start_temperature)
    store = mass * (enthalpy_kernel(start_temperature) - enthalpy_kernel(lowest_hot_temperature))
    return draw_seconds_kernel(np.maximum(store, 0.0), draw_heat, recovery_heat, recovery_delay)


def draw_seconds_kernel(store: Numbers, draw: Numbers, recovery: Numbers, recovery_delay: Numbers) -> Numbers:
    """Time [s] to empty a store that is drawn at one rate and refilled at another after a delay, nothing checked.

    Parameters
    ----------
    store : float or array
        What is there, in any unit.
    draw, recovery : float or array
        Rates in that unit per second.
    recovery_delay : float or array
        Time before the recovery begins. [s]

    Returns
    -------
    array
        Time; infinite where the recovery keeps up.

    Notes
    -----
    t = S/P within the delay, else (S − Q·delay)/(P − Q) [worked here].

    >>> float(draw_seconds_kernel(100.0, 2.0, 1.0, 20.0))
    80.0
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = np.where(np.equal(store, 0), 0.0, np.divide(store, draw))
        net = np.subtract(draw, recovery)
        helped = np.where(net > 0, np.divide(store - np.multiply(recovery, recovery_delay), net), math.inf)
    return np.where(alone <= recovery_delay, alone, helped)


def recovery_flow(power: Numbers, efficiency: Numbers, cold_temperature: Numbers, hot_temperature: Numbers) -> Numbers:
    """Hot water that a heater makes from cold water without pause.

    Parameters
    ----------
    power : float or array
        Power put in, zero or more. [W]
    efficiency : float or array
        Share of it that reaches the water, more than 0 to 1. [-]
    cold_temperature, hot_temperature : float or array
        Temperatures before and after, the second higher. [°C]

    Returns
    -------
    float or array
        Volume flow at the hot temperature. [m³/s]

    Notes
    -----
    r = η·P/(ρ·Δh) with ρ at the hot temperature [UFC 3-420-01, App. E, with the enthalpy of IAPWS SR6-08]. Tables made
    with 8.33 lb/gal read up to 2 % low at 140 °F, because they count the water cold.

    >>> round(recovery_flow(4500, 1.0, cold_temperature=10, hot_temperature=60) * 3600e3, 1)
    78.8
    """
    P = number("power", power, "W", at_least=0.0)
    eta = number("efficiency", efficiency, above=0.0, at_most=1.0)
    cold = _temperature("cold_temperature", cold_temperature)
    hot = _temperature("hot_temperature", hot_temperature)
    if np.any(flat := (np.asarray(hot) <= cold)):
        raise InputError("hot_temperature", first_where(hot, flat), "must be above the cold temperature", "°C")
    rise = enthalpy_kernel(hot) - enthalpy_kernel(cold)
    return same_kind(eta * P / (density_kernel(hot) * rise))


def _temperature(name: str, value: Numbers) -> Numbers:
    return number(name, value, "°C", at_least=LOWEST, at_most=HIGHEST)
