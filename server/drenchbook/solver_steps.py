"""One solved case written out step by step, from the supply to an outlet, as an engineer would check it by hand."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from drenchbook.faulted_network import network_in
from drenchbook.network_arrays import NONE, REDUCER, ROOT, RUN, SOURCE, SUPPLY, Network
from drenchbook.operating_cases import HOT_LOST, STATES, Cases
from drenchbook.physics.pipe_flow import (
    darcy_weisbach_loss,
    elevation_pressure,
    hazen_williams_gradient_kernel,
    minor_loss,
)
from drenchbook.physics.supply import curve_pressure_kernel, supply_pressure_kernel
from drenchbook.physics.water import density, viscosity
from drenchbook.solver_results import SOLVED, PathStep, Results


def step_by_step(
    network: Network, cases: Cases, results: Results, fault: str, state: int, opening: int, station: int = NONE
) -> tuple[PathStep, ...]:
    """The path of one solved case, one row for each thing the water passes.

    Parameters
    ----------
    network, cases, results : Network, Cases, Results
        A solved site. [-]
    fault : str
        One of `operating_cases.FAULTS`. [-]
    state, opening : int
        Which case. [-]
    station : int
        Which station of the opening; the first if not given. [-]

    Returns
    -------
    tuple of PathStep
        Supply and common runs, cold side, hot side, valve, tempered runs, outlets. Empty where the case is not solved.

    Notes
    -----
    Each loss comes from its own equation in `physics`, not from the solver's sums [worked here].
    """
    if results.fault(fault).state[state, opening] != SOLVED:
        return ()
    members = cases.stations.member[cases.stations.of(opening)]
    station = int(members[0]) if station == NONE else station
    return tuple(_Walk(network, cases, results, fault, state, opening).station(station))


@dataclass(frozen=True)
class _Water:
    """The water of one section. [°C]"""

    temperature: float

    @property
    def density(self) -> float:
        return float(density(self.temperature))

    @property
    def viscosity(self) -> float:
        return float(viscosity(self.temperature))


class _Walk:
    """The flows of one case, and the rows along its paths."""

    def __init__(self, network: Network, cases: Cases, results: Results, fault: str, state: int, opening: int):
        network = network_in(network, fault)
        self.network, self.results, self.fault, self.state = network, results.fault(fault), fault, state
        self.level = ("low", "high").index(STATES[state][1])
        self.cold = _Water(float(network.cold_temperature[("cold", "warm").index(STATES[state][0])]))
        self.valve_slot = {int(v): cases.valves.offsets[opening] + i
                           for i, v in enumerate(cases.valves.member[cases.valves.of(opening)])}  # fmt: skip
        outlets = range(cases.outlets.offsets[opening], cases.outlets.offsets[opening + 1])
        self.outlets = [(int(cases.outlets.member[pair]), pair) for pair in outlets]
        self.mass: dict[int, float] = {}  # of each node's run
        for valve, pair in self.valve_slot.items():
            flow = self.results.valve.cold_flow[state, pair] * self.cold.density
            self._draw(int(network.valve_cold_node[valve]), flow)
            flow = self.results.valve.hot_flow[state, pair] * self.hot(valve).density
            self._draw(int(network.valve_hot_node[valve]), flow)
        for outlet, pair in self.outlets:
            number = int(network.outlet_station[outlet])
            valve = int(network.station_valve[number])
            water = self.mixed(valve) if valve != NONE else self.cold
            self._draw(int(network.station_node[number]), self.results.outlet_flow[state, pair] * water.density)
        for source in np.flatnonzero(network.source_draw != 0):
            warm = self.cold if network.source_cold[source] or fault == HOT_LOST else _Water(
                float(network.source_temperature[source]))  # fmt: skip
            self._draw(int(network.source_node[source]), float(network.source_draw[source]) * warm.density)

    def hot(self, valve: int) -> _Water:
        """The water at a valve's hot inlet."""
        source = self.network.valve_source[valve]
        if self.fault == HOT_LOST or self.network.source_cold[source]:
            return self.cold
        return _Water(float(self.network.source_temperature[source]))

    def mixed(self, valve: int) -> _Water:
        """The water behind a valve: at set temperature, or at full hot or full cold."""
        pair = self.valve_slot[valve]
        fraction = self.results.valve.hot_fraction[self.state, pair]
        if self._wide_open(valve):
            return self.cold
        if 0 <= fraction <= 1:
            return _Water(float(self.network.valve_set[valve]))
        return self.hot(valve) if self.results.valve.reach[self.state, pair] < 0 else self.cold

    def _wide_open(self, valve: int) -> bool:
        """Whether a valve does not mix: its hot side has no pressure, or gives cold water."""
        return bool(self.fault == HOT_LOST or self.network.source_cold[self.network.valve_source[valve]])

    def _draw(self, node: int, mass: float) -> None:
        while self.network.node_kind[node] != ROOT:
            self.mass[node] = self.mass.get(node, 0.0) + mass
            node = int(self.network.parent[node])

    def _path(self, node: int) -> list[int]:
        path = []
        while self.network.node_kind[node] != ROOT:
            path.append(node)
            node = int(self.network.parent[node])
        return path[::-1]

    def station(self, station: int) -> Iterator[PathStep]:
        """All rows of one station."""
        network, valve = self.network, int(self.network.station_valve[station])
        if valve == NONE:
            path = self._path(int(network.station_node[station]))
            rows, pressure, height = self._side(path, "cold", self.cold, 0.0, 0.0)
            yield from rows
            yield from self._outlets(station, pressure, height, self.cold, "cold")
            return
        cold = self._path(int(network.valve_cold_node[valve]))
        hot = self._path(int(network.valve_hot_node[valve])) if self.fault != HOT_LOST else []
        shared = [one for one, other in zip(cold, hot, strict=False) if one == other]
        rows, start, height = self._side(shared, "common", self.cold, 0.0, 0.0)
        yield from rows
        rise = float(network.valve_elevation[valve])
        rows, pressure, end = self._side(cold[len(shared) :], "cold", self.cold, start, height)
        yield from rows
        yield from self._rise("cold", network.valve_tags[valve], end, rise, self.cold, pressure)
        if hot:
            rows, pressure, end = self._side(hot[len(shared) :], "hot", self.hot(valve), start, height)
            yield from rows
            yield from self._rise("hot", network.valve_tags[valve], end, rise, self.hot(valve), pressure)
        yield from self._valve(valve)
        water = self.mixed(valve)
        pressure = float(self.results.valve.outlet_pressure[self.state, self.valve_slot[valve]])
        runs = self._path(int(network.station_node[station]))[1:]
        rows, pressure, end = self._side(runs, "tempered", water, pressure, rise)
        yield from rows
        yield from self._outlets(station, pressure, end, water, "tempered")

    def _side(self, path: list[int], side: str, water: _Water, pressure: float, height: float
              ) -> tuple[list[PathStep], float, float]:  # fmt: skip
        """Rows along a path, the pressure at its end and the height there."""
        rows: list[PathStep] = []
        network = self.network
        after_source = SOURCE not in [network.node_kind[node] for node in path]
        for node in path:
            kind, item = int(network.node_kind[node]), int(network.node_item[node])
            if kind == SOURCE:
                after_source = True
            now = water if after_source else self.cold
            flow = self.mass.get(node, 0.0) / now.density
            steps: list[tuple[str, str, float]] = []
            rise = math.nan
            if kind == SUPPLY:
                pressure, drop = self._supply(item, flow)
                height = float(network.supply_elevation[item])
                rows.append(PathStep(side, "supply", network.supply_tags[item], flow, drop, pressure, now.temperature))
            elif kind == SOURCE:
                if network.source_plant_main[item]:
                    pressure, height = float(network.source_pressure[item]), float(network.node_elevation[node])
                loss = float(network.source_square[item]) * flow**2
                if network.source_curve[item] != NONE:
                    loss += float(curve_pressure_kernel(flow, *network.curves[network.source_curve[item]])[0])
                steps = [("hot water source", network.source_tags[item], loss)]
            elif kind == REDUCER:
                steps = list(self._devices(node, flow))
                left = pressure - sum(loss for *_, loss in steps)
                held = max(left - float(network.reducer_setting[item]), 0.0)
                steps.append(("device", f"{network.device_names[network.reducer_tags[item]]} setting", held))
            elif kind == RUN:
                steps = [*self._devices(node, flow), ("pipe", network.run_tags[item], self._pipe(item, flow, now))]
                rise = float(network.node_elevation[node]) - height
                if rise:
                    steps.append(("rise", network.run_tags[item], float(elevation_pressure(rise, now.density))))
                height += rise
            for name, tag, loss in steps:
                pressure -= loss
                climbed = rise if name == "rise" else math.nan
                rows.append(PathStep(side, name, tag, flow, loss, pressure, now.temperature, climbed))
        return rows, pressure, height

    def _supply(self, item: int, flow: float) -> tuple[float, float]:
        network, level = self.network, self.level
        if network.supply_curve[level, item] != NONE:
            flows, values = network.curves[network.supply_curve[level, item]]
            pressure = float(curve_pressure_kernel(flow, flows, values)[0])
            return pressure, float(values[0]) - pressure
        law = [float(one[level, item]) for one in (network.supply_static, network.supply_residual,
                                                   network.supply_test_flow)]  # fmt: skip
        pressure = float(supply_pressure_kernel(flow + float(network.supply_draw[item]), *law)[0])
        return pressure, law[0] - pressure

    def _devices(self, node: int, flow: float) -> Iterator[tuple[str, str, float]]:
        """Each device there; a booster's loss is below zero."""
        network = self.network
        for tag in network.node_devices[node]:
            loss = network.device_square.get(tag, 0.0) * flow**2 - network.device_head.get(tag, 0.0)
            if tag in network.device_curve:
                loss += float(curve_pressure_kernel(flow, *network.curves[network.device_curve[tag]])[0])
            yield "device", network.device_names[tag], loss

    def _pipe(self, run: int, flow: float, water: _Water) -> float:
        network, found = self.network, self.network.run_pipe[run]
        assert found is not None
        length, kind = float(network.run_length[run]), int(network.run_class[run])
        diameter = found.inside_diameter
        fittings = float(minor_loss(flow, diameter, float(network.run_resistance[run]), water.density))
        if network.hazen_williams:
            constant = float(network.class_constant[kind])
            return fittings + length * float(hazen_williams_gradient_kernel(flow, diameter, constant)[0])
        return fittings + float(darcy_weisbach_loss(flow, diameter, length, float(network.class_roughness[kind]),
                                                    water.density, water.viscosity))  # fmt: skip

    def _rise(self, side: str, tag: str, height: float, to: float, water: _Water, pressure: float
              ) -> Iterator[PathStep]:  # fmt: skip
        if to != height:
            loss = float(elevation_pressure(to - height, water.density))
            yield PathStep(side, "rise", tag, 0.0, loss, pressure - loss, water.temperature, to - height)

    def _valve(self, valve: int) -> Iterator[PathStep]:
        pair, tag, state = self.valve_slot[valve], self.network.valve_tags[valve], self.state
        now = self.results.valve
        flow, chamber, behind = (float(one[state, pair]) for one in (now.flow, now.chamber_pressure,
                                                                     now.outlet_pressure))  # fmt: skip
        cold, hot = float(now.cold_pressure[state, pair]), float(now.hot_pressure[state, pair])
        warm, cool = self.hot(valve).temperature, self.cold.temperature
        mixed = self.mixed(valve).temperature
        if not self._wide_open(valve):
            lower = np.fmin(cold, hot)
            yield PathStep("valve", "seats", tag, flow, float(lower) - chamber, chamber, mixed)
            if behind != chamber:
                yield PathStep("valve", "outlet passage", tag, flow, chamber - behind, behind, mixed)
            return
        if self.fault != HOT_LOST and now.hot_flow[state, pair] > 0:
            yield PathStep("valve", "seats", tag, float(now.hot_flow[state, pair]), hot - behind, behind, warm)
        if now.cold_flow[state, pair] > 0:
            yield PathStep("valve", "bypass", tag, float(now.cold_flow[state, pair]), cold - behind, behind, cool)

    def _outlets(self, station: int, pressure: float, height: float, water: _Water, side: str) -> Iterator[PathStep]:
        network = self.network
        for outlet, pair in self.outlets:
            if network.outlet_station[outlet] != station:
                continue
            flow = float(self.results.outlet_flow[self.state, pair])
            rise = float(network.outlet_elevation[outlet]) - height
            loss = float(elevation_pressure(rise, water.density))
            name = network.outlet_names[outlet]
            yield PathStep(side, "rise", name, flow, loss, pressure - loss, water.temperature, rise)
            yield PathStep("outlet", "outlet", name, flow, 0.0, pressure - loss, water.temperature)
