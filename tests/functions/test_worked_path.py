"""DRENCH_PATH on the hand-calculated laboratory: its lines, what a blank means, and what is no station or case."""

from pathlib import Path

import pytest

from drenchbook.result_tables import CHOICE_COLUMNS, PATH_COLUMNS
from drenchbook.site_file import read_site_file
from drenchbook.table_results import report_of
from drenchbook.units import convert

LABORATORY = Path(__file__).parents[2] / "samples" / "laboratory.toml"
NAMES = [column.name for column in PATH_COLUMNS]


@pytest.fixture(scope="module")
def report():
    return report_of(read_site_file(LABORATORY), "laboratory")


def lines(report, *asked):
    return [dict(zip(NAMES, row, strict=True)) for row in report.path_rows(*asked)]


# The step-by-step column of the hand calculation of station L4, losses in psi.
HAND = {"Meter M-1": 0.473, "Strainer S-1": 0.266, "Backflow preventer B-1": 10.312, "Pipe CM-1": 0.199,
        "Pipe CW-1": 0.147, "Pipe TR-A": 1.019, "Pipe TR-B": 0.712, "Pipe TR-L4": 10.727}  # fmt: skip


@pytest.mark.parametrize("step", HAND)
def test_a_line_is_the_hand_calculations(step, report):
    found = {line["step"]: line for line in lines(report, "L4", "L4: cold season, low supply")}
    assert found[step]["loss"] == pytest.approx(HAND[step], rel=0.02)


def test_every_line_begins_where_the_one_before_it_ended(report):
    """The solver's own pressures: each is that of the line it begins after, less its loss."""
    found = lines(report, "L4", "l4:  Cold season, low supply")
    assert found[0]["step"] == "L4: cold season, low supply"
    checked = 0
    for line in found[1:]:
        if isinstance(line["after"], float) and line["after"] > 0:
            assert line["pressure"] == pytest.approx(found[int(line["after"]) - 1]["pressure"] - line["loss"], abs=1e-6)
            checked += 1
    assert checked > 12
    seats = next(line for line in found if line["kind"] == "seats, hot lower")
    lower, other = (found[int(seats[side]) - 1] for side in ("after", "other_after"))
    assert [lower["part"], other["part"]] == ["Hot side", "Cold side"]
    assert lower["pressure"] < other["pressure"]


def test_a_blank_is_the_path_of_least_margin(report):
    """Hand calculation: L4's outlets get 15.5 psi of 30 in normal use, the least of all; less still with hot lost."""
    assert lines(report)[0]["tag"] == "L4"
    assert lines(report)[0]["step"] in ("L4: cold season, low supply", "L4: cold season, low supply, hot pressure lost")


def test_a_blank_case_is_the_one_that_governs(report):
    assert lines(report, "L1")[0]["step"] == "L1 + L2: cold season, high supply"


@pytest.mark.parametrize(
    ("station", "case", "words"),
    [("L9", "", '"L9" is no tag of the sheet Stations'), ("L1", "L5: cold season, low supply", "is no case of L1"),
     ("L1", "L1: cold season, middling supply", "is no case of L1"), ("L1", "tomorrow", "is no case of L1")],
)  # fmt: skip
def test_what_is_no_station_or_case_is_told(station, case, words, report):
    found = lines(report, station, case)
    assert len(found) == 1
    assert found[0]["kind"] == "UNKNOWN"
    assert words in found[0]["step"]


def test_with_hot_pressure_lost_all_water_takes_the_bypass(report):
    found = lines(report, "L1", "L1: cold season, low supply, hot pressure lost")
    assert {line["part"] for line in found} >= {"Cold side", "Mixing valve", "Tempered", "Outlet"}
    assert "Hot side" not in {line["part"] for line in found}
    (bypass,) = [line for line in found if line["part"] == "Mixing valve"]
    assert bypass["coefficient"] == 8
    assert bypass["loss"] == pytest.approx((bypass["flow"] / 8) ** 2, rel=1e-6)


def test_the_purge_of_l3_takes_21_minutes(report):
    """Hand calculation: 21 min at 0.5 gpm with the pipe wall."""
    total = lines(report, "L3", "L3: cold season, low supply")[-1]
    assert total["kind"] == "purge total"
    assert convert(total["result"], total["result_unit"], "min") == pytest.approx(21, abs=0.5)


def test_choices_are_those_of_the_station(report):
    rows = report.choice_rows("L2")
    columns = dict(zip((column.name for column in CHOICE_COLUMNS), zip(*rows, strict=True), strict=True))
    assert [word for word in columns["open"] if word] == ["L2", "L1 + L2", "L2 + L5"]
    assert columns["season"][:3] == ("cold", "warm", "")
    assert columns["fault"][0] == "normal"
