"""The verdicts: every check of the table on every station and every set, the worst first.

`judge` gives a finished `Judgement`. It holds arrays and makes words only for what is asked, so that five thousand
stations cost little more than their numbers.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.check_limits import LimitRow
from drenchbook.check_measures import Measures
from drenchbook.check_samples import (
    NONE,
    NOT_KNOWN,
    NOTED,
    OUTCOME_WORDS,
    PASSED,
    SLACK,
    WARNED,
    Found,
    Samples,
    by_opening,
    by_station,
)
from drenchbook.check_table import CHECKS, EITHER, REQUIRED, Check
from drenchbook.findings import Finding
from drenchbook.network import Network, compile_network
from drenchbook.operating_cases import SET, Cases, Pairs, operating_cases
from drenchbook.quantity_text import LEAST, MOST
from drenchbook.site_model import Site
from drenchbook.solver import solve
from drenchbook.solver_results import SOLVED, Results

Numbers: TypeAlias = np.ndarray[Any, Any]

STATION_CHECKS = tuple(check for check in CHECKS if check.cases or check.station)
CASE_CHECKS = tuple(check for check in CHECKS if check.cases)


@dataclass(frozen=True)
class Verdict:
    """One check of one station or set: its outcome, the number, and the case in which it is worst."""

    check: Check
    outcome: int
    value: float
    limit: float
    margin: float
    opening: int = -1
    fault: str = "normal"
    state: int = -1
    member: int = -1
    about: str = ""
    case: str = ""
    quantity: str = ""
    second: bool = False
    pairs: Pairs | None = None  # what `member` counts
    station: int = -1  # of a check that looks at one station and not at cases

    @property
    def shown_quantity(self) -> str:
        """The quantity of value and limit."""
        return (self.check.second[0] if self.second else self.quantity) or self.check.quantity

    @property
    def toward(self) -> str:
        """Which way the value is rounded: toward the unsafe side. The sign of the margin tells where that is."""
        if self.check.toward != EITHER:
            return self.check.toward
        return MOST if (self.value - self.limit) * self.margin < 0 else LEAST

    @property
    def shown_margin(self) -> float:
        """The margin as it is shown: of the limit, or the value itself where that is a margin."""
        return self.value if self.check.shows_value_as_margin else self.margin

    @property
    def word(self) -> str:
        """The outcome in words."""
        return OUTCOME_WORDS[self.outcome]


class Judgement:
    """All verdicts of a solved site."""

    def __init__(self, site: Site, network: Network, cases: Cases, results: Results):
        self.site, self.network, self.cases, self.results = site, network, cases, results
        self.context = Context(site, network, cases, results)
        self.measures = Measures(self.context)
        self.remembered: dict[tuple[Any, ...], Any] = {}  # what remedies worked out, so that it is done once

    @functools.cached_property
    def openings(self) -> dict[str, Found]:
        """For each check of the cases the worst of each opening."""
        with np.errstate(divide="ignore", invalid="ignore"):
            return {
                check.id: by_opening(self._honest(check.cases(self.measures)), len(self.cases), check.severity)
                for check in CASE_CHECKS
                if check.cases
            }

    def _honest(self, samples: Samples) -> Samples:
        """The same samples; nothing is met in a case without an answer, whatever was measured there."""
        states = [
            np.asarray(self.results.fault(fault).state[state, samples.pairs.opening])
            for fault, state in samples.conditions
        ]
        hollow = (np.array(states) != SOLVED) & (np.nan_to_num(samples.margin, nan=-1.0) >= -SLACK)
        return replace(samples, unknown=samples.unknown | hollow)

    @functools.cached_property
    def stations(self) -> dict[str, Found]:
        """For each check of the cases the worst of each station."""
        count = len(self.site.stations)
        return {key: by_station(found, self.cases, count) for key, found in self.openings.items()}

    @functools.cached_property
    def findings(self) -> dict[str, tuple[Finding, ...]]:
        """For each check of a station's properties its finding for each station."""
        count = range(len(self.site.stations))
        with np.errstate(divide="ignore", invalid="ignore"):
            return {
                check.id: tuple(check.station(self.measures, number) for number in count)
                for check in STATION_CHECKS
                if check.station
            }

    @functools.cached_property
    def table(self) -> tuple[Numbers, Numbers]:
        """[checks, stations] outcome and margin, in the order of priority."""
        outcome, margin = [], []
        for check in STATION_CHECKS:
            if check.cases:
                found = self.stations[check.id]
                outcome.append(found.outcome)
                margin.append(found.margin)
            else:
                outcome.append(np.array([f.outcome for f in self.findings[check.id]], dtype=int))
                margin.append(np.array([f.margin for f in self.findings[check.id]], dtype=float))
        return np.array(outcome).reshape(len(STATION_CHECKS), -1), np.array(margin).reshape(len(STATION_CHECKS), -1)

    @functools.cached_property
    def station_outcomes(self) -> Numbers:
        """The verdict of each station: FAIL > UNKNOWN > WARN > OK; a NOTE does not rank."""
        return _ranked(self.table[0]).max(axis=0, initial=PASSED)

    @functools.cached_property
    def governing_checks(self) -> Numbers:
        """For each station the check that governs: severity first, then the table's priority, then margin."""
        ranked = _ranked(self.table[0])
        return ranked.argmax(axis=0) if ranked.shape[1] else np.zeros(0, dtype=int)

    @functools.cached_property
    def alone_outcomes(self) -> Numbers:
        """The verdict of each station were it never used together with another."""
        count = len(self.site.stations)
        worst = np.full(count, PASSED)
        pairs = self.cases.stations
        single = self.cases.kind[pairs.opening] != SET
        for check in CASE_CHECKS:
            outcome = _ranked(self.openings[check.id].outcome)[pairs.opening[single]]
            np.maximum.at(worst, pairs.member[single], outcome)
        for findings in self.findings.values():
            worst = np.maximum(worst, _ranked(np.array([f.outcome for f in findings], dtype=int)))
        return worst

    def missed(self, station: int) -> list[str]:
        """Ids of the checks that a station does not meet, NOTEs aside, in the order of their priority."""
        column = self.table[0][:, station]
        return [check.id for check, outcome in zip(STATION_CHECKS, column, strict=True) if outcome >= WARNED]

    @functools.cached_property
    def _looser(self) -> dict[str, LimitRow]:
        rows = self.context.limits.values()
        return {row.id: row for row in rows if row.change == "looser"}

    def rests_on(self, station: int) -> list[LimitRow]:
        """The limits looser than published by which a check of a station is met."""
        if not self._looser:
            return []
        kinds = {f"FLW-1 {self.context.outlets[number].kind}" for number in self.context.outlets_of[station]}
        used: dict[str, LimitRow] = {}
        for check, outcome in zip(STATION_CHECKS, self.table[0][:, station], strict=True):
            if outcome in (PASSED, NOTED, WARNED):
                names = [name for name in check.limits if name not in REQUIRED or name in kinds]
                used.update({name: self._looser[name] for name in names if name in self._looser})
        return list(used.values())

    @functools.cached_property
    def checks_made(self) -> Numbers:
        """How many checks apply to each station; OK is proved by counting those that are met."""
        return np.asarray((self.table[0] != NONE).sum(axis=0))

    @functools.cached_property
    def checks_met(self) -> Numbers:
        """How many of them are met; a NOTE is met."""
        outcome = self.table[0]
        return np.asarray(((outcome == PASSED) | (outcome == NOTED)).sum(axis=0))

    def verdict(self, check: Check, station: int) -> Verdict:
        """One check of one station."""
        if check.cases:
            return _verdict(check, self.stations[check.id], station)
        found = self.findings[check.id][station]
        return Verdict(
            check,
            found.outcome,
            found.value,
            found.limit,
            found.margin,
            about=found.about,
            case=found.case,
            quantity=found.quantity,
            station=station,
        )

    def governing(self, station: int) -> Verdict:
        """The verdict that governs a station."""
        return self.verdict(STATION_CHECKS[int(self.governing_checks[station])], station)

    @functools.cached_property
    def _opening_table(self) -> Numbers:
        return np.array([_ranked(self.openings[check.id].outcome) for check in CASE_CHECKS])

    def opening_outcome(self, opening: int) -> int:
        """The verdict of an opening over the checks of its cases."""
        return max(int(self._opening_table[:, opening].max(initial=PASSED)), PASSED)

    def opening_governing(self, opening: int) -> Verdict:
        """The verdict that governs an opening."""
        check = CASE_CHECKS[int(self._opening_table[:, opening].argmax())]
        return _verdict(check, self.openings[check.id], opening)

    def opening_verdict(self, check: Check, opening: int) -> Verdict:
        """One check of one opening."""
        return _verdict(check, self.openings[check.id], opening)

    def set_openings(self) -> list[int]:
        """The openings of stations that an event lets flow at once."""
        return [int(number) for number in np.flatnonzero(self.cases.kind == SET)]


