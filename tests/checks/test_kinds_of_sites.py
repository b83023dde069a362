"""Sites of other kinds than the laboratory: no valve, two valves, other hot water, no stations, too cold water."""

import datetime

import pytest

from drenchbook.check_samples import FAILED, NONE, NOT_KNOWN, NOTED, PASSED, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import message, remedy
from drenchbook.checks import CASE_CHECKS, STATION_CHECKS, judge
from drenchbook.hot_water import DAY
from drenchbook.report import Report
from drenchbook.site_tables import TABLE_BY_KEY
from drenchbook.solver_results import BEYOND_CURVE, CANNOT_REACH, MISSING, NO_PATH, SOLVED
from tests.checks.sites import BLANKED, added, edited, heater, lab, laboratory, lines, only, station

OF_A_VALVE = {check.id for check in STATION_CHECKS if check.id.startswith(("VLV", "BYP", "HOT", "DLG"))}
OF_A_VALVE |= {"FRZ-2", "LOP-1"}  # of heated runs and loops, which that station has not
OF_A_VALVE -= {"DLG-1"}  # water that stood in the heat scalds with or without a valve


def verdict(judgement, check, tag):
    return judgement.verdict(CHECK_BY_ID[check], station(judgement, tag))


def words(judgement, check, tag):
    number = station(judgement, tag)
    return message(judgement, judgement.verdict(CHECK_BY_ID[check], number), number)


def test_a_station_without_a_valve_is_judged_without_one():
    """Cold water of 62 °F in both seasons is tepid as it comes: no check of a valve applies, all others are met."""
    site = edited(lab("stations", "L3", fed_from="CW-1"), "project", "", cold_water_cold=62.0, cold_water_warm=74.0)
    judgement = judge(site)
    number = station(judgement, "L3")
    for check in STATION_CHECKS:
        outcome = judgement.verdict(check, number).outcome
        assert outcome == (NONE if check.id in OF_A_VALVE else PASSED), check.id
    row = Report(judgement).schedule_rows()[number]
    assert row[6] == "none"


def test_a_station_without_a_valve_passes_on_cold_water_only_where_it_is_tepid():
    judgement = judge(lab("stations", "L3", fed_from="CW-1"))
    assert verdict(judgement, "TMP-1", "L3").outcome == FAILED


def test_each_station_is_judged_by_its_own_valve():
    site = added(laboratory(), "valve_models", **{**laboratory().valve_models[0].model_dump(), "model": "SMALL",
                                                  "minimum_flow": 0.3, "listing": None})  # fmt: skip
    site = added(
        site, "mixing_valves", **{**laboratory().mixing_valves[0].model_dump(), "tag": "MV-2", "model": "SMALL"}
    )
    site = edited(site, "pipe_runs", "TR-L3", fed_from="MV-2")
    judgement = judge(site)
    assert verdict(judgement, "VLV-1", "L3").outcome == PASSED
    assert verdict(judgement, "VLV-7", "L3").outcome == FAILED
    assert verdict(judgement, "VLV-7", "L1").outcome == PASSED
    assert verdict(judgement, "TMP-1", "L3").outcome == PASSED
    assert {line.subject for line in lines(Report(judgement), "BYP-4")} == {"MV-1", "MV-2"}


def reduced(static, setting=60.0):
    """The laboratory behind a pressure-reducing valve at the head of its common run."""
    device = {"tag": "PRV-1", "kind": "pressure-reducing valve", "loss_per_flow_squared": 0.0, "setting": setting}
    site = added(lab("supplies", "SUP-1", static_high=static), "line_devices", **device)
    return edited(site, "pipe_runs", "CM-1", devices=("PRV-1", "M-1", "S-1", "B-1"))


@pytest.mark.parametrize(
    ("static", "outcome", "words"),
    [
        # 0.4331 psi a foot: 1.7 psi less at the valve, 4 ft up, and 3.0 less at the outlets of L1, 7 ft up
        (81.0, PASSED, None),
        (85.0, NOTED, "valve MV-1 stands at 83.3 psi without flow, limit 80.0 psi."),
        (110.0, WARNED, "shower stands at 107.0 psi without flow, limit 100.0 psi."),
    ],
)
def test_a_reducing_valve_that_may_fail_is_told(static, outcome, words):
    judgement = judge(reduced(static))
    found = verdict(judgement, "PRS-2", "L1")
    assert found.outcome == outcome
    if words:
        sentence = message(judgement, found, station(judgement, "L1"))
        assert sentence == "Should a pressure-reducing valve creep or stay open, " + words
        assert remedy(judgement, found).startswith("A relief valve behind the reducing valve, at ")
    assert verdict(judge(lab("supplies", "SUP-1", static_high=85.0)), "PRS-2", "L1").outcome == FAILED


