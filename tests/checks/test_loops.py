"""Circulated loops: temperatures by plain floats, the flow that holds them, circulation off, and what a valve sees."""

import math
import re

import numpy as np
import pytest

from drenchbook.check_samples import FAILED, NOT_KNOWN, PASSED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import message, remedy
from drenchbook.checks import judge
from drenchbook.convert_command import in_units
from drenchbook.faulted_network import changes_in
from drenchbook.physics.water import density, heat_capacity, specific_enthalpy
from drenchbook.site_rules import structural_problems
from drenchbook.site_sheets import full_grids, read_grids
from tests.checks.pipes_by_hand import FOOT, celsius, conductance
from tests.checks.sites import COLD_LOW, added, edited, laboratory, lines, only, report, station
from tests.us_units import BTU_PER_HOUR, GALLON, GPM


def looped(flow=1.0, **project):
    """A loop through TR-A and TR-B, and 100 ft of 1/2 in back into the cold inlet."""
    back = laboratory().pipe_runs[0].model_dump() | {
        "tag": "TR-R", "fed_from": "TR-B", "size": "1/2", "developed_length": 100.0, "devices": None}  # fmt: skip
    site = edited(added(laboratory(), "pipe_runs", **back), "mixing_valves", "MV-1", loop_flow=flow,
                  loop_return_run="TR-R", loop_returns_to_cold_inlet=True, loop_pump_needs_power=True)  # fmt: skip
    return edited(site, "project", "", **project)


def told(site, check, tag="L1"):
    judgement = judge(site)
    number = station(judgement, tag)
    verdict = judgement.verdict(CHECK_BY_ID[check], number)
    return verdict.outcome, message(judgement, verdict, number), remedy(judgement, verdict)


def test_the_temperatures_along_a_loop_by_hand():
    site = looped(0.3, room_cold=30.0, room_warm=95.0)
    loop = judge(site).measures.loops[0]
    rows = {run.tag: run for run in site.pipe_runs}
    rate = 0.3 * GPM * density(celsius(85)) * heat_capacity(celsius(85))
    for season, room in enumerate((30.0, 95.0)):
        water, found = celsius(85.0), [celsius(85.0)]
        for tag in ("TR-A", "TR-B", "TR-R"):
            run = rows[tag]
            water = celsius(room) + (water - celsius(room)) * math.exp(
                -conductance(run) * run.developed_length * FOOT / rate
            )
            found.append(water)
        np.testing.assert_allclose(loop.temperatures[season], found, atol=1e-6)
        assert loop.loss[season] == pytest.approx(rate * (found[0] - found[-1]))


@pytest.mark.parametrize("units", ["US", "SI"])
@pytest.mark.parametrize(("season", "room"), [("room_cold", 30.0), ("room_warm", 125.0)])
def test_the_loop_flow_that_is_named_would_do(units, season, room):
    site = in_units(looped(0.05, **{season: room}), units)
    outcome, words, cure = told(site, "LOP-1")
    assert outcome == FAILED
    assert ("lowest" if season == "room_cold" else "highest") in words
    flow = float(re.match(r"A loop flow of ([\d.]+) (gpm|L/min) or more", cure).group(1))
    assert told(edited(site, "mixing_valves", "MV-1", loop_flow=flow), "LOP-1")[0] == PASSED
    assert told(edited(site, "mixing_valves", "MV-1", loop_flow=0.9 * flow - 0.01), "LOP-1")[0] == FAILED


def test_a_set_temperature_outside_the_limits_is_held_by_no_flow():
    _, _, cure = told(edited(looped(), "mixing_valves", "MV-1", set_temperature=110.0), "LOP-1")
    assert cure.startswith("Move the set temperature inside the limits first")


def test_first_water_of_a_loop_is_that_of_the_loop():
    """L1's branch off the loop is idle and cold; with the branch held too the first water is tepid."""
    site = looped(room_cold=50.0)
    assert told(site, "DLG-2")[0] != PASSED
    site = edited(only(site, "L1"), "stations", "L1", fed_from="TR-A")
    site = edited(site, "pipe_runs", "HW-1", held_temperature=130.0)  # no cooled hot water comes behind it
    judgement = judge(site)
    along = judgement.measures.loops[0].temperatures[0, :2]  # TR-A holds 85 °F to 84 °F; 85 °F is farther from 80 °F
    assert judgement.measures.first_water[COLD_LOW, 0] == pytest.approx(max(along))
    assert told(site, "DLG-2")[0] == PASSED
    assert judgement.measures.first_water_circulation_off[COLD_LOW, 0] == pytest.approx(celsius(50.0))
    (line,) = lines(report(site), "LOP-2", "MV-1")
    assert line.word == "WARN"
    assert line.case == "circulation off"
    assert "the first water of L1 is untepid, 50 °F at worst in the cold season" in line.message
    assert re.search(r"The loop loses \d+ Btu/h in the cold season", line.message)


