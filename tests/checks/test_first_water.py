"""Water that stood: in the sun, in frost, by night or day; and remedies that, applied, make the check pass."""

import math

import pytest

from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, NOTED, PASSED, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import message, remedy
from drenchbook.checks import judge
from drenchbook.operating_cases import NORMAL
from drenchbook.pipe_heat import station_flows
from tests.checks.pipes_by_hand import celsius
from tests.checks.sites import COLD_LOW, WARM_LOW, edited, lab, laboratory, limited, only, station


def outcome(site, check, tag="L1"):
    judgement = judge(site)
    return judgement.verdict(CHECK_BY_ID[check], station(judgement, tag)).outcome


def in_the_sun(**project):
    """L1's own branch outside in the sun: 300 Btu/(h·ft²) in the warm season, air of 90 °F."""
    site = edited(only(laboratory(), "L1"), "pipe_runs", "TR-L1", exposure="outside", sun=True)
    return edited(site, "project", "", **{"sun_warm": True, "irradiance_warm": 300.0, **project})


def test_an_idle_pipe_in_the_sun_comes_to_the_sol_air_temperature():
    """90 °F and 0.9 · 946.4 W/m² over π · 10 W/(m²·K): 32.22 + 27.11 °C = 138.8 °F, which scalds."""
    judgement = judge(in_the_sun())
    verdict = judgement.verdict(CHECK_BY_ID["DLG-1"], 0)
    assert verdict.outcome == FAILED
    assert verdict.value == pytest.approx(celsius(90) + 0.9 * 300 * 3.154591 / (10 * math.pi), abs=1e-4)
    assert message(judgement, verdict, 0) == "The first water of L1 stood at 139 °F, limit 109 °F."
    assert judgement.measures.first_water[WARM_LOW, 0] == pytest.approx(verdict.value)
    assert judgement.measures.first_water[COLD_LOW, 0] == pytest.approx(celsius(40))  # outside air by night


@pytest.mark.parametrize("cells", [{"sun": False}, {"exposure": "inside"}, {"held_temperature": 85.0}])
def test_the_remedy_of_hot_first_water_mends_it(cells):
    words = remedy(judgement := judge(in_the_sun()), judgement.verdict(CHECK_BY_ID["DLG-1"], 0))
    assert words.startswith("Run it inside or buried, shade it, or hold it at temperature")
    assert outcome(edited(in_the_sun(), "pipe_runs", "TR-L1", **cells), "DLG-1") == PASSED


def test_insulation_does_not_mend_hot_first_water():
    assert outcome(edited(in_the_sun(), "pipe_runs", "TR-L1", insulation=4.0), "DLG-1") == FAILED


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"irradiance_warm": None}, "Irradiance, warm season is blank; run TR-L1 may lie in the sun"),
        ({"sun_warm": None}, "Sun on outside pipes, warm season is blank; run TR-L1 may lie in the sun"),
        ({"outside_air_warm": None}, "Project: Outside air, warm season is blank; run TR-L1 stands in it"),
    ],
)
def test_sun_that_nobody_measured_is_unknown(cells, words):
    judgement = judge(in_the_sun(**cells))
    verdict = judgement.verdict(CHECK_BY_ID["DLG-1"], 0)
    assert verdict.outcome == NOT_KNOWN
    assert words in message(judgement, verdict, 0)


def test_a_station_at_its_valve_has_no_first_water():
    site = only(lab("stations", "L1", fed_from="MV-1"), "L1")
    assert outcome(site, "DLG-1") == NONE
    assert outcome(site, "DLG-5") == PASSED


def test_a_direct_station_on_a_sunny_pipe_scalds_too():
    site = edited(lab("stations", "L3", fed_from="CW-1"), "pipe_runs", "CW-1", exposure="outside", sun=True)
    site = edited(site, "project", "", sun_warm=True, irradiance_warm=300.0, outside_air_warm=110.0)
    assert outcome(site, "DLG-1", "L3") == FAILED


