"""Checks of what a station is, rather than of what flows in one case: static pressure, valve data, place, inputs.

Each function takes the measures and the number of a station and gives one Finding: the outcome, the number with its
margin, and the words that say what it is about.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from drenchbook.check_measures import Measures
from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, NOTED, PASSED, SLACK, WARNED
from drenchbook.site_model import Missing

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


def _compare(
    margin: float, severity: int, value: float, limit: float, about: str, case: str = "", quantity: str = ""
) -> Finding:
    outcome = NOT_KNOWN if math.isnan(margin) else severity if margin < -SLACK else PASSED
    return Finding(outcome, value, limit, margin, about, case, quantity)


def _worst(findings: list[Finding]) -> Finding:
    if not findings:
        return NOT_APPLICABLE
    return min(findings, key=lambda f: (-f.outcome, math.inf if math.isnan(f.margin) else f.margin))


def _valve(measures: Measures, station: int) -> tuple[Any, Any]:
    valve = measures.context.valve_of_station[station]
    return valve, measures.context.model_of(valve)


def _model_cell(measures: Measures, model: Any, column: str) -> float:
    return measures.context.cell("valve_models", model, column) if model is not None else NAN


# ---- pressures ----


def static_pressure(measures: Measures, station: int) -> Finding:
    """PRS-2: greatest static pressure at each outlet and at the valve, against the limit and the ratings."""
    context, static = measures.context, measures.static
    general = context.limit("PRS-2")
    findings = []
    for number, outlet in enumerate(context.outlets):
        if outlet.station == station:
            findings.append(
                _static(static.outlet[number], general.value, outlet.maximum_pressure, outlet.kind or "outlet")
            )
    valve, model = _valve(measures, station)
    if valve is not None:
        at = context.site.mixing_valves.index(valve)
        pressure = float(np.fmax(static.valve_cold[at], static.valve_hot[at]))
        findings.append(
            _static(pressure, general.value, _model_cell(measures, model, "maximum_pressure"), f"valve {valve.tag}")
        )
    return _worst(findings)


def _static(pressure: float, general: float | None, rating: float, about: str) -> Finding:
    limit = NAN if general is None or math.isnan(rating) else min(general, rating)
    return _compare(1 - pressure / limit, FAILED, float(pressure), limit, about, "no flow, high supply")


def frictionless(measures: Measures, station: int) -> Finding:
    """PRS-3: pressure left at required flow without any pipe friction, over what the outlet needs."""
    context = measures.context
    left, asked = float(measures.frictionless_left[station]), context.limit("PRS-3").value
    if asked is None:
        return Finding(NOT_KNOWN, left, NAN, NAN, "", "low supply, required flow")
    needs = [context.needed_pressure[n] for n, outlet in enumerate(context.outlets) if outlet.station == station]
    scale = max(needs) if needs and max(needs) > 0 else 1.0
    return _compare((left - asked) / scale, FAILED, left, asked, "", "low supply, required flow")


# ---- the mixing valve ----


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
    findings = [_compare(hot - asked, FAILED, hot, asked, "hot above set", "start of the draw")]
    asked = _model_cell(measures, model, "approach_cold")
    for season in ("cold", "warm"):
        cold = set_point - context.cold_temperature(season)
        findings.append(_compare(cold - asked, NOTED, cold, asked, "set above cold", f"{season} season"))
    return _worst(findings)


def set_and_tolerance(measures: Measures, station: int) -> Finding:
    """VLV-5: set temperature less and plus the tolerance of its listing, within the delivered limits."""
    context = measures.context
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    set_point = context.cell("mixing_valves", valve, "set_temperature")
    tolerance = _model_cell(measures, model, "tolerance")
    least, greatest = context.limit("TMP least").value, context.limit("TMP greatest").value
    if least is None or greatest is None:
        return Finding(NOT_KNOWN, set_point, NAN, NAN, "limits of temperature")
    span = greatest - least
    low = _compare((set_point - tolerance - least) / span, FAILED, set_point - tolerance, least, "set less tolerance")
    high = _compare(
        (greatest - set_point - tolerance) / span, FAILED, set_point + tolerance, greatest, "set plus tolerance"
    )
    ends = _model_cell(measures, model, "set_minimum"), _model_cell(measures, model, "set_maximum")
    inside = [
        _compare((set_point - ends[0]) / span, FAILED, set_point, ends[0], "least set point of the model"),
        _compare((ends[1] - set_point) / span, FAILED, set_point, ends[1], "greatest set point of the model"),
    ]
    return _worst([low, high, *inside])


def _stated(value: Any, about: str, wanted: bool = True) -> Finding:
    if isinstance(value, Missing) or (value is None and wanted):
        return Finding(NOT_KNOWN, about=about)
    return Finding(PASSED if value else FAILED, about=about)


def listing(measures: Measures, station: int) -> Finding:
    """VLV-7: the valve's model is listed for emergency fixtures."""
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    if model is None:
        return Finding(NOT_KNOWN, about=f"no model for {valve.tag}")
    listed = isinstance(model.listing, str) and bool(model.listing.strip())
    return Finding(PASSED if listed else FAILED, about=f"model {model.model}")


