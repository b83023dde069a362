"""Remedies for pipes while nobody draws: how much insulation, how much loop flow, how much stands in a hot run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from drenchbook.checks import Judgement, Verdict
from drenchbook.frost import FREEZING, WATER_TEMPERATURE
from drenchbook.loops import loop_flow_that_holds
from drenchbook.physics.heat_loss import idle_time_constant, overall_conductance, seconds_to_temperature
from drenchbook.quantity_text import quantity_text
from drenchbook.surroundings import INSIDE_FILM, INSULATION_CONDUCTIVITY, OUTSIDE, WIND_FILM, runs_above

SAME = 0.01  # [K]
THICKEST = 0.2  # [m] beyond this insulation is no answer


def _text(judgement: Judgement, value: float, quantity: str, toward: str = "most") -> str:
    return quantity_text(value, quantity, judgement.context.units, toward)


def _named(rows: Sequence[Any], words: str) -> int:
    """The row whose tag ends some words of a finding, or -1."""
    found = [number for number, row in enumerate(rows) if words.endswith(f" {str(row.tag).strip()}")]
    return found[0] if found else -1


def hot_run(judgement: Judgement, verdict: Verdict) -> str:
    """DLG-4: how much water stands before a valve, and how cold it becomes."""
    around, held = judgement.measures.surroundings, judgement.measures.held
    runs = [run for run in runs_above(judgement.context, int(judgement.network.valve_hot_node[verdict.member]))
            if math.isnan(held[0, 0, run])]  # fmt: skip
    area = judgement.network.run_area
    content = _text(judgement, float(sum(area[run] * around.length[run] for run in runs)), "volume")
    coldest = float(np.min(around.shade[0, runs]))
    cooled = "" if math.isnan(coldest) else f" that come to {_text(judgement, coldest, 'temperature', 'least')}"
    return f"{verdict.check.remedy}: {content}{cooled} stand in it"


def held_lower(judgement: Judgement, verdict: Verdict) -> str:
    """DLG-1 of a run that is held hotter than its first water may be: a lower held temperature."""
    limit = judgement.context.limit("DLG-1 warning").value
    station = int(verdict.member)
    if limit is None or not 0 <= station < len(judgement.site.stations):
        return ""
    for run in judgement.context.depends_on(station, "pipe_runs"):
        held = judgement.context.cell("pipe_runs", run, "held_temperature")
        if run.circulated is not True and held > limit and held >= verdict.value - SAME:
            most = _text(judgement, limit, "temperature", "least")
            return f"Hold run {str(run.tag).strip()} at {most} or less"
    return ""


def idle_frost(judgement: Judgement, verdict: Verdict) -> str:
    """FRZ-1: how soon the run freezes, which insulation only delays."""
    run = _named(judgement.site.pipe_runs, verdict.about)
    seconds = float(judgement.measures.frost.seconds_from_cold[run]) if run >= 0 else math.nan
    if not math.isfinite(seconds):
        return ""
    hours = _text(judgement, seconds, "hours", "least")
    held = judgement.context.cell("pipe_runs", judgement.site.pipe_runs[run], "held_temperature")
    if held < verdict.limit:
        return f"Hold it at {_text(judgement, verdict.limit, 'temperature')} or more, or drain it"
    return f"{verdict.check.remedy}: cold water that stands in it freezes after {hours}"


def longer_to_freezing(judgement: Judgement, verdict: Verdict) -> str:
    """FRZ-2: the insulation with which the run lasts as long as it is asked to."""
    run = _named(judgement.site.pipe_runs, verdict.about)
    measures = judgement.measures
    if run < 0 or not verdict.limit > 0 or judgement.site.pipe_runs[run].exposure == "buried":
        return ""
    start, outside = float(np.min(measures.held[:, 0, run])), float(measures.surroundings.shade[0, run])
    if not start > FREEZING > outside:
        return ""
    pipe = judgement.network.run_pipe[run]
    if pipe is None:
        return ""
    film = WIND_FILM if judgement.site.pipe_runs[run].exposure == OUTSIDE else INSIDE_FILM
    bore, outer = pipe.inside_diameter, pipe.outside_diameter

    def lasts(thickness: float) -> float:
        passes = overall_conductance(bore, outer, pipe.wall_conductivity, thickness, INSULATION_CONDUCTIVITY, film)
        constant = idle_time_constant(
            bore, outer, pipe.wall_density, pipe.wall_heat_capacity, passes, WATER_TEMPERATURE
        )
        return float(seconds_to_temperature(start, outside, FREEZING, constant))

    low, high = 0.0, THICKEST
    if lasts(high) < verdict.limit:
        return ""
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (low, middle) if lasts(middle) >= verdict.limit else (middle, high)
    return f"Insulation of {_text(judgement, high, 'small length')} or more, or drain it when its heating is lost"


def loop_flow(judgement: Judgement, verdict: Verdict) -> str:
    """LOP-1: the loop flow that holds its limits, and what it gives off now."""
    measures, context = judgement.measures, judgement.context
    loop = measures.loops.get(_named(judgement.site.mixing_valves, verdict.about))
    limits = context.limit("LOP-1 least").value, context.limit("LOP-1 greatest").value
    if loop is None or None in limits:
        return ""
    flow = loop_flow_that_holds(loop, measures.surroundings, *(float(limit or 0) for limit in limits))
    if math.isnan(flow):
        return "Move the set temperature inside the limits first: no loop flow holds them"
    return f"A loop flow of {_text(judgement, flow, 'flow')} or more, or thicker insulation"
