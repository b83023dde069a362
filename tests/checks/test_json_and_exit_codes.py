"""The JSON report and the exit codes of `recalc`: 0 all OK or WARN, 1 something FAIL or UNKNOWN, 2 a file is broken."""

import functools
import json
import re
import subprocess
import sys
from typing import Literal

import pytest
from pydantic import BaseModel, ConfigDict, TypeAdapter, model_validator

from drenchbook.command_line import main
from drenchbook.operating_cases import (
    AFTER_IDLE,
    AFTER_RECOVERY,
    FAULTS,
    HOT_LOST,
    NORMAL,
    POWER_LOST,
    SOURCE_COLD,
    STATES,
)
from drenchbook.site_file import site_text
from tests.checks.sites import BLANKED, LABORATORY, edited, lab, laboratory, only

Severity = Literal["FAIL", "UNKNOWN", "WARN", "OK", "NOTE"]
Word = Literal["FAIL", "UNKNOWN", "WARN", "OK"]
STATES_WITHOUT_NUMBER = (
    "supply cannot reach", "missing input", "beyond curve points", "not converged", "no flow path",
    "not under control", "does not end", "does not apply", "not known", "without limit", "never",
    "from the valve's data", "no water: supply or valve lost",
)  # fmt: skip


class Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)


class Number(Strict):
    value: float | None
    unit: str
    state: str = ""

    @model_validator(mode="after")
    def a_null_says_why(self):
        assert (self.value is None) == (self.state in STATES_WITHOUT_NUMBER)
        assert self.value is not None or self.state
        return self


class Check(Strict):
    id: str
    severity: Severity
    value: Number
    limit: Number
    margin: float | None
    unit: str
    case: str
    message: str
    remedy: str


class Judged(Strict):
    verdict: Word
    governing_check: str
    governing_case: str
    margin: float | None
    checks: list[Check]


class Station(Judged):
    tag: str
    alone: Word


class Set(Judged):
    stations: list[str]
    events: list[str]


class Line(Strict):
    id: str
    subject: str
    severity: Severity
    case: str
    value: Number
    limit: Number
    message: str
    remedy: str


class CaseOutlet(Strict):
    station: str
    outlet: str
    flow: Number
    pressure: Number


class CaseValve(Strict):
    valve: str
    flow: Number
    hot_flow: Number
    cold_flow: Number
    hot_pressure: Number
    cold_pressure: Number
    chamber_pressure: Number
    stem_position: Number
    hot_fraction: Number
    mixed_temperature: Number
    minutes_of_hot_water: Number
    assumed_at_set_temperature: bool


class CaseCourse(Strict):
    station: str
    tepid: Number
    first_water: Number
    first_water_lasts: Number
    not_tepid_before: Number
    tepid_after: Number
    lowest: Number
    highest: Number


class CaseStorage(Strict):
    source: str
    left: Number
    ready_again: Number


class Case(Strict):
    stations: list[str]
    label: str
    season: Literal["cold", "warm"]
    supply: Literal["low", "high"]
    fault: str
    changed: str
    state: str
    outlets: list[CaseOutlet]
    valves: list[CaseValve]
    course: list[CaseCourse]
    storage: list[CaseStorage]


class StateSupply(Strict):
    supply: str
    static: Number | None = None
    residual: Number | None = None
    test_flow: Number | None = None
    curve: list[dict[Literal["flow", "pressure"], Number]] | None = None


class State(Strict):
    season: Literal["cold", "warm"]
    supply: Literal["low", "high"]
    cold_water: Number
    outside_air: Number
    room: Number
    ground: Number
    irradiance: Number
    sun: Literal["shines", "does not shine", "not known"]
    supplies: list[StateSupply]


class Fault(Strict):
    fault: str
    changed: str


class Problem(Strict):
    sheet: str
    cell: str
    tag: str
    value: str | None
    message: str
    breaks_file: bool


class File(Strict):
    file: str
    verdict: Word
    units: Literal["US", "SI", ""]
    problems: list[Problem]
    site: list[Line]
    sets: list[Set]
    stations: list[Station]
    states: list[State]
    faults: list[Fault]
    cases: list[Case]


class Report(Strict):
    files: list[File]


def quiet():
    """L5 alone with other water and a bigger tank: nothing fails."""
    site = only(lab("hot_water_sources", "WH-1", volume=400.0), "L5")
    return edited(site, "supplies", "SUP-1", static_low=76.0, residual_low=67.0)


