"""What the checks of hot water, temperatures and first water measure."""

from __future__ import annotations

import functools
from typing import Any, TypeAlias

import numpy as np

from drenchbook.case_measures import CaseMeasures, conditions
from drenchbook.check_samples import FAILED, SLACK, WARNED, Samples, at_least, at_most
from drenchbook.hot_sources import HEATED
from drenchbook.hot_water import DAY
from drenchbook.network_arrays import RUN
from drenchbook.operating_cases import (
    NORMAL,
    STATES,
)
from drenchbook.pipe_heat import station_pair_of_outlets
from drenchbook.solver_results import SOLVED
from drenchbook.standing_water import hottest_first_water

Numbers: TypeAlias = np.ndarray[Any, Any]


class HeatMeasures(CaseMeasures):
    """Measurements of sources and temperatures. Each method gives the Samples of one check."""

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
