"""Hot and cold water brought together: the mixture's temperature, and the flows that make a wanted one."""

from __future__ import annotations

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import Numbers, first_where, number, same_kind
from drenchbook.physics.water import (
    HIGHEST,
    LOWEST,
    density_kernel,
    enthalpy_kernel,
    temperature_of_enthalpy_kernel,
)


def mixed_temperature(
    hot_flow: Numbers, hot_temperature: Numbers, cold_flow: Numbers, cold_temperature: Numbers
) -> Numbers:
    """Temperature of two water streams after they have mixed.

    Parameters
    ----------
    hot_flow, cold_flow : float or array
        Volume flows, each at its own temperature, zero or more, not both zero. [m³/s]
    hot_temperature, cold_temperature : float or array
        Temperatures before mixing. [°C]

    Returns
    -------
    float or array
        Temperature after mixing. [°C]

    Notes
    -----
    Balance of mass and enthalpy with the density and enthalpy of IAPWS SR6-08 [worked here from the first law; the
    plain volume rule in UFC 3-420-01, App. A reads up to 0.4 K high]. Heat lost in the valve body is left out.

    >>> round(mixed_temperature(hot_flow=1e-4, hot_temperature=60, cold_flow=3e-4, cold_temperature=10), 2)
    22.33
    """
    hot_flow, cold_flow = _flow("hot_flow", hot_flow), _flow("cold_flow", cold_flow)
    hot, cold = _temperature("hot_temperature", hot_temperature), _temperature("cold_temperature", cold_temperature)
    if np.any(dry := (hot_flow + cold_flow == 0)):
        raise InputError("cold_flow", first_where(cold_flow, dry), "needs water: both flows are zero", "m³/s")
    return same_kind(mixed_temperature_kernel(hot_flow, hot, cold_flow, cold))


def hot_mass_fraction(mixed_temperature: Numbers, hot_temperature: Numbers, cold_temperature: Numbers) -> Numbers:
    """Share of hot water, by mass, that gives a mixture a temperature.

    Parameters
    ----------
    mixed_temperature : float or array
        Temperature wanted. [°C]
    hot_temperature, cold_temperature : float or array
        Temperatures before mixing, not equal. [°C]

    Returns
    -------
    float or array
        Hot share by mass; below 0 or above 1 where mixing cannot reach the wanted temperature. [-]

    Notes
    -----
    x = (h_m − h_c)/(h_h − h_c) with the enthalpy of IAPWS SR6-08 [worked here from the first law; UFC 3-420-01, App. A
    with a constant heat capacity]. Never clamped: outside 0 to 1 it is a state to be told, not a number to be used.

    >>> round(hot_mass_fraction(mixed_temperature=30, hot_temperature=60, cold_temperature=10), 3)
    0.4
    """
    mixed = _temperature("mixed_temperature", mixed_temperature)
    hot, cold = _temperature("hot_temperature", hot_temperature), _temperature("cold_temperature", cold_temperature)
    if np.any(equal := (hot == cold)):
        wanted = "must differ from the cold temperature: any mixture of the two has that temperature"
        raise InputError("hot_temperature", first_where(hot, equal), wanted, "°C")
    return same_kind(hot_mass_fraction_kernel(mixed, hot, cold))


def hot_flow(
    mixed_flow: Numbers, mixed_temperature: Numbers, hot_temperature: Numbers, cold_temperature: Numbers
) -> Numbers:
    """Hot water needed for a mixed flow of a wanted temperature.

    Parameters
    ----------
    mixed_flow : float or array
        Volume flow of the mixture at its own temperature, zero or more. [m³/s]
    mixed_temperature, hot_temperature, cold_temperature : float or array
        Temperatures of the mixture and before mixing; the first between the others. [°C]

    Returns
    -------
    float or array
        Hot volume flow at its own temperature. [m³/s]

    Notes
    -----
    x·ρ_m·q/ρ_h with x of `hot_mass_fraction`; error of the densities, 0.05 % [worked here from mass and enthalpy].

    >>> gpm = 6.30901964e-5
    >>> round(hot_flow(20 * gpm, 29.4444, 60, 10) / gpm, 3)
    7.883
    """
    share, mixed = _reached(mixed_temperature, hot_temperature, cold_temperature)
    mass = _flow("mixed_flow", mixed_flow) * density_kernel(mixed)
    return same_kind(share * mass / density_kernel(np.asarray(hot_temperature, dtype=float)))


