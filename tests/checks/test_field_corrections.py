"""What to correct first after a field test: one input is wrong, and its readings lead back to that input."""

import functools
import math

import pytest

from drenchbook.checks import judge
from drenchbook.convert_command import in_units
from drenchbook.errors import InputError
from drenchbook.field_day import DayOfTest
from drenchbook.field_windows import Windows
from drenchbook.report import Report
from drenchbook.result_tables import CORRECTION_COLUMNS, FIELD_COLUMNS, FIELD_LINE, FIELD_SECONDS
from drenchbook.site_tables import TABLES
from drenchbook.units import from_si, to_si, unit_of
from tests.checks.sites import lab, laboratory
from tests.us_units import GPM, PSI, celsius

DAY = DayOfTest(static=66 * PSI, cold=celsius(42), hot=celsius(130), pressure_error=0.0, temperature_error=0.0)
TABLE_BY_SHEET = {table.sheet: table for table in TABLES}
NAMES = [column.name for column in CORRECTION_COLUMNS]
EACH_UNIT = pytest.mark.parametrize("units", ["US", "SI"])


@functools.cache
def judged(units):
    return report(laboratory(), units)


def report(site, units="US"):
    return Report(judge(site if units == "US" else in_units(site, units)))


def windows(site, key, day=DAY):
    """The row of one line, by column."""
    rows = [dict(zip([c.name for c in FIELD_COLUMNS], row, strict=True)) for row in site.field_rows(day)]
    return next(row for row in rows if row["key"] == key)


def corrected(site, key, verdicts, day=DAY, **readings):
    """What comes of a line with these readings, in the units of the site, and these verdicts."""
    tag, outlet = key.split(" | ")
    line = dict.fromkeys(FIELD_LINE) | windows(site, key, day) | {"tag": tag, "outlet": outlet} | readings
    line |= dict.fromkeys(("static_verdict", "flow_verdict", "pressure_verdict", "temperature_verdict"), "PASS")
    line |= {"flow_low": line["flow"], "flow_high": line["flow"], "result": "FAIL"} | verdicts
    (row,) = site.correction_rows(day, [[line[name] for name in FIELD_LINE]])
    return dict(zip(NAMES, row, strict=True))


def shown(value, quantity, units):
    return float(from_si(value, unit_of(quantity, units)))


def real(site, number, outlet):
    """Flow and pressure that a site with that one wrong input gives. [m³/s], [Pa]"""
    found = Windows(site, DAY).of_outlet(number, outlet)
    return (found["flow_least"] + found["flow_most"]) / 2, (found["pressure_least"] + found["pressure_most"]) / 2


def middle(least, most):
    return (least + most) / 2


@EACH_UNIT
@pytest.mark.parametrize(
    ("table", "row", "column", "truth", "station", "outlet"),
    [
        ("pipe_runs", "TR-L4", "developed_length", 220.0, "L4", 0),
        ("pipe_runs", "TR-L4", "developed_length", 60.0, "L4", 0),
        ("outlet_models", "SH-ORIFICE", "rated_flow", 15.0, "L1", 0),
        ("outlet_models", "SH-REG22", "rated_flow", 18.0, "L5", 0),
    ],
)
def test_flow_and_pressure_of_a_site_with_one_wrong_input_lead_back_to_it(
    table, row, column, truth, station, outlet, units
):
    designed = judged(units)
    tags = [str(one.tag) for one in laboratory().stations]
    number = tags.index(station)
    first = designed.context.outlets_of[number][outlet]
    flow, pressure = real(lab(table, row, **{column: truth}), number, first)
    key = f"{station} | shower"
    flow, pressure = shown(flow, "flow", units), shown(pressure, "pressure", units)
    found = corrected(designed, key, {"flow_verdict": "FAIL"}, flow=flow, flowing=pressure)
    now = TABLE_BY_SHEET[found["sheet"]].column(column)
    assert (found["sheet"], found["row"], found["column"]) == (TABLE_BY_SHEET[found["sheet"]].sheet, row, now.heading)
    wanted = float(from_si(to_si(truth, now.unit("US")), now.unit(units)))
    assert found["suggested"] == pytest.approx(wanted, rel=0.01)
    assert found["unit"] == now.unit(units)


