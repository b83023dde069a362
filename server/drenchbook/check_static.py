"""Checks of what a station is, rather than of what flows in one case: static pressure, valve data, place, inputs.

Each function takes the measures and the number of a station and gives one Finding: the outcome, the number with its
margin, and the words that say what it is about.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from drenchbook.cell_gaps import first_gap, gap
from drenchbook.check_measures import Measures
from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, NOTED, PASSED, SLACK, WARNED, at_least, at_most
from drenchbook.site_cells import is_said
from drenchbook.site_model import Missing, tag_key
from drenchbook.solver_results import StaticPressures
from drenchbook.surroundings import SEASONS, runs_above, why_heat_unknown

NAN = float("nan")


@dataclass(frozen=True)
class Finding:
    """One check of one station that is not about one case."""

    outcome: int
    value: float = NAN
    limit: float = NAN
    margin: float = NAN
    about: str = ""  # which part of the station, or which input is missing
    case: str = ""
    quantity: str = ""  # of the numbers, where the check has several


NOT_APPLICABLE = Finding(NONE)
PERCENT_SCALE = 100.0  # [K] margins of temperatures against ratings are shares of this span


def compare(
    margin: float, severity: int, value: float, limit: float, about: str, case: str = "", quantity: str = "",
    why: str = "",
) -> Finding:  # fmt: skip
    """A finding of a margin; one that is not-a-number is not known, and the words say which number is missing."""
    if math.isnan(margin):
        known = "the limit of " if math.isnan(limit) and not math.isnan(value) else ""
        return Finding(NOT_KNOWN, value, limit, margin, why or f"{known}{about} is blank or not known", case, quantity)
    return Finding(severity if margin < -SLACK else PASSED, value, limit, margin, about, case, quantity)


def _number(value: float | None) -> float:
    return NAN if value is None else value


def worst_of(findings: list[Finding]) -> Finding:
    """The worst outcome first, then the smallest margin; of none at all what does not apply."""
    if not findings:
        return NOT_APPLICABLE
    return min(findings, key=lambda f: (-f.outcome, math.inf if math.isnan(f.margin) else f.margin))


def _valve(measures: Measures, station: int) -> tuple[Any, Any]:
    valve = measures.context.valve_of_station[station]
    return valve, measures.context.model_of(valve)


def _once_a_valve(check: Callable[[Measures, int], Finding]) -> Callable[[Measures, int], Finding]:
    """A check of nothing but a station's valve: made once for all stations behind that valve."""

    @functools.wraps(check)
    def found(measures: Measures, station: int) -> Finding:
        key = check.__name__, id(measures.context.valve_of_station[station])
        if key not in measures.of_valves:
            measures.of_valves[key] = check(measures, station)
        finding: Finding = measures.of_valves[key]
        return finding

    return found


def _model_cell(measures: Measures, model: Any, column: str) -> float:
    return measures.context.cell("valve_models", model, column) if model is not None else NAN


def _name(row: Any) -> str:
    return str(row.tag).strip()


# ---- pressures ----


def _static_of_valve(static: StaticPressures, measures: Measures, valve: Any) -> float:
    """The higher static pressure at the inlets of a valve; not-a-number where one is not known."""
    at = measures.context.valve_number[tag_key(valve.tag)]
    return float(np.maximum(static.valve_cold[at], static.valve_hot[at]))


def static_pressure(measures: Measures, station: int) -> Finding:
    """PRS-2: greatest static pressure at each outlet and at the valve, against the limit and the ratings.

    What is met only because a pressure-reducing valve holds is told as that: a NOTE, and a warning above a rating.
    """
    found = worst_of([_static(measures, *part) for part in _static_parts(measures, measures.static, station)])
    open_ = measures.static_unreduced
    if found.outcome != PASSED or open_ is None:
        return _with_gap(measures, station, found)
    parts = _static_parts(measures, open_, station)
    with_rating = [_static(measures, *part, only_rating=True, severity=WARNED) for part in parts]
    worst = worst_of(with_rating + [_static(measures, *part, severity=NOTED) for part in parts])
    if worst.outcome not in (WARNED, NOTED):
        return found
    about = f"should a pressure-reducing valve creep or stay open, {worst.about}"
    return replace(worst, about=about, case=f"{worst.case}, reducing valve open")


