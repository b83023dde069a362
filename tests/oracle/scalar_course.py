"""Fifteen minutes of one case with plain floats: which water comes when, what it is at the station, what is left.

It takes the flows of the outlets of a case, and works out from the rows of the site all that follows: the water that
stood run by run, then what the valve makes of the water of its hot runs, of a heater that has not started, and of the
source; each front is a plug that leaves a run when the run's content has passed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from scipy.optimize import brentq

from drenchbook.physics.water import temperature_of_enthalpy
from tests.oracle.scalar_layers import layered
from tests.oracle.scalar_pipes import Pipes
from tests.oracle.scalar_solver import Case, Oracle, density, heat_capacity, specific_enthalpy
from tests.oracle.scalar_sources import Ask, Stream, governs, holds, stream

TOUCH = 0.005  # [J/kg] a millionth of a kelvin: a temperature equal to its limit meets it
NEVER = math.inf
DAY = 86400.0


@dataclass
class Told:
    """What a course comes to; None: nobody knows."""

    inside: float | None
    first: float | None
    purge: float
    untepid: float | None
    tepid_after: float | None
    lowest: float | None
    highest: float | None


@dataclass
class Stood:
    """Water that stood in one run: from when to when it arrives, and its two temperatures."""

    begin: float
    end: float
    temperatures: tuple[float, float]


class CaseCourse:
    """One case of a site; `flows` are those of its outlets [m³/s], as (station, slot)."""

    def __init__(self, oracle: Oracle, case: Case, flows, limits):
        self.oracle, self.case, self.t = oracle, case, oracle.t
        self.least, self.greatest, self.flush = limits
        self.pipes = Pipes(oracle.rows, case.season, case.fault)
        self.cold = oracle.cold_temperature[case.season]
        self.hc = specific_enthalpy(self.cold)
        self.again = self.pipes.project["recovery_time"] if case.fault == "repeat after recovery" else None
        self.flow = {}
        for (station, _), q in flows.items():
            self.flow[station] = self.flow.get(station, 0.0) + q
        self.valve = {tag: self.valve_of(tag) for tag in self.flow}
        self.mass = {}
        for tag, valve in self.valve.items():
            if valve:
                mixed = oracle.water(case, self.t["mixing_valves"][valve])[2]
                self.mass[valve] = self.mass.get(valve, 0.0) + self.flow[tag] * density(mixed)

    def valve_of(self, station):
        above = self.pipes.above(self.t["stations"][station]["fed_from"])[1]
        return above if above in self.t["mixing_valves"] else None

    # What is asked of the sources.

    def wanted(self, valve):
        """Heat of the set temperature over cold water; none where cold water is as warm."""
        return max(specific_enthalpy(self.t["mixing_valves"][valve]["set_temperature"]) - self.hc, 0.0)

    def lowest_hot(self, valve):
        """With which a valve holds its set temperature; of two in parallel the greater difference counts."""
        row = self.t["mixing_valves"][valve]
        models = [self.t["valve_models"][row[name]] for name in ("model", "second_model") if row[name]]
        return row["set_temperature"] + max(model["approach_hot"] for model in models)

    def source(self, valve):
        return self.oracle.source_of(self.t["mixing_valves"][valve])

    def ask(self, source):
        """All valves of the case that this source feeds, their loops, and the other demand."""
        mine = [valve for valve in self.mass if self.source(valve)["tag"] == source["tag"]]
        heat = sum(self.mass[valve] * self.wanted(valve) for valve in mine)
        loops = sum(self.pipes.loop_loss(valve) for valve in mine if self.mass[valve] * self.wanted(valve) > 0)
        hot = self.oracle.hot_temperature([("hot_water_sources", source["tag"])])
        surplus = max(specific_enthalpy(hot) - self.hc, 0.0)
        others = source["other_demand"] * density(hot) * surplus + loops
        greatest = sum(self.mass[valve] for valve in mine)
        if heat > 0:  # others keep their heat as long as the valves do
            greatest *= 1 + others / heat
        else:
            greatest = others / surplus if others > 0 else 0.0
        return Ask(heat + others, loops, greatest, max(map(self.lowest_hot, mine)))

    def stream(self, source, other_model=False, until=None) -> Stream:
        """What a source gives; by the governing tank model or by the other; after a recovery if that is the fault."""
        model = governs(source)
        if other_model:
            model = "mixed" if model == "stratified" else "stratified"
        again = None if self.again is None else (self.flush, self.again)
        return stream(source, self.cold, self.ask(source), self.case.fault, until or self.flush, model, again)

    # What is under control.

    def controlled(self, valve, water: Stream):
        """Whether anybody knows what leaves the valve: it holds its set temperature, or there is only cold water."""
        if self.oracle.gives_cold(self.case, self.source(valve)) or all(p.at(p.begin) == 0 for p in water.pieces):
            return True
        return self.passes_enough(valve)

    def passes_enough(self, valve):
        """Whether a valve is under control."""
        row = self.t["mixing_valves"][valve]
        models = [self.t["valve_models"][row["model"]]]
        if row["second_model"] and self.case.fault == "valve out of service":
            models.append(self.t["valve_models"][row["second_model"]])
            models = [min(models, key=self.oracle.whole)]
        passing = self.mass[valve] / density(self.oracle.water(self.case, row)[2])
        if row["loop_returns_to_cold_inlet"] and self.pipes.turns(valve):
            passing += row["loop_flow"]
        if passing < models[0]["minimum_flow"] * (1 - 1e-9):
            return False
        if not row["second_model"] or self.case.fault == "valve out of service":
            return True
        larger = self.t["valve_models"][row["second_model"]]
        one, other, root = self.oracle.whole(models[0]), self.oracle.whole(larger), math.sqrt(row["second_opens_at"])
        if passing <= one * root * (1 + 1e-9):  # shut
            return True
        own = passing - one * root if passing < (one + other) * root else passing * other / (one + other)
        return own >= larger["minimum_flow"] * (1 - 1e-9)

    # What comes.

    def way(self, station):
        """Runs of a station's own water in the order of the flow, each with the flow that passes it. [m³/s]"""
        own = self.pipes.above(self.t["stations"][station]["fed_from"])[0]
        valve = self.valve[station]
        through = dict.fromkeys(own, 0.0)
        for other, flow in self.flow.items():
            if self.valve[other] == valve:
                for tag in set(self.pipes.above(self.t["stations"][other]["fed_from"])[0]) & set(own):
                    through[tag] += flow
        return [(tag, through[tag]) for tag in reversed(own)]

    def stood(self, station):
        """The water that stood before a station, nearest first, and when the last of it has passed."""
        valve = self.valve[station]
        warm = self.t["mixing_valves"][valve]["set_temperature"] if valve else 20.0
        found, time = [], 0.0
        for tag, flow in reversed(self.way(station)):
            flow = flow if valve else self.flow[station]  # without a valve: its own flow only
            end = time + self.pipes.content(tag, warm) / flow
            found.append(Stood(time, end, self.pipes.standing(tag)))
            time = end
        return found, time

    def hot_runs(self, valve):
        """Seconds in which water of the hot runs arrives at a full hot valve, and its heat."""
        held = self.pipes.held()
        idle = [tag for tag in self.pipes.above(self.t["mixing_valves"][valve]["hot_run"])[0] if tag not in held]
        none = self.wanted(valve) <= 0 or self.oracle.gives_cold(self.case, self.source(valve))
        if not idle or none or self.mass[valve] <= 0:
            return 0.0, 0.0
        content = sum(self.pipes.content(tag, 20.0) for tag in idle)
        coldest = min(self.pipes.shade(tag) for tag in idle)
        return content * density(self.cold) / self.mass[valve], specific_enthalpy(coldest) - self.hc

    def at_valve(self, station, water=None):
        """Pieces of the water behind a station's valve: begin, end, heat over cold water as a function, assured."""
        valve = self.valve[station]
        if valve is None:
            return [(0.0, math.inf, lambda _: 0.0, lambda _: True)]
        wanted, source = self.wanted(valve), self.source(valve)
        cooled, heat = self.hot_runs(valve)
        water = water or self.stream(source)
        none = wanted <= 0 or self.oracle.gives_cold(self.case, source)
        begin = cooled + (0.0 if none else water.silent)
        needed = specific_enthalpy(self.lowest_hot(valve)) - self.hc
        found = [
            (0.0, cooled, lambda _: min(wanted, heat), lambda _: True),
            (cooled, begin, lambda _: 0.0, lambda _: True),
        ]
        for a, b, at in water.parts(begin, math.inf):
            edges = [a, *(t for t in crossings(at, (wanted, needed), a, min(b, self.flush)) if a < t < b), b]
            for first, last in pairwise(edges):
                found.append((first, last, lambda t, at=at: min(wanted, at(t)), lambda t, at=at: at(t) >= needed))
        return [piece for piece in found if piece[1] > piece[0]]

    # What it comes to.

    def tepid_at_valve(self, station):
        """Heat behind the valve that is tepid there and at the station: pipes that help are not relied on."""
        way = self.rated(station)
        low = max(self.least, self.pipes.before(self.least, way))
        high = min(self.greatest, self.pipes.before(self.greatest, way))
        return specific_enthalpy(low) - self.hc, specific_enthalpy(high) - self.hc

    def rated(self, station):
        """The way of a station with ṁ·c for each run. [W/K]"""
        valve = self.valve[station]
        warm = self.t["mixing_valves"][valve]["set_temperature"] if valve else self.cold
        return [(tag, flow * density(warm) * heat_capacity(warm)) for tag, flow in self.way(station)]

    def known(self, station):
        valve = self.valve[station]
        return valve is None or self.controlled(valve, self.stream(self.source(valve)))

    def told(self, station) -> Told:
        """The whole course of one station of the case."""
        stood, purge = self.stood(station)
        runs = max(self.flush - purge, 0.0)
        middle = (self.least + self.greatest) / 2
        waters = [t for one in stood for t in one.temperatures]
        first = max(waters, key=lambda t: abs(t - middle)) if waters and purge > 0 else None
        bad = [
            one for one in stood if not all(self.least - 1e-9 <= t <= self.greatest + 1e-9 for t in one.temperatures)
        ]
        stale = sum(one.end - one.begin for one in bad)
        inside, untepid = max(min(purge, self.flush) - stale, 0.0), stale
        after = max((one.end for one in bad), default=0.0)
        if runs > 0 and not self.known(station):
            return Told(None, first, purge, None, None, None, None)
        felt = list(waters) if purge > 0 else []
        low, high = self.tepid_at_valve(station)
        cold_tepid = within(0.0, low, high)
        pieces = self.at_valve(station)
        beginning, way = self.source_begins(station), self.rated(station)
        for begin, end, at, assured in pieces:
            if begin >= runs:
                continue
            last = min(end, runs)
            moments = [begin, last] if begin >= beginning else [begin]
            for t in moments:
                mix = temperature_of_enthalpy(self.hc + at(t))
                felt += [mix, self.pipes.passed(mix, way)]
            if begin < beginning:
                fine = within(at(begin), low, high)
                inside += last - begin if fine else 0.0
                if not fine:
                    untepid, after = untepid + end - begin, purge + end
                continue
            for a, b in tepid_parts(at, low, high, begin, last):
                sure = assured((a + b) / 2) or self.wanted_of(station) <= 0 or cold_tepid
                inside += b - a if sure else 0.0
        starts = next((at(begin) for begin, _, at, _ in pieces if begin >= beginning), 0.0)
        tepid = runs <= beginning or within(starts, low, high)
        return Told(inside, first, purge, untepid, after if tepid else NEVER, min(felt), max(felt))

    def wanted_of(self, station):
        valve = self.valve[station]
        return self.wanted(valve) if valve else 0.0

    def source_begins(self, station):
        valve = self.valve[station]
        if valve is None:
            return 0.0
        source = self.source(valve)
        none = self.wanted(valve) <= 0 or self.oracle.gives_cold(self.case, source)
        return self.hot_runs(valve)[0] + (0.0 if none else self.stream(source).silent)

    def at_times(self, station, times, other_model=False, fraction=None):
        """Temperatures at the source, behind the valve and at the station; None at a front or where nobody knows.

        By the governing tank model, by the other, or with a fraction of a storage that is mixed.
        """
        stood, purge = self.stood(station)
        middle, valve = (self.least + self.greatest) / 2, self.valve[station]
        water = self.stream(self.source(valve), other_model) if valve else None
        if fraction is not None:
            source = self.source(valve)
            water = layered(source, self.cold, self.ask(source), self.case.fault, self.flush, fraction)
        pieces, way, known = self.at_valve(station, water), self.rated(station), self.known(station)
        silent = water.silent if valve and self.source_begins(station) > self.hot_runs(valve)[0] else 0.0
        fronts = [edge for piece in pieces for edge in piece[:2]]
        inner = [silent, *(piece.begin for piece in water.pieces)] if water else []
        late = [purge + edge for edge in fronts] + [one.end for one in stood]
        found = []
        for time in times:
            gives = water.at(time) if water and time >= silent else 0.0
            hot, mixed = temperature_of_enthalpy(self.hc + gives), self.mix_at(pieces, time)
            if time < purge:
                both = next(one for one in stood if time < one.end).temperatures
                outlet = max(both, key=lambda t: abs(t - middle))
            else:
                outlet = self.pipes.passed(self.mix_at(pieces, time - purge), way) if known else None
            found.append((None if near(time, inner) else hot, None if near(time, fronts) or not known else mixed,
                          None if near(time, late) else outlet))  # fmt: skip
        return found

    def mix_at(self, pieces, time):
        at = next(piece[2] for piece in reversed(pieces) if time >= piece[0])
        return temperature_of_enthalpy(self.hc + at(time))

    # What is left.

    def seconds_of_hot_water(self, source):
        """How long every valve of the case holds its set temperature, a day at most; None: nobody knows."""
        ask, rows = self.ask(source), self.t["mixing_valves"]
        if self.oracle.gives_cold(self.case, source) and ask.heat > 0:
            return 0.0
        warm = [valve for valve in self.mass if not self.oracle.gives_cold(self.case, self.source(valve))]
        if not all(map(self.passes_enough, warm)):
            return None
        mixes = {valve: self.oracle.water(self.case, rows[valve])[2] for valve in warm}
        if any(mix < rows[valve]["set_temperature"] - 1e-9 and self.wanted(valve) > 0 for valve, mix in mixes.items()):
            return 0.0
        if source["kind"] != "storage":
            return DAY if holds(source, self.cold, ask, self.stream(source)) else 0.0
        water, needed = self.stream(source, until=DAY), specific_enthalpy(ask.lowest) - self.hc
        if governs(source) == "stratified":
            return next((piece.begin for piece in water.pieces if piece.at(piece.begin) < water.full), DAY)
        if water.at(0.0) <= needed:
            return 0.0 if ask.heat > 0 else DAY
        return next((t for a, b, at in water.parts(0.0, DAY) for t in crossings(at, (needed,), a, b)), DAY)

    def left(self, source):
        """Usable heat of a storage after the flush, as water of its start temperature; and its recovery."""
        water, ask = self.stream(source), self.ask(source)
        full = specific_enthalpy(source["start_temperature"]) - self.hc
        there = water.stored(0.0) + water.power * max(self.flush - water.delay, 0.0)
        drawn = min(ask.heat * self.flush, there)
        ready = 0.0 if drawn == 0 else drawn / water.power if water.power > 0 else math.inf
        return water.stored(self.flush) / (full * density(source["start_temperature"])), ready


def near(time, moments):
    """Whether a time is at one of some moments, to rounding."""
    return any(math.isclose(time, moment, rel_tol=1e-9, abs_tol=1e-9) for moment in moments if moment > 0)


def within(heat, low, high):
    return low - TOUCH <= heat <= high + TOUCH


def crossings(at, levels, a, b):
    """Moments between a and b at which a function that only rises or only falls passes levels."""
    found = []
    for level in levels:
        if b > a and (at(a) - level) * (at(b) - level) < 0:
            found.append(brentq(lambda t, level=level: at(t) - level, a, b, xtol=1e-12, rtol=1e-15))
    return sorted(found)


def tepid_parts(at, low, high, a, b):
    """Parts of a stretch in which the heat is within limits."""
    edges = [a, *crossings(at, (low - TOUCH, high + TOUCH), a, b), b]
    for first, last in pairwise(edges):
        if within(at((first + last) / 2), low, high):
            yield first, last
