"""A verdict in words: what it is, the number, why it is not known, and what to do about it."""

from __future__ import annotations

import math

import numpy as np

from drenchbook.cell_gaps import first_gap, gap
from drenchbook.check_remedies import remedy_for
from drenchbook.check_samples import NONE, NOT_KNOWN, OUTCOME_WORDS, PASSED
from drenchbook.checks import Judgement, Verdict
from drenchbook.faulted_network import fault_gaps, network_in, why_case_missing
from drenchbook.findings import model_gap
from drenchbook.hot_sources import HEATED, INSTANTANEOUS
from drenchbook.hot_water_words import gap_of_source, why_minutes_unknown
from drenchbook.operating_cases import SET
from drenchbook.quantity_text import quantity_text
from drenchbook.remedy_numbers import changes_over
from drenchbook.solver_results import BEYOND_CURVE, CANNOT_REACH, MISSING, NO_PATH, NOT_CONVERGED, STATE_WORDS
from drenchbook.standing_water import why_heat_on_the_way, why_hot_runs_unknown, why_standing_unknown
from drenchbook.verdict_numbers import limit_text, value_text


def case_text(judgement: Judgement, verdict: Verdict) -> str:
    """The case of a verdict: "L1 + L2: cold season, high supply", or what the finding says."""
    if verdict.opening < 0:
        return verdict.case
    return judgement.context.case_label(verdict.opening, verdict.state, verdict.fault)


def message(judgement: Judgement, verdict: Verdict, station: int = -1) -> str:
    """What a verdict says, in one or two sentences."""
    check = verdict.check
    if verdict.outcome == NONE:
        return "Does not apply."
    if verdict.outcome == NOT_KNOWN:
        why = why_not_known(judgement, verdict, station)
        return _capital(f"{check.what} is not known: {why}").rstrip(".") + "." + _alone(judgement, verdict, station)
    if verdict.outcome == PASSED:
        return _passed(judgement, verdict)
    values = {
        "value": value_text(judgement, verdict),
        "limit": limit_text(judgement, verdict),
        "what": what_of(judgement, verdict) or "It",
    }
    state = _state(judgement, verdict)
    if state in (CANNOT_REACH, NO_PATH):
        values["value"] = f"no water ({STATE_WORDS[state]})"
    elif math.isnan(verdict.value):
        values["value"] = "more than its curve" if state == BEYOND_CURVE else "not known"
    pattern = (
        check.second[1]
        if verdict.second and check.second[1]
        else _pattern(judgement, verdict, state in (CANNOT_REACH, NO_PATH))
    )
    text = _capital(pattern.format(**values)).rstrip(".") + "."
    return text + _alone(judgement, verdict, station)


def _pattern(judgement: Judgement, verdict: Verdict, dry: bool) -> str:
    """The words of a check; a finding without numbers says only what it is about."""
    if dry and verdict.check.percent:
        return "{what} gets {value}"
    if verdict.check.id == "VLV-1" and changes_over(judgement, verdict):
        return "One outlet alone draws {value}; the larger valve at {what} has opened and controls only from {limit}"
    if verdict.check.id == "LOC-1" and math.isnan(verdict.value):
        return "Not on the {what} as the hazard, or something stands in the way"
    return verdict.check.message


def remedy(judgement: Judgement, verdict: Verdict) -> str:
    """What to do about a verdict; nothing where it is met."""
    if verdict.outcome in (PASSED, NONE):
        return ""
    if verdict.outcome == NOT_KNOWN:
        return _REMEDIES_OF_STATES.get(_state(judgement, verdict)) or _remedy_of_unknown(judgement, verdict)
    return remedy_for(judgement, verdict).rstrip(".") + "."


_REMEDIES_OF_STATES = {
    BEYOND_CURVE: "Type more points of that curve, or bring the flow inside them.",
    CANNOT_REACH: "Bring water to the outlets first (FLW-1).",
    NOT_CONVERGED: "Report it with the file; no number is shown.",
}


def _remedy_of_unknown(judgement: Judgement, verdict: Verdict) -> str:
    if "below the minimum flow under control" in why_not_known(judgement, verdict, -1):
        return "Mend VLV-1 first: below that flow nobody can say what the valve delivers."
    return "Fill what is missing; UNKNOWN is never a pass."


def _passed(judgement: Judgement, verdict: Verdict) -> str:
    if math.isnan(verdict.value):
        return "Met."
    value = value_text(judgement, verdict)
    if math.isnan(verdict.limit):
        return f"{value}: met."
    return f"{value}, limit {limit_text(judgement, verdict)}: met."


def _alone(judgement: Judgement, verdict: Verdict, station: int) -> str:
    """What a station is alone, where a set that it belongs to governs."""
    if station < 0 or verdict.opening < 0 or judgement.cases.kind[verdict.opening] != SET:
        return ""
    alone, tag = int(judgement.alone_outcomes[station]), str(judgement.site.stations[station].tag).strip()
    also = " as well" if alone >= verdict.outcome else ""
    return f" {tag} is {OUTCOME_WORDS[alone]} alone{also}."


