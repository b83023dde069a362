"""Fifteen minutes in the laboratory, with numbers by hand, and what every fault does to them."""

import functools
import math

import numpy as np
import pytest

from drenchbook.checks import judge
from drenchbook.convert_command import in_units
from drenchbook.courses import Courses
from drenchbook.errors import InputError
from drenchbook.operating_cases import (
    AFTER_IDLE,
    AFTER_RECOVERY,
    HOT_LOST,
    NORMAL,
    POWER_LOST,
    SOURCE_COLD,
    STATES,
)
from drenchbook.report import Report
from drenchbook.result_tables import COURSE_COLUMNS, NO_RESULT, NOT_KNOWN
from drenchbook.site_sheets import full_grids
from drenchbook.site_tables import TABLES
from drenchbook.worksheet_functions import FUNCTION_BY_NAME
from tests.checks.sites import BLANKED, COLD_HIGH, COLD_LOW, WARM_LOW, edited, heater, lab, laboratory, only

GALLON, GPM = 231 * 0.0254**3, 231 * 0.0254**3 / 60
BENCH = "L1 + L2: cold season, high supply"
NAMES = [column.name for column in COURSE_COLUMNS]


@functools.cache
def told(site=None) -> Report:
    return Report(judge(laboratory() if site is None else site))


def pair_of(report, stations, station, outlet=""):
    cases = report.cases
    part = cases.stations.of(cases.find(stations, outlet))
    members = [cases.station_tags[s].strip() for s in cases.stations.member[part]]
    return part.start + members.index(station)


def summary(report, name, stations, station, state, fault=NORMAL, outlet=""):
    one = report.judgement.measures.courses.summary(fault)
    return float(getattr(one, name)[state, pair_of(report, stations, station, outlet)])


def rows(report, *asked):
    return [dict(zip(NAMES, row, strict=True)) for row in report.course_rows(*asked)]


def test_bench_1_holds_its_temperature_for_eleven_minutes_and_the_purge():
    """31.30 gpm: 11.9 min of hot water [worked laboratory]; at L2 it arrives 67 s later, its own first water tepid."""
    report = told()
    purge = summary(report, "purge", ("L1", "L2"), "L2", COLD_HIGH)
    assert summary(report, "inside", ("L1", "L2"), "L2", COLD_HIGH) == pytest.approx(11.9 * 60 + purge, rel=0.02)
    assert summary(report, "first", ("L1", "L2"), "L2", COLD_HIGH) * 1.8 + 32 == pytest.approx(70)
    assert summary(report, "untepid", ("L1", "L2"), "L2", COLD_HIGH) == 0


def test_after_the_tank_only_the_heater_warms_the_water():
    """150,000 · 0.8 Btu/h in 31.30 gpm of water from 42 °F: 120,000 / (31.30 · 8.305 · 60) = 7.7 °F more."""
    last = rows(told(), "L1", BENCH)[-1]
    assert (last["time"], last["hot"]) == (900, pytest.approx(42 + 7.7, abs=0.1))
    assert last["outlet"] == pytest.approx(last["hot"], abs=0.2)
    assert last["outlet_other"] > last["outlet"]  # the mixed tank still holds something


def test_a_course_begins_with_what_stood_and_then_holds_the_set_temperature():
    course = rows(told(), "L1", BENCH)
    assert [one["time"] for one in course[:9]] == [0, 5, 10, 15, 20, 30, 45, 60, 75]
    assert len(course) == 64
    assert course[0]["outlet"] == course[0]["mixed"] == 70.0  # the room, in tempered and hot runs alike
    assert course[0]["case"] == BENCH
    assert {one["case"] for one in course[1:]} == {""}
    held = [one for one in course if 45 <= one["time"] <= 660]
    assert all(one["outlet"] == pytest.approx(85, abs=0.2) and one["hot"] == 130 for one in held)
    assert {(one["least"], one["greatest"]) for one in course} == {(60.0, 100.0)}


def test_more_mixing_never_keeps_the_set_temperature_longer():
    """Of a usable fraction of 1, so that every share of the tank takes part in each model."""
    report = told(lab("hot_water_sources", "WH-1", usable_fraction=1.0))
    lasts = []
    for fraction in (0.0, 0.25, 0.5, 0.75, 0.9, 1.0):
        course = rows(report, "L1", BENCH, fraction)
        lasts.append(sum(one["hot"] >= 105 for one in course))  # set and approach
    assert lasts == sorted(lasts, reverse=True)
    assert lasts[0] > lasts[-1]
    whole, mixed = (rows(report, "L1", BENCH, fraction) for fraction in (0.0, None))
    assert [one["hot"] for one in whole] == pytest.approx([one["hot"] for one in mixed])  # the stratified tank governs
    nearly, full = (rows(report, "L1", BENCH, fraction) for fraction in (0.975, 1.0))
    assert max(abs(a["hot"] - b["hot"]) for a, b in zip(nearly, full, strict=True)) < 4


