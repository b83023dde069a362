"""What the data sheet of a mixing valve lets through, alone or with a larger valve in parallel."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, ValveFlow
from drenchbook.network_cells import Cells
from drenchbook.site_model import tag_key

Numbers: TypeAlias = np.ndarray[Any, Any]
Curve: TypeAlias = tuple[Numbers, Numbers]  # flows [m³/s] and coefficients [m³/s per √Pa]

ENDLESS = 1e6  # [m³/s] last flow of a curve that comes from coefficients alone
FINER = 16  # points between two neighbours where curves are added: the sum runs straight to some 1e-4
TYPICAL = 1e-3  # [m³/s] flow at which two valves are compared


def valve_flow(model: Cells, new_curve: Callable[[str, Curve | None], int], read: dict[str, int]) -> ValveFlow:
    """Flow data of one model; a curve includes the outlet passage. Sentences stay in `model`."""
    coefficient, curve, outlet = np.nan, NONE, 0.0
    if model.has("seat_curve"):
        key = tag_key(model.row.model)
        if key not in read:
            read[key] = new_curve(str(model.row.model), model.curve("seat_curve", valve=True))
        curve = read[key]
        if curve == NONE and not model.missing:
            model.say("seat_curve", "cannot be used")
    else:
        coefficient = model.positive("seat_coefficient")
        if model.has("outlet_coefficient"):
            outlet = model.positive("outlet_coefficient") ** -2.0
    minimum = Cells(model.site, model.table, model.row)  # a check says so; hydraulics do not need it
    return ValveFlow(coefficient, curve, outlet, minimum.number("minimum_flow"))


def curve_of(valve: ValveFlow, curves: list[Curve]) -> Curve:
    """The valve's coefficient with its outlet passage as a curve; one point where it does not change."""
    if valve.curve != NONE:
        return curves[valve.curve]
    whole = (valve.coefficient**-2.0 + valve.outlet_square) ** -0.5
    return np.array([ENDLESS]), np.array([whole])


def flow_at(curve: Curve, loss: Numbers) -> Numbers:
    """Flow at a loss with equal inlets.

    Parameters
    ----------
    curve : tuple of array
        Flows and coefficients of a valve. [m³/s, m³/s per √Pa]
    loss : array
        Pressure loss. [Pa]

    Returns
    -------
    array
        Flow, at most that of the last point. [m³/s]

    Notes
    -----
    The coefficient runs straight, so that q/√Δp = a + b·q gives q = a·√Δp/(1 − b·√Δp) on each line [worked here].

    >>> flow_at((np.array([1.0]), np.array([2e-5])), np.array([1e4])).round(6).tolist()
    [0.002]
    """
    flows, coefficients = curve
    roots = np.sqrt(loss)
    knots = flows / coefficients  # rising: losses rise with flow
    flow = np.where(roots <= knots[0], coefficients[0] * roots, flows[-1])
    for i in range(len(flows) - 1):
        b = (coefficients[i + 1] - coefficients[i]) / (flows[i + 1] - flows[i])
        a = coefficients[i] - b * flows[i]
        inside = (roots > knots[i]) & (roots <= knots[i + 1])
        flow = np.where(inside, a * roots / np.where(inside, 1 - b * roots, 1.0), flow)
    return np.asarray(flow)


def in_parallel(first: Curve, second: Curve, opens_at: float) -> Curve | None:
    """Coefficient of a small valve with a large one that opens at a pressure difference; None where data ends before.

    Parameters
    ----------
    first, second : tuple of array
        Flows and coefficients of the small and of the large valve, outlet passages included. [m³/s, m³/s per √Pa]
    opens_at : float
        Pressure difference at which the large one begins to pass. [Pa]

    Returns
    -------
    tuple of array or None
        Flows and coefficients of both together. [m³/s, m³/s per √Pa]

    Notes
    -----
    The small valve alone up to that difference; then the difference stays while the large one opens (C = q/√Δp,
    straight in q); then both at the same difference [worked here]. Where a curve stands, both are added at its points
    and at points between them.

    >>> one = in_parallel((np.array([1e6]), np.array([1e-5])), (np.array([1e6]), np.array([3e-5])), 1e4)
    >>> one[0].round(6).tolist(), one[1].round(9).tolist()
    ([0.001, 0.004, 1000000.0], [1e-05, 4e-05, 4e-05])
    """
    ends = [(curve[0] / curve[1]) ** 2 for curve in (first, second)]
    last = min(float(end[-1]) for end in ends)
    if last < opens_at:
        return None
    small = flow_at(first, np.array([opens_at]))[0]
    below = first[0] < small
    flows, losses = [*first[0][below], small], [*ends[0][below], opens_at]
    marks = np.unique([opens_at, *(float(p) for end in ends for p in end if opens_at < p < last), last])
    if last > (ENDLESS / max(first[1][0], second[1][0]) / 2) ** 2:  # coefficients alone
        marks = np.array([opens_at, last])
        steps = marks
    else:
        steps = np.unique([np.geomspace(a, b, FINER + 1) for a, b in pairwise(marks)] or marks)
    total = flow_at(first, steps) + flow_at(second, steps)
    total_flows, total_losses = np.array([*flows, *total]), np.array([*losses, *steps])
    return total_flows, total_flows / np.sqrt(total_losses)


def smaller(one: ValveFlow, other: ValveFlow, curves: list[Curve]) -> ValveFlow:
    """The valve that passes less at the same difference."""
    whole = [float(np.interp(TYPICAL, *curve_of(valve, curves))) for valve in (one, other)]
    return one if whole[0] <= whole[1] else other
