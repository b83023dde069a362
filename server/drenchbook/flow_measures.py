"""What the checks of flow, pressure, velocity and supply measure."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.case_measures import CaseMeasures, conditions
from drenchbook.check_samples import FAILED, SLACK, WARNED, Samples, at_least, at_most
from drenchbook.closing_surge import SurgePaths, spare_pressures
from drenchbook.hot_water import DAY
from drenchbook.missing_inputs import MissingInputs
from drenchbook.network_arrays import Network
from drenchbook.operating_cases import (
    HOT_LOST,
    NORMAL,
    OTHER_DEMAND,
    POWER_LOST,
    SOURCE_COLD,
    STRAINER_FOULED,
    Pairs,
)
from drenchbook.pipe_heat import station_flows
from drenchbook.site_cells import BLANK
from drenchbook.site_model import Missing
from drenchbook.solver import frictionless_margin, static_pressures
from drenchbook.solver_results import CANNOT_REACH, NO_PATH, SOLVED, StaticPressures

Numbers: TypeAlias = np.ndarray[Any, Any]


class FlowMeasures(CaseMeasures):
    """Measurements of outlets, pipes and supplies. Each method gives the Samples of one check."""

    def _no_valve(self, pairs: Pairs) -> Numbers:
        """[pairs of an outlet] whether its station has no mixing valve."""
        return self.context.without_valve[self.cases.outlet_station[pairs.member]]

    def own_required_flow(self) -> Samples:
        """FLW-1: flow of each outlet over its required flow in every fault that valves stand without their bypass."""
        found = [self.required_flow(fault) for fault in self.solved_faults(NORMAL, OTHER_DEMAND, POWER_LOST)]
        return Samples(
            found[0].pairs,
            tuple(condition for one in found for condition in one.conditions),
            np.concatenate([one.value for one in found]),
            found[0].limit,
            np.concatenate([one.margin for one in found]),
            np.concatenate([one.unknown for one in found]),
        )

    def fouled_flow(self) -> Samples:
        """STR-1: each outlet's flow over its required flow with strainers fouled; without any it does not apply."""
        if STRAINER_FOULED in self.context.results.names:
            found = self.required_flow(STRAINER_FOULED)
            no_factor = np.isnan(self._limit("STR-1 factor"))
            return replace(found, unknown=found.unknown | (no_factor & ~np.isnan(found.margin)))
        return Samples(self.cases.outlets, conditions(NORMAL), np.nan, np.nan, np.nan)

    def required_flow(self, fault: str) -> Samples:
        """FLW-1, BYP-1, BYP-2 in one fault: flow of each outlet over its required flow."""
        if fault not in self._required:
            self._required[fault] = self._flow_of_outlets(fault)
        return self._required[fault]

    def _flow_of_outlets(self, fault: str) -> Samples:
        pairs, state = self.cases.outlets, self._states(fault, self.cases.outlets)
        flow, need = self._fault(fault).outlet_flow, self.context.required_flow[pairs.member]
        dry = (state == CANNOT_REACH) | ((state == NO_PATH) & ~self._no_valve(pairs))
        margin = np.where(dry & ~np.isnan(need), -1.0, at_least(flow, need))
        applies = ~((state == NO_PATH) & self._no_valve(pairs))
        margin = np.where(applies, margin, np.nan)
        return Samples(pairs, conditions(fault), np.where(dry, 0.0, flow), need, margin, applies & np.isnan(margin))

    def flow_margin(self) -> Samples:
        """FLW-2: of a regulated outlet above its minimum pressure the pressure margin, else the flow margin."""
        pairs, asked, margins, unknown = self.cases.outlets, self._limit("FLW-2"), [], []
        regulated = np.array([outlet.regulated for outlet in self.context.outlets], dtype=bool)[pairs.member]
        minimum = np.array([outlet.rated_pressure for outlet in self.context.outlets], dtype=float)[pairs.member]
        faults = self.solved_faults(NORMAL, HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST)
        for fault in faults:
            flows, pressure = self.required_flow(fault), self._fault(fault).outlet_pressure
            above = regulated & (at_least(pressure, minimum) >= -SLACK) & (flows.margin >= -SLACK)
            margins.append(np.where(above, at_least(pressure, minimum), flows.margin))
            unknown.append(flows.unknown | (np.isnan(asked) & ~np.isnan(flows.margin)))
        margin = np.concatenate(margins)
        return Samples(pairs, conditions(*faults), margin, asked, margin - asked, np.concatenate(unknown))

    def greatest_flow(self, limit: str) -> Samples:
        """FLW-3, FLW-4: flow of each outlet over its required flow, the largest."""
        need = self.context.required_flow[self.cases.outlets.member]
        ratio, asked = self._fault(NORMAL).outlet_flow / np.where(need > 0, need, np.nan), self._limit(limit)
        margin = at_most(ratio, asked)
        return Samples(self.cases.outlets, conditions(NORMAL), ratio, asked, margin, np.isnan(margin))

    def outlet_pressure(self) -> Samples:
        """PRS-1: pressure at each outlet; only a warning where the required flow is met all the same."""
        pairs, state = self.cases.outlets, self._states(NORMAL, self.cases.outlets)
        pressure, need = self._fault(NORMAL).outlet_pressure, self.context.needed_pressure[pairs.member]
        margin = np.where(state == CANNOT_REACH, -1.0, at_least(pressure, need))
        severity = np.where(self.required_flow(NORMAL).margin >= -SLACK, WARNED, FAILED)
        return Samples(pairs, conditions(NORMAL), pressure, need, margin, np.isnan(margin), severity)

    def drained_flow(self) -> Samples:
        """DRN-1: flow of all open outlets of a station, against the capacity of its drain."""
        pairs, total = self.cases.stations, station_flows(self.context)
        rows = self.context.site.stations
        drain = np.array([self.context.cell("stations", row, "drain") for row in rows], dtype=float)[pairs.member]
        margin = at_most(total, drain)
        return Samples(pairs, conditions(NORMAL), total, drain, margin, np.isnan(margin))

    @functools.cached_property
    def static(self) -> StaticPressures:
        """Static pressures of the high state, no flow."""
        return static_pressures(self.context.network)

    @functools.cached_property
    def _unreduced(self) -> Network:
        """The network with every pressure-reducing valve open."""
        network = self.context.network
        setting = np.where(np.isnan(network.reducer_setting), np.nan, np.inf)
        return replace(network, reducer_setting=setting)

    @functools.cached_property
    def static_unreduced(self) -> StaticPressures | None:
        """As `static`, with every pressure-reducing valve open; None on a site without one."""
        return static_pressures(self._unreduced) if len(self.context.network.reducer_node) else None

    @functools.cached_property
    def frictionless_left(self) -> Numbers:
        """PRS-3: for each station the pressure left at required flow without pipe friction. [Pa]"""
        return frictionless_margin(self.context.network, self.context.required_flow, self.context.needed_pressure)

    @functools.cached_property
    def frictionless_unreduced(self) -> Numbers:
        """The same with every pressure-reducing valve open. [Pa]"""
        return frictionless_margin(self._unreduced, self.context.required_flow, self.context.needed_pressure)

    @functools.cached_property
    def missing(self) -> MissingInputs:
        """Which needed inputs of each station are blank or cannot be used."""
        return MissingInputs(self.context)

    def residual(self) -> Samples:
        """DAT-3: what the solver left open, in pressure and in each flow, against its limits."""
        pairs = self.cases.stations
        pressure, flow = self._limit("DAT-3 pressure"), self._limit("DAT-3 flow")
        used = self.solved_faults(NORMAL, HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST, STRAINER_FOULED)
        parts, unknown = [], []
        for name in used:
            fault, state = self._fault(name), self._states(name, pairs)
            by_pressure = at_most(fault.residual_pressure, pressure)
            margin = np.minimum(by_pressure, at_most(fault.residual_flow, flow))[:, pairs.opening]
            parts.append(np.where(state == SOLVED, margin, np.nan))
            unknown.append((state != NO_PATH) & ((state != SOLVED) | np.isnan(margin)))
        margins = np.concatenate(parts)
        return Samples(pairs, conditions(*used), np.nan, np.nan, margins, np.concatenate(unknown))

    def speeds(self) -> tuple[Numbers, Numbers]:
        """[S, station pairs] greatest velocity in cold and tempered runs, and in hot runs. [m/s]"""
        pairs, station = self.cases.stations, self._fault(NORMAL).station
        solved = self._states(NORMAL, pairs) == SOLVED
        # a solved path without a run of that side has no velocity there
        cold = np.where(solved & (station.velocity_cold_run < 0), 0.0, station.velocity_cold)
        return cold, np.where(solved & (station.velocity_hot_run < 0), 0.0, station.velocity_hot)

    def velocity(self) -> Samples:
        """VEL-1: the larger share of its limit, cold and tempered runs or hot runs."""
        cold, hot = self._limit("VEL-1 cold"), self._limit("VEL-1 hot")
        speeds = self.speeds()
        margins = at_most(speeds[0], cold), at_most(speeds[1], hot)
        is_hot = margins[1] < margins[0]
        margin = np.minimum(*margins)
        value, limit = np.where(is_hot, speeds[1], speeds[0]), np.where(is_hot, hot, cold)
        return Samples(self.cases.stations, conditions(NORMAL), value, limit, margin, np.isnan(margin), second=is_hot)

    @functools.cached_property
    def surge_paths(self) -> SurgePaths:
        """Way, wave speed and closing time of each station."""
        return SurgePaths(self.context)

    @functools.cached_property
    def weakest(self) -> tuple[Numbers, Numbers]:
        """[stations] static pressure and rating where least is to spare. [Pa]"""
        return spare_pressures(
            self.context, self.static.outlet, np.maximum(self.static.valve_cold, self.static.valve_hot)
        )

    def closing_surge(self) -> Samples:
        """PRS-4: static pressure and closing surge at the greatest velocity, against the weakest rating of the path."""
        pairs = self.cases.stations
        static, rating = (one[pairs.member] for one in self.weakest)
        paths, speed = self.surge_paths, np.maximum(*self.speeds())
        pressure = static + paths.pressure_per_velocity(pairs.member, paths.least_closing_time(pairs)) * speed
        margin = at_most(pressure, rating)
        return Samples(pairs, conditions(NORMAL), pressure, rating, margin, np.isnan(margin))

    def supply_minutes(self) -> Samples:
        """SUP-2: seconds that the volume of a supply lasts at the solved flow and other demand; a blank is endless."""
        pairs, rows, asked = self.cases.supplies, self.context.site.supplies, self._limit("HOT-1")
        ends = np.array([row.volume is not None and row.volume != Missing(BLANK) for row in rows], dtype=bool)
        volume, other = (
            np.array([self.context.cell("supplies", row, column) for row in rows], dtype=float)[pairs.member]
            for column in ("volume", "other_demand")
        )
        used = (NORMAL, HOT_LOST, SOURCE_COLD)
        normal, *faults = (self._fault(name).supply_flow for name in used)
        drawn = np.concatenate([normal + other, *faults])  # in a fault the other demand flows already
        with np.errstate(divide="ignore", invalid="ignore"):
            counted = np.minimum(np.where(drawn == 0, np.inf, volume / drawn), DAY)
        seconds = np.where(ends[pairs.member], counted, DAY)
        tried = np.concatenate([self._states(name, pairs) != NO_PATH for name in used])
        margin = np.where(tried, at_least(seconds, asked), np.nan)
        return Samples(pairs, conditions(*used), seconds, asked, margin, tried & np.isnan(margin))
