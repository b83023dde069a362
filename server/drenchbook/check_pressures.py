"""Checks of pressures that need no case: without flow, and at required flow without pipe friction."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.check_measures import Measures
from drenchbook.check_samples import FAILED, NOT_KNOWN, NOTED, PASSED, WARNED, at_most
from drenchbook.findings import (
    NAN,
    Finding,
    compare,
    model_cell,
    model_gap,
    name_of,
    number_of,
    valve_and_model,
    worst_of,
)
from drenchbook.site_model import tag_key
from drenchbook.solver_results import StaticPressures


def static_of_valve(static: StaticPressures, measures: Measures, valve: Any) -> float:
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
    valve, model = valve_and_model(measures, station)
    if valve is not None:
        rating = model_cell(measures, model, "maximum_pressure")
        why = model_gap(valve, model, "maximum_pressure")
        parts.append((static_of_valve(static, measures, valve), rating, f"valve {name_of(valve)}", why))
    return parts


def _with_gap(measures: Measures, station: int, found: Finding) -> Finding:
    """A finding that is not known for want of an input of the station says which."""
    gaps = measures.missing.of(station) if found.outcome == NOT_KNOWN and math.isnan(found.value) else ()
    return replace(found, about=gaps[0]) if gaps else found


def _static(measures: Measures, pressure: float, rating: float, about: str, rating_gap: str,
            only_rating: bool = False, severity: int = FAILED) -> Finding:  # fmt: skip
    row = measures.context.limit("PRS-2")
    limit = rating if only_rating else float(np.minimum(number_of(row.value), rating))
    why = row.why_missing or (rating_gap if math.isnan(rating) else "")
    why = why or (f"the static pressure at the {about} is not known" if math.isnan(pressure) else "")
    return compare(float(at_most(pressure, limit)), severity, pressure, limit, about, "no flow, high supply", why=why)


def frictionless(measures: Measures, station: int) -> Finding:
    """PRS-3: pressure left at required flow without any pipe friction, over what the outlet needs."""
    context, case = measures.context, "low supply, required flow"
    outlets = list(context.outlets_of[station])
    row = context.limit("PRS-3")
    left, asked = float(measures.frictionless_left[station]) if outlets else NAN, number_of(row.value)
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
