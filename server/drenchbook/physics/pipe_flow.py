"""Pressure lost by water on its way through a pipe: friction, fittings and height."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.physics.inputs import Numbers, number, same_kind

GRAVITY = 9.80665  # [m/s²] standard acceleration of free fall, exact [NIST SP 811, B.8]
LAMINAR_LIMIT = 2300.0  # Reynolds number up to which flow is taken as laminar, common practice
TURBULENT_LIMIT = 4000.0  # Reynolds number from which Colebrook-White is taken as it stands, common practice
LAMINAR_NUMBER = 64.0  # f = 64/Re, Hagen-Poiseuille
COLEBROOK_ROUGH, COLEBROOK_SMOOTH = 3.7, 2.51  # [Colebrook 1939, eq. 13]
HAZEN_WILLIAMS_NUMBER = 4.52  # psi per foot with gpm and inches [NFPA 13, friction loss formula]
HAZEN_WILLIAMS_FLOW, HAZEN_WILLIAMS_DIAMETER = 1.85, 4.87  # exponents of the same formula
# Exact sizes of the units that formula is written in [NIST SP 811, B.8].
INCH, FOOT = 0.0254, 0.3048
GALLON_PER_MINUTE = 231 * INCH**3 / 60
PSI = 0.45359237 * 9.80665 / INCH**2


def velocity(flow: Numbers, diameter: Numbers) -> Numbers:
    """Mean velocity of a flow in a round pipe.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter : float or array
        Inside diameter, more than zero. [m]

    Returns
    -------
    float or array
        Flow over the open area. [m/s]

    Notes
    -----
    v = 4·q/(π·D²), exact for a full round pipe [Crane TP-410, eq. 1-2].

    >>> round(velocity(flow=0.001, diameter=0.05), 4)
    0.5093
    """
    q, D = _flow(flow), _diameter(diameter)
    return same_kind(4 * q / (math.pi * (D * D)))


def reynolds(flow: Numbers, diameter: Numbers, viscosity: Numbers, density: Numbers) -> Numbers:
    """Reynolds number of a flow in a round pipe.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter : float or array
        Inside diameter, more than zero. [m]
    viscosity : float or array
        Dynamic viscosity. [Pa·s]
    density : float or array
        Density. [kg/m³]

    Returns
    -------
    float or array
        Reynolds number. [-]

    Notes
    -----
    Re = ρ·v·D/μ [Crane TP-410, eq. 1-3], by definition without error.

    >>> round(reynolds(flow=0.001, diameter=0.05, viscosity=0.001, density=1000))
    25465
    """
    q, D = _flow(flow), _diameter(diameter)
    return same_kind(reynolds_kernel(q, D, _viscosity(viscosity), _density(density)))


def colebrook_friction_factor(reynolds: Numbers, relative_roughness: Numbers) -> Numbers:
    """Darcy friction factor of turbulent flow in a rough pipe.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number, 2300 or more. [-]
    relative_roughness : float or array
        Roughness over inside diameter, 0 to 0.1. [-]

    Returns
    -------
    float or array
        Darcy (Moody) friction factor. [-]

    Notes
    -----
    1/√f = −2·log10(ε/(3.7·D) + 2.51/(Re·√f)) [Colebrook 1939, eq. 13], solved to 5e-15. The formula itself stands
    within some 10 % of measured commercial pipes; between Re 2300 and 4000 no formula is sure.

    >>> round(colebrook_friction_factor(reynolds=1e5, relative_roughness=1e-4), 9)
    0.018513866
    """
    Re = number("reynolds", reynolds, at_least=LAMINAR_LIMIT)
    return same_kind(_colebrook(Re, _relative_roughness(relative_roughness))[0])


def turbulent_friction_factor(relative_roughness: Numbers) -> Numbers:
    """Darcy friction factor that a rough pipe reaches at very high Reynolds number.

    Parameters
    ----------
    relative_roughness : float or array
        Roughness over inside diameter, more than 0 to 0.1. [-]

    Returns
    -------
    float or array
        Friction factor of fully turbulent flow. [-]

    Notes
    -----
    1/√f = −2·log10(ε/(3.7·D)) [Crane TP-410, p. A-26], the Colebrook-White limit; as good as the roughness.

    >>> round(turbulent_friction_factor(0.0018 / 2.067), 4)
    0.019
    """
    share = number("relative_roughness", relative_roughness, above=0.0, at_most=0.1)
    return same_kind(0.25 / np.log10(share / COLEBROOK_ROUGH) ** 2)


def darcy_weisbach_loss(
    flow: Numbers, diameter: Numbers, length: Numbers, roughness: Numbers, density: Numbers, viscosity: Numbers
) -> Numbers:
    """Pressure lost to friction in a straight pipe.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter : float or array
        Inside diameter, more than zero. [m]
    length : float or array
        Length, zero or more. [m]
    roughness : float or array
        Roughness height of the wall, at most a tenth of the diameter. [m]
    density : float or array
        Density. [kg/m³]
    viscosity : float or array
        Dynamic viscosity. [Pa·s]

    Returns
    -------
    float or array
        Pressure loss. [Pa]

    Notes
    -----
    Δp = f·(L/D)·ρ·v²/2 [Crane TP-410, eq. 1-4] with f = 64/Re up to Re 2300 and Colebrook-White from 4000; between them
    the loss itself follows a rising cubic that meets both in value and slope (our own blend; up to Re 4000 the true
    loss may lie anywhere between the two laws, 40 % apart). Above it some 10 %, mostly from the roughness.

    >>> round(darcy_weisbach_loss(0.001, 0.05, 10, 4.6e-5, density=998.2, viscosity=1.0016e-3), 1)
    687.8
    """
    q, D, L = _flow(flow), _diameter(diameter), _length(length)
    eps = number("roughness", roughness, "m", at_least=0.0)
    number("roughness / diameter", eps / D, at_most=0.1)
    return same_kind(L * darcy_gradient_kernel(q, D, eps, _density(density), _viscosity(viscosity))[0])


def hazen_williams_loss(flow: Numbers, diameter: Numbers, length: Numbers, coefficient: Numbers) -> Numbers:
    """Pressure lost to friction in a straight pipe, by the waterworks formula.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter : float or array
        Inside diameter, more than zero. [m]
    length : float or array
        Length, zero or more. [m]
    coefficient : float or array
        Hazen-Williams C of the pipe, more than zero. [-]

    Returns
    -------
    float or array
        Pressure loss. [Pa]

    Notes
    -----
    psi per foot = 4.52·q^1.85/(C^1.85·d^4.87), q in gpm, d in inches [NFPA 13, friction loss formula]. It knows no
    viscosity: made for water near 60 °F and velocities near 3 ft/s. Against Darcy-Weisbach it can be 15 % low in small
    smooth pipe with cold water.

    >>> gpm, inch, foot, psi = 6.30901964e-5, 0.0254, 0.3048, 6894.757
    >>> round(hazen_williams_loss(4 * gpm, 0.785 * inch, 100 * foot, 140) / psi, 2)
    2.04
    """
    q, D, L = _flow(flow), _diameter(diameter), _length(length)
    C = number("coefficient", coefficient, above=0.0)
    return same_kind(L * hazen_williams_gradient_kernel(q, D, C)[0])


def minor_loss(flow: Numbers, diameter: Numbers, resistance: Numbers, density: Numbers) -> Numbers:
    """Pressure lost in fittings of a known resistance coefficient.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter : float or array
        Inside diameter the coefficient belongs to. [m]
    resistance : float or array
        Sum of resistance coefficients K, zero or more. [-]
    density : float or array
        Density. [kg/m³]

    Returns
    -------
    float or array
        Pressure loss. [Pa]

    Notes
    -----
    Δp = K·ρ·v²/2 [Crane TP-410, eq. 2-3]. K of one fitting differs by a third between makers.

    >>> round(minor_loss(flow=0.001, diameter=0.05, resistance=2, density=1000), 2)
    259.38
    """
    q, D = _flow(flow), _diameter(diameter)
    K = number("resistance", resistance, at_least=0.0)
    return same_kind(minor_loss_kernel(q, D, K, _density(density))[0])


def elevation_pressure(rise: Numbers, density: Numbers) -> Numbers:
    """Pressure that water loses while it climbs; negative where it falls.

    Parameters
    ----------
    rise : float or array
        Height of the end above the start. [m]
    density : float or array
        Density of the water in the pipe. [kg/m³]

    Returns
    -------
    float or array
        Static pressure of the rise. [Pa]

    Notes
    -----
    Δp = ρ·g·Δz with g = 9.80665 m/s², within 0.3 % anywhere on land [Crane TP-410, eq. 1-3, Bernoulli].

    >>> round(elevation_pressure(rise=10, density=1000), 1)
    98066.5
    """
    return same_kind(number("rise", rise, "m") * GRAVITY * _density(density))


def reynolds_kernel(flow: Numbers, diameter: Numbers, viscosity: Numbers, density: Numbers) -> Numbers:
    """Reynolds number [-] of a flow [m³/s] in a pipe [m], nothing checked.

    Notes
    -----
    [Crane TP-410, eq. 1-3].

    >>> round(reynolds_kernel(0.001, 0.05, 0.001, 1000))
    25465
    """
    return 4 * density * flow / (math.pi * diameter * viscosity)


def darcy_gradient_kernel(
    flow: Numbers, diameter: Numbers, roughness: Numbers, density: Numbers, viscosity: Numbers
) -> tuple[Numbers, Numbers]:
    """Friction loss per length [Pa/m] and its slope with flow [Pa/m per m³/s], nothing checked.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter, roughness : float or array
        Inside diameter and roughness height. [m]
    density, viscosity : float or array
        Density [kg/m³] and dynamic viscosity [Pa·s].

    Returns
    -------
    tuple of array
        Gradient and its exact slope, also inside the blend.

    Notes
    -----
    Sources, range and error as in `darcy_weisbach_loss`.

    >>> gradient, slope = darcy_gradient_kernel(0.001, 0.05, 4.6e-5, 998.2, 1.0016e-3)
    >>> round(float(gradient), 2), round(float(slope))
    (68.78, 125002)
    """
    per_flow = reynolds_kernel(1.0, diameter, viscosity, density)
    number, slope = darcy_number_kernel(flow * per_flow, roughness / diameter)
    pressure = darcy_pressure_kernel(diameter, density, viscosity)
    return pressure * number, pressure * per_flow * slope


def darcy_number_kernel(reynolds: Numbers, relative_roughness: Numbers) -> tuple[Numbers, Numbers]:
    """Friction loss without units, f·Re² [-], and its slope with the Reynolds number, nothing checked.

    Parameters
    ----------
    reynolds : float or array
        Reynolds number, zero or more. [-]
    relative_roughness : float or array
        Roughness over inside diameter, 0 to 0.1. [-]

    Returns
    -------
    tuple of array
        f·Re² and its exact slope, also inside the blend.

    Notes
    -----
    Times `darcy_pressure_kernel` this is the loss per length; sources, range and error as in `darcy_weisbach_loss`.

    >>> [round(float(x), 6) for x in darcy_number_kernel(1000.0, 1e-4)]
    [64000.0, 64.0]
    """
    Re = np.maximum(reynolds, TURBULENT_LIMIT)
    f, falling = _colebrook(Re, relative_roughness)
    slope = np.array(f * Re)
    number = np.array(slope * Re)
    slope *= 2 * falling
    low = np.less(reynolds, TURBULENT_LIMIT)
    if np.any(low):
        flows = np.broadcast_to(reynolds, number.shape)[low]
        number[low], slope[low] = _laminar_or_blend(flows, number[low], slope[low])
    return number[()], slope[()]


def darcy_pressure_kernel(diameter: Numbers, density: Numbers, viscosity: Numbers) -> Numbers:
    """Friction loss per length [Pa/m] for each unit of f·Re², nothing checked.

    Notes
    -----
    Δp/L = f·ρ·v²/(2·D) with v = Re·μ/(ρ·D) [Crane TP-410, eq. 1-4 and 1-3]: μ²/(2·ρ·D³).

    >>> round(darcy_pressure_kernel(0.05, 998.2, 1.0016e-3) * 1e6, 6)
    4.020046
    """
    return viscosity * viscosity / (2 * density * (diameter * diameter * diameter))


def hazen_williams_gradient_kernel(flow: Numbers, diameter: Numbers, coefficient: Numbers) -> tuple[Numbers, Numbers]:
    """Friction loss per length [Pa/m] and its slope with flow [Pa/m per m³/s], nothing checked.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    diameter : float or array
        Inside diameter. [m]
    coefficient : float or array
        Hazen-Williams C. [-]

    Returns
    -------
    tuple of array
        Gradient and its slope, which is zero at no flow.

    Notes
    -----
    Source, range and error as in `hazen_williams_loss`.

    >>> gradient, slope = hazen_williams_gradient_kernel(0.001, 0.05, 140)
    >>> round(float(gradient), 2), round(float(slope))
    (67.13, 124195)
    """
    m, n = HAZEN_WILLIAMS_FLOW, HAZEN_WILLIAMS_DIAMETER
    per_flow = HAZEN_WILLIAMS_NUMBER * PSI / FOOT / np.power(GALLON_PER_MINUTE * coefficient, m)
    part = per_flow / np.power(diameter / INCH, n) * np.power(flow, m - 1)
    return part * flow, m * part


def minor_loss_kernel(
    flow: Numbers, diameter: Numbers, resistance: Numbers, density: Numbers
) -> tuple[Numbers, Numbers]:
    """Fittings loss [Pa] and its slope with flow [Pa per m³/s], nothing checked.

    Notes
    -----
    [Crane TP-410, eq. 2-3]; range and error as in `minor_loss`.

    >>> loss, slope = minor_loss_kernel(0.001, 0.05, 2.0, 1000.0)
    >>> round(loss, 2), round(slope)
    (259.38, 518764)
    """
    per_flow = 4 / (math.pi * (diameter * diameter))
    per_square = resistance * density / 2 * (per_flow * per_flow)
    return per_square * (flow * flow), 2 * per_square * flow


def _colebrook(Re: Numbers, relative_roughness: Numbers) -> tuple[Numbers, Numbers]:
    """Friction factor, and half the exponent with which the loss grows with flow.

    With z = (ln 10/2)/√f the formula reads z + ln(A + z) = B. The start is the large-argument series of the root of
    u + ln u = A + B; one fourth-order correction (Fritsch, Shafer and Crowley 1973) on the unrounded form ends at
    5e-15.
    """
    half = math.log(10) / 2
    per_smooth = Re * (half / COLEBROOK_SMOOTH)  # A = (ε/D)·Re·ln10/(2·2.51·3.7), B = ln(Re·ln10/(2·2.51))
    A, B = relative_roughness * per_smooth / COLEBROOK_ROUGH, np.log(per_smooth)
    y = A + B
    L = np.log(y)
    over = 1.0 / y
    z = B - L + L * over * (1 + over * ((L - 2) / 2 + over * (6 + L * (2 * L - 9)) / 6))
    u = A + z
    miss = B - z - np.log(u)
    q = 2 * (1 + u) * (1 + u + miss * (2 / 3))
    z = z + u * miss / (1 + u) * (q - miss) / (q - 2 * miss)
    root = half / z
    return root * root, 1 - 1 / (A + z + 1)


def _laminar_or_blend(Re: Numbers, high: Numbers, high_slope: Numbers) -> tuple[Numbers, Numbers]:
    """f·Re² and its slope below Re 4000, where the turbulent values at Re 4000 are given."""
    width = TURBULENT_LIMIT - LAMINAR_LIMIT
    share = np.clip((Re - LAMINAR_LIMIT) / width, 0.0, 1.0)
    blend, slope = _cubic(share, width, LAMINAR_NUMBER * LAMINAR_LIMIT, LAMINAR_NUMBER, high, high_slope)
    laminar = Re <= LAMINAR_LIMIT
    return np.where(laminar, LAMINAR_NUMBER * Re, blend), np.where(laminar, LAMINAR_NUMBER, slope)


def _cubic(
    share: Numbers, width: Numbers, start: Numbers, start_slope: Numbers, end: Numbers, end_slope: Numbers
) -> tuple[Numbers, Numbers]:
    """Cubic that meets values and slopes at both ends of an interval; rises, as both slopes stay below three chords."""
    t = share
    rise, d0, d1 = end - start, start_slope * width, end_slope * width
    c2, c3 = 3 * rise - 2 * d0 - d1, d0 + d1 - 2 * rise
    return start + t * (d0 + t * (c2 + t * c3)), (d0 + t * (2 * c2 + 3 * t * c3)) / width


def _flow(value: Numbers) -> Numbers:
    return number("flow", value, "m³/s", at_least=0.0)


def _diameter(value: Numbers) -> Numbers:
    return number("diameter", value, "m", above=0.0)


def _length(value: Numbers) -> Numbers:
    return number("length", value, "m", at_least=0.0)


def _density(value: Numbers) -> Numbers:
    return number("density", value, "kg/m³", above=0.0)


def _viscosity(value: Numbers) -> Numbers:
    return number("viscosity", value, "Pa·s", above=0.0)


def _relative_roughness(value: Numbers) -> Numbers:
    return number("relative_roughness", value, at_least=0.0, at_most=0.1)
