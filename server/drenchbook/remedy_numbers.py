"""Remedies that are one line of arithmetic from the numbers of a verdict: by how much, which size, which flow."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from drenchbook.check_samples import NOTED, WARNED
from drenchbook.checks import Judgement, Verdict
from drenchbook.published.pipes import pipe, sizes
from drenchbook.quantity_text import LEAST, MOST, quantity_text, rounded
from drenchbook.site_model import tag_key
from drenchbook.verdict_numbers import limit_text, value_text

SETTLED = 1e-6  # part of a flow


def _short(judgement: Judgement, verdict: Verdict, quantity: str) -> str:
    """How much is missing, or too much, rounded up; "" where it is not known."""
    difference = abs(verdict.limit - verdict.value)
    return "" if math.isnan(difference) else quantity_text(difference, quantity, judgement.context.units, MOST)


def reducing_valve(judgement: Judgement, verdict: Verdict) -> str:
    """PRS-2: what a pressure-reducing valve must take off."""
    if verdict.outcome in (NOTED, WARNED):  # one is there, and may fail
        limit = limit_text(judgement, verdict)
        return f"A relief valve behind the reducing valve, at {limit} or less, or parts rated for the whole pressure"
    off = _short(judgement, verdict, "pressure")
    return f"A pressure-reducing valve upstream that takes off {off} or more without flow" if off else ""


def larger_run(judgement: Judgement, verdict: Verdict) -> str:
    """VEL-1: the size of the fastest run at which that flow keeps the limit."""
    if verdict.opening < 0 or not verdict.value > 0:
        return ""
    pairs, network = judgement.cases.stations, judgement.network
    part = pairs.of(verdict.opening)
    place = part.start + pairs.member[part].tolist().index(verdict.member)
    station = judgement.results.fault(verdict.fault).station
    run = int((station.velocity_hot_run if verdict.second else station.velocity_cold_run)[verdict.state, place])
    found = network.run_pipe[run] if run >= 0 else None
    if found is None:
        return ""
    area = found.inside_diameter**2 * verdict.value / verdict.limit
    for size in sizes(found.material):
        if pipe(found.material, size).inside_diameter ** 2 >= area:
            return f"Run {network.run_tags[run].strip()} in {size} or larger"
    return f"Two pipes beside each other: no size of {found.material} is large enough"


def changes_over(judgement: Judgement, verdict: Verdict) -> bool:
    """Whether VLV-1 misses because the larger of two valves has opened and passes less than it controls."""
    network = judgement.network
    return verdict.member >= 0 and 0 < network.valve_gap_to[verdict.member] <= verdict.limit


def small_flow(judgement: Judgement, verdict: Verdict) -> str:
    """VLV-1 of two valves in parallel: what the larger one passes where it begins to open."""
    if not changes_over(judgement, verdict):
        return ""
    passes = verdict.value - float(judgement.network.valve_gap_from[verdict.member])
    words = quantity_text(passes, "flow", judgement.context.units, LEAST)
    return f"A larger valve that controls from {words} or less or opens at a higher difference, or one valve for both"


def controls_from(judgement: Judgement, verdict: Verdict) -> str:
    """VLV-11: the minimum flow under control that leaves the margin asked for."""
    if verdict.opening < 0:
        return ""
    pairs = judgement.cases.valves
    part = pairs.of(verdict.opening)
    place = part.start + pairs.member[part].tolist().index(verdict.member)
    drawn = float(judgement.results.normal.valve.flow[verdict.state, place])
    if drawn > judgement.network.valve_gap_from[verdict.member] > 0:
        return ""  # the larger of two has opened: VLV-1 says from where that one controls
    flow = drawn / (1 + verdict.limit)
    return f"A valve that controls from {quantity_text(flow, 'flow', judgement.context.units, LEAST)} or less"


def wider_approach(judgement: Judgement, verdict: Verdict) -> str:
    """VLV-3: how much hotter the storage, or how much lower or higher the set temperature."""
    short = _short(judgement, verdict, "temperature difference")
    if not short:
        return ""
    if verdict.about == "set above cold":
        return f"A set temperature higher by {short}; till then the valve runs nearly cold in that season"
    return f"Hot water at the start of the draw hotter by {short}, or a set temperature lower by as much"


def other_set(judgement: Judgement, verdict: Verdict) -> str:
    """VLV-5: by how much to move the set temperature."""
    short = _short(judgement, verdict, "temperature difference")
    way = "Raise" if verdict.value < verdict.limit else "Lower"
    return f"{way} the set temperature by {short}, or choose a valve of closer tolerance" if short else ""


def stem_inside(judgement: Judgement, verdict: Verdict) -> str:
    """VLV-6: the hot water temperature at which the stem stands at its limit; the stem follows the hot share."""
    context, normal = judgement.context, judgement.results.normal
    if verdict.opening < 0:
        return ""
    pairs = judgement.cases.valves
    part = pairs.of(verdict.opening)
    place = part.start + pairs.member[part].tolist().index(verdict.member)
    valve = context.site.mixing_valves[verdict.member]
    cold = context.cold_temperature(context.season(verdict.state))
    set_point = context.cell("mixing_valves", valve, "set_temperature")
    if set_point <= cold:
        return "A set temperature above the cold water, which is all that the valve passes in that season"
    share = _share_at(normal.valve, verdict, place)
    if math.isnan(share + cold + set_point) or not 0 < share < 1:
        return ""  # inlets so unlike that no hot water would do
    hot, low = cold + (set_point - cold) / share, verdict.value < verdict.limit
    needs = context.cell("valve_models", context.model_of(valve), "approach_hot")
    if low and hot < set_point + (0.0 if math.isnan(needs) else needs):
        return ""  # colder than the valve can mix with
    words = quantity_text(hot, "temperature", context.units, LEAST if low else MOST)
    return f"Hot water of {'at most' if low else 'at least'} {words}, or closer inlet pressures"


def _share_at(valve: Any, verdict: Verdict, place: int) -> float:
    """The hot share at which the stem of a valve stands at its limit, at its flow and inlet pressures; or not-a-number.

    With the stem at s the two seats pass q = C·(s·√(ph − pm) + (1 − s)·√(pc − pm)), of which the first is hot [worked
    here, from the equation of the two seats]; C comes from the solved case.
    """
    at = (verdict.state, place)
    x, s = float(valve.hot_fraction[at]), verdict.value
    hot, cold, chamber = (float(one[at]) for one in (valve.hot_pressure, valve.cold_pressure, valve.chamber_pressure))
    if not (x > 0 and s > 0 and hot > chamber):
        return math.nan
    whole = x / (s * math.sqrt(hot - chamber))  # C/q
    limit, most = verdict.limit, min(hot, cold)
    least = most - (1 / (whole * min(limit, 1 - limit))) ** 2
    passed = [0.0, 0.0]
    for _ in range(200):
        middle = (least + most) / 2
        passed = [limit * math.sqrt(hot - middle), (1 - limit) * math.sqrt(cold - middle)]
        least, most = (middle, most) if sum(passed) * whole > 1 else (least, middle)
    return limit * math.sqrt(max(hot - most, 0.0)) * whole if abs(sum(passed) * whole - 1) < SETTLED else math.nan


def heater_first(judgement: Judgement, verdict: Verdict) -> str:
    """HOT-1, HOT-3 of a source without storage: it lasts as soon as it keeps up, whatever else is changed."""
    source = judgement.site.hot_water_sources[verdict.member]
    if source.kind == "plant main":
        return "Hotter water from the plant main, as VLV-3 asks"
    return "Hot water that lasts: a heater or exchanger that keeps HOT-4 and VLV-3, or storage"


def larger_storage(judgement: Judgement, verdict: Verdict) -> str:
    """HOT-3: the storage that gives the margin asked for; minutes grow at least in proportion to the volume."""
    source = judgement.site.hot_water_sources[verdict.member]
    volume = judgement.context.cell("hot_water_sources", source, "volume")
    if source.kind != "storage":
        return heater_first(judgement, verdict)
    if not volume > 0 or not 1 + verdict.value > 0:
        return ""
    wanted = volume * (1 + verdict.limit) / (1 + verdict.value)
    return f"Storage of {quantity_text(wanted, 'volume', judgement.context.units, MOST)} or more, or accept and record"


def less_content(judgement: Judgement, verdict: Verdict) -> str:
    """DLG-2, DLG-5, DLG-3: the part of their water content that the runs may keep whose water comes first."""
    if not verdict.value > verdict.limit > 0:
        return ""
    percent = rounded(100 * verdict.limit / verdict.value, 0, LEAST)
    if verdict.check.id == "DLG-3":
        return f"Shorter or smaller tempered runs, of at most {percent:.0f} % of their content"
    shorter = f"Shorter or smaller tempered and hot runs, of at most {percent:.0f} % of their content"
    return f"{shorter}, or hold them at temperature"


def warmer(judgement: Judgement, verdict: Verdict) -> str:
    """TMP-1: mix what comes cold; of what is mixed raise the set temperature."""
    short = _short(judgement, verdict, "temperature difference")
    if not short or verdict.member < 0:
        return ""
    if _valve_of_outlet(judgement, verdict) is None:
        return "Mix it: feed the station through a mixing valve"
    return f"Raise the set temperature by {short}, or insulate the tempered runs"


def cooler(judgement: Judgement, verdict: Verdict) -> str:
    """TMP-2: cool the water that comes too warm; of what is mixed lower the set temperature as well."""
    short = _short(judgement, verdict, "temperature difference")
    if not short or verdict.member < 0:
        return ""
    cold = judgement.context.cold_temperature(judgement.context.season(verdict.state))
    if _valve_of_outlet(judgement, verdict) is None or cold >= verdict.limit:
        return f"Cool or bury the cold water supply, to {limit_text(judgement, verdict)} less what its runs gain"
    return f"Lower the set temperature by {short}, and keep cold water and runs cooler than that"


def _valve_of_outlet(judgement: Judgement, verdict: Verdict) -> object:
    return judgement.context.valve_of_station[int(judgement.cases.outlet_station[verdict.member])]


def moved_station(judgement: Judgement, verdict: Verdict) -> str:
    """LOC-1: to which time or height."""
    if math.isnan(verdict.limit):
        return "Move the station to the level of the hazard, with nothing in the way"
    side = "least" if verdict.value < verdict.limit else "most"
    return f"Move or remount the station, to at {side} {limit_text(judgement, verdict)}"


def source_power(judgement: Judgement, name: str, seconds: float, asked: float) -> str:
    """HOT-5: the input power that makes all hot water of a flush in time; now it takes so many seconds."""
    if not asked > 0:
        return ""  # no power makes it at once
    source = judgement.context.rows["hot_water_sources"][tag_key(name)]
    power = judgement.context.cell("hot_water_sources", source, "input_power") * seconds / asked
    if not np.isfinite(power):
        return ""
    return f"Input power of {quantity_text(power, 'power', judgement.context.units, MOST)} or more"


def source_volume(judgement: Judgement, name: str, seconds: float, asked: float) -> str:
    """HOT-2: the storage that outlasts the flush by the other tank model; minutes grow at least in proportion."""
    source = judgement.context.rows["hot_water_sources"][tag_key(name)]
    volume = judgement.context.cell("hot_water_sources", source, "volume")
    if not seconds > 0 or not volume > 0:
        return ""
    wanted = quantity_text(volume * asked / seconds, "volume", judgement.context.units, MOST)
    return f"Keep the draw data with the schedule, or storage of {wanted} or more"


def heater_for(judgement: Judgement, verdict: Verdict) -> str:
    """HOT-4: the flow or rise that a heater must have in its data."""
    shown = value_text(judgement, verdict)
    if math.isnan(verdict.value):
        return ""
    if verdict.second:
        return f"A heater that lifts by {shown}, or storage"
    if verdict.value < verdict.limit:
        return f"A heater that fires from {shown} or less, or storage"
    return f"A heater for {shown}, or storage"


NUMBERED: dict[str, Callable[[Judgement, Verdict], str]] = {
    "PRS-2": reducing_valve,
    "VEL-1": larger_run,
    "VLV-1": small_flow,
    "VLV-11": controls_from,
    "VLV-3": wider_approach,
    "VLV-5": other_set,
    "VLV-6": stem_inside,
    "HOT-3": larger_storage,
    "HOT-4": heater_for,
    "DLG-2": less_content,
    "DLG-3": less_content,
    "DLG-5": less_content,
    "TMP-1": warmer,
    "TMP-2": cooler,
    "LOC-1": moved_station,
}
