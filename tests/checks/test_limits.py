"""Limits: equality meets one, a missing one is UNKNOWN by name, and one looser than published is said."""

import functools
import re

import numpy as np
import pytest

from drenchbook.check_limits import GREATEST
from drenchbook.check_samples import FAILED, NOT_KNOWN, PASSED
from drenchbook.check_table import CHECK_BY_ID, REQUIRED
from drenchbook.check_words import message
from drenchbook.checks import STATION_CHECKS, judge
from drenchbook.convert_command import in_units
from drenchbook.published.criteria import default_limits
from drenchbook.report import Report
from drenchbook.site_model import Missing
from drenchbook.units import from_si
from tests.checks.sites import (
    added,
    edited,
    judge_again,
    lab,
    laboratory,
    limited,
    lines,
    only,
    station,
    strainer_limit,
    without,
)

# Check, the limit it is held to, and a station of which that limit governs.
HELD = (
    ("FLW-1", "FLW-1 shower", "L5"), ("FLW-2", "FLW-2", "L5"), ("FLW-3", "FLW-3", "L5"), ("FLW-4", "FLW-4", "L5"),
    ("PRS-1", "PRS-1", "L1"), ("PRS-2", "PRS-2", "L1"), ("PRS-3", "PRS-3", "L1"), ("VEL-1", "VEL-1 cold", "L5"),
    ("VLV-11", "VLV-11", "L1"), ("VLV-6", "VLV-6 least", "L1"), ("VLV-5", "TMP greatest", "L1"),
    ("BYP-1", "FLW-1 shower", "L5"), ("BYP-2", "FLW-1 shower", "L5"), ("BYP-3", "BYP-3 time", "L1"),
    ("HOT-1", "HOT-1", "L5"), ("HOT-3", "HOT-3", "L5"), ("TMP-1", "TMP least", "L1"), ("TMP-2", "TMP greatest", "L1"),
    ("DLG-2", "DLG-2", "L1"), ("LOC-1", "LOC-1 shower greatest", "L1"),
)  # fmt: skip


@functools.cache
def alone(tag, units):
    """One station of the laboratory, in air so cold that its first water is not tepid, a valve near its limits."""
    site = edited(only(laboratory(), tag), "project", "", room_cold=50.0)
    site = edited(site, "valve_models", "SAMPLE TMV 45", tolerance=14.0, set_maximum=120.0, shutoff_time=5.0)
    return in_units(edited(site, "stations", tag, outlet_1_height=96.0), units)


@pytest.mark.parametrize("units", ["US", "SI"])
@pytest.mark.parametrize(("check", "limit", "tag"), HELD)
def test_equality_meets_a_limit(check, limit, tag, units):
    """A limit that stands exactly where the number lies is met; a millionth on the wrong side is not."""
    site, row = alone(tag, units), CHECK_BY_ID[check]
    before = judge_again(site)
    value = before.verdict(row, 0).value
    typed = from_si(value, before.context.limit(limit).unit)
    wrong = 1 - 1e-6 if (limit in GREATEST) == (typed > 0) else 1 + 1e-6
    same, missed = (judge_again(limited(site, limit, typed * factor)).verdict(row, 0) for factor in (1.0, wrong))
    assert same.outcome == PASSED, (same.value, same.limit)
    assert missed.outcome in (row.severity, FAILED) if check != "PRS-1" else missed.outcome > NOT_KNOWN - 2
    assert abs(missed.margin) < 1e-4


SITE_LIMITS = (("HOT-2", "HOT-2", "WH-1"), ("HOT-6", "HOT-6", "WH-1"))


@pytest.mark.parametrize(("check", "limit", "subject"), SITE_LIMITS)
def test_equality_meets_a_limit_of_a_site_line(check, limit, subject):
    report = Report(judge_again(laboratory()))
    (line,) = lines(report, check, subject)
    typed = from_si(line.value, report.context.limit(limit).unit)
    for factor, word in ((1.0, "OK"), (1 + 1e-6, "WARN")):
        (line,) = lines(Report(judge_again(limited(laboratory(), limit, typed * factor))), check, subject)
        assert line.word == word


def test_a_flow_test_of_exactly_twelve_months_is_not_old():
    import datetime

    for day, word in ((4, "OK"), (3, "WARN")):
        site = lab("supplies", "SUP-1", test_date=datetime.date(2025, 5, day))
        assert lines(Report(judge_again(site)), "DAT-4")[0].word == word


def test_only_one_limit_enters_the_flows():
    """What lets these tests solve the same water once: all others deleted, every flow stays to the last digit."""
    whole = judge(laboratory()).results
    for site in (
        laboratory().model_copy(update={"limits": strainer_limit(laboratory())}),
        limited(laboratory(), "TMP least", 70.0),
    ):
        for one, other in zip(whole.faults, judge(site).results.faults, strict=True):
            for name in ("state", "outlet_flow", "outlet_pressure", "source_hot_flow"):
                assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=True), name


# ---- missing ----


