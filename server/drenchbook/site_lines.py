"""Checks of a supply, a source, a valve group or an event as a whole: lines of the site with verdicts of their own."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.check_samples import NOT_KNOWN, PASSED, SLACK, at_least, at_most
from drenchbook.check_static import why_demand_unknown
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import Judgement
from drenchbook.errors import Problem
from drenchbook.findings import PERCENT_SCALE
from drenchbook.hot_water import STORED
from drenchbook.hot_water_words import why_minutes_unknown
from drenchbook.loop_lines import circulation_off_lines, loop_power_lines
from drenchbook.operating_cases import NORMAL, OTHER_DEMAND, STATES
from drenchbook.out_of_service import out_of_service_lines
from drenchbook.power_lines import power_lines
from drenchbook.quantity_text import MOST, rounded
from drenchbook.remedy_numbers import source_power, source_volume
from drenchbook.run_sizes import run_size_lines
from drenchbook.site_line import NAN, SiteLine
from drenchbook.site_line import line as _line
from drenchbook.site_line import name_of as _name
from drenchbook.site_line import sentence as _sentence
from drenchbook.site_line import unknown as _unknown
from drenchbook.site_model import tag_key
from drenchbook.solver_results import MISSING, SOLVED, STATE_WORDS
from drenchbook.stated_lines import event_lines, limit_lines
from drenchbook.units import unit_of

Numbers: TypeAlias = np.ndarray[Any, Any]


def site_lines(judgement: Judgement, problems: Sequence[Problem] = ()) -> list[SiteLine]:
    """Every line of the site: cells that cannot be used first, then in the order of the check table."""
    lines = [line for rule in _RULES for line in rule(judgement)]
    return [*_unusable(judgement, problems), *lines]


def _unusable(judgement: Judgement, problems: Sequence[Problem]) -> Iterator[SiteLine]:
    """DAT-1 for each cell that cannot be used; a station that needs it says so as well."""
    check = CHECK_BY_ID["DAT-1"]
    for problem in problems:
        yield SiteLine(check, problem.row_tag or problem.sheet, NOT_KNOWN, _sentence(str(problem)))


def _one_main(judgement: Judgement) -> Iterator[SiteLine]:
    """BYP-4: hot and cold of a valve come from one main."""
    context = judgement.context
    for valve in context.site.mixing_valves:
        cold, hot = context.main_of(valve.cold_run), context.main_of(valve.hot_run)
        if cold and cold == hot:
            main = _name(context.rows["supplies"][cold])
            yield _line(judgement, "BYP-4", valve.tag, -1.0, what=_name(valve), value_text=main)
        else:
            yield SiteLine(
                CHECK_BY_ID["BYP-4"], _name(valve), PASSED, f"Hot and cold of {_name(valve)} have own mains."
            )


def _with_remedy(line: SiteLine, words: str) -> SiteLine:
    """The line with a remedy that has numbers, where one is called for."""
    return replace(line, remedy=_sentence(words)) if line.remedy and words and line.outcome != NOT_KNOWN else line


def _unsolved(judgement: Judgement, openings: Any) -> int:
    """The first of these openings that has a state without an answer, or -1."""
    bad = (judgement.results.normal.state[:, openings] != SOLVED).any(axis=0)
    return int(openings[bad.argmax()]) if bad.any() else -1


def _why_unsolved(judgement: Judgement, opening: int) -> str:
    codes = judgement.results.normal.state[:, opening]
    code, label = int(codes[codes != SOLVED][0]), judgement.cases.label(opening)
    stations = judgement.context.stations_of(opening) if code == MISSING else []
    gaps = [text for station in stations for text in judgement.measures.missing.of(station)]
    return f"{label}: {gaps[0] if gaps else STATE_WORDS[code]}"


def _why_no_case(judgement: Judgement, openings: Any) -> str:
    """Why no case of some openings is solved; "" where one is."""
    codes = judgement.results.normal.state[:, openings]
    return _why_unsolved(judgement, int(openings[0])) if len(openings) and (codes != SOLVED).all() else ""


def _other_tank(judgement: Judgement) -> Iterator[SiteLine]:
    """HOT-2: the worst set by the other tank model, for each source with storage."""
    samples = judgement.measures.minutes_other()
    row = judgement.context.limit("HOT-2")
    for number, source in enumerate(judgement.site.hot_water_sources):
        columns = np.flatnonzero(samples.pairs.member == number)
        if judgement.measures.hot_water.governs[number] not in STORED or columns.size == 0:
            continue
        openings = samples.pairs.opening[columns]
        seconds = np.broadcast_to(samples.value, (len(samples.conditions), len(samples.pairs.member)))[:, columns]
        name, limit = _name(source), NAN if row.value is None else row.value
        if np.isnan(seconds).all() or math.isnan(limit):
            why = row.why_missing or why_minutes_unknown(judgement, number) or _why_no_case(judgement, openings)
            why = why or "in no case its valves are under control, with hot water that is hot enough"
            yield _unknown("HOT-2", name, why, limit=limit)
            continue
        state, place = np.unravel_index(np.nanargmin(seconds), seconds.shape)
        worst = float(seconds[state, place])
        case = judgement.context.case_label(int(openings[place]), int(state))
        line = _line(judgement, "HOT-2", name, float(at_least(worst, limit)), worst, limit, name, case)
        line = _with_remedy(line, source_volume(judgement, name, worst, limit))
        hidden = _unsolved(judgement, openings)
        if line.outcome == PASSED and hidden >= 0:
            yield _unknown("HOT-2", name, _why_unsolved(judgement, hidden), limit=limit)
            continue
        names = judgement.cases.labels(np.unique(openings[(at_least(seconds, limit) < -SLACK).any(axis=0)]))
        if names:
            shown = ", ".join(names[:8]) + (f" and {len(names) - 8} more" if len(names) > 8 else "")
            line = replace(line, message=f"{line.message} Short in: {shown}.")
        yield line


def _recovery(judgement: Judgement) -> Iterator[SiteLine]:
    """HOT-5: the smaller of hot water needed and there, worst set, over the recovery flow."""
    hot, cases, context = judgement.measures.hot_water, judgement.cases, judgement.context
    asked = context.cell("project", context.site.project, "recovery_time")
    for number, source in enumerate(judgement.site.hot_water_sources):
        columns, name = np.flatnonzero(cases.sources.member == number), _name(source)
        if hot.governs[number] not in STORED or columns.size == 0:
            continue
        drawn = np.where(hot.unknown, np.nan, np.minimum(hot.needed, hot.there))[:, columns]
        with np.errstate(divide="ignore", invalid="ignore"):
            seconds = np.where(drawn == 0, 0.0, drawn / hot.recovery[:, [number]])
        if np.isnan(seconds).all() or math.isnan(asked):
            why = gap("project", context.site.project, "recovery_time") or why_minutes_unknown(judgement, number)
            why = why or _why_no_case(judgement, cases.sources.opening[columns])
            why = why or "in no case its valves are under control, with hot water that is hot enough"
            yield _unknown("HOT-5", name, why, limit=asked)
            continue
        state, place = np.unravel_index(np.nanargmax(seconds), seconds.shape)
        worst, openings = float(seconds[state, place]), cases.sources.opening[columns]
        case = context.case_label(int(openings[place]), int(state))
        line = _line(judgement, "HOT-5", name, float(at_most(worst, asked)), worst, asked, name, case)
        with np.errstate(divide="ignore", invalid="ignore"):
            whole = float((hot.needed[:, columns] / hot.recovery[:, [number]])[state, place])
        line = _with_remedy(line, source_power(judgement, name, whole, asked))
        if context.cell("hot_water_sources", source, "volume") == 0:  # nothing is stored that could be ready again
            told = f"{name} stores nothing: its volume is 0, and no flush is ready in any time"
            line = replace(_line(judgement, "HOT-5", name, -1.0, NAN, asked, name, case), message=_sentence(told),
                           remedy="Type the volume of the storage, or the kind of heater that it is.")  # fmt: skip
        hidden = _unsolved(judgement, openings)
        if line.outcome == PASSED and hidden >= 0:
            line = _unknown("HOT-5", name, _why_unsolved(judgement, hidden), limit=asked)
        yield line


def _storage_temperature(judgement: Judgement) -> Iterator[SiteLine]:
    """HOT-6: set temperature of each storage."""
    context, limit = judgement.context, judgement.context.limit("HOT-6")
    asked = NAN if limit.value is None else limit.value
    for source in judgement.site.hot_water_sources:
        if source.kind == "storage":
            value = context.cell("hot_water_sources", source, "set_temperature")
            why = limit.why_missing or gap("hot_water_sources", source, "set_temperature")
            yield _line(judgement, "HOT-6", source.tag, (value - asked) / PERCENT_SCALE, value, asked, why=why)


def _tested_flow(judgement: Judgement) -> Iterator[SiteLine]:
    """SUP-1: greatest flow of each supply, other demand included, over its tested flow; beyond curve points UNKNOWN."""
    pairs = judgement.cases.supplies
    for number, supply in enumerate(judgement.site.supplies):
        columns = np.flatnonzero(pairs.member == number)
        if columns.size == 0:
            continue
        lines = [
            _supply_flow(judgement, supply, fault, state, columns)
            for fault in judgement.measures.solved_faults(NORMAL, OTHER_DEMAND)
            for state in range(len(STATES))
        ]
        hidden = _unsolved(judgement, pairs.opening[columns])
        if hidden >= 0:
            lines.append(_unknown("SUP-1", _name(supply), _why_unsolved(judgement, hidden)))
        yield max(lines, key=lambda line: (line.outcome, 0.0 if math.isnan(line.value) else line.value / line.limit))


def _supply_flow(judgement: Judgement, supply: Any, fault: str, state: int, columns: Numbers) -> SiteLine:
    """SUP-1 of one supply, fault and state: its greatest flow over all openings."""
    name, openings = _name(supply), judgement.cases.supplies.opening[columns]
    flows = judgement.results.fault(fault).supply_flow[state, columns]
    level = STATES[state][1]
    tested = _tested(judgement, supply, level)
    if math.isnan(tested):
        return _unknown("SUP-1", name, gap("supplies", supply, f"test_flow_{level}"), limit=tested)
    if np.isnan(flows).all():
        why = _why_no_case(judgement, openings) if fault == NORMAL else _other_demand_gap(judgement)
        return _unknown("SUP-1", name, why, limit=tested)
    place = int(np.nanargmax(flows))
    value, case = float(flows[place]), judgement.context.case_label(int(openings[place]), state, fault)
    return _line(judgement, "SUP-1", name, float(at_most(value, tested)), value, tested, name, case)


def _other_demand_gap(judgement: Judgement) -> str:
    """The first other demand that is not stated, or that no case is solved with what is."""
    rows = [(key, row) for key in ("supplies", "hot_water_sources") for row in getattr(judgement.site, key)]
    return next((why for key, row in rows if (why := gap(key, row, "other_demand"))), "no case is solved with it")


def _tested(judgement: Judgement, supply: Any, level: str) -> float:
    """The greatest flow that was tested: that of the test, or of the last curve point. [m³/s]"""
    curve = getattr(supply, f"curve_{level}")
    if isinstance(curve, tuple):
        return judgement.context.si(float(curve[-1][0]), unit_of("flow", judgement.context.units))
    return judgement.context.cell("supplies", supply, f"test_flow_{level}")


def _other_demand(judgement: Judgement) -> Iterator[SiteLine]:
    """EVT-2: other demand of each supply and source is stated, and counted."""
    for key in ("supplies", "hot_water_sources"):
        for row in getattr(judgement.site, key):
            why, check = why_demand_unknown(judgement.measures, key, row), CHECK_BY_ID["EVT-2"]
            if why:
                yield SiteLine(check, _name(row), NOT_KNOWN, _sentence(why), remedy=_sentence(check.remedy))
            else:
                yield SiteLine(check, _name(row), PASSED, f"Other demand of {_name(row)} is stated.")


def _sample_data(judgement: Judgement) -> Iterator[SiteLine]:
    """DAT-2: models that are SAMPLE or undated and that the site uses."""
    site = judgement.site
    used = {tag_key(model) for valve in site.mixing_valves for model in (valve.model, valve.second_model)}
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
            yield _line(judgement, "DAT-2", "data", -1.0, what=f"{words}: {', '.join(names_found)}")


def _flow_tests(judgement: Judgement) -> Iterator[SiteLine]:
    """DAT-4: age of each flow test at the calculation date, and the elevation of its gauge."""
    limit, date = judgement.context.limit("DAT-4"), judgement.site.project.calculation_date
    for supply in judgement.site.supplies:
        name = _name(supply)
        if not isinstance(supply.gauge_elevation, float):
            what = gap("supplies", supply, "gauge_elevation")
            yield _line(judgement, "DAT-4", name, -1.0, what=what)
        if not isinstance(supply.test_date, datetime.date):
            yield _line(judgement, "DAT-4", name, -1.0, what=f"The flow test of {name} has no date")
        elif not isinstance(date, datetime.date) or limit.value is None:
            why = limit.why_missing or gap("project", judgement.site.project, "calculation_date")
            yield _unknown("DAT-4", name, why)
        elif supply.test_date > date:
            yield _unknown("DAT-4", name, "the flow test is later than the calculation date")
        else:
            months = _months_between(supply.test_date, date)
            shown = f"{rounded(months, 0, MOST):.0f} months old, limit {limit.value:g} months"
            margin = float(at_most(months, limit.value))
            line = _line(judgement, "DAT-4", name, margin, months, limit.value, f"The flow test of {name} is {shown}")
            yield replace(line, message=f"The flow test of {name} is {shown}.")


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
    event_lines,
    _other_demand,
    limit_lines,
    _sample_data,
    _flow_tests,
    run_size_lines,
    circulation_off_lines,
    loop_power_lines,
    power_lines,
    out_of_service_lines,
)