def lead_free(measures: Measures, station: int) -> Finding:
    """VLV-10: lead-free listing where the station's water is potable."""
    valve, model = _valve(measures, station)
    potable = measures.context.site.stations[station].potable
    if valve is None or potable is False:
        return NOT_APPLICABLE
    if isinstance(potable, Missing) or potable is None:
        return Finding(NOT_KNOWN, about="whether the water is potable")
    return _stated(None if model is None else model.lead_free, f"model {valve.model}")


def checks_and_strainers(measures: Measures, station: int) -> Finding:
    """VLV-9: check valves and strainers on both inlets."""
    valve, _ = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    return _worst(
        [
            _stated(valve.check_valves, f"check valves of {valve.tag}"),
            _stated(valve.strainers, f"strainers of {valve.tag}"),
        ]
    )


def ratings(measures: Measures, station: int) -> Finding:
    """VLV-8: hot and cold temperature within the model's ranges, static pressure within its rating."""
    context = measures.context
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    source = context.source_of(valve)
    findings = []

    def within(value: float, column: str, sign: float, about: str, case: str = "") -> None:
        asked = _model_cell(measures, model, column)
        findings.append(_compare(sign * (value - asked) / 100, FAILED, value, asked, about, case))

    if source is None:
        return Finding(NOT_KNOWN, about=f"hot side of {valve.tag}")
    start = context.source_temperature(source)
    highest = context.cell("hot_water_sources", source, "set_temperature") if source.kind == "storage" else start
    within(start, "hot_minimum", +1.0, "hot water at the start of the draw")
    within(highest, "hot_maximum", -1.0, "hot water at its set temperature")
    for season in ("cold", "warm"):
        within(context.cold_temperature(season), "cold_minimum", +1.0, "cold water", f"{season} season")
        within(context.cold_temperature(season), "cold_maximum", -1.0, "cold water", f"{season} season")
    return _worst(findings)


def cold_failure(measures: Measures, station: int) -> Finding:
    """BYP-3: leakage and shut-off time of the model when cold supply fails; no data is UNKNOWN."""
    context = measures.context
    valve, model = _valve(measures, station)
    if valve is None:
        return NOT_APPLICABLE
    findings = []
    for column, limit, about, quantity in (
        ("leakage", "BYP-3 leakage", "leakage", "flow"),
        ("shutoff_time", "BYP-3 time", "shut-off time", "seconds"),
    ):
        value, row = _model_cell(measures, model, column), context.limit(limit)
        asked = NAN if row.value is None else row.value
        margin = NAN if math.isnan(value) or math.isnan(asked) else (asked - value) / (asked if asked > 0 else 1.0)
        findings.append(
            _compare(
                margin,
                FAILED,
                value,
                asked,
                about if row.value is not None else row.why_missing,
                "cold supply failure",
                quantity,
            )
        )
    return _worst(findings)


# ---- place and inputs ----


def place(measures: Measures, station: int) -> Finding:
    """LOC-1: travel time, same level, and the mounting heights of its outlets."""
    context = measures.context
    row = context.site.stations[station]
    travel, asked = context.cell("stations", row, "travel_time"), context.limit("LOC-1 travel").value
    asked = NAN if asked is None else asked
    findings = [
        _compare(1 - travel / asked if asked else NAN, WARNED, travel, asked, "travel time", "", "seconds"),
        _same_level(row.same_level),
    ]
    for outlet in context.outlets:
        limit = {"shower": "LOC-1 shower", "eyewash": "LOC-1 eyewash", "eye/face wash": "LOC-1 eyewash"}.get(
            outlet.kind
        )
        if outlet.station != station or limit is None:
            continue
        least, greatest = (context.limit(f"{limit} {side}").value for side in ("least", "greatest"))
        if least is None or greatest is None:
            findings.append(Finding(NOT_KNOWN, outlet.height, NAN, NAN, f"limits of the height of a {outlet.kind}"))
            continue
        findings.append(
            _compare(
                outlet.height / least - 1,
                WARNED,
                outlet.height,
                least,
                f"height of the {outlet.kind}",
                "",
                "small length",
            )
        )
        findings.append(
            _compare(
                1 - outlet.height / greatest,
                WARNED,
                outlet.height,
                greatest,
                f"height of the {outlet.kind}",
                "",
                "small length",
            )
        )
    return _worst(findings)


def _same_level(value: Any) -> Finding:
    if value is None or isinstance(value, Missing):
        return Finding(NOT_KNOWN, about="same level")
    return Finding(PASSED if value else WARNED, about="same level")


def inputs(measures: Measures, station: int) -> Finding:
    """DAT-1: a needed cell that is blank or cannot be used, among all that the station depends on."""
    reasons = measures.missing_inputs(station)
    if not reasons:
        return Finding(PASSED)
    return Finding(NOT_KNOWN, about=reasons[0] + (f" (and {len(reasons) - 1} more)" if len(reasons) > 1 else ""))


def other_demand(measures: Measures, station: int) -> Finding:
    """EVT-2 for the station: every supply and hot water source it depends on states its other demand."""
    context = measures.context
    for key in ("supplies", "hot_water_sources"):
        for row in context.depends_on(station, key):
            if not isinstance(row.other_demand, float):
                return Finding(NOT_KNOWN, about=f"other demand of {row.tag}")
    return Finding(PASSED)
