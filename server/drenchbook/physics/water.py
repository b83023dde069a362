"""Liquid water: density, viscosity, heat capacity, conductivity, enthalpy and speed of sound at a temperature."""

from __future__ import annotations

import numpy as np

from drenchbook.physics.inputs import KELVIN, Numbers, number, same_kind

# All coefficients: IAPWS SR6-08(2011), Revised Supplementary Release on Properties of Liquid Water at 0.1 MPa.
GAS_CONSTANT = 461.51805  # [J/(kg·K)], Table 1
REFERENCE_PRESSURE = 100_000.0  # [Pa] absolute, Table 1
REFERENCE_TEMPERATURE = 10.0  # [K], Table 1
UPPER_POLE, LOWER_POLE = 593.0, 232.0  # [K], below eq. 1: α = 10/(593 − T), β = 10/(T − 232)
# Gibbs energy, eq. 1. Its coefficient c2 drops out of the enthalpy and is not kept.
GIBBS_C1, GIBBS_C3 = -2.452093414e2, -8.983025854
# (coefficient, power) in α and β; Tables 2 to 4.
GIBBS_ALPHA = ((-1.661470539e5, 4), (2.708781640e6, 5), (-1.557191544e8, 7))
GIBBS_BETA = ((-8.237426256e-1, 2), (1.908956353, 3), (-2.017597384, 4), (8.546361348e-1, 5))
VOLUME_ALPHA = (
    (1.93763157e-2, 0),
    (6.74458446e3, 4),
    (-2.22521604e5, 5),
    (1.00231247e8, 7),
    (-1.63552118e9, 8),
    (8.32299658e9, 9),
)
VOLUME_BETA = (
    (5.78545292e-3, 1),
    (-1.53195665e-2, 2),
    (3.11337859e-2, 3),
    (-4.23546241e-2, 4),
    (3.38713507e-2, 5),
    (-1.19946761e-2, 6),
)
SQUEEZE_ALPHA = ((-7.5245878e-6, 1), (-1.3767418e-2, 3), (1.0627293e1, 5), (-2.0457795e2, 6), (1.2037414e3, 7))
SQUEEZE_BETA = (
    (-3.1091470e-6, 1),
    (2.8964919e-5, 3),
    (-1.3112763e-4, 4),
    (3.0410453e-4, 5),
    (-3.9034594e-4, 6),
    (2.3403117e-4, 7),
    (-4.8510101e-5, 9),
)
# (coefficient, exponent) of T/300 K. Viscosity in µPa·s: eq. 7; conductivity in W/(m·K): eq. 8.
TRANSPORT_TEMPERATURE = 300.0
VISCOSITY_TERMS = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))
CONDUCTIVITY_TERMS = ((1.6630, -1.15), (-1.7781, -3.4), (1.1567, -6.0), (-0.432115, -7.6))
LOWEST, HIGHEST = -20.0, 110.0  # [°C], 253.15 K to 383.15 K


def density(temperature: Numbers) -> Numbers:
    """Density of liquid water.

    Parameters
    ----------
    temperature : float or array
        Water temperature, -20 to 110; below 0 the water is undercooled. [°C]

    Returns
    -------
    float or array
        Density. [kg/m³]

    Notes
    -----
    Reciprocal of the specific volume [IAPWS SR6-08(2011), eq. 2]. Uncertainty 1e-6 from 0 °C to 40 °C, within 0.003 %
    above. It holds at 0.1 MPa; at 1 MPa water is 0.04 % denser, which is left out.

    >>> round(density(25.0), 6)
    997.047013
    """
    return same_kind(density_kernel(_checked(temperature)))


def viscosity(temperature: Numbers) -> Numbers:
    """Dynamic viscosity of liquid water.

    Parameters
    ----------
    temperature : float or array
        Water temperature, -20 to 110. [°C]

    Returns
    -------
    float or array
        Dynamic viscosity. [Pa·s]

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 7]; uncertainty 1 % between 0 °C and 110 °C. At 1 MPa it differs by under 0.1 %.

    >>> round(viscosity(25.0) * 1e6, 6)
    889.996774
    """
    return same_kind(viscosity_kernel(_checked(temperature)))


