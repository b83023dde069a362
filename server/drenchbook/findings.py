"""A finding: what one check says of one station that is not about one case, in number, margin and words."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from drenchbook.cell_gaps import first_gap
from drenchbook.check_measures import Measures
from drenchbook.check_samples import NONE, NOT_KNOWN, PASSED, SLACK

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


def number_of(value: float | None) -> float:
    """A limit, or not-a-number where it is not known."""
    return NAN if value is None else value


def worst_of(findings: list[Finding]) -> Finding:
    """The worst outcome first, then the smallest margin; of none at all what does not apply."""
    if not findings:
        return NOT_APPLICABLE
    return min(findings, key=lambda f: (-f.outcome, math.inf if math.isnan(f.margin) else f.margin))


def valve_and_model(measures: Measures, station: int) -> tuple[Any, Any]:
    """The mixing valve of a station and its model; None where there is none."""
    valve = measures.context.valve_of_station[station]
    return valve, measures.context.model_of(valve)


def once_a_valve(check: Callable[[Measures, int], Finding]) -> Callable[[Measures, int], Finding]:
    """A check of nothing but a station's valve: made once for all stations behind that valve."""

    @functools.wraps(check)
    def found(measures: Measures, station: int) -> Finding:
        key = check.__name__, id(measures.context.valve_of_station[station])
        if key not in measures.of_valves:
            measures.of_valves[key] = check(measures, station)
        finding: Finding = measures.of_valves[key]
        return finding

    return found


def model_cell(measures: Measures, model: Any, column: str) -> float:
    """A number of a model in SI, or not-a-number."""
    return measures.context.cell("valve_models", model, column) if model is not None else NAN


def model_gap(valve: Any, model: Any, *columns: str) -> str:
    """Why the first of some cells of a valve's model gives no value, or that there is no model; "" where all do."""
    return first_gap("valve_models", model, columns) if model is not None else f"{name_of(valve)} has no model"


def name_of(row: Any) -> str:
    """The tag of a row, without stray spaces."""
    return str(row.tag).strip()
