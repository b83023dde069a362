"""The JSON report of one file: every verdict and every case, each number with its unit."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

from drenchbook.check_samples import NONE, OUTCOME_WORDS, PASSED
from drenchbook.check_words import case_text, message, remedy
from drenchbook.checks import CASE_CHECKS, STATION_CHECKS, Verdict
from drenchbook.errors import Problem
from drenchbook.json_cases import CaseObjects, number_object
from drenchbook.json_inputs import fault_objects, state_objects
from drenchbook.report import Report
from drenchbook.site_lines import SiteLine
from drenchbook.units import unit_of


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
        "states": [],
        "faults": [],
        "cases": [],
    }
    if report is not None:
        writer = _Writer(report)
        answer["site"] = [line_object(line, report.units) for line in report.lines]
        answer["sets"] = [writer.set(opening) for opening in report.judgement.set_openings()]
        answer["stations"] = [writer.station(number) for number in range(len(report.judgement.site.stations))]
        answer["states"], answer["faults"] = state_objects(report), fault_objects(report)
        answer["cases"] = CaseObjects(report).all()
    return answer


def json_lines(files: Sequence[dict[str, Any]]) -> Iterator[str]:
    """The text of the whole report, a station, set or case a line: one indented to the last number takes minutes.

    >>> print("\\n".join(json_lines([{"file": "a", "cases": [{"fault": "normal"}, {"fault": "power lost"}]}])))
    {"files": [
    {"file": "a",
    "cases": [
    {"fault": "normal"},
    {"fault": "power lost"}]}]}
    """
    encode = json.JSONEncoder(ensure_ascii=False, allow_nan=False).encode
    yield '{"files": [' if files else '{"files": []}'
    for number, file in enumerate(files, start=1):
        for place, (key, value) in enumerate(file.items(), start=1):
            start = ("" if place > 1 else "{") + encode(key) + ": "
            end = "," if place < len(file) else "}" + ("," if number < len(files) else "]}")
            if not isinstance(value, list) or not value:
                yield start + encode(value) + end
                continue
            yield start + "["
            for item in value[:-1]:
                yield encode(item) + ","
            yield encode(value[-1]) + "]" + end


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
