"""Puts what was solved in its place: one last walk of the paths, its residuals, and the numbers of every pair."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, Network
from drenchbook.operating_cases import HOT_LOST, NORMAL, STATES, Cases, Pairs
from drenchbook.physics.water import density_kernel
from drenchbook.solver_blocks import SEASON_OF_STATE, Block
from drenchbook.solver_flows import Flows, flows
from drenchbook.solver_paths import Curves
from drenchbook.solver_residuals import RESIDUAL_FLOW, RESIDUAL_PRESSURE, outlet_residuals, split_residual
from drenchbook.solver_results import (
    BEYOND_CURVE,
    CANNOT_REACH,
    NOT_CONVERGED,
    SOLVED,
    FaultResults,
    StationResults,
    ValveResults,
)

Numbers: TypeAlias = np.ndarray[Any, Any]


def blank_results(cases: Cases, fault: str, solved: bool = True) -> FaultResults:
    """Results of one fault without any number yet; where nothing is solved, most are one blank number seen often."""
    states = len(STATES)

    def filled(count: int, fill: Any, kind: Any = float) -> Numbers:
        return np.full((states, count), fill, dtype=kind)

    def numbers(pairs: Pairs) -> Numbers:
        return filled(len(pairs.member), np.nan)

    def seldom(pairs: Pairs, fill: Any = np.nan, kind: Any = float) -> Numbers:
        if solved:
            return filled(len(pairs.member), fill, kind)
        return np.broadcast_to(np.array(fill, dtype=kind), (states, len(pairs.member)))

    valve = {name: numbers(cases.valves) if name in _OF_DATA else seldom(cases.valves) for name in _VALVE_NUMBERS}
    return FaultResults(
        fault=fault, state=filled(len(cases), SOLVED, np.int8), residual_pressure=filled(len(cases), np.nan),
        residual_flow=filled(len(cases), np.nan), beyond_item=filled(len(cases), NONE, np.int32),
        outlet_flow=numbers(cases.outlets), outlet_pressure=seldom(cases.outlets),
        valve=ValveResults(**valve, under_control=seldom(cases.valves, False, bool),
                           beyond_model=seldom(cases.valves, False, bool), reach=seldom(cases.valves, 0, np.int8)),
        station=StationResults(
            purge_seconds=seldom(cases.stations), velocity_cold=seldom(cases.stations),
            velocity_cold_run=seldom(cases.stations, NONE, np.int32), velocity_hot=seldom(cases.stations),
            velocity_hot_run=seldom(cases.stations, NONE, np.int32)),
        supply_flow=seldom(cases.supplies), supply_beyond_test=seldom(cases.supplies, False, bool),
        source_hot_flow=seldom(cases.sources),
    )  # fmt: skip


_VALVE_NUMBERS = ("flow", "hot_fraction", "hot_flow", "cold_flow", "hot_pressure", "cold_pressure", "chamber_pressure",
                  "outlet_pressure", "stem", "mixed_temperature")  # fmt: skip
_OF_DATA = frozenset(("flow", "hot_flow", "cold_flow"))  # what a valve's data sheet gives


def store(network: Network, curves: Curves, cases: Cases, out: FaultResults, block: Block, flow: Numbers,
           hot: Numbers, reached: Numbers) -> None:  # fmt: skip
    """Walk the paths once more at the flows found, and put everything in its place."""
    now = flows(block, curves, curves.loss, flow, hot, with_slopes=False)
    residual_pressure, residual_flow = _residuals(block, now)
    beyond = _beyond(curves, block, now)
    good = (residual_pressure <= RESIDUAL_PRESSURE) & (residual_flow <= RESIDUAL_FLOW)
    left = (beyond > 0).any(axis=2)
    state = np.where(left, BEYOND_CURVE, SOLVED)
    state = np.where(good, state, NOT_CONVERGED)
    state = np.where(reached, state, CANNOT_REACH)
    at = block.opening
    out.state[:, at] = state
    solved = (state == SOLVED)[..., None]
    out.residual_pressure[:, at] = np.where(reached, residual_pressure, np.nan)
    out.residual_flow[:, at] = np.where(reached, residual_flow, np.nan)
    _store_outlets(out, block, now, solved)
    _store_valves(network, cases, out, block, now, solved, beyond, curves)
    _store_stations(network, cases, out, block, now, solved)
    _store_feeds(network, cases, out, block, now, solved)
    if left.any():
        out.beyond_item[:, at] = np.where(left & reached & good, _items(beyond), NONE)


def _residuals(block: Block, now: Flows) -> tuple[Numbers, Numbers]:
    """Largest pressure and flow by which an outlet's law and the network disagree [S, B]."""
    miss, off = outlet_residuals(now.outlet_flow, now.outlet_pressure, block.rated_flow, block.rated_pressure,
                                 block.regulated, block.outlet_pair != NONE)  # fmt: skip
    gap = np.where(now.valve_flow > 0, split_residual(now.imbalance, now.hot_share), 0.0)
    return np.maximum(miss.max(axis=2), gap.max(axis=2, initial=0.0)), off.max(axis=2)


