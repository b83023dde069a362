"""Heat gained and lost by pipes: every path again by plain floats, run by run, and cases that a hand can do."""

import math

import numpy as np
import pytest

from drenchbook.check_samples import FAILED, NOT_KNOWN, PASSED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import message
from drenchbook.checks import judge
from drenchbook.operating_cases import STATES
from drenchbook.physics.water import density, heat_capacity
from drenchbook.pipe_heat import inlet_passage, station_flows, tempered_passage
from drenchbook.surroundings import surroundings
from tests.checks.pipes_by_hand import FOOT, celsius, conductance
from tests.checks.sites import BLANKED, edited, lab, laboratory, only, station


def varied():
    """The laboratory with a riser outside in wind and frost, a buried header and a bare branch in the sun."""
    site = lab("pipe_runs", "TR-L4", exposure="outside", insulation=0.5)
    site = edited(site, "pipe_runs", "TR-A", exposure="buried", insulation=0.0)
    site = edited(site, "pipe_runs", "TR-L5", exposure="outside", insulation=0.0, sun=True)
    site = edited(site, "pipe_runs", "TR-L1", insulation=0.0)
    return edited(site, "project", "", outside_air_cold=10.0, outside_air_warm=110.0, ground_cold=45.0,
                  ground_warm=65.0, sun_warm=True, irradiance_warm=300.0)  # fmt: skip


def around(site, run, season):
    column = {"inside": "room", "outside": "outside_air", "buried": "ground"}[run.exposure]
    air = celsius(getattr(site.project, f"{column}_{season}"))
    if season == "warm" and run.sun and run.exposure == "outside":
        air += 0.9 * 300.0 * 3.154590745 / (math.pi * 34.0)  # 1 Btu/(h·ft²) is 3.1546 W/m²
    return air


def walk(site, tag):
    """Tags from the valve to a station."""
    rows = {run.tag: run for run in site.pipe_runs}
    found, at = [], next(row for row in site.stations if row.tag == tag).fed_from
    while at in rows:
        found.append(rows[at])
        at = rows[at].fed_from
    return found[::-1]


def test_every_path_agrees_with_a_walk_by_plain_floats():
    site = varied()
    judgement = judge(site)
    context, cases = judgement.context, judgement.cases
    found = judgement.measures.tempered_passage.arriving(judgement.measures.start_temperature)
    flows, compared = station_flows(context), 0
    for opening in range(len(cases)):
        pairs = range(*cases.stations.of(opening).indices(len(cases.stations.member)))
        tags = {pair: site.stations[cases.stations.member[pair]].tag for pair in pairs}
        for pair, tag in tags.items():
            for state, (season, _) in enumerate(STATES):
                water = celsius(85.0)
                rho_c = density(water) * heat_capacity(water)
                for run in walk(site, tag):
                    shared = sum(flows[state, other] for other, name in tags.items() if run in walk(site, name))
                    outside = around(site, run, season)
                    loss = conductance(run) * run.developed_length * FOOT / (shared * rho_c)
                    water = outside + (water - outside) * math.exp(-loss)
                if np.isnan(judgement.measures.start_temperature[state, pair]):
                    assert np.isnan(found[state, pair])
                    continue
                assert found[state, pair] == pytest.approx(water, abs=1e-6)
                compared += 1
    assert compared > 40


def test_an_eyewash_on_a_long_bare_run_arrives_cold():
    """L2's 3.5 gpm alone through 150 ft of bare 1-1/4 outside at 0 °F: 85 °F at the valve, too cold at the outlet."""
    site = edited(only(varied(), "L2"), "pipe_runs", "TR-L2", size="1-1/4", developed_length=500.0, insulation=0.0,
                  exposure="outside")  # fmt: skip
    site = edited(site, "project", "", outside_air_cold=0.0)
    judgement = judge(site)
    verdict = judgement.verdict(CHECK_BY_ID["TMP-1"], 0)
    assert verdict.outcome == FAILED
    assert message(judgement, verdict, 0).startswith("Eye/face wash of L2 gets ")
    assert judgement.verdict(CHECK_BY_ID["TMP-1"], 0).value < celsius(60.0)
    warm = judge(edited(site, "pipe_runs", "TR-L2", exposure="inside", insulation=1.0))
    assert warm.verdict(CHECK_BY_ID["TMP-1"], 0).outcome == PASSED


def test_a_hot_day_warms_the_water_beyond_the_limit():
    """The same run in the desert sun: 85 °F becomes more than 100 °F, and insulation mends it."""
    site = edited(only(varied(), "L2"), "pipe_runs", "TR-L2", size="1-1/4", developed_length=500.0, insulation=0.0,
                  exposure="outside", sun=True)  # fmt: skip
    site = edited(site, "project", "", outside_air_cold=70.0, outside_air_warm=125.0)
    assert judge(site).verdict(CHECK_BY_ID["TMP-2"], 0).outcome == FAILED
    assert judge(edited(site, "pipe_runs", "TR-L2", insulation=3.0)).verdict(CHECK_BY_ID["TMP-2"], 0).outcome == PASSED


def test_what_helps_on_the_way_is_not_relied_on():
    """Cold water of 55 °F warms in a bare pipe of a room at 70 °F: TMP-1 still sees 55 °F."""
    site = edited(lab("stations", "L3", fed_from="CW-1"), "project", "", cold_water_cold=55.0)
    site = edited(site, "pipe_runs", "CW-1", insulation=0.0, developed_length=2000.0)
    judgement = judge(site)
    assert judgement.verdict(CHECK_BY_ID["TMP-1"], station(judgement, "L3")).value == pytest.approx(celsius(55.0))
    assert judgement.verdict(CHECK_BY_ID["TMP-2"], station(judgement, "L3")).value == pytest.approx(celsius(74.0))


