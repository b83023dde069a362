"""What each check of the solved cases measures: one function for each quantity of the check table."""

from __future__ import annotations

import functools
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.check_samples import FAILED, WARNED, Samples
from drenchbook.hot_water import HotWater, hot_water
from drenchbook.operating_cases import HOT_LOST, NORMAL, SOURCE_COLD, STATES, Pairs
from drenchbook.site_model import Missing, tag_key
from drenchbook.site_tables import TABLE_BY_KEY
from drenchbook.solver import frictionless_margin, static_pressures
from drenchbook.solver_results import (
    CANNOT_REACH,
    NO_PATH,
    NOT_CONVERGED,
    SOLVED,
    TOO_COLD,
    FaultResults,
    StaticPressures,
)

Numbers: TypeAlias = np.ndarray[Any, Any]

COLD_STATES = tuple(number for number, (season, _) in enumerate(STATES) if season == "cold")
WARM_STATES = tuple(number for number, (season, _) in enumerate(STATES) if season == "warm")
ALL_STATES = tuple(range(len(STATES)))


def conditions(*faults: str, states: tuple[int, ...] = ALL_STATES) -> tuple[tuple[str, int], ...]:
    """Every combination of a fault and a state, fault by fault."""
    return tuple((fault, state) for fault in faults for state in states)