def _beyond(curves: Curves, block: Block, now: Flows) -> Numbers:
    """Whether a curve was left, for each curve on the way [S, B, curves of the opening]: elements, then valves."""
    found = []
    for paths, flow in ((block.supply_paths, now.supply_stretch_flow),
                        (block.tempered_paths, now.tempered_stretch_flow)):  # fmt: skip
        states = len(flow)
        out = np.full((states, len(block), 1), NONE)
        if len(paths.element):
            over = flow.reshape(states, -1)[:, paths.element] > curves.loss.last_flow[paths.element_curve]
            opening = paths.element // paths.power.shape[1]
            state, element = np.nonzero(over)
            out[state, opening[element], 0] = paths.element_curve[state, element]
        found.append(out)
    mixes = block.fault == HOT_LOST or block.fault == NORMAL
    share = np.where(mixes | ~block.cold_source, 1.0, now.hot_share)
    seat = (block.coefficient_curve, share * now.valve_flow)
    bypass = (block.bypass_curve, (1 - share if block.fault != HOT_LOST else share) * now.valve_flow)
    for curve, flow in {NORMAL: (seat,), HOT_LOST: (bypass,)}.get(block.fault, (seat, bypass)):
        last = np.append(curves.coefficient.last_flow, np.inf)[curve]
        found.append(np.where(flow > last, curve, NONE))
    joined = np.concatenate(found, axis=2)
    return np.asarray(joined + 1)  # 0: not left


def _items(beyond: Numbers) -> Numbers:
    first = (beyond > 0).argmax(axis=2)
    return np.take_along_axis(beyond, first[..., None], axis=2)[..., 0] - 1


def _store_outlets(out: FaultResults, block: Block, now: Flows, solved: Numbers) -> None:
    there = block.outlet_pair != NONE
    pair = block.outlet_pair[there]
    for name in ("outlet_flow", "outlet_pressure"):
        getattr(out, name)[:, pair] = np.where(solved, getattr(now, name), np.nan)[:, there]


def _store_valves(network: Network, cases: Cases, out: FaultResults, block: Block, now: Flows, solved: Numbers,
                  beyond: Numbers, curves: Curves) -> None:  # fmt: skip
    v = block.shape.valves
    pair = cases.valves.offsets[block.opening][:, None] + np.arange(v)
    lost = block.fault == HOT_LOST
    normal = ~block.cold_source & (not lost)  # [B, valves] mixes as in normal use
    blank = np.full(now.valve_flow.shape, np.nan)
    with np.errstate(invalid="ignore"):
        passing = now.valve_flow + network.valve_loop_flow[block.valve]
        control = normal & network.controls(block.valve, passing) & solved
    numbers = {
        "flow": now.valve_flow, "hot_fraction": np.where(normal, block.share_asked, now.hot_share),
        "hot_flow": now.hot_flow, "cold_flow": now.cold_flow,
        "hot_pressure": blank if lost else now.hot_pressure, "cold_pressure": now.cold_pressure,
        "chamber_pressure": now.chamber_pressure, "outlet_pressure": now.valve_pressure,
        "stem": np.where(normal, now.stem, blank),
        "mixed_temperature": np.where(normal & ~control, np.nan, block.mixed_temperature),
    }  # fmt: skip
    for name, value in numbers.items():
        getattr(out.valve, name)[:, pair] = np.where(solved, value, np.nan)
    out.valve.under_control[:, pair] = control
    out.valve.reach[:, pair] = block.reach
    left = beyond[..., 2:].reshape(len(beyond), len(block), -1, v) if v else beyond[..., 2:, None]
    out.valve.beyond_model[:, pair] = (left > 0).any(axis=2) if v else np.zeros((len(beyond), len(block), 0), bool)


