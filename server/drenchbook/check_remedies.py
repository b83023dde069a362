"""Remedies with numbers: how much storage, which set temperature, how much pressure, where the path loses most."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np

from drenchbook.bypass_sizing import bypass_that_would_do
from drenchbook.cell_gaps import gap
from drenchbook.check_context import Outlet
from drenchbook.check_samples import FAILED, SLACK
from drenchbook.checks import Judgement, Verdict
from drenchbook.hot_sources import valve_numbers
from drenchbook.idle_remedies import held_lower, hot_run, idle_frost, longer_to_freezing, loop_flow
from drenchbook.physics.mixing import mixed_temperature
from drenchbook.physics.water import density
from drenchbook.pressure_remedies import booster, largest_loss
from drenchbook.quantity_text import MOST, quantity_text, rounded
from drenchbook.remedy_numbers import NUMBERED, heater_first
from drenchbook.solver_results import NO_PATH
from drenchbook.units import from_si, unit_of
from drenchbook.verdict_numbers import limit_text, value_text


def remedy_for(judgement: Judgement, verdict: Verdict) -> str:
    """What to do about a missed verdict: with numbers where they can be worked out, else the words of its row."""
    if verdict.check.id == "FLW-2" and _no_way(judgement, verdict):
        return "Bring water to the outlets first (BYP-1): no way is open to it in that case"
    special = _SPECIAL.get(verdict.check.id) or NUMBERED.get(verdict.check.id)
    return (special(judgement, verdict) if special else "") or words_of_row(judgement, verdict)


def _no_way(judgement: Judgement, verdict: Verdict) -> bool:
    """Whether a valve without a bypass lets nothing pass in the case of a verdict."""
    if verdict.opening < 0 or verdict.state < 0:
        return False
    return bool(judgement.results.fault(verdict.fault).state[verdict.state, verdict.opening] == NO_PATH)


def words_of_row(judgement: Judgement, verdict: Verdict) -> str:
    """The remedy of a check's row with its numbers."""
    value = "what is needed" if math.isnan(verdict.value) else value_text(judgement, verdict)
    limit = "the limit" if math.isnan(verdict.limit) else limit_text(judgement, verdict)
    return verdict.check.remedy.format(value=value, limit=limit)


def _text(judgement: Judgement, value: float, quantity: str, toward: str = "most") -> str:
    return quantity_text(value, quantity, judgement.context.units, toward)


def _bypass(judgement: Judgement, verdict: Verdict) -> str:
    """The bypass coefficient that would do, or that none does and where the path loses most."""
    place = largest_loss(judgement, verdict)
    if verdict.opening < 0 or verdict.member < 0:
        return ""
    station = int(judgement.cases.outlet_station[verdict.member])
    valve = judgement.context.valve_of_station[station]
    pairs = judgement.cases.stations
    openings = np.append(pairs.opening[pairs.member == station], verdict.opening)
    found = _bypasses(judgement, verdict.check.id, verdict.fault)
    answers = np.array([found[int(opening)] for opening in openings if int(opening) in found])
    if valve is None or np.isnan(answers).any():
        return f"No bypass alone is enough: pressure or pipe governs. {place}" if place else ""
    fitted = "A" if valve.parallel_bypass is True else "Fit a parallel bypass: a"
    wanted = _text(judgement, float(answers.max()), "flow coefficient")
    words = f"{fitted} bypass of {wanted} or more at {str(valve.tag).strip()}"
    return f"{words}; or {_small(place)}" if place else words


def _bypasses(judgement: Judgement, check: str, fault: str) -> dict[int, float]:
    """For every opening that fails a check the bypass coefficient that would do; all are searched together."""
    key = ("bypasses", check)
    if key not in judgement.remembered:
        openings = np.flatnonzero(judgement.openings[check].outcome == FAILED)
        found = bypass_that_would_do(judgement, fault, openings).tolist()
        judgement.remembered[key] = dict(zip(openings.tolist(), found, strict=True))
    answer: dict[int, float] = judgement.remembered[key]
    return answer


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _storage(judgement: Judgement, verdict: Verdict) -> str:
    """The storage, or the set temperature, that would give the minutes asked for."""
    hot, context, cases = judgement.measures.hot_water, judgement.context, judgement.cases
    source = context.site.hot_water_sources[verdict.member]
    if isinstance(source.kind, str) and source.kind != "storage":
        return heater_first(judgement, verdict)
    part = cases.sources.of(verdict.opening)
    place = part.start + int(np.flatnonzero(cases.sources.member[part] == verdict.member)[0])
    state, governs = verdict.state, hot.governs[verdict.member]
    short = float(hot.needed[state, place] - hot.there[state, place])
    if governs not in ("stratified", "mixed") or not short > 0:
        return ""
    words = []
    usable = context.cell("hot_water_sources", source, "usable_fraction") if governs == "stratified" else float("nan")
    if governs == "mixed":
        usable = _share_above_lowest(judgement, verdict, source)
    if verdict.value == 0:  # every draw is as short as can be: what the greatest of them needs
        pairs = cases.sources.member == verdict.member
        short = float(np.nanmax((hot.needed - hot.there)[:, pairs]))
    if usable > 0:
        words.append(f"{_text(judgement, short / usable, 'volume')} more storage")
    beside = float(hot.hot_flow[state, place] - judgement.results.normal.source_hot_flow[state, place])  # others, loops
    lower = _lower_set(judgement, verdict, float(hot.there[state, place]) / verdict.limit - beside)
    if lower and governs == "stratified":
        words.append(f"set {lower}")
    regulated = [o for o in _open_outlets(judgement, verdict.opening) if o.kind == "shower" and not o.regulated]
    if regulated:
        words.append("a flow-regulated shower instead of an orifice")
    return (words[0] + (", or " + ", or ".join(words[1:]) if len(words) > 1 else "")) if words else ""


