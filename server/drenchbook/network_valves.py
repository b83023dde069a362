"""The mixing valves of a site in SI: what each lets through, alone or with a larger valve in parallel."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import FLOW_COLUMNS, NONE, ValveFlow
from drenchbook.network_cells import Cells, CurveList
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import MIXING_VALVES, VALVE_MODELS

Numbers: TypeAlias = np.ndarray[Any, Any]
Curve: TypeAlias = tuple[Numbers, Numbers]  # flows [m³/s] and coefficients [m³/s per √Pa]

ENDLESS = 1e6  # [m³/s] last flow of a curve that comes from coefficients alone
FINER = 16  # points between two neighbours where curves are added: the sum runs straight to some 1e-4
TYPICAL = 1e-3  # [m³/s] flow at which two valves are compared
NO_VALVE = ValveFlow(np.nan, NONE, np.nan, np.nan)


class MixingValves:
    """Every valve in the order of its table."""

    def __init__(self, site: Site, curves: CurveList):
        self.site, self.curves = site, curves
        self.models = {tag_key(row.model): row for row in site.valve_models}
        self.missing: list[tuple[str, ...]] = []
        self.read: dict[str, int] = {}
        self._arrays = self._rows()

    def arrays(self) -> dict[str, Any]:
        """The fields of `Network` that tell of valves, but for their nodes."""
        return self._arrays

    @property
    def elevation(self) -> Numbers:
        """Elevation of each valve. [m]"""
        return np.asarray(self._arrays["valve_elevation"])

    def _rows(self) -> dict[str, Any]:
        n = len(self.site.mixing_valves)
        numbers = {
            key: np.full(n, np.nan) for key in ("elevation", "set", "bypass_coefficient", "leakage", "loop_flow")
        }
        bypass_curve, fitted, second = np.full(n, NONE), np.zeros(n, dtype=bool), np.zeros(n, dtype=bool)
        fault_missing: list[tuple[str, ...]] = []
        given, alone = [], []
        for i, row in enumerate(self.site.mixing_valves):
            cells = Cells(self.site, MIXING_VALVES, row)
            numbers["elevation"][i] = cells.number("elevation")
            numbers["set"][i] = cells.temperature("set_temperature")
            name = cells.value("model")
            model = Cells(self.site, VALVE_MODELS, self.models[tag_key(name)]) if name is not None else None
            faults = Cells(self.site, MIXING_VALVES, cells.row)
            fitted[i] = bool(faults.value("parallel_bypass"))
            flow = (NO_VALVE, NO_VALVE) if model is None else self.passage(cells, model)
            given.append(flow[0])
            alone.append(flow[1])
            second[i] = flow[0] is not flow[1]
            numbers["loop_flow"][i] = self.loop_flow(cells.row)
            if model is not None:
                leakage = [Cells(self.site, VALVE_MODELS, row).number("leakage") for row in self.models_of(cells)]
                numbers["leakage"][i] = sum(leakage)
                if fitted[i]:
                    bypass_curve[i], numbers["bypass_coefficient"][i] = self.bypass(model, faults)
            fault_missing.append(tuple(faults.missing))
            self.missing.append(tuple(cells.missing))
        columns = {name: np.array([getattr(one, name) for one in given], dtype=int if name == "curve" else float)
                   for name in FLOW_COLUMNS}  # fmt: skip
        return {"valve_tags": tuple(str(row.tag) for row in self.site.mixing_valves),
                "valve_bypass_curve": bypass_curve, "valve_has_bypass": fitted, "valve_has_second": second,
                "valve_loop_needs_power": np.array([
                    bool(tag_key(row.loop_return_run)) and row.loop_pump_needs_power is not False
                    for row in self.site.mixing_valves], dtype=bool),
                "valve_alone": tuple(alone), "valve_fault_missing": tuple(fault_missing),
                **{f"valve_{key}": value for key, value in {**numbers, **columns}.items()}}  # fmt: skip

    def loop_flow(self, row: Any) -> float:
        """Loop flow that passes a valve beside what is drawn: only where the return is said to enter its cold inlet."""
        flow = Cells(self.site, MIXING_VALVES, row).number("loop_flow", optional=True)
        returns = row.loop_returns_to_cold_inlet is True and bool(tag_key(row.loop_return_run))
        return flow if returns and flow > 0 else 0.0

    def models_of(self, cells: Cells) -> list[Any]:
        """The data sheets of a valve and of the larger one beside it."""
        names = [cells.row.model, cells.row.second_model]
        return [self.models[tag_key(name)] for name in names if tag_key(name) in self.models]

    def passage(self, cells: Cells, model: Cells) -> tuple[ValveFlow, ValveFlow]:
        """What the valve lets through, with the larger one beside it where there is one, and the smaller one alone."""
        own = valve_flow(model, self.curves.new, self.read)
        cells.missing += model.missing
        name = cells.value("second_model", optional=True)
        if name is None:
            if cells.has("second_opens_at"):
                cells.say("second_model", "is blank, but a pressure at which it opens is typed: name it, or clear that")
            return own, own
        other = Cells(self.site, VALVE_MODELS, self.models[tag_key(name)])
        large, opens_at = valve_flow(other, self.curves.new, self.read), cells.positive("second_opens_at")
        cells.missing += other.missing
        if cells.missing or np.isnan(opens_at):
            return own, large
        key = f"{tag_key(model.row.model)} + {tag_key(name)} at {opens_at}"
        if key not in self.read:
            both = in_parallel(curve_of(own, self.curves.points), curve_of(large, self.curves.points), opens_at)
            self.read[key] = self.curves.new(f"{model.row.model} with {other.row.model}", both)
        if self.read[key] == NONE:
            cells.say("second_opens_at", "lies beyond the points of a model's curve")
        together = ValveFlow(np.nan, self.read[key], 0.0, own.minimum_flow,
                             *changeover([curve_of(one, self.curves.points) for one in (own, large)], opens_at,
                                         large.minimum_flow, [greatest(model), greatest(other)]))  # fmt: skip
        return together, smaller(own, large, self.curves.points)

    def bypass(self, model: Cells, faults: Cells) -> tuple[int, float]:
        """Curve or coefficient of the bypass; only the fault cases need them."""
        bypass, coefficient = Cells(self.site, VALVE_MODELS, model.row), np.nan
        key, curve = f"bypass {tag_key(model.row.model)}", NONE
        if bypass.has("bypass_curve"):
            if key not in self.read:
                points = bypass.curve("bypass_curve", valve=True)
                self.read[key] = self.curves.new(f"{model.row.model}, bypass", points)
            curve = self.read[key]
        else:
            coefficient = bypass.positive("bypass_coefficient")
        faults.missing += bypass.missing
        return curve, coefficient


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
    >>> one[0][:2].round(6).tolist(), one[1].round(9).tolist()
    ([0.001, 0.004], [1e-05, 4e-05, 4e-05])
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


def greatest(model: Cells) -> float:
    """Greatest flow of a data sheet; a check says where it is missing. [m³/s]"""
    return Cells(model.site, model.table, model.row).number("maximum_flow")


def changeover(pair: list[Curve], opens_at: float, large_minimum: float, most: list[float]) -> tuple[float, ...]:
    """Where two valves in parallel change over, and the flow at which one of them leaves its data.

    Parameters
    ----------
    pair : list of curve
        Of the small and of the large valve: flows and coefficients. [m³/s, m³/s per √Pa]
    opens_at : float
        Pressure difference at which the large one begins to pass. [Pa]
    large_minimum : float
        Minimum flow under control of the large one. [m³/s]
    most : list of float
        Greatest flow of the small and of the large one. [m³/s]

    Returns
    -------
    tuple of float
        Flow of both from which the large one passes, flow from which it controls, greatest flow of both. [m³/s]

    Notes
    -----
    While the large one opens the small one keeps what it passes at that difference; then both stand at one difference
    [worked here]. A minimum flow that is not given is never reached.

    >>> pair = [(np.array([1e6]), np.array([1e-5])), (np.array([1e6]), np.array([3e-5]))]
    >>> changeover(pair, 1e4, 5e-4, [1.5e-3, 6e-3])
    (0.001, 0.0015, 0.006)
    >>> changeover(pair, 1e4, 6e-3, [1.5e-3, 6e-3])[1]  # not before the small one passes 0.002
    0.008
    """
    small = float(flow_at(pair[0], np.array(opens_at)))

    def both(own: Curve, other: Curve, flow: float, alone: float) -> float:
        """What both pass while `own` passes a flow; `alone` while it opens."""
        loss = (flow / float(np.interp(flow, *own))) ** 2
        return flow + (float(flow_at(other, np.array(loss))) if loss > opens_at else alone)

    control = np.inf if np.isnan(large_minimum) else both(pair[1], pair[0], large_minimum, small)
    ends = both(pair[0], pair[1], most[0], 0.0), both(pair[1], pair[0], most[1], small)
    return small, control, float(min(ends))


def smaller(one: ValveFlow, other: ValveFlow, curves: list[Curve]) -> ValveFlow:
    """The valve that passes less at the same difference."""
    whole = [float(np.interp(TYPICAL, *curve_of(valve, curves))) for valve in (one, other)]
    return one if whole[0] <= whole[1] else other