def test_only_a_return_into_the_cold_inlet_counts_for_the_valve():
    """L3 draws 0.5 gpm; with 3 gpm round the loop the valve controls, and its temperature is known."""
    site = looped(3.0)
    assert told(site, "VLV-1", "L3")[0] == PASSED
    assert told(site, "TMP-1", "L3")[0] == PASSED
    for cells in ({"loop_returns_to_cold_inlet": False}, {"loop_returns_to_cold_inlet": None}):
        other = edited(site, "mixing_valves", "MV-1", **cells)
        assert told(other, "VLV-1", "L3")[0] == FAILED
        assert told(other, "TMP-1", "L3")[0] == NOT_KNOWN
    (line,) = lines(report(site), "LOP-2", "MV-1")
    assert "one outlet of L3 alone draws less than MV-1 controls" in line.message


def test_a_return_run_changes_nothing_else():
    """A dead branch: every flow and pressure of every case stays as it was, bit for bit."""
    plain, with_loop = judge(laboratory()), judge(edited(looped(), "mixing_valves", "MV-1", loop_flow=None))
    for one in plain.results.faults:
        other = with_loop.results.fault(one.fault)
        np.testing.assert_array_equal(one.outlet_flow, other.outlet_flow)
        np.testing.assert_array_equal(one.outlet_pressure, other.outlet_pressure)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"loop_flow": None}, "Mixing valves MV-1: Loop flow is blank"),
        ({"loop_return_run": None}, "Mixing valves MV-1: Loop return run is blank"),
    ],
)
def test_half_a_loop_is_unknown(cells, words):
    site = edited(looped(), "mixing_valves", "MV-1", **cells)
    outcome, sentence, _ = told(site, "LOP-1")
    assert outcome == NOT_KNOWN
    assert words in sentence
    (line,) = lines(report(site), "LOP-2", "MV-1")
    assert line.word == "UNKNOWN"
    assert words in line.message


def test_a_blank_around_the_loop_is_unknown():
    outcome, sentence, _ = told(edited(looped(), "pipe_runs", "TR-R", insulation=None), "LOP-1")
    assert outcome == NOT_KNOWN
    assert "Pipe runs TR-R: Insulation is blank" in sentence


def test_a_return_run_in_frost_counts_for_every_station():
    site = edited(looped(outside_air_cold=0.0), "pipe_runs", "TR-R", exposure="outside")
    assert told(site, "FRZ-1")[0] == PASSED  # it is held while the pump runs
    outcome, sentence, _ = told(site, "FRZ-2")
    assert outcome == NOT_KNOWN
    assert "limit FRZ-2" in sentence
    assert told(edited(site, "limits", "FRZ-2", value=100.0), "FRZ-2")[1].startswith("Run TR-R freezes ")


def test_a_return_run_of_another_valve_is_a_sentence():
    grids = full_grids(edited(looped(), "mixing_valves", "MV-1", loop_return_run="HW-1"))
    problems = [str(one) for one in structural_problems(read_grids(grids))]
    assert any(
        "is fed by WH-1, not by this valve; name the run that brings its own loop back" in one for one in problems
    )


@pytest.mark.parametrize(("typed", "word"), [(True, "WARN"), (False, "OK"), (None, "UNKNOWN")])
def test_a_loop_pump_says_whether_it_needs_power(typed, word):
    site = edited(looped(), "mixing_valves", "MV-1", loop_pump_needs_power=typed)
    assert lines(report(site), "PWR-1", "MV-1")[0].word == word