def _ranked(outcome: Numbers) -> Numbers:
    """Outcomes for ranking: a NOTE counts as met, a check that does not apply lies below that."""
    return np.where(outcome == NOTED, PASSED, outcome)


def _verdict(check: Check, found: Found, place: int) -> Verdict:
    condition = int(found.condition[place])
    fault, state = found.conditions[condition] if 0 <= condition < len(found.conditions) else ("normal", -1)
    return Verdict(
        check,
        int(found.outcome[place]),
        float(found.value[place]),
        float(found.limit[place]),
        float(found.margin[place]),
        int(found.opening[place]),
        fault,
        state,
        int(found.member[place]),
        second=bool(found.second[place]),
        pairs=found.pairs,
    )


def judge(site: Site) -> Judgement:
    """Solve every case of a site whose structure is sound, and judge it."""
    network = compile_network(site)
    cases = operating_cases(site, network)
    return Judgement(site, network, cases, solve(network, cases))


def worst_word(outcomes: list[int]) -> str:
    """The verdict in words of several outcomes; of none at all UNKNOWN, for nothing was shown.

    >>> worst_word([PASSED, NOT_KNOWN]), worst_word([])
    ('UNKNOWN', 'UNKNOWN')
    """
    if not outcomes:
        return OUTCOME_WORDS[NOT_KNOWN]
    return OUTCOME_WORDS[max(PASSED, *(PASSED if outcome == NOTED else outcome for outcome in outcomes))]