def cold_flow(
    mixed_flow: Numbers, mixed_temperature: Numbers, hot_temperature: Numbers, cold_temperature: Numbers
) -> Numbers:
    """Cold water needed for a mixed flow of a wanted temperature.

    Parameters
    ----------
    mixed_flow : float or array
        Volume flow of the mixture at its own temperature, zero or more. [m³/s]
    mixed_temperature, hot_temperature, cold_temperature : float or array
        Temperatures of the mixture and before mixing; the first between the others. [°C]

    Returns
    -------
    float or array
        Cold volume flow at its own temperature. [m³/s]

    Notes
    -----
    (1 − x)·ρ_m·q/ρ_c with x of `hot_mass_fraction`; error of the densities, 0.05 % [worked here from mass and
    enthalpy].

    >>> gpm = 6.30901964e-5
    >>> round(cold_flow(20 * gpm, 29.4444, 60, 10) / gpm, 2)
    12.17
    """
    share, mixed = _reached(mixed_temperature, hot_temperature, cold_temperature)
    mass = _flow("mixed_flow", mixed_flow) * density_kernel(mixed)
    return same_kind((1 - share) * mass / density_kernel(np.asarray(cold_temperature, dtype=float)))


def mixed_temperature_kernel(
    hot_flow: Numbers, hot_temperature: Numbers, cold_flow: Numbers, cold_temperature: Numbers
) -> Numbers:
    """Temperature [°C] of two volume flows [m³/s] after mixing, nothing checked; not-a-number where both are zero.

    Notes
    -----
    Source and error as in `mixed_temperature`.

    >>> float(round(mixed_temperature_kernel(1e-4, 60.0, 3e-4, 10.0), 2))
    22.33
    """
    hot_mass = hot_flow * density_kernel(hot_temperature)
    cold_mass = cold_flow * density_kernel(cold_temperature)
    with np.errstate(invalid="ignore"):
        share = np.divide(hot_mass, hot_mass + cold_mass)
    return mixture_of_share_kernel(share, hot_temperature, cold_temperature)


def mixture_of_share_kernel(hot_share: Numbers, hot_temperature: Numbers, cold_temperature: Numbers) -> Numbers:
    """Temperature [°C] of a mixture whose hot share by mass [-] is known, nothing checked.

    Notes
    -----
    Source and error as in `mixed_temperature`.

    >>> float(round(mixture_of_share_kernel(0.4, 60.0, 10.0), 2))
    29.99
    """
    cold = enthalpy_kernel(cold_temperature)
    return temperature_of_enthalpy_kernel(cold + hot_share * (enthalpy_kernel(hot_temperature) - cold))


def hot_mass_fraction_kernel(
    mixed_temperature: Numbers, hot_temperature: Numbers, cold_temperature: Numbers
) -> Numbers:
    """Hot share by mass [-] for a mixture temperature [°C], nothing checked; infinite where hot and cold are equal.

    Notes
    -----
    Source and error as in `hot_mass_fraction`.

    >>> float(round(hot_mass_fraction_kernel(30.0, 60.0, 10.0), 3))
    0.4
    """
    cold = enthalpy_kernel(cold_temperature)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.divide(enthalpy_kernel(mixed_temperature) - cold, enthalpy_kernel(hot_temperature) - cold)


def _reached(mixed: Numbers, hot: Numbers, cold: Numbers) -> tuple[Numbers, Numbers]:
    """Hot share and mixed temperature, or the sentence that the wanted temperature cannot be reached."""
    share = hot_mass_fraction(mixed, hot, cold)
    mixed = np.asarray(mixed, dtype=float)
    if np.any(missed := ((np.asarray(share) < 0) | (np.asarray(share) > 1))):
        low, high = sorted((first_where(cold, missed), first_where(hot, missed)))
        wanted = f"mixing cannot reach it: must be from {low:.10g} to {high:.10g}, the temperatures that are mixed"
        raise InputError("mixed_temperature", first_where(mixed, missed), wanted, "°C")
    return share, mixed


def _flow(name: str, value: Numbers) -> Numbers:
    return number(name, value, "m³/s", at_least=0.0)


def _temperature(name: str, value: Numbers) -> Numbers:
    return number(name, value, "°C", at_least=LOWEST, at_most=HIGHEST)
