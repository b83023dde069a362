"""What leads to single stations, for all that share it: condensed once for each valve, and once for each station.

Openings of one station differ in their outlets only, and stations behind one valve in their tempered runs only. Blocks
of openings then take what is theirs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, Network
from drenchbook.operating_cases import SOURCE_COLD, Cases
from drenchbook.physics.pipe_flow import GRAVITY
from drenchbook.solver_blocks import Shape, supply_side, tempered_side, valve_data, waters
from drenchbook.solver_paths import Curves
from drenchbook.solver_single_paths import COLD, COMMON, HOT, PARTS, TEMPERED, Paths, Side, joined, paths_of
from drenchbook.solver_trees import gathered

Numbers: TypeAlias = np.ndarray[Any, Any]

FEW = 1000  # openings up to which it costs less to pad their outlets than to part them by how many are open
HOT_WATER = PARTS  # row of velocities: the stretches that carry hot water; the rows before it carry other water


@dataclass(frozen=True)
class Speeds:
    """Greatest velocity in a part at a flow of 1 m³/s there [S, parts and HOT_WATER, rows], and the run it is in."""

    most: Numbers  # [m/s per m³/s]
    run: Numbers  # [parts and HOT_WATER, rows] NONE without a run


@dataclass(frozen=True)
class Station:
    """One station of each opening: its path, its valve and its outlets. Openings are the last axis."""

    fault: str  # what the valve does, as in `solver_blocks.Block`
    behind: bool  # a valve
    curves: Curves
    paths: Paths
    cold_static: Numbers  # [S, B] pressure at the inlets at no flow
    hot_static: Numbers
    lowest: Numbers  # [S, B] height pressure of the lowest open outlet
    above: Numbers  # [S, outlets, B] height pressure above the lowest, infinite where padded
    rated_flow: Numbers  # [outlets, B] zero where padded
    rated_pressure: Numbers
    regulated: Numbers
    share: Numbers  # [S, B] hot share by mass
    coefficient: Numbers  # [B]
    coefficient_curve: Numbers
    outlet_square: Numbers
    bypass_coefficient: Numbers
    bypass_curve: Numbers
    fitted: Numbers  # [B] bool: cold water of the source and of the bypass meet

    def take(self, at: Numbers) -> Station:
        """The openings at these places."""
        now = {one.name: getattr(self, one.name) for one in fields(self)}
        cut: dict[str, Any] = {
            name: value.take(at, axis=-1) for name, value in now.items() if isinstance(value, np.ndarray)
        }
        return replace(self, paths=self.paths.take(at), **cut)


@dataclass(frozen=True)
class Ways:
    """What leads to the stations of some openings, by row: of valves (stations without one) and of stations."""

    network: Network
    curves: Curves
    cases: Cases
    fault: str
    behind: bool
    feeder_row: Numbers  # [valves of the network, or stations] row of the feeder
    station_row: Numbers  # [stations of the network]
    before: Paths
    tempered: Paths | None
    speeds: Speeds
    tempered_speeds: Speeds | None
    cold_static: Numbers  # [S, feeders]
    hot_static: Numbers
    water: dict[str, Numbers]  # [S, feeders]
    cold_density: Numbers  # [S, 1]
    valve: dict[str, Numbers]  # [feeders]
    purge: Numbers  # [stations] volume with its walls [m³]

    def blocks(self, openings: Numbers, most: int) -> Iterator[tuple[Numbers, Station]]:
        """The openings block by block, of many those with equally many open outlets together."""
        counts = self.cases.outlets.counts[openings]
        together = np.zeros_like(counts) if len(openings) <= FEW else counts
        for kind in np.unique(together).tolist():
            mine = openings[together == kind]
            for start in range(0, len(mine), most):
                yield mine[start : start + most], self._station(mine[start : start + most])

    def rows(self, openings: Numbers) -> tuple[Numbers, Numbers, Numbers]:
        """Station, row of its feeder and row of itself, of each opening."""
        station = self.cases.stations.member[self.cases.stations.offsets[openings]]
        feeder = self.network.station_valve[station] if self.behind else station
        return station, self.feeder_row[feeder], self.station_row[station]

    def _station(self, openings: Numbers) -> Station:
        network, pairs = self.network, self.cases.outlets
        station, feeder, row = self.rows(openings)
        counts = pairs.counts[openings]
        place = np.arange(int(counts.max(initial=0)))[:, None]
        there = place < counts
        outlet = pairs.member[np.where(there, pairs.offsets[openings] + place, 0)]
        climb, density = network.outlet_elevation[outlet], self.cold_density[:, :, None]
        if self.behind:
            climb = climb - network.valve_elevation[network.station_valve[station]]
            density = self.water["valve_density"].take(feeder, axis=1)[:, None]
        height = GRAVITY * density * climb
        if self.behind:
            height = height - network.boost_sum[network.station_node[station]]  # boosters behind the valve
        height = np.where(there, height, np.inf)
        lowest = height.min(axis=1)
        bypass, curve = (self.valve[name].take(feeder) for name in ("bypass_coefficient", "bypass_curve"))
        fitted = (bypass != 0) | (curve != NONE) if self.fault == SOURCE_COLD else np.zeros(len(openings), dtype=bool)
        return Station(
            fault=self.fault, behind=self.behind, curves=self.curves,
            paths=joined(self.before, feeder, self.tempered, row),
            cold_static=self.cold_static.take(feeder, axis=1), hot_static=self.hot_static.take(feeder, axis=1),
            lowest=lowest, above=height - lowest[:, None],
            rated_flow=np.where(there, network.outlet_rated_flow[outlet], 0.0),
            rated_pressure=np.where(there, network.outlet_rated_pressure[outlet], 1.0),
            regulated=there & network.outlet_regulated[outlet],
            share=self.water["share"].take(feeder, axis=1),
            **{name: self.valve[name].take(feeder) for name in ("coefficient", "coefficient_curve", "outlet_square")},
            bypass_coefficient=bypass, bypass_curve=curve, fitted=fitted)  # fmt: skip

    def speeds_of(self, feeder: Numbers, row: Numbers) -> Speeds:
        """Velocities on the paths of openings with these rows."""
        most, run = self.speeds.most.take(feeder, axis=2), self.speeds.run.take(feeder, axis=1)
        if self.tempered_speeds is not None:
            most[:, TEMPERED] = self.tempered_speeds.most[:, TEMPERED].take(row, axis=1)
            run[TEMPERED] = self.tempered_speeds.run[TEMPERED].take(row)
        return Speeds(most, run)


def ways_of(network: Network, curves: Curves, cases: Cases, shape: Shape, openings: Numbers, fault: str) -> Ways:
    """What leads to the stations of openings of one station each, all behind a valve or all without one."""
    behind = shape.valves == 1
    stations, station_row = _rows(cases.stations.member[cases.stations.offsets[openings]], len(network.station_tags))
    feeders, feeder_row, first = stations, station_row, stations
    if behind:
        feeders, feeder_row = _rows(network.station_valve[stations], len(network.valve_tags))
        first = np.empty(len(feeders), dtype=int)  # any station behind each valve
        first[feeder_row[network.station_valve[stations]]] = stations
    valve = feeders[:, None] if behind else np.zeros((len(feeders), 0), dtype=int)
    direct = np.full((len(feeders), 1), not behind)
    every = waters(network, np.arange(len(network.valve_tags))[:, None] if behind else valve, fault)
    water = _of_valves(every, feeders) if behind else every
    supply = supply_side(network, curves, first[:, None], direct, valve, shape, water)
    side, is_hot = _supply_side(supply, water, fault, behind)
    static = supply["end_static"]
    tempered = _tempered_side(network, curves, stations, every) if behind else None
    flat = {name: water[name][..., 0] for name in ("share", "valve_density", "hot_density", "share_asked", "reach",
                                                   "mixed_temperature")} if behind else {
        "share": np.zeros(static.shape[:2])}  # fmt: skip
    blank = {"coefficient": np.nan, "coefficient_curve": NONE, "outlet_square": 0.0, "bypass_coefficient": 0.0,
             "bypass_curve": NONE}  # fmt: skip
    data = {name: one[:, 0] for name, one in valve_data(network, valve).items()} if behind else {
        name: np.full(len(feeders), one) for name, one in blank.items()}  # fmt: skip
    return Ways(
        network=network, curves=curves, cases=cases, fault=fault, behind=behind, feeder_row=feeder_row,
        station_row=station_row, before=paths_of(side), tempered=None if tempered is None else paths_of(tempered[0]),
        speeds=_speeds(network, side, is_hot, supply["supply_lower"], supply["supply_upper"]),
        tempered_speeds=None if tempered is None else _speeds(network, tempered[0], False, *tempered[1:]),
        cold_static=static[..., 0], hot_static=static[..., 1] if behind else static[..., 0], water=flat,
        cold_density=water["cold_density"][:, None], valve=data,
        purge=network.purge_sum[network.station_node[stations]])  # fmt: skip


def _of_valves(every: dict[str, Numbers], valves: Numbers) -> dict[str, Numbers]:
    """What `waters` says, for some of the valves, one a row."""
    return {name: one.take(valves, axis=1) if one.ndim == 3 else one for name, one in every.items()}


def _rows(members: Numbers, count: int) -> tuple[Numbers, Numbers]:
    """The distinct members, rising, and the place of each among them [count]."""
    there = np.zeros(count, dtype=bool)
    there[members] = True
    return np.flatnonzero(there), np.cumsum(there) - 1


def _supply_side(supply: dict[str, Any], water: dict[str, Numbers], fault: str, behind: bool) -> tuple[Side, Numbers]:
    """The stretches before the valves, and which of them carry hot water; each edge has a cold and a hot part.

    With "source cold but pressurised" each part has its own flow.
    """
    edges, density = supply["supply_edges"], supply["supply_density"]
    rows, count = edges.shape[:2]
    if behind:
        part = np.where(edges[:, :, 0] * edges[:, :, 1] > 0, COMMON, np.where(edges[:, :, 0] > 0, COLD, HOT))
        share, whole = water["share"], water["valve_density"]
        edge_mass = np.broadcast_to(whole, (len(density), rows, count))
        if fault != SOURCE_COLD:
            edge_mass = gathered(np.concatenate((1 - share, share), axis=2) * whole, np.swapaxes(edges, 1, 2))
    else:
        part = np.full((rows, count), COLD)
        edge_mass = np.broadcast_to(water["cold_density"][:, None, None], (len(density), rows, count))
    side = Side(supply["supply_paths"], np.repeat(part, 2, axis=1), np.repeat(edge_mass, 2, axis=2) / density, density,
                supply["supply_viscosity"])  # fmt: skip
    return side, np.arange(2 * count) % 2 == 1


def _tempered_side(network: Network, curves: Curves, stations: Numbers, every: dict[str, Numbers]
                   ) -> tuple[Side, Numbers, Numbers]:  # fmt: skip
    """The stretch from the valve to each station, and its nodes."""
    first = np.zeros((len(stations), 1), dtype=int)
    water = _of_valves(every, network.station_valve[stations])
    one = tempered_side(network, curves, stations[:, None], first, water)
    density = one["tempered_density"]
    side = Side(one["tempered_paths"], np.full(first.shape, TEMPERED), np.ones(density.shape), density,
                one["tempered_viscosity"])  # fmt: skip
    return side, one["tempered_lower"], one["tempered_upper"]


def _speeds(network: Network, side: Side, is_hot: Any, lower: Numbers, upper: Numbers) -> Speeds:
    """The greatest velocity of each part, and of the hot water."""
    runs = network.narrowest_run(lower, upper)
    fast = side.factor / np.append(network.run_area, np.inf)[runs]
    there = (runs != NONE) & np.broadcast_to(~np.asarray(is_hot), runs.shape)
    masks = [there & (side.part == part) for part in range(PARTS)]
    masks.append((runs != NONE) & np.broadcast_to(is_hot, runs.shape))
    most, run = [], []
    for mask in masks:
        of_part = np.where(mask, fast, -1.0)
        best = of_part[0].argmax(axis=1)  # shares differ by season, the bores of a part do not
        most.append(of_part.max(axis=2))
        run.append(np.where(mask.any(axis=1), runs[np.arange(len(runs)), best], NONE))
    return Speeds(np.stack(most, axis=1), np.stack(run))
