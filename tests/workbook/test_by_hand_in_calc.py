"""Rows inserted, sorted and typed over in LibreOffice Calc: results stay with their tags, stale ones are told."""

import subprocess
import tempfile
import uuid
from pathlib import Path

import pytest

from drenchbook.workbook.reading import read_workbook
from drenchbook.workbook.recalculating import recalculate
from tests.hosts.calc import python_of_calc
from tests.workbook.packages import loaded
from tests.workbook.test_beside_stations import agrees, beside

VERDICTS = ("FAIL", "UNKNOWN", "WARN", "OK")
STALE = "RESULTS DO NOT BELONG TO THESE INPUTS"
SCRIPT = Path(__file__).with_name("calc_actions.py")


@pytest.fixture(scope="module")
def python():
    """The interpreter that can speak to LibreOffice: the system's own, not that of the tests."""
    return python_of_calc()


def by_hand(python, source, target, *steps):
    pipe = f"calc{uuid.uuid4().hex}"
    with tempfile.TemporaryDirectory() as profile:
        command = ["soffice", f"-env:UserInstallation=file://{profile}", "--headless", "--norestore",
                   f"--accept=pipe,name={pipe};urp;"]  # fmt: skip
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as office:
            try:
                done = subprocess.run([python, str(SCRIPT), pipe, str(source), str(target), *steps],
                                      capture_output=True, text=True, timeout=120, check=False)  # fmt: skip
                office.wait(timeout=30)
            finally:
                office.kill()
    assert done.returncode == 0, done.stderr


def schedule(path):
    rows = loaded(path, data_only=True)["Schedule"].iter_rows(min_row=10, max_row=20, max_col=35, values_only=True)
    return {row[0]: row[1:] for row in rows if row[1] in VERDICTS and len(row[0]) == 2}


def test_rows_inserted_and_sorted_keep_their_results(python, lab, tmp_path, lab_site):
    before, other = schedule(lab), tmp_path / "other.xlsx"
    by_hand(python, lab, other, "insert:Stations:8", "insert:Pipe runs:7", "insert:Pipe runs:20",
            "sort:Stations:A7:Y12")  # fmt: skip
    read = read_workbook(other)
    assert sorted(station.tag for station in read.site.stations) == ["L1", "L2", "L3", "L4", "L5"]
    assert [station.tag for station in read.site.stations] != [station.tag for station in lab_site.stations]
    assert len(read.site.pipe_runs) == len(lab_site.pipe_runs)
    done = recalculate(other)
    assert done.problems == ()
    alike(before, schedule(other), words=1)  # the names of sets follow the order of the rows


def alike(before, after, words=34):
    """Both schedules hold the same stations, the same words from the verdict on, and numbers to a billionth."""
    assert set(after) == set(before)
    for tag, row in after.items():
        numbers = [(one, other) for one, other in zip(row, before[tag], strict=True) if isinstance(other, (int, float))]
        assert len(numbers) >= 5, tag
        for one, other in numbers:
            assert one == pytest.approx(other, rel=1e-9), tag
        told = [(one or "", other or "") for one, other in zip(row, before[tag], strict=True) if isinstance(other, str)]
        assert len(told) >= 5, tag
        assert [one for one, _ in told[:words]] == [other for _, other in told[:words]], tag


def test_the_verdict_beside_a_row_goes_with_its_tag(python, lab, tmp_path, capsys):
    """Rows inserted and the table sorted in Calc: each verdict is that of the tag on its own row."""
    other = tmp_path / "other.xlsx"
    by_hand(python, lab, other, "insert:Stations:8", "sort:Stations:A7:Y12")
    order = [station.tag for station in read_workbook(other).site.stations]
    done = recalculate(other)
    assert done.formula_lines == ()
    assert list(agrees(other, capsys)) == [tag for tag in order if tag in beside(other)]
    assert set(order) == set(beside(other)) == {"L1", "L2", "L3", "L4", "L5"}