def what_of(judgement: Judgement, verdict: Verdict) -> str:
    """The outlet, valve, source, run or property that a verdict is about."""
    context, member = judgement.context, verdict.member
    if verdict.opening < 0 or member < 0:
        return verdict.about
    cases = context.cases
    if verdict.pairs is cases.outlets:
        station = context.site.stations[int(cases.outlet_station[member])]
        return f"{cases.outlet_names[member]} of {str(station.tag).strip()}"
    if verdict.pairs is cases.stations and verdict.check.id == "VEL-1":
        return _fastest_run(judgement, verdict)
    for pairs, rows in (
        (cases.valves, context.site.mixing_valves),
        (cases.sources, context.site.hot_water_sources),
        (cases.supplies, context.site.supplies),
        (cases.stations, context.site.stations),
    ):
        if verdict.pairs is pairs:
            return str(rows[member].tag).strip()
    return ""


def _fastest_run(judgement: Judgement, verdict: Verdict) -> str:
    part = judgement.cases.stations.of(verdict.opening)
    place = part.start + judgement.cases.stations.member[part].tolist().index(verdict.member)
    station = judgement.results.fault(verdict.fault).station
    runs = station.velocity_hot_run if verdict.second else station.velocity_cold_run
    run = int(runs[verdict.state, place])
    return f"run {judgement.network.run_tags[run].strip()}" if run >= 0 else "its runs"


def _state(judgement: Judgement, verdict: Verdict) -> int:
    if verdict.opening < 0 or verdict.state < 0:
        return 0
    return int(judgement.results.fault(verdict.fault).state[verdict.state, verdict.opening])


def _why_case_missing(judgement: Judgement, verdict: Verdict) -> tuple[str, ...]:
    network, key = judgement.network, ("gaps", verdict.fault)
    if key not in judgement.remembered:
        judgement.remembered[key] = fault_gaps(network, verdict.fault)
    return why_case_missing(network, judgement.cases, verdict.fault, judgement.remembered[key], verdict.opening)


def _curve_names(judgement: Judgement, fault: str) -> tuple[str, ...]:
    """The names of the curves of a fault: fouled strainers and other demand bring curves of their own."""
    key = ("curve names", fault)
    if key not in judgement.remembered:
        judgement.remembered[key] = network_in(judgement.network, fault).curve_names
    names: tuple[str, ...] = judgement.remembered[key]
    return names


def why_not_known(judgement: Judgement, verdict: Verdict, station: int) -> str:
    """The reason of an UNKNOWN: the limit, the input, the state of the case, or a valve below its control."""
    context = judgement.context
    if verdict.opening < 0:
        return verdict.about or "a number that it needs is blank"
    rows = [context.limit(name) for name in verdict.check.limits]
    needed = [row.why_missing for row in rows if row.value is None and _limit_applies(judgement, verdict, row.id)]
    if needed:
        return needed[0]
    state = _state(judgement, verdict)
    if state == MISSING:
        members = context.stations_of(verdict.opening)
        sentences = [text for member in members for text in context.network.missing[member]]
        sentences = [text for member in members for text in judgement.measures.missing.of(member)] if sentences else [
            *_why_case_missing(judgement, verdict)]  # fmt: skip
        return sentences[0] if sentences else "an input is missing"
    if state == BEYOND_CURVE:
        beyond = int(judgement.results.fault(verdict.fault).beyond_item[verdict.state, verdict.opening])
        name = _curve_names(judgement, verdict.fault)[beyond] if beyond >= 0 else "a curve"
        return f"the flow lies beyond the points of {name}, which are not drawn on"
    if state in (CANNOT_REACH, NO_PATH, NOT_CONVERGED):
        return STATE_WORDS[state]
    return _valve_or_data(judgement, verdict)


def _limit_applies(judgement: Judgement, verdict: Verdict, limit: str) -> bool:
    """Whether a limit belongs to the outlet that was measured; limits of a flow are by kind."""
    if limit.startswith("FLW-1 ") and verdict.pairs is judgement.cases.outlets:
        return limit == f"FLW-1 {judgement.context.outlets[verdict.member].kind}"
    return True


