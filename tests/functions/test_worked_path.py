"""DRENCH_PATH on the hand-calculated laboratory: its lines, what a blank means, and what is no station or case."""

from collections import Counter
from pathlib import Path

import pytest

from drenchbook.path_lines import PURGE_SHARE, path_lines
from drenchbook.result_tables import CHOICE_COLUMNS, PATH_COLUMNS
from drenchbook.site_file import read_site_file
from drenchbook.site_sheets import ReadSite
from drenchbook.table_results import report_of
from drenchbook.units import convert
from drenchbook.worksheet_functions import FUNCTION_BY_NAME
from tests.solver.random_sites import RandomSite

SAMPLES = Path(__file__).parents[2] / "samples"
LABORATORY = SAMPLES / "laboratory.toml"
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


def small(name, *given):
    """What a small function answers, in SI."""
    return float(FUNCTION_BY_NAME[f"DRENCH_{name}"].calls(*given))


def again(line):
    """What a line comes to by the small functions, as its row on the sheet asks them, and what the solver has. [SI]"""
    v = line.values
    mixture = [v.get(name) for name in ("flow", "mixed_temperature", "temperature", "cold_temperature")]
    if line.kind == "pipe":
        method = v.get("constant", "Darcy-Weisbach")
        run = (v["material"], v["size"], v["length"], v["fittings"], v["temperature"], method)
        return small("PIPE_LOSS", v["flow"], *run), v["loss"], 5.0
    if line.kind == "purge":
        found = small("RUN_PURGE_SECONDS", v["flow"], v["material"], v["size"], v["length"])
        return found, line.result, 0.05 + PURGE_SHARE * line.result
    if line.kind in ("hot flow", "cold flow"):
        return small(line.kind.upper().replace(" ", "_"), *mixture), line.result, 1e-7
    if line.kind == "stem":
        pressures = (v["pressure_1"], v["pressure_2"], v["coefficient"])
        return small("STEM_POSITION", v["flow"], v["fraction"], *pressures), line.result, 5e-5
    if line.kind in ("stratified tank", "mixed tank"):
        volume, flow, made = 1000 * v["volume"], 60_000 * v["flow"], 60_000 * v["flow_1"]  # L and L/min
        tank = (volume, v["fraction"], v["temperature"], v["cold_temperature"], v["mixed_temperature"], flow, made)
        minutes = FUNCTION_BY_NAME["DRENCH_STORAGE_MINUTES"](*tank, line.kind.split()[0], v["approach"], "SI")
        return 60 * minutes, line.result, 0.3
    return 0.0, 0.0, 0.0


def disagreeing(report, every):
    """Lines of one case of `every` that the small functions do not confirm, and how many of each kind were asked."""
    wrong, asked = [], Counter()
    for fault, state, opening in list(report.case_list())[::every]:
        for station in report.cases.stations.member[report.cases.stations.of(opening)].tolist():
            for line in path_lines(report, station, opening, state, fault):
                found, wanted, tolerance = again(line)
                asked[line.kind] += 1
                if not abs(found - wanted) <= tolerance:
                    wrong.append((report.cases.label(opening), state, fault, line.step, found, wanted))
    return wrong, asked


@pytest.mark.parametrize(("sample", "every"), [("tank_farm", 5), ("laboratory", 3)])
def test_cases_of_a_sample_are_confirmed_by_the_small_functions(sample, every):
    """Every kind of fault; the tank farm's storage also makes good what its loop loses."""
    wrong, asked = disagreeing(report_of(read_site_file(SAMPLES / f"{sample}.toml"), sample), every)
    assert wrong == []
    assert min(asked[kind] for kind in ("pipe", "purge", "hot flow", "stem", "mixed tank", "stratified tank")) > 5


@pytest.mark.parametrize("seed", [1, 13, 21])
def test_cases_of_random_sites_are_confirmed_by_the_small_functions(seed):
    """Sets in which a station is starved among them: nothing passes its runs, and no time is told."""
    report = report_of(ReadSite(RandomSite(seed).site(), (), {}), "random")
    starved = (report.judgement.results.normal.outlet_flow == 0).any()
    wrong, asked = disagreeing(report, 7)
    assert wrong == []
    assert asked["pipe"] > 20
    assert starved or seed != 13