@functools.cache
def every_kind():
    """A laboratory with a drench hose, a loop and a traced run in frost, so that every limit is used somewhere."""
    back = laboratory().pipe_runs[0].model_dump() | {"tag": "TR-R", "fed_from": "TR-B", "devices": None}
    site = edited(added(laboratory(), "pipe_runs", **back), "mixing_valves", "MV-1", loop_flow=1.0,
                  loop_return_run="TR-R", loop_returns_to_cold_inlet=False)  # fmt: skip
    site = limited(edited(site, "project", "", outside_air_cold=20.0), "FRZ-2", 24.0)
    site = edited(site, "pipe_runs", "TR-L1", exposure="outside", held_temperature=85.0)
    site = added(
        site, "outlet_models", model="HOSE", kind="drench hose", type="flow-regulated", rated_flow=3.2,
        rated_pressure=20.0, maximum_pressure=100.0, source="SAMPLE", sample=True,
    )  # fmt: skip
    like = site.stations[0].model_dump() | {
        "tag": "L6", "outlet_1": "HOSE", "outlet_2": None, "outlet_2_elevation": None, "outlet_2_height": None,
    }  # fmt: skip
    return added(site, "stations", **like)


KINDS = {"FLW-1 shower": "L1", "FLW-1 eyewash": "L3", "FLW-1 eye/face wash": "L2", "FLW-1 drench hose": "L6",
         "LOC-1 eyewash least": "L2", "LOC-1 eyewash greatest": "L2"}  # fmt: skip
LIMITS = sorted({limit for check in STATION_CHECKS for limit in check.limits})


@pytest.mark.parametrize("how", ["deleted", "blank", "in psi", "without unit"])
@pytest.mark.parametrize("limit", LIMITS)
def test_a_missing_limit_is_unknown_by_name(limit, how):
    site, other = every_kind(), "psi" if "PRS" not in limit and limit != "DAT-3 pressure" else "gpm"
    if how == "deleted":
        site, words = without(site, "limits", limit), f"the row of limit {limit} is missing in Limits"
    elif how == "blank":
        site, words = limited(site, limit, Missing("is blank")), f"limit {limit} is blank"
    elif how == "in psi":
        site, words = edited(site, "limits", limit, unit=other), f"limit {limit} is in {other}, a unit of "
    else:
        site, words = edited(site, "limits", limit, unit=Missing("is blank")), f"the unit of limit {limit} is blank"
    judgement = judge_again(site)
    number = station(judgement, KINDS.get(limit, "L1"))
    for check in STATION_CHECKS:
        if limit not in check.limits:
            continue
        verdict = judgement.verdict(check, number)
        assert verdict.outcome == NOT_KNOWN, check.id
        assert words in message(judgement, verdict, number), check.id


@pytest.mark.parametrize("limit", ["HOT-2", "HOT-6", "DAT-4"])
def test_a_missing_limit_of_a_site_line_is_unknown(limit):
    for site in (without(laboratory(), "limits", limit), limited(laboratory(), limit, Missing("is blank"))):
        line = lines(Report(judge_again(site)), limit)[0]
        assert line.word == "UNKNOWN"
        assert f"limit {limit}" in line.message


def test_limits_of_temperature_that_leave_no_room_judge_nothing():
    judgement = judge_again(limited(laboratory(), "TMP least", 110.0))
    for check in ("TMP-1", "TMP-2", "VLV-5"):
        verdict = judgement.verdict(CHECK_BY_ID[check], 0)
        assert verdict.outcome == NOT_KNOWN
        assert "TMP least is not below TMP greatest" in message(judgement, verdict, 0)


def test_a_negative_limit_is_no_pass():
    judgement = judge_again(limited(laboratory(), "PRS-2", -10.0))
    assert judgement.verdict(CHECK_BY_ID["PRS-2"], 0).outcome == NOT_KNOWN


# ---- changed ----


def test_every_limit_is_either_a_least_or_a_greatest_value():
    ids = {row.id for row in default_limits("ANSI/ISEA Z358.1")}
    assert set(GREATEST) < ids
    for limit in ids - set(GREATEST):
        row = CHECK_BY_ID.get(limit.split(" ")[0], CHECK_BY_ID["TMP-1"])
        assert limit in REQUIRED or "least" in limit or row.toward == "least", limit


@pytest.mark.parametrize(("limit", "value", "word"), [
    ("FLW-1 shower", 18.0, "looser"), ("FLW-1 shower", 22.0, "stricter"), ("PRS-2", 90.0, "looser"),
    ("PRS-2", 70.0, "stricter"), ("HOT-1", 12.0, "looser"), ("DLG-2", 60.0, "looser"), ("TMP least", 70.0, "stricter"),
])  # fmt: skip
def test_a_changed_limit_is_said(limit, value, word):
    report = Report(judge_again(limited(laboratory(), limit, value, reason="the owner's brief, 3 May")))
    (line,) = lines(report, "LIM-1")
    assert (line.word, line.subject) == ("NOTE", limit)
    assert re.search(rf"{limit} is {value:g} \S+, published \d+ \S+, {word}", line.message)
    assert ("project limit only" in line.message) == (word == "looser")
    assert "reason: the owner's brief, 3 May" in line.message


def test_the_same_limit_in_another_unit_is_no_change():
    site = limited(laboratory(), "FLW-1 shower", 20 * 3.785411784, unit="L/min")
    assert lines(Report(judge_again(site)), "LIM-1") == []


def test_a_station_that_rests_on_a_looser_limit_says_so():
    site = limited(limited(laboratory(), "HOT-1", 10.0, reason="a drill"), "FLW-1 eyewash", 0.3, reason="old unit")
    report = Report(judge_again(site))
    assert "OK to project limit only: HOT-1 is 10 min, published 15 min." in report.message_of(0)
    assert "eyewash" not in report.message_of(0)  # L1 has none
    assert "FLW-1 eyewash is 0.3 gpm, published 0.4 gpm" in report.message_of(station(report.judgement, "L3"))
    assert "project limit" not in Report(judge_again(laboratory())).message_of(0)