def plant_main(**cells):
    return lab("hot_water_sources", "WH-1", kind="plant main", main_pressure=60.0, main_temperature=130.0,
               main_elevation=0.0, **cells)  # fmt: skip


def test_a_plant_main_does_not_run_out():
    report = Report(judge(plant_main()))
    assert verdict(report.judgement, "HOT-1", "L1").outcome == PASSED
    assert lines(report, "HOT-2") == lines(report, "HOT-5") == lines(report, "HOT-6") == []
    assert lines(report, "BYP-4")[0].word == "OK"  # two mains


@pytest.mark.parametrize("column", ["main_pressure", "main_temperature", "main_elevation"])
def test_a_plant_main_with_a_blank_is_unknown(column):
    judgement = judge(edited(plant_main(), "hot_water_sources", "WH-1", **{column: BLANKED}))
    assert verdict(judgement, "HOT-1", "L1").outcome == NOT_KNOWN
    assert (judgement.station_outcomes >= NOT_KNOWN).all()


STEAM = {"kind": "steam heat exchanger", "capacity": 8e5, "tolerance": 5.0}


@pytest.mark.parametrize(
    "cells", [{}, {"kind": "instantaneous electric"}, STEAM], ids=lambda cells: str(cells.get("kind"))
)
def test_a_source_without_a_tank_is_endless_while_it_keeps_up(cells):
    report = Report(judge(heater(**cells)))
    assert verdict(report.judgement, "HOT-1", "L1").outcome == PASSED
    assert verdict(report.judgement, "HOT-1", "L1").value == DAY
    assert lines(report, "HOT-2") == lines(report, "HOT-5") == lines(report, "HOT-6") == []


@pytest.mark.parametrize(
    ("cells", "heading"),
    [({}, column) for column in ("Input power", "Efficiency", "Minimum firing flow", "Maximum rise", "Minimum power")]
    + [(STEAM, column) for column in ("Capacity", "Outlet tolerance")],
)
def test_a_source_without_a_tank_and_with_a_blank_is_unknown(cells, heading):
    (column,) = [c.name for c in TABLE_BY_KEY["hot_water_sources"].columns if c.heading == heading]
    judgement = judge(heater(**{**cells, column: BLANKED}))
    for check in ("HOT-1", "TMP-1") + (() if column == "tolerance" else ("HOT-4",)):
        assert verdict(judgement, check, "L1").outcome == NOT_KNOWN, check
        assert f"ot water sources WH-1: {heading} is blank" in words(judgement, check, "L1")
    assert judgement.station_outcomes.min() >= NOT_KNOWN


@pytest.mark.parametrize("cells", [{"input_power": 3e5, "efficiency": 0.8}, {**STEAM, "capacity": 2.4e5}])
def test_too_little_power_gives_a_colder_mix_and_no_minute(cells):
    """240,000 Btu/h in 28.62 gpm of 8.30 lb/gal, from 42 °F: 16.8 °F more. The set temperature is not held."""
    judgement = judge(only(heater(**cells), "L1"))
    assert verdict(judgement, "HOT-1", "L1").value == 0
    assert verdict(judgement, "HOT-4", "L1").outcome == FAILED
    delivered = verdict(judgement, "TMP-1", "L1")
    assert delivered.outcome == FAILED
    assert delivered.value * 1.8 + 32 == pytest.approx(42 + 240_000 / (28.62 * 8.305 * 60), abs=0.2)


def test_below_its_firing_flow_a_heater_gives_cold_water():
    judgement = judge(only(heater(minimum_firing_flow=4.0), "L2"))  # 3.5 gpm take 1.7 gpm of hot water
    assert verdict(judgement, "HOT-1", "L2").value == 0
    assert verdict(judgement, "TMP-1", "L2").value * 1.8 + 32 == pytest.approx(42)


