"""Every case of a site as objects for JSON: built from whole arrays, one fault and state at a time."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from typing import Any, TypeAlias

import numpy as np

from drenchbook.hot_sources import COLD_WATER_FAULTS, STORAGE
from drenchbook.hot_water import DAY
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import MIXING, STATES
from drenchbook.solver_results import SOLVED, STATE_WORDS, FaultResults
from drenchbook.units import from_si, unit_of

Numbers: TypeAlias = np.ndarray[Any, Any]
Object: TypeAlias = dict[str, Any]

NOT_UNDER_CONTROL = "not under control"
NEVER = "never"  # a station that does not become tepid in a case
NO_SUCH_NUMBER = "does not apply"  # the hot side with hot pressure lost, a check without a number
_VALVE_NUMBERS = (
    ("flow", "flow", "flow"), ("hot_flow", "hot_flow", "flow"), ("cold_flow", "cold_flow", "flow"),
    ("hot_pressure", "hot_pressure", "pressure"), ("cold_pressure", "cold_pressure", "pressure"),
    ("chamber_pressure", "chamber_pressure", "pressure"), ("stem_position", "stem", "fraction"),
    ("hot_fraction", "hot_fraction", "fraction"), ("mixed_temperature", "mixed_temperature", "temperature"),
)  # fmt: skip  # key, field of ValveResults, quantity

_COURSE_NUMBERS = (
    ("tepid", "inside", "minutes"), ("first_water", "first", "temperature"), ("first_water_lasts", "purge", "seconds"),
    ("not_tepid_before", "untepid", "seconds"), ("tepid_after", "tepid_after", "seconds"),
    ("lowest", "lowest", "temperature"), ("highest", "highest", "temperature"),
)  # fmt: skip  # key, field of Summary, quantity


def number_object(value: float, quantity: str, units: str, state: str = "") -> Object:
    """A number with its unit; null with a state where there is none.

    >>> number_object(300.0, "seconds", "US"), number_object(float("nan"), "flow", "SI", "missing input")
    ({'value': 300.0, 'unit': 's'}, {'value': None, 'unit': 'L/min', 'state': 'missing input'})
    """
    unit = unit_of(quantity, units) if quantity else ""
    if math.isnan(value):
        return {"value": None, "unit": unit, "state": state or ("not known" if quantity else NO_SUCH_NUMBER)}
    if math.isinf(value) or (quantity in ("seconds", "minutes") and value >= DAY):
        endless = quantity in ("seconds", "minutes", "hours")
        return {"value": None, "unit": unit, "state": "does not end" if endless else "without limit"}
    return {"value": float(from_si(value, unit)) if unit else float(value), "unit": unit}


def number_objects(values: Numbers, quantity: str, units: str, state_of: Callable[[int], str]) -> list[Object]:
    """`number_object` of each value; `state_of` tells the state of a place where there is no number."""
    unit = unit_of(quantity, units)
    plain = np.isfinite(values)
    if quantity in ("seconds", "minutes"):
        plain &= values < DAY
    found: list[Object] = [{"value": value, "unit": unit} for value in from_si(values, unit).tolist()]
    blank: dict[str, Object] = {}  # one object for all places of a state
    for place in np.flatnonzero(~plain).tolist():
        state = state_of(place)
        if not math.isnan(values[place]):
            found[place] = number_object(float(values[place]), quantity, units, state)
            continue
        if state not in blank:
            blank[state] = number_object(math.nan, quantity, units, state)
        found[place] = blank[state]
    return found


class CaseObjects:
    """The cases of one judged site, fault by fault and state by state."""

    def __init__(self, site: JudgedSite):
        self.site, self.cases, self.units = site, site.cases, site.units
        tags = [str(tag).strip() for tag in self.cases.station_tags]
        openings = range(len(self.cases))
        members = self.cases.stations.member.tolist()
        self.stations = [[tags[s] for s in members[self.cases.stations.of(o)]] for o in openings]
        self.labels = [self.cases.label(o) for o in openings]
        outlets = self.cases.outlets.member
        self.outlet_tags = [tags[s] for s in self.cases.outlet_station[outlets].tolist()]
        self.outlet_names = [self.cases.outlet_names[o] for o in outlets.tolist()]
        valve_tags = [str(row.tag).strip() for row in site.judgement.site.mixing_valves]
        self.valve_tags = [valve_tags[v] for v in self.cases.valves.member.tolist()]

    def all(self) -> list[Object]:
        """Every case in the order of `Report.case_list`."""
        return [
            case
            for results in self.site.judgement.results.faults
            for state in range(len(STATES))
            for case in self._of_state(results, state)
        ]

    def _of_state(self, results: FaultResults, state: int) -> Iterator[Object]:
        outlets, valves = self._outlets(results, state), self._valves(results, state)
        season, supply = STATES[state]
        changed, codes = self.site.changed(results.fault), results.state[state].tolist()
        courses, storages = self._courses(results, state), self._storages(results, state)
        outlet_ends, valve_ends = self.cases.outlets.offsets.tolist(), self.cases.valves.offsets.tolist()
        station_ends, source_ends = self.cases.stations.offsets.tolist(), self.cases.sources.offsets.tolist()
        for opening, code in enumerate(codes):
            yield {
                "stations": self.stations[opening],
                "label": self.labels[opening],
                "season": season,
                "supply": supply,
                "fault": results.fault,
                "changed": changed,
                "state": STATE_WORDS[code],
                "outlets": outlets[outlet_ends[opening] : outlet_ends[opening + 1]],
                "valves": valves[valve_ends[opening] : valve_ends[opening + 1]],
                "course": courses[station_ends[opening] : station_ends[opening + 1]] if code == SOLVED else [],
                "storage": [
                    one for one in storages[source_ends[opening] : source_ends[opening + 1]] if one and code == SOLVED
                ],
            }

    def _courses(self, results: FaultResults, state: int) -> list[Object]:
        """What fifteen minutes come to at each station of each opening; {} where no case of the state is solved."""
        pairs = self.cases.stations
        if not (results.state[state] == SOLVED).any():
            return [{}] * len(pairs.member)
        told = self.site.judgement.measures.courses.summary(results.fault)
        columns = {
            key: number_objects(getattr(told, field)[state], quantity, self.units, lambda _: "not known")
            for key, field, quantity in _COURSE_NUMBERS
        }
        never = {"value": None, "unit": unit_of("seconds", self.units), "state": NEVER}
        for place in np.flatnonzero(np.isposinf(told.tepid_after[state])).tolist():
            columns["tepid_after"][place] = never
        tags = [str(self.cases.station_tags[s]).strip() for s in pairs.member.tolist()]
        names = tuple(columns)
        return [
            {"station": tag, **dict(zip(names, numbers, strict=True))}
            for tag, *numbers in zip(tags, *columns.values(), strict=True)
        ]

    def _storages(self, results: FaultResults, state: int) -> list[Object]:
        """What each storage of each opening has left after the flush, and when it is ready; {} without storage."""
        pairs, sources = self.cases.sources, self.site.judgement.site.hot_water_sources
        if not (results.state[state] == SOLVED).any() or not len(pairs.member):
            return [{}] * len(pairs.member)
        left, recovery = self.site.judgement.measures.courses.storage(results.fault)
        word = NO_SUCH_NUMBER if results.fault in COLD_WATER_FAULTS else "not known"
        columns = (number_objects(left[state], "volume", self.units, lambda _: word),
                   number_objects(recovery[state], "hours", self.units, lambda _: word))  # fmt: skip
        return [
            {"source": str(sources[number].tag).strip(), "left": volume, "ready_again": hours}
            if sources[number].kind == STORAGE else {}
            for number, volume, hours in zip(pairs.member.tolist(), *columns, strict=True)
        ]  # fmt: skip

    def _outlets(self, results: FaultResults, state: int) -> list[Object]:
        codes = results.state[state, self.cases.outlets.opening]

        def word(place: int) -> str:
            return "" if codes[place] == SOLVED else STATE_WORDS[codes[place]]

        flow = number_objects(results.outlet_flow[state], "flow", self.units, word)
        pressure = number_objects(results.outlet_pressure[state], "pressure", self.units, word)
        return [
            {"station": tag, "outlet": name, "flow": one, "pressure": other}
            for tag, name, one, other in zip(self.outlet_tags, self.outlet_names, flow, pressure, strict=True)
        ]

    def _valves(self, results: FaultResults, state: int) -> list[Object]:
        valve, codes = results.valve, results.state[state, self.cases.valves.opening]
        mixes = np.full(len(codes), results.fault in MIXING) & ~np.isnan(valve.stem[state])
        uncontrolled = mixes & ~valve.under_control[state]

        def word(place: int) -> str:
            if codes[place] != SOLVED:
                return STATE_WORDS[codes[place]]
            if uncontrolled[place]:
                return NOT_UNDER_CONTROL
            return "not known" if mixes[place] else NO_SUCH_NUMBER

        mixed = self.site.judgement.measures.mixed_temperature_in(results.fault)
        columns = {
            key: number_objects(array[state], quantity, self.units, word)
            for key, field, quantity in _VALVE_NUMBERS
            for array in (mixed if key == "mixed_temperature" else getattr(valve, field),)
        }
        columns["minutes_of_hot_water"] = number_objects(
            self._seconds(results.fault, state), "minutes", self.units, word
        )
        assumed = (uncontrolled & (codes == SOLVED)).tolist()
        names = tuple(columns)
        return [
            {"valve": tag, **dict(zip(names, numbers, strict=True)), "assumed_at_set_temperature": as_set}
            for tag, as_set, *numbers in zip(self.valve_tags, assumed, *columns.values(), strict=True)
        ]

    def _seconds(self, fault: str, state: int) -> Numbers:
        """Seconds that the hot water source of each valve lasts, a day at most."""
        valves, sources = self.cases.valves, self.cases.sources
        if fault not in MIXING or not len(valves.member):
            return np.full(len(valves.member), np.nan)
        judgement = self.site.judgement
        count = len(judgement.site.hot_water_sources)
        wanted = valves.opening * count + judgement.network.valve_source[valves.member]
        place = np.searchsorted(sources.opening * count + sources.member, wanted)  # pairs stand in rising order
        return np.asarray(judgement.measures.hot_seconds(fault)[state, place])
