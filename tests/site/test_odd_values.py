"""Values of a site file that no cell of a workbook can hold: a sentence each, never a traceback."""

import pytest

from drenchbook.checks import judge
from drenchbook.command_line import main
from drenchbook.convert_command import in_units
from drenchbook.report import Report
from drenchbook.site_file import site_of_document
from drenchbook.site_model import Missing
from drenchbook.site_sheets import full_grids, read_grids
from drenchbook.table_results import report_of
from tests.checks.invented_sites import MODEL, PROJECT, SUPPLY, check, document, reported
from tests.checks.sites import LABORATORY, lab

LISTS = ([], [1, 2], {"a": 1})


@pytest.mark.parametrize("value", [*LISTS, 10**400, -(10**400), float("nan"), float("inf")], ids=lambda v: str(v)[:12])
@pytest.mark.parametrize(
    "setting", ["cold_water_cold", "recovery_time", "calculation_date", "friction_method", "sun_warm"]
)
def test_what_is_no_single_number_is_a_sentence(setting, value):
    read = site_of_document(document(project={**PROJECT, setting: value}), "odd")
    assert any(problem.cell == f"project.{setting}" for problem in read.problems)
    assert report_of(read, "odd").verdict in ("UNKNOWN", "FAIL")


@pytest.mark.parametrize(
    ("typed", "words"),
    [("1,5", "type 1.5 with a decimal point"), ("1,250", "type 1.250 with a decimal point, or 1250 without a mark"),
     ("0,250", "type 0.250 with a decimal point")],
)  # fmt: skip
def test_a_comma_may_mean_two_things(typed, words):
    read = site_of_document(document(project={**PROJECT, "recovery_time": typed}), "odd")
    (problem,) = [one for one in read.problems if one.cell == "project.recovery_time"]
    assert problem.remedy.endswith(words)


def problems(**tables):
    return {one.cell: one.remedy for one in site_of_document(document(**tables), "odd").problems}


@pytest.mark.parametrize(("column", "most"), [("static_low", 10_000), ("test_flow_high", 60_000)])
def test_more_than_any_site_has_is_refused(column, most):
    """100 bar and 1 m³/s are the most that is read; one more is a slip of digits."""
    for value, told in ((most, False), (most * 1.001, True), (1e30, True)):
        found = problems(supplies=[{**SUPPLY, "static_high": 10_000.0, column: float(value)}])
        assert ("beyond what any site has" in found.get(f"supplies[1].{column}", "")) == told


def test_next_to_nothing_is_no_number():
    assert "next to nothing" in problems(supplies=[{**SUPPLY, "test_flow_low": 1e-30}])["supplies[1].test_flow_low"]


@pytest.mark.parametrize("curve", [[1, 2], [[1], [2, 3]], "0 60; 1e9 20", {"a": 1}])
def test_odd_curves_are_a_sentence(curve):
    device = {"tag": "B", "kind": "meter", "curve": curve}
    assert "write points as" in problems(line_devices=[device])["line_devices[1].curve"]


@pytest.mark.parametrize(
    ("table", "first", "second"),
    [("supplies", "static_low", "static_high"), ("project", "cold_water_cold", "cold_water_warm"),
     ("project", "outside_air_cold", "outside_air_warm"), ("valve_models", "set_minimum", "set_maximum")],
)  # fmt: skip
def test_a_least_above_the_greatest_is_unknown(table, first, second):
    """A low state above the high one would hide its pressure from PRS-2, a swapped season its cold from TMP-1."""
    row = {"supplies": SUPPLY, "project": PROJECT, "valve_models": MODEL}[table]
    swapped = {**row, first: row[second], second: row[first]}
    tables = {table: swapped if table == "project" else [swapped]}
    read = site_of_document(document(**tables), "odd")
    assert {one.cell.rpartition(".")[2] for one in read.problems} == {first, second}
    assert all("mend the one that is wrong" in one.remedy for one in read.problems)
    assert report_of(read, "odd").verdict in ("UNKNOWN", "FAIL")
    equal = {table: {**row, first: row[second]} if table == "project" else [{**row, first: row[second]}]}
    assert problems(**equal) == {}


def test_cold_water_below_freezing_is_a_mix_of_units():
    """8 °C typed where °F are asked for is ice."""
    us = Report(judge(lab("project", "", cold_water_cold=8.0)))
    si = reported(project={**PROJECT, "cold_water_cold": -3.0})
    for report, tag, ice in ((us, "L5", "8 °F; water is liquid from 32 to 230 °F"), (si, "F1", "-3 °C; water is")):
        told = check(report, tag, "FLW-1")
        assert told["severity"] == "UNKNOWN"
        assert ice in told["message"]


def test_a_refused_number_stays_refused_in_other_units():
    """2,000 psi are more than any site has; as 13,790 kPa they are still, and not 2,000 kPa, which a site may have."""
    us = site_of_document(
        document(project={**PROJECT, "units": "US"}, supplies=[{**SUPPLY, "static_high": 2000.0}]), "u"
    )
    other = in_units(us.site, "SI")
    assert other.supplies[0].static_high.typed == pytest.approx(2000 * 6.894757)
    assert isinstance(read_grids(full_grids(other)).site.supplies[0].static_high, Missing)


def test_a_site_file_has_no_output(tmp_path, capsys):
    """A site file is only reported on: --output would write nothing, and says so."""
    assert main(["recalc", str(LABORATORY), "--output", str(tmp_path / "new" / "out.xlsx")]) == 2
    assert "a site file is only reported on; convert makes a workbook of it" in capsys.readouterr().err
    assert not (tmp_path / "new").exists()


def test_spare_rows_are_none_or_more(tmp_path, capsys):
    assert main(["convert", str(LABORATORY), str(tmp_path / "out.xlsx"), "--spare", "-3"]) == 2
    assert "--spare = -3: must be zero or more rows" in capsys.readouterr().err
    assert not (tmp_path / "out.xlsx").exists()
