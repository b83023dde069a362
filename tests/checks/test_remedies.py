"""A remedy that names a number is applied to the site and solved again: it does what it says."""

import math
import re

import pytest

from drenchbook.check_samples import FAILED, PASSED, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import remedy
from drenchbook.checks import judge
from drenchbook.convert_command import in_units
from drenchbook.units import from_si
from tests.checks.sites import COLD_LOW, edited, lab, laboratory, lines, report, station

MODEL = "SAMPLE TMV 45"


def told(site, check, tag, weighs=FAILED):
    judgement = judge(site)
    found = judgement.verdict(CHECK_BY_ID[check], station(judgement, tag))
    assert found.outcome == weighs
    return remedy(judgement, found)


def outcome(site, check, tag):
    judgement = judge(site)
    return judgement.verdict(CHECK_BY_ID[check], station(judgement, tag)).outcome


@pytest.mark.parametrize("units", ["US", "SI"])
@pytest.mark.parametrize(("check", "coefficient"), [("BYP-1", 4.0), ("BYP-2", 1.0)])
def test_the_bypass_that_is_named_would_do(check, coefficient, units):
    """The coefficient in the sentence passes, and a hundredth less than what it was rounded from does not."""
    site = in_units(lab("valve_models", MODEL, bypass_coefficient=coefficient), units)
    if check == "BYP-2":  # a smaller seat, so that the hot side alone is not enough
        seat = from_si(7.0 * _cv(), {"US": "Cv", "SI": "Kv"}[units])
        site = edited(site, "valve_models", MODEL, seat_coefficient=seat)
    sentence = told(site, check, "L1")
    named = float(re.match(r"A bypass of ([\d.]+) [CK]v or more at MV-1; or larger pipe where", sentence).group(1))
    assert outcome(edited(site, "valve_models", MODEL, bypass_coefficient=named), check, "L1") == PASSED
    assert outcome(edited(site, "valve_models", MODEL, bypass_coefficient=0.98 * (named - 0.1)), check, "L1") == FAILED


def _cv():
    from drenchbook.units import to_si

    return to_si(1.0, "Cv")


def test_where_no_bypass_is_enough_it_is_said():
    """L4 lacks pressure: even next to no loss in the bypass leaves it short."""
    sentence = told(laboratory(), "BYP-1", "L4")
    assert sentence.startswith(
        "No bypass alone is enough: pressure or pipe governs. Larger pipe where the path loses most: TR-L4"
    )
    assert outcome(lab("valve_models", MODEL, bypass_coefficient=900.0), "BYP-1", "L4") == FAILED


def test_a_missing_bypass_is_to_be_fitted():
    site = lab("mixing_valves", "MV-1", parallel_bypass=False)
    sentence = told(site, "BYP-1", "L5")
    named = float(re.match(r"Fit a parallel bypass: a bypass of ([\d.]+) Cv or more at MV-1", sentence).group(1))
    fitted = edited(edited(site, "mixing_valves", "MV-1", parallel_bypass=True), "valve_models", MODEL,
                    bypass_coefficient=named)  # fmt: skip
    assert outcome(fitted, "BYP-1", "L5") == PASSED


def test_more_storage_would_do():
    gallons = float(re.match(r"(\d+) gal more storage", told(laboratory(), "HOT-1", "L1")).group(1))
    assert outcome(lab("hot_water_sources", "WH-1", volume=200.0 + gallons), "HOT-1", "L1") == PASSED
    assert outcome(lab("hot_water_sources", "WH-1", volume=200.0 + gallons - 2), "HOT-1", "L1") == FAILED


def test_more_storage_would_do_in_a_mixed_tank():
    site = lab("hot_water_sources", "WH-1", usable_fraction_source=None)
    gallons = float(re.match(r"([\d,]+) gal more storage", told(site, "HOT-1", "L1")).group(1))
    assert outcome(edited(site, "hot_water_sources", "WH-1", volume=200.0 + gallons), "HOT-1", "L1") == PASSED