@EACH_UNIT
def test_an_orifice_is_corrected_by_the_root_of_pressure(units):
    """By hand: 10 gpm at 15.6 psi is k = 10/√15.6, so 10 · √(30/15.6) = 13.87 gpm at the rated 30 psi."""
    flow, pressure = shown(10 * GPM, "flow", units), shown(15.6 * PSI, "pressure", units)
    site = judged(units)
    found = corrected(site, "L4 | shower", {"flow_verdict": "FAIL"}, flow=flow, flowing=pressure)
    assert (found["row"], found["column"]) == ("SH-ORIFICE", "Rated flow")
    assert found["suggested"] == pytest.approx(shown(10 * math.sqrt(30 / 15.6) * GPM, "flow", units), rel=5e-4)
    assert "gives 69 %" in found["sentence"]  # of 20 · √(15.6/30) = 14.42 gpm
    assert found["now"] == pytest.approx(shown(20 * GPM, "flow", units), rel=1e-5)


@EACH_UNIT
def test_a_static_pressure_is_explained_by_the_height_of_the_outlet(units):
    """By hand: the middle of 66 − 0.4331 · 35 and the same less 11.5 is 45.09; 3 psi less is 6.93 ft more."""
    site = judged(units)
    window = windows(site, "L5 | shower")
    read = middle(window["static_least"], window["static_most"]) - shown(3 * PSI, "pressure", units)
    found = corrected(site, "L5 | shower", {"static_verdict": "FAIL"}, static=read)
    assert (found["sheet"], found["row"], found["column"]) == ("Stations", "L5", "Elevation 1")
    assert found["suggested"] == pytest.approx(shown((35 + 3 / 0.4331) * 0.3048, "length", units), rel=1e-3)


@EACH_UNIT
def test_steady_hot_readings_are_the_set_temperature(units):
    """92 °F at every reading after the first minute, where 85 is typed."""
    readings = {f"t{s}": shown(celsius(92 if s >= 45 else 70), "temperature", units) for s in FIELD_SECONDS}
    found = corrected(judged(units), "L1 | shower", {"temperature_verdict": "FAIL"}, **readings)
    assert (found["sheet"], found["row"], found["column"]) == ("Mixing valves", "MV-1", "Set temperature")
    assert found["now"] == pytest.approx(shown(celsius(85), "temperature", units), rel=1e-5)
    assert found["suggested"] == pytest.approx(shown(celsius(92), "temperature", units), abs=0.01)


@EACH_UNIT
def test_hot_water_that_ends_early_is_the_usable_part_of_the_tank(units):
    """Good at 5 min, cold at 10: it ends at 450 s. t = fV/(xq − r) is proportional to f: 0.75 · (450 − purge)/t."""
    site = judged(units)
    window = windows(site, "L1 | shower")
    readings = {f"t{s}": shown(celsius(70 if s < 45 else 85 if s <= 300 else 60), "temperature", units)
                for s in FIELD_SECONDS}  # fmt: skip
    found = corrected(site, "L1 | shower", {"temperature_verdict": "FAIL"}, **readings)
    assert (found["sheet"], found["row"], found["column"]) == ("Hot water sources", "WH-1", "Usable fraction")
    assert found["suggested"] == pytest.approx(0.75 * (450 - 23) / (60 * window["lasts"]), rel=0.005)


def test_water_that_comes_late_is_the_length_of_the_run_that_holds_most():
    """Cold at 60 s, tepid at 2 min: 90 s, halfway. With the length that is suggested the day's own time is 90 s."""
    readings = {f"t{s}": 85 if s >= 120 else 50 for s in FIELD_SECONDS}
    found = corrected(judged("US"), "L1 | shower", {"temperature_verdict": "FAIL"}, **readings)
    assert (found["sheet"], found["row"], found["column"]) == ("Pipe runs", "TR-A", "Developed length")
    again = windows(report(lab("pipe_runs", "TR-A", developed_length=found["suggested"])), "L1 | shower")
    assert again["settled"] == pytest.approx(90, rel=0.002)


def test_cold_first_water_is_the_room():
    readings = {f"t{s}": 85 if s >= 45 else 50 for s in FIELD_SECONDS}
    found = corrected(judged("US"), "L1 | shower", {"temperature_verdict": "FAIL"}, **readings)
    assert (found["sheet"], found["row"], found["column"]) == ("Project", "Room, cold season", "Value")
    assert (found["now"], found["suggested"]) == (70, 50)


def test_readings_on_both_sides_are_no_setting():
    readings = {f"t{s}": 70 if s < 45 else 95 if s % 2 else 75 for s in FIELD_SECONDS}
    found = corrected(judged("US"), "L1 | shower", {"temperature_verdict": "FAIL"}, **readings)
    assert (found["sheet"], found["row"], found["column"]) == ("Mixing valves", "MV-1", "Check valves")
    assert found["now"] == "Y"