def _share_above_lowest(judgement: Judgement, verdict: Verdict, source: Any) -> float:
    """The share of a mixed tank's heat that stands above the lowest temperature which serves every open valve."""
    context, valves = judgement.context, judgement.cases.valves
    open_valves = valves.member[valves.of(verdict.opening)]
    behind = open_valves[judgement.network.valve_source[open_valves] == verdict.member]
    lowest = float(valve_numbers(context)[1][behind].max())
    start, cold = context.source_temperature(source), context.cold_temperature(context.season(verdict.state))
    return (start - lowest) / (start - cold) if start > cold else math.nan


def _open_outlets(judgement: Judgement, opening: int) -> list[Outlet]:
    part = judgement.cases.outlets.of(opening)
    return [judgement.context.outlets[int(member)] for member in judgement.cases.outlets.member[part]]


def _lower_set(judgement: Judgement, verdict: Verdict, hot_flow: float) -> str:
    """The set temperature at which that hot flow would do for the same outlets; "" where it would leave the limits."""
    context, cases = judgement.context, judgement.cases
    part = cases.valves.of(verdict.opening)
    if part.stop - part.start != 1:
        return ""  # several valves share the source: one set temperature cannot be named
    if not hot_flow > 0:
        return ""  # others draw it all
    valve = context.site.mixing_valves[int(cases.valves.member[part.start])]
    results = judgement.results.normal.valve
    hot_temperature = context.source_temperature(context.source_of(valve))
    cold_temperature = context.cold_temperature(context.season(verdict.state))
    total_mass = float(
        results.hot_flow[verdict.state, part.start] * density(hot_temperature)
        + results.cold_flow[verdict.state, part.start] * density(cold_temperature)
    )
    cold_flow = (total_mass - hot_flow * density(hot_temperature)) / density(cold_temperature)
    reached = float(mixed_temperature(hot_flow, hot_temperature, cold_flow, cold_temperature))
    model = context.model_of(valve)
    least = context.limit("TMP least").value
    tolerance = context.cell("valve_models", model, "tolerance")
    lowest = context.cell("valve_models", model, "set_minimum")
    if least is None or math.isnan(tolerance) or math.isnan(lowest):
        return ""
    unit = unit_of("temperature", context.units)
    bound = from_si(max(least + tolerance, lowest), unit)
    if rounded(from_si(reached, unit), 0) < bound - SLACK:
        return ""
    return _text(judgement, reached, "temperature", "least")


def _supply_volume(judgement: Judgement, verdict: Verdict) -> str:
    """The volume at which a supply outlasts the flush."""
    volume = judgement.context.cell("supplies", judgement.site.supplies[verdict.member], "volume")
    if not volume > 0 or not verdict.value > 0:
        return ""
    wanted = _text(judgement, volume * verdict.limit / verdict.value, "volume")
    return f"A volume of {wanted} or more, or flow-regulated outlets"


def _fouled(judgement: Judgement, verdict: Verdict) -> str:
    """Cleaning, and where the path loses most."""
    place = largest_loss(judgement, verdict)
    return f"{words_of_row(judgement, verdict)}. {place}" if place else ""


def _slow_closing(judgement: Judgement, verdict: Verdict) -> str:
    """The closing time at which the surge stays inside the weakest rating."""
    measures, pairs = judgement.measures, judgement.cases.stations
    part = pairs.of(verdict.opening)
    station = int(verdict.member)
    place = part.start + pairs.member[part].tolist().index(station)
    spare = float(measures.weakest[1][station] - measures.weakest[0][station])
    speed = float(np.maximum(*measures.speeds())[verdict.state, place])
    if not spare > 0 or math.isnan(speed):
        return ""
    seconds = 2 * measures.surge_paths.density * float(measures.surge_paths.length[station]) * speed / spare
    words = f"Outlets that close in {rounded(seconds, 1, MOST):.1f} s or more, or a surge arrester and larger pipe"
    context = judgement.context
    outlets = judgement.cases.outlets.member[judgement.cases.outlets.of(verdict.opening)].tolist()
    models = {id(row): row for row in map(context.model_of_outlet, outlets) if row is not None}
    blank = [why for row in models.values() if (why := gap("outlet_models", row, "closing_time"))]
    more = f" (and {len(blank) - 1} more)" if len(blank) > 1 else ""
    return f"{words}. {blank[0]}{more}, and counts as closing at once: type it" if blank else words


_SPECIAL: dict[str, Callable[[Judgement, Verdict], str]] = {
    "FLW-1": largest_loss,
    "PRS-1": largest_loss,
    "FLW-2": largest_loss,
    "STR-1": _fouled,
    "BYP-1": _bypass,
    "BYP-2": _bypass,
    "PRS-3": booster,
    "PRS-4": _slow_closing,
    "SUP-2": _supply_volume,
    "HOT-1": _storage,
    "DLG-1": held_lower,
    "DLG-4": hot_run,
    "FRZ-1": idle_frost,
    "FRZ-2": longer_to_freezing,
    "LOP-1": loop_flow,
}
