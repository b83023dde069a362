"""Resistance of fittings and flow coefficients of devices."""

from __future__ import annotations

import math

from drenchbook.physics.inputs import Numbers, number, same_kind

REFERENCE_DENSITY = 999.1  # [kg/m³] water at 15 °C, to which Kv and Cv belong [IEC 60534-2-1, symbol list]


def resistance(l_over_d_total: Numbers, friction_factor_turbulent: Numbers) -> Numbers:
    """Resistance coefficient of a list of fittings.

    Parameters
    ----------
    l_over_d_total : float or array
        Sum of the fittings' equivalent lengths in pipe diameters, zero or more. [-]
    friction_factor_turbulent : float or array
        Friction factor of fully turbulent flow in clean steel pipe of the nominal size. [-]

    Returns
    -------
    float or array
        Sum of the resistance coefficients K. [-]

    Notes
    -----
    K = fT·(L/D) [Crane TP-410, eq. 2-4 and p. A-26]. The steel pipe's fT for every pipe material is common practice. K
    of one fitting differs by a third between makers.

    >>> round(resistance(l_over_d_total=30, friction_factor_turbulent=0.019), 2)
    0.57
    """
    lengths = number("l_over_d_total", l_over_d_total, at_least=0.0)
    fT = number("friction_factor_turbulent", friction_factor_turbulent, above=0.0)
    return same_kind(fT * lengths)


def coefficient_loss(flow: Numbers, coefficient: Numbers, density: Numbers = REFERENCE_DENSITY) -> Numbers:
    """Pressure lost in a device whose flow coefficient is known.

    Parameters
    ----------
    flow : float or array
        Volume flow, zero or more. [m³/s]
    coefficient : float or array
        Flow at one unit of pressure loss, more than zero. [m³/s per √Pa]
    density : float or array
        Density of the water that flows. [kg/m³]

    Returns
    -------
    float or array
        Pressure loss. [Pa]

    Notes
    -----
    Δp = (ρ/ρ0)·(q/C)² [IEC 60534-2-1, eq. 1, turbulent, not choked, no reducers]. Makers state C within 10 %.

    >>> round(coefficient_loss(flow=2e-3, coefficient=1e-5, density=999.1), 6)
    40000.0
    """
    q, C = number("flow", flow, "m³/s", at_least=0.0), _coefficient(coefficient)
    rho = number("density", density, "kg/m³", above=0.0)
    return same_kind(coefficient_loss_kernel(q, C, rho)[0])


def resistance_of_coefficient(coefficient: Numbers, diameter: Numbers) -> Numbers:
    """Resistance coefficient K that loses as much as a flow coefficient.

    Parameters
    ----------
    coefficient : float or array
        Flow at one unit of pressure loss, more than zero. [m³/s per √Pa]
    diameter : float or array
        Inside diameter that K belongs to. [m]

    Returns
    -------
    float or array
        Resistance coefficient. [-]

    Notes
    -----
    K·ρ·v²/2 = (ρ/ρ0)·(q/C)² solved for K [Crane TP-410, eq. 2-2 and 2-11].

    >>> round(resistance_of_coefficient(500 / 3600 / 1e5**0.5, 0.154), 1)
    3.6
    """
    C, D = _coefficient(coefficient), number("diameter", diameter, "m", above=0.0)
    return same_kind(2 / REFERENCE_DENSITY * (math.pi * D**2 / 4 / C) ** 2)


def coefficient_loss_kernel(flow: Numbers, coefficient: Numbers, density: Numbers) -> tuple[Numbers, Numbers]:
    """Loss [Pa] of a flow coefficient and its slope with flow [Pa per m³/s], nothing checked.

    Notes
    -----
    [IEC 60534-2-1, eq. 1]; range and error as in `coefficient_loss`.

    >>> loss, slope = coefficient_loss_kernel(2e-3, 1e-5, REFERENCE_DENSITY)
    >>> round(loss), round(slope)
    (40000, 40000000)
    """
    share, ratio = density / REFERENCE_DENSITY, flow / coefficient
    return share * (ratio * ratio), 2 * share * ratio / coefficient


def _coefficient(value: Numbers) -> Numbers:
    return number("coefficient", value, "m³/s per √Pa", above=0.0)
