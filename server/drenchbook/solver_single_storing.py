"""Puts what was solved for single stations in its place: each case as it was evaluated last."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE
from drenchbook.operating_cases import HOT_LOST, NORMAL, SOURCE_COLD
from drenchbook.solver_flows import WHOLE, square_law
from drenchbook.solver_paths import span
from drenchbook.solver_residuals import RESIDUAL_FLOW, RESIDUAL_PRESSURE, outlet_residuals, split_residual
from drenchbook.solver_results import (
    BEYOND_CURVE,
    CANNOT_REACH,
    NOT_CONVERGED,
    SOLVED,
    FaultResults,
)
from drenchbook.solver_single import part_flows, sides
from drenchbook.solver_single_paths import COLD, COMMON, HOT, TEMPERED
from drenchbook.solver_single_roots import Found
from drenchbook.solver_single_ways import HOT_WATER, Station, Ways

Numbers: TypeAlias = np.ndarray[Any, Any]


def store_single(ways: Ways, out: FaultResults, openings: Numbers, station: Station, found: Found, reached: Numbers
                 ) -> None:  # fmt: skip
    """Everything that results hold of a block of openings, from what was found at their roots."""
    flow = found["flow"]
    whole = flow[:, 0] if flow.shape[1] == 1 else flow.sum(axis=1)
    share = _told_share(station, whole, found["share"])
    if station.behind and station.fault == SOURCE_COLD:
        found = found | _wide_open(station, whole, share)
    gets = found["given"][:, None] - station.above
    miss, off = _residuals(station, flow, gets, whole, share, found)
    beyond, beyond_valve = _beyond(station, whole, share)
    left = (beyond != NONE) | beyond_valve
    good = (miss <= RESIDUAL_PRESSURE) & (off <= RESIDUAL_FLOW)
    state = np.where(left, BEYOND_CURVE, SOLVED)
    state = np.where(reached, np.where(good, state, NOT_CONVERGED), CANNOT_REACH)
    solved = None if not (state != SOLVED).any() else state == SOLVED
    at = span(openings)
    out.state[:, at] = state
    out.residual_pressure[:, at] = _where(None if solved is None else reached, miss)
    out.residual_flow[:, at] = _where(None if solved is None else reached, off)
    if left.any():
        out.beyond_item[:, at] = np.where(left & reached & good, _items(station, beyond, whole, share), NONE)
    for place in range(flow.shape[1]):
        there = station.rated_flow[place] > 0
        one, gives = _where(solved, flow[:, place]), _where(solved, gets[:, place])
        if not there.all():
            one, gives = one[:, there], gives[:, there]
        pair = span(ways.cases.outlets.offsets[openings][there] + place)
        out.outlet_flow[:, pair], out.outlet_pressure[:, pair] = one, gives
    number, feeder, row = ways.rows(openings)
    mass_per_cold = None
    if station.behind:
        mass_per_cold = ways.water["valve_density"].take(feeder, axis=1) / ways.cold_density
        _store_valves(ways, out, openings, station, found, whole, share, solved, beyond_valve, feeder)
    _store_stations(ways, out, openings, station, whole, share, solved, feeder, row)
    _store_supplies(ways, out, openings, number, whole, share, solved, mass_per_cold)


def _told_share(station: Station, flow: Numbers, share: Numbers) -> Numbers:
    """The hot share: that of the temperatures, or where the split was found as near to none or all as rounding lets."""
    if not station.behind or station.fault != SOURCE_COLD:
        return station.share
    share = np.where(flow > 0, share, 0.0)
    share = np.where(share > 1 - WHOLE, 1.0, np.where(share < WHOLE, 0.0, share))
    return np.where(station.fitted, share, 1.0)


def _wide_open(station: Station, flow: Numbers, share: Numbers) -> Found:
    """The hot seat fully open beside the bypass; what is told is the pressure behind a way that passes water."""
    behind_hot, behind_bypass, _, _, loss, _ = sides(station, flow, share, station.curves.loss)
    hot_flow = share * flow
    seat, _ = square_law(station.curves, station.coefficient, station.coefficient_curve, hot_flow)
    hot = station.hot_static - loss[:, COMMON] - loss[:, HOT]
    fitted = np.broadcast_to(station.fitted, flow.shape)
    idle = (flow <= 0) & (behind_bypass > behind_hot)
    pressure = np.where(fitted & (((1 - share) * flow > 0) | idle), behind_bypass, behind_hot)
    return {
        "given": pressure - loss[:, TEMPERED] - station.lowest, "hot": hot,
        "cold": station.cold_static - loss[:, COMMON] - loss[:, COLD], "chamber": hot - seat, "behind": pressure,
        # pressure behind the bypass less that behind the hot seat, where both are open
        "imbalance": np.where(fitted, behind_bypass - behind_hot, 0.0)}  # fmt: skip


def _residuals(station: Station, flow: Numbers, gets: Numbers, whole: Numbers, share: Numbers, found: Found
               ) -> tuple[Numbers, Numbers]:  # fmt: skip
    """Largest pressure and flow by which an outlet's law and the path disagree [S, B]."""
    miss, off = outlet_residuals(flow, gets, station.rated_flow, station.rated_pressure, station.regulated,
                                 station.rated_flow > 0)  # fmt: skip
    pressure = miss.max(axis=1)
    if "imbalance" in found:
        gap = split_residual(found["imbalance"], share)
        pressure = np.maximum(pressure, np.where(whole > 0, gap, 0.0))
    return pressure, off.max(axis=1)