class Measures:
    """The measurements of one solved site. Each method gives the Samples of one check."""

    def __init__(self, context: Context):
        self.context, self.cases = context, context.cases

    @functools.cached_property
    def hot_water(self) -> HotWater:
        """Minutes of hot water of every case."""
        return hot_water(self.context)

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
        without = np.array([valve is None for valve in self.context.valve_of_station], dtype=bool)
        return without[self.cases.outlet_station[pairs.member]]

    # ---- outlets ----

    def required_flow(self, fault: str) -> Samples:
        """FLW-1, BYP-1, BYP-2: flow of each outlet over its required flow."""
        pairs, state = self.cases.outlets, self._states(fault, self.cases.outlets)
        flow = self._fault(fault).outlet_flow
        need = self.context.required_flow[pairs.member]
        margin = flow / need - 1
        dry = (state == CANNOT_REACH) | ((state == NO_PATH) & ~self._no_valve(pairs))
        margin = np.where(dry & ~np.isnan(need), -1.0, margin)
        applies = ~((state == NO_PATH) & self._no_valve(pairs)) & self._asked(pairs)
        unknown = applies & np.isnan(margin)
        return Samples(
            pairs, conditions(fault), np.where(dry, 0.0, flow), need, np.where(applies, margin, np.nan), unknown
        )

    def _asked(self, pairs: Pairs) -> Numbers:
        """[pairs] every outlet asks for its flow."""
        return np.ones(len(pairs.member), dtype=bool)

    def flow_margin(self) -> Samples:
        """FLW-2: of a regulated outlet above its minimum pressure the pressure margin, else the flow margin."""
        pairs, parts = self.cases.outlets, []
        regulated = np.array([outlet.regulated for outlet in self.context.outlets], dtype=bool)[pairs.member]
        minimum = np.array([outlet.rated_pressure for outlet in self.context.outlets], dtype=float)[pairs.member]
        for fault in (NORMAL, HOT_LOST, SOURCE_COLD):
            flows = self.required_flow(fault)
            pressure = self._fault(fault).outlet_pressure
            above = regulated & (pressure >= minimum) & (flows.margin >= 0)
            parts.append(np.where(above, pressure / minimum - 1, flows.margin))
        margin = np.concatenate(parts)
        asked = self._limit("FLW-2")
        faults = conditions(NORMAL, HOT_LOST, SOURCE_COLD)
        unknown = np.concatenate([self.required_flow(f).unknown for f in (NORMAL, HOT_LOST, SOURCE_COLD)])
        return Samples(pairs, faults, margin, asked, margin - asked, unknown | (np.isnan(asked) & ~np.isnan(margin)))

    def greatest_flow(self, limit: str) -> Samples:
        """FLW-3, FLW-4: flow of each outlet over its required flow, the largest."""
        pairs, state = self.cases.outlets, self._states(NORMAL, self.cases.outlets)
        ratio = self._fault(NORMAL).outlet_flow / self.context.required_flow[pairs.member]
        asked = self._limit(limit)
        unknown = np.isnan(ratio) | (state != SOLVED) | np.isnan(asked)
        return Samples(pairs, conditions(NORMAL), ratio, asked, 1 - ratio / asked, unknown)

    def outlet_pressure(self) -> Samples:
        """PRS-1: pressure at each outlet; only a warning where the required flow is met all the same."""
        pairs, state = self.cases.outlets, self._states(NORMAL, self.cases.outlets)
        pressure, need = self._fault(NORMAL).outlet_pressure, self.context.needed_pressure[pairs.member]
        flows = self.required_flow(NORMAL)
        margin = np.where(state == CANNOT_REACH, -1.0, pressure / need - 1)
        severity = np.where(flows.margin >= -1e-9, WARNED, FAILED)
        return Samples(pairs, conditions(NORMAL), pressure, need, margin, np.isnan(margin), severity)

    def own_outlet_flow(self) -> Samples:
        """VLV-1, VLV-11: flow through the valve over its minimum flow, in openings of one outlet only."""
        valves, single = self.cases.valves, self._one_outlet_openings()
        minimum = np.array(
            [self._model_cell(valve, "minimum_flow") for valve in self.context.site.mixing_valves], dtype=float
        )
        need = minimum[valves.member] if len(valves.member) else np.zeros(0)
        flow = self._fault(NORMAL).valve.flow
        margin = np.where(single[valves.opening], flow / need - 1, np.nan)
        unknown = single[valves.opening] & np.isnan(margin)
        return Samples(valves, conditions(NORMAL), flow, need, margin, unknown)

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

    # ---- no case: properties of the network ----

    @functools.cached_property
    def static(self) -> StaticPressures:
        """Static pressures of the high state, no flow."""
        return static_pressures(self.context.network)

    @functools.cached_property
    def frictionless_left(self) -> Numbers:
        """PRS-3: for each station the pressure left at required flow without pipe friction. [Pa]"""
        return frictionless_margin(self.context.network, self.context.required_flow, self.context.needed_pressure)

    def missing_inputs(self, station: int) -> list[str]:
        """Sentences about every needed input of a station that is blank or cannot be used."""
        context = self.context
        row = context.site.stations[station]
        sentences = [*context.network.missing[station], *unusable_cells("stations", row)]
        for key, tag in context.walks[station]:
            sentences += unusable_cells(key, context.rows[key][tag])
        models = [("valve_models", context.model_of(context.valve_of_station[station]))]
        models += [
            ("outlet_models", context.rows["outlet_models"].get(tag_key(getattr(row, f"outlet_{slot}"))))
            for slot in (1, 2, 3)
        ]
        for key, model in models:
            sentences += unusable_cells(key, model) if model is not None else []
        sentences += self.event_gaps.get(station, [])
        return list(dict.fromkeys(sentences))

    def residual(self) -> Samples:
        """DAT-3: what the solver left open, in pressure and in each flow, against its limits."""
        pairs = self.cases.stations
        pressure, flow = self._limit("DAT-3 pressure"), self._limit("DAT-3 flow")
        used, parts, unknown = (NORMAL, HOT_LOST, SOURCE_COLD), [], []
        for name in used:
            fault = self._fault(name)
            margin = 1 - np.maximum(fault.residual_pressure / pressure, fault.residual_flow / flow)
            parts.append(margin[:, pairs.opening])
            unknown.append((fault.state == NOT_CONVERGED)[:, pairs.opening])
        margins = np.concatenate(parts)
        return Samples(pairs, conditions(*used), np.nan, np.nan, margins, np.concatenate(unknown))

    @functools.cached_property
    def event_gaps(self) -> dict[int, list[str]]:
        """For each station the reasons why the sets of one of its events are not known."""
        gaps: dict[int, list[str]] = {}
        numbers = {tag_key(row.tag): number for number, row in enumerate(self.context.site.stations)}
        for event, why in zip(self.context.site.events, self.cases.event_missing, strict=True):
            for tag in event.stations if why and isinstance(event.stations, tuple) else ():
                gaps.setdefault(numbers[tag_key(tag)], []).append(why)
        return gaps

    # ---- velocities ----

    def velocity(self) -> Samples:
        """VEL-1: the larger share of its limit, cold and tempered runs or hot runs."""
        pairs, station = self.cases.stations, self._fault(NORMAL).station
        cold, hot = self._limit("VEL-1 cold"), self._limit("VEL-1 hot")
        share_cold, share_hot = station.velocity_cold / cold, np.nan_to_num(station.velocity_hot) / hot
        is_hot = share_hot > share_cold
        value = np.where(is_hot, station.velocity_hot, station.velocity_cold)
        limit = np.where(is_hot, hot, cold)
        margin = 1 - value / limit
        unknown = np.isnan(margin) | np.isnan(cold) | np.isnan(hot)
        return Samples(pairs, conditions(NORMAL), value, limit, margin, unknown)

    # ---- valves ----

    def valve_flow(self) -> Samples:
        """VLV-2: flow through the valve within its model's data."""
        flow, asked = self._fault(NORMAL).valve.flow, self._model_cells("maximum_flow")
        beyond = self._fault(NORMAL).valve.beyond_model
        margin = np.where(beyond, -1.0, 1 - flow / asked)
        return Samples(self.cases.valves, conditions(NORMAL), flow, asked, margin, np.isnan(margin))

    def inlet_pressures(self) -> Samples:
        """VLV-4: ratio and difference of the inlet pressures, whichever is the larger share of its limit."""
        valve = self._fault(NORMAL).valve
        high = np.fmax(valve.hot_pressure, valve.cold_pressure)
        low = np.fmin(valve.hot_pressure, valve.cold_pressure)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratio = np.where(low > 0, high / low, np.where(np.isnan(low), np.nan, np.inf))
        asked = self._model_cells("maximum_pressure_ratio")
        asked_difference = self._model_cells("maximum_pressure_difference")
        margin = 1 - ratio / asked
        margin_difference = 1 - (high - low) / asked_difference
        margin = np.where(np.isnan(asked_difference), margin, np.minimum(margin, margin_difference))
        return Samples(self.cases.valves, conditions(NORMAL), ratio, asked, margin, np.isnan(margin))

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
        fitted = np.array([row.parallel_bypass is True for row in self.context.site.mixing_valves], dtype=bool)
        fitted = fitted[self.cases.valves.member] if len(self.cases.valves.member) else np.zeros(0, dtype=bool)
        asked = self._model_cells("bypass_opening")
        difference = valve.cold_pressure - valve.outlet_pressure
        margin = np.where(fitted, 1 - difference / asked, np.nan)
        unknown = fitted & np.isnan(margin)
        return Samples(self.cases.valves, conditions(NORMAL), difference, asked, margin, unknown)

    # ---- hot water ----

    def minutes(self) -> Samples:
        """HOT-1: seconds of hot water by the governing model."""
        hot, asked = self.hot_water, self._limit("HOT-1")
        seconds = np.minimum(hot.seconds, 86400.0)
        margin = seconds / asked - 1
        return Samples(self.cases.sources, conditions(NORMAL), seconds, asked, margin, np.isnan(margin))

    def minutes_other(self) -> Samples:
        """HOT-2: seconds by the other tank model."""
        hot, asked = self.hot_water, self._limit("HOT-2")
        seconds = np.minimum(hot.seconds_other, 86400.0)
        margin = seconds / asked - 1
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

    # ---- temperatures ----

    def delivered_temperature(self) -> Numbers:
        """[S, outlet pairs] temperature at which water leaves the valve, or the cold water of a station without one."""
        pairs, valves = self.cases.outlets, self.cases.valves
        cold = np.array([self.context.cold_temperature(season) for season, _ in STATES])
        delivered = np.broadcast_to(cold[:, None], (len(STATES), len(pairs.member))).copy()
        tags = {id(row): number for number, row in enumerate(self.context.site.mixing_valves)}
        of_station = np.array([-1 if v is None else tags[id(v)] for v in self.context.valve_of_station], dtype=int)
        valve = of_station[self.cases.outlet_station[pairs.member]] if len(of_station) else np.zeros(0, dtype=int)
        if len(valves.member):
            key = valves.opening * (len(tags) + 1) + valves.member
            order = np.argsort(key)
            wanted = pairs.opening * (len(tags) + 1) + valve
            place = order[np.minimum(np.searchsorted(key[order], wanted), len(key) - 1)]
            mixed = self._fault(NORMAL).valve.mixed_temperature
            delivered = np.where(valve >= 0, mixed[:, place], delivered)
        return np.where(self._states(NORMAL, pairs) == SOLVED, delivered, np.nan)

    def temperature_least(self) -> Samples:
        """TMP-1: delivered temperature over its least, every season and flow."""
        return self._temperature("TMP least", +1.0)

    def temperature_greatest(self) -> Samples:
        """TMP-2: delivered temperature under its greatest, every season and flow."""
        return self._temperature("TMP greatest", -1.0)

    def _temperature(self, limit: str, sign: float) -> Samples:
        delivered, asked = self.delivered_temperature(), self._limit(limit)
        span = self._limit("TMP greatest") - self._limit("TMP least")
        margin = sign * (delivered - asked) / span
        return Samples(self.cases.outlets, conditions(NORMAL), delivered, asked, margin, np.isnan(margin))

    def cannot_reach_set(self) -> Numbers:
        """[S, valve pairs] whether the hot water is not hot enough for the set temperature."""
        return np.asarray(self._fault(NORMAL).valve.reach == TOO_COLD)

    # ---- first water ----

    @functools.cached_property
    def first_water(self) -> Numbers:
        """[S, stations] temperature of the water that has stood in the tempered runs of a station, the least tepid one.

        Inside a room it is the room's, outside the air's, buried the ground's, in a held run the held temperature; not
        known where that input is blank, or where the sun shines on the run. [°C]
        """
        middle = (self._limit("TMP least") + self._limit("TMP greatest")) / 2
        values = np.full((len(STATES), len(self.context.site.stations)), np.nan)
        for number in range(len(self.context.site.stations)):
            runs = self._tempered_runs(number)
            for state, (season, _) in enumerate(STATES):
                standing = np.array([self._standing(run, season) for run in runs], dtype=float)
                if len(standing) and not np.isnan(standing).any():
                    values[state, number] = standing[np.argmax(np.abs(standing - middle))]
        return values

    def _tempered_runs(self, station: int) -> list[Any]:
        """The runs from a station up to its valve (or to its supply where it has none)."""
        runs = []
        for key, tag in self.context.walks[station]:
            if key != "pipe_runs":
                break
            runs.append(self.context.rows[key][tag])
        return runs

    def _standing(self, run: Any, season: str) -> float:
        held = self.context.cell("pipe_runs", run, "held_temperature")
        if not np.isnan(held):
            return held
        project = self.context.site.project
        sun = getattr(project, f"sun_{season}")
        if run.exposure == "outside" and run.sun is not False and sun is not False:
            return float("nan")
        column = {"inside": "room", "outside": "outside_air", "buried": "ground"}.get(run.exposure, "")
        return self.context.cell("project", project, f"{column}_{season}") if column else float("nan")

    def untepid_seconds(self) -> Samples:
        """DLG-2: time outside the temperature limits from opening; 0 where the first water is tepid."""
        pairs = self.cases.stations
        purge, asked = self._fault(NORMAL).station.purge_seconds, self._limit("DLG-2")
        first = self.first_water[:, pairs.member]
        tepid = (first >= self._limit("TMP least") - 1e-9) & (first <= self._limit("TMP greatest") + 1e-9)
        direct = np.array([valve is None for valve in self.context.valve_of_station], dtype=bool)[pairs.member]
        none = np.array([not self._tempered_runs(n) for n in range(len(self.context.site.stations))], dtype=bool)
        seconds = np.where(none[pairs.member], 0.0, np.where(np.isnan(first), np.nan, np.where(tepid, 0.0, purge)))
        margin = np.where(direct, np.nan, 1 - seconds / asked)
        return Samples(pairs, conditions(NORMAL), seconds, asked, margin, ~direct & np.isnan(margin))

    def purge_outlasts(self) -> Samples:
        """DLG-3: purge against the flushing time, where the first water is tepid."""
        pairs = self.cases.stations
        purge, asked = self._fault(NORMAL).station.purge_seconds, self._limit("HOT-1")
        tepid = self.untepid_seconds()
        margin = np.where(tepid.value == 0, 1 - purge / asked, np.nan)
        return Samples(pairs, conditions(NORMAL), purge, asked, margin, False)


def unusable_cells(table_key: str, row: Any) -> list[str]:
    """Sentences about the cells of one row that were typed but cannot be used, or that are always needed and blank."""
    return [
        f"{column.heading}: {value}"
        for column in TABLE_BY_KEY[table_key].columns
        if isinstance(value := getattr(row, column.name), Missing)
        and (column.need == "always" or value.typed is not None)
    ]