def test_a_failure_is_one_whatever_would_warn():
    assert outcome(lab("project", "", room_warm=105.0), "DLG-1") == WARNED
    assert outcome(limited(lab("project", "", room_warm=115.0), "DLG-1 warning", None), "DLG-1") == FAILED
    for name in ("DLG-1 warning", "DLG-1 failure"):
        assert outcome(limited(laboratory(), name, None), "DLG-1") == NOT_KNOWN


def test_shorter_runs_shorten_the_untepid_time():
    """183 s of cold water through the eye/face wash of L1; the run from the valve a quarter as long: 80 ft to 20 ft."""
    cold = lab("project", "", room_cold=50.0)
    assert outcome(cold, "DLG-5") == FAILED
    assert outcome(edited(cold, "pipe_runs", "TR-A", developed_length=20.0), "DLG-5") == PASSED
    held = edited(edited(cold, "pipe_runs", "TR-A", held_temperature=85.0), "pipe_runs", "TR-L1", held_temperature=85.0)
    assert outcome(held, "DLG-5") == PASSED


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        ({"room_cold": 84.0, "room_warm": 84.0}, NOTED),  # MV-1 is set to 85 °F
        ({"room_cold": 86.0, "room_warm": 86.0}, NONE),
        ({"room_cold": 84.0, "room_warm": None}, NOT_KNOWN),
    ],
)
def test_a_hot_run_warmer_than_the_set_temperature_makes_nobody_wait(cells, found):
    judgement = judge(lab("project", "", **cells))
    verdict = judgement.verdict(CHECK_BY_ID["DLG-4"], station(judgement, "L1"))
    assert verdict.outcome == found
    if found == NOT_KNOWN:
        words = message(judgement, verdict, station(judgement, "L1"))
        assert words.startswith("Cooled hot run is not known: Project: Room, warm season is blank")


def test_a_valve_goes_full_hot_while_its_hot_run_is_cold():
    """4.13 gal with the wall at the 0.5 gpm of L3's eyewash: 496 s, whatever the share of hot water then is."""
    judgement = judge(laboratory())
    verdict = judgement.verdict(CHECK_BY_ID["DLG-4"], station(judgement, "L3"))
    assert verdict.value == pytest.approx(496, rel=0.01)


def test_a_held_hot_run_makes_nobody_wait():
    assert outcome(laboratory(), "DLG-4") == NOTED
    assert outcome(lab("pipe_runs", "HW-1", held_temperature=130.0), "DLG-4") == NONE
    judgement = judge(laboratory())
    words = remedy(judgement, judgement.verdict(CHECK_BY_ID["DLG-4"], 0))
    assert words == "Circulate or shorten the hot run: 4 gal that come to 70 °F stand in it."


def test_in_a_set_each_run_is_flushed_by_what_flows_through_it():
    """L1's branch alone stood in the cold: it lasts V(1 + β)/q of L1, however much flows in the runs that it shares."""
    site = edited(laboratory(), "pipe_runs", "*", exposure="inside", sun=False)
    site = edited(edited(site, "pipe_runs", "TR-L1", exposure="outside"), "project", "", outside_air_cold=20.0)
    judgement = judge(site)
    cases, network, summary = judgement.cases, judgement.network, judgement.measures.courses.summary()
    own, node = station(judgement, "L1"), network.station_node[station(judgement, "L1")]
    content = network.purge_sum[node] - network.purge_sum[network.parent[node]]
    flows = station_flows(judgement.context, NORMAL)[COLD_LOW]
    pairs = [pair for pair in (cases.stations.member == own).nonzero()[0] if flows[pair] > 0]
    assert max(cases.stations.counts[cases.stations.opening[pair]] for pair in pairs) > 1
    for pair in pairs:
        seconds = content / flows[pair]
        assert summary.untepid[COLD_LOW, pair] == pytest.approx(seconds, rel=1e-9)
        assert summary.tepid_after[COLD_LOW, pair] == pytest.approx(seconds, rel=1e-9)
        assert summary.purge[COLD_LOW, pair] > 1.2 * seconds
        assert summary.lowest[COLD_LOW, pair] == pytest.approx(celsius(20))
