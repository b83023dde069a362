"""Every remedy is applied to its site and solved again until the check is met: what a remedy says is worth doing.

A remedy with a number is applied with that number, in one round unless written otherwise. One that names the run which
takes most pressure may take several rounds, as at a desk: the next size, solved again, and what is said then.
"""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable
from datetime import date

import pytest

from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, NOTED, OUTCOME_WORDS, PASSED, WARNED
from drenchbook.check_table import CHECKS
from drenchbook.published.pipes import sizes
from drenchbook.site_model import Site
from tests.checks.sites import BLANKED, added, edited, heater, lab, laboratory, limited, only
from tests.checks.test_every_check import MODEL, direct, frosty, looped, no_sample, outcome_and_words, own_hot_main

MODELS, TANK, SUPPLY = ("valve_models", MODEL), ("hot_water_sources", "WH-1"), ("supplies", "SUP-1")
MET = (PASSED, NOTED, NONE)


@dataclasses.dataclass(frozen=True)
class Remedy:
    """A site that misses a check, and what its remedy does to the site."""

    check: str
    site: Callable[[], Site]
    where: str
    apply: Callable[[Site, str], Site]
    rounds: int = 1


def number(words: str, before: str) -> float:
    """The number that follows some words of a remedy."""
    found = re.search(before + r" (-?[\d,]+(?:\.\d+)?)", words)
    assert found, words
    return float(found.group(1).replace(",", ""))


def cell(site: Site, table: str, tag: str, column: str) -> float:
    key = {"valve_models": "model", "outlet_models": "model"}.get(table, "tag")
    (row,) = [row for row in getattr(site, table) if str(getattr(row, key)) == tag]
    return getattr(row, column)


def typed(table: str, tag: str, column: str, before: str) -> Callable[[Site, str], Site]:
    """Types the number of the remedy into a cell."""
    return lambda site, words: edited(site, table, tag, **{column: number(words, before)})


def moved(table: str, tag: str, column: str, before: str, sign: float = 1.0) -> Callable[[Site, str], Site]:
    """Moves a cell by the number of the remedy."""
    return lambda site, words: edited(
        site, table, tag, **{column: cell(site, table, tag, column) + sign * number(words, before)}
    )


def data(table: str, tag: str, **cells: object) -> Callable[[Site, str], Site]:
    """Types what a remedy without a number asks for."""
    return lambda site, words: edited(site, table, tag, **cells)


def boosted(site: Site, head: float) -> Site:
    row = {
        name: cell(site, *SUPPLY, name) + head
        for name in ("static_low", "residual_low", "static_high", "residual_high")
    }
    return edited(site, *SUPPLY, **row)


def more_pressure(site: Site, words: str) -> Site:
    """What FLW-1 and its kind say beside larger pipe: the pressure that is enough as the pipes are."""
    found = re.search(r"([\d.]+) psi more pressure is enough", words)
    assert found, words
    return boosted(site, float(found.group(1)))


def larger_pipe(site: Site, words: str) -> Site:
    """The next size of the run that takes most."""
    found = re.search(r"arger pipe where the path loses most: (\S+) takes", words)
    assert found, words
    tag, names = found.group(1), sizes("copper L")
    size = str(cell(site, "pipe_runs", tag, "size"))
    return edited(site, "pipe_runs", tag, size=names[names.index(size) + 1])


def bypass_or_pressure(site: Site, words: str) -> Site:
    if "A bypass of" in words:
        return edited(site, *MODELS, bypass_coefficient=number(words, "A bypass of"))
    return more_pressure(site, words) if "more pressure" in words else larger_pipe(site, words)


def in_size(site: Site, words: str) -> Site:
    tag, size = re.match(r"Run (\S+) in (\S+) or larger", words).groups()
    return edited(site, "pipe_runs", tag, size=size)


def at_most_times_required(model: str, required: float) -> Callable[[Site, str], Site]:
    return lambda site, words: edited(
        site, "outlet_models", model, type="flow-regulated", rated_flow=required * number(words, "at most")
    )


def shortened(*runs: str) -> Callable[[Site, str], Site]:
    def apply(site: Site, words: str) -> Site:
        part = number(words, "of at most") / 100
        for run in runs:
            site = edited(
                site, "pipe_runs", run, developed_length=part * cell(site, "pipe_runs", run, "developed_length")
            )
        return site

    return apply


