"""The rows of the station schedule: one for each station, the governing numbers of all its cases."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, OUTCOME_WORDS, SLACK
from drenchbook.checks import STATION_CHECKS
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import HOT_LOST, NORMAL
from drenchbook.result_tables import (
    MARGIN_COLUMNS,
    MARK_HIGH,
    MARK_LOW,
    MARK_NONE,
    MARK_UNKNOWN,
    MARK_WARN,
    NO_RESULT,
    NOT_APPLICABLE,
    SCHEDULE_COLUMNS,
)
from drenchbook.result_tables import NOT_KNOWN as NOT_KNOWN_WORD
from drenchbook.station_numbers import StationNumbers

SHOWER, EYE, HOSE = ("shower",), ("eyewash", "eye/face wash"), ("drench hose",)
_BY_ID = {check.id: check for check in STATION_CHECKS}


def schedule_rows(site: JudgedSite) -> list[list[Any]]:
    """One row for each station, in the order of SCHEDULE_COLUMNS."""
    judgement = site.judgement
    numbers = StationNumbers(site)
    rows = [_Row(site, numbers, number).cells() for number in range(len(judgement.site.stations))]
    if judgement.site.project.schedule_order == "worst first":
        order = np.lexsort((judgement.governing_checks, -judgement.station_outcomes))
        rows = [rows[int(number)] for number in order]
    return rows


class _Row:
    """One station's values and marks, part by part."""

    def __init__(self, site: JudgedSite, numbers: StationNumbers, number: int):
        self.site, self.numbers, self.number = site, numbers, number
        self.judgement, self.context = site.judgement, site.context
        self.outlets = list(site.context.outlets_of[number])
        self.valve = site.context.valve_of_station[number]
        self.values: dict[str, Any] = {}
        self.marks: dict[str, str] = {}

    def cells(self) -> list[Any]:
        """The row."""
        self.station()
        for prefix, kinds in (("shower", SHOWER), ("eye", EYE), ("hose", HOSE)):
            self.flows(prefix, kinds)
        self.pressures()
        self.temperatures()
        self.times()
        for name, kinds in (("lost_shower", SHOWER), ("lost_eye", EYE)):
            self.lost_flow(name, kinds)
        self.values["marks"] = "".join(self.marks.get(column.name, MARK_NONE) for column in SCHEDULE_COLUMNS)
        return [self.site.shown(column, self.values[column.name]) for column in SCHEDULE_COLUMNS]

    def station(self) -> None:
        """Who the station is, its verdict and why."""
        judgement, site, number = self.judgement, self.site, self.number
        station, outcome = judgement.site.stations[number], int(judgement.station_outcomes[number])
        self.values.update(
            tag=str(station.tag),
            verdict=OUTCOME_WORDS[outcome],
            area=station.area if isinstance(station.area, str) else NOT_APPLICABLE,
            events=", ".join(site.events_of(number)) or NOT_APPLICABLE,
            users=float(self.numbers.users[number]),
            outlets=" + ".join(site.cases.outlet_names[n] for n in self.outlets) or NO_RESULT,
            valve=str(self.valve.tag).strip() if self.valve is not None else "none",
            message=site.message_of(number),
            checks_made=float(judgement.checks_made[number]),
            checks_met=float(judgement.checks_met[number]),
            **site.why(judgement.governing(number), outcome),
        )
        for name, _, check in MARGIN_COLUMNS:
            found = judgement.stations[check]
            applies = int(found.outcome[number]) != NONE
            self.values[name] = float(found.margin[number]) if applies else NOT_APPLICABLE

    def kind_outlets(self, kinds: tuple[str, ...]) -> list[int]:
        """The station's outlets of some kinds."""
        return [n for n in self.outlets if self.context.outlets[n].kind in kinds]

    def flow_mark(self, least: float, check: str) -> str:
        """The mark of the least share of the required flow; one that is not known is never better."""
        if math.isnan(least):
            mark = self.site.mark(self.number, check)
            return mark if mark != MARK_NONE else MARK_UNKNOWN
        asked = self.context.limit("FLW-2").value
        if least < 1 - SLACK:
            return MARK_LOW
        return MARK_WARN if asked is not None and least < 1 + asked - SLACK else MARK_NONE

    def flows(self, prefix: str, kinds: tuple[str, ...]) -> None:
        """Need, least and most flow of the outlets of some kinds in normal use."""
        outlets = self.kind_outlets(kinds)
        if not outlets:
            self.values.update({f"{prefix}_{part}": NOT_APPLICABLE for part in ("need", "least", "most")})
            return
        flow, share = self.numbers.flow(NORMAL, kinds)
        least, most = (float(found[self.number]) for found in (share.least, share.most))
        self.values[f"{prefix}_need"] = float(self.numbers.need(kinds).most[self.number])
        self.values[f"{prefix}_least"] = float(flow.least[self.number])
        self.values[f"{prefix}_most"] = float(flow.most[self.number])
        self.marks[f"{prefix}_least"] = self.flow_mark(least, "FLW-1")
        warn, fail = (self.context.limit(name).value for name in ("FLW-3", "FLW-4"))
        if math.isnan(most) or warn is None or fail is None:
            self.marks[f"{prefix}_most"] = MARK_UNKNOWN
        elif most > fail * (1 + SLACK):
            self.marks[f"{prefix}_most"] = MARK_HIGH
        elif most > warn * (1 + SLACK):
            self.marks[f"{prefix}_most"] = MARK_WARN

    def lost_flow(self, name: str, kinds: tuple[str, ...]) -> None:
        """Least flow of the outlets of some kinds with hot pressure lost."""
        outlets = self.kind_outlets(kinds)
        if not outlets or self.valve is None:
            self.values[name] = NOT_APPLICABLE
            return
        flow, share = self.numbers.flow(HOT_LOST, kinds)
        self.values[name] = float(flow.least[self.number])
        self.marks[name] = self.flow_mark(float(share.least[self.number]), "BYP-1")

    def pressures(self) -> None:
        """Pressure at the worst of its own outlets, and the greatest without flow."""
        margin, need, pressure = (float(found[self.number]) for found in self.numbers.pressure)
        self.values["pressure_need"], self.values["pressure_least"] = need, pressure
        self.marks["pressure_least"] = MARK_UNKNOWN
        if not math.isnan(margin):
            fails = self.site.mark(self.number, "PRS-1") == MARK_LOW
            self.marks["pressure_least"] = (MARK_LOW if fails else MARK_WARN) if margin < -SLACK else MARK_NONE
        static = self.judgement.findings["PRS-2"][self.number]
        self.values["pressure_static"] = float(self.numbers.static.most[self.number])
        if static.outcome == NOT_KNOWN or math.isnan(self.values["pressure_static"]):
            self.marks["pressure_static"] = MARK_UNKNOWN
        elif static.outcome == FAILED:
            self.marks["pressure_static"] = MARK_HIGH

    def temperatures(self) -> None:
        """Delivered temperatures and that of the first water in the cold season."""
        delivered = self.numbers.delivered
        for name, check, found in (
            ("temperature_cold", "TMP-1", delivered["cold"].least),
            ("temperature_warm", "TMP-2", delivered["warm"].most),
        ):
            value = float(found[self.number])
            mark = self.site.mark(self.number, check)
            self.values[name] = NOT_KNOWN_WORD if math.isnan(value) else value
            self.marks[name] = MARK_UNKNOWN if math.isnan(value) else mark
            if mark == MARK_LOW and check == "TMP-2" and not math.isnan(value):
                self.marks[name] = MARK_HIGH
        first = float(self.judgement.measures.first_water[0, self.number])
        self.values["first_water"] = first if self.valve is not None else NOT_APPLICABLE
        if self.valve is not None and math.isnan(first):
            self.marks["first_water"] = MARK_UNKNOWN

    def times(self) -> None:
        """Purge, time that is not tepid, and minutes of hot water by both tank models."""
        number, site = self.number, self.site
        if self.valve is None:
            self.values.update(dict.fromkeys(("purge", "tepid", "minutes", "minutes_other"), NOT_APPLICABLE))
            return
        self.values["purge"] = float(self.numbers.purge.most[number])
        tepid = self.judgement.verdict(_BY_ID["DLG-2"], number)
        self.values["tepid"] = tepid.value if tepid.outcome != NOT_KNOWN else math.nan
        self.marks["tepid"] = site.mark(number, "DLG-2")
        least, other = (float(found[number]) for found in self.numbers.minutes)
        unknown = self.judgement.verdict(_BY_ID["HOT-1"], number).outcome == NOT_KNOWN
        self.values["minutes"] = NOT_KNOWN_WORD if unknown or math.isnan(least) else least
        self.values["minutes_other"] = NOT_KNOWN_WORD if math.isnan(other) else other
        marks = [site.mark(number, check) for check in ("HOT-1", "HOT-3")]
        self.marks["minutes"] = marks[0] if marks[0] != MARK_NONE else marks[1]
        asked = self.context.limit("HOT-2").value
        if math.isnan(other) or asked is None:
            self.marks["minutes_other"] = MARK_UNKNOWN
        elif other < asked * (1 - SLACK):
            self.marks["minutes_other"] = MARK_WARN