BROKEN = "[project\n"
SITES = {
    "laboratory": (laboratory, 1), "quiet": (quiet, 0),
    "blank": (lambda: edited(quiet(), "pipe_runs", "TR-L5", developed_length=BLANKED), 1),
    "no stations": (lambda: only(laboratory()), 1),
    "unreachable": (lambda: lab("stations", "L5", outlet_1_elevation=300.0), 1),
    "beyond": (lambda: lab("line_devices", "B-1", curve=((0.0, 11.5), (10.0, 10.6), (20.0, 10.2))), 1),
    "no bypass": (lambda: lab("mixing_valves", "MV-1", parallel_bypass=False), 1),
    "unknown tag": (lambda: lab("pipe_runs", "TR-L5", fed_from="TR-X"), 2),
    "ring": (lambda: lab("pipe_runs", "TR-A", fed_from="TR-L5"), 2),
    "too many sets": (lambda: crowd(), 2),
}  # fmt: skip


def crowd():
    """An event of 40 stations and 20 users: more sets than anyone has thought through."""
    site = laboratory()
    rows = [site.stations[2].model_copy(update={"tag": f"E{number}"}) for number in range(40)]
    site = site.model_copy(update={"stations": (*site.stations, *rows)})
    return edited(site, "events", "bench 1", stations=tuple(row.tag for row in rows), users=20.0)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    path = tmp_path_factory.mktemp("sites")
    for name, (site, _) in SITES.items():
        (path / f"{name}.toml").write_text(site_text(site()), encoding="utf-8")
    (path / "broken.toml").write_text(BROKEN, encoding="utf-8")
    (path / "words.txt").write_text("no site", encoding="utf-8")
    (path / "sham.xlsx").write_text("no workbook", encoding="utf-8")
    return path


@functools.cache
def adapter():
    return TypeAdapter(Report)


def recalc_json(capsys, *files):
    code = main(["recalc", "--json", "--jobs", "1", *map(str, files)])
    printed = capsys.readouterr().out
    return code, adapter().validate_json(printed), json.loads(printed)


@pytest.mark.parametrize("name", SITES)
def test_exit_code_and_schema(name, folder, capsys):
    code, report, plain = recalc_json(capsys, folder / f"{name}.toml")
    (file,) = report.files
    assert code == SITES[name][1]
    assert (file.verdict in ("OK", "WARN")) == (code == 0)
    assert file.file.endswith(f"{name}.toml")
    assert any(problem.breaks_file for problem in file.problems) == (code == 2)
    if code == 2:
        assert file.stations == file.cases == []
        return
    lines = [line.severity for line in file.site] if file.stations else []  # without a station nothing is shown
    assert file.verdict == worst([one.verdict for one in file.stations] + lines)
    for one in [*file.stations, *file.sets]:
        assert one.verdict == worst([check.severity for check in one.checks])
        assert (one.governing_check == "") == (one.verdict == "OK")
        for check in one.checks:
            assert check.message
            assert bool(check.remedy) == (check.severity != "OK")
    openings = {case.label for case in file.cases}
    faults = {case.fault for case in file.cases}
    assert not file.cases or {NORMAL, HOT_LOST, SOURCE_COLD, AFTER_IDLE} <= faults <= set(FAULTS)
    assert len(file.cases) == len(openings) * len(STATES) * len(faults)
    for case in file.cases:
        numbers = [number for outlet in case.outlets for number in (outlet.flow, outlet.pressure)]
        assert all((number.value is not None) == (case.state == "solved") for number in numbers
                   if case.state != "from the valve's data")  # fmt: skip
        assert all(number.state in ("", case.state) for number in numbers)
    assert plain["files"][0]["units"] == "US"


def worst(words):
    """The verdict of several, by the order of the page; of none UNKNOWN."""
    for word in ("FAIL", "UNKNOWN", "WARN"):
        if word in words:
            return word
    return "OK" if words else "UNKNOWN"


def test_numbers_of_the_laboratory_stand_in_the_report(capsys):
    """The hand calculation's L4 at low supply: 14.38 + 2.82 gpm at 15.5 psi, pm 48.88, hot fraction 0.4886."""
    _, report, _ = recalc_json(capsys, LABORATORY)
    (case,) = [case for case in report.files[0].cases
               if (case.label, case.season, case.supply, case.fault) == ("L4", "cold", "low", "normal")]  # fmt: skip
    assert [outlet.flow.value for outlet in case.outlets] == pytest.approx([14.38, 2.82], rel=0.01)
    assert {outlet.flow.unit for outlet in case.outlets} == {"gpm"}
    (valve,) = case.valves
    assert valve.chamber_pressure.value == pytest.approx(48.88, abs=0.4)
    assert valve.hot_fraction.value == pytest.approx(0.4886, rel=0.01)
    assert valve.mixed_temperature.value == pytest.approx(85.0)
    (low,) = [case for case in report.files[0].cases
              if (case.label, case.season, case.supply, case.fault) == ("L3", "cold", "low", "normal")]  # fmt: skip
    assert low.valves[0].mixed_temperature.state == "not under control"
    assert low.valves[0].assumed_at_set_temperature
    (heavy,) = [case for case in report.files[0].cases
                if (case.label, case.season, case.supply, case.fault) == ("L2", "cold", "low", "normal")]  # fmt: skip
    assert heavy.valves[0].minutes_of_hot_water.state == "does not end"