def _static_parts(measures: Measures, static: StaticPressures, station: int) -> list[tuple[float, float, str, str]]:
    """Static pressure, rating, name and why the rating is not known of each outlet and the valve of a station."""
    context, parts = measures.context, []
    for number in context.outlets_of[station]:
        outlet = context.outlets[number]
        row = context.model_of_outlet(number)
        why = gap("outlet_models", row, "maximum_pressure") if row is not None else "an outlet has no model"
        parts.append((float(static.outlet[number]), outlet.maximum_pressure, outlet.kind or "outlet", why))
    valve, model = _valve(measures, station)
    if valve is not None:
        rating = _model_cell(measures, model, "maximum_pressure")
        why = gap("valve_models", model, "maximum_pressure") if model is not None else f"{_name(valve)} has no model"
        parts.append((_static_of_valve(static, measures, valve), rating, f"valve {_name(valve)}", why))
    return parts


def _with_gap(measures: Measures, station: int, found: Finding) -> Finding:
    """A finding that is not known for want of an input of the station says which."""
    gaps = measures.missing.of(station) if found.outcome == NOT_KNOWN and math.isnan(found.value) else ()
    return replace(found, about=gaps[0]) if gaps else found


def _static(measures: Measures, pressure: float, rating: float, about: str, rating_gap: str,
            only_rating: bool = False, severity: int = FAILED) -> Finding:  # fmt: skip
    row = measures.context.limit("PRS-2")
    limit = rating if only_rating else float(np.minimum(_number(row.value), rating))
    why = row.why_missing or (rating_gap if math.isnan(rating) else "")
    why = why or (f"the static pressure at the {about} is not known" if math.isnan(pressure) else "")
    return compare(float(at_most(pressure, limit)), severity, pressure, limit, about, "no flow, high supply", why=why)


def frictionless(measures: Measures, station: int) -> Finding:
    """PRS-3: pressure left at required flow without any pipe friction, over what the outlet needs."""
    context, case = measures.context, "low supply, required flow"
    outlets = list(context.outlets_of[station])
    row = context.limit("PRS-3")
    left, asked = float(measures.frictionless_left[station]) if outlets else NAN, _number(row.value)
    needs = context.needed_pressure[outlets]
    scale = float(needs.max(initial=0.0)) or 1.0
    why = row.why_missing or next(
        (limit.why_missing for limit in map(context.limit, _limits_of(measures, station)) if limit.why_missing),
        "an input of the path is missing, or the required flow leaves a curve",
    )
    found = compare((left - asked) / scale, FAILED, left, asked, "", case, why=why)
    demands = [why for key in ("supplies", "hot_water_sources") for row in context.depends_on(station, key)
               if (why := gap(key, row, "other_demand"))]  # fmt: skip
    if found.outcome == NOT_KNOWN and not row.why_missing and demands:
        return replace(found, about=demands[0])
    return _with_gap(measures, station, found)


def _limits_of(measures: Measures, station: int) -> list[str]:
    """The limits of flow and pressure of a station's outlets."""
    outlets = [measures.context.outlets[number] for number in measures.context.outlets_of[station]]
    pressure = ["PRS-1"] if any(math.isnan(outlet.own_pressure) for outlet in outlets) else []
    return [*(f"FLW-1 {outlet.kind}" for outlet in outlets), *pressure]


# ---- the mixing valve ----


