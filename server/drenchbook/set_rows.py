"""The rows of the table of sets: one for each choice of stations that an event lets flow at once."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from drenchbook.check_samples import OUTCOME_WORDS, PASSED
from drenchbook.check_words import message, remedy
from drenchbook.hot_water import DAY
from drenchbook.judged_site import JudgedSite, extremes, whole_extremes
from drenchbook.operating_cases import HOT_LOST, STATES
from drenchbook.result_tables import MARK_NONE, NOT_APPLICABLE, SET_COLUMNS
from drenchbook.result_tables import NOT_KNOWN as NOT_KNOWN_WORD

LOW, HIGH = ([state for state, (_, level) in enumerate(STATES) if level == wanted] for wanted in ("low", "high"))


def set_rows(site: JudgedSite) -> list[list[Any]]:
    """One row for each set, in the order of SET_COLUMNS."""
    return [_row(site, opening) for opening in site.judgement.set_openings()]


def _row(site: JudgedSite, opening: int) -> list[Any]:
    judgement = site.judgement
    governing, outcome = judgement.opening_governing(opening), judgement.opening_outcome(opening)
    words = f"{message(judgement, governing)} {remedy(judgement, governing)}".strip()
    values: dict[str, Any] = {
        "set": site.cases.label(opening),
        "verdict": OUTCOME_WORDS[outcome],
        "events": ", ".join(str(tag).strip() for tag in site.cases.events_of(opening)) or NOT_APPLICABLE,
        "users": float(site.cases.stations.counts[opening]),
        "message": words if outcome != PASSED else "All checks met.",
        **site.why(governing, outcome),
        **_flows(site, opening),
        **_hot_water(site, opening),
        "marks": _marks(site, opening),
    }
    return [site.shown(column, values[column.name]) for column in SET_COLUMNS]


def _flows(site: JudgedSite, opening: int) -> dict[str, float]:
    """Total flow of the set and its least pressure; not-a-number where a case has no answer."""
    outlets, results = site.cases.outlets.of(opening), site.judgement.results
    flow, lost = (one.outlet_flow[:, outlets].sum(axis=1) for one in (results.normal, results.fault(HOT_LOST)))
    return {
        "flow_low": whole_extremes(flow[LOW])[0],
        "flow_high": whole_extremes(flow[HIGH])[1],
        "pressure_least": whole_extremes(results.normal.outlet_pressure[:, outlets])[0],
        "flow_lost": whole_extremes(lost)[0],
    }


def _hot_water(site: JudgedSite, opening: int) -> dict[str, Any]:
    """Hot water needed and there in the worst case, and how long it lasts by both tank models."""
    hot, sources = site.judgement.measures.hot_water, site.cases.sources.of(opening)
    needed, there, seconds = hot.needed[:, sources], hot.there[:, sources], hot.seconds[:, sources]
    if not needed.size:
        return dict.fromkeys(("hot_needed", "hot_there", "minutes", "minutes_other"), NOT_APPLICABLE)
    least = whole_extremes(np.minimum(seconds, DAY))[0]
    other = extremes(np.minimum(hot.seconds_other[:, sources], DAY))[0]
    answer: dict[str, Any] = {
        "hot_needed": NOT_KNOWN_WORD,
        "hot_there": NOT_KNOWN_WORD,
        "minutes": NOT_KNOWN_WORD if math.isnan(least) else least,
        "minutes_other": NOT_KNOWN_WORD if math.isnan(other) else other,
    }
    if not np.isnan(seconds).any():
        place = np.unravel_index(np.argmin(seconds), seconds.shape)  # the case that runs out first
        if np.isinf(seconds[place]):
            place = np.unravel_index(np.argmax(needed), needed.shape)
        answer["hot_needed"] = float(needed[place])
        answer["hot_there"] = NOT_APPLICABLE if math.isnan(there[place]) else float(there[place])
    return answer


def _marks(site: JudgedSite, opening: int) -> str:
    by_column = {"pressure_least": "PRS-1", "minutes": "HOT-1", "flow_low": "FLW-1", "flow_lost": "BYP-1"}
    marks = {column: site.opening_mark(check, opening) for column, check in by_column.items()}
    if marks["minutes"] == MARK_NONE:
        marks["minutes"] = site.opening_mark("HOT-3", opening)
    return "".join(marks.get(column.name, MARK_NONE) for column in SET_COLUMNS)