def test_what_the_cases_rest_on_is_told_once(capsys):
    """The worked laboratory's seasons and supply states; every case names a state and a fault that are told."""
    _, report, _ = recalc_json(capsys, LABORATORY)
    (file,) = report.files
    states = {(one.season, one.supply): one for one in file.states}
    assert [(key, one.cold_water.value, one.room.value) for key, one in states.items()] == [
        (("cold", "low"), 42, 70), (("cold", "high"), 42, 70), (("warm", "low"), 74, 70), (("warm", "high"), 74, 70),
    ]  # fmt: skip
    for level, static, residual in (("low", 66, 57), ("high", 79, 73)):
        (supply,) = states["cold", level].supplies
        assert (supply.supply, supply.static.value, supply.residual.value, supply.test_flow.value) == (
            "SUP-1", static, residual, 60)  # fmt: skip
    assert {(one.season, one.supply) for one in file.cases} == set(states)
    told = {one.fault: one.changed for one in file.faults}
    assert {(one.fault, one.changed) for one in file.cases} == set(told.items())
    assert told[NORMAL] == ""
    assert told[AFTER_RECOVERY] == "drawn again after the recovery time: 2.00 h"
    assert told[POWER_LOST] == "WH-1 is not heated"


def test_a_supply_curve_is_told_by_its_points(capsys, tmp_path):
    points = ((0.0, 66.0), (60.0, 57.0))
    path = tmp_path / "curve.toml"
    path.write_text(site_text(edited(quiet(), "supplies", "SUP-1", curve_low=points)), encoding="utf-8")
    _, report, _ = recalc_json(capsys, path)
    state = next(one for one in report.files[0].states if one.supply == "low")
    assert [(one["flow"].value, one["pressure"].value) for one in state.supplies[0].curve] == list(points)


@pytest.mark.parametrize(("name", "words"), [
    ("broken.toml", "broken.toml"), ("words.txt", "is not a workbook"), ("sham.xlsx", "sham.xlsx"),
    ("none.toml", "none.toml"), ("unknown tag.toml", 'sheet Pipe runs, pipe_runs['), ("ring.toml", "closes a ring"),
    ("too many sets.toml", "200,000"),
])  # fmt: skip
def test_a_broken_file_says_what_is_wrong_and_ends_with_2(name, words, folder, capsys):
    assert main(["recalc", str(folder / name)]) == 2
    printed = capsys.readouterr()
    assert words in printed.err
    assert printed.out == ""
    assert "Traceback" not in printed.err


def test_a_cell_that_cannot_be_read_is_unknown_and_named(folder, capsys):
    text = re.sub(r"developed_length = 40(\.0)?\n", 'developed_length = "40,5"\n', site_text(quiet()))
    (folder / "comma.toml").write_text(text, encoding="utf-8")
    assert main(["recalc", str(folder / "comma.toml")]) == 1
    printed = " ".join(capsys.readouterr().out.split())
    assert "sheet Pipe runs, pipe_runs[" in printed.replace("Sheet", "sheet")
    assert "type 40.5 with a decimal point" in printed


def test_several_files_are_worked_on_at_once_and_the_worst_code_counts(folder, capsys):
    files = [folder / f"{name}.toml" for name in ("quiet", "laboratory", "ring")]
    code, report, _ = recalc_json(capsys, *files)
    assert code == 2
    assert [file.verdict for file in report.files] == [report.files[0].verdict, "FAIL", "UNKNOWN"]
    answer = subprocess.run(
        [sys.executable, "-m", "drenchbook.command_line", "recalc", "--json", "--jobs", "2", *map(str, files)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert answer.returncode == 2
    assert adapter().validate_json(answer.stdout) == report
    assert "2 of 3" in answer.stderr


@pytest.mark.parametrize(("name", "code"), [("quiet", 0), ("laboratory", 1), ("unknown tag", 2)])
def test_exit_codes_of_the_program(name, code, folder):
    answer = subprocess.run(
        [sys.executable, "-m", "drenchbook.command_line", "recalc", str(folder / f"{name}.toml")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert answer.returncode == code
    assert ("Cautions: Design aid." in answer.stdout) == (code < 2)
