"""Minutes of hot water in every fault: what is stored, made and drawn then, by hand in the worked laboratory."""

import functools
import math

import numpy as np
import pytest

from drenchbook.checks import judge
from drenchbook.hot_water import DAY, seconds_in
from drenchbook.json_cases import CaseObjects
from drenchbook.operating_cases import (
    AFTER_IDLE,
    AFTER_RECOVERY,
    COLD_LOST,
    HOT_LOST,
    MIXING,
    NORMAL,
    OTHER_DEMAND,
    POWER_LOST,
    SOURCE_COLD,
    STRAINER_FOULED,
    VALVE_OUT,
)
from drenchbook.report import Report
from drenchbook.site_file import read_site_file
from tests.checks.sites import BLANKED, LABORATORY, edited, heater, lab, laboratory, only

TANK_FARM = LABORATORY.with_name("tank_farm.toml")
TIME = {"rel": 0.02}
STORED, MADE = 150.0, 2.727  # gal that can be used and gpm that the heater makes [worked laboratory]
L1_HOT = 210.0 / 15  # gpm of hot water at the high state in the cold season [worked laboratory]


def valve(site, fault, label="L1", season="cold", supply="high"):
    """What the JSON report says of the valve in a case."""
    return valves(site)[label, season, supply, fault]


@functools.cache
def valves(site):
    """The same of all cases."""
    return {(case["label"], case["season"], case["supply"], case["fault"]): case["valves"][0]
            for case in CaseObjects(Report(judge(site))).all() if case["valves"]}  # fmt: skip


def minutes(site, fault, *case):
    return valve(site, fault, *case)["minutes_of_hot_water"]


def l1(**project):
    return edited(only(laboratory(), "L1"), "project", "", **project)


def test_power_lost_leaves_what_is_stored():
    """150 gal at 14.0 gpm: 10.7 min, where the heater stretches it to 13.3 in normal use."""
    assert minutes(l1(), NORMAL)["value"] == pytest.approx(13.3, **TIME)
    assert minutes(l1(), POWER_LOST)["value"] == pytest.approx(STORED / L1_HOT, **TIME)


@pytest.mark.parametrize(("hours", "there"), [(0.5, 30 * MADE), (2.0, STORED), (0.0, 0.0)])
def test_a_second_flush_has_what_was_made_in_the_recovery_time(hours, there):
    """The first flush needs 210 gal of 191: all is gone; half an hour makes 82 gal, two hours fill it."""
    told = minutes(l1(recovery_time=hours), AFTER_RECOVERY)
    assert told["value"] == pytest.approx(there / (L1_HOT - MADE), **TIME)


@pytest.mark.parametrize("fault", [STRAINER_FOULED, AFTER_IDLE])
def test_what_is_drawn_in_a_fault_counts(fault):
    """150 gal over the hot flow that the case itself tells, less what is made."""
    found = valve(l1(), fault)
    lasts = STORED / (found["hot_flow"]["value"] - MADE)
    assert found["minutes_of_hot_water"]["value"] == pytest.approx(lasts, rel=0.005)


def test_other_demand_on_the_main_makes_hot_water_last_longer():
    site = edited(l1(), "supplies", "SUP-1", other_demand=20.0)
    found = valve(site, OTHER_DEMAND)
    lasts = STORED / (found["hot_flow"]["value"] - MADE)
    assert found["minutes_of_hot_water"]["value"] == pytest.approx(lasts, rel=0.005)
    assert lasts > minutes(site, NORMAL)["value"]


@pytest.mark.parametrize(("fault", "word"), [
    (HOT_LOST, "does not apply"), (SOURCE_COLD, "does not apply"), (COLD_LOST, "from the valve's data"),
])  # fmt: skip
def test_a_fault_without_mixing_has_no_minutes(fault, word):
    assert minutes(l1(), fault) == {"value": None, "unit": "min", "state": word}


def test_a_case_without_an_answer_says_its_state():
    assert minutes(l1(), VALVE_OUT)["state"] == "no water: supply or valve lost"
    assert minutes(laboratory(), STRAINER_FOULED, "L3")["state"] == "not under control"
    unknown = edited(l1(), "hot_water_sources", "WH-1", needs_power=BLANKED)
    assert minutes(unknown, POWER_LOST)["state"] == "not known"
    assert minutes(unknown, STRAINER_FOULED)["value"] > 0
    assert minutes(l1(recovery_time=BLANKED), AFTER_RECOVERY)["state"] == "not known"


def test_a_heater_without_power_gives_no_minute():
    site = only(heater(start_delay=0.0, needs_power=True), "L5")
    assert minutes(site, POWER_LOST, "L5")["value"] == 0
    assert minutes(site, NORMAL, "L5")["state"] == "does not end"


def plant_main():
    return lab("hot_water_sources", "WH-1", kind="plant main", main_pressure=60.0, main_temperature=130.0,
               fed_from=None)  # fmt: skip


@pytest.mark.parametrize("site", [
    laboratory, heater, plant_main, lambda: read_site_file(TANK_FARM).site,
    lambda: lab("hot_water_sources", "WH-1", usable_fraction_source=None, start_delay=5.0),
    lambda: lab("hot_water_sources", "WH-1", start_temperature=80.0),
])  # fmt: skip
def test_normal_use_told_the_same_way_gives_the_minutes_of_hot_1(site):
    """By balances of heat and not of volumes, which differ by how water swells."""
    measures = judge(site()).measures
    again = seconds_in(measures.context, NORMAL, measures.loop_heat(NORMAL), measures.courses.sources(NORMAL)[0])
    expected = measures.hot_water.seconds
    assert np.isnan(again).tolist() == np.isnan(expected).tolist()
    assert np.minimum(again, DAY) == pytest.approx(np.minimum(expected, DAY), rel=1e-3, nan_ok=True)


def test_every_fault_with_mixing_tells_a_number_or_a_state():
    for (_, _, _, fault), told in valves(laboratory()).items():
        found = told["minutes_of_hot_water"]
        if fault in MIXING and told["mixed_temperature"]["value"] is not None:
            assert found["value"] is not None or found["state"] == "does not end"
        assert (found["value"] is None) == bool(found.get("state"))
        assert found["value"] is None or math.isfinite(found["value"])