@_once_a_valve
def approach(measures: Measures, station: int) -> Finding:
    """VLV-3: hot above set (FAIL), set above cold in each season (NOTE)."""
    context = measures.context
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    source = context.source_of(valve)
    set_point = context.cell("mixing_valves", valve, "set_temperature")
    hot = context.source_temperature(source) - set_point if source is not None else NAN
    asked = _model_cell(measures, model, "approach_hot")
    unknown = _gap_of_valve(measures, valve, "approach_hot")
    findings = [compare(float(at_least(hot, asked)), FAILED, hot, asked, "hot above set", "start of the draw",
                        why=unknown or _gap_of_hot(measures, valve))]  # fmt: skip
    findings += _approach_at_valve(measures, valve, set_point, asked)
    asked = _model_cell(measures, model, "approach_cold")
    for season in ("cold", "warm"):
        cold = set_point - context.cold_temperature(season)
        margin = float(at_least(cold, asked))
        why = _gap_of_valve(measures, valve, "approach_cold") or _gap_of_cold(measures, season)
        findings.append(compare(margin, NOTED, cold, asked, "set above cold", f"{season} season", why=why))
    return worst_of(findings)


def _gap_of_valve(measures: Measures, valve: Any, *columns: str) -> str:
    """Why the set temperature of a valve, or a cell of its model, is not known; "" where they are."""
    model = measures.context.model_of(valve)
    unknown = first_gap("valve_models", model, columns) if model is not None else f"{_name(valve)} has no model"
    return gap("mixing_valves", valve, "set_temperature") or unknown


def _gap_of_hot(measures: Measures, valve: Any) -> str:
    """Why the temperature of the hot water of a valve is not known; "" where a cell holds it."""
    source = measures.context.source_of(valve)
    return gap_of_source_temperature(source) if source is not None else ""


def gap_of_source_temperature(source: Any) -> str:
    """Which cell of a hot water source does not tell its temperature; "" where it does."""
    columns = {"storage": "start_temperature", "plant main": "main_temperature"}
    return gap("hot_water_sources", source, columns.get(source.kind, "set_temperature"))


def _gap_of_cold(measures: Measures, season: str) -> str:
    return gap("project", measures.context.site.project, f"cold_water_{season}")


def _approach_at_valve(measures: Measures, valve: Any, set_point: float, asked: float) -> list[Finding]:
    """Hot above set where hot water arrives after its run has cooled it, at the least flow under control, if missed."""
    number = measures.context.valve_number[tag_key(valve.tag)]
    arrives = float(measures.hot_at_valves[number])
    if math.isinf(arrives):
        return []
    node = int(measures.context.network.valve_hot_node[number])
    rows = [measures.context.site.pipe_runs[run] for run in runs_above(measures.context, node)]
    why = next((why for row in rows for season in SEASONS
                if (why := why_heat_unknown(measures.context, row, season))), "")  # fmt: skip
    hot = arrives - set_point
    if hot >= asked:
        return []  # the start of the draw has said so
    about, case = "hot above set at the valve", "smallest flow under control"
    return [
        compare(float(at_least(hot, asked)), FAILED, hot, asked, about, case, why=why if math.isnan(arrives) else "")
    ]


@_once_a_valve
def set_and_tolerance(measures: Measures, station: int) -> Finding:
    """VLV-5: set temperature less and plus its tolerance inside the delivered limits, and inside the model's range."""
    context = measures.context
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    set_point = context.cell("mixing_valves", valve, "set_temperature")
    tolerance = _model_cell(measures, model, "tolerance")
    rows = context.limit("TMP least"), context.limit("TMP greatest")
    least, greatest = (_number(row.value) for row in rows)
    why = rows[0].why_missing or rows[1].why_missing
    if not greatest > least:
        return Finding(NOT_KNOWN, set_point, NAN, NAN, why or "limit TMP least is not below TMP greatest")
    ends = _model_cell(measures, model, "set_minimum"), _model_cell(measures, model, "set_maximum")
    low, high = set_point - tolerance, set_point + tolerance
    sides = (
        (low - least, low, least, "set less tolerance"),
        (greatest - high, high, greatest, "set plus tolerance"),
        (set_point - ends[0], set_point, ends[0], "set temperature against the model's least"),
        (ends[1] - set_point, set_point, ends[1], "set temperature against the model's greatest"),
    )
    span = greatest - least
    why = _gap_of_valve(measures, valve, "tolerance", "set_minimum", "set_maximum")
    return worst_of([compare(room / span, FAILED, value, end, about, why=why) for room, value, end, about in sides])


