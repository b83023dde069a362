"""Checks of a supply, a source, a valve group or an event as a whole: lines of the site with verdicts of their own."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from drenchbook.check_samples import NOT_KNOWN, OUTCOME_WORDS, PASSED, SLACK
from drenchbook.check_table import CHECK_BY_ID, Check
from drenchbook.checks import Judgement
from drenchbook.errors import Problem
from drenchbook.quantity_text import quantity_text
from drenchbook.site_model import Missing, tag_key
from drenchbook.solver_results import BEYOND_CURVE

NAN = float("nan")


@dataclass(frozen=True)
class SiteLine:
    """One verdict on a part of the site."""

    check: Check
    subject: str
    outcome: int
    message: str
    value: float = NAN
    limit: float = NAN
    case: str = ""

    @property
    def word(self) -> str:
        """The outcome in words."""
        return OUTCOME_WORDS[self.outcome]


def site_lines(judgement: Judgement, problems: Sequence[Problem] = ()) -> list[SiteLine]:
    """Every line of the site, in the order of the check table."""
    lines = [line for rule in _RULES for line in rule(judgement)]
    return [*_unusable(judgement, problems), *lines]


def _line(
    judgement: Judgement,
    check_id: str,
    subject: Any,
    margin: float,
    value: float,
    limit: float,
    what: str,
    case: str = "",
    value_text: str = "",
    why: str = "",
) -> SiteLine:
    check = CHECK_BY_ID[check_id]
    subject = str(subject).strip()
    if math.isnan(margin):
        reason = why or "a number that it needs is blank"
        return SiteLine(
            check,
            subject,
            NOT_KNOWN,
            f"{check.what[:1].upper()}{check.what[1:]} is not known: {reason}.",
            value,
            limit,
            case,
        )
    outcome = check.severity if margin < -SLACK else PASSED
    shown = {
        name: quantity_text(number, check.quantity, judgement.context.units, check.toward)
        for name, number in (("value", value), ("limit", limit))
    }
    text = check.message.format(**{**shown, "what": what, "value": value_text or shown["value"]})
    text = text[:1].upper() + text[1:]
    remedy = f" {check.remedy}." if outcome != PASSED else ""
    return SiteLine(check, subject, outcome, text.rstrip(".") + "." + remedy, value, limit, case)


def _unusable(judgement: Judgement, problems: Sequence[Problem]) -> Iterator[SiteLine]:
    """DAT-1 for each cell that cannot be used; a station that needs it says so as well."""
    for problem in problems:
        yield SiteLine(CHECK_BY_ID["DAT-1"], problem.row_tag or problem.sheet, NOT_KNOWN, f"{problem}.")


def _one_main(judgement: Judgement) -> Iterator[SiteLine]:
    """BYP-4: hot and cold of a valve come from one main."""
    context = judgement.context
    for valve in context.site.mixing_valves:
        cold, hot = context.main_of(valve.cold_run), context.main_of(valve.hot_run)
        if cold and cold == hot:
            main = str(context.rows["supplies"][cold].tag).strip()
            yield _line(judgement, "BYP-4", valve.tag, -1.0, NAN, NAN, str(valve.tag).strip(), value_text=main)


def _other_tank(judgement: Judgement) -> Iterator[SiteLine]:
    """HOT-2: the worst set by the other tank model, for each source with storage."""
    found = judgement.openings["HOT-1"], judgement.measures.minutes_other()
    samples = found[1]
    for number, source in enumerate(judgement.site.hot_water_sources):
        if judgement.measures.hot_water.governs[number] not in ("stratified", "mixed"):
            continue
        columns = np.flatnonzero(samples.pairs.member == number)
        seconds = np.broadcast_to(samples.value, (len(samples.conditions), len(samples.pairs.member)))[:, columns]
        if columns.size == 0 or np.isnan(seconds).all():
            yield _line(
                judgement,
                "HOT-2",
                source.tag,
                NAN,
                NAN,
                NAN,
                source.tag,
                why="no case with the valve under control, or a number is blank",
            )
            continue
        state, place = np.unravel_index(np.nanargmin(seconds), seconds.shape)
        opening = int(samples.pairs.opening[columns[place]])
        limit = float(samples.limit)
        short = np.unique(samples.pairs.opening[columns[(seconds < limit * (1 - SLACK)).any(axis=0)]])
        names = judgement.cases.labels(short)
        line = _line(
            judgement,
            "HOT-2",
            source.tag,
            float(seconds[state, place]) / limit - 1,
            float(seconds[state, place]),
            limit,
            source.tag,
            judgement.context.case_label(opening, int(state)),
        )
        if names:
            shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
            line = SiteLine(
                line.check,
                line.subject,
                line.outcome,
                f"{line.message} Short in: {shown}.",
                line.value,
                line.limit,
                line.case,
            )
        yield line


def _recovery(judgement: Judgement) -> Iterator[SiteLine]:
    """HOT-5: the smaller of hot water needed and there, worst set, over the recovery flow."""
    hot, cases, context = judgement.measures.hot_water, judgement.cases, judgement.context
    asked = context.cell("project", context.site.project, "recovery_time")
    for number, source in enumerate(judgement.site.hot_water_sources):
        if hot.governs[number] not in ("stratified", "mixed"):
            continue
        columns = np.flatnonzero(cases.sources.member == number)
        seconds = (
            np.where(hot.unknown[:, columns], np.nan, np.fmin(hot.needed, hot.there)[:, columns])
            / hot.recovery[:, [number]]
        )
        if columns.size == 0 or np.isnan(seconds).all() or math.isnan(asked):
            yield _line(
                judgement,
                "HOT-5",
                source.tag,
                NAN,
                NAN,
                asked,
                source.tag,
                why="the recovery time asked for, or a number of the source, is blank",
            )
            continue
        state, place = np.unravel_index(np.nanargmax(seconds), seconds.shape)
        worst = float(seconds[state, place])
        opening = int(cases.sources.opening[columns[place]])
        yield _line(
            judgement,
            "HOT-5",
            source.tag,
            1 - worst / asked if asked > 0 else -1.0,
            worst,
            asked,
            source.tag,
            context.case_label(opening, int(state)),
        )


def _storage_temperature(judgement: Judgement) -> Iterator[SiteLine]:
    """HOT-6: set temperature of each storage."""
    context, limit = judgement.context, judgement.context.limit("HOT-6")
    for source in judgement.site.hot_water_sources:
        if source.kind == "storage":
            value = context.cell("hot_water_sources", source, "set_temperature")
            asked = NAN if limit.value is None else limit.value
            yield _line(
                judgement, "HOT-6", source.tag, (value - asked) / 100, value, asked, source.tag, why=limit.why_missing
            )


def _tested_flow(judgement: Judgement) -> Iterator[SiteLine]:
    """SUP-1: greatest flow of each supply over its tested flow; beyond curve points UNKNOWN."""
    context, normal, pairs = judgement.context, judgement.results.normal, judgement.cases.supplies
    for number, supply in enumerate(judgement.site.supplies):
        columns = np.flatnonzero(pairs.member == number)
        flows = normal.supply_flow[:, columns]
        name = str(supply.tag).strip()
        beyond = (normal.state[:, pairs.opening[columns]] == BEYOND_CURVE).any()
        if columns.size == 0:
            continue
        if beyond or np.isnan(flows).all():
            yield _line(
                judgement,
                "SUP-1",
                supply.tag,
                NAN,
                NAN,
                NAN,
                name,
                why="the flow lies beyond curve points" if beyond else "no case is solved",
            )
            continue
        worst: tuple[float, float, float, int, int] | None = None
        for state in range(flows.shape[0]):
            level = "low" if state % 2 == 0 else "high"
            tested = context.cell("supplies", supply, f"test_flow_{level}")
            curve = getattr(supply, f"curve_{level}")
            if isinstance(curve, tuple):
                tested = float(context.si(float(curve[-1][0]), "gpm" if context.units == "US" else "L/min"))
            if math.isnan(tested) or np.isnan(flows[state]).all():
                continue
            place = int(np.nanargmax(flows[state]))
            candidate = (1 - float(flows[state, place]) / tested, float(flows[state, place]), tested, state, place)
            worst = candidate if worst is None or candidate < worst else worst
        if worst is None:
            yield _line(judgement, "SUP-1", supply.tag, NAN, NAN, NAN, name, why="its test flow is blank")
        else:
            margin, value, limit, state, place = worst
            case = context.case_label(int(pairs.opening[columns[place]]), state)
            yield _line(judgement, "SUP-1", supply.tag, margin, value, limit, name, case)


def _event_reasons(judgement: Judgement) -> Iterator[SiteLine]:
    """EVT-1: each event says why it, and no larger one, is credible."""
    for event in judgement.site.events:
        written = isinstance(event.reason, str) and bool(event.reason.strip())
        line = _line(judgement, "EVT-1", event.tag, 0.0 if written else -1.0, NAN, NAN, str(event.tag).strip())
        yield line if not written else SiteLine(line.check, line.subject, PASSED, "Reason written.")


def _other_demand(judgement: Judgement) -> Iterator[SiteLine]:
    """EVT-2: other demand of each supply and source is stated."""
    for rows in (judgement.site.supplies, judgement.site.hot_water_sources):
        for row in rows:
            if not isinstance(row.other_demand, float):
                yield SiteLine(
                    CHECK_BY_ID["EVT-2"],
                    str(row.tag).strip(),
                    NOT_KNOWN,
                    f"Other demand of {str(row.tag).strip()} is not stated. Type it; 0 must be typed.",
                )


def _sample_data(judgement: Judgement) -> Iterator[SiteLine]:
    """DAT-2: models that are SAMPLE or undated and that the site uses."""
    site = judgement.site
    used = {tag_key(valve.model) for valve in site.mixing_valves}
    used_outlets = {tag_key(getattr(row, f"outlet_{slot}")) for row in site.stations for slot in (1, 2, 3)}
    sample, undated = [], []
    for rows, names in ((site.valve_models, used), (site.outlet_models, used_outlets)):
        for row in rows:
            if tag_key(row.model) in names:
                if row.sample is not False:
                    sample.append(str(row.model).strip())
                if not isinstance(row.dated, datetime.date):
                    undated.append(str(row.model).strip())
    for names_found, words in ((sample, "SAMPLE data, invented"), (undated, "Data without a date")):
        if names_found:
            yield _line(judgement, "DAT-2", "data", -1.0, NAN, NAN, f"{words}: {', '.join(names_found)}")


def _flow_tests(judgement: Judgement) -> Iterator[SiteLine]:
    """DAT-4: age of each flow test at the calculation date, and the elevation of its gauge."""
    limit, date = judgement.context.limit("DAT-4"), judgement.site.project.calculation_date
    for supply in judgement.site.supplies:
        name = str(supply.tag).strip()
        if isinstance(supply.gauge_elevation, Missing):
            yield _line(judgement, "DAT-4", name, -1.0, NAN, NAN, f"Gauge elevation of {name} is blank")
        if not isinstance(supply.test_date, datetime.date):
            yield _line(judgement, "DAT-4", name, -1.0, NAN, NAN, f"The flow test of {name} has no date")
        elif not isinstance(date, datetime.date) or limit.value is None:
            yield _line(
                judgement, "DAT-4", name, NAN, NAN, NAN, name, why=limit.why_missing or "the calculation date is blank"
            )
        else:
            months = _months_between(supply.test_date, date)
            margin = NAN if months < 0 else (limit.value - months) / max(limit.value, 1.0)
            words = f"The flow test of {name} is {math.ceil(months)} months old, limit {limit.value:g} months"
            yield _line(
                judgement,
                "DAT-4",
                name,
                margin,
                months,
                limit.value,
                words,
                why="the flow test is later than the calculation date",
            )


def _months_between(earlier: datetime.date, later: datetime.date) -> float:
    """Calendar months from one date to another, the part of a month counted by days.

    >>> _months_between(datetime.date(2025, 5, 4), datetime.date(2026, 5, 4))
    12.0
    """
    whole = (later.year - earlier.year) * 12 + later.month - earlier.month
    return whole + (later.day - earlier.day) / 31


_RULES: tuple[Callable[[Judgement], Iterator[SiteLine]], ...] = (
    _one_main,
    _other_tank,
    _recovery,
    _storage_temperature,
    _tested_flow,
    _event_reasons,
    _other_demand,
    _sample_data,
    _flow_tests,
)
