"""Checks of pipes while nobody draws: frost, and the temperatures of circulated loops. As in `check_static`."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.check_measures import Measures
from drenchbook.check_samples import FAILED, NOT_KNOWN, SLACK, WARNED, at_least
from drenchbook.findings import NOT_APPLICABLE, PERCENT_SCALE, Finding, compare, worst_of
from drenchbook.operating_cases import CIRCULATION_OFF
from drenchbook.site_model import tag_key
from drenchbook.surroundings import SEASONS, why_unknown

IDLE_IN_FROST = "cold season, idle"
NO_HEAT = f"cold season, power lost or {CIRCULATION_OFF}"


def _name(measures: Measures, run: int) -> str:
    return f"run {str(measures.context.site.pipe_runs[run].tag).strip()}"


def idle_in_frost(measures: Measures, station: int) -> Finding:
    """FRZ-1: the coldest run that a station depends on, standing or held, in the cold season."""
    run, hidden = (int(found[station]) for found in measures.coldest_runs)
    row = measures.context.limit("FRZ-1")
    asked = math.nan if row.value is None else row.value
    value = float(measures.frost.idle[run]) if run >= 0 else math.nan
    margin = (value - asked) / PERCENT_SCALE
    if margin < -SLACK:
        return Finding(FAILED, value, asked, margin, _name(measures, run), IDLE_IN_FROST)
    if hidden >= 0:
        why = why_unknown(measures.context, measures.context.site.pipe_runs[hidden], "cold")
        return Finding(NOT_KNOWN, about=row.why_missing or why or f"what {_name(measures, hidden)} stands in")
    if run < 0:
        return NOT_APPLICABLE
    return compare(margin, FAILED, value, asked, _name(measures, run), IDLE_IN_FROST, why=row.why_missing)


def heated_in_frost(measures: Measures, station: int) -> Finding:
    """FRZ-2: time to freezing of the heated or circulated run that freezes soonest when that is lost."""
    run, hidden = (int(found[station]) for found in measures.soonest_frozen_runs)
    seconds = float(measures.frost.seconds_of_heated[run]) if run >= 0 else math.inf
    row = measures.context.limit("FRZ-2")
    asked = math.nan if row.value is None else row.value
    if math.isinf(seconds):
        if hidden < 0:
            return NOT_APPLICABLE
        why = why_unknown(measures.context, measures.context.site.pipe_runs[hidden], "cold")
        return Finding(NOT_KNOWN, about=why or f"what {_name(measures, hidden)} stands in")
    margin, name = float(at_least(seconds, asked)), _name(measures, run)
    rows = measures.context.site.pipe_runs
    if margin < -SLACK and measures.surroundings.bare_by_blank[run]:
        return Finding(NOT_KNOWN, about=f"{gap('pipe_runs', rows[run], 'insulation')}; 0 must be typed for a bare pipe")
    return compare(margin, WARNED, seconds, asked, name, NO_HEAT, "hours", row.why_missing)


def loop_range(measures: Measures, station: int) -> Finding:
    """LOP-1: lowest and highest temperature of the loop of a station's valve, both seasons."""
    valve = measures.context.valve_of_station[station]
    number = measures.context.valve_number[tag_key(valve.tag)] if valve is not None else -1
    loop = measures.loops.get(number)
    if loop is None:
        return NOT_APPLICABLE
    if loop.why_unknown:
        return Finding(NOT_KNOWN, about=loop.why_unknown)
    rows = measures.context.limit("LOP-1 least"), measures.context.limit("LOP-1 greatest")
    least, greatest = (math.nan if row.value is None else row.value for row in rows)
    why, name = rows[0].why_missing or rows[1].why_missing, str(valve.tag).strip()
    span = greatest - least if greatest > least else math.nan
    why = why or ("limit LOP-1 least is not below LOP-1 greatest" if math.isnan(span) else "")
    findings = []
    for season, along in zip(SEASONS, loop.temperatures, strict=True):
        for value, limit, sign, words in (
            (np.min(along), least, 1, "lowest"),
            (np.max(along), greatest, -1, "highest"),
        ):
            about = f"the {words} temperature of the loop of {name}"
            margin = sign * (float(value) - limit) / span
            findings.append(compare(margin, FAILED, float(value), limit, about, f"{season} season", why=why))
    return worst_of(findings)