def heat_capacity(temperature: Numbers) -> Numbers:
    """Specific heat capacity of liquid water at constant pressure.

    Parameters
    ----------
    temperature : float or array
        Water temperature, -20 to 110. [°C]

    Returns
    -------
    float or array
        Specific heat capacity. [J/(kg·K)]

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 1, second derivative]; uncertainty 0.1 %. At 1 MPa it is 0.05 % lower.

    >>> round(heat_capacity(25.0), 5)
    4181.44618
    """
    T = _checked(temperature) + KELVIN
    alpha, beta, tau = _variables(T)
    bend = _series(_slope(_slope(GIBBS_ALPHA)), alpha) + _series(_slope(_slope(GIBBS_BETA)), beta)
    return same_kind(-GAS_CONSTANT * (GIBBS_C3 + tau * bend))  # [SR6-08, eq. for cp in Table 6]


def conductivity(temperature: Numbers) -> Numbers:
    """Thermal conductivity of liquid water.

    Parameters
    ----------
    temperature : float or array
        Water temperature, -20 to 110. [°C]

    Returns
    -------
    float or array
        Thermal conductivity. [W/(m·K)]

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 8]; uncertainty 1.5 %.

    >>> round(conductivity(25.0), 9)
    0.606502308
    """
    return same_kind(_powers(CONDUCTIVITY_TERMS, _checked(temperature)))


def specific_enthalpy(temperature: Numbers) -> Numbers:
    """Specific enthalpy of liquid water, zero near the triple point.

    Parameters
    ----------
    temperature : float or array
        Water temperature, -20 to 110. [°C]

    Returns
    -------
    float or array
        Specific enthalpy. [J/kg]

    Notes
    -----
    h = g + T·s in closed form [IAPWS SR6-08(2011), eq. 1]. Differences of it are good to 0.1 %. At 1 MPa all of it is
    about 0.9 kJ/kg higher, which cancels in a heat balance at one pressure.

    >>> round(specific_enthalpy(20.0) / 1000, 1)
    84.0
    """
    return same_kind(enthalpy_kernel(_checked(temperature)))


def temperature_of_enthalpy(enthalpy: Numbers) -> Numbers:
    """Temperature at which liquid water has a specific enthalpy.

    Parameters
    ----------
    enthalpy : float or array
        Specific enthalpy, as `specific_enthalpy` gives it. [J/kg]

    Returns
    -------
    float or array
        Temperature, accurate to 1e-9 K. [°C]

    Notes
    -----
    Newton's method on the closed form [IAPWS SR6-08(2011), eq. 1].

    >>> round(temperature_of_enthalpy(specific_enthalpy(37.5)), 9)
    37.5
    """
    low, high = (float(enthalpy_kernel(edge)) for edge in (LOWEST, HIGHEST))
    wanted = "must be the enthalpy of liquid water between -20 and 110 °C"
    slack = 1e-9 * high  # rounding at the two ends
    enthalpy = number("enthalpy", enthalpy, "J/kg", at_least=low - slack, at_most=high + slack, wanted=wanted)
    return same_kind(temperature_of_enthalpy_kernel(enthalpy))


def sound_speed(temperature: Numbers) -> Numbers:
    """Speed of sound in liquid water, the fastest a pressure wave can travel in a pipe.

    Parameters
    ----------
    temperature : float or array
        Water temperature, -20 to 110. [°C]

    Returns
    -------
    float or array
        Speed of sound. [m/s]

    Notes
    -----
    From the volume, its two slopes and the heat capacity [IAPWS SR6-08(2011), Table 6]; uncertainty 0.1 %. An elastic
    wall makes a wave slower, so a surge computed with it is an upper bound.

    >>> round(sound_speed(25.0), 5)
    1496.69922
    """
    temperature = _checked(temperature)
    T = temperature + KELVIN
    alpha, beta, _ = _variables(T)
    R, Tr, p0 = GAS_CONSTANT, REFERENCE_TEMPERATURE, REFERENCE_PRESSURE
    v = 1.0 / density_kernel(temperature)
    vT = R / p0 * (_series(_slope(VOLUME_ALPHA), alpha) - _series(_slope(VOLUME_BETA), beta))
    vp = R * Tr / p0**2 * (_series(SQUEEZE_ALPHA, alpha) + _series(SQUEEZE_BETA, beta))
    return same_kind(np.sqrt(-(v**2) / (vp + T * vT**2 / heat_capacity(temperature))))  # [SR6-08, Table 6]


