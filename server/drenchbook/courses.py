"""Fifteen minutes at every station in every case: what is felt, for how long it is tepid, what is left.

Four waters follow each other at a station: the one that stood in its tempered runs, then (later by the purge) what
its valve made of the water that stood in the hot runs, of cold water until a heater without storage has started, and of
what the source gives from then on. Summaries are exact, not sampled: each part is in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.hot_courses import HotCourse, courses_of_sources, left_after, recovery_seconds
from drenchbook.hot_sources import (
    Heater,
    cold_enthalpy,
    gives_cold,
    heaters,
    source_pair_of_valves,
    valve_mass,
    valve_numbers,
)
from drenchbook.loops import held_temperatures
from drenchbook.network_arrays import NONE
from drenchbook.operating_cases import AFTER_IDLE, AFTER_RECOVERY, CIRCULATION_OFF, NORMAL, POWER_LOST, STATES
from drenchbook.physics.water import density_kernel, enthalpy_kernel, temperature_of_enthalpy_kernel
from drenchbook.pipe_heat import station_flows, tempered_passage
from drenchbook.pipe_states import PipeStates
from drenchbook.solver_results import SOLVED, FaultResults
from drenchbook.standing_seconds import StandingWater, stood_water, untepid_seconds
from drenchbook.standing_water import standing_hot_content, standing_temperatures
from drenchbook.surroundings import SEASONS, runs_above

Numbers: TypeAlias = np.ndarray[Any, Any]

BLOCK_PAIRS = (
    5_000  # pairs of an opening and a station worked out together; memory grows with it, answers do not change
)
SLACK = 0.005  # [J/kg] a millionth of a kelvin: a temperature equal to its limit meets it
SEASON = np.array([SEASONS.index(season) for season, _ in STATES])


@dataclass(frozen=True)
class Summary:
    """What a course comes to; arrays [S, pairs of an opening and a station]; not-a-number where it is not known.

    Seconds are within the flushing time, but for `purge`, `untepid` and `tepid_after`: a water that begins to arrive
    within it counts to its end.
    """

    inside: Numbers  # [s] tepid, and known to be: minutes without the valve's set temperature held are not counted
    first: Numbers  # [°C] the water that stood in the tempered runs
    purge: Numbers  # [s] until it is gone
    untepid: Numbers  # [s] outside the limits before it is tepid for the first time without a break
    tepid_after: Numbers  # [s] from opening to that; infinite: never
    lowest: Numbers  # [°C] felt
    highest: Numbers  # [°C] felt


@dataclass(frozen=True)
class Phases:
    """All that makes the courses of some pairs of an opening and a station; arrays [S, pairs].

    Heat is counted above the cold water [J/kg].
    """

    cold: Numbers  # [J/kg] enthalpy of the cold water, [S, 1]
    wanted: Numbers  # [J/kg] of the set temperature
    needed: Numbers  # [J/kg] of hot water that holds it
    purge: Numbers  # [s] of the tempered runs
    first: Numbers  # [°C] where it is farthest from tepid
    coldest: Numbers  # [°C] of all that stood there
    hottest: Numbers
    stale: Numbers  # [s] of the purge in which it is not tepid
    stale_end: Numbers  # [s] after which all of it is tepid
    cooled: Numbers  # [s] in which water that stood in the hot runs arrives at the valve
    stood: Numbers  # [J/kg] of that water
    silent: Numbers  # [s] then: cold water
    kept: Numbers  # what the tempered runs do to the water: it arrives at kept · T + gained
    gained: Numbers
    known: Numbers  # bool
    source: HotCourse  # of the source of each pair, by one tank model

    def mixed(self, surplus: Numbers) -> Numbers:
        """Heat behind a valve: that of its set temperature, or with the valve full hot that of the hot water."""
        return np.minimum(self.wanted, surplus)

    def temperature(self, heat: Numbers) -> Numbers:
        """Temperature behind the valve. [°C]"""
        return np.asarray(temperature_of_enthalpy_kernel(self.cold + heat))

    def at_valve(self, time: Numbers) -> Numbers:
        """Heat behind the valve at times [s] from opening. [J/kg]"""
        stood = np.where(time < self.cooled, self.stood, 0.0)
        cold = time < self.cooled + self.silent
        return self.mixed(np.where(cold, stood, self.source.surplus(np.maximum(time, 0.0))))

    def arriving(self, temperature: Numbers) -> Numbers:
        """Temperature at the station of water of a temperature at the valve. [°C]"""
        return self.kept * temperature + self.gained


@dataclass(frozen=True)
class _Parts:
    """What the courses of a fault are made of, before each pair of an opening and a station takes its own."""

    results: FaultResults
    cold: Numbers
    place: Numbers  # [station pairs] in the pairs of valves
    valve: Numbers  # [station pairs]
    course: HotCourse  # [S, source pairs]
    cooled: Numbers  # [S, valve pairs]
    stood: Numbers
    water: StandingWater
    stale: Numbers  # [S, station pairs]
    stale_end: Numbers
    purge: Numbers  # [S, station pairs]
    kept: Numbers
    gained: Numbers


class Courses:
    """The courses of one solved site: what all faults share is worked out once."""

    def __init__(self, context: Context, pipes: PipeStates | None = None):
        self.context, self.cases, self.network = context, context.cases, context.network
        self.pipes = PipeStates(context) if pipes is None else pipes
        self.heaters: tuple[Heater, ...] = heaters(context)
        limits = [context.limit(name).value for name in ("HOT-1", "TMP least", "TMP greatest")]
        self.flush, self.least, self.greatest = (np.nan if value is None else value for value in limits)
        self._summaries: dict[str, Summary] = {}
        self._standing: dict[str, tuple[StandingWater, Numbers, Numbers]] = {}
        self._storage: dict[str, tuple[Numbers, Numbers]] = {}

    def summary(self, fault: str = NORMAL) -> Summary:
        """Every course of a fault in numbers, by the governing tank model."""
        if fault not in self._summaries and not (self.context.results.fault(fault).state == SOLVED).any():
            nothing = np.full((len(STATES), len(self.cases.stations.member)), np.nan)
            self._summaries[fault] = Summary(*(nothing for _ in fields(Summary)))
        if fault not in self._summaries:
            parts, count = self._parts(fault, other_model=False), len(self.cases.stations.member)
            blocks = [self._summary(self._phases(parts, np.arange(start, min(start + BLOCK_PAIRS, count))))
                      for start in range(0, max(count, 1), BLOCK_PAIRS)]  # fmt: skip
            self._summaries[fault] = Summary(*(
                np.concatenate([getattr(one, field.name) for one in blocks], axis=1) for field in fields(Summary)
            ))  # fmt: skip
        return self._summaries[fault]

    def sources(self, fault: str) -> tuple[HotCourse, HotCourse]:
        """The courses of the sources [S, source pairs], by the governing and by the other tank model."""
        again = None
        if fault == AFTER_RECOVERY:
            again = self.context.cell("project", self.context.site.project, "recovery_time")
        loops = self.pipes.loop_heat(fault)
        return courses_of_sources(self.context, self.context.results.fault(fault), self.heaters, loops, again)

    def storage(self, fault: str) -> tuple[Numbers, Numbers]:
        """What storages have left after the flush, as water of their start temperature [m³], and their recovery [s].

        Arrays [S, source pairs]; not-a-number where it is not known, or nothing is stored.
        """
        if fault not in self._storage:
            course = self.sources(fault)[0]
            warm = np.array([one.temperature for one in self.heaters], dtype=float)[self.cases.sources.member]
            left = left_after(course, self.flush) / (course.full * density_kernel(warm))
            self._storage[fault] = left, recovery_seconds(course, self.flush)
        return self._storage[fault]

    def phases(self, fault: str, pairs: Numbers, other_model: bool = False) -> Phases:
        """What makes the courses of some pairs of an opening and a station in a fault."""
        return self._phases(self._parts(fault, other_model), pairs)

    def _parts(self, fault: str, other_model: bool) -> _Parts:
        results, cold = self.context.results.fault(fault), cold_enthalpy(self.context)
        water, *hot_runs = self._standing_of(fault)
        cooled, stood = self._hot_runs(results, cold, *hot_runs)
        place, valve = self._valve_of_pairs()
        flow = station_flows(self.context, fault)
        kept, gained = self._passage(flow)
        purge = results.station.purge_seconds
        if (direct := valve == NONE).any():
            purge = np.where(direct, self._direct_purge(flow), purge)
        purge = np.where(np.isinf(purge), np.nan, purge)  # a starved station passes nothing: there is no course
        stale, stale_end = untepid_seconds(self.network, self.cases, water, purge, flow)
        course = self.sources(fault)[int(other_model)]
        return _Parts(results, cold, place, valve, course, cooled, stood, water, stale, stale_end, purge, kept, gained)

    def _phases(self, all_: _Parts, columns: Numbers) -> Phases:
        place, valve, cold = all_.place[columns], all_.valve[columns], all_.cold
        member, opening = self.cases.stations.member[columns], self.cases.stations.opening[columns]
        direct = np.broadcast_to(valve == NONE, (len(STATES), len(columns)))
        set_heat, lowest = valve_numbers(self.context)
        wanted = np.maximum(np.append(set_heat, np.nan)[valve] - cold, 0.0)
        needed = enthalpy_kernel(np.append(lowest, np.nan)[valve]) - cold
        source, purge = self._source_of_pairs(all_.course, place), all_.purge[:, columns]
        middle = (self.least + self.greatest) / 2
        coldest, hottest, first = (
            np.where(purge > 0, one[SEASON][:, member], np.nan)
            for one in (all_.water.coldest, all_.water.hottest, all_.water.farthest(middle))
        )
        gives_none = ~source.mixed & (source.full == 0) & (source.later == 0)
        control = np.where(direct | gives_none, True, _at(all_.results.valve.under_control, place, False))
        cold_source = gives_cold(self.heaters, all_.results.fault)[self.network.valve_source]
        dry = np.append(cold_source, False)[valve] | (wanted <= 0)  # no hot water is drawn
        return Phases(
            cold=cold, wanted=np.where(direct, 0.0, wanted), needed=np.where(direct, 0.0, needed), purge=purge,
            first=first, coldest=coldest, hottest=hottest,
            stale=all_.stale[:, columns], stale_end=all_.stale_end[:, columns],
            cooled=np.where(direct | dry, 0.0, _at(all_.cooled, place, 0.0)), stood=_at(all_.stood, place, 0.0),
            silent=np.where(direct | dry, 0.0, source.silent), kept=all_.kept[:, columns],
            gained=all_.gained[:, columns],
            known=control & (all_.results.state[:, opening] == SOLVED), source=source)  # fmt: skip

    # ---- parts ----

    def held(self, fault: str) -> Numbers:
        """[2 (beginning, end), 2 seasons, runs] temperatures at which runs are held when the draw begins. [°C]"""
        if fault == CIRCULATION_OFF:
            return held_temperatures(self.context, self.pipes.surroundings, self.pipes.loops, circulating=False)
        if fault not in (POWER_LOST, AFTER_IDLE):
            return self.pipes.held
        held = np.full(self.pipes.held.shape, np.nan)  # nobody says that tracing, or a pump without a loop, needs none
        if fault == POWER_LOST:
            stops = self.network.valve_loop_needs_power
            turns = [run for valve, loop in self.pipes.loops.items() if not stops[valve] for run in loop.runs]
            held[:, :, turns] = self.pipes.held[:, :, turns]
        return held

    def slugs(self, station: int, flows: dict[int, float], standing: Numbers) -> tuple[Numbers, Numbers]:
        """The waters that stand one behind the other before a station, the nearest first.

        Parameters
        ----------
        station : int
            Which station. [-]
        flows : dict
            Flow of each station of the case. [m³/s]
        standing : array
            From `standing_temperatures`. [°C]

        Returns
        -------
        tuple of array
            Seconds after which each has passed, and its temperatures [slugs, 2 (shade, sun), 2 seasons]. [s, °C]

        Notes
        -----
        Each run is flushed by all that flows through it; without a valve by the station alone.
        """
        runs = runs_above(self.context, int(self.network.station_node[station]))
        nodes = self.network.run_node[np.array(runs, dtype=int)]
        content = self.network.purge_sum[nodes] - self.network.purge_sum[self.network.parent[nodes]]
        flow = np.zeros(len(runs))
        for other, own in flows.items():
            way = runs_above(self.context, int(self.network.station_node[other]))
            shares = self.network.station_valve[station] != NONE or other == station
            flow += np.isin(runs, way) * own * shares
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.cumsum(content / flow), standing[:, :, runs].transpose(2, 0, 1)

    def _standing_of(self, fault: str) -> tuple[StandingWater, Numbers, Numbers]:
        """The water that stands in a fault; what stood in the hot runs: content [m³], least temperature [2, valves]."""
        kind = fault if fault in (CIRCULATION_OFF, AFTER_IDLE, POWER_LOST) else NORMAL
        if kind not in self._standing:
            held = self.held(kind)
            standing = standing_temperatures(self.pipes.surroundings, held)
            content, coldest = standing_hot_content(self.context, held), self._coldest_hot_water(held)
            water = stood_water(self.network, standing, self.least, self.greatest)
            self._standing[kind] = water, content, coldest
        return self._standing[kind]

    def _valve_of_pairs(self) -> tuple[Numbers, Numbers]:
        """For each pair of an opening and a station its place in the pairs of valves, and the valve; NONE without."""
        stations, valves = self.cases.stations, self.cases.valves
        valve = self.network.station_valve[stations.member] if len(stations.member) else np.zeros(0, dtype=int)
        if not len(valves.member):
            return np.full(len(valve), NONE), np.full(len(valve), NONE)
        wide = len(self.network.valve_tags) + 1
        key = valves.opening * wide + valves.member
        place = np.searchsorted(key, stations.opening * wide + valve)
        return np.where(valve == NONE, NONE, place), valve

    def _source_of_pairs(self, course: HotCourse, place: Numbers) -> HotCourse:
        if not len(self.cases.sources.member):
            nothing = np.zeros((len(STATES), len(place)))
            values: dict[str, Any] = {field.name: nothing for field in fields(HotCourse)}
            return HotCourse(**{**values, "mixed": nothing > 0})
        taken = course.take(np.append(source_pair_of_valves(self.context), 0)[place])
        for field in fields(HotCourse):  # nothing hot comes to a station without a valve
            getattr(taken, field.name)[:, place == NONE] = field.name == "mass"
        return taken

    def cooled_hot_runs(self, fault: str) -> tuple[Numbers, Numbers]:
        """[S, valve pairs] seconds in which water that stood in the hot runs arrives, and whether it is too cold.

        It is where it stood below the set temperature: then the valve stands full hot. Not-a-number: not known.
        """
        results, cold = self.context.results.fault(fault), cold_enthalpy(self.context)
        seconds, stood = self._hot_runs(results, cold, *self._standing_of(fault)[1:])
        wanted = valve_numbers(self.context)[0][self.cases.valves.member] - cold
        colder = np.where(np.isnan(stood + wanted), np.nan, stood < wanted)
        return seconds, np.where((seconds == 0) | (wanted <= 0), 0.0, colder)  # set no warmer than cold: no hot water

    def _coldest_hot_water(self, held: Numbers) -> Numbers:
        """[2 seasons, valves] coldest water that stands in the hot runs of each valve; held runs do not count. [°C]"""
        standing = np.full((2, len(self.network.valve_tags)), np.nan)
        for valve, node in enumerate(self.network.valve_hot_node.tolist()):
            runs = [run for run in runs_above(self.context, node) if np.isnan(held[0, 0, run])]
            if runs:
                standing[:, valve] = self.pipes.surroundings.shade[:, runs].min(axis=1)
        return standing

    def _hot_runs(self, results: FaultResults, cold: Numbers, whole: Numbers, coldest: Numbers
                  ) -> tuple[Numbers, Numbers]:  # fmt: skip
        """[S, valve pairs] seconds in which water that stood in the hot runs arrives, and its heat above cold water."""
        member = self.cases.valves.member
        if not len(member):
            nothing = np.zeros((len(STATES), 0))
            return nothing, nothing
        # the valve stands full hot until hot water comes: all that passes it has stood in the hot runs
        cold_water = self.network.cold_temperature[SEASON][:, None]
        flow = valve_mass(self.context, results) / density_kernel(cold_water)
        content = whole[member]
        with np.errstate(divide="ignore", invalid="ignore"):
            seconds = np.where(content == 0, 0.0, np.where(flow > 0, content / flow, np.where(flow == 0, 0.0, np.nan)))
        return seconds, np.asarray(enthalpy_kernel(coldest)[SEASON][:, member] - cold)

    def _direct_purge(self, flow: Numbers) -> Numbers:
        """[S, station pairs] of a station without a valve: the runs from its supply, with its own flow only. [s]"""
        content = np.append(self.network.purge_sum, np.nan)[self.network.station_node][self.cases.stations.member]
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.where(flow > 0, content / flow, np.nan)

    def _passage(self, flow: Numbers) -> tuple[Numbers, Numbers]:
        """What the tempered runs do to the water; not-a-number where nobody said what stands around them."""
        passage = tempered_passage(self.context, self.pipes.surroundings, flow)
        start = np.full(passage.kept.shape, (self.least + self.greatest) / 2)
        known = ~np.isnan(passage.arriving(start))
        return np.where(known, passage.kept, np.nan), np.where(known, passage.gained, np.nan)

    # ---- summary ----

    def _summary(self, one: Phases) -> Summary:
        runs = np.clip(self.flush - one.purge, 0.0, None)  # seconds of the flush in which the valve's water arrives
        warm = np.minimum(one.cooled + one.silent, runs)  # from here on it is the source's
        hot, start = one.mixed(one.stood), one.mixed(one.source.surplus(warm))
        low, high = self._limits(one)
        within = self._within
        stale = one.stale
        hot_ok, cold_ok, start_ok = (
            within(hot, low, high),
            within(np.zeros(runs.shape), low, high),
            within(start, low, high),
        )
        cooled = np.minimum(one.cooled, runs)
        silent = warm - cooled
        inside = (np.clip(np.minimum(one.purge, self.flush) - stale, 0.0, None) + np.where(hot_ok, cooled, 0.0)
                  + np.where(cold_ok, silent, 0.0) + self._source_inside(one, warm, runs, low, high))  # fmt: skip
        parts = ((hot_ok, one.cooled), (cold_ok, one.silent))
        untepid, after, clock = stale, one.stale_end, one.purge
        for fine, seconds in parts:
            felt = ~(
                clock >= self.flush
            )  # what only comes after the flush is not waited for; an unknown flush hides none
            clock = clock + seconds
            bad = ~fine & (seconds > 0) & felt
            untepid, after = untepid + np.where(bad, seconds, 0.0), np.where(bad, clock, after)
        unknown = ((one.purge > 0) & np.isnan(one.stale)) | (
            (one.purge < self.flush) & (np.isnan(one.cooled + one.silent) | ((one.cooled > 0) & np.isnan(one.stood)))
        )
        blank = ~one.known & ~(one.purge >= self.flush)
        lowest, highest = self._felt(one, hot, warm, runs)
        hidden = unknown | blank | np.isnan(self.least + self.greatest + one.purge)
        lost = hidden | np.isnan(self.flush + lowest)
        return Summary(
            inside=np.where(lost, np.nan, inside), first=one.first, purge=one.purge,
            untepid=np.where(hidden, np.nan, untepid),
            tepid_after=np.where(lost, np.nan, np.where(start_ok | (warm >= runs), after, np.inf)),
            lowest=np.where(lost, np.nan, lowest), highest=np.where(lost, np.nan, highest))  # fmt: skip

    def _limits(self, one: Phases) -> tuple[Numbers, Numbers]:
        """Heat at the valve that is tepid there and at the station: pipes that help are not relied on. [J/kg]"""
        with np.errstate(divide="ignore", invalid="ignore"):
            least = np.maximum(self.least, np.where(one.kept > 0, (self.least - one.gained) / one.kept, np.inf))
            most = np.minimum(self.greatest, np.where(one.kept > 0, (self.greatest - one.gained) / one.kept, -np.inf))
        sane = (np.clip(least, -20.0, 110.0), np.clip(most, -20.0, 110.0))
        return enthalpy_kernel(sane[0]) - one.cold, enthalpy_kernel(sane[1]) - one.cold

    @staticmethod
    def _within(heat: Numbers, low: Numbers, high: Numbers) -> Numbers:
        return np.asarray((heat >= low - SLACK) & (heat <= high + SLACK))

    def _source_inside(self, one: Phases, begin: Numbers, end: Numbers, low: Numbers, high: Numbers) -> Numbers:
        """Seconds in which the source's water is tepid behind the valve, and the valve holds its set temperature.

        Where it does not, anything from cold water to the set one may come; that counts where all of it is tepid.
        """
        cold_tepid = low <= SLACK
        least = np.where(cold_tepid, 0.0, np.where(one.wanted >= low - SLACK, one.needed, np.inf))
        seconds = one.source.seconds_above(least, end) - one.source.seconds_above(least, begin)
        too_hot = one.wanted > high + SLACK
        if too_hot.any():
            above = np.maximum(np.where(high < -SLACK, 0.0, high + SLACK), least)
            over = one.source.seconds_above(above, end) - one.source.seconds_above(above, begin)
            seconds = np.where(too_hot, seconds - over, seconds)
        always = np.where(cold_tepid & (high >= -SLACK), end - begin, 0.0)
        return np.where(one.wanted <= 0, always, np.clip(seconds, 0.0, None))  # no hot water is drawn: cold as it comes

    def _felt(self, one: Phases, hot: Numbers, warm: Numbers, runs: Numbers) -> tuple[Numbers, Numbers]:
        """Lowest and highest temperature felt within the flush. [°C]"""
        low, high = np.full(runs.shape, np.inf), np.full(runs.shape, -np.inf)
        unknown = np.zeros(runs.shape, dtype=bool)

        def count(heat: Numbers, there: Numbers) -> None:
            nonlocal low, high, unknown
            low, high = np.where(there, np.minimum(low, heat), low), np.where(there, np.maximum(high, heat), high)
            unknown = unknown | (there & np.isnan(heat))

        count(hot, np.minimum(one.cooled, runs) > 0)
        count(np.zeros(runs.shape), (one.silent > 0) & (runs > one.cooled))
        on = runs > warm
        lasts = np.where(one.source.mixed, 0.0, one.source.lasts)
        for moment in (warm, np.clip(one.source.delay, warm, runs), np.clip(lasts, warm, runs), runs):
            count(one.mixed(one.source.surplus(moment)), on)
        felt = [one.temperature(np.where(np.isinf(heat), 0.0, heat)) for heat in (low, high)]
        arrives = [one.arriving(temperature) for temperature in felt]
        some, stood = np.isfinite(low), one.purge > 0
        lowest = np.where(some, np.minimum(felt[0], arrives[0]), np.inf)
        highest = np.where(some, np.maximum(felt[1], arrives[1]), -np.inf)
        lowest = np.where(stood, np.minimum(lowest, one.coldest), lowest)
        highest = np.where(stood, np.maximum(highest, one.hottest), highest)
        return np.where(unknown, np.nan, lowest), np.where(unknown, np.nan, highest)


def _at(values: Numbers, place: Numbers, missing: Any) -> Numbers:
    """Numbers of valve pairs at the places of station pairs; something else for a station without a valve."""
    if values.shape[1] == 0:
        return np.full((values.shape[0], len(place)), missing)
    return np.where(place == NONE, missing, values[:, place])