@pytest.mark.parametrize("kind", ["storage", "plant main"])
def test_hot_water_colder_than_set_lasts_no_time(kind):
    """Set 85 °F from water of 80 °F: the valve runs full hot and stays below; HOT-1 is no pass, whatever is stored."""
    site = lab("hot_water_sources", "WH-1", kind=kind, volume=50000.0, start_temperature=80.0, main_pressure=60.0,
               main_temperature=80.0, main_elevation=0.0)  # fmt: skip
    judgement = judge(edited(site, "project", "", room_cold=80.0, room_warm=80.0))  # pipes lose nothing
    minutes = verdict(judgement, "HOT-1", "L1")
    assert (minutes.outcome, minutes.value) == (FAILED, 0.0)
    assert "lasts 0.0 min of 15.0 min" in words(judgement, "HOT-1", "L1")
    assert verdict(judgement, "VLV-3", "L1").outcome == FAILED
    assert verdict(judgement, "TMP-1", "L1").value == pytest.approx((80 - 32) / 1.8)  # all hot: 80 °F


def test_cold_water_warmer_than_set_is_delivered_as_it_is():
    """Set 85 °F, cold water 101 °F in the warm season: TMP-2 fails at 101 °F, VLV-3 notes it."""
    judgement = judge(lab("project", "", cold_water_warm=101.0))
    delivered = verdict(judgement, "TMP-2", "L1")
    assert (delivered.outcome, delivered.value) == (FAILED, pytest.approx((101 - 32) / 1.8))
    assert verdict(judgement, "VLV-3", "L1").outcome == NOTED


@pytest.mark.parametrize("column", ["users", "showers"])
def test_an_event_without_users_leaves_its_stations_unknown(column):
    judgement = judge(lab("events", "bench 2", **{column: BLANKED}))
    for tag in ("L2", "L5"):
        assert verdict(judgement, "DAT-1", tag).outcome == NOT_KNOWN
        assert f"Events bench 2: {column.title()} at once" in words(judgement, "DAT-1", tag)
    assert verdict(judgement, "DAT-1", "L4").outcome == PASSED


def test_an_event_that_names_no_station_may_strike_any():
    judgement = judge(lab("events", "bench 2", stations=BLANKED))
    assert all(judgement.findings["DAT-1"][number].outcome == NOT_KNOWN for number in range(5))


def test_a_station_without_outlets_is_unknown():
    judgement = judge(lab("stations", "L5", outlet_1=BLANKED))
    number = station(judgement, "L5")
    assert judgement.station_outcomes[number] == NOT_KNOWN
    for check in CASE_CHECKS:
        assert judgement.verdict(check, number).outcome in (NONE, NOT_KNOWN), check.id
    assert "Outlet 1" in words(judgement, "DAT-1", "L5")


def test_a_site_without_stations_shows_nothing_and_is_unknown():
    report = Report(judge(only(laboratory())))
    assert report.verdict == "UNKNOWN"
    assert report.schedule_rows() == report.set_rows() == report.case_rows() == []


# ---- states without an answer ----


def test_what_the_supply_cannot_reach_fails_and_says_no_water():
    """Outlets 300 ft up: 66 psi reach 152 ft."""
    judgement = judge(lab("stations", "L5", outlet_1_elevation=300.0))
    number = station(judgement, "L5")
    assert (judgement.results.normal.state[:, number] == CANNOT_REACH).all()
    assert verdict(judgement, "FLW-1", "L5").outcome == FAILED
    assert "no water (supply cannot reach) of 20.0 gpm" in words(judgement, "FLW-1", "L5")
    _nothing_is_met(judgement, number)


def test_beyond_a_curve_is_unknown_and_names_it():
    judgement = judge(lab("line_devices", "B-1", curve=((0.0, 11.5), (10.0, 10.6), (20.0, 10.2))))
    number = station(judgement, "L5")
    assert (judgement.results.normal.state[:, number] == BEYOND_CURVE).any()
    assert verdict(judgement, "FLW-1", "L5").outcome == NOT_KNOWN
    assert "beyond the points of B-1" in words(judgement, "FLW-1", "L5")
    _nothing_is_met(judgement, number)
    assert lines(Report(judgement), "SUP-1")[0].word == "UNKNOWN"


def test_beyond_the_valves_curve_fails_its_data():
    curve = ((1.0, 0.01), (10.0, 0.83), (20.0, 3.3))
    judgement = judge(lab("valve_models", "SAMPLE TMV 45", seat_coefficient=BLANKED, seat_curve=curve))
    assert verdict(judgement, "VLV-2", "L5").outcome == FAILED
    assert "passes more than its curve" in words(judgement, "VLV-2", "L5")


