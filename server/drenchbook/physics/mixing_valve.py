"""A thermostatic mixing valve as two seats on one stem, and the ways water takes through it when one side fails."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import Numbers, first_where, number, same_kind

SMALLEST_FLOW = 1e-30  # [m³/s] keeps 0/0 away at no flow, where the chamber sees the lower inlet pressure
USUAL_STEPS = 3  # do for usual data, one less from a start near by
LARGEST_STEPS = 80  # for one share near nothing at a difference near (q/C)²
SETTLED = 1e-6  # relative step after which the cubic convergence leaves rounding alone


def chamber_pressure(
    flow: Numbers, hot_fraction: Numbers, hot_pressure: Numbers, cold_pressure: Numbers, coefficient: Numbers
) -> Numbers:
    """Pressure in the mixing chamber of a valve whose stem opens one seat while it closes the other.

    Parameters
    ----------
    flow : float or array
        Flow through the valve, zero or more. [m³/s]
    hot_fraction : float or array
        Hot share of the flow, 0 to 1. [-]
    hot_pressure, cold_pressure : float or array
        Gauge pressures at the inlets. [Pa]
    coefficient : float or array
        Flow coefficient of either seat fully open, more than zero. [m³/s per √Pa]

    Returns
    -------
    float or array
        Gauge pressure in the chamber; it may be far below zero, then the valve cannot pass the flow. [Pa]

    Notes
    -----
    x·q/√(ph − pm) + (1 − x)·q/√(pc − pm) = C, solved for pm < min(ph, pc) [worked here: two orifices on one stem, areas
    s and 1 − s of the whole]. Equal inlets give pm = p − (q/C)², the curve makers print. With a hot share of exactly 0
    or 1 one seat is shut and its inlet does not matter. As good as C, some 10 %.

    >>> round(chamber_pressure(flow=1e-3, hot_fraction=0.4, hot_pressure=3e5, cold_pressure=3e5, coefficient=1e-5), 6)
    290000.0
    """
    return same_kind(_two_seats(flow, hot_fraction, hot_pressure, cold_pressure, coefficient)[0])


def stem_position(
    flow: Numbers, hot_fraction: Numbers, hot_pressure: Numbers, cold_pressure: Numbers, coefficient: Numbers
) -> Numbers:
    """Opening of the hot seat, 0 shut to 1 fully open, at which a valve mixes as asked.

    Parameters
    ----------
    flow : float or array
        Flow through the valve, zero or more. [m³/s]
    hot_fraction : float or array
        Hot share of the flow, 0 to 1. [-]
    hot_pressure, cold_pressure : float or array
        Gauge pressures at the inlets. [Pa]
    coefficient : float or array
        Flow coefficient of either seat fully open, more than zero. [m³/s per √Pa]

    Returns
    -------
    float or array
        Opening of the hot seat; the cold seat is open by the rest. [-]

    Notes
    -----
    s = x·q/(C·√(ph − pm)) [worked here, with `chamber_pressure`]. Equal inlets give s = x. As good as the straight-line
    opening that it supposes; no maker's lift curve is used.

    >>> stem_position(flow=1e-3, hot_fraction=0.4, hot_pressure=3e5, cold_pressure=3e5, coefficient=1e-5)
    0.4
    """
    return same_kind(_two_seats(flow, hot_fraction, hot_pressure, cold_pressure, coefficient)[1])


def two_seats_kernel(
    flow: Numbers, hot_fraction: Numbers, hot_pressure: Numbers, cold_pressure: Numbers, coefficient: Numbers
) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
    """Chamber pressure [Pa], stem position [-] and slopes of the pressure with flow, hot and cold pressure, unchecked.

    Parameters
    ----------
    flow, hot_fraction, hot_pressure, cold_pressure, coefficient : float or array
        As in `chamber_pressure`.

    Returns
    -------
    tuple of array
        Chamber pressure, stem position, ∂pm/∂q [Pa per m³/s], ∂pm/∂ph [-], ∂pm/∂pc [-]; not-a-number where the hot
        share lies outside 0 to 1. Between, a root always exists: a flow too large shows as a pressure below zero.

    Notes
    -----
    With S = q/C, X and Y the shares on the higher- and lower-pressure side, Δ the difference of the inlets, the unknown
    k = √(p_low − pm) solves k − S·Y − S·X·k/√(k² + Δ) = 0, which is convex and above zero at k = S [worked here from
    the equation in `chamber_pressure`].

    >>> [round(float(x), 6) for x in two_seats_kernel(1e-3, 0.4, 3e5, 3e5, 1e-5)]
    [290000.0, 0.4, -20000000.0, 0.4, 0.6]
    """
    return two_seats_from_kernel(flow, hot_fraction, hot_pressure, cold_pressure, coefficient)[:5]


def two_seats_from_kernel(
    flow: Numbers,
    hot_fraction: Numbers,
    hot_pressure: Numbers,
    cold_pressure: Numbers,
    coefficient: Numbers,
    start: Numbers | None = None,
) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers, Numbers]:
    """The numbers of `two_seats_kernel`, and the root of its equation over S [-] to start near by; nothing checked.

    Notes
    -----
    Source and error as in `two_seats_kernel`. `start` is such a root; from one that is far off it takes longer.

    >>> near_by = two_seats_from_kernel(1e-3, 0.4, 3e5, 2.9e5, 1e-5)[5]
    >>> pressures = [two_seats_from_kernel(1.1e-3, 0.4, 3e5, 2.9e5, 1e-5, start)[0] for start in (None, near_by)]
    >>> round(float(pressures[1] - pressures[0]), 6)
    0.0
    """
    q, x, ph, pc, C = (np.asarray(part, dtype=float) for part in (flow, hot_fraction, hot_pressure, cold_pressure,
                                                                  coefficient))  # fmt: skip
    hot_is_high = ph >= pc
    low, gap = np.minimum(ph, pc), np.abs(ph - pc)
    X = np.where(hot_is_high, x, 1 - x)
    if not np.all(possible := (X >= 0) & (X <= 1)):
        X = np.where(possible, X, np.nan)
    q = np.maximum(q, SMALLEST_FLOW)
    S = q / C
    high_part, low_part = S * X, S * (1 - X)
    k = _low_side_root(S, high_part, low_part, gap, start)
    square = k * k
    root = np.sqrt(square + gap)
    # Slopes by the implicit function: each side weighs share/(pressure drop)^1.5.
    ratio = k / root
    high_weight = high_part * (ratio * ratio * ratio)
    whole = high_weight + low_part
    chamber, high_stem = low - square, high_part / root
    alone = X == 1  # the low side is shut: the high side passes all, whatever stands before the low side
    if shut := bool(np.any(alone)):
        whole = np.where(alone, 1.0, whole)
    flow_slope, high_slope = -2 * (k * square) / (q * whole), high_weight / whole
    if shut:
        chamber = np.where(alone, np.maximum(ph, pc) - S * S, chamber)
        flow_slope = np.where(alone, -2 * (S * S) / q, flow_slope)
        high_stem, high_slope = np.where(alone, 1.0, high_stem), np.where(alone, 1.0, high_slope)
    stem = np.where(hot_is_high, high_stem, 1 - high_stem)
    hot_slope = np.where(hot_is_high, high_slope, 1 - high_slope)
    return chamber, stem, flow_slope, hot_slope, 1 - hot_slope, k / S


def seats_in_parallel(
    total_flow: Numbers,
    hot_pressure: Numbers,
    cold_pressure: Numbers,
    hot_coefficient: Numbers,
    bypass_coefficient: Numbers,
) -> tuple[Numbers, Numbers]:
    """Hot share and chamber pressure when the hot seat stands fully open beside an open cold-water bypass.

    Parameters
    ----------
    total_flow : float or array
        Flow through both, zero or more. [m³/s]
    hot_pressure, cold_pressure : float or array
        Gauge pressures before the hot seat and before the bypass. [Pa]
    hot_coefficient, bypass_coefficient : float or array
        Flow coefficients, zero or more, not both zero. [m³/s per √Pa]

    Returns
    -------
    tuple of float or array
        Share that comes through the hot seat [-] and gauge pressure in the chamber [Pa].

    Notes
    -----
    q = Ch·√(ph − pm) + Cb·√(pc − pm), no flow backward through either (check valves), in closed form [worked here]. As
    good as the two coefficients, some 10 %.

    >>> share, pressure = seats_in_parallel(3e-3, 3e5, 3e5, hot_coefficient=2e-5, bypass_coefficient=1e-5)
    >>> round(share, 9), round(pressure, 3)
    (0.666666667, 290000.0)
    """
    q = number("total_flow", total_flow, "m³/s", at_least=0.0)
    ph, pc = number("hot_pressure", hot_pressure, "Pa"), number("cold_pressure", cold_pressure, "Pa")
    Ch = number("hot_coefficient", hot_coefficient, "m³/s per √Pa", at_least=0.0)
    Cb = number("bypass_coefficient", bypass_coefficient, "m³/s per √Pa", at_least=0.0)
    if np.any(shut := (np.asarray(Ch) + Cb == 0)):
        wanted = "needs a way for the water: hot seat and bypass are both shut"
        raise InputError("bypass_coefficient", first_where(Cb, shut), wanted, "m³/s per √Pa")
    share, chamber, *_ = seats_in_parallel_kernel(q, ph, pc, Ch, Cb)
    return same_kind(share), same_kind(chamber)


def seats_in_parallel_kernel(
    total_flow: Numbers,
    hot_pressure: Numbers,
    cold_pressure: Numbers,
    hot_coefficient: Numbers,
    bypass_coefficient: Numbers,
) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
    """Hot share [-], chamber pressure [Pa] and its slopes with flow, hot and cold pressure, nothing checked.

    Notes
    -----
    Source and error as in `seats_in_parallel`. With v = √(p_low − pm) the equation is quadratic in v; below
    q = C_high·√Δ the lower side passes nothing. The slope with flow is zero at no flow.

    >>> [round(float(x), 6) for x in seats_in_parallel_kernel(3e-3, 3e5, 3e5, 2e-5, 1e-5)]
    [0.666667, 290000.0, -6666666.666667, 0.666667, 0.333333]
    """
    q, ph, pc, Ch, Cb = np.broadcast_arrays(
        *(
            np.asarray(part, dtype=float)
            for part in (total_flow, hot_pressure, cold_pressure, hot_coefficient, bypass_coefficient)
        )
    )
    hot_is_high = ph >= pc
    high, low = np.maximum(ph, pc), np.minimum(ph, pc)
    Cx, Cy = np.where(hot_is_high, Ch, Cb), np.where(hot_is_high, Cb, Ch)
    gap = high - low
    q = np.maximum(q, SMALLEST_FLOW)
    left = q**2 - Cx**2 * gap  # what is left for the lower side, squared
    both = left > 0
    with np.errstate(divide="ignore", invalid="ignore"):
        v = np.where(both, left / (q * Cy + Cx * np.sqrt(np.where(both, left + Cy**2 * gap, 1.0))), 0.0)
        u = np.where(both, np.sqrt(v**2 + gap), q / Cx)
        chamber = np.where(both, low - v**2, high - u**2)
        high_part = np.where(u > 0, Cx / u, 0.0)
        low_part = np.where(both & (v > 0), Cy / v, 0.0)
        whole = high_part + low_part  # twice −∂q/∂pm
        high_share = np.where(both, Cx * u / q, 1.0)
        flow_slope, high_slope = -2 / whole, high_part / whole
    share = np.where(hot_is_high, high_share, 1 - high_share)
    hot_slope = np.where(hot_is_high, high_slope, 1 - high_slope)
    return share, chamber, flow_slope, hot_slope, 1 - hot_slope


def curve_coefficient(flow: Numbers, curve_flows: Sequence[float], curve_losses: Sequence[float]) -> Numbers:
    """Flow coefficient of a valve at a flow, from the points of its maker's curve.

    Parameters
    ----------
    flow : float or array
        Flow, zero to the last point's. [m³/s]
    curve_flows : sequence of float
        Flows of the points, rising, more than zero. [m³/s]
    curve_losses : sequence of float
        Pressure loss at each with equal inlet pressures, not falling, more than zero. [Pa]

    Returns
    -------
    float or array
        C(q) = q/√Δp. [m³/s per √Pa]

    Notes
    -----
    C runs straight between the points; this keeps the loss (q/C)² rising wherever the points rise. Below the first
    point C is held (common practice); above the last nothing is known and the flow is refused. As good as the reading
    of the curve, some 5 %.

    >>> round(curve_coefficient(1.5e-3, curve_flows=[1e-3, 2e-3], curve_losses=[1e4, 1.6e5]) * 1e6, 6)
    7.5
    """
    q = number("flow", flow, "m³/s", at_least=0.0)
    flows, coefficients = checked_valve_curve(curve_flows, curve_losses)
    coefficient, _, beyond = curve_coefficient_kernel(q, flows, coefficients)
    if np.any(beyond):
        wanted = f"must be at most {flows[-1]:.10g}, the last point of the curve"
        raise InputError("flow", first_where(q, beyond), wanted, "m³/s")
    return same_kind(coefficient)


def curve_coefficient_kernel(
    flow: Numbers, curve_flows: Numbers, curve_coefficients: Numbers
) -> tuple[Numbers, Numbers, Numbers]:
    """Flow coefficient [m³/s per √Pa], its slope with flow [1/√Pa] and whether the flow is beyond the curve, unchecked.

    Parameters
    ----------
    flow : float or array
        Flow. [m³/s]
    curve_flows, curve_coefficients : array
        Points from `checked_valve_curve`.

    Returns
    -------
    tuple of array
        Coefficient, held beyond both ends; slope; flag above the last point.

    Notes
    -----
    Source and error as in `curve_coefficient`.

    >>> [float(x) for x in curve_coefficient_kernel(5e-3, np.array([1e-3, 2e-3]), np.array([1e-5, 2e-5]))]
    [2e-05, 0.0, 1.0]
    """
    coefficient = np.interp(flow, curve_flows, curve_coefficients)
    beyond = np.greater(flow, curve_flows[-1])
    if len(curve_flows) == 1:
        return coefficient, np.zeros_like(coefficient), beyond
    lines = np.diff(curve_coefficients) / np.diff(curve_flows)
    place = np.clip(np.searchsorted(curve_flows, flow, side="right") - 1, 0, len(lines) - 1)
    inside = np.greater_equal(flow, curve_flows[0]) & ~beyond
    return coefficient, np.where(inside, lines[place], 0.0), beyond


def checked_valve_curve(curve_flows: Sequence[float], curve_losses: Sequence[float]) -> tuple[Numbers, Numbers]:
    """Points of a valve's curve as flows and coefficients, or the sentence that says what is wrong with them.

    Parameters
    ----------
    curve_flows : sequence of float
        Flows of the points, rising; a first point at no flow and no loss says nothing and is left out. [m³/s]
    curve_losses : sequence of float
        Pressure loss at each. [Pa]

    Returns
    -------
    tuple of array
        Flows [m³/s] and C = q/√Δp [m³/s per √Pa].

    Notes
    -----
    A loss that falls while the flow rises is a misreading and is refused [worked here].

    >>> checked_valve_curve([0, 1e-3], [0, 1e4])[1].tolist()
    [1e-05]
    """
    flows = np.atleast_1d(number("curve_flows", list(curve_flows), "m³/s", at_least=0.0))
    losses = np.atleast_1d(number("curve_losses", list(curve_losses), "Pa", at_least=0.0))
    if len(flows) == len(losses) and len(flows) > 0 and flows[0] == 0 and losses[0] == 0:
        flows, losses = flows[1:], losses[1:]
    if len(flows) != len(losses) or len(flows) == 0:
        text = f"{len(flows)} flows, {len(losses)} losses"
        raise InputError("curve_flows", text, "one point or more is needed, each with a flow and a loss")
    number("curve_flows", flows, "m³/s", above=0.0)
    number("curve_losses", losses, "Pa", above=0.0)
    if np.any(falls := np.diff(flows) <= 0):
        raise InputError("curve_flows", first_where(flows[1:], falls), "flows must rise from point to point", "m³/s")
    if np.any(falls := np.diff(losses) < 0):
        raise InputError("curve_losses", first_where(losses[1:], falls), "must not fall while the flow rises", "Pa")
    return flows, flows / np.sqrt(losses)


def _low_side_root(S: Numbers, a: Numbers, b: Numbers, gap: Numbers, start: Numbers | None) -> Numbers:
    """Root k = √(p_low − pm) of k − S·Y − S·X·k/√(k² + Δ) = 0, by Halley's steps from k = S or from a part of it.

    The expression is convex and has no root below S·Y, where a step too long is cut short. A row that is not settled
    after the usual steps begins again at k = S, from where shares and flows over twelve decades settle within twenty
    steps, and stands still once it has: its digits do not depend on the rows solved with it.
    """
    k = S if start is None else S * start
    step: Numbers = k
    for _ in range(USUAL_STEPS - (start is not None)):
        k, step = _halley(k, a, b, gap)
    stands = np.abs(step) <= SETTLED * k
    if np.all(stands):
        return k
    moves = ~stands & np.isfinite(a + gap)
    k = np.where(moves, S, k)
    for _ in range(LARGEST_STEPS):
        new, step = _halley(k, a, b, gap)
        k = np.asarray(np.where(moves & np.isfinite(new), new, k))
        moves = moves & (np.abs(step) > SETTLED * k)
        if not np.any(moves):
            break
    return k


def _halley(k: Numbers, a: Numbers, b: Numbers, gap: Numbers) -> tuple[Numbers, Numbers]:
    """One step towards the root of k − b − a·k/√(k² + Δ), and how long it was before it was cut short at b."""
    over = 1.0 / (k * k + gap)
    part = a * np.sqrt(over)
    bend = part * gap * over  # the slope is 1 less this
    slope = 1 - bend
    step = (k * (1 - part) - b) / slope
    step = step / (1 - step * (1.5 * bend * k * over / slope))  # half the second derivative over the first
    return np.maximum(k - step, b), step


def _two_seats(
    flow: Numbers, hot_fraction: Numbers, hot_pressure: Numbers, cold_pressure: Numbers, coefficient: Numbers
) -> tuple[Numbers, Numbers, Numbers, Numbers, Numbers]:
    q = number("flow", flow, "m³/s", at_least=0.0)
    x = number("hot_fraction", hot_fraction, at_least=0.0, at_most=1.0)
    ph, pc = number("hot_pressure", hot_pressure, "Pa"), number("cold_pressure", cold_pressure, "Pa")
    return two_seats_kernel(q, x, ph, pc, number("coefficient", coefficient, "m³/s per √Pa", above=0.0))