@EACH_UNIT
def test_the_flow_with_hot_water_shut_leads_back_to_the_bypass(units):
    truth = Windows(lab("valve_models", "SAMPLE TMV 45", bypass_coefficient=6.0), DAY)
    flow = shown(middle(*truth.lost_flow(3)), "flow", units)
    site = judged(units)
    found = corrected(site, "MV-1 | valve group", {"flow_verdict": "FAIL"}, flow=flow)
    assert (found["sheet"], found["column"]) == ("Valve models", "Bypass coefficient")
    wanted = float(from_si(to_si(6.0, unit_of("flow coefficient", "US")), unit_of("flow coefficient", units)))
    assert found["suggested"] == pytest.approx(wanted, rel=0.005)


def test_leakage_and_time_of_a_valve_are_what_was_read():
    """By hand: 0.2 gal in 30 s is 0.4 gpm."""
    site, key = judged("US"), "MV-1 | valve group"
    found = corrected(site, key, {"static_verdict": "FAIL"}, static=0.2, flowing=30)
    assert (found["column"], found["now"], found["suggested"]) == ("Leakage, cold lost", 0.2, 0.4)
    found = corrected(site, key, {"pressure_verdict": "FAIL"}, pattern=4.5)
    assert (found["column"], found["now"], found["suggested"]) == ("Shut-off time, cold lost", 4, 4.5)


def test_a_pattern_or_a_loss_test_alone_names_an_input():
    site, key = judged("US"), "L1 | shower"
    found = corrected(site, key, {}, pattern="N", loss_test="Y", flowing=38.3)
    assert (found["row"], found["column"], found["now"]) == ("SH-ORIFICE", "Least pressure, maker's", "blank")
    assert found["suggested"] == "over 38.3"
    found = corrected(site, key, {}, pattern="Y", loss_test="N")
    assert (found["sheet"], found["column"]) == ("Valve models", "Bypass coefficient")
    assert "valve MV-1" in found["sentence"]


def test_what_is_as_computed_corrects_nothing():
    """L4 gives 14.4 gpm of 20 by hand: the design is at fault, no input."""
    found = corrected(judged("US"), "L4 | shower", {"flow_verdict": "FAIL"}, flow=14.4, flowing=15.6)
    assert found["sheet"] == "–"
    assert found["sentence"].startswith("As computed")


def test_a_flow_without_its_pressure_is_not_explained():
    found = corrected(judged("US"), "L1 | shower", {"flow_verdict": "FAIL"}, flow=15.0)
    assert found["sheet"] == "–"
    assert found["sentence"].startswith("Measure the flowing pressure first")


def test_lines_of_no_station_and_lines_that_passed_stay_blank():
    site = judged("US")
    blank = [None] * len(FIELD_LINE)
    strange = dict.fromkeys(FIELD_LINE) | {"tag": "L9", "outlet": "shower", "result": "FAIL"}
    passed = dict.fromkeys(FIELD_LINE) | {"tag": "L1", "outlet": "shower", "result": "PASS", "static": 62.0}
    rows = site.correction_rows(DAY, [blank, [strange[n] for n in FIELD_LINE], [passed[n] for n in FIELD_LINE]])
    assert [dict(zip(NAMES, row, strict=True))["sentence"] for row in rows] == ["–", "–", "–"]
    assert [row[:2] for row in rows] == [["–", 0.0], ["L9 | shower", 0.0], ["L1 | shower", 62.0]]


def test_lines_that_are_too_narrow_are_refused():
    with pytest.raises(InputError, match=r"readings = 3.*from station to result"):
        judged("US").correction_rows(DAY, [[1, 2, 3]])


def test_windows_in_si_are_those_in_us_units():
    us, si = judged("US").field_rows(DAY), judged("SI").field_rows(DAY)
    numbers = 0
    for one, other in zip(us, si, strict=True):
        for column, a, b in zip(FIELD_COLUMNS, one, other, strict=True):
            if isinstance(a, float):
                numbers += 1
                assert float(to_si(b, column.unit("SI"))) == pytest.approx(
                    float(to_si(a, column.unit("US"))), rel=1e-7, abs=1e-9
                ), (column.name, one[0])
            else:
                assert a == b
    assert numbers > 80


def test_windows_in_si_are_the_hand_calculations():
    """Worked site, low supply: L1 22.54 gpm at 38.1 psi are 85.3 L/min at 262.7 kPa; 85 ± 4 °F are 27.2 to 31.7 °C."""
    row = windows(judged("SI"), "L1 | shower")
    assert row["flow_least"] == pytest.approx(85.3, rel=0.01)
    assert row["pressure_least"] == pytest.approx(262.7, abs=2.8)
    assert (row["temperature_least"], row["temperature_most"]) == pytest.approx((27.22, 31.67), abs=0.005)
    assert row["static_most"] == pytest.approx(6.894757 * (66 - 7 * 0.4331), abs=0.4)
