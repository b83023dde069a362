"""What each check of the solved cases measures: one function for each quantity of the check table."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.check_samples import FAILED, SLACK, WARNED, Samples, at_least, at_most
from drenchbook.closing_surge import SurgePaths, spare_pressures
from drenchbook.courses import Courses
from drenchbook.hot_sources import HEATED, Heater, heaters, held_temperature
from drenchbook.hot_water import DAY, HotWater, hot_water, seconds_in
from drenchbook.missing_inputs import MissingInputs
from drenchbook.network_arrays import RUN
from drenchbook.operating_cases import (
    HOT_LOST,
    MIXING,
    NORMAL,
    OTHER_DEMAND,
    POWER_LOST,
    SOURCE_COLD,
    STATES,
    STRAINER_FOULED,
    Pairs,
)
from drenchbook.pipe_heat import station_pair_of_outlets
from drenchbook.pipe_states import PipeStates
from drenchbook.site_cells import BLANK
from drenchbook.site_model import Missing
from drenchbook.solver import frictionless_margin, static_pressures
from drenchbook.solver_results import CANNOT_REACH, NO_PATH, SOLVED, FaultResults, StaticPressures
from drenchbook.standing_water import hottest_first_water

Numbers: TypeAlias = np.ndarray[Any, Any]

ALL_STATES = tuple(range(len(STATES)))


def conditions(*faults: str, states: tuple[int, ...] = ALL_STATES) -> tuple[tuple[str, int], ...]:
    """Every combination of a fault and a state, fault by fault."""
    return tuple((fault, state) for fault in faults for state in states)


class Measures(PipeStates):
    """The measurements of one solved site. Each method gives the Samples of one check."""

    def __init__(self, context: Context):
        super().__init__(context)
        self.cases = context.cases
        self.of_valves: dict[tuple[str, int], Any] = {}  # findings that all stations behind one valve share
        self._required: dict[str, Samples] = {}
        self._mixed: dict[str, Numbers] = {}
        self._hot_seconds: dict[str, Numbers] = {}

    @functools.cached_property
    def hot_water(self) -> HotWater:
        """Minutes of hot water of every case."""
        return hot_water(self.context, self.loop_heat(NORMAL))

    def hot_seconds(self, fault: str) -> Numbers:
        """[S, source pairs] seconds of hot water in a fault, a day at most; not-a-number where not known, or no mix."""
        if fault not in self._hot_seconds:
            if fault == NORMAL:
                found = self.hot_water.seconds
            elif fault in MIXING:
                course = self.courses.sources(fault)[0]
                found = seconds_in(self.context, fault, self.loop_heat(fault), course)
            else:
                found = np.full(self._fault(fault).source_hot_flow.shape, np.nan)
            self._hot_seconds[fault] = np.minimum(found, DAY)
        return self._hot_seconds[fault]

    def _fault(self, name: str) -> FaultResults:
        return self.context.results.fault(name)

    def _limit(self, name: str) -> float:
        value = self.context.limit(name).value
        return float("nan") if value is None else value

    def _states(self, fault: str, pairs: Pairs) -> Numbers:
        """[S, pairs] state of the opening of each pair."""
        return self._fault(fault).state[:, pairs.opening]

    def _no_valve(self, pairs: Pairs) -> Numbers:
        """[pairs of an outlet] whether its station has no mixing valve."""
        return self.context.without_valve[self.cases.outlet_station[pairs.member]]

    # ---- outlets ----

    def solved_faults(self, *faults: str) -> tuple[str, ...]:
        """Those of some faults that can happen on the site."""
        return tuple(fault for fault in faults if fault in self.context.results.names)

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

    def own_outlet_flow(self) -> Samples:
        """VLV-1, VLV-11: flow through the valve, its loop included, over its minimum, one outlet open."""
        valves, single = self.cases.valves, self._one_outlet_openings()
        loop = self.context.network.valve_loop_flow[valves.member] if len(valves.member) else np.zeros(0)
        flow, need = self._fault(NORMAL).valve.flow + loop, self._model_cells("minimum_flow")
        margin = np.where(single[valves.opening], at_least(flow, need), np.nan)
        unknown = single[valves.opening] & np.isnan(margin)
        return Samples(valves, conditions(NORMAL), flow, need, margin, unknown, second=loop > 0)

    def own_outlet_margin(self) -> Samples:
        """VLV-11: the margin of VLV-1."""
        flows, asked = self.own_outlet_flow(), self._limit("VLV-11")
        unknown = flows.unknown | (np.isnan(asked) & ~np.isnan(flows.margin))
        return Samples(flows.pairs, flows.conditions, flows.margin, asked, flows.margin - asked, unknown)

    def _one_outlet_openings(self) -> Numbers:
        return np.diff(self.cases.outlets.offsets) == 1

    def _model_cell(self, valve: Any, column: str) -> float:
        model = self.context.model_of(valve)
        return self.context.cell("valve_models", model, column) if model is not None else float("nan")

    def _model_cells(self, column: str) -> Numbers:
        cells = np.array([self._model_cell(valve, column) for valve in self.context.site.mixing_valves], dtype=float)
        members = self.cases.valves.member
        return cells[members] if len(members) else np.zeros(0)

    def drained_flow(self) -> Samples:
        """DRN-1: flow of all open outlets of a station, against the capacity of its drain."""
        outlets, pairs = self.cases.outlets, self.cases.stations
        count = len(self.context.site.stations)
        wanted = outlets.opening * count + self.cases.outlet_station[outlets.member]
        place = np.searchsorted(pairs.opening * count + pairs.member, wanted)
        flows = self._fault(NORMAL).outlet_flow
        total = np.array([np.bincount(place, weights=row, minlength=len(pairs.member)) for row in flows])
        rows = self.context.site.stations
        drain = np.array([self.context.cell("stations", row, "drain") for row in rows], dtype=float)[pairs.member]
        margin = at_most(total, drain)
        return Samples(pairs, conditions(NORMAL), total, drain, margin, np.isnan(margin))

    # ---- no case: properties of the network ----

    @functools.cached_property
    def static(self) -> StaticPressures:
        """Static pressures of the high state, no flow."""
        return static_pressures(self.context.network)

    @functools.cached_property
    def frictionless_left(self) -> Numbers:
        """PRS-3: for each station the pressure left at required flow without pipe friction. [Pa]"""
        return frictionless_margin(self.context.network, self.context.required_flow, self.context.needed_pressure)

    @functools.cached_property
    def missing(self) -> MissingInputs:
        """Which needed inputs of each station are blank or cannot be used."""
        return MissingInputs(self.context)

    def residual(self) -> Samples:
        """DAT-3: what the solver left open, in pressure and in each flow, against its limits."""
        pairs = self.cases.stations
        pressure, flow = self._limit("DAT-3 pressure"), self._limit("DAT-3 flow")
        used = self.solved_faults(NORMAL, HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST)
        parts, unknown = [], []
        for name in used:
            fault, state = self._fault(name), self._states(name, pairs)
            by_pressure = at_most(fault.residual_pressure, pressure)
            margin = np.minimum(by_pressure, at_most(fault.residual_flow, flow))[:, pairs.opening]
            parts.append(np.where(state == SOLVED, margin, np.nan))
            unknown.append((state != NO_PATH) & ((state != SOLVED) | np.isnan(margin)))
        margins = np.concatenate(parts)
        return Samples(pairs, conditions(*used), np.nan, np.nan, margins, np.concatenate(unknown))

    # ---- velocities ----

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
        pressure = static + self.surge_paths.pressure_per_velocity()[pairs.member] * np.maximum(*self.speeds())
        margin = at_most(pressure, rating)
        return Samples(pairs, conditions(NORMAL), pressure, rating, margin, np.isnan(margin))

    # ---- valves ----

    def valve_flow(self) -> Samples:
        """VLV-2: flow through the valve within its model's data."""
        flow, asked = self._fault(NORMAL).valve.flow, self._model_cells("maximum_flow")
        beyond = self._fault(NORMAL).valve.beyond_model
        margin = np.where(beyond, -1.0, at_most(flow, asked))
        return Samples(self.cases.valves, conditions(NORMAL), flow, asked, margin, np.isnan(margin))

    def inlet_pressures(self) -> Samples:
        """VLV-4: ratio and difference of the inlet pressures, whichever is worse against its limit."""
        valve = self._fault(NORMAL).valve
        high = np.maximum(valve.hot_pressure, valve.cold_pressure)
        low = np.minimum(valve.hot_pressure, valve.cold_pressure)
        ratio = np.where(low > 0, high / np.where(low > 0, low, 1.0), np.where(np.isnan(low), np.nan, np.inf))
        limits = self._model_cells("maximum_pressure_ratio"), self._model_cells("maximum_pressure_difference")
        margins = at_most(ratio, limits[0]), at_most(high - low, limits[1])
        second = margins[1] < margins[0]
        value, limit = np.where(second, high - low, ratio), np.where(second, limits[1], limits[0])
        margin = np.minimum(*margins)
        return Samples(self.cases.valves, conditions(NORMAL), value, limit, margin, np.isnan(margin), second=second)

    def stem_position(self) -> Samples:
        """VLV-6: stem position of the valve in normal use."""
        least, greatest = self._limit("VLV-6 least"), self._limit("VLV-6 greatest")
        stem = self._fault(NORMAL).valve.stem
        margin = np.minimum(stem - least, greatest - stem)
        limit = np.where(stem - least < greatest - stem, least, greatest)
        return Samples(self.cases.valves, conditions(NORMAL), stem, limit, margin, np.isnan(margin))

    def bypass_opening(self) -> Samples:
        """BYP-5: pressure difference over the valve in normal use, against the opening of a fitted bypass."""
        valve = self._fault(NORMAL).valve
        # whether a bypass is fitted may be blank: then it is not known whether one opens
        fitted = np.array([row.parallel_bypass is not False for row in self.context.site.mixing_valves], dtype=bool)
        said = np.array([row.parallel_bypass is True for row in self.context.site.mixing_valves], dtype=bool)
        members = self.cases.valves.member
        fitted, said = (one[members] if len(members) else np.zeros(0, dtype=bool) for one in (fitted, said))
        asked = self._model_cells("bypass_opening")
        difference = valve.cold_pressure - valve.outlet_pressure
        margin = np.where(said, at_most(difference, asked), np.nan)
        unknown = fitted & np.isnan(margin)
        return Samples(self.cases.valves, conditions(NORMAL), difference, asked, margin, unknown)

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

    # ---- hot water ----

    def minutes(self) -> Samples:
        """HOT-1: seconds of hot water by the governing model."""
        hot, asked = self.hot_water, self._limit("HOT-1")
        seconds = np.minimum(hot.seconds, DAY)
        margin = at_least(seconds, asked)
        return Samples(self.cases.sources, conditions(NORMAL), seconds, asked, margin, np.isnan(margin))

    def minutes_other(self) -> Samples:
        """HOT-2: seconds by the other tank model."""
        hot, asked = self.hot_water, self._limit("HOT-2")
        seconds = np.minimum(hot.seconds_other, DAY)
        margin = at_least(seconds, asked)
        stored = np.array([name in ("stratified", "mixed") for name in hot.governs], dtype=bool)
        stored = stored[self.cases.sources.member] if len(self.cases.sources.member) else np.zeros(0, dtype=bool)
        return Samples(
            self.cases.sources,
            conditions(NORMAL),
            seconds,
            asked,
            np.where(stored, margin, np.nan),
            stored & np.isnan(margin),
        )

    def minutes_margin(self) -> Samples:
        """HOT-3: the margin of HOT-1."""
        minutes, asked = self.minutes(), self._limit("HOT-3")
        unknown = minutes.unknown | np.isnan(asked)
        return Samples(minutes.pairs, minutes.conditions, minutes.margin, asked, minutes.margin - asked, unknown)

    def heating(self) -> Samples:
        """HOT-4: hot flow through a source without storage within its data, and the rise of its temperature."""
        hot, pairs = self.hot_water, self.cases.sources
        heated = np.array([heater.kind in HEATED for heater in self.heaters], dtype=bool)[pairs.member]
        limit = np.array([heater.rise for heater in self.heaters], dtype=float)[pairs.member]
        by_rise = np.where(np.isneginf(hot.rise), np.inf, at_most(hot.rise, limit))
        second = by_rise < hot.flow_margin
        value, asked = np.where(second, hot.rise, hot.heated_flow), np.where(second, limit, hot.allowed_flow)
        margin = np.where(heated, np.minimum(by_rise, hot.flow_margin), np.nan)
        return Samples(pairs, conditions(NORMAL), value, asked, margin, heated & np.isnan(margin), second=second)

    @functools.cached_property
    def heaters(self) -> tuple[Heater, ...]:
        """Every hot water source, in SI."""
        return heaters(self.context)

    def mixed_temperature_in(self, fault: str) -> Numbers:
        """[S, valve pairs] temperature at which water leaves each valve in a fault, with what its source holds."""
        if fault not in self._mixed:
            results = self._fault(fault)
            held = (
                held_temperature(self.context, results, self.heaters, self.loop_heat(fault))
                if fault in MIXING
                else np.inf
            )
            self._mixed[fault] = np.minimum(results.valve.mixed_temperature, held)
        return self._mixed[fault]

    # ---- temperatures ----

    @functools.cached_property
    def start_temperature(self) -> Numbers:
        """[S, station pairs] temperature at which water leaves the valve, or the supply of a station without one."""
        pairs, valves = self.cases.stations, self.cases.valves
        cold = np.array([self.context.cold_temperature(season) for season, _ in STATES])
        start = np.broadcast_to(cold[:, None], (len(STATES), len(pairs.member))).copy()
        valve = self.context.network.station_valve[pairs.member] if len(pairs.member) else np.zeros(0, dtype=int)
        if len(valves.member):
            wide = len(self.context.site.mixing_valves) + 1
            key = valves.opening * wide + valves.member
            order = np.argsort(key)
            place = order[np.minimum(np.searchsorted(key[order], pairs.opening * wide + valve), len(key) - 1)]
            start = np.where(valve >= 0, self.mixed_temperature_in(NORMAL)[:, place], start)
        return np.where(self._states(NORMAL, pairs) == SOLVED, start, np.nan)

    @functools.cached_property
    def delivered_temperatures(self) -> tuple[Numbers, Numbers]:
        """[S, outlet pairs] least and greatest delivered temperature: pipes that help are not relied on.

        Heat gained on the way counts where it is too much, heat lost where it is too much; not the other way round.
        """
        start = self.start_temperature
        arriving = self.tempered_passage.arriving(start)
        pair = station_pair_of_outlets(self.context)
        return np.minimum(start, arriving)[:, pair], np.maximum(start, arriving)[:, pair]

    def temperature_least(self) -> Samples:
        """TMP-1: delivered temperature over its least, every season and flow."""
        return self._temperature("TMP least", +1.0, self.delivered_temperatures[0])

    def temperature_greatest(self) -> Samples:
        """TMP-2: delivered temperature under its greatest, every season and flow."""
        return self._temperature("TMP greatest", -1.0, self.delivered_temperatures[1])

    def _temperature(self, limit: str, sign: float, delivered: Numbers) -> Samples:
        asked = self._limit(limit)
        span = self._limit("TMP greatest") - self._limit("TMP least")
        span = span if span > 0 else float("nan")  # limits that leave no room judge nothing
        # what is already missed at the valve is missed, whatever stands around the pipes
        start = self.start_temperature[:, station_pair_of_outlets(self.context)]
        delivered = np.where(np.isnan(delivered) & (sign * (start - asked) < 0), start, delivered)
        margin = sign * (delivered - asked) / span
        return Samples(self.cases.outlets, conditions(NORMAL), delivered, asked, margin, np.isnan(margin))

    # ---- first water ----

    @property
    def _has_runs(self) -> Numbers:
        """[stations] whether water stands in a run before the station."""
        network = self.context.network
        return np.asarray(network.node_kind[network.station_node] == RUN)

    @functools.cached_property
    def _untepid(self) -> tuple[Numbers, Numbers]:
        """[S, station pairs] seconds outside the temperature limits, not-a-number where unknown; [pairs] no valve."""
        pairs = self.cases.stations
        purge, first = self._fault(NORMAL).station.purge_seconds, self.first_water[:, pairs.member]
        least, greatest = self._limit("TMP least"), self._limit("TMP greatest")
        tepid = (first >= least - SLACK) & (first <= greatest + SLACK)
        seconds = np.where(
            ~self._has_runs[pairs.member], 0.0, np.where(np.isnan(first), np.nan, np.where(tepid, 0.0, purge))
        )
        known = (self._states(NORMAL, pairs) == SOLVED) & ~np.isnan(least + greatest)
        return np.where(known, seconds, np.nan), self.context.without_valve[pairs.member]

    @functools.cached_property
    def courses(self) -> Courses:
        """Fifteen minutes of every case."""
        return Courses(self.context, self)

    def untepid_seconds(self, limit: str) -> Samples:
        """DLG-2, DLG-5: time outside the temperature limits from opening; 0 where all that comes is tepid."""
        seconds, asked = self.courses.summary(NORMAL).untepid, self._limit(limit)
        direct = self.context.without_valve[self.cases.stations.member]
        margin = np.where(direct, np.nan, at_most(seconds, asked))
        return Samples(self.cases.stations, conditions(NORMAL), seconds, asked, margin, ~direct & np.isnan(margin))

    def hot_first_water(self) -> Samples:
        """DLG-1: the hottest water that stood in the runs of a station, against what warns and what fails."""
        pairs, span = self.cases.stations, self._limit("TMP greatest") - self._limit("TMP least")
        value = hottest_first_water(self.context, self.standing)[:, pairs.member]
        warns, fails = self._limit("DLG-1 warning"), self._limit("DLG-1 failure")
        failed = value > fails + SLACK
        limit = np.where(failed | np.isnan(warns), fails, warns)
        margin = (limit - value) / (span if span > 0 else float("nan"))
        stood = self._has_runs[pairs.member]
        hidden = np.isnan(margin) | (~failed & np.isnan(warns + fails))
        return Samples(pairs, conditions(NORMAL), value, limit, np.where(stood, margin, np.nan), stood & hidden,
                       severity=np.where(failed, FAILED, WARNED))  # fmt: skip

    def cooled_hot_run(self) -> Samples:
        """DLG-4: time until a valve, full hot, has drawn what stood below its set temperature in its hot runs."""
        pairs, asked = self.cases.valves, self._limit("DLG-4")
        seconds, colder = self.courses.cooled_hot_runs(NORMAL)
        margin = at_most(seconds, asked)
        # water that may stand warm enough is told only where it would be gone in time anyhow
        margin = np.where(np.isnan(colder) & (margin < -SLACK), np.nan, margin)
        applies = colder != 0
        return Samples(pairs, conditions(NORMAL), seconds, asked, np.where(applies, margin, np.nan),
                       applies & np.isnan(margin))  # fmt: skip

    def purge_outlasts(self) -> Samples:
        """DLG-3: purge against the flushing time, where the first water is tepid."""
        purge, asked = self._fault(NORMAL).station.purge_seconds, self._limit("HOT-1")
        untepid, direct = self._untepid
        applies = ~direct & ((untepid == 0) | np.isnan(untepid))
        margin = np.where(applies & (untepid == 0), at_most(purge, asked), np.nan)
        return Samples(self.cases.stations, conditions(NORMAL), purge, asked, margin, applies & np.isnan(margin))
