"""Checks of a station's mixing valve by its data sheet: approach, range, listing, ratings, cold supply failure."""

from __future__ import annotations

import math
from typing import Any

from drenchbook.cell_gaps import gap
from drenchbook.check_context import temperature_column
from drenchbook.check_measures import Measures
from drenchbook.check_pressures import static_of_valve
from drenchbook.check_samples import FAILED, NOT_KNOWN, NOTED, PASSED, at_least, at_most
from drenchbook.findings import (
    NAN,
    NOT_APPLICABLE,
    PERCENT_SCALE,
    Finding,
    compare,
    model_cell,
    model_gap,
    name_of,
    number_of,
    once_a_valve,
    valve_and_model,
    worst_of,
)
from drenchbook.site_cells import is_said
from drenchbook.site_model import tag_key
from drenchbook.surroundings import SEASONS, runs_above, why_heat_unknown


@once_a_valve
def approach(measures: Measures, station: int) -> Finding:
    """VLV-3: hot above set (FAIL), set above cold in each season (NOTE)."""
    context = measures.context
    valve, model = valve_and_model(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    source = context.source_of(valve)
    set_point = context.cell("mixing_valves", valve, "set_temperature")
    hot = context.source_temperature(source) - set_point if source is not None else NAN
    asked = model_cell(measures, model, "approach_hot")
    unknown = _gap_of_valve(measures, valve, "approach_hot")
    findings = [compare(float(at_least(hot, asked)), FAILED, hot, asked, "hot above set", "start of the draw",
                        why=unknown or _gap_of_hot(measures, valve))]  # fmt: skip
    findings += _approach_at_valve(measures, valve, set_point, asked)
    asked = model_cell(measures, model, "approach_cold")
    for season in ("cold", "warm"):
        cold = set_point - context.cold_temperature(season)
        margin = float(at_least(cold, asked))
        why = _gap_of_valve(measures, valve, "approach_cold") or _gap_of_cold(measures, season)
        findings.append(compare(margin, NOTED, cold, asked, "set above cold", f"{season} season", why=why))
    return worst_of(findings)


def _gap_of_valve(measures: Measures, valve: Any, *columns: str) -> str:
    """Why the set temperature of a valve, or a cell of its model, is not known; "" where they are."""
    model = measures.context.model_of(valve)
    return gap("mixing_valves", valve, "set_temperature") or model_gap(valve, model, *columns)


def _gap_of_hot(measures: Measures, valve: Any) -> str:
    """Why the temperature of the hot water of a valve is not known; "" where a cell holds it."""
    source = measures.context.source_of(valve)
    return gap_of_source_temperature(source) if source is not None else ""


def gap_of_source_temperature(source: Any) -> str:
    """Which cell of a hot water source does not tell its temperature; "" where it does."""
    return gap("hot_water_sources", source, temperature_column(source))


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


@once_a_valve
def set_and_tolerance(measures: Measures, station: int) -> Finding:
    """VLV-5: set temperature less and plus its tolerance inside the delivered limits, and inside the model's range."""
    context = measures.context
    valve, model = valve_and_model(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    set_point = context.cell("mixing_valves", valve, "set_temperature")
    tolerance = model_cell(measures, model, "tolerance")
    rows = context.limit("TMP least"), context.limit("TMP greatest")
    least, greatest = (number_of(row.value) for row in rows)
    why = rows[0].why_missing or rows[1].why_missing
    if not greatest > least:
        return Finding(NOT_KNOWN, set_point, NAN, NAN, why or "limit TMP least is not below TMP greatest")
    ends = model_cell(measures, model, "set_minimum"), model_cell(measures, model, "set_maximum")
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


def _stated(valve: Any, column: str, words: str) -> Finding:
    if why := gap("mixing_valves", valve, column):
        return Finding(NOT_KNOWN, about=why)
    return Finding(PASSED if getattr(valve, column) else FAILED, about=f"{words} of {name_of(valve)}")


@once_a_valve
def listing(measures: Measures, station: int) -> Finding:
    """VLV-7: the valve's model is listed for emergency fixtures."""
    valve, model = valve_and_model(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    if model is None:
        return Finding(NOT_KNOWN, about=model_gap(valve, model))
    listed = is_said(model.listing)
    return Finding(PASSED if listed else FAILED, about=f"model {model.model}")


def lead_free(measures: Measures, station: int) -> Finding:
    """VLV-10: lead-free listing where the station's water is potable."""
    valve, model = valve_and_model(measures, station)
    potable = measures.context.site.stations[station].potable
    if valve is None or potable is False:
        return NOT_APPLICABLE
    if why := gap("stations", measures.context.site.stations[station], "potable"):
        return Finding(NOT_KNOWN, about=why)
    if why := model_gap(valve, model, "lead_free"):
        return Finding(NOT_KNOWN, about=why)
    return Finding(PASSED if model.lead_free else FAILED, about=f"model {model.model}")


@once_a_valve
def checks_and_strainers(measures: Measures, station: int) -> Finding:
    """VLV-9: check valves and strainers on both inlets."""
    valve, _ = valve_and_model(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    return worst_of([_stated(valve, "check_valves", "check valves"), _stated(valve, "strainers", "strainers")])


@once_a_valve
def ratings(measures: Measures, station: int) -> Finding:
    """VLV-8: hot and cold temperature within the model's ranges, static pressure within its rating."""
    context = measures.context
    valve, model = valve_and_model(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    source = context.source_of(valve)
    if source is None:
        return Finding(NOT_KNOWN, about=f"the hot side of {name_of(valve)} is not known")
    findings = []

    def within(value: float, column: str, sign: float, about: str, case: str = "", why: str = "") -> None:
        asked = model_cell(measures, model, column)
        why = why or model_gap(valve, model, column)
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
    pressure = static_of_valve(measures.static, measures, valve)
    rating = model_cell(measures, model, "maximum_pressure")
    margin, about = float(at_most(pressure, rating)), f"static pressure at {name_of(valve)}"
    unknown = gap("valve_models", model, "maximum_pressure") if model is not None else ""
    unknown = unknown or next(iter(measures.missing.of(station) if math.isnan(pressure) else ()), "")
    findings.append(compare(margin, FAILED, pressure, rating, about, "no flow, high supply", "pressure", unknown))
    return worst_of(findings)


@once_a_valve
def cold_failure(measures: Measures, station: int) -> Finding:
    """BYP-3: leakage and shut-off time of the model when cold supply fails; no data is UNKNOWN."""
    valve, model = valve_and_model(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    findings = []
    for column, limit, about, quantity in (
        ("leakage", "BYP-3 leakage", "leakage", "flow"),
        ("shutoff_time", "BYP-3 time", "shut-off time", "seconds"),
    ):
        value, row = model_cell(measures, model, column), measures.context.limit(limit)
        asked = number_of(row.value)
        why = model_gap(valve, model, column) or row.why_missing
        margin = float(at_most(value, asked))
        findings.append(compare(margin, FAILED, value, asked, about, "cold supply failure", quantity, why))
    return worst_of(findings)