def _valve_or_data(judgement: Judgement, verdict: Verdict) -> str:
    context = judgement.context
    results, check = judgement.results.normal.valve, verdict.check.id
    if verdict.pairs is context.cases.supplies:
        return _blank_of_supply(judgement, verdict.member)
    if check in ("DRN-1", "PRS-4"):
        return _blank_of_station(judgement, verdict)
    if verdict.pairs is context.cases.valves:
        if check == "DLG-4" and (why := _why_hot_run_unknown(judgement, verdict.member)):
            return why
        return _blank_of_model(judgement, verdict)
    if check in ("DLG-1", "DLG-3"):
        return why_standing_unknown(context, verdict.member) or "a number that it needs is blank"
    if check in ("DLG-2", "DLG-5") and (why := _why_first_minutes_unknown(judgement, verdict.member)):
        return why
    for place in range(*_bounds(judgement, verdict.opening)):
        number = int(context.cases.valves.member[place])
        if not results.under_control[verdict.state, place]:
            tag = str(context.site.mixing_valves[number].tag).strip()
            if math.isnan(context.network.valve_minimum_flow[number]):
                model = context.model_of(context.site.mixing_valves[number])
                return model_gap(context.site.mixing_valves[number], model, "minimum_flow")
            passing = float(results.flow[verdict.state, place])
            flow = quantity_text(passing, "flow", context.units)
            if passing >= context.network.valve_minimum_flow[number]:
                own = quantity_text(passing - float(context.network.valve_gap_from[number]), "flow", context.units)
                return f"of {flow} the larger valve at {tag} passes {own}, below the minimum flow under control of it"
            return f"{flow} is below the minimum flow under control of valve {tag}"
    if verdict.pairs is context.cases.sources:
        return _why_minutes_unknown(judgement, verdict.member)
    if check in ("TMP-1", "TMP-2"):
        for number in judgement.cases.sources.member[judgement.cases.sources.of(verdict.opening)]:
            source = judgement.site.hot_water_sources[int(number)]
            if source.kind in HEATED and (why := gap_of_source(source)):
                return why
        station = int(context.cases.outlet_station[verdict.member])
        return why_heat_on_the_way(context, station) or "limit TMP least is not below TMP greatest"
    return "a number that it needs is blank"


_MODEL_CELLS = {
    "VLV-1": "minimum_flow", "VLV-11": "minimum_flow", "VLV-2": "maximum_flow", "VLV-4": "maximum_pressure_ratio",
    "BYP-5": "bypass_opening",
}  # fmt: skip


def _blank_of_model(judgement: Judgement, verdict: Verdict) -> str:
    """Which cell of the valve's data sheet is missing."""
    context = judgement.context
    valve = context.site.mixing_valves[verdict.member]
    if verdict.check.id == "BYP-5" and valve.parallel_bypass is not True:
        return gap("mixing_valves", valve, "parallel_bypass")
    model, cell = context.model_of(valve), _MODEL_CELLS.get(verdict.check.id, "")
    if verdict.check.id == "VLV-4" and model is not None and isinstance(model.maximum_pressure_ratio, float):
        cell = "maximum_pressure_difference"
    unknown = f"the data of valve {str(valve.tag).strip()} is not known"
    return gap("valve_models", model, cell) or unknown if model is not None and cell else unknown


def _blank_of_station(judgement: Judgement, verdict: Verdict) -> str:
    """Which number of a station, or which rating on its path, is missing."""
    context, number = judgement.context, verdict.member
    station = context.site.stations[number]
    if verdict.check.id == "DRN-1":
        return gap("stations", station, "drain")
    outlets = [model for model in map(context.model_of_outlet, context.outlets_of[number]) if model is not None]
    for model in outlets:
        if why := gap("outlet_models", model, "maximum_pressure"):
            return why
    for valve in context.depends_on(number, "mixing_valves"):
        if why := model_gap(valve, context.model_of(valve), "maximum_pressure"):
            return why
    for model in outlets:
        if math.isnan(judgement.measures.surge_paths.closing_time[number]) and (
            why := gap("outlet_models", model, "closing_time")
        ):
            return why
    return next(iter(judgement.measures.missing.of(number)), "a number of its path is blank")


def _blank_of_supply(judgement: Judgement, number: int) -> str:
    """Which number the minutes of a supply wait for."""
    supply = judgement.site.supplies[number]
    return first_gap("supplies", supply, ("other_demand", "volume")) or "a number of its path is blank"


def _why_first_minutes_unknown(judgement: Judgement, station: int) -> str:
    """Which run or heater hides what comes first at a station; "" where it is the valve."""
    context = judgement.context
    valve = context.valve_of_station[station]
    source = context.source_of(valve)
    why = why_standing_unknown(context, station) or why_hot_runs_unknown(context, station)
    if not why and source is not None and source.kind in INSTANTANEOUS and not isinstance(source.start_delay, float):
        why = gap("hot_water_sources", source, "start_delay")
    return why


def _why_hot_run_unknown(judgement: Judgement, valve: int) -> str:
    """What hides whether the water that stood in the hot runs of a valve is warm enough; "" where it is its model."""
    if why := gap("mixing_valves", judgement.site.mixing_valves[valve], "set_temperature"):
        return why
    behind = np.flatnonzero(judgement.network.station_valve == valve)
    return why_hot_runs_unknown(judgement.context, int(behind[0])) if len(behind) else ""


def _why_minutes_unknown(judgement: Judgement, number: int) -> str:
    """Which cell of a source the minutes wait for."""
    if why := why_minutes_unknown(judgement, number):
        return why
    source = judgement.site.hot_water_sources[number]
    tag = str(source.tag).strip()
    if source.kind != "storage":
        return f"a temperature of {tag} is not that of hot water"
    return f"the start temperature of {tag} is not above the cold water"


def _bounds(judgement: Judgement, opening: int) -> tuple[int, int]:
    part = judgement.cases.valves.of(opening)
    return part.start, part.stop


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