def _seat_flows(station: Station, flow: Numbers, share: Numbers) -> list[tuple[Numbers, Numbers]]:
    """Curves [B] of the ways through the valve, and the flows [S, B] they pass."""
    seat, bypass = station.coefficient_curve, station.bypass_curve
    if station.fault == HOT_LOST:
        return [(bypass, flow)]
    return [(seat, flow)] if station.fault == NORMAL else [(seat, share * flow), (bypass, (1 - share) * flow)]


def _beyond(station: Station, flow: Numbers, share: Numbers) -> tuple[Numbers, Numbers]:
    """The first curve of the pipes that was left [S, B], NONE where none was; and whether one of the valve was."""
    elements, count = station.paths.elements, flow.shape[1]
    first = np.full(flow.shape, NONE)
    if len(elements.group):
        flows = part_flows(flow, share) if station.fault == SOURCE_COLD and station.behind else flow[:, None]
        over = station.paths.of(flows, elements.group) * elements.factor > station.curves.loss.last_flow[elements.curve]
        if over.any():
            state, element = np.nonzero(over[:, ::-1])  # the first of several is written last
            element = len(elements.group) - 1 - element
            first[state, elements.group[element] % count] = elements.curve[state, element]
    of_valve = np.zeros(flow.shape, dtype=bool)
    if station.behind:
        for curve, passed in _seat_flows(station, flow, share):
            if (curve != NONE).any():
                of_valve |= passed > np.append(station.curves.coefficient.last_flow, np.inf)[curve]
    return first, of_valve


def _items(station: Station, beyond: Numbers, flow: Numbers, share: Numbers) -> Numbers:
    """The curve that was left: of the pipes, or else of the valve."""
    found = beyond
    if station.behind:
        for curve, passed in _seat_flows(station, flow, share):
            over = passed > np.append(station.curves.coefficient.last_flow, np.inf)[curve]
            found = np.where((found == NONE) & over, curve, found)
    return found


def _store_valves(ways: Ways, out: FaultResults, openings: Numbers, station: Station, found: Found, flow: Numbers,
                  share: Numbers, solved: Numbers | None, beyond: Numbers, feeder: Numbers) -> None:  # fmt: skip
    network, water, to, normal = ways.network, ways.water, out.valve, station.fault == NORMAL
    pair = span(ways.cases.valves.offsets[openings])
    valve = network.station_valve[ways.cases.stations.member[ways.cases.stations.offsets[openings]]]
    with np.errstate(invalid="ignore"):
        control = network.controls(valve, flow + network.valve_loop_flow[valve])
    control = control & normal if solved is None else control & normal & solved
    mass = flow * water["valve_density"].take(feeder, axis=1)
    hot_mass = share * mass
    hot_flow = hot_mass / water["hot_density"].take(feeder, axis=1)
    mixed = water["mixed_temperature"].take(feeder, axis=1)
    numbers = {
        "flow": flow, "hot_fraction": water["share_asked"].take(feeder, axis=1) if normal else share,
        "hot_flow": hot_flow, "cold_flow": (mass - hot_mass) / ways.cold_density,
        "hot_pressure": found.get("hot"), "cold_pressure": found["cold"], "chamber_pressure": found["chamber"],
        "outlet_pressure": found["behind"], "stem": found.get("stem"),
        "mixed_temperature": np.where(control, mixed, np.nan) if normal else mixed,
    }  # fmt: skip
    for name, value in numbers.items():
        if value is not None:
            getattr(to, name)[:, pair] = _where(solved, value)
    to.under_control[:, pair] = control
    to.reach[:, pair] = water["reach"].take(feeder, axis=1)
    to.beyond_model[:, pair] = beyond
    source = network.valve_source[valve]
    if (known := source != NONE).all():
        out.source_hot_flow[:, span(ways.cases.sources.offsets[openings])] = _where(solved, hot_flow)
    else:
        at = ways.cases.sources.offsets[openings][known]
        out.source_hot_flow[:, at] = _where(solved, hot_flow)[:, known]