def test_a_lower_set_temperature_would_do():
    degrees = float(re.search(r"or set (\d+) °F", told(laboratory(), "HOT-1", "L1")).group(1))
    assert outcome(lab("mixing_valves", "MV-1", set_temperature=degrees), "HOT-1", "L1") == PASSED
    assert outcome(lab("mixing_valves", "MV-1", set_temperature=degrees), "VLV-5", "L1") == PASSED


@pytest.mark.parametrize("tag", ["L1", "L3", "L4"])
def test_the_closing_time_would_do(tag):
    """Outlets that close in the time named pass, in a fifth of a second less they do not."""
    at_once = lab("outlet_models", "*", closing_time=None)
    seconds = float(re.match(r"Outlets that close in ([\d.]+) s or more", told(at_once, "PRS-4", tag, WARNED)).group(1))
    assert outcome(lab("outlet_models", "*", closing_time=seconds), "PRS-4", tag) == PASSED
    assert outcome(lab("outlet_models", "*", closing_time=max(seconds - 0.2, 0.0)), "PRS-4", tag) == WARNED


def test_a_blank_closing_time_is_named():
    """Of L2's eye/face wash alone; L1 stands in a set with it, and what it sends up the pipes arrives there too."""
    at_once = lab("outlet_models", "EFW-REG35", closing_time=None)
    for tag in ("L2", "L1", "L5"):
        assert "Outlet models EFW-REG35: Closing time is blank, and counts as closing at once: type it" in told(
            at_once, "PRS-4", tag, WARNED
        )
    assert outcome(at_once, "PRS-4", "L4") == PASSED
    assert outcome(laboratory(), "PRS-4", "L1") == PASSED


def test_the_booster_would_do():
    """PRS-3 asks for the head that is short; added to the supply, friction aside nothing is."""
    head = float(re.match(r"A booster of ([\d.]+) psi or more", told(laboratory(), "PRS-3", "L4")).group(1))
    site = lab("supplies", "SUP-1", static_low=66.0 + head, residual_low=57.0 + head)
    assert outcome(site, "PRS-3", "L4") == PASSED
    short = math.floor(10 * head) / 10 - 0.2
    assert (
        outcome(lab("supplies", "SUP-1", static_low=66.0 + short, residual_low=57.0 + short), "PRS-3", "L4") == FAILED
    )


@pytest.mark.parametrize("cited", ["SAMPLE draw test", None])
def test_a_storage_of_nothing_lasts_no_minute_and_still_has_a_verdict(cited):
    empty = report(lab("hot_water_sources", "WH-1", volume=0.0, input_power=1e4, usable_fraction_source=cited))
    verdict = empty.judgement.verdict(CHECK_BY_ID["HOT-1"], station(empty.judgement, "L1"))
    assert (verdict.word, verdict.value) == ("FAIL", 0.0)
    assert remedy(empty.judgement, verdict)
    assert (
        empty.judgement.measures.courses.summary("repeat after recovery").inside[COLD_LOW, 0] < 60
    )  # cold water is tepid in the warm season only


@pytest.mark.parametrize("cited", ["SAMPLE draw test", None])
def test_the_volume_that_an_empty_storage_needs_would_do(cited):
    """And it is never ready again, however long one waits (HOT-5)."""
    cells = {"volume": 0.0, "usable_fraction_source": cited}
    empty = lab("hot_water_sources", "WH-1", **cells)
    (line,) = lines(report(empty), "HOT-5", "WH-1")
    assert (line.word, line.message) == (
        "WARN", "WH-1 stores nothing: its volume is 0, and no flush is ready in any time.")  # fmt: skip
    gallons = float(re.match(r"([\d,]+) gal more storage", told(empty, "HOT-1", "L1")).group(1))
    assert outcome(edited(empty, "hot_water_sources", "WH-1", volume=gallons), "HOT-1", "L1") == PASSED
    assert outcome(edited(empty, "hot_water_sources", "WH-1", volume=0.98 * gallons), "HOT-1", "L1") == FAILED


def test_a_recovery_asked_for_at_once_is_missed_and_named():
    (line,) = lines(report(lab("project", "", recovery_time=0.0)), "HOT-5", "WH-1")
    assert line.word == "WARN"
    assert line.remedy == "More input power."
