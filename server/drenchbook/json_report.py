"""The JSON report of one file: every verdict and every case, each number with its unit."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from drenchbook.check_samples import NONE, OUTCOME_WORDS, PASSED
from drenchbook.check_words import case_text, message, remedy
from drenchbook.checks import CASE_CHECKS, STATION_CHECKS, Verdict
from drenchbook.errors import Problem
from drenchbook.hot_water import DAY
from drenchbook.operating_cases import MIXING, NORMAL, STATES
from drenchbook.report import Report
from drenchbook.site_lines import SiteLine
from drenchbook.solver_results import SOLVED, STATE_WORDS, FaultResults
from drenchbook.units import from_si, unit_of

NOT_UNDER_CONTROL = "not under control"
NO_SUCH_NUMBER = "does not apply"  # the hot side with hot pressure lost, a check without a number


def file_report(name: str, report: Report | None, problems: Sequence[Problem], verdict: str) -> dict[str, Any]:
    """The object of one file; `report` is None for a file that cannot be used."""
    answer: dict[str, Any] = {
        "file": name,
        "verdict": verdict,
        "units": report.units if report is not None else "",
        "problems": [
            {
                "sheet": p.sheet,
                "cell": p.cell,
                "tag": p.row_tag,
                "value": None if p.value is None else str(p.value),
                "message": str(p),
                "breaks_file": p.breaks_file,
            }
            for p in problems
        ],
        "site": [],
        "sets": [],
        "stations": [],
        "cases": [],
    }
    if report is not None:
        writer = _Writer(report)
        answer["site"] = [line_object(line, report.units) for line in report.lines]
        answer["sets"] = [writer.set(opening) for opening in report.judgement.set_openings()]
        answer["stations"] = [writer.station(number) for number in range(len(report.judgement.site.stations))]
        answer["cases"] = writer.cases()
    return answer


def number_object(value: float, quantity: str, units: str, state: str = "") -> dict[str, Any]:
    """A number with its unit; null with a state where there is none."""
    unit = unit_of(quantity, units) if quantity else ""
    if math.isnan(value):
        return {"value": None, "unit": unit, "state": state or ("not known" if quantity else NO_SUCH_NUMBER)}
    if math.isinf(value) or (quantity in ("seconds", "minutes") and value >= DAY):
        endless = quantity in ("seconds", "minutes", "hours")
        return {"value": None, "unit": unit, "state": "does not end" if endless else "without limit"}
    return {"value": float(from_si(value, unit)) if unit else float(value), "unit": unit}


def line_object(line: SiteLine, units: str) -> dict[str, Any]:
    """A line of the site."""
    return {
        "id": line.check.id,
        "subject": line.subject,
        "severity": line.word,
        "case": line.case,
        "value": number_object(line.value, line.check.quantity, units),
        "limit": number_object(line.limit, line.check.quantity, units),
        "message": line.message,
        "remedy": line.remedy,
    }


class _Writer:
    def __init__(self, report: Report):
        self.report, self.judgement = report, report.judgement
        self.context, self.all_cases = report.context, report.cases
        self.tags = [str(tag).strip() for tag in self.all_cases.station_tags]
        self.valve_tags = [str(row.tag).strip() for row in self.judgement.site.mixing_valves]

    def number(self, value: float, quantity: str, state: str = "") -> dict[str, Any]:
        """A number with its unit; null with a state where there is none."""
        return number_object(value, quantity, self.report.units, state)

    def verdict(self, verdict: Verdict, station: int = -1) -> dict[str, Any]:
        quantity = verdict.shown_quantity
        unit = unit_of(quantity, self.report.units) if quantity else ""
        return {
            "id": verdict.check.id,
            "severity": verdict.word,
            "value": self.number(verdict.value, quantity),
            "limit": self.number(verdict.limit, quantity),
            "margin": verdict.margin if math.isfinite(verdict.margin) else None,
            "unit": unit,
            "case": case_text(self.judgement, verdict),
            "message": message(self.judgement, verdict, station),
            "remedy": remedy(self.judgement, verdict),
        }

    def governing(self, verdict: Verdict, outcome: int) -> dict[str, Any]:
        margin = verdict.shown_margin
        return {
            "verdict": OUTCOME_WORDS[outcome],
            "governing_check": verdict.check.id if outcome != PASSED else "",
            "governing_case": case_text(self.judgement, verdict) if outcome != PASSED else "",
            "margin": margin if outcome != PASSED and math.isfinite(margin) else None,
        }

    def station(self, number: int) -> dict[str, Any]:
        judgement = self.judgement
        checks = [judgement.verdict(check, number) for check in STATION_CHECKS]
        return {
            "tag": self.tags[number],
            **self.governing(judgement.governing(number), int(judgement.station_outcomes[number])),
            "alone": OUTCOME_WORDS[int(judgement.alone_outcomes[number])],
            "checks": [self.verdict(one, number) for one in checks if one.outcome != NONE],
        }

    def set(self, opening: int) -> dict[str, Any]:
        judgement = self.judgement
        checks = [judgement.opening_verdict(check, opening) for check in CASE_CHECKS]
        return {
            "stations": [self.tags[s] for s in self.context.stations_of(opening)],
            "events": [str(tag).strip() for tag in self.all_cases.events_of(opening)],
            **self.governing(judgement.opening_governing(opening), judgement.opening_outcome(opening)),
            "checks": [self.verdict(one) for one in checks if one.outcome != NONE],
        }

    def cases(self) -> list[dict[str, Any]]:
        """Every case, fault by fault and state by state."""
        return [self.case(*case) for case in self.report.case_list()]

    def case(self, fault: str, state: int, opening: int) -> dict[str, Any]:
        results = self.judgement.results.fault(fault)
        code = int(results.state[state, opening])
        part = self.all_cases.outlets.of(opening)
        word = "" if code == SOLVED else STATE_WORDS[code]
        outlets = []
        for place in range(part.start, part.stop):
            member = int(self.all_cases.outlets.member[place])
            outlets.append(
                {
                    "station": self.tags[int(self.all_cases.outlet_station[member])],
                    "outlet": self.all_cases.outlet_names[member],
                    "flow": self.number(float(results.outlet_flow[state, place]), "flow", word),
                    "pressure": self.number(float(results.outlet_pressure[state, place]), "pressure", word),
                }
            )
        valves = self.all_cases.valves.of(opening)
        return {
            "stations": [self.tags[s] for s in self.context.stations_of(opening)],
            "label": self.all_cases.label(opening),
            "season": STATES[state][0],
            "supply": STATES[state][1],
            "fault": fault,
            "changed": self.report.changed(fault),
            "state": STATE_WORDS[code],
            "outlets": outlets,
            "valves": [
                self.valve(results, fault, state, opening, place, word) for place in range(valves.start, valves.stop)
            ],
        }

    def valve(
        self, results: FaultResults, fault: str, state: int, opening: int, place: int, word: str
    ) -> dict[str, Any]:
        valve, member = results.valve, int(self.all_cases.valves.member[place])
        mixes = fault in MIXING and not math.isnan(float(valve.stem[state, place]))
        control = NOT_UNDER_CONTROL if mixes and not bool(valve.under_control[state, place]) else ""
        none = word or control or ("not known" if mixes else NO_SUCH_NUMBER)
        answer: dict[str, Any] = {"valve": self.valve_tags[member]}
        for name, array, quantity in (
            ("flow", valve.flow, "flow"),
            ("hot_flow", valve.hot_flow, "flow"),
            ("cold_flow", valve.cold_flow, "flow"),
            ("hot_pressure", valve.hot_pressure, "pressure"),
            ("cold_pressure", valve.cold_pressure, "pressure"),
            ("chamber_pressure", valve.chamber_pressure, "pressure"),
            ("stem_position", valve.stem, "fraction"),
            ("hot_fraction", valve.hot_fraction, "fraction"),
            ("mixed_temperature", valve.mixed_temperature, "temperature"),
        ):
            answer[name] = self.number(float(array[state, place]), quantity, none)
        answer["minutes_of_hot_water"] = self.number(self._seconds(fault, state, opening, member), "minutes", none)
        answer["assumed_at_set_temperature"] = bool(control) and not word
        return answer

    def _seconds(self, fault: str, state: int, opening: int, valve: int) -> float:
        if fault != NORMAL:
            return math.nan
        source, part = int(self.judgement.network.valve_source[valve]), self.all_cases.sources.of(opening)
        place = part.start + int(np.flatnonzero(self.all_cases.sources.member[part] == source)[0])
        return float(np.minimum(self.judgement.measures.hot_water.seconds[state, place], DAY))
