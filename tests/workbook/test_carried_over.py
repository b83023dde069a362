"""Convert takes along what a person typed beside the site: each entry at the words that led to it, in the new units."""

import datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drenchbook.command_line import main
from drenchbook.convert_command import in_units
from drenchbook.units import convert
from drenchbook.workbook.building import write_workbook
from drenchbook.workbook.carried_over import _in_unit, carried_from, open_cells
from drenchbook.workbook.left_behind import left_behind
from drenchbook.workbook.reading import read_workbook
from tests.workbook.packages import loaded

OLD = Path(__file__).parent / "older"
DAY = datetime.datetime(2026, 5, 4)


def labelled(sheet, words):
    """The open cell to the right of a label."""
    for row in sheet.iter_rows():
        for cell in row:
            if str(cell.value or "").startswith(words):
                return next(other for other in row[cell.column :] if not other.protection.locked)
    raise AssertionError(words)


def under(sheet, words, row, first="Station"):
    """The cell in a row under a heading of the table that begins with `first`."""
    top = next(cell.row for cell in sheet["A"] if cell.value == first)
    place = next(cell.column for cell in sheet[top] if cell.value == words)
    return sheet.cell(row, place)


def line_of(sheet, tag, outlet):
    return next(row[0].row for row in sheet.iter_rows(max_col=2) if (row[0].value, row[1].value) == (tag, outlet))


def fill(path, flowing="Flowing", static="Static pressure, first"):
    """Type into every kind of open cell of a laboratory workbook."""
    book = loaded(path)
    cover, field, path_sheet = book["Cover"], book["Field test"], book["Worked path"]
    top = next(
        row[1].row for row in cover.iter_rows() if row[1].value == "Revision" and row[2].value.startswith("What")
    )
    for place, value in ((2, "P2"), (3, "valve changed"), (6, DAY), (7, "A. D."), (8, "B. C.")):
        cover.cell(top + 2, place).value = value
    labelled(field, static).value = 62.5
    labelled(field, "Cold water").value = 44.0
    labelled(field, "Thermometer may err").value = 1.8
    labelled(field, "Tested by").value = "C. Technician"
    row = line_of(field, "L4", "eye/face wash")
    under(field, flowing, row).value = 14.5
    under(field, "10 s", row).value = 68.0
    under(field, "Pattern right", row).value = "Y"
    next(cell for line in path_sheet.iter_rows(max_row=8) for cell in line if not cell.protection.locked).value = "L3"
    if "Review record" in book.sheetnames:
        review = book["Review record"]
        review["A9"], review["C9"], review["L22"], review["F22"] = DAY, "B. Checker", "on order", 0.03
        book["Weekly record"]["C8"] = DAY
    book.save(path)


def anew(source, target, units=None):
    """What convert does from workbook to workbook, without the values of computed cells; gives what it says."""
    read = read_workbook(source).read
    site = in_units(read.site, units or read.site.units)
    book = loaded(source)
    carried = carried_from(book, read, site.units)
    said = write_workbook(site, target, cases_shown=3, values=lambda _: {}, carried=carried)
    return "\n".join(left_behind(book, carried.cells) + carried.said + said)


def entries(path):
    """Everything in open cells, but for the names of lines of the Field test."""
    return {
        key: place.value
        for key, place in open_cells(loaded(path)).items()
        if place.value not in (None, "") and len(key) > 1
    }


def test_everything_typed_in_the_other_sheets_is_carried_in_the_same_units(lab, tmp_path, capsys):
    fill(lab)
    new = tmp_path / "new.xlsx"
    assert main(["convert", str(lab), str(new)]) == 0
    assert "not carried over" not in capsys.readouterr().err
    assert entries(new) == entries(lab)
    assert len(entries(new)) == 5 + 4 + 3 + 1 + 4 + 1
    assert main(["recalc", str(new), "--check"]) == 1  # the laboratory fails on purpose; nothing is stale
    assert "DAT-5" not in capsys.readouterr().out


def test_readings_are_converted_to_the_new_units_and_back(lab, tmp_path):
    fill(lab)
    metric, back = tmp_path / "metric.xlsx", tmp_path / "back.xlsx"
    assert anew(lab, metric, "SI") == anew(metric, back, "US") == ""
    field = loaded(metric)["Field test"]
    assert labelled(field, "Static pressure, first").value == pytest.approx(62.5 * 6.894757293168, rel=1e-12)
    assert labelled(field, "Cold water").value == pytest.approx((44 - 32) / 1.8, rel=1e-12)
    assert labelled(field, "Thermometer may err").value == pytest.approx(1.0, rel=1e-12)
    row = line_of(field, "L4", "eye/face wash")
    assert under(field, "Flowing", row).value == pytest.approx(14.5 * 6.894757293168, rel=1e-12)
    assert under(field, "10 s", row).value == pytest.approx(20.0, rel=1e-12)
    assert under(field, "Pattern right", row).value == "Y"
    before, after = entries(lab), entries(back)
    assert before.keys() == after.keys()
    for key, value in before.items():
        assert after[key] == (pytest.approx(value, rel=1e-12) if isinstance(value, float) else value), key


