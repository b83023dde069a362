"""Recalculation: what the file says is evaluated, stale results are told, and a broken file is left as it is."""

import pytest

from drenchbook.errors import SiteError
from drenchbook.workbook.recalculating import recalculate
from tests.workbook.packages import loaded, part_of, with_text


def test_a_fresh_workbook_is_not_stale(lab):
    before = lab.read_bytes()
    done = recalculate(lab, write=False)
    assert done.stale == ""
    assert done.problems == ()
    assert lab.read_bytes() == before


def changed(lab):
    """Another length of pipe, typed where no program calculates: every stored result stays."""
    with_text(lab, part_of(lab, "Pipe runs"), b"<v>130</v>", b"<v>60</v>")


def test_a_changed_input_is_stale_until_it_is_recalculated(lab):
    changed(lab)
    before = lab.read_bytes()
    assert recalculate(lab, write=False).stale == "The inputs changed after the last calculation."
    assert lab.read_bytes() == before, "a check writes nothing"
    first = loaded(lab, data_only=True)["Schedule"]["I13"].value
    done = recalculate(lab)
    assert done.cells > 0
    second = loaded(lab, data_only=True)["Schedule"]["I13"].value
    assert second > first, "a shorter branch gives L4 more water"
    assert recalculate(lab, write=False).stale == ""


def test_a_result_that_was_typed_over_is_told(lab):
    from drenchbook.workbook.patching import patch

    patch(lab, {("Schedule", "B10"): "OK"})
    assert "1 stored values differ" in recalculate(lab, write=False).stale
    recalculate(lab)
    assert loaded(lab, data_only=True)["Schedule"]["B10"].value == "FAIL"


def test_a_workbook_without_values_is_filled(lab, lab_bytes):
    book = loaded(lab)
    book.save(lab)
    assert "never calculated" in recalculate(lab, write=False).stale
    recalculate(lab)
    before = lab.parent / "built.xlsx"
    before.write_bytes(lab_bytes)
    ours, built = loaded(lab, data_only=True), loaded(before, data_only=True)
    for sheet in built.sheetnames:
        for row in built[sheet].iter_rows():
            for cell in row:
                assert (ours[sheet][cell.coordinate].value or "") == (cell.value or ""), (sheet, cell.coordinate)


def test_another_file_leaves_the_first_as_it_is(lab, tmp_path):
    changed(lab)
    before, other = lab.read_bytes(), tmp_path / "other.xlsx"
    recalculate(lab, other)
    assert lab.read_bytes() == before
    assert recalculate(other, write=False).stale == ""


@pytest.mark.parametrize(("sheet", "cell", "value"), [("Pipe runs", "B10", "nowhere"), ("Stations", "A8", "L1")])
def test_a_network_that_cannot_be_used_leaves_the_file_as_it_is(lab, sheet, cell, value):
    book = loaded(lab)
    book[sheet][cell] = value
    book.save(lab)
    before = lab.read_bytes()
    with pytest.raises(SiteError, match=value):
        recalculate(lab)
    assert lab.read_bytes() == before


def test_more_stations_than_the_schedule_has_room_for_are_told(lab):
    book = loaded(lab)
    sheet = book["Stations"]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=7, max_row=11)]
    for number in range(12):
        for place, value in enumerate(rows[1]):
            sheet.cell(12 + number, place + 1).value = value
        sheet.cell(12 + number, 1).value = f"N{number:02d}"
    name = book.defined_names["Stations_table"]
    name.attr_text = name.attr_text.replace("$15", "$30")
    book.save(lab)
    done = recalculate(lab)
    assert "room for 8 of 17 stations" in done.notes[0]
    assert "drenchbook convert" in done.notes[0]


def test_a_blank_workbook_says_what_to_fill_and_has_no_verdict(blank_si):
    done = recalculate(blank_si, write=False)
    assert done.report.verdict == "UNKNOWN"
    assert done.stale == ""
    cover = loaded(blank_si, data_only=True)["Cover"]
    texts = [str(cell) for row in cover.iter_rows(values_only=True) for cell in row if cell]
    assert "No station is filled in yet: begin with the sheet Project." in texts


def test_a_formula_outside_the_list_keeps_the_value_that_the_file_holds(lab):
    book = loaded(lab)
    sheet = book.create_sheet("Mine")
    sheet["A1"] = "=SUMX2MY2(Stations!E7:E9,Stations!E7:E9)"
    sheet["A2"] = "=A1+1"
    book.save(lab)
    with_text(lab, part_of(lab, "Mine"), b"Stations!E7:E9)</f><v />", b"Stations!E7:E9)</f><v>41</v>")
    done = recalculate(lab)
    assert any("SUMX2MY2" in str(problem) for problem in done.problems)
    mine = loaded(lab, data_only=True)["Mine"]
    assert (mine["A1"].value, mine["A2"].value) == (41, 42)