def with_reducing_valve(site: Site, words: str) -> Site:
    """At the head of the common run: its setting is the static pressure there less what it must take off."""
    setting = cell(site, *SUPPLY, "static_high") - number(words, "takes off")
    device = {"tag": "PRV-1", "kind": "pressure-reducing valve", "loss_per_flow_squared": 0.0, "setting": setting}
    site = added(site, "line_devices", **device)
    first = next(row for row in site.pipe_runs if row.fed_from == "SUP-1")
    return edited(site, "pipe_runs", first.tag, devices=(*(first.devices or ()), "PRV-1"))


def held(site: Site, words: str, *runs: str, temperature: float) -> Site:
    """Held runs, or a hot run that circulates."""
    assert "hold" in words or "Circulate" in words, words
    for run in runs:
        site = edited(site, "pipe_runs", run, held_temperature=temperature)
    return site


def second_station(site: Site, words: str) -> Site:
    first = next(row for row in site.stations if row.tag == "L1")
    return site.model_copy(update={"stations": (*site.stations, first.model_copy(update={"tag": "L6"}))})


REMEDIES = (
    Remedy("FLW-1", laboratory, "L4", more_pressure),
    Remedy("FLW-1", lambda: lab("pipe_runs", "TR-L5", size="3/4"), "L5", larger_pipe, rounds=3),
    Remedy("FLW-2", laboratory, "L5", more_pressure),
    Remedy("FLW-4", lambda: lab("outlet_models", "EW-REG05", rated_flow=0.7), "L3",
           at_most_times_required("EW-REG05", 0.4)),
    Remedy("FLW-3", laboratory, "L1", at_most_times_required("SH-ORIFICE", 20.0)),
    Remedy("PRS-1", laboratory, "L4", more_pressure),
    Remedy("PRS-2", lambda: lab(*SUPPLY, static_high=85.0), "L1", with_reducing_valve),
    Remedy("PRS-3", laboratory, "L4", lambda site, words: boosted(site, number(words, "booster of"))),
    Remedy("PRS-4", lambda: lab("outlet_models", "*", closing_time=None), "L4",
           lambda site, words: edited(site, "outlet_models", "*", closing_time=number(words, "close in"))),
    Remedy("VEL-1", lambda: lab("pipe_runs", "TR-L5", size="1"), "L5", in_size),
    Remedy("VEL-1", lambda: lab("pipe_runs", "HW-1", size="3/4"), "L5", in_size, rounds=2),
    Remedy("SUP-1", lambda: lab(*SUPPLY, test_flow_high=20.0, residual_high=78.0), "SUP-1",
           lambda site, words: edited(site, *SUPPLY, test_flow_high=number(words, "Test at"), residual_high=76.0)),
    Remedy("SUP-2", lambda: lab(*SUPPLY, volume=400.0), "L1", typed(*SUPPLY, "volume", "A volume of")),
    Remedy("VLV-1", laboratory, "L3", typed(*MODELS, "minimum_flow", "controls from")),
    Remedy("VLV-11", laboratory, "L1", typed(*MODELS, "minimum_flow", "controls from")),
    Remedy("VLV-2", lambda: lab(*MODELS, maximum_flow=20.0), "L5", typed(*MODELS, "maximum_flow", "data reach")),
    Remedy("VLV-3", lambda: lab(*TANK, start_temperature=100.0), "L1", moved(*TANK, "start_temperature", "hotter by")),
    Remedy("VLV-3", lambda: lab("project", "", cold_water_warm=82.0), "L1",
           moved("mixing_valves", "MV-1", "set_temperature", "higher by")),
    Remedy("VLV-4", lambda: lab(*MODELS, maximum_pressure_ratio=1.001), "L4",
           typed(*MODELS, "maximum_pressure_ratio", "valve that takes")),
    Remedy("VLV-4", lambda: lab(*MODELS, maximum_pressure_difference=0.5), "L4",
           typed(*MODELS, "maximum_pressure_difference", "valve that takes")),
    Remedy("VLV-5", lambda: lab(*MODELS, tolerance=20.0), "L1",
           moved("mixing_valves", "MV-1", "set_temperature", "Lower the set temperature by", -1.0)),
    Remedy("VLV-5", lambda: lab("mixing_valves", "MV-1", set_temperature=63.0), "L1",
           moved("mixing_valves", "MV-1", "set_temperature", "Raise the set temperature by")),
    Remedy("VLV-6", lambda: limited(laboratory(), "VLV-6 least", 0.22), "L1",
           typed(*TANK, "start_temperature", "at most"), rounds=3),
    Remedy("VLV-7", lambda: lab(*MODELS, listing=None), "L1", data(*MODELS, listing="LISTED")),
    Remedy("VLV-10", lambda: lab(*MODELS, lead_free=False), "L1", data(*MODELS, lead_free=True)),
    Remedy("VLV-8", lambda: lab(*MODELS, hot_minimum=135.0), "L1", typed(*MODELS, "hot_minimum", "rated for")),
    Remedy("VLV-8", lambda: lab(*MODELS, maximum_pressure=70.0), "L1", typed(*MODELS, "maximum_pressure", "rated for")),
    Remedy("VLV-9", lambda: lab("mixing_valves", "MV-1", strainers=False), "L1",
           data("mixing_valves", "MV-1", strainers=True)),
    Remedy("BYP-1", laboratory, "L4", bypass_or_pressure, rounds=4),
    Remedy("BYP-2", laboratory, "L4", bypass_or_pressure, rounds=2),
    Remedy("BYP-3", lambda: lab(*MODELS, leakage=0.6), "L1", typed(*MODELS, "leakage", "with at most")),
    Remedy("BYP-3", lambda: lab(*MODELS, shutoff_time=5.2), "L1", typed(*MODELS, "shutoff_time", "with at most")),
    Remedy("BYP-4", laboratory, "MV-1", lambda site, words: own_hot_main()),
    Remedy("BYP-5", lambda: lab(*MODELS, bypass_opening=3.0), "L5", typed(*MODELS, "bypass_opening", "opens at")),
    Remedy("HOT-1", laboratory, "L1",
           lambda site, words: edited(site, *TANK, volume=200.0 + float(re.match(r"(\d+) gal more", words).group(1)))),
    Remedy("HOT-2", laboratory, "WH-1", typed(*TANK, "volume", "storage of")),
    Remedy("HOT-3", laboratory, "L5", typed(*TANK, "volume", "Storage of")),
    Remedy("HOT-5", lambda: lab("project", "", recovery_time=1.0), "WH-1",
           typed(*TANK, "input_power", "Input power of")),
    Remedy("HOT-6", lambda: lab(*TANK, set_temperature=135.0), "WH-1", typed(*TANK, "set_temperature", "Raise it to")),
    Remedy("TMP-1", lambda: lab("stations", "L2", fed_from="CW-1"), "L2", data("stations", "L2", fed_from="TR-L2")),
    Remedy("TMP-1", lambda: limited(laboratory(), "TMP least", 86.0), "L2",
           moved("mixing_valves", "MV-1", "set_temperature", "set temperature by"), rounds=2),
    Remedy("TMP-2", lambda: direct(cold_water_warm=101.0), "L3",
           lambda site, words: edited(site, "project", "", cold_water_warm=number(words, "to"))),
    Remedy("DLG-2", lambda: only(lab("project", "", room_cold=50.0), "L1"), "L1", shortened("TR-A", "TR-L1", "HW-1")),
    Remedy("DLG-3", laboratory, "L3", shortened("TR-A", "TR-B", "TR-L3")),
    Remedy("DLG-1", lambda: only(lab("project", "", room_warm=105.0), "L1"), "L1",
           lambda site, words: held(site, words, "TR-A", "TR-L1", temperature=85.0)),
    Remedy("DLG-4", laboratory, "L1", lambda site, words: held(site, words, "HW-1", temperature=130.0)),
    Remedy("DLG-5", lambda: only(lab("project", "", room_cold=50.0), "L1"), "L1", shortened("TR-A", "TR-L1", "HW-1")),
    Remedy("HOT-4", lambda: heater(input_power=3e5, efficiency=0.8), "L5",
           lambda site, words: edited(site, *TANK, input_power=3e5 * number(words, "A heater for") / 5.4), rounds=2),
    Remedy("HOT-4", lambda: only(heater(minimum_firing_flow=1.8), "L2"), "L2",
           typed(*TANK, "minimum_firing_flow", "fires from")),
    Remedy("HOT-4", lambda: heater(maximum_rise=80.0), "L2", typed(*TANK, "maximum_rise", "lifts by")),
    Remedy("FRZ-1", frosty, "L1", lambda site, words: edited(site, "pipe_runs", "TR-L1", held_temperature=85.0)),
    Remedy("FRZ-2", lambda: limited(frosty(held_temperature=85.0), "FRZ-2", 9.0), "L1",
           typed("pipe_runs", "TR-L1", "insulation", "Insulation of")),
    Remedy("LOP-1", lambda: looped(0.05, room_cold=30.0), "L1",
           typed("mixing_valves", "MV-1", "loop_flow", "A loop flow of")),
    Remedy("EVT-1", lambda: lab("events", "bench 1", reason=None), "bench 1",
           data("events", "bench 1", reason="two work")),
    Remedy("EVT-2", lambda: lab(*SUPPLY, other_demand=BLANKED), "L5", data(*SUPPLY, other_demand=0.0)),
    Remedy("DRN-1", lambda: lab("stations", "L1", drain=25.0), "L1", typed("stations", "L1", "drain", "A drain for")),
    Remedy("STR-1", lambda: lab("line_devices", "S-1", loss_per_flow_squared=0.004), "L5",
           data("line_devices", "S-1", loss_per_flow_squared=0.0009)),
    Remedy("PWR-1", laboratory, "WH-1", data(*TANK, needs_power=False)),
    Remedy("OUT-1", lambda: lab("project", "", stations_out_of_service=1.0), "acids, Lab 101, fume hoods",
           second_station),
    Remedy("LOC-1", lambda: lab("stations", "L1", travel_time=12.0), "L1",
           typed("stations", "L1", "travel_time", "to at most")),
    Remedy("LOC-1", lambda: lab("stations", "L1", outlet_1_height=97.0), "L1",
           typed("stations", "L1", "outlet_1_height", "to at most")),
    Remedy("LOC-1", lambda: lab("stations", "L1", same_level=False), "L1", data("stations", "L1", same_level=True)),
    Remedy("LIM-1", lambda: limited(laboratory(), "FLW-1 shower", 15.0), "FLW-1 shower",
           data("limits", "FLW-1 shower", reason="the owner asks for it")),
    Remedy("DAT-1", lambda: lab("pipe_runs", "TR-L2", developed_length=BLANKED), "L2",
           data("pipe_runs", "TR-L2", developed_length=35.0)),
    Remedy("DAT-2", laboratory, "data", lambda site, words: no_sample()),
    Remedy("DAT-4", lambda: lab(*SUPPLY, test_date=date(2025, 3, 2)), "SUP-1",
           data(*SUPPLY, test_date=date(2026, 3, 2))),
    Remedy("SIZ-1", lambda: lab("pipe_runs", "TR-L3", size="1-1/2"), "sizes", data("pipe_runs", "TR-L3", size="1/2")),
)  # fmt: skip
# Why a remedy is no change of a site.
NO_CHANGE = {
    "LOP-2": "an alarm and a standby pump stand in no table; valves at the stations are another network",
    "DAT-3": "what the solver leaves open is reported to us; no input mends it",
    "DAT-5": "the file is recalculated; tests of recalculation show that it is not stale any more",
    "DAT-6": "the formula is put back in the workbook; tests of formula places show that it is found",
}


@pytest.mark.parametrize("case", REMEDIES, ids=lambda case: f"{case.check} {case.where}")
def test_a_remedy_does_what_it_says(case):
    site = case.site()
    outcome, words, remedy = outcome_and_words(site, case.check, case.where)
    assert outcome in (FAILED, WARNED, NOT_KNOWN, NOTED), words
    for _ in range(case.rounds):
        site = case.apply(site, remedy)
        outcome, words, remedy = result(site, case)
        if outcome in MET:
            break
    assert outcome in MET, f"{OUTCOME_WORDS[outcome]}: {words} {remedy}"


def result(site: Site, case: Remedy) -> tuple[int, str, str]:
    """What the check says now; a line that is not drawn any more has nothing to say."""
    try:
        return outcome_and_words(site, case.check, case.where)
    except ValueError:
        return NONE, "", ""


def test_every_check_has_its_remedy_applied_or_says_why_not():
    assert {case.check for case in REMEDIES} | set(NO_CHANGE) == {check.id for check in CHECKS}