def _store_stations(network: Network, cases: Cases, out: FaultResults, block: Block, now: Flows,
                    solved: Numbers) -> None:  # fmt: skip
    m, v = block.shape.stations, block.shape.valves
    pair = cases.stations.offsets[block.opening][:, None] + np.arange(m)
    volume = network.purge_sum[block.tempered_lower] - network.purge_sum[block.tempered_upper]
    with np.errstate(divide="ignore", invalid="ignore"):
        seconds = np.where(volume > 0, volume / now.tempered_stretch_flow, 0.0)
    feeds = np.swapaxes(block.tempered_edges, 1, 2) > 0  # [B, stations, edges]
    total = np.where(feeds, seconds[:, :, None, :], 0.0).sum(axis=3)
    behind = block.valve_of_station != NONE
    out.station.purge_seconds[:, pair] = np.where(solved & behind, total, np.nan)
    # Ends of the supply forest that feed each station.
    end = np.arange(block.supply_edges.shape[2])
    own = np.where(behind, block.valve_of_station, NONE)[:, :, None]
    fed = (own == np.where(end < 2 * v, end // 2, -2)) | (block.end_of_station[:, :, None] == end) & ~behind[:, :, None]
    on_path = np.repeat(np.matmul(fed.astype(float), np.swapaxes(block.supply_edges, 1, 2)) > 0, 2, axis=2)
    is_hot = np.arange(on_path.shape[2]) % 2 == 1
    runs = [network.narrowest_run(lower[block.first], upper[block.first])[block.same] for lower, upper in (
        (block.supply_lower, block.supply_upper), (block.tempered_lower, block.tempered_upper))]  # fmt: skip
    area = np.append(network.run_area, np.inf)
    speed = [flow / area[run] for run, flow in zip(
        runs, (now.supply_stretch_flow, now.tempered_stretch_flow), strict=True)]  # fmt: skip
    both = np.concatenate(speed, axis=2), np.concatenate(runs, axis=1)
    cold = np.concatenate((on_path & ~is_hot, feeds), axis=2)
    hot = np.concatenate((on_path & is_hot, np.zeros_like(feeds)), axis=2)
    for name, way in (("velocity_cold", cold), ("velocity_hot", hot)):
        fast = np.where(way & (both[1] != NONE)[:, None, :], both[0][:, :, None, :], -1.0)
        best = fast.argmax(axis=3)
        most = np.take_along_axis(fast, best[..., None], axis=3)[..., 0]
        some = solved & (most >= 0)
        run = np.take_along_axis(np.broadcast_to(both[1], (len(best), *both[1].shape)), best, axis=2)
        getattr(out.station, name)[:, pair] = np.where(some, most, np.nan)
        getattr(out.station, f"{name}_run")[:, pair] = np.where(some, run, NONE)


def _store_feeds(network: Network, cases: Cases, out: FaultResults, block: Block, now: Flows,
                 solved: Numbers) -> None:  # fmt: skip
    """Flow drawn from each supply, and hot water from each source."""
    v = block.shape.valves
    behind = block.valve_of_station != NONE
    station = cases.stations.member[cases.stations.offsets[block.opening][:, None] + np.arange(block.shape.stations)]
    mass = now.valve_flow * block.valve_density / block.cold_density[:, None, None]
    drawn = [(network.node_supply[network.valve_cold_node[block.valve]], (1 - now.hot_share) * mass),
             (network.node_supply[network.valve_hot_node[block.valve]], now.hot_share * mass)] if v else []  # fmt: skip
    drawn.append((np.where(behind, NONE, network.node_supply[network.station_node[station]]), now.station_flow))
    tables = [(cases.supplies, out.supply_flow, drawn)]
    if v:
        tables.append((cases.sources, out.source_hot_flow, [(network.valve_source[block.valve], now.hot_flow)]))
    for pairs, total, parts in tables:
        size = int(pairs.member.max(initial=0)) + 1
        keys = pairs.opening * size + pairs.member
        sums = np.zeros((len(total), len(keys)))
        for member, flow in parts:
            given = member != NONE
            place = np.searchsorted(keys, (block.opening[:, None] * size + member)[given])
            for state in range(len(total)):
                sums[state] += np.bincount(place, weights=flow[state][given], minlength=len(keys))
        mine = np.isin(pairs.opening, block.opening)
        which = np.searchsorted(block.opening, pairs.opening[mine])
        total[:, mine] = np.where(solved[:, which, 0], sums[:, mine], np.nan)


def store_beyond_test(network: Network, cases: Cases, out: FaultResults) -> None:
    """Other demand counts in what a supply gives; then whether that is more than was tested."""
    cold = network.cold_temperature[SEASON_OF_STATE]
    for state, temperature in enumerate(cold):
        other = network.supply_draw.copy()
        above = network.node_supply[network.source_node]
        hot = np.where(network.source_cold | (out.fault == HOT_LOST), temperature, network.source_temperature)
        drawn = network.source_draw * density_kernel(hot) / density_kernel(temperature)
        np.add.at(other, above[above != NONE], drawn[above != NONE])
        out.supply_flow[state] += other[cases.supplies.member]
    level = np.array([("low", "high").index(word) for _, word in STATES])
    with np.errstate(invalid="ignore"):
        test = network.supply_test_flow[level][:, cases.supplies.member]
        out.supply_beyond_test[:] = out.supply_flow > test
