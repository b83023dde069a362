"""The results of one site as rows of the result tables and as the object of the JSON report."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_samples import FAILED, NOT_KNOWN, OUTCOME_WORDS, PASSED, WARNED
from drenchbook.check_words import case_text, message, remedy
from drenchbook.checks import STATION_CHECKS, Judgement, worst_word
from drenchbook.errors import Problem
from drenchbook.operating_cases import HOT_LOST, NORMAL, SET, STATES
from drenchbook.quantity_text import rounded
from drenchbook.result_tables import (
    CASE_COLUMNS,
    CASES_SHOWN,
    MARK_HIGH,
    MARK_LOW,
    MARK_NONE,
    MARK_UNKNOWN,
    MARK_WARN,
    NO_RESULT,
    NOT_APPLICABLE,
    SCHEDULE_COLUMNS,
    SET_COLUMNS,
    SITE_COLUMNS,
    ResultColumn,
)
from drenchbook.result_tables import (
    NOT_KNOWN as NOT_KNOWN_WORD,
)
from drenchbook.site_lines import SiteLine, site_lines
from drenchbook.solver_results import SOLVED, STATE_WORDS, FaultResults
from drenchbook.units import from_si

Numbers: TypeAlias = np.ndarray[Any, Any]
SHOWER, EYE, HOSE = ("shower",), ("eyewash", "eye/face wash"), ("drench hose",)
DAY = 86400.0  # what never ends is shown as a day, 1,440 min


class Report:
    """One judged site, ready to be shown. Numbers in the site's units; words where there is no number."""

    def __init__(self, judgement: Judgement, problems: Sequence[Problem] = ()):
        self.judgement, self.problems = judgement, tuple(problems)
        self.context, self.cases = judgement.context, judgement.cases
        self.units = judgement.context.units

    @functools.cached_property
    def lines(self) -> list[SiteLine]:
        """The site lines."""
        return site_lines(self.judgement, self.problems)

    @property
    def verdict(self) -> str:
        """The verdict of the whole site: its worst station, set or site line; UNKNOWN without any station."""
        if not self.judgement.site.stations:
            return OUTCOME_WORDS[NOT_KNOWN]
        outcomes = [int(o) for o in self.judgement.station_outcomes] + [line.outcome for line in self.lines]
        return worst_word(outcomes)

    # ---- rows of the result tables ----

    def schedule_rows(self) -> list[list[Any]]:
        """One row for each station, in the order of SCHEDULE_COLUMNS."""
        rows = [self._schedule_row(number) for number in range(len(self.judgement.site.stations))]
        if self.judgement.site.project.schedule_order == "worst first":
            order = np.lexsort((self.judgement.governing_checks, -self.judgement.station_outcomes))
            rows = [rows[int(number)] for number in order]
        return rows

    def _schedule_row(self, number: int) -> list[Any]:
        judgement, context = self.judgement, self.context
        station = judgement.site.stations[number]
        governing = judgement.governing(number)
        outcome = int(judgement.station_outcomes[number])
        valve = context.valve_of_station[number]
        marks: dict[str, str] = {}
        values: dict[str, Any] = {
            "tag": str(station.tag),
            "verdict": OUTCOME_WORDS[outcome],
            "area": station.area if isinstance(station.area, str) else NOT_APPLICABLE,
            "events": ", ".join(self._events(number)) or NOT_APPLICABLE,
            "users": float(self._users(number)),
            "outlets": " + ".join(self.cases.outlet_names[n] for n in self._outlets(number)) or NO_RESULT,
            "valve": str(valve.tag).strip() if valve is not None else "none",
            "check": governing.check.id if outcome != PASSED else NOT_APPLICABLE,
            "margin": governing.margin if outcome != PASSED and not math.isnan(governing.margin) else NOT_APPLICABLE,
            "governing_case": case_text(judgement, governing) if outcome != PASSED else "all cases",
            "message": self.message_of(number),
            "checks_made": float(judgement.checks_made[number]),
            "checks_met": float(judgement.checks_met[number]),
        }
        if governing.check.shows_value_as_margin and outcome != PASSED:
            values["margin"] = governing.value
        for prefix, kinds in (("shower", SHOWER), ("eye", EYE), ("hose", HOSE)):
            self._flows(number, prefix, kinds, values, marks)
        self._pressures(number, values, marks)
        self._temperatures(number, values, marks)
        self._times(number, values, marks)
        for prefix, kinds in (("lost_shower", SHOWER), ("lost_eye", EYE)):
            self._lost_flow(number, prefix, kinds, values, marks)
        values["marks"] = "".join(marks.get(column.name, MARK_NONE) for column in SCHEDULE_COLUMNS)
        return [self._shown(column, values[column.name]) for column in SCHEDULE_COLUMNS]

    def _shown(self, column: ResultColumn, value: Any) -> Any:
        """A value for a cell: text, or an SI number in the unit of the column, with no hidden digits."""
        if isinstance(value, str):
            return value
        if math.isnan(value):
            return NO_RESULT
        shown = from_si(value, column.unit(self.units)) if column.quantity and column.quantity != "people" else value
        toward = "most" if column.name.endswith(("_most", "static")) or column.name in _ROUND_UP else "least"
        return rounded(float(shown), column.decimals + (2 if column.percent else 0), toward)

    def message_of(self, number: int) -> str:
        """What governs a station, what to do about it, and which other checks are missed."""
        governing, outcome = self.judgement.governing(number), int(self.judgement.station_outcomes[number])
        if outcome == PASSED:
            return f"{int(self.judgement.checks_made[number])} checks made, all met."
        text = message(self.judgement, governing, number)
        cure = remedy(self.judgement, governing)
        others = [
            check.id
            for check, row in zip(STATION_CHECKS, self.judgement._table[0], strict=True)
            if row[number] >= WARNED and check.id != governing.check.id
        ]
        also = f" Also: {', '.join(others)}." if others else ""
        return f"{text} {cure}{also}".strip()

    def _events(self, number: int) -> list[str]:
        tags: dict[str, None] = {}
        pairs = self.cases.stations
        for opening in pairs.opening[(pairs.member == number) & (self.cases.kind[pairs.opening] == SET)]:
            tags.update(dict.fromkeys(str(tag).strip() for tag in self.cases.events_of(int(opening))))
        return list(tags)

    def _users(self, number: int) -> int:
        return (
            max(len(self.context.stations_of(int(o))) for o in self._openings(number))
            if len(self._openings(number))
            else 1
        )

    @functools.cached_property
    def _openings_by_station(self) -> list[Numbers]:
        pairs = self.cases.stations
        order = np.argsort(pairs.member, kind="stable")
        bounds = np.searchsorted(pairs.member[order], np.arange(len(self.judgement.site.stations) + 1))
        return [pairs.opening[order[a:b]] for a, b in itertools.pairwise(bounds)]

    def _openings(self, number: int) -> Numbers:
        return self._openings_by_station[number]

    @functools.cached_property
    def _pairs_by_outlet(self) -> list[Numbers]:
        member = self.cases.outlets.member
        order = np.argsort(member, kind="stable")
        bounds = np.searchsorted(member[order], np.arange(len(self.context.outlets) + 1))
        return [order[a:b] for a, b in itertools.pairwise(bounds)]

    @functools.cached_property
    def _outlets_by_station(self) -> list[list[int]]:
        found: list[list[int]] = [[] for _ in self.judgement.site.stations]
        for number, outlet in enumerate(self.context.outlets):
            found[outlet.station].append(number)
        return found

    def _outlets(self, number: int) -> list[int]:
        return self._outlets_by_station[number]

    def _kind_outlets(self, number: int, kinds: tuple[str, ...]) -> list[int]:
        return [n for n in self._outlets(number) if self.context.outlets[n].kind in kinds]

    def _of_outlets(self, fault: FaultResults, array: Numbers, outlets: list[int]) -> Numbers:
        """Every number of an array of outlet pairs that belongs to these outlets, solved or not-a-number."""
        columns = np.concatenate([self._pairs_by_outlet[n] for n in outlets])
        return array[:, columns]

    def _mark(self, number: int, check: str) -> str:
        """The letter of a check's outcome at a station."""
        found = self.judgement.stations.get(check)
        outcome = int(found.outcome[number]) if found is not None else self.judgement.findings[check][number].outcome
        letters = {FAILED: MARK_LOW, NOT_KNOWN: MARK_UNKNOWN, WARNED: MARK_WARN}
        return letters.get(outcome, MARK_NONE)

    def _flows(
        self, number: int, prefix: str, kinds: tuple[str, ...], values: dict[str, Any], marks: dict[str, str]
    ) -> None:
        outlets = self._kind_outlets(number, kinds)
        if not outlets:
            values.update({f"{prefix}_{part}": NOT_APPLICABLE for part in ("need", "least", "most")})
            return
        need = self.context.required_flow[outlets]
        worst = int(np.nanargmax(need)) if not np.isnan(need).all() else 0
        normal = self.judgement.results.normal
        flows = self._of_outlets(normal, normal.outlet_flow, outlets)
        needs = np.repeat(need, [len(self._pairs_by_outlet[n]) for n in outlets])
        values[f"{prefix}_need"] = float(need[worst])
        values[f"{prefix}_least"], values[f"{prefix}_most"] = _extremes(flows)
        if np.isnan(flows).any():  # a case without a number is never better than the others
            values[f"{prefix}_least"] = math.nan
            marks[f"{prefix}_least"] = (
                self._mark(number, "FLW-1") if self._mark(number, "FLW-1") != MARK_NONE else MARK_UNKNOWN
            )
            return
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = flows / needs
        factors = [self.context.limit(name).value for name in ("FLW-3", "FLW-4")]
        least, most = _extremes(ratio)
        if math.isnan(least):  # the required flow is not known
            marks[f"{prefix}_least"] = marks[f"{prefix}_most"] = MARK_UNKNOWN
            return
        asked = self.context.limit("FLW-2").value
        marks[f"{prefix}_least"] = (
            MARK_LOW if least < 1 - 1e-9 else MARK_WARN if asked and least < 1 + asked - 1e-9 else MARK_NONE
        )
        if factors[1] and most > factors[1] + 1e-9:
            marks[f"{prefix}_most"] = MARK_HIGH
        elif factors[0] and most > factors[0] + 1e-9:
            marks[f"{prefix}_most"] = MARK_WARN

    def _lost_flow(
        self, number: int, name: str, kinds: tuple[str, ...], values: dict[str, Any], marks: dict[str, str]
    ) -> None:
        outlets = self._kind_outlets(number, kinds)
        if not outlets or self.context.valve_of_station[number] is None:
            values[name] = NOT_APPLICABLE
            return
        lost = self.judgement.results.fault(HOT_LOST)
        flows = self._of_outlets(lost, lost.outlet_flow, outlets)
        need = np.repeat(self.context.required_flow[outlets], [len(self._pairs_by_outlet[n]) for n in outlets])
        values[name] = math.nan if np.isnan(flows).any() else _extremes(flows)[0]
        with np.errstate(invalid="ignore", divide="ignore"):
            ratio = math.nan if np.isnan(flows).any() else _extremes(flows / need)[0]
        asked = self.context.limit("FLW-2").value
        if math.isnan(ratio):
            marks[name] = self._mark(number, "BYP-1") if self._mark(number, "BYP-1") != MARK_NONE else MARK_UNKNOWN
        elif ratio < 1 - 1e-9:
            marks[name] = MARK_LOW
        elif asked and ratio < 1 + asked - 1e-9:
            marks[name] = MARK_WARN

    def _pressures(self, number: int, values: dict[str, Any], marks: dict[str, str]) -> None:
        verdict = self.judgement.verdict(_BY_ID["PRS-1"], number)
        values["pressure_need"], values["pressure_least"] = verdict.limit, verdict.value
        marks["pressure_least"] = self._mark(number, "PRS-1")
        static = self.judgement.findings["PRS-2"][number]
        outlets = self._outlets(number)
        values["pressure_static"] = float(self.judgement.measures.static.outlet[outlets].max()) if outlets else math.nan
        if static.outcome == NOT_KNOWN:
            marks["pressure_static"] = MARK_UNKNOWN
        elif static.outcome == FAILED:
            marks["pressure_static"] = MARK_HIGH

    def _temperatures(self, number: int, values: dict[str, Any], marks: dict[str, str]) -> None:
        delivered = self.judgement.measures.delivered_temperature()
        outlets = self._outlets(number)
        columns = np.concatenate([self._pairs_by_outlet[n] for n in outlets]) if outlets else np.zeros(0, dtype=int)
        for name, check, season, pick in (
            ("temperature_cold", "TMP-1", "cold", np.min),
            ("temperature_warm", "TMP-2", "warm", np.max),
        ):
            states = [state for state, (found, _) in enumerate(STATES) if found == season]
            here = delivered[np.ix_(np.array(states), columns)] if len(columns) else np.array([np.nan])
            values[name] = NOT_KNOWN_WORD if np.isnan(here).any() else float(pick(here))
            mark = self._mark(number, check)
            marks[name] = (
                MARK_UNKNOWN if np.isnan(here).any() else MARK_HIGH if mark == MARK_LOW and check == "TMP-2" else mark
            )
        values["first_water"] = float(self.judgement.measures.first_water[0, number])
        marks["first_water"] = MARK_UNKNOWN if math.isnan(values["first_water"]) else MARK_NONE

    def _times(self, number: int, values: dict[str, Any], marks: dict[str, str]) -> None:
        if self.context.valve_of_station[number] is None:
            values.update(dict.fromkeys(("purge", "tepid", "minutes", "minutes_other"), NOT_APPLICABLE))
            values["first_water"] = NOT_APPLICABLE
            marks.pop("first_water", None)
            return
        pairs = self.cases.stations
        purge = self.judgement.results.normal.station.purge_seconds[:, pairs.member == number]
        values["purge"] = _extremes(purge)[1]
        tepid = self.judgement.verdict(_BY_ID["DLG-2"], number)
        values["tepid"], marks["tepid"] = tepid.value, self._mark(number, "DLG-2")
        minutes = self.judgement.verdict(_BY_ID["HOT-1"], number)
        hot = self.judgement.measures.hot_water
        openings = self._openings(number)
        columns = np.flatnonzero(np.isin(self.cases.sources.opening, openings))
        least, other = (_extremes(np.minimum(array[:, columns], DAY))[0] for array in (hot.seconds, hot.seconds_other))
        values["minutes"] = NOT_KNOWN_WORD if minutes.outcome == NOT_KNOWN and math.isnan(least) else least
        values["minutes_other"] = NOT_KNOWN_WORD if math.isnan(other) else other
        marks["minutes"] = self._mark(number, "HOT-1")
        if marks["minutes"] == MARK_NONE:
            marks["minutes"] = self._mark(number, "HOT-3")
        asked = self.context.limit("HOT-2").value
        if asked and not math.isnan(other) and other < asked:
            marks["minutes_other"] = MARK_WARN

    def set_rows(self) -> list[list[Any]]:
        """One row for each set of stations that an event lets flow at once, in the order of SET_COLUMNS."""
        return [self._set_row(opening) for opening in self.judgement.set_openings()]

    def _set_row(self, opening: int) -> list[Any]:
        judgement, normal = self.judgement, self.judgement.results.normal
        governing, outcome = judgement.opening_governing(opening), judgement.opening_outcome(opening)
        outlets, sources = self.cases.outlets.of(opening), self.cases.sources.of(opening)
        flow = _total(normal, opening, outlets)
        lost = _total(judgement.results.fault(HOT_LOST), opening, outlets)
        low, high = ([state for state, (_, found) in enumerate(STATES) if found == level] for level in ("low", "high"))
        hot = judgement.measures.hot_water
        needed, there = hot.needed[:, sources], hot.there[:, sources]
        place = (
            np.unravel_index(np.nanargmax(needed), needed.shape) if needed.size and not np.isnan(needed).all() else None
        )
        marks = {
            "pressure_least": self._opening_mark("PRS-1", opening),
            "minutes": self._opening_mark("HOT-1", opening),
            "flow_low": self._opening_mark("FLW-1", opening),
            "flow_lost": self._opening_mark("BYP-1", opening),
        }
        if marks["minutes"] == MARK_NONE:
            marks["minutes"] = self._opening_mark("HOT-3", opening)
        minutes = _extremes(np.minimum(hot.seconds[:, sources], DAY))[0]
        other = _extremes(np.minimum(hot.seconds_other[:, sources], DAY))[0]
        margin = governing.value if governing.check.shows_value_as_margin else governing.margin
        values: dict[str, Any] = {
            "set": self.cases.label(opening),
            "verdict": OUTCOME_WORDS[outcome],
            "events": ", ".join(str(tag).strip() for tag in self.cases.events_of(opening)) or NOT_APPLICABLE,
            "users": float(len(self.context.stations_of(opening))),
            "flow_low": _extremes(flow[low])[0],
            "flow_high": _extremes(flow[high])[1],
            "pressure_least": _extremes(normal.outlet_pressure[:, outlets])[0],
            "hot_needed": float(needed[place]) if place else NOT_APPLICABLE,
            "hot_there": float(there[place]) if place else NOT_APPLICABLE,
            "minutes": minutes if not math.isnan(minutes) else NOT_KNOWN_WORD,
            "minutes_other": other if not math.isnan(other) else NOT_KNOWN_WORD,
            "flow_lost": _extremes(lost)[0],
            "check": governing.check.id if outcome != PASSED else NOT_APPLICABLE,
            "margin": margin if outcome != PASSED and not math.isnan(margin) else NOT_APPLICABLE,
            "governing_case": case_text(judgement, governing) if outcome != PASSED else "all cases",
            "message": f"{message(judgement, governing)} {remedy(judgement, governing)}".strip()
            if outcome != PASSED
            else "All checks met.",
        }
        values["marks"] = "".join(marks.get(column.name, MARK_NONE) for column in SET_COLUMNS)
        return [self._shown(column, values[column.name]) for column in SET_COLUMNS]

    def _opening_mark(self, check: str, opening: int) -> str:
        outcome = int(self.judgement.openings[check].outcome[opening])
        return {FAILED: MARK_LOW, NOT_KNOWN: MARK_UNKNOWN, WARNED: MARK_WARN}.get(outcome, MARK_NONE)

    def site_rows(self) -> list[list[Any]]:
        """One row for each site line that is not met, then those that are, in the order of SITE_COLUMNS."""
        ordered = sorted(self.lines, key=lambda line: -line.outcome)
        values = [
            {
                "check": line.check.id,
                "subject": line.subject,
                "verdict": line.word,
                "case": line.case or NOT_APPLICABLE,
                "message": line.message,
            }
            for line in ordered
        ]
        return [[row[column.name] for column in SITE_COLUMNS] for row in values]

    # ---- cases ----

    def case_list(self) -> Iterator[tuple[str, int, int]]:
        """Every case as fault, state and opening."""
        for fault in self.judgement.results.faults:
            for state in range(len(STATES)):
                for opening in range(len(self.cases)):
                    yield fault.fault, state, opening

    def case_rows(self, station: str = "") -> list[list[Any]]:
        """One row for each case, of one station if it is named; governing cases only where there are too many."""
        wanted = set(range(len(self.cases)))
        if station:
            numbers = [
                n
                for n, tag in enumerate(self.cases.station_tags)
                if tag.strip().casefold() == station.strip().casefold()
            ]
            wanted = {int(o) for n in numbers for o in self._openings(n)}
        chosen = (
            [case for case in self.case_list() if case[2] in wanted]
            if self._count(wanted) <= CASES_SHOWN
            else self._governing_cases(wanted)
        )
        return [self._case_row(*case) for case in chosen]

    def _count(self, wanted: set[int]) -> int:
        return len(wanted) * len(STATES) * len(self.judgement.results.faults)

    def _governing_cases(self, wanted: set[int]) -> list[tuple[str, int, int]]:
        chosen: dict[tuple[str, int, int], None] = {}
        for number in range(len(self.judgement.site.stations)):
            verdict = self.judgement.governing(number)
            if verdict.opening in wanted and verdict.state >= 0:
                chosen[(verdict.fault, verdict.state, verdict.opening)] = None
        return sorted(chosen, key=lambda case: (case[2], case[0], case[1]))

    def _case_row(self, fault: str, state: int, opening: int) -> list[Any]:
        values: dict[str, Any] = dict.fromkeys((column.name for column in CASE_COLUMNS), NOT_APPLICABLE)
        results = self.judgement.results.fault(fault)
        outlets, valves = self.cases.outlets.of(opening), self.cases.valves.of(opening)
        values.update(
            stations=" + ".join(str(self.cases.station_tags[s]).strip() for s in self.context.stations_of(opening)),
            outlets=", ".join(self.cases.outlet_names[int(m)] for m in self.cases.outlets.member[outlets]),
            season=STATES[state][0],
            supply=STATES[state][1],
            fault=fault,
            state=STATE_WORDS[int(results.state[state, opening])],
        )
        if results.state[state, opening] == SOLVED:
            flow, pressure = results.outlet_flow[state, outlets], results.outlet_pressure[state, outlets]
            need = self.context.required_flow[self.cases.outlets.member[outlets]]
            share = np.where(np.isnan(need), np.inf, flow / need)
            worst = int(np.argmin(share))
            member = int(self.cases.outlets.member[outlets][worst])
            station = self.cases.station_tags[int(self.cases.outlet_station[member])]
            values.update(
                flow=float(flow.sum()),
                worst_outlet=f"{str(station).strip()} {self.cases.outlet_names[member]}",
                worst_flow=float(flow[worst]),
                worst_pressure=float(pressure[worst]),
            )
            if valves.stop > valves.start:
                self._case_valve(results, fault, state, opening, values)
        return [self._plain(column, values[column.name]) for column in CASE_COLUMNS]

    def _case_valve(self, results: FaultResults, fault: str, state: int, opening: int, values: dict[str, Any]) -> None:
        place = self.cases.valves.of(opening).start
        valve = results.valve
        tags = [
            str(self.judgement.site.mixing_valves[int(m)].tag).strip()
            for m in self.cases.valves.member[self.cases.valves.of(opening)]
        ]
        values["valve"] = ", ".join(tags)
        for name, array in (
            ("hot_pressure", valve.hot_pressure),
            ("cold_pressure", valve.cold_pressure),
            ("chamber_pressure", valve.chamber_pressure),
        ):
            values[name] = float(array[state, place])
        if fault == NORMAL:
            values.update(
                stem_position=float(valve.stem[state, place]), hot_fraction=float(valve.hot_fraction[state, place])
            )
            mixed = float(valve.mixed_temperature[state, place])
            values["mixed_temperature"] = NOT_KNOWN_WORD if math.isnan(mixed) else mixed
            seconds = self.judgement.measures.hot_water.seconds[state, self.cases.sources.of(opening)]
            least = _extremes(np.minimum(seconds, DAY))[0] if seconds.size else math.nan
            values["minutes"] = NOT_KNOWN_WORD if math.isnan(least) else least

    def _plain(self, column: ResultColumn, value: Any) -> Any:
        """A value for a cell at full precision."""
        if isinstance(value, str):
            return value
        if math.isnan(value):
            return NOT_APPLICABLE
        return float(from_si(value, column.unit(self.units))) if column.quantity else float(value)


def _total(results: FaultResults, opening: int, outlets: slice) -> Numbers:
    return np.asarray(results.outlet_flow[:, outlets].sum(axis=1))


def _extremes(array: Numbers) -> tuple[float, float]:
    """Least and greatest of the numbers that are there, or not-a-number where one is missing altogether."""
    known = array[~np.isnan(array)]
    return (float(known.min()), float(known.max())) if known.size else (math.nan, math.nan)


_BY_ID = {check.id: check for check in STATION_CHECKS}
_ROUND_UP = ("purge", "tepid", "hot_needed", "temperature_warm", "flow_high")
