"""Which check governs, what a set does to its stations, and what a NOTE weighs."""

import numpy as np

from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, NOTED, PASSED, WARNED, Samples, by_opening, by_station
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import STATION_CHECKS, judge, worst_word
from drenchbook.operating_cases import Pairs
from drenchbook.report import Report
from tests.checks.sites import edited, lab, laboratory, limited, station


def samples(margin, unknown=None, severity=None):
    """Three openings with one pair each, two conditions."""
    pairs = Pairs(np.arange(4), np.array([5, 6, 7]), np.arange(3))
    margin = np.array(margin, dtype=float)
    return Samples(pairs, (("normal", 0), ("normal", 1)), margin + 1, 1.0, margin,
                   np.zeros_like(margin, dtype=bool) if unknown is None else np.array(unknown), severity)  # fmt: skip


def test_the_worst_outcome_comes_before_the_smallest_margin():
    found = by_opening(samples([[0.5, -0.2, np.nan], [0.1, 0.9, np.nan]], [[0, 0, 0], [0, 1, 0]]), 3, WARNED)
    assert found.outcome.tolist() == [PASSED, NOT_KNOWN, NONE]
    assert found.condition.tolist()[:2] == [1, 1]
    assert found.margin[0] == 0.1
    assert found.member.tolist()[:2] == [5, 6]


def test_unknown_lies_between_failure_and_warning():
    unknown = [[0, 0, 0], [1, 1, 0]]
    assert by_opening(samples([[-1, 1, 1], [1, 1, 1]], unknown), 3, FAILED).outcome.tolist() == [
        FAILED,
        NOT_KNOWN,
        PASSED,
    ]
    assert by_opening(samples([[-1, 1, 1], [1, 1, 1]], unknown), 3, WARNED).outcome.tolist()[0] == NOT_KNOWN


def test_verdicts_of_several():
    assert worst_word([PASSED, NOTED]) == "OK"
    assert worst_word([PASSED, WARNED, NOT_KNOWN]) == "UNKNOWN"
    assert worst_word([NOT_KNOWN, FAILED]) == "FAIL"
    assert worst_word([]) == "UNKNOWN"


def test_a_set_counts_for_each_of_its_stations():
    judgement = judge(laboratory())
    found = judgement.openings["HOT-1"]
    stations = by_station(found, judgement.cases, 5)
    opening = judgement.cases.find(("L1", "L2"))
    assert stations.opening[station(judgement, "L2")] == opening
    assert judgement.alone_outcomes[station(judgement, "L2")] == PASSED
    assert judgement.opening_outcome(opening) == FAILED


def test_severity_then_priority_then_margin():
    """L4 misses five checks that fail: the first of the table governs, and its worst margin names the case."""
    judgement = judge(laboratory())
    number = station(judgement, "L4")
    failed = [check.id for check in STATION_CHECKS if judgement.verdict(check, number).outcome == FAILED]
    assert failed == ["FLW-1", "PRS-1", "PRS-3", "BYP-1", "BYP-2"]
    assert judgement.governing(number).check.id == "FLW-1"
    margins = judgement.measures.required_flow("normal").margin
    pairs = judgement.cases.outlets
    own = np.isin(pairs.member, judgement.context.outlets_of[number])
    assert judgement.governing(number).margin == margins[:, own].min()


def test_a_failure_governs_a_warning_that_stands_above_it_in_the_table():
    judgement = judge(lab("valve_models", "SAMPLE TMV 45", listing=None))
    assert judgement.governing(station(judgement, "L5")).check.id == "VLV-7"
    assert judgement.verdict(CHECK_BY_ID["FLW-2"], station(judgement, "L5")).outcome == WARNED


def test_a_note_does_not_rank():
    """L2 with 90 s to flush: the purge outlasts it, and nothing else is missed."""
    site = edited(limited(laboratory(), "HOT-1", 1.5), "events", "*", users=1.0)
    judgement = judge(site)
    number = station(judgement, "L2")
    assert judgement.verdict(CHECK_BY_ID["DLG-3"], number).outcome == NOTED
    assert judgement.station_outcomes[number] == PASSED
    message = Report(judgement).message_of(number)
    assert message.startswith(f"{judgement.checks_made[number]} checks made, all met.")
    assert judgement.checks_met[number] == judgement.checks_made[number]