def _stated(value: Any, about: str) -> Finding:
    if isinstance(value, Missing) or value is None:
        return Finding(NOT_KNOWN, about=f"{about}: blank")
    return Finding(PASSED if value else FAILED, about=about)


@_once_a_valve
def listing(measures: Measures, station: int) -> Finding:
    """VLV-7: the valve's model is listed for emergency fixtures."""
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    if model is None:
        return Finding(NOT_KNOWN, about=f"{_name(valve)} has no model")
    listed = is_said(model.listing)
    return Finding(PASSED if listed else FAILED, about=f"model {model.model}")


def lead_free(measures: Measures, station: int) -> Finding:
    """VLV-10: lead-free listing where the station's water is potable."""
    valve, model = _valve(measures, station)
    potable = measures.context.site.stations[station].potable
    if valve is None or potable is False:
        return NOT_APPLICABLE
    if isinstance(potable, Missing) or potable is None:
        return Finding(NOT_KNOWN, about=gap("stations", measures.context.site.stations[station], "potable"))
    if model is None:
        return Finding(NOT_KNOWN, about=f"{_name(valve)} has no model")
    if why := gap("valve_models", model, "lead_free"):
        return Finding(NOT_KNOWN, about=why)
    return Finding(PASSED if model.lead_free else FAILED, about=f"model {model.model}")


@_once_a_valve
def checks_and_strainers(measures: Measures, station: int) -> Finding:
    """VLV-9: check valves and strainers on both inlets."""
    valve, _ = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    return worst_of(
        [
            _stated(valve.check_valves, f"check valves of {_name(valve)}"),
            _stated(valve.strainers, f"strainers of {_name(valve)}"),
        ]
    )


@_once_a_valve
def ratings(measures: Measures, station: int) -> Finding:
    """VLV-8: hot and cold temperature within the model's ranges, static pressure within its rating."""
    context = measures.context
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    source = context.source_of(valve)
    if source is None:
        return Finding(NOT_KNOWN, about=f"the hot side of {_name(valve)} is not known")
    findings = []

    def within(value: float, column: str, sign: float, about: str, case: str = "", why: str = "") -> None:
        asked = _model_cell(measures, model, column)
        why = why or (gap("valve_models", model, column) if model is not None else f"{_name(valve)} has no model")
        findings.append(compare(sign * (value - asked) / PERCENT_SCALE, FAILED, value, asked, about, case, why=why))

    start = context.source_temperature(source)
    highest = context.cell("hot_water_sources", source, "set_temperature") if source.kind == "storage" else start
    unknown = gap_of_source_temperature(source)
    within(start, "hot_minimum", +1.0, "hot water at the start of the draw", why=unknown)
    unknown = gap("hot_water_sources", source, "set_temperature") if source.kind == "storage" else unknown
    within(highest, "hot_maximum", -1.0, "hot water at its set temperature", why=unknown)
    for season in ("cold", "warm"):
        cold, unknown = context.cold_temperature(season), _gap_of_cold(measures, season)
        within(cold, "cold_minimum", +1.0, "cold water", f"{season} season", unknown)
        within(cold, "cold_maximum", -1.0, "cold water", f"{season} season", unknown)
    pressure = _static_of_valve(measures.static, measures, valve)
    rating = _model_cell(measures, model, "maximum_pressure")
    margin, about = float(at_most(pressure, rating)), f"static pressure at {_name(valve)}"
    unknown = gap("valve_models", model, "maximum_pressure") if model is not None else ""
    unknown = unknown or next(iter(measures.missing.of(station) if math.isnan(pressure) else ()), "")
    findings.append(compare(margin, FAILED, pressure, rating, about, "no flow, high supply", "pressure", unknown))
    return worst_of(findings)