@pytest.mark.parametrize(("old", "new"), [("psi", "kPa"), ("°F", "°C"), ("Δ°F", "K"), ("gal", "L"), ("gpm", "L/min")])
@settings(max_examples=40)
@given(value=st.floats(-1e6, 1e6).map(lambda value: float(f"{value:.9g}")))
def test_no_digit_that_matters_is_lost_there_and_back(old, new, value):
    there = _in_unit(value, old, new)
    assert there == pytest.approx(convert(value, old, new), rel=1e-13, abs=1e-11)
    assert float(f"{_in_unit(there, new, old):.9g}") == pytest.approx(value, rel=1e-9, abs=1e-9)


def test_readings_go_with_their_outlet_when_stations_were_sorted(lab, tmp_path):
    """The lines of the new sheet follow Stations; a reading follows station and outlet."""
    fill(lab)
    book = loaded(lab)
    sheet = book["Stations"]
    for column in range(1, 21):
        one, other = sheet.cell(8, column), sheet.cell(10, column)
        one.value, other.value = other.value, one.value
    book.save(lab)
    new = tmp_path / "new.xlsx"
    anew(lab, new)
    before, after = loaded(lab)["Field test"], loaded(new)["Field test"]
    rows = [line_of(sheet, "L4", "eye/face wash") for sheet in (before, after)]
    assert rows[0] != rows[1]
    assert under(after, "Flowing", rows[1]).value == 14.5


def test_a_reading_of_an_outlet_that_is_gone_is_told(lab, tmp_path):
    fill(lab)
    book = loaded(lab)
    field = book["Field test"]
    row = line_of(field, "L4", "eye/face wash")
    field.cell(row, 2).value = "drench hose"
    book.save(lab)
    said = anew(lab, tmp_path / "new.xlsx")
    cells = [under(field, words, row).coordinate for words in ("Flowing", "Pattern right", "10 s")]
    assert ("not carried over: sheet Field test, what was typed there has no place in the new workbook "
            f"({', '.join(cells)})") in said  # fmt: skip


def test_columns_of_the_users_own_go_with_their_rows(lab, tmp_path):
    book = loaded(lab)
    runs, stations = book["Pipe runs"], book["Stations"]
    runs["S6"], runs["S8"], runs["S9"] = "Ordered", DAY, 12.5
    place = next(cell.column for cell in stations[6] if cell.value == "Line of the schedule") + 1  # hidden
    stations.cell(6, place).value, stations.cell(9, place).value = "Room keeper", "D. Keeper"
    for row in range(20, 8, -1):  # a blank row in the middle is not there in the new workbook
        for column in range(1, 20):
            runs.cell(row + 1, column).value = runs.cell(row, column).value
            runs.cell(row, column).value = None
    book.save(lab)
    site, new = read_workbook(lab).site, tmp_path / "new.xlsx"
    said = anew(lab, new, "SI")
    assert "not carried over" not in said
    assert ('carried over as typed: sheet Pipe runs, your own column "Ordered"; its numbers were not converted') in said
    sheet = loaded(new)["Pipe runs"]
    place = next(cell.column for cell in sheet[6] if cell.value == "Ordered")
    kept = {
        sheet.cell(row, 1).value: sheet.cell(row, place).value for row in range(7, 30) if sheet.cell(row, place).value
    }
    assert kept == {site.pipe_runs[1].tag: DAY, site.pipe_runs[2].tag: 12.5}
    sheet = loaded(new)["Stations"]
    place = next(cell.column for cell in sheet[6] if cell.value == "Room keeper")
    assert (sheet.cell(9, 1).value, sheet.cell(9, place).value) == ("L3", "D. Keeper")
    assert read_workbook(new).problems == ()
    again = tmp_path / "again.xlsx"
    anew(new, again)
    assert loaded(again)["Stations"].cell(9, place).value == "D. Keeper"


def test_what_a_site_file_cannot_hold_is_still_told(lab, tmp_path, capsys):
    fill(lab)
    assert main(["convert", str(lab), str(tmp_path / "new.toml")]) == 0
    said = capsys.readouterr().err
    for sheet in ("Cover", "Field test", "Worked path", "Weekly record", "Review record"):
        assert f"not carried over: sheet {sheet}, what was typed or chosen there" in said


def test_an_older_template_passes_on_its_readings(tmp_path):
    old, new = tmp_path / "old.xlsx", tmp_path / "new.xlsx"
    old.write_bytes((OLD / "laboratory_of_template_2.xlsx").read_bytes())
    fill(old, flowing="Flowing pressure", static="Static pressure at the supply's gauge")
    read = read_workbook(old, older=True)
    carried = carried_from(read.book, read.read, "US")
    assert write_workbook(read.site, new, cases_shown=3, values=lambda _: {}, carried=carried) == []
    assert left_behind(read.book, carried.cells) == []
    field = loaded(new)["Field test"]
    assert labelled(field, "Static pressure, first").value == 62.5
    assert labelled(field, "Tested by").value == "C. Technician"
    row = line_of(field, "L4", "eye/face wash")
    assert under(field, "10 s", row).value == 68.0
    assert under(field, "Flowing", row).value == 14.5
    cover = loaded(new)["Cover"]
    assert "valve changed" in [cell.value for row in cover.iter_rows() for cell in row]


def test_nothing_typed_draws_the_same_workbook(lab, tmp_path, lab_site):
    new, drawn = tmp_path / "new.xlsx", tmp_path / "drawn.xlsx"
    assert anew(lab, new) == ""
    write_workbook(lab_site, drawn, cases_shown=3, values=lambda _: {})
    assert new.read_bytes() == drawn.read_bytes()