def test_what_is_not_known_is_said():
    (unknown,) = rows(told(), "zz")
    assert unknown["outlet"] == NO_RESULT
    assert unknown["case"] == '"zz" is no tag of the sheet Stations'
    (unknown,) = rows(told(), "L1", "noon")
    assert "is no case of L1" in unknown["case"]
    drip = rows(told(), "L3", "L3: cold season, low supply")  # 0.5 gpm, below the control of the valve
    assert {one["mixed"] for one in drip} == {NOT_KNOWN}
    assert {one["outlet"] for one in drip} == {70.0}  # 21 min of first water


@pytest.mark.parametrize("fault", [HOT_LOST, SOURCE_COLD])
def test_without_hot_water_only_the_first_water_is_tepid(fault):
    report = told()
    purge = summary(report, "purge", ("L5",), "L5", COLD_LOW, fault)
    assert summary(report, "inside", ("L5",), "L5", COLD_LOW, fault) == pytest.approx(purge, rel=0.01)
    assert summary(report, "lowest", ("L5",), "L5", COLD_LOW, fault) * 1.8 + 32 == pytest.approx(42)
    assert summary(report, "tepid_after", ("L5",), "L5", COLD_LOW, fault) == math.inf
    warm = STATES.index(("warm", "low"))  # 74 °F as it comes
    assert summary(report, "inside", ("L5",), "L5", warm, fault) == 900


def test_power_lost_leaves_the_store_alone():
    """150 gal over 10.75 gpm · 85 °F's share: L5 draws 161 gal in 15 min [worked laboratory], 150 last 13.97 min."""
    report = told()
    purge = summary(report, "purge", ("L5",), "L5", COLD_LOW, POWER_LOST)
    lasts = summary(report, "inside", ("L5",), "L5", COLD_LOW, POWER_LOST) - purge
    assert lasts == pytest.approx(150 / 161 * 900, rel=0.02) or lasts == pytest.approx(900 - purge, rel=1e-9)
    unknown = told(lab("hot_water_sources", "WH-1", needs_power=BLANKED))
    assert math.isnan(summary(unknown, "inside", ("L5",), "L5", COLD_LOW, POWER_LOST))


def test_power_lost_stops_a_heater_without_storage():
    report = told(heater(start_delay=0.0, needs_power=True))
    assert summary(report, "inside", ("L5",), "L5", COLD_LOW) == 900
    purge = summary(report, "purge", ("L5",), "L5", COLD_LOW, POWER_LOST)
    assert summary(report, "inside", ("L5",), "L5", COLD_LOW, POWER_LOST) < purge + 60
    assert summary(report, "lowest", ("L5",), "L5", COLD_LOW, POWER_LOST) * 1.8 + 32 == pytest.approx(42)


def traced(run, exposure="outside"):
    """One run of the laboratory traced at 85 °F, with air of 20 °F and 95 °F outside."""
    site = edited(only(laboratory(), "L5"), "project", "", outside_air_cold=20.0, outside_air_warm=95.0)
    return edited(site, "pipe_runs", run, exposure=exposure, held_temperature=85.0)


def test_without_power_a_traced_run_has_what_is_around_it():
    """Its heating may need power: 20 °F in the cold season and 95 °F in the warm one, where it held 85 °F."""
    report = told(traced("TR-L5"))
    for fault, cold, warm in ((NORMAL, 70, 70), (POWER_LOST, 20, 95)):  # farthest from 80 °F: rooms of 70 °F, then it
        found = [summary(report, "first", ("L5",), "L5", state, fault) * 1.8 + 32 for state in (COLD_LOW, WARM_LOW)]
        assert found == pytest.approx([cold, warm])
    assert "nothing holds the temperature of TR-L5" in report.changed(POWER_LOST)


def test_without_power_a_traced_hot_run_keeps_the_valve_waiting():
    """4.13 gal with the wall of cold water at 20 °F: 11.3 s at 22 gpm, then it is tepid."""
    report = told(traced("HW-1"))
    assert summary(report, "untepid", ("L5",), "L5", COLD_LOW) == 0
    waits = summary(report, "untepid", ("L5",), "L5", COLD_LOW, POWER_LOST)
    assert waits == pytest.approx(4.13 / 22 * 60, rel=0.02)


def test_tracing_alone_makes_a_case_of_lost_power():
    site = lab("hot_water_sources", "WH-1", needs_power=False)
    assert POWER_LOST not in told(site).judgement.results.names
    held = edited(site, "pipe_runs", "TR-L5", held_temperature=85.0)
    assert POWER_LOST in told(held).judgement.results.names


def test_a_heater_that_starts_late_sends_cold_water_first():
    """0.75 min of 42 °F behind tepid first water: not tepid for 45 s, DLG-2."""
    report = told(heater(start_delay=0.75))
    assert summary(report, "untepid", ("L5",), "L5", COLD_LOW) == pytest.approx(45)
    course = rows(report, "L5", "L5: cold season, low supply")
    cold = [one["time"] for one in course if one["outlet"] < 60]
    assert cold
    assert max(cold) - min(cold) <= 45
    assert math.isnan(summary(told(heater(start_delay=BLANKED)), "untepid", ("L5",), "L5", COLD_LOW))