@_once_a_valve
def cold_failure(measures: Measures, station: int) -> Finding:
    """BYP-3: leakage and shut-off time of the model when cold supply fails; no data is UNKNOWN."""
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    findings = []
    for column, limit, about, quantity in (
        ("leakage", "BYP-3 leakage", "leakage", "flow"),
        ("shutoff_time", "BYP-3 time", "shut-off time", "seconds"),
    ):
        value, row = _model_cell(measures, model, column), measures.context.limit(limit)
        asked = _number(row.value)
        why = gap("valve_models", model, column) if model is not None else f"{_name(valve)} has no model"
        why = why or row.why_missing
        margin = float(at_most(value, asked))
        findings.append(compare(margin, FAILED, value, asked, about, "cold supply failure", quantity, why))
    return worst_of(findings)


# ---- place and inputs ----

_HEIGHTS = {"shower": "LOC-1 shower", "eyewash": "LOC-1 eyewash", "eye/face wash": "LOC-1 eyewash"}


def place(measures: Measures, station: int) -> Finding:
    """LOC-1: travel time, same level, and the mounting heights of its outlets."""
    context = measures.context
    row, limit = context.site.stations[station], context.limit("LOC-1 travel")
    travel, asked = context.cell("stations", row, "travel_time"), _number(limit.value)
    margin = float(at_most(travel, asked))
    findings = [
        compare(
            margin,
            WARNED,
            travel,
            asked,
            "travel time",
            "",
            "seconds",
            limit.why_missing or gap("stations", row, "travel_time"),
        ),
        _same_level(row),
    ]
    for number in context.outlets_of[station]:
        outlet, slot = context.outlets[number], int(context.network.outlet_slot[number])
        about, name = f"height of the {outlet.kind}", _HEIGHTS.get(outlet.kind)
        for side, margin_of in (("least", at_least), ("greatest", at_most)) if name else ():
            limit = context.limit(f"{name} {side}")
            margin = float(margin_of(outlet.height, _number(limit.value)))
            findings.append(
                compare(margin, WARNED, outlet.height, _number(limit.value), about, "", "small length",
                        limit.why_missing or gap("stations", row, f"outlet_{slot}_height"))
            )  # fmt: skip
    return worst_of(findings)


def _same_level(row: Any) -> Finding:
    if why := gap("stations", row, "same_level"):
        return Finding(NOT_KNOWN, about=why)
    return Finding(PASSED if row.same_level else WARNED, about="same level")


def inputs(measures: Measures, station: int) -> Finding:
    """DAT-1: a needed cell that is blank or cannot be used, among all that the station depends on."""
    reasons = measures.missing.of(station)
    if not reasons:
        return Finding(PASSED)
    return Finding(NOT_KNOWN, about=reasons[0] + (f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else ""))


def other_demand(measures: Measures, station: int) -> Finding:
    """EVT-2: every supply and hot water source that a station depends on states its other demand."""
    for key in ("supplies", "hot_water_sources"):
        for row in measures.context.depends_on(station, key):
            why = why_demand_unknown(measures, key, row)
            if why:
                return Finding(NOT_KNOWN, about=why)
    return Finding(PASSED)


def why_demand_unknown(measures: Measures, key: str, row: Any) -> str:
    """Why the other demand on a supply or source leaves its stations unknown; "" where it is stated."""
    demand = measures.context.cell(key, row, "other_demand")
    return gap(key, row, "other_demand") if math.isnan(demand) else ""
