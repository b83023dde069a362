"""LOP-2: what happens to the stations of a circulated loop when its pump stands still."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from drenchbook.check_samples import PASSED, SLACK, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import Judgement
from drenchbook.loops import Loop
from drenchbook.operating_cases import CIRCULATION_OFF, STATES
from drenchbook.quantity_text import MOST, quantity_text
from drenchbook.site_line import SiteLine, line, name_of, sentence, unknown
from drenchbook.site_model import tag_key
from drenchbook.surroundings import SEASONS


def circulation_off_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """One line for each loop."""
    for number, loop in judgement.measures.loops.items():
        name = name_of(judgement.site.mixing_valves[number])
        if loop.why_unknown:
            yield unknown("LOP-2", name, loop.why_unknown, case=CIRCULATION_OFF)
        else:
            yield _line(judgement, name, loop)


def loop_power_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """PWR-1 for the pump of each loop."""
    check = CHECK_BY_ID["PWR-1"]
    for number in judgement.measures.loops:
        valve = judgement.site.mixing_valves[number]
        name = name_of(valve)
        if valve.loop_pump_needs_power is False:
            yield SiteLine(check, name, PASSED, f"The loop of {name} circulates without power.")
        elif valve.loop_pump_needs_power is not True:
            yield unknown("PWR-1", name, f"whether the loop pump of {name} needs power is blank")
        else:
            what = f"Without power the loop of {name} stands still: LOP-2 says what its stations get"
            yield line(judgement, "PWR-1", name, -1.0, what=what)


def _line(judgement: Judgement, name: str, loop: Loop) -> SiteLine:
    context, check = judgement.context, CHECK_BY_ID["LOP-2"]
    own = np.array([valve is not None and context.valve_number[tag_key(valve.tag)] == loop.valve
                    for valve in context.valve_of_station], dtype=bool)  # fmt: skip
    first = np.where(own, judgement.measures.first_water_circulation_off, np.nan)
    limits = [context.limit(limit).value for limit in ("TMP least", "TMP greatest")]
    if None in limits:
        return unknown("LOP-2", name, "the limits of tepid water are not known", case=CIRCULATION_OFF)
    least, greatest = (float(limit or 0) for limit in limits)
    untepid = ((first < least - SLACK) | (first > greatest + SLACK)).any(axis=0)
    behind = judgement.network.station_node != judgement.network.valve_node[loop.valve]  # one at the valve has no run
    hidden = own & behind & np.isnan(first).any(axis=0)
    words = []
    if untepid.any():
        season, far = _farthest(first[:, untepid], least, greatest)
        shown = quantity_text(far, "temperature", context.units)
        words.append(
            f"the first water of {_tags(judgement, untepid)} is untepid, {shown} at worst in the {season} season"
        )
    lost = _uncontrolled(judgement, loop)
    if lost.any():
        words.append(f"one outlet of {_tags(judgement, lost)} alone draws less than {name} controls")
    gives = "; ".join(
        f"{'loses' if loss >= 0 else 'gains'} {quantity_text(abs(float(loss)), 'power', context.units, MOST)} "
        f"in the {season} season"
        for season, loss in zip(SEASONS, loop.loss, strict=True)
    )
    if not words and hidden.any():
        return unknown("LOP-2", name, f"what the runs of {_tags(judgement, hidden)} stand in", case=CIRCULATION_OFF)
    found = "; ".join(words) or "the first water of its stations stays inside the limits"
    text = sentence(f"With circulation off at {name} {found}") + " " + sentence(f"The loop {gives}")
    outcome = WARNED if words else PASSED
    return SiteLine(check, name, outcome, text, case=CIRCULATION_OFF, remedy=sentence(check.remedy) if words else "")


def _farthest(values: Any, least: float, greatest: float) -> tuple[str, float]:
    beyond = np.maximum(least - values, values - greatest)
    state, place = np.unravel_index(int(np.nanargmax(beyond)), beyond.shape)
    return STATES[int(state)][0], float(values[state, place])


def _uncontrolled(judgement: Judgement, loop: Loop) -> Any:
    """[stations] whether one of their outlets alone leaves the valve below its minimum without the loop flow."""
    cases, network = judgement.cases, judgement.network
    found = np.zeros(len(judgement.site.stations), dtype=bool)
    if not network.valve_loop_flow[loop.valve] > 0:
        return found
    single = np.diff(cases.outlets.offsets) == 1
    at = np.flatnonzero((cases.valves.member == loop.valve) & single[cases.valves.opening])
    flow = judgement.results.normal.valve.flow[:, at]
    if math.isnan(network.valve_minimum_flow[loop.valve]):
        return found
    short = (~network.controls(np.array(loop.valve), flow) & ~np.isnan(flow)).any(axis=0)
    for opening in cases.valves.opening[at[short]].tolist():
        found[cases.stations.member[cases.stations.of(opening)]] = True
    return found


def _tags(judgement: Judgement, which: Any) -> str:
    names = [str(judgement.site.stations[number].tag).strip() for number in np.flatnonzero(which)]
    return ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
