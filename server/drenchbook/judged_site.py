"""A judged site ready to be shown: who belongs to whom, and numbers as cells of a result table."""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.check_samples import FAILED, NOT_KNOWN, PASSED, WARNED
from drenchbook.check_words import case_text, message, remedy
from drenchbook.checks import Judgement, Verdict
from drenchbook.errors import Problem
from drenchbook.faulted_network import changes_in
from drenchbook.operating_cases import AFTER_RECOVERY, SET
from drenchbook.quantity_text import quantity_text, rounded
from drenchbook.result_tables import (
    MARK_LOW,
    MARK_NONE,
    MARK_UNKNOWN,
    MARK_WARN,
    NO_RESULT,
    NOT_APPLICABLE,
    ResultColumn,
)
from drenchbook.units import from_si

Numbers: TypeAlias = np.ndarray[Any, Any]

# Columns whose number looks worse when it is greater: they are rounded up.
ROUNDED_UP = (
    "shower_need", "eye_need", "hose_need", "pressure_need", "shower_most", "eye_most", "hose_most", "pressure_static",
    "temperature_warm", "purge", "tepid", "hot_needed", "flow_high",
)  # fmt: skip
_LETTERS = {FAILED: MARK_LOW, NOT_KNOWN: MARK_UNKNOWN, WARNED: MARK_WARN}


class JudgedSite:
    """One judged site with its lookups; everything is grouped once, so that a row costs no search through all cases."""

    def __init__(self, judgement: Judgement, problems: Sequence[Problem] = ()):
        self.judgement, self.problems = judgement, tuple(problems)
        self.context, self.cases = judgement.context, judgement.cases
        self.units = judgement.context.units
        self._changed: dict[str, str] = {}
        self._forms: dict[ResultColumn, tuple[str, int, str]] = {}

    def changed(self, fault: str) -> str:
        """What a fault changes against normal use, in words."""
        if fault not in self._changed:
            words = changes_in(self.judgement.network, fault, self.units)
            self._changed[fault] = f"{words}: {self._recovery}" if fault == AFTER_RECOVERY else words
        return self._changed[fault]

    @property
    def _recovery(self) -> str:
        """How long a storage has until it is drawn from again."""
        project = self.judgement.site.project
        seconds = self.context.cell("project", project, "recovery_time")
        return gap("project", project, "recovery_time") or quantity_text(seconds, "hours", self.units)

    # ---- who belongs to whom ----

    @functools.cached_property
    def _pairs_by_station(self) -> list[Numbers]:
        return _grouped(self.cases.stations.member, len(self.judgement.site.stations))

    @functools.cached_property
    def _pairs_by_outlet(self) -> list[Numbers]:
        return _grouped(self.cases.outlets.member, len(self.context.outlets))

    def station_pairs(self, number: int) -> Numbers:
        """Places of a station in the pairs of openings and stations."""
        return self._pairs_by_station[number]

    def openings_of(self, number: int) -> Numbers:
        """The openings that a station belongs to."""
        return self.cases.stations.opening[self._pairs_by_station[number]]

    def outlet_pairs(self, outlets: Sequence[int]) -> Numbers:
        """Places of some outlets in the pairs of openings and outlets."""
        return np.concatenate([np.zeros(0, dtype=int), *(self._pairs_by_outlet[n] for n in outlets)])

    def needs(self, outlets: Sequence[int]) -> Numbers:
        """Required flow at each of `outlet_pairs`."""
        return self.context.required_flow[self.cases.outlets.member[self.outlet_pairs(outlets)]]

    def events_of(self, number: int) -> list[str]:
        """The events of which a station is part of a set."""
        openings = self.openings_of(number)
        tags: dict[str, None] = {}
        for opening in openings[self.cases.kind[openings] == SET]:
            tags.update(dict.fromkeys(str(tag).strip() for tag in self.cases.events_of(int(opening))))
        return list(tags)

    # ---- words and cells ----

    def mark(self, number: int, check: str) -> str:
        """The letter of a check's outcome at a station."""
        found = self.judgement.stations.get(check)
        outcome = int(found.outcome[number]) if found is not None else self.judgement.findings[check][number].outcome
        return _LETTERS.get(outcome, MARK_NONE)

    def opening_mark(self, check: str, opening: int) -> str:
        """The letter of a check's outcome in an opening."""
        return _LETTERS.get(int(self.judgement.openings[check].outcome[opening]), MARK_NONE)

    def why(self, verdict: Verdict, outcome: int) -> dict[str, Any]:
        """Check, margin and governing case of a row."""
        missed = outcome != PASSED
        margin = verdict.shown_margin
        return {
            "check": verdict.check.id if missed else NOT_APPLICABLE,
            "margin": margin if missed and math.isfinite(margin) else NOT_APPLICABLE,
            "governing_case": case_text(self.judgement, verdict) if missed else "all cases",
        }

    def message_of(self, number: int) -> str:
        """What governs a station, what to do about it, which other checks are missed, and which limits are its own."""
        judgement = self.judgement
        governing, outcome = judgement.governing(number), int(judgement.station_outcomes[number])
        if outcome == PASSED:
            parts = [f"{int(judgement.checks_made[number])} checks made, all met."]
        else:
            parts = [message(judgement, governing, number), remedy(judgement, governing)]
            others = [check for check in judgement.missed(number) if check != governing.check.id]
            parts += [f"Also: {', '.join(others)}."] if others else []
        looser = judgement.rests_on(number)
        parts += [f"OK to project limit only: {'; '.join(row.told for row in looser)}."] if looser else []
        return " ".join(part for part in parts if part)

    def shown(self, column: ResultColumn, value: Any) -> Any:
        """A value for a cell: text, or an SI number in the unit of the column, rounded toward the unsafe side."""
        if isinstance(value, str):
            return value
        if math.isnan(value):
            return NO_RESULT
        unit, decimals, toward = self._form(column)
        return rounded(float(from_si(value, unit) if unit else value), decimals, toward)

    def _form(self, column: ResultColumn) -> tuple[str, int, str]:
        """Unit ("" for a bare number), decimals and the way of rounding of a column."""
        form = self._forms.get(column)
        if form is None:
            unit = column.unit(self.units) if column.quantity and column.quantity != "people" else ""
            toward = "most" if column.name in ROUNDED_UP else "least"
            form = self._forms[column] = (unit, column.decimals + (2 if column.percent else 0), toward)
        return form


def _grouped(member: Numbers, count: int) -> list[Numbers]:
    """For each member the places where it stands."""
    order = np.argsort(member, kind="stable")
    bounds = np.searchsorted(member[order], np.arange(count + 1))
    return [order[a:b] for a, b in itertools.pairwise(bounds)]


def extremes(array: Numbers) -> tuple[float, float]:
    """Least and greatest of the numbers that are there, or not-a-number where there is none."""
    known = array[~np.isnan(array)]
    return (float(known.min()), float(known.max())) if known.size else (math.nan, math.nan)


def whole_extremes(array: Numbers) -> tuple[float, float]:
    """Least and greatest; not-a-number as soon as one is missing, for what is not known may be worse."""
    return (math.nan, math.nan) if not array.size or np.isnan(array).any() else (float(array.min()), float(array.max()))
