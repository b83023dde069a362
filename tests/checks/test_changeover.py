"""Two valves in parallel where the larger begins to open, by hand: Kv 2 and Kv 10, opening at 60 kPa.

Up to 2·√0.6 = 1.549 m³/h = 25.82 L/min the small one passes alone. From there on the large one takes what is more, and
it controls from 20 L/min: from 25.82 to 45.82 L/min of both nobody can say what it delivers.
"""

import pytest

from tests.checks.invented_sites import MODEL, OUTLETS, VALVE, check, reported, station

OPENS = 2 * 0.6**0.5 * 1000 / 60  # L/min
SMALL = {**MODEL, "seat_coefficient": 2.0, "maximum_flow": 30.0}
LARGE = {**MODEL, "model": "L", "seat_coefficient": 10.0, "minimum_flow": 20.0, "maximum_flow": 200.0}
PAIR = {**VALVE, "second_model": "L", "second_opens_at": 60.0}


def one_outlet(flow, small=SMALL, large=LARGE):
    """A station with one regulated eyewash of that flow behind both."""
    eyewash = {**OUTLETS[1], "rated_flow": flow}
    return reported(outlet_models=[OUTLETS[0], eyewash], valve_models=[small, large], mixing_valves=[PAIR],
                    stations=[station("F1", "T1", shower=None)])  # fmt: skip


@pytest.mark.parametrize(("flow", "word"), [(7, "OK"), (25.8, "OK"), (26, "FAIL"), (45, "FAIL"), (46, "OK")])
def test_between_both_valves_nobody_controls(flow, word):
    report = one_outlet(float(flow))
    told = check(report, "F1", "VLV-1")
    assert told["severity"] == word
    temperature = check(report, "F1", "TMP-1")
    assert temperature["severity"] == ("UNKNOWN" if word == "FAIL" else "OK")
    if word == "FAIL":
        assert told["limit"]["value"] == pytest.approx(OPENS + 20, rel=1e-3)
        assert "the larger valve at MV has opened and controls only from 45.9 L/min" in told["message"]
        assert "the larger valve at MV passes" in temperature["message"]
        assert temperature["remedy"].startswith("Mend VLV-1 first")


def test_the_larger_valve_that_is_named_controls():
    """At 30 L/min the large one passes 30 − 25.82 = 4.18: one that controls from 4.18 or less has no gap there."""
    told = check(one_outlet(30.0), "F1", "VLV-1")
    assert "A larger valve that controls from 4.18 L/min or less" in told["remedy"]
    assert check(one_outlet(30.0, large={**LARGE, "minimum_flow": 4.18}), "F1", "VLV-1")["severity"] == "OK"


def test_a_blank_minimum_of_the_larger_valve_is_no_control():
    blank = {key: value for key, value in LARGE.items() if key != "minimum_flow"}
    assert check(one_outlet(60.0, large=blank), "F1", "TMP-1")["severity"] == "UNKNOWN"


def test_the_greatest_flow_keeps_each_valve_inside_its_data():
    """The small one reaches its 30 L/min at (1.8/2)² = 0.81 bar, where the large one passes 10·0.9 m³/h = 150: 180 of
    both, and not 30 + 200.
    """
    told = check(one_outlet(46.0), "F1", "VLV-2")
    assert told["limit"]["value"] == pytest.approx(180.0, rel=1e-6)
    told = check(one_outlet(46.0, small={**SMALL, "maximum_flow": 20.0}), "F1", "VLV-2")
    assert (told["severity"], told["limit"]["value"]) == ("FAIL", pytest.approx(20.0))  # before the large one opens
    told = check(one_outlet(46.0, large={**LARGE, "maximum_flow": 50.0}), "F1", "VLV-2")
    assert told["limit"]["value"] == pytest.approx(OPENS + 50)  # while the large one opens


@pytest.mark.parametrize("shower", [20.0, 40.0, 66.0, 90.0])
def test_a_cold_source_finds_its_split(shower):
    """Hot seats of both and the bypass side by side: every state has an answer, wherever the pair stands."""
    outlets = [{**OUTLETS[0], "rated_flow": shower}, OUTLETS[1]]
    report = reported(outlet_models=outlets, valve_models=[SMALL, LARGE], mixing_valves=[PAIR])
    assert check(report, "F1", "DAT-3")["severity"] == "OK"
    assert check(report, "F1", "BYP-2")["severity"] != "UNKNOWN"