def test_a_repeat_begins_with_what_was_made_meanwhile():
    """2.727 gpm for 0.25 h make 41 gal of the 150: with nothing left L1 + L2 has 41 gal and 2.727 gpm over 15.3 gpm."""
    report = told(edited(laboratory(), "project", "", recovery_time=0.25))
    first = summary(report, "inside", ("L1", "L2"), "L1", COLD_HIGH)
    purge = summary(report, "purge", ("L1", "L2"), "L1", COLD_HIGH, AFTER_RECOVERY)
    again = summary(report, "inside", ("L1", "L2"), "L1", COLD_HIGH, AFTER_RECOVERY)
    hot = 229 / 15  # gpm [worked laboratory]
    assert again - purge == pytest.approx(2.727 * 15 / (hot - 2.727) * 60, rel=0.03)
    assert again < first
    unknown = told(edited(laboratory(), "project", "", recovery_time=BLANKED))
    assert math.isnan(summary(unknown, "inside", ("L1", "L2"), "L1", COLD_HIGH, AFTER_RECOVERY))
    assert summary(told(), "inside", ("L1", "L2"), "L1", COLD_HIGH, AFTER_RECOVERY) == pytest.approx(first)  # 2 h


def test_what_is_left_and_when_it_is_ready_again():
    """L4: 149 of 190.9 gal [worked laboratory]; bench 1 leaves nothing and takes 1.17 h."""
    report = told()
    left, ready = report.judgement.measures.courses.storage(NORMAL)
    cases = report.cases
    bench, far = (cases.sources.of(cases.find(one)).start for one in (("L1", "L2"), ("L4",)))
    assert left[COLD_HIGH, far] / GALLON == pytest.approx(190.9 - 149, abs=3)
    assert left[COLD_HIGH, bench] == 0
    assert ready[COLD_HIGH, bench] / 3600 == pytest.approx(1.17, rel=0.02)


def test_standing_water_arrives_run_by_run():
    """One run of L5 in a hot attic (110 °F typed as held): not tepid for its share of the purge only."""
    site = edited(laboratory(), "pipe_runs", "TR-L5", held_temperature=110.0)
    report = told(only(site, "L5"))
    network = report.judgement.network
    content = network.purge_sum[network.run_node[network.run_tags.index("TR-L5")]]
    content -= network.purge_sum[network.parent[network.run_node[network.run_tags.index("TR-L5")]]]
    assert summary(report, "untepid", ("L5",), "L5", COLD_LOW) == pytest.approx(content / (22 * GPM), rel=0.02)
    assert summary(report, "highest", ("L5",), "L5", COLD_LOW) * 1.8 + 32 == pytest.approx(110)
    idle = summary(report, "untepid", ("L5",), "L5", COLD_LOW, AFTER_IDLE)
    assert idle == 0  # nothing is held then: the room's 70 °F


def test_blocks_and_row_order_change_nothing(monkeypatch):
    judgement = told().judgement
    whole = Courses(judgement.context).summary()
    monkeypatch.setattr("drenchbook.courses.BLOCK_PAIRS", 3)
    parts = Courses(judgement.context).summary()
    for name in ("inside", "untepid", "lowest", "highest", "tepid_after"):
        assert np.array_equal(getattr(whole, name), getattr(parts, name), equal_nan=True)


def test_the_worksheet_function_gives_the_rows_of_the_report():
    """DRENCH_COURSE from the tables as ranges: padded; a fraction out of range and a tag typed twice are told."""
    grids, course = full_grids(laboratory()), FUNCTION_BY_NAME["DRENCH_COURSE"]
    tables = [grids[table.key] for table in TABLES]
    given = course(*tables, "L1", BENCH, 0.5, 70.0)
    assert given[:64] == told().course_rows("L1", BENCH, 0.5)
    assert given[64:] == [[""] * len(COURSE_COLUMNS)] * 6
    assert course(*tables, "L1", BENCH) == told().course_rows("L1", BENCH)
    with pytest.raises(InputError, match=r"mixed_fraction = 1\.5: must be from 0 to 1"):
        course(*tables, "L1", BENCH, 1.5)
    first, *_ = course(*tables[:-1], [*tables[-1], tables[-1][1]], "L1", BENCH)
    assert first[:-1] == [NO_RESULT] * (len(COURSE_COLUMNS) - 1)
    assert "this tag stands already" in first[-1]


def test_us_and_si_tell_the_same_course():
    """The same laboratory typed in SI: every temperature converts."""
    metric = Report(judge(in_units(laboratory(), "SI")))
    for one, other in zip(rows(told(), "L1", BENCH), rows(metric, "L1", BENCH), strict=True):
        assert one["time"] == other["time"]
        for name in ("hot", "mixed", "outlet", "outlet_other", "least"):
            assert (one[name] - 32) / 1.8 == pytest.approx(other[name], abs=1e-6)
