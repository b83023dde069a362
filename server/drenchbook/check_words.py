"""A verdict in words: what it is, the number, why it is not known, and what to do about it."""

from __future__ import annotations

import math

from drenchbook.check_remedies import remedy_for
from drenchbook.check_samples import NONE, NOT_KNOWN, OUTCOME_WORDS, PASSED
from drenchbook.checks import Judgement, Verdict
from drenchbook.operating_cases import SET
from drenchbook.quantity_text import percent_text, quantity_text
from drenchbook.solver_results import BEYOND_CURVE, CANNOT_REACH, MISSING, NO_PATH, NOT_CONVERGED, STATE_WORDS


def case_text(judgement: Judgement, verdict: Verdict) -> str:
    """The case of a verdict: "L1 + L2: cold season, high supply", or what the finding says."""
    if verdict.opening < 0:
        return verdict.case
    return judgement.context.case_label(verdict.opening, verdict.state, verdict.fault)


def number_text(judgement: Judgement, verdict: Verdict, value: float, toward: str) -> str:
    """The value or the limit of a verdict with its unit."""
    if verdict.check.percent:
        return percent_text(value)
    return quantity_text(value, verdict.quantity or verdict.check.quantity, judgement.context.units, toward)


def message(judgement: Judgement, verdict: Verdict, station: int = -1) -> str:
    """What a verdict says, in one or two sentences."""
    check = verdict.check
    if verdict.outcome == NONE:
        return "does not apply"
    if verdict.outcome == NOT_KNOWN:
        return _capital(f"{check.what} is not known: {why_not_known(judgement, verdict, station)}")
    if verdict.outcome == PASSED:
        return _passed(judgement, verdict)
    values = {
        "value": number_text(judgement, verdict, verdict.value, check.toward),
        "limit": number_text(judgement, verdict, verdict.limit, check.toward),
        "what": what_of(judgement, verdict) or "It",
    }
    if verdict.opening >= 0 and _state(judgement, verdict) in (CANNOT_REACH, NO_PATH):
        values["value"] = "no water (" + STATE_WORDS[_state(judgement, verdict)] + ")"
    text = _capital(check.message.format(**values)).rstrip(".") + "."
    return text + _others(judgement, verdict, station)


def remedy(judgement: Judgement, verdict: Verdict) -> str:
    """What to do about a verdict; nothing where it is met."""
    if verdict.outcome in (PASSED, NONE):
        return ""
    if verdict.outcome == NOT_KNOWN:
        return "Fill what is missing; UNKNOWN is never a pass."
    return remedy_for(judgement, verdict).rstrip(".") + "."


def _passed(judgement: Judgement, verdict: Verdict) -> str:
    if math.isnan(verdict.value):
        return "met"
    value = number_text(judgement, verdict, verdict.value, verdict.check.toward)
    if math.isnan(verdict.limit):
        return f"{value}: met"
    return f"{value}, limit {number_text(judgement, verdict, verdict.limit, verdict.check.toward)}: met"


def _others(judgement: Judgement, verdict: Verdict, station: int) -> str:
    """Whether a station that fails with another would be better alone."""
    if station < 0 or verdict.opening < 0 or judgement.cases.kind[verdict.opening] != SET:
        return ""
    alone = int(judgement.alone_outcomes[station])
    tag = judgement.site.stations[station].tag
    if alone < verdict.outcome:
        return f" {tag} is {OUTCOME_WORDS[alone]} alone."
    return ""


def what_of(judgement: Judgement, verdict: Verdict) -> str:
    """The outlet, valve, source or property that a verdict is about."""
    context, member = judgement.context, verdict.member
    if verdict.opening < 0 or member < 0:
        return verdict.about
    pairs = verdict.check.cases(judgement.measures).pairs if verdict.check.cases else None
    if pairs is context.cases.outlets:
        station = context.site.stations[int(context.cases.outlet_station[member])]
        return f"{context.cases.outlet_names[member]} of {str(station.tag).strip()}"
    names = {
        id(context.cases.valves): context.site.mixing_valves,
        id(context.cases.sources): context.site.hot_water_sources,
        id(context.cases.supplies): context.site.supplies,
        id(context.cases.stations): context.site.stations,
    }.get(id(pairs), ())
    return str(names[member].tag).strip() if member < len(names) else ""


def _state(judgement: Judgement, verdict: Verdict) -> int:
    if verdict.opening < 0 or verdict.state < 0:
        return 0
    return int(judgement.results.fault(verdict.fault).state[verdict.state, verdict.opening])


def why_not_known(judgement: Judgement, verdict: Verdict, station: int) -> str:
    """The reason of an UNKNOWN: the limit, the input, the state of the case, or a valve below its control."""
    context = judgement.context
    if verdict.about and verdict.opening < 0:
        return verdict.about
    limits = [context.limit(name) for name in verdict.check.limits]
    needed = [row.why_missing for row in limits if row.value is None and _limit_applies(judgement, verdict, row.id)]
    if needed:
        return needed[0]
    state = _state(judgement, verdict)
    if state == MISSING:
        members = context.stations_of(verdict.opening)
        sentences = [text for member in members for text in judgement.measures.missing_inputs(member)]
        return sentences[0] if sentences else "an input is missing"
    if state == BEYOND_CURVE:
        beyond = int(judgement.results.fault(verdict.fault).beyond_item[verdict.state, verdict.opening])
        name = context.network.curve_names[beyond] if beyond >= 0 else "a curve"
        return f"the flow lies beyond the points of {name}, which are not drawn on"
    if state in (CANNOT_REACH, NO_PATH, NOT_CONVERGED):
        return STATE_WORDS[state]
    return _valve_or_data(judgement, verdict)


def _limit_applies(judgement: Judgement, verdict: Verdict, limit: str) -> bool:
    """Whether a limit belongs to the outlet that was measured; limits of a flow are by kind."""
    if limit.startswith("FLW-1 ") and verdict.member >= 0:
        kinds = judgement.context.outlets
        return verdict.member < len(kinds) and limit == f"FLW-1 {kinds[verdict.member].kind}"
    return True


def _valve_or_data(judgement: Judgement, verdict: Verdict) -> str:
    context = judgement.context
    results = judgement.results.normal.valve
    for place in range(*_bounds(judgement, verdict.opening)):
        valve = context.site.mixing_valves[int(context.cases.valves.member[place])]
        if not results.under_control[verdict.state, place]:
            flow = quantity_text(float(results.flow[verdict.state, place]), "flow", context.units, "most")
            return f"{flow} is below the minimum flow under control of valve {str(valve.tag).strip()}"
    if verdict.check.id.startswith("HOT") and verdict.member >= 0:
        source = context.site.hot_water_sources[verdict.member]
        if source.kind not in ("storage", "plant main"):
            return f"minutes of a source of kind {source.kind} are not computed"
        return f"a number of {str(source.tag).strip()} that the minutes need is blank"
    if verdict.check.id == "DLG-2":
        return "the temperature of the water that stood in its runs is not known (room, air, ground or sun)"
    return "a number that it needs is blank"


def _bounds(judgement: Judgement, opening: int) -> tuple[int, int]:
    part = judgement.cases.valves.of(opening)
    return part.start, part.stop


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