def test_a_row_filled_where_one_was_inserted_is_calculated(python, lab, tmp_path):
    other = tmp_path / "other.xlsx"
    typed = {"A": "N1", "B": "New bench", "D": "EFW-REG35", "E": "17.3", "F": "40", "M": "TR-L2"}
    by_hand(python, lab, other, "insert:Stations:9",
            *(f"type:Stations:{column}9:{value}" for column, value in typed.items()))  # fmt: skip
    done = recalculate(other)
    assert len(done.report.judgement.site.stations) == 6
    assert "N1" in schedule(other)
    texts = [str(cell) for row in loaded(other, data_only=True)["Cover"].iter_rows(values_only=True) for cell in row]
    assert "All 6 stations of sheet Stations are on the schedule." in texts


def test_an_input_typed_without_the_add_in_shows_the_banner_at_once(python, lab, tmp_path):
    other = tmp_path / "other.xlsx"
    by_hand(python, lab, other, "type:Pipe runs:F12:25")
    book = loaded(other, data_only=True)
    for sheet, cell in {"Cover": "B4", "Schedule": "A5", "Cases": "A4", "Results": "A3"}.items():
        assert STALE in str(book[sheet][cell].value), sheet
    assert "OK" not in {row[0] for row in schedule(other).values()}


INPUTS = ("Limits", "Supplies", "Hot water sources", "Line devices", "Pipe runs", "Mixing valves", "Valve models",
          "Outlet models", "Events", "Stations")  # fmt: skip


def test_rows_of_every_input_sheet_inserted_and_pipe_runs_sorted_change_nothing(python, lab, tmp_path, lab_site):
    """A blank row between the others on each sheet, then the runs in another order: the same site, results by tag."""
    other = tmp_path / "other.xlsx"
    by_hand(python, lab, other, *(f"insert:{sheet}:8" for sheet in INPUTS), "sort:Pipe runs:A7:P20")
    read = read_workbook(other)
    assert read.problems == ()
    for key in ("limits", "supplies", "hot_water_sources", "line_devices", "mixing_valves", "valve_models",
                "outlet_models", "events", "stations"):  # fmt: skip
        assert getattr(read.site, key) == getattr(lab_site, key), key
    runs, before = (sorted(site.pipe_runs, key=lambda run: run.tag) for site in (read.site, lab_site))
    assert runs == before
    assert read.site.pipe_runs != lab_site.pipe_runs
    done = recalculate(other)
    assert (done.problems, done.formula_lines) == ((), ())
    alike(schedule(lab), schedule(other))


def test_rows_deleted_copied_and_filtered_keep_their_results(python, lab, tmp_path, capsys):
    """L3 deleted, L5 copied below and named N5, the table filtered to one hazard: hidden rows count like the others."""
    other = tmp_path / "other.xlsx"
    hazard = str(loaded(lab)["Stations"]["C7"].value)
    by_hand(python, lab, other, "copy:Stations:11:12", "type:Stations:A12:N5", "delete:Stations:9",
            f"filter:Stations:A6:Y13:2:{hazard}")  # fmt: skip
    book = loaded(other, data_only=True)
    hidden = [row for row in range(7, 12) if book["Stations"].row_dimensions[row].hidden]
    assert 0 < len(hidden) < 5
    texts = [str(cell) for row in book["Cover"].iter_rows(values_only=True) for cell in row]
    assert any(text.startswith("5 stations filled in") for text in texts), "ordinary formulas follow at once"
    assert STALE in " ".join(texts)
    done = recalculate(other)
    assert (done.problems, done.formula_lines) == ((), ())
    assert [str(station.tag) for station in done.report.judgement.site.stations] == ["L1", "L2", "L4", "L5", "N5"]
    assert set(agrees(other, capsys)) == set(schedule(other)) == {"L1", "L2", "L4", "L5", "N5"}
    before, after = schedule(lab), schedule(other)
    for tag in ("L1", "L2", "L4", "L5"):  # nothing that they draw through was changed
        assert after[tag][0] == before[tag][0], tag
    copied = [row for row in range(7, 14) if book["Stations"].cell(row, 1).value in ("L5", "N5")]
    one, two = ([cell.value for cell in book["Stations"][row][1:20]] for row in copied)  # what is typed
    assert one == two