@pytest.mark.parametrize(
    ("table", "tag", "cells", "words"),
    [
        ("pipe_runs", "TR-L1", {"insulation": None}, "Pipe runs TR-L1: Insulation is blank"),
        ("pipe_runs", "TR-L1", {"exposure": None}, "Pipe runs TR-L1: Exposure is blank"),
        ("project", "", {"room_warm": None}, "Project: Room, warm season is blank"),
        ("pipe_runs", "TR-L1", {"exposure": "outside", "sun": True}, "run TR-L1 may lie in the sun"),
    ],
)
def test_a_blank_that_shows_is_unknown(table, tag, cells, words):
    site = only(laboratory(), "L1")
    if "sun" in cells:
        site = edited(site, "project", "", sun_warm=True)
    judgement = judge(edited(edited(site, "pipe_runs", "TR-L1", developed_length=400.0), table, tag, **cells))
    found = [judgement.verdict(CHECK_BY_ID[check], 0) for check in ("TMP-1", "TMP-2")]
    assert [one.outcome for one in found] == [NOT_KNOWN, NOT_KNOWN] or "warm" in words or "sun" in cells
    assert words in message(judgement, next(one for one in found if one.outcome == NOT_KNOWN), 0)


def test_a_blank_that_does_not_show_is_no_matter():
    """Two feet of pipe at shower flow: nobody could print the difference that its insulation makes."""
    site = edited(only(laboratory(), "L5"), "pipe_runs", "TR-L5", developed_length=2.0, insulation=BLANKED)
    assert judge(site).verdict(CHECK_BY_ID["TMP-1"], 0).outcome == PASSED


def test_a_split_run_is_the_whole():
    site = varied()
    whole = judge(site).measures.delivered_temperatures
    first = next(run for run in site.pipe_runs if run.tag == "TR-L4")
    half = first.model_copy(update={"tag": "TR-L4b", "fed_from": "TR-L4", "developed_length": 65.0, "fittings": "none"})
    site = edited(site, "pipe_runs", "TR-L4", developed_length=65.0)
    site = edited(site.model_copy(update={"pipe_runs": (*site.pipe_runs, half)}), "stations", "L4", fed_from="TR-L4b")
    for one, other in zip(whole, judge(site).measures.delivered_temperatures, strict=True):
        np.testing.assert_allclose(one, other, atol=1e-4)  # the split point changes the height of no outlet


def test_water_at_the_temperature_of_its_surroundings_stays_as_it_is():
    judgement = judge(edited(laboratory(), "project", "", room_cold=85.0, room_warm=85.0))
    least, greatest = judgement.measures.delivered_temperatures
    known = ~np.isnan(least)
    assert known.any()
    np.testing.assert_allclose(least[known], celsius(85.0), atol=1e-9)
    np.testing.assert_allclose(greatest[known], celsius(85.0), atol=1e-9)


def test_hot_water_arrives_at_the_valve_a_little_cooler():
    """HW-1: 55 ft of 1-1/4 with 1 in of insulation, from 130 °F in a room of 70 °F, at the hot flow of each case."""
    judgement = judge(laboratory())
    context = judgement.context
    run = next(one for one in laboratory().pipe_runs if one.tag == "HW-1")
    passage = inlet_passage(context, surroundings(context), "hot")
    start = np.full(passage.kept.shape, celsius(130.0))
    flow = context.results.normal.valve.hot_flow
    rho_c = density(celsius(130.0)) * heat_capacity(celsius(130.0))
    by_hand = celsius(70.0) + (celsius(130.0) - celsius(70.0)) * np.exp(-conductance(run) * 55 * FOOT / (flow * rho_c))
    np.testing.assert_allclose(passage.arriving(start), by_hand, atol=1e-9)
    assert np.nanmin(by_hand) < celsius(130.0) - 0.1


def test_no_flow_comes_to_the_surroundings():
    judgement = judge(laboratory())
    context = judgement.context
    none = np.zeros((len(STATES), len(judgement.cases.stations.member)))
    passage = tempered_passage(context, surroundings(context), none)
    np.testing.assert_allclose(passage.arriving(none + 29.0), celsius(70.0), atol=1e-9)


def test_a_hot_run_that_loses_its_heat_starves_the_valve():
    """500 ft of bare 1-1/4 at 10 °F: what arrives is less than 20 °F above set, which insulation mends."""
    site = edited(only(varied(), "L2"), "pipe_runs", "HW-1", insulation=0.0, exposure="outside", developed_length=500.0)
    judgement = judge(site)
    verdict = judgement.verdict(CHECK_BY_ID["VLV-3"], 0)
    assert verdict.outcome == FAILED
    assert message(judgement, verdict, 0).startswith("Hot above set at the valve is ")
    blank = judge(edited(site, "pipe_runs", "HW-1", insulation=None))
    assert "Pipe runs HW-1: Insulation is blank" in message(blank, blank.verdict(CHECK_BY_ID["VLV-3"], 0), 0)
    assert judge(edited(site, "pipe_runs", "HW-1", insulation=2.0)).verdict(CHECK_BY_ID["VLV-3"], 0).outcome == PASSED