def _store_stations(ways: Ways, out: FaultResults, openings: Numbers, station: Station, flow: Numbers, share: Numbers,
                    solved: Numbers | None, feeder: Numbers, row: Numbers) -> None:  # fmt: skip
    to, pair = out.station, span(ways.cases.stations.offsets[openings])
    if station.behind:
        volume = ways.purge[row]
        with np.errstate(divide="ignore", invalid="ignore"):
            seconds = volume / flow
        if not volume.all():
            seconds = np.where(volume > 0, seconds, 0.0)
        to.purge_seconds[:, pair] = _where(solved, seconds)
    speeds = ways.speeds_of(feeder, row)
    parts = (COLD, COMMON, HOT, TEMPERED)  # of equal velocities the first is told
    if station.fault == SOURCE_COLD and station.behind:
        flows = part_flows(flow, share)
        fast = [speeds.most[:, part] * flows[:, part] for part in parts]
        hot = speeds.most[:, HOT_WATER] * flows[:, HOT]
    else:
        fast, hot = [speeds.most[:, part] for part in parts], speeds.most[:, HOT_WATER] * flow
    most, run = fast[0], np.broadcast_to(speeds.run[parts[0]], flow.shape)
    for part, one in zip(parts[1:], fast[1:], strict=True):
        faster = one > most
        most, run = np.where(faster, one, most), np.where(faster, speeds.run[part], run)
    if not (station.fault == SOURCE_COLD and station.behind):
        most = most * flow
    for name, speed, which in (("velocity_cold", most, run),
                               ("velocity_hot", hot, np.broadcast_to(speeds.run[HOT_WATER], flow.shape))):  # fmt: skip
        some = which != NONE
        some = None if some.all() and solved is None else some if solved is None else some & solved
        getattr(to, name)[:, pair] = _where(some, speed)
        getattr(to, f"{name}_run")[:, pair] = which if some is None else np.where(some, which, NONE)


def _store_supplies(ways: Ways, out: FaultResults, openings: Numbers, number: Numbers, flow: Numbers, share: Numbers,
                    solved: Numbers | None, mass_per_cold: Numbers | None) -> None:  # fmt: skip
    """Flow drawn from each supply: that of the cold inlet, of the hot one, or of both."""
    network, pairs = ways.network, ways.cases.supplies
    if mass_per_cold is None:
        parts = [(network.node_supply[network.station_node[number]], flow)]
    else:
        valve, whole = network.station_valve[number], flow * mass_per_cold
        parts = [(network.node_supply[network.valve_cold_node[valve]], (1 - share) * whole),
                 (network.node_supply[network.valve_hot_node[valve]], share * whole)]  # fmt: skip
    counts = pairs.counts[openings]
    for place in range(int(counts.max(initial=0))):
        has = counts > place
        at = (pairs.offsets[openings] + place)[has]
        total = sum(np.where(supply[has] == pairs.member[at], part[:, has], 0.0) for supply, part in parts)
        out.supply_flow[:, span(at)] = _where(None if solved is None else solved[:, has], np.asarray(total))


def _where(told: Numbers | None, value: Numbers) -> Numbers:
    """The numbers where they are told, not-a-number elsewhere."""
    return value if told is None else np.where(told, value, np.nan)