def test_a_missing_input_leaves_every_case_unknown():
    judgement = judge(lab("pipe_runs", "TR-L5", size=BLANKED))
    number = station(judgement, "L5")
    assert (judgement.results.normal.state[:, number] == MISSING).all()
    for check in CASE_CHECKS:
        assert judgement.verdict(check, number).outcome in (NONE, NOT_KNOWN), check.id
    assert "TR-L5: Size is blank" in words(judgement, "FLW-1", "L5")


def test_a_valve_without_a_bypass_gives_no_water_when_hot_pressure_is_lost():
    judgement = judge(lab("mixing_valves", "MV-1", parallel_bypass=False))
    assert (judgement.results.faults[1].state == NO_PATH).all()
    assert verdict(judgement, "BYP-1", "L1").outcome == FAILED
    assert "no water (no flow path)" in words(judgement, "BYP-1", "L1")
    assert verdict(judgement, "BYP-5", "L1").outcome == NONE


def test_whether_a_bypass_is_fitted_must_be_known():
    judgement = judge(lab("mixing_valves", "MV-1", parallel_bypass=BLANKED))
    for check in ("BYP-1", "BYP-2", "BYP-5"):
        assert verdict(judgement, check, "L1").outcome == NOT_KNOWN


def _nothing_is_met(judgement, number):
    """No check of the cases is OK for the station alone, where some of its cases have no answer."""
    for check in CASE_CHECKS:
        found = judgement.openings[check.id]
        if check.id not in ("BYP-1", "BYP-2", "HOT-1", "HOT-3"):
            assert found.outcome[number] in (NONE, WARNED, NOT_KNOWN, FAILED), check.id
        assert found.outcome[number] != PASSED or (judgement.results.faults[1].state[:, number] == SOLVED).all()


def test_the_volume_of_a_supply_is_counted_down():
    """500 gal at 22 gpm, held by the regulator of L5, last 22.7 min; a supply without a volume is endless."""
    alone = only(lab("supplies", "SUP-1", volume=500.0), "L5")
    found = judge(alone).verdict(CHECK_BY_ID["SUP-2"], 0)
    assert (found.word, found.value / 60) == ("OK", pytest.approx(500 / 22, rel=0.005))
    endless = judge(only(laboratory(), "L5")).verdict(CHECK_BY_ID["SUP-2"], 0)
    assert (endless.word, endless.value) == ("OK", 86400.0)


def test_a_flow_test_of_the_future_is_unknown():
    report = Report(judge(lab("supplies", "SUP-1", test_date=datetime.date(2026, 6, 1))))
    assert lines(report, "DAT-4")[0].word == "UNKNOWN"


@pytest.mark.parametrize(("table", "cells"), [
    ("hot_water_sources", {"volume": 0.0}), ("hot_water_sources", {"usable_fraction": 0.0}),
    ("hot_water_sources", {"efficiency": 0.0}), ("hot_water_sources", {"input_power": 0.0}),
    ("hot_water_sources", {"start_temperature": 500.0}), ("hot_water_sources", {"start_delay": 60.0}),
    ("valve_models", {"approach_hot": 500.0}), ("project", {"cold_water_cold": 131.0}),
])  # fmt: skip
def test_a_zero_or_a_wild_number_breaks_nothing_and_helps_nobody(table, cells):
    tag = {"hot_water_sources": "WH-1", "valve_models": "SAMPLE TMV 45", "project": ""}[table]
    report = Report(judge(lab(table, tag, **cells)))
    outcomes = report.judgement.station_outcomes
    assert (outcomes >= WARNED).all()
    assert verdict(report.judgement, "HOT-1", "L1").outcome in (FAILED, NOT_KNOWN)
    assert len(report.schedule_rows()) == 5


@pytest.mark.parametrize(("table", "tag", "cells", "sentence"), [
    ("hot_water_sources", "WH-1", {"start_temperature": 150.0},
     "Start temperature must be at most the set temperature: it is the thermostat's lower edge"),
    ("mixing_valves", "MV-1", {"second_opens_at": 5.0},
     "Second model is blank, but a pressure at which it opens is typed: name it, or clear that"),
])  # fmt: skip
def test_numbers_that_contradict_another_cell_are_not_used(table, tag, cells, sentence):
    """A draw that starts hotter than the set temperature would last longer than the tank can."""
    judgement = judge(lab(table, tag, **cells))
    assert verdict(judgement, "DAT-1", "L1").outcome == NOT_KNOWN
    assert sentence in verdict(judgement, "DAT-1", "L1").about
    assert verdict(judgement, "HOT-1", "L1").outcome == NOT_KNOWN
