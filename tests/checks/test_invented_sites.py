"""Small invented sites whose numbers are worked out beside each test, from the equations and not by the program."""

import pytest

from tests.checks.invented_sites import SUPPLY, check, reported

DRAWN = 66.0 + 7.0  # L/min, both regulated outlets


def test_the_invented_site_is_in_order():
    """Its pressure is ample and 800 L of usable hot water last 43 minutes: no station check misses."""
    report = reported()
    assert check(report, "F1", "FLW-1")["severity"] == "OK"
    assert {row["severity"] for row in [check(report, "F1", name) for name in ("HOT-1", "TMP-1", "PRS-1")]} == {"OK"}


def test_other_demand_empties_a_supply_once():
    """1500 L at 73 L/min drawn and 50 to others: 1500/123 = 12.195 min in normal use and in both failures alike; 15
    minutes need 123·15 = 1845 L.
    """
    report = reported(supplies=[{**SUPPLY, "volume": 1500.0, "other_demand": 50.0}])
    told = check(report, "F1", "SUP-2")
    assert told["severity"] == "FAIL"
    assert told["value"]["value"] == pytest.approx(1500 / (DRAWN + 50), rel=1e-3)
    assert "1845 L" in told["remedy"] or "1846 L" in told["remedy"]


def test_a_plant_main_is_fed_from_nowhere():
    """A blank "fed from" is no missing input of a plant main."""
    main = {"tag": "WH", "kind": "plant main", "main_pressure": 450.0, "main_temperature": 60.0, "main_elevation": 0.0,
            "loss_per_flow_squared": 0.002, "needs_power": "N", "needs_steam": "N", "other_demand": 0.0}  # fmt: skip
    report = reported(hot_water_sources=[main])
    assert [line for line in report.lines if line.check.id == "DAT-1" and line.word != "OK"] == []
    assert check(report, "F1", "DAT-1")["severity"] == "OK"
