"""Frost: idle runs, heated runs that lose their heat, and remedies that, applied, make the check pass."""

import math
import re

import pytest

from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, PASSED, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import message, remedy
from drenchbook.checks import judge
from drenchbook.convert_command import in_units
from tests.checks.pipes_by_hand import celsius, time_constant
from tests.checks.sites import edited, lab, laboratory, limited, only


def frosty(run="TR-L1", air=0.0, hours=24.0, **cells):
    """L1 alone, with one run outside."""
    site = edited(only(laboratory(), "L1"), "pipe_runs", run, **{"exposure": "outside", **cells})
    return limited(edited(site, "project", "", outside_air_cold=air, ground_cold=45.0), "FRZ-2", hours)


def told(site, check):
    judgement = judge(site)
    verdict = judgement.verdict(CHECK_BY_ID[check], 0)
    return verdict.outcome, message(judgement, verdict, 0), remedy(judgement, verdict), verdict.value


@pytest.mark.parametrize("run", ["CM-1", "CW-1", "HW-1", "TR-A", "TR-L1"])
def test_every_run_that_a_station_depends_on_counts(run):
    outcome, words, cure, _ = told(frosty(run), "FRZ-1")
    assert outcome == FAILED
    assert words == f"Run {run} stands at 0 °F in the cold season, least 36 °F."
    assert "insulation only delays" in cure


def test_a_run_of_another_station_does_not_count():
    assert told(frosty("TR-L4"), "FRZ-1")[0] == PASSED


@pytest.mark.parametrize("cells", [{"exposure": "inside"}, {"exposure": "buried"}, {"held_temperature": 60.0}])
def test_the_remedies_of_frost_mend_it(cells):
    assert told(frosty(**cells), "FRZ-1")[0] == PASSED


def test_insulation_delays_and_never_holds():
    outcome, _, cure, _ = told(frosty(insulation=6.0), "FRZ-1")
    assert outcome == FAILED
    thick = float(re.search(r"freezes after ([\d.]+) h", cure).group(1))
    thin = float(re.search(r"freezes after ([\d.]+) h", told(frosty(insulation=1.0), "FRZ-1")[2]).group(1))
    run = next(one for one in frosty(insulation=1.0).pipe_runs if one.tag == "TR-L1")
    by_hand = time_constant(run) * math.log((celsius(42) - celsius(0)) / (0 - celsius(0))) / 3600
    assert thin == pytest.approx(by_hand, rel=0.005, abs=0.01)
    assert thick > 2 * thin


def test_hours_to_freezing_of_a_traced_run():
    """From 85 °F in air of 0 °F and wind: τ·ln((29.44 + 17.78)/17.78)."""
    outcome, words, _, seconds = told(frosty(held_temperature=85.0), "FRZ-2")
    run = next(one for one in frosty().pipe_runs if one.tag == "TR-L1")
    assert seconds == pytest.approx(time_constant(run) * math.log((celsius(85) - celsius(0)) / -celsius(0)), rel=0.003)
    assert outcome == WARNED
    assert words.startswith("Run TR-L1 freezes ")
    assert told(frosty(held_temperature=85.0, hours=float(math.floor(seconds / 3600))), "FRZ-2")[0] == PASSED


@pytest.mark.parametrize("units", ["US", "SI"])
def test_the_insulation_that_is_named_would_do(units):
    hours = 6.0
    site = in_units(frosty(held_temperature=85.0, hours=hours), units)
    cure = told(site, "FRZ-2")[2]
    thickness = float(re.match(r"Insulation of ([\d.]+) (in|mm) or more", cure).group(1))
    assert told(edited(site, "pipe_runs", "TR-L1", insulation=thickness), "FRZ-2")[0] == PASSED
    less = 0.95 * thickness - (0.1 if units == "US" else 1.0)
    assert told(edited(site, "pipe_runs", "TR-L1", insulation=less), "FRZ-2")[0] == WARNED


def test_a_blank_limit_is_unknown_only_where_something_is_heated_in_frost():
    blank = limited(frosty(held_temperature=85.0), "FRZ-2", None)
    assert told(blank, "FRZ-2")[0] == NOT_KNOWN
    assert told(limited(laboratory(), "FRZ-2", None), "FRZ-2")[0] == NONE
    assert told(limited(frosty(air=40.0, held_temperature=85.0), "FRZ-2", None), "FRZ-2")[0] == NONE


@pytest.mark.parametrize(
    ("site", "words"),
    [
        (lambda: frosty(exposure=None), "Pipe runs TR-L1: Exposure is blank"),
        (
            lambda: edited(frosty(air=40.0), "project", "", outside_air_cold=None),
            "Project: Outside air, cold season is blank",
        ),
        (lambda: lab("project", "", room_cold=None), "Project: Room, cold season is blank"),
    ],
)
def test_a_blank_is_unknown(site, words):
    outcome, sentence, _, _ = told(site(), "FRZ-1")
    assert outcome == NOT_KNOWN
    assert words in sentence


def test_a_known_failure_is_not_hidden_by_a_blank():
    assert told(edited(frosty(), "pipe_runs", "CW-1", exposure=None), "FRZ-1")[0] == FAILED


def test_bare_by_a_blank_is_unknown_where_it_fails():
    outcome, words, _, _ = told(frosty(held_temperature=85.0, insulation=None), "FRZ-2")
    assert outcome == NOT_KNOWN
    assert "Pipe runs TR-L1: Insulation is blank" in words


def test_two_degrees_meet_the_limit():
    for air, expected in ((35.6, PASSED), (35.5, FAILED)):
        assert told(frosty(air=air), "FRZ-1")[0] == expected