def density_kernel(temperature: Numbers) -> Numbers:
    """Density [kg/m³] at a temperature [°C], nothing checked.

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 2]; range and error as in `density`.

    >>> float(round(density_kernel(4.0), 3))
    999.974
    """
    alpha, beta, _ = _variables(temperature + KELVIN)
    R, Tr, p0 = GAS_CONSTANT, REFERENCE_TEMPERATURE, REFERENCE_PRESSURE
    return p0 / (R * Tr * (_series(VOLUME_ALPHA, alpha) + _series(VOLUME_BETA, beta)))  # [SR6-08, eq. 2]


def viscosity_kernel(temperature: Numbers) -> Numbers:
    """Dynamic viscosity [Pa·s] at a temperature [°C], nothing checked.

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 7]; range and error as in `viscosity`.

    >>> float(round(viscosity_kernel(20.0), 6))
    0.001002
    """
    return 1e-6 * _powers(VISCOSITY_TERMS, temperature)


def enthalpy_kernel(temperature: Numbers) -> Numbers:
    """Specific enthalpy [J/kg] at a temperature [°C], nothing checked.

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 1]; range and error as in `specific_enthalpy`.

    >>> float(round(enthalpy_kernel(60.0) / 1000, 1))
    251.2
    """
    alpha, beta, tau = _variables(temperature + KELVIN)
    level = GIBBS_C1 - GIBBS_C3 * tau + _series(GIBBS_ALPHA, alpha) + _series(GIBBS_BETA, beta)
    fall = _series(_slope(GIBBS_ALPHA), alpha) - _series(_slope(GIBBS_BETA), beta)
    return GAS_CONSTANT * REFERENCE_TEMPERATURE * (level - tau * fall)  # [SR6-08, eq. 1, h = g + T·s]


def temperature_of_enthalpy_kernel(enthalpy: Numbers) -> Numbers:
    """Temperature [°C] of a specific enthalpy [J/kg], nothing checked.

    Notes
    -----
    [IAPWS SR6-08(2011), eq. 1]; start from 4187 J/(kg·K), which is within 2 K, then Newton with the closed slope: three
    steps reach 1e-12 K between -20 °C and 110 °C.

    >>> float(round(temperature_of_enthalpy_kernel(enthalpy_kernel(80.0)), 9))
    80.0
    """
    temperature = np.clip(np.asarray(enthalpy, dtype=float) / 4187.0, LOWEST, HIGHEST)
    for _ in range(3):
        T = temperature + KELVIN
        alpha, beta, tau = _variables(T)
        bend = _series(_slope(_slope(GIBBS_ALPHA)), alpha) + _series(_slope(_slope(GIBBS_BETA)), beta)
        temperature = temperature + (enthalpy - enthalpy_kernel(temperature)) / (
            -GAS_CONSTANT * (GIBBS_C3 + tau * bend)
        )
    return temperature


def _checked(temperature: Numbers) -> Numbers:
    return number("temperature", temperature, "°C", at_least=LOWEST, at_most=HIGHEST)


def _variables(T: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """α, β and τ of the release at an absolute temperature."""
    Tr = REFERENCE_TEMPERATURE
    return Tr / (UPPER_POLE - T), Tr / (T - LOWER_POLE), T / Tr


def _slope(terms: tuple[tuple[float, int], ...]) -> tuple[tuple[float, int], ...]:
    """Coefficients of dx^n/dT·Tr: n·x^(n+1), because dα/dT = α²/Tr (and −β²/Tr for β)."""
    return tuple((power * coefficient, power + 1) for coefficient, power in terms if power)


def _series(terms: tuple[tuple[float, int], ...], x: Numbers) -> Numbers:
    """Sum of coefficient·x^power for rising powers, by Horner's scheme."""
    total: Numbers = 0.0
    for place in range(len(terms) - 1, -1, -1):
        coefficient, power = terms[place]
        total = total + coefficient
        for _ in range(power - (terms[place - 1][1] if place else 0)):
            total = total * x
    return total


def _powers(terms: tuple[tuple[float, float], ...], temperature: Numbers) -> Numbers:
    """Sum of coefficient·(T/300)^exponent."""
    log_ratio = np.log((temperature + KELVIN) / TRANSPORT_TEMPERATURE)
    return sum(coefficient * np.exp(exponent * log_ratio) for coefficient, exponent in terms)