def test_a_valve_that_needs_its_loop_loses_control_where_the_pump_stands_still():
    """L3 draws 0.5 gpm of the 3 that the valve needs; the flows stay, and no temperature is told."""
    still = ("circulation off", "first draw after idle")
    for power, stops in ((True, (*still, "power lost")), (False, still)):
        judgement = judge(edited(looped(3.0), "mixing_valves", "MV-1", loop_pump_needs_power=power))
        alone = judgement.cases.find(("L3",))
        at = judgement.cases.valves.of(alone)
        for fault in ("normal", "power lost", *still):
            result = judgement.results.fault(fault)
            assert result.valve.under_control[:, at].all() == (fault not in stops), fault
            assert np.isnan(result.valve.mixed_temperature[:, at]).all() == (fault in stops), fault
        off, normal = judgement.results.fault("circulation off"), judgement.results.normal
        np.testing.assert_array_equal(off.outlet_flow, normal.outlet_flow)


def test_runs_on_a_loop_are_circulated_whatever_is_marked():
    assert [row.circulated for row in looped().pipe_runs if row.tag == "TR-A"] == [False]
    assert "circulation off" in [one.fault for one in judge(looped()).results.faults]
    assert "circulation off" not in [one.fault for one in judge(laboratory()).results.faults]


def test_without_power_the_first_water_is_that_of_a_loop_that_stands_still():
    """TR-A and TR-B come to the room's 50 °F where the pump stops, and stay near 85 °F where it does not."""
    for power, first in ((True, celsius(50.0)), (None, celsius(50.0)), (False, celsius(85.0))):
        site = edited(
            only(
                looped(
                    room_cold=50.0,
                ),
                "L1",
            ),
            "stations",
            "L1",
            fed_from="TR-A",
        )
        judgement = judge(edited(site, "mixing_valves", "MV-1", loop_pump_needs_power=power))
        found = judgement.measures.courses.summary("power lost").first[COLD_LOW]
        assert found == pytest.approx(np.full(found.shape, first))
        said = "the loop of MV-1 stands still" in changes_in(judgement.network, "power lost", "US")
        assert said == (power is not False)


@pytest.mark.parametrize("cited", ["SAMPLE draw test", None])
def test_a_loop_takes_its_loss_from_the_storage(cited):
    """By hand: heat of the valve, of others and of the loop against what is stored and made; none while it stands."""
    site = edited(looped(20.0, room_cold=30.0), "pipe_runs", "TR-R", developed_length=10000.0)
    site = edited(site, "hot_water_sources", "WH-1", usable_fraction_source=cited,
                  start_delay=0.0)  # fmt: skip
    judgement = judge(site)
    source, opening = site.hot_water_sources[0], judgement.cases.find(("L1",))
    start, cold, set_ = (celsius(t) for t in (source.start_temperature, site.project.cold_water_cold, 85.0))
    lowest = set_ + site.valve_models[0].approach_hot * 5 / 9
    kept = source.volume * GALLON * density(start)
    rise = specific_enthalpy(start) - specific_enthalpy(cold)
    valve, at = judgement.results.normal.valve, judgement.cases.valves.of(opening).start
    mass = valve.hot_flow[0, at] * density(start) + valve.cold_flow[0, at] * density(cold)
    drawn = mass * (specific_enthalpy(set_) - specific_enthalpy(cold))
    others = source.other_demand * GPM * density(start) * rise
    loss = judgement.measures.loops[0].loss[0]
    assert loss > 0.05 * drawn
    net = drawn + others + loss - source.input_power * source.efficiency * BTU_PER_HOUR
    usable = source.usable_fraction * kept * rise / net
    mixed = kept * (specific_enthalpy(start) - specific_enthalpy(lowest)) / net
    pair = judgement.cases.sources.of(opening)
    hot = judgement.measures.hot_water
    seconds = hot.seconds[COLD_LOW, pair], hot.seconds_other[COLD_LOW, pair]
    for found, by_hand in zip(seconds, (usable, mixed) if cited else (mixed, usable), strict=True):
        assert found == pytest.approx([by_hand], rel=2e-2)
        assert found != pytest.approx([by_hand * net / (net - loss)], rel=2e-2)
    left = {fault: judgement.measures.courses.storage(fault)[0][COLD_LOW, pair][0]
            for fault in ("normal", "circulation off", "first draw after idle")}  # fmt: skip
    assert left["normal"] <= left["circulation off"] == left["first draw after idle"]


def test_minutes_are_unknown_where_nobody_says_what_a_loop_loses():
    site = edited(looped(), "pipe_runs", "TR-R", insulation=None)
    outcome, words, _ = told(site, "HOT-1")
    assert outcome == NOT_KNOWN
    assert "what the loop loses is not known: " in words
    assert "TR-R" in words
