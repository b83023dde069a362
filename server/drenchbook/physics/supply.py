"""Pressure a water supply has left at a flow, and curves that a maker or a test gives by points."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import Numbers, first_where, number, same_kind

SUPPLY_EXPONENT = 1.85  # of flow in the drop of a water main [NFPA 13 hydraulic graph paper, N^1.85]


def supply_pressure(flow: Numbers, static: Numbers, residual: Numbers, test_flow: Numbers) -> Numbers:
    """Pressure left at the gauge of a water supply while it gives a flow.

    Parameters
    ----------
    flow : float or array
        Flow drawn, zero or more. [m³/s]
    static : float or array
        Gauge pressure at no flow. [Pa]
    residual : float or array
        Gauge pressure during the flow test, at most the static one. [Pa]
    test_flow : float or array
        Flow during the test, more than zero. [m³/s]

    Returns
    -------
    float or array
        Gauge pressure; it may fall below zero, which means the supply cannot give the flow. [Pa]

    Notes
    -----
    p = p0 − (p0 − pr)·(q/qr)^1.85 [NFPA 291, available flow formula, whose exponent 0.54 is 1/1.852]. Beyond the tested
    flow it is a guess: a test with a small drop can be a third wrong.

    >>> supply_pressure(flow=2e-3, static=500e3, residual=400e3, test_flow=2e-3)
    400000.0
    """
    q = number("flow", flow, "m³/s", at_least=0.0)
    p0, pr = number("static", static, "Pa"), number("residual", residual, "Pa")
    qr = number("test_flow", test_flow, "m³/s", above=0.0)
    if np.any(rising := (np.asarray(pr) > p0)):
        wanted = "must be at most the static pressure: a main does not gain pressure by giving water"
        raise InputError("residual", first_where(pr, rising), wanted, "Pa")
    return same_kind(supply_pressure_kernel(q, p0, pr, qr)[0])


def supply_pressure_kernel(
    flow: Numbers, static: Numbers, residual: Numbers, test_flow: Numbers
) -> tuple[Numbers, Numbers]:
    """Pressure left [Pa] and its slope with flow [Pa per m³/s], nothing checked.

    Notes
    -----
    Source and error as in `supply_pressure`.

    >>> pressure, slope = supply_pressure_kernel(1e-3, 500e3, 400e3, 1e-3)
    >>> round(pressure), round(slope)
    (400000, -185000000)
    """
    drop = (static - residual) / test_flow * np.power(flow / test_flow, SUPPLY_EXPONENT - 1)
    return static - drop * flow, -SUPPLY_EXPONENT * drop


def curve_pressure(flow: Numbers, curve_flows: Sequence[float], curve_values: Sequence[float]) -> Numbers:
    """Value of a curve given by points, with straight lines between them.

    Parameters
    ----------
    flow : float or array
        Flow, zero to the last point's. [m³/s]
    curve_flows : sequence of float
        Flows of the points, rising from zero. [m³/s]
    curve_values : sequence of float
        Pressure, or pressure loss, at the points. [Pa]

    Returns
    -------
    float or array
        Pressure, or pressure loss, at the flow. [Pa]

    Notes
    -----
    Straight lines between measured points (common practice); a curve may dip. Beyond the last point nothing is known
    and the flow is refused.

    >>> curve_pressure(flow=1.5e-3, curve_flows=[0, 1e-3, 2e-3], curve_values=[80e3, 70e3, 74e3])
    72000.0
    """
    q = number("flow", flow, "m³/s", at_least=0.0)
    flows, values = checked_curve(curve_flows, curve_values)
    value, _, beyond = curve_pressure_kernel(q, flows, values)
    if np.any(beyond):
        wanted = f"must be at most {flows[-1]:.10g}, the last point of the curve"
        raise InputError("flow", first_where(q, beyond), wanted, "m³/s")
    return same_kind(value)


def curve_pressure_kernel(
    flow: Numbers, curve_flows: Numbers, curve_values: Numbers
) -> tuple[Numbers, Numbers, Numbers]:
    """Value of a curve [Pa], its slope [Pa per m³/s] and whether the flow lies beyond the last point, nothing checked.

    Notes
    -----
    Beyond the last point the last line is drawn on, so that an iteration may pass there; the flag tells it. Source as
    in `curve_pressure`.

    >>> value, slope, beyond = curve_pressure_kernel(3e-3, np.array([0.0, 1e-3, 2e-3]), np.array([80e3, 70e3, 74e3]))
    >>> round(float(value)), round(float(slope)), bool(beyond)
    (78000, 4000000, True)
    """
    lines = np.diff(curve_values) / np.diff(curve_flows)
    place = np.clip(np.searchsorted(curve_flows, flow, side="right") - 1, 0, len(lines) - 1)
    slope = lines[place]
    return curve_values[place] + slope * (flow - curve_flows[place]), slope, np.greater(flow, curve_flows[-1])


def checked_curve(curve_flows: Sequence[float], curve_values: Sequence[float]) -> tuple[Numbers, Numbers]:
    """The points of a curve as two arrays, or the sentence that says what is wrong with them.

    Parameters
    ----------
    curve_flows : sequence of float
        Flows of the points, rising from zero, two or more. [m³/s]
    curve_values : sequence of float
        One value for each. [Pa]

    Returns
    -------
    tuple of array
        Flows and values.

    Notes
    -----
    A curve that does not begin at zero flow leaves the static state unknown, so it is refused [worked here].

    >>> checked_curve([0, 1e-3], [80e3, 70e3])[0].tolist()
    [0.0, 0.001]
    """
    flows = np.atleast_1d(number("curve_flows", list(curve_flows), "m³/s", at_least=0.0))
    values = np.atleast_1d(number("curve_values", list(curve_values), "Pa"))
    if len(flows) != len(values) or len(flows) < 2:
        text = f"{len(flows)} flows, {len(values)} values"
        raise InputError("curve_flows", text, "two points or more are needed, each with a flow and a value")
    if flows[0] != 0:
        raise InputError("curve_flows", float(flows[0]), "the first point must be at zero flow", "m³/s")
    if np.any(falls := np.diff(flows) <= 0):
        raise InputError("curve_flows", first_where(flows[1:], falls), "flows must rise from point to point", "m³/s")
    return flows, values


def square_loss(flow: Numbers, loss_coefficient: Numbers) -> Numbers:
    """Pressure lost in a device by a coefficient on the flow squared.

    Parameters
    ----------
    flow : float or array
        Flow, zero or more. [m³/s]
    loss_coefficient : float or array
        Loss at one unit of flow squared, zero or more. [Pa per (m³/s)²]

    Returns
    -------
    float or array
        Pressure loss. [Pa]

    Notes
    -----
    Δp = k·q² (common practice for turbulent flow through a device).

    >>> square_loss(flow=2e-3, loss_coefficient=1e10)
    40000.0
    """
    q = number("flow", flow, "m³/s", at_least=0.0)
    return same_kind(number("loss_coefficient", loss_coefficient, "Pa per (m³/s)²", at_least=0.0) * q**2)
