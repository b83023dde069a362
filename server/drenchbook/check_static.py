"""Checks of what a station is, rather than of what flows in one case: place, inputs, other demand.

Each function takes the measures and the number of a station and gives one Finding: the outcome, the number with its
margin, and the words that say what it is about; `check_pressures.py` and `check_valves.py` alike.
"""

from __future__ import annotations

import math
from typing import Any

from drenchbook.cell_gaps import gap
from drenchbook.check_measures import Measures
from drenchbook.check_samples import NOT_KNOWN, PASSED, WARNED, at_least, at_most
from drenchbook.findings import (
    Finding,
    compare,
    number_of,
    worst_of,
)

_HEIGHTS = {"shower": "LOC-1 shower", "eyewash": "LOC-1 eyewash", "eye/face wash": "LOC-1 eyewash"}


def place(measures: Measures, station: int) -> Finding:
    """LOC-1: travel time, same level, and the mounting heights of its outlets."""
    context = measures.context
    row, limit = context.site.stations[station], context.limit("LOC-1 travel")
    travel, asked = context.cell("stations", row, "travel_time"), number_of(limit.value)
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
            margin = float(margin_of(outlet.height, number_of(limit.value)))
            findings.append(
                compare(margin, WARNED, outlet.height, number_of(limit.value), about, "", "small length",
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
