"""Compiles a site to the arrays of `network_arrays`, table by table, and says what is missing on each path."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields
from typing import Any, TypeAlias

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.errors import InputError
from drenchbook.network_arrays import NONE, NOT_SAID, REDUCER, ROOT, RUN, SOURCE, SUPPLY, VALVE, Network
from drenchbook.network_cells import ICE, Cells, CurveList, power_of
from drenchbook.network_devices import LineDevices
from drenchbook.network_sums import device_sums, preorder
from drenchbook.network_valves import MixingValves
from drenchbook.physics.dead_leg import pipe_volume, wall_heat_ratio
from drenchbook.physics.pipe_flow import hazen_williams_gradient_kernel
from drenchbook.published.fittings_table import fittings_resistance
from drenchbook.published.pipes import Pipe, pipe
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import (
    HOT_WATER_SOURCES,
    MIXING_VALVES,
    OUTLET_MODELS,
    PIPE_RUNS,
    PROJECT,
    STATIONS,
    SUPPLIES,
    Table,
)
from drenchbook.units import from_si

Numbers: TypeAlias = np.ndarray[Any, Any]

__all__ = ["NONE", "Network", "compile_network"]

HAZEN_WILLIAMS = "Hazen-Williams"
PLANT_MAIN, STORAGE, STEAM = "plant main", "storage", "steam heat exchanger"


def compile_network(site: Site) -> Network:
    """The arrays of a site whose structure is sound (tags known and unique, no cycles, both sides of each valve there).

    Parameters
    ----------
    site : Site
        As read; numbers in the site's own unit system. [-]

    Returns
    -------
    Network
        Arrays in SI. A cell that cannot be used is not-a-number here and a sentence in `missing` of every station whose
        hydraulics need it. [-]

    Notes
    -----
    Coefficients of devices and valves carry no density correction, as makers give them (common practice). Height counts
    with the density of the water in each section.
    """
    return _Compiler(site).network()


class _Compiler:
    """Builds the arrays table by table; each method returns the fields of one part."""

    def __init__(self, site: Site):
        self.site = site
        self.curves = CurveList()
        self.line_devices = LineDevices(site, self.curves)
        self.project = Cells(site, PROJECT, site.project)
        self.method = self.project.value("friction_method")
        self.tables = {SUPPLY: site.supplies, SOURCE: site.hot_water_sources, VALVE: site.mixing_valves,
                       RUN: site.pipe_runs}  # fmt: skip
        self.node_of: dict[str, int] = {}
        self.wall_ratios: dict[tuple[float, ...], Any] = {}  # by bore, wall and temperature: many runs are alike

    def network(self) -> Network:
        parts: dict[str, Any] = {
            "hazen_williams": self.method == HAZEN_WILLIAMS,
            "cold_temperature": np.array([self.project.temperature(f"cold_water_{s}") for s in ("cold", "warm")]),
        }
        self.order()
        parts.update(self.line_devices.arrays())
        for part in (self.supplies, self.sources, self.valves, self.runs, self.sums, self.stations):
            parts.update(part())
        parts.update(curve_names=tuple(self.curves.names), curves=tuple(self.curves.points))
        return Network(**{field.name: parts[field.name] for field in fields(Network)})

    def rows(self, kind: int, table: Table) -> Iterator[tuple[int, Cells]]:
        for number, row in enumerate(self.tables[kind]):
            yield number, Cells(self.site, table, row)

    # The forest.

    def order(self) -> None:
        """Number the nodes so that a parent comes before its children."""
        above: dict[tuple[int, int], str] = {}
        names = {tag_key(row.tag): (kind, i) for kind, rows in self.tables.items() for i, row in enumerate(rows)}
        for kind, rows in self.tables.items():
            for i, row in enumerate(rows):
                own = kind in (SUPPLY, VALVE) or (kind == SOURCE and row.kind == PLANT_MAIN)
                above[kind, i] = "" if own else tag_key(row.fed_from)
        number: dict[tuple[int, int], int] = {}
        kinds, items, parents = [ROOT], [NONE], [0]
        reducers: list[tuple[str, int]] = []
        for start in above:
            chain = []
            item: tuple[int, int] | None = start
            while item is not None and item not in number:
                chain.append(item)
                item = names[above[item]] if above[item] else None
            for item in reversed(chain):
                upstream = number[names[above[item]]] if above[item] else 0
                for key in self.reducers_on(item):
                    reducers.append((key, len(kinds)))
                    kinds.append(REDUCER)
                    items.append(len(reducers) - 1)
                    parents.append(upstream)
                    upstream = len(kinds) - 1
                number[item] = len(kinds)
                kinds.append(item[0])
                items.append(item[1])
                parents.append(upstream)
        self.reducers = reducers
        self.number, self.node_of = number, {tag: number[item] for tag, item in names.items()}
        self.kind, self.item, self.parent = np.array(kinds), np.array(items), np.array(parents)
        self.node_missing: list[tuple[str, ...]] = [()] * len(kinds)
        self.elevation = np.full(len(kinds), np.nan)

    def reducers_on(self, item: tuple[int, int]) -> list[str]:
        """Keys of the pressure-reducing valves on a run, in the order of the flow."""
        if item[0] != RUN:
            return []
        typed = self.site.pipe_runs[item[1]].devices
        keys = [tag_key(tag) for tag in typed] if isinstance(typed, tuple) else []
        return [key for key in keys if key in self.line_devices.setting]

    def nodes(self, kind: int) -> Numbers:
        return np.array([self.number[kind, i] for i in range(len(self.tables[kind]))], dtype=int)

    def supplies(self) -> dict[str, Any]:
        n = len(self.site.supplies)
        numbers = {key: np.full((2, n), np.nan) for key in ("static", "residual", "test_flow")}
        curves, elevation, demand = np.full((2, n), NONE), np.full(n, np.nan), np.full(n, np.nan)
        for i, cells in self.rows(SUPPLY, SUPPLIES):
            elevation[i] = cells.number("gauge_elevation")
            demand[i] = Cells(self.site, SUPPLIES, cells.row).number("other_demand")
            for level, word in enumerate(("low", "high")):
                if cells.has(f"curve_{word}"):
                    name = f"{cells.row.tag}, {word} state"
                    curves[level, i] = self.curves.new(name, cells.curve(f"curve_{word}"))
                    continue
                for key in ("static", "residual"):
                    numbers[key][level, i] = cells.number(f"{key}_{word}")
                numbers["test_flow"][level, i] = cells.positive(f"test_flow_{word}")
                if numbers["residual"][level, i] > numbers["static"][level, i]:
                    cells.say(f"residual_{word}", "must be at most the static pressure")
            node = self.number[SUPPLY, i]
            self.elevation[node] = elevation[i]
            self.node_missing[node] = tuple(cells.missing)
        tags = tuple(str(row.tag) for row in self.site.supplies)
        return {"supply_tags": tags, "supply_node": self.nodes(SUPPLY), "supply_elevation": elevation,
                "supply_curve": curves, "supply_demand": demand,
                "supply_demand_gap": tuple(gap(SUPPLIES.key, row, "other_demand") for row in self.site.supplies),
                "supply_draw": np.zeros(n),
                **{f"supply_{key}": value for key, value in numbers.items()}}  # fmt: skip

    def tolerance(self, cells: Cells, temperature: float) -> None:
        """The coldest water that a steam exchanger may give is water."""
        tolerance = cells.number("tolerance", optional=True)
        if temperature - tolerance < ICE:
            unit = HOT_WATER_SOURCES.column("tolerance").unit(self.site.units)
            typed, most = (f"{from_si(one, unit):.4g} {unit}" for one in (tolerance, temperature - ICE))
            cells.say("tolerance", f"is {typed}: its water could be ice; at its set temperature {most} is the most")

    def sources(self) -> dict[str, Any]:
        n = len(self.site.hot_water_sources)
        numbers = {key: np.full(n, np.nan) for key in ("temperature", "pressure", "square", "demand")}
        curve, main = np.full(n, NONE), np.zeros(n, dtype=bool)
        power, stores = np.full(n, NOT_SAID), np.zeros(n, dtype=bool)
        for i, cells in self.rows(SOURCE, HOT_WATER_SOURCES):
            kind = cells.value("kind")
            column = {STORAGE: "start_temperature", PLANT_MAIN: "main_temperature"}.get(str(kind), "set_temperature")
            main[i], stores[i] = kind == PLANT_MAIN, kind == STORAGE
            power[i] = power_of(cells)
            numbers["demand"][i] = Cells(self.site, HOT_WATER_SOURCES, cells.row).number("other_demand")
            numbers["temperature"][i] = cells.temperature(column)
            if (
                stores[i]
                and cells.has("set_temperature")
                and numbers["temperature"][i] > cells.temperature("set_temperature")
            ):
                cells.say(column, "must be at most the set temperature: it is the thermostat's lower edge")
            if kind == STEAM:
                self.tolerance(cells, numbers["temperature"][i])
            numbers["square"][i] = 0.0
            if cells.has("loss_curve"):
                curve[i] = self.curves.new(str(cells.row.tag), cells.curve("loss_curve"))
            else:
                numbers["square"][i] = cells.number("loss_per_flow_squared")
            node = self.number[SOURCE, i]
            if main[i]:
                numbers["pressure"][i] = cells.number("main_pressure")
                self.elevation[node] = cells.number("main_elevation")
            self.node_missing[node] = tuple(cells.missing)
        self.source_square, self.source_curve = numbers["square"], curve
        tags = tuple(str(row.tag) for row in self.site.hot_water_sources)
        return {"source_tags": tags, "source_node": self.nodes(SOURCE), "source_plant_main": main,
                "source_curve": curve, "source_power": power, "source_stores": stores,
                "source_demand_gap": tuple(gap(HOT_WATER_SOURCES.key, row, "other_demand")
                                           for row in self.site.hot_water_sources),
                "source_draw": np.zeros(n), "source_cold": np.zeros(n, dtype=bool),
                **{f"source_{key}": value for key, value in numbers.items()}}  # fmt: skip

    def valves(self) -> dict[str, Any]:
        found = MixingValves(self.site, self.curves)
        nodes = self.nodes(VALVE)
        for valve, node in enumerate(nodes):
            self.elevation[node] = found.elevation[valve]
            self.node_missing[node] = found.missing[valve]
        ends = [[self.node_of[tag_key(getattr(row, side))] for row in self.site.mixing_valves]
                for side in ("cold_run", "hot_run")]  # fmt: skip
        return {**found.arrays(), "valve_node": nodes, "valve_cold_node": np.array(ends[0], dtype=int),
                "valve_hot_node": np.array(ends[1], dtype=int)}  # fmt: skip

    def loop_runs(self) -> set[str]:
        """Keys of the runs from each valve that has a loop round to the end of its return run."""
        rows, found = {tag_key(run.tag): run for run in self.site.pipe_runs}, set()
        for valve in self.site.mixing_valves:
            tag = tag_key(valve.loop_return_run)
            while tag in rows:
                found.add(tag)
                tag = tag_key(rows[tag].fed_from)
        return found

    # Runs.

    def runs(self) -> dict[str, Any]:
        n = len(self.site.pipe_runs)
        self.length, self.resistance, self.area = np.zeros(n), np.zeros(n), np.full(n, np.inf)
        self.pipes: list[Pipe | None] = [None] * n
        self.class_of = np.full(n, NONE)
        classes: dict[tuple[float, float, float], int] = {}
        devices: list[tuple[str, ...]] = []
        for i, cells in self.rows(RUN, PIPE_RUNS):
            devices.append(tuple(tag_key(tag) for tag in cells.value("devices", optional=True) or ()))
            self.length[i] = cells.number("developed_length")
            node = self.number[RUN, i]
            self.elevation[node] = cells.number("far_end_elevation")
            material, size, typed = (cells.value(c) for c in ("material", "size", "fittings"))
            roughness, coefficient = self.friction_data(cells)
            if material is not None and size is not None:
                try:
                    found = pipe(material, size)
                except InputError as error:
                    cells.say("size", error.wanted)
                else:
                    self.pipes[i], self.area[i] = found, np.pi / 4 * found.inside_diameter**2
                    self.resistance[i] = self.fittings(cells, typed, found)
                    key = (found.inside_diameter, found.roughness if np.isnan(roughness) else roughness,
                           found.hazen_williams_c if np.isnan(coefficient) else coefficient)  # fmt: skip
                    self.class_of[i] = classes.setdefault(key, len(classes))
            for tag in devices[-1]:
                cells.missing += self.line_devices.missing[tag]
            self.node_missing[node] = tuple(cells.missing)
        diameter, roughness_, constant = (np.array([key[j] for key in classes]) for j in range(3))
        self.run_devices = tuple(devices)
        self.classes = len(classes)
        on_loops = self.loop_runs()
        circulated = np.array([row.circulated is True or tag_key(row.tag) in on_loops for row in self.site.pipe_runs],
                              dtype=bool)  # fmt: skip
        heated = np.array([isinstance(row.held_temperature, float) and tag_key(row.tag) not in on_loops
                           for row in self.site.pipe_runs], dtype=bool)  # fmt: skip
        tags = tuple(str(row.tag) for row in self.site.pipe_runs)
        return {"run_circulated": circulated, "run_heated": heated, "run_tags": tags, "run_node": self.nodes(RUN),
                "run_pipe": tuple(self.pipes), "run_length": self.length, "run_resistance": self.resistance,
                "run_area": self.area, "run_class": self.class_of, "run_devices": self.run_devices,
                "class_diameter": diameter, "class_roughness": roughness_, "class_constant": constant,
                "class_resistance": hazen_williams_gradient_kernel(1.0, diameter, constant)[0]}  # fmt: skip

    def friction_data(self, cells: Cells) -> tuple[float, float]:
        """Overrides of roughness and C; only the one that the friction method uses can be missing."""
        column = "hazen_williams_c" if self.method == HAZEN_WILLIAMS else "roughness"
        value = cells.positive(column, optional=True) if column != "roughness" else cells.number(column, optional=True)
        return (np.nan, value) if column == "hazen_williams_c" else (value, np.nan)

    def fittings(self, cells: Cells, typed: Any, found: Pipe) -> float:
        try:
            return float(fittings_resistance(typed, found.nominal_inches)) if typed is not None else np.nan
        except InputError as error:
            cells.say("fittings", error.wanted)
            return np.nan

    # Sums from the root.

    def sums(self) -> dict[str, Any]:
        n = len(self.kind)
        depth, supply, source, valve, reducer = np.zeros(n, dtype=int), *(np.full(n, NONE) for _ in range(4))
        minor, purge = np.zeros(n), np.zeros(n)
        lengths: list[dict[int, float]] = [{} for _ in range(n)]
        set_temperature = {i: c.temperature("set_temperature") for i, c in self.rows(VALVE, MIXING_VALVES)}
        for node in range(1, n):
            above, kind, item = int(self.parent[node]), int(self.kind[node]), int(self.item[node])
            depth[node] = depth[above] + 1
            supply[node], source[node], valve[node] = (
                item if kind == which else table[above]
                for which, table in ((SUPPLY, supply), (SOURCE, source), (VALVE, valve))
            )
            reducer[node] = node if kind == REDUCER else reducer[above]
            minor[node], purge[node], lengths[node] = minor[above], purge[above], lengths[above]
            if kind in (SOURCE, REDUCER) and np.isnan(self.elevation[node]):
                self.elevation[node] = self.elevation[above]
            elif kind == RUN:
                minor[node] += self.resistance[item] / 2 / self.area[item] ** 2
                purge[node] += self.run_purge(item, set_temperature.get(int(valve[node]), 20.0))
                key = int(self.class_of[item])
                lengths[node] = {**lengths[above], key: lengths[above].get(key, 0.0) + self.length[item]}
        self.node_source, self.node_valve, self.depth = source, valve, depth
        sizes = np.array([len(one) for one in lengths])
        devices = self.devices_of_nodes()
        hot = self.kind == SOURCE
        square, curve = np.zeros(n), np.full(n, NONE)
        square[hot], curve[hot] = self.source_square[self.item[hot]], self.source_curve[self.item[hot]]
        losses = self.line_devices.losses
        return {"node_kind": self.kind, "node_item": self.item, "parent": self.parent, "depth": depth,
                "preorder": preorder(self.parent), "node_devices": devices, "last_reducer": reducer,
                "node_elevation": self.elevation, "node_supply": supply, "node_source": source, "node_valve": valve,
                "minor_sum": minor, "purge_sum": purge,
                "class_offsets": np.concatenate(([0], np.cumsum(sizes))),
                "class_index": np.array([key for one in lengths for key in sorted(one)], dtype=int),
                "class_length": np.array([one[key] for one in lengths for key in sorted(one)], dtype=float),
                "reducer_tags": tuple(key for key, _ in self.reducers),
                "reducer_node": np.array([node for _, node in self.reducers], dtype=int),
                "reducer_setting": np.array([self.line_devices.setting[key] for key, _ in self.reducers], dtype=float),
                **device_sums(self.parent, devices, losses, square, curve),
                **self.jumps(int(depth.max(initial=0)))}  # fmt: skip

    def devices_of_nodes(self) -> tuple[tuple[str, ...], ...]:
        """Devices in the order of the flow: a pressure-reducing valve with those before it, a run with the rest."""
        devices: list[tuple[str, ...]] = [()] * len(self.kind)
        for run, node in enumerate(self.nodes(RUN)):
            rest = list(self.run_devices[run])
            waiting = []
            above = int(self.parent[node])
            while self.kind[above] == REDUCER:
                waiting.append(above)
                above = int(self.parent[above])
            for reducer in reversed(waiting):
                last = rest.index(self.reducers[int(self.item[reducer])][0]) + 1
                devices[reducer], rest = tuple(rest[:last]), rest[last:]
            devices[node] = tuple(rest)
        return tuple(devices)

    def run_purge(self, run: int, temperature: float) -> float:
        """Water content with its wall, at the temperature that will stand in it."""
        found = self.pipes[run]
        if found is None or np.isnan(self.length[run]) or np.isnan(temperature):
            return float("nan")
        wall = (found.inside_diameter, found.outside_diameter, found.wall_density, found.wall_heat_capacity,
                temperature)  # fmt: skip
        if wall not in self.wall_ratios:
            self.wall_ratios[wall] = wall_heat_ratio(*wall)
        return float(pipe_volume(found.inside_diameter, self.length[run]) * (1 + self.wall_ratios[wall]))

    def jumps(self, deepest: int) -> dict[str, Numbers]:
        """Ancestors 1, 2, 4 … above each node, and the narrowest run on the way."""
        area = np.append(self.area, np.inf)
        ancestors = [self.parent]
        narrowest = [np.where(self.kind == RUN, self.item, NONE)]
        while 2 ** len(ancestors) <= deepest:
            up, run = ancestors[-1], narrowest[-1]
            far = run[up]
            narrowest.append(np.where(area[far] < area[run], far, run))
            ancestors.append(up[up])
        return {"ancestors": np.array(ancestors), "narrowest": np.array(narrowest)}

    # Stations.

    def stations(self) -> dict[str, Any]:
        models = {tag_key(row.model): row for row in self.site.outlet_models}
        node, missing = [], []
        outlets: dict[str, list[Any]] = {key: [] for key in (
            "station", "slot", "kind", "names", "elevation", "rated_flow", "rated_pressure", "regulated")}  # fmt: skip
        for number, row in enumerate(self.site.stations):
            cells = Cells(self.site, STATIONS, row)
            seen: dict[str, int] = {}
            for slot in (1, 2, 3):
                tag = cells.value(f"outlet_{slot}", optional=slot > 1)
                if tag is None:
                    continue
                model = Cells(self.site, OUTLET_MODELS, models[tag_key(tag)])
                kind = str(model.value("kind") or f"outlet {slot}")
                seen[kind] = seen.get(kind, 0) + 1
                type_ = model.value("type")
                found = (number, slot, kind, kind if seen[kind] == 1 else f"{kind} {seen[kind]}",
                         cells.number(f"outlet_{slot}_elevation"), model.positive("rated_flow"),
                         model.positive("rated_pressure"), type_ == "flow-regulated")  # fmt: skip
                for values, value in zip(outlets.values(), found, strict=True):
                    values.append(value)
                cells.missing += model.missing
            node.append(self.node_of[tag_key(row.fed_from)])
            missing.append(tuple(dict.fromkeys([*self.project.missing, *cells.missing, *self.on_path(node[-1])])))
        text = {"kind", "names"}
        valve = self.node_valve[np.array(node, dtype=int)]
        hot = [self.node_of[tag_key(row.hot_run)] for row in self.site.mixing_valves]
        return {"station_tags": tuple(str(row.tag) for row in self.site.stations), "missing": tuple(missing),
                "station_node": np.array(node, dtype=int), "station_valve": valve,
                "valve_source": self.node_source[np.array(hot, dtype=int)],
                **{f"outlet_{key}": tuple(values) if key in text else np.array(
                    values, dtype={"station": int, "slot": int, "regulated": bool}.get(key, float))
                   for key, values in outlets.items()}}  # fmt: skip

    def on_path(self, node: int) -> list[str]:
        """What is missing from a node up to the supplies, through its valve and that valve's hot side too."""
        found: list[str] = []
        while node:
            found += self.node_missing[node]
            if self.kind[node] == VALVE:
                valve = self.site.mixing_valves[self.item[node]]
                found += self.on_path(self.node_of[tag_key(valve.hot_run)])
                node = self.node_of[tag_key(valve.cold_run)]
            else:
                node = int(self.parent[node])
        return found
