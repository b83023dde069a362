"""The patcher changes cached values of computed cells, and not one other byte."""

import os
import re
import zipfile

import pytest
from openpyxl.chart import BarChart, Reference
from openpyxl.comments import Comment

from drenchbook.workbook import package
from drenchbook.workbook.patching import held_values, patch
from drenchbook.workbook.recalculating import recalculate
from drenchbook.workbook.sheet_text import ErrorWord, cached_values, changed_text
from tests.workbook.packages import cells, loaded, part_of, parts

VALUE = re.compile(rb"<v>[^<]*</v>|<v/>")
TYPE = re.compile(rb' t="(?:str|e|b|n)"')


def without_values(xml: bytes) -> bytes:
    """A sheet without values and their types: what a patch may not touch."""
    return TYPE.sub(b"", VALUE.sub(b"", xml))


def raw_entries(path):
    """Each entry's name with its compressed bytes, in the order of the file."""
    raw = path.read_bytes()
    with zipfile.ZipFile(path) as file:
        found = []
        for entry in file.infolist():
            name, extra = raw[entry.header_offset + 26], raw[entry.header_offset + 28]
            name += 256 * raw[entry.header_offset + 27]
            extra += 256 * raw[entry.header_offset + 29]
            start = entry.header_offset + 30 + name + extra
            found.append((entry.filename, entry.date_time, raw[start : start + entry.compress_size]))
    return found


def test_only_values_of_the_named_cells_change(lab):
    before = parts(lab)
    done = patch(lab, {("Schedule", "A1"): "typed", ("Schedule", "B10"): "OK", ("Results", "D60"): 1.5})
    after = parts(lab)
    schedule, results = part_of(lab, "Schedule"), part_of(lab, "Results")
    assert {name for name in before if before[name] != after[name]} == {schedule, results}
    assert without_values(before[schedule]) == without_values(after[schedule])
    changed = [cell for cell, element in cells(after[schedule]).items()
               if "".join(element.itertext()) != "".join(cells(before[schedule])[cell].itertext())]  # fmt: skip
    assert changed == ["B10"]
    assert done.without_place == (("Schedule", "A1"),), "a heading is not computed and stays"
    with zipfile.ZipFile(lab) as file:
        assert file.testzip() is None


def test_untouched_entries_keep_their_compressed_bytes_and_their_order(lab):
    before = raw_entries(lab)
    patch(lab, {("Schedule", "B10"): "OK"})
    after, schedule = raw_entries(lab), part_of(lab, "Schedule")
    assert [name for name, *_ in before] == [name for name, *_ in after]
    for old, new in zip(before, after, strict=True):
        assert old == new or old[0] == schedule


def test_the_same_values_give_the_same_bytes(lab):
    values = {("Schedule", "B10"): "OK", ("Results", "D60"): 0.1, ("Check", "B10"): ErrorWord("#N/A")}
    assert patch(lab, values).cells == 3
    once = lab.read_bytes()
    assert patch(lab, values).cells == 0
    assert lab.read_bytes() == once


def test_a_second_recalculation_changes_nothing(lab):
    before = lab.read_bytes()
    assert recalculate(lab).cells == 0
    assert lab.read_bytes() == before


def test_charts_comments_and_own_sheets_stay_byte_for_byte(lab):
    book = loaded(lab)
    own = book.create_sheet("My notes", 2)
    own.append(["station", "margin"])
    own.append(["L1", 0.5])
    own["A1"].comment = Comment("mine", "A. Designer")
    chart = BarChart()
    chart.add_data(Reference(own, min_col=2, min_row=1, max_row=2), titles_from_data=True)
    own.add_chart(chart, "D4")
    book["Stations"]["B7"].comment = Comment("check on site", "B. Checker")
    book.save(lab)
    before = parts(lab)
    assert any("chart" in name for name in before)
    assert any("comment" in name for name in before)
    recalculate(lab)
    after = parts(lab)
    computed = {part_of(lab, sheet) for sheet in loaded(lab).sheetnames if sheet != "My notes"}
    assert list(before) == list(after)
    for name in before:
        if name not in computed:
            assert before[name] == after[name], name
    assert loaded(lab, data_only=True)["Schedule"]["B10"].value == "FAIL"


@pytest.mark.parametrize("breaks", ["replace", "fsync"])
def test_interrupted_anywhere_the_old_file_is_whole(lab, monkeypatch, breaks):
    before = lab.read_bytes()

    def interrupted(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(package.os, breaks, interrupted)
    with pytest.raises(KeyboardInterrupt):
        patch(lab, {("Schedule", "B10"): "OK"})
    assert lab.read_bytes() == before
    assert os.listdir(lab.parent) == [lab.name], "nothing is left lying about"


def test_a_copy_leaves_the_file_as_it_is(lab, tmp_path):
    before, copy = lab.read_bytes(), tmp_path / "copy.xlsx"
    patch(lab, {("Schedule", "B10"): "OK"}, copy)
    assert lab.read_bytes() == before
    assert loaded(copy, data_only=True)["Schedule"]["B10"].value == "OK"


def test_the_mode_of_the_file_is_kept(lab):
    lab.chmod(0o640)
    patch(lab, {("Schedule", "B10"): "OK"})
    assert lab.stat().st_mode & 0o777 == 0o640


# ---- cells as other programs write them, each spelled by hand ----

SPELLED = [
    # before, value, after
    (b'<c r="A1" s="3"><f>1+1</f><v>9</v></c>', 2.0, b'<c r="A1" s="3"><f>1+1</f><v>2</v></c>'),
    (b'<c r="A1"><f>1+1</f></c>', 2.5, b'<c r="A1"><f>1+1</f><v>2.5</v></c>'),
    (b'<c r="A1" t="e"><f>X()</f><v>#NAME?</v></c>', 0.1, b'<c r="A1"><f>X()</f><v>0.1</v></c>'),
    (b'<c r="A1" s="1" t="n"><f aca="false">A2</f><v>1</v></c>', "FAIL",
     b'<c r="A1" s="1" t="str"><f aca="false">A2</f><v>FAIL</v></c>'),
    (b'<c r="A1"><f t="shared" si="0"/><v>1</v></c>', "a<b & c",
     b'<c r="A1" t="str"><f t="shared" si="0"/><v>a&lt;b &amp; c</v></c>'),
    (b'<c r="A1" t="str"><f>A2</f><v>old</v></c>', "", b'<c r="A1" t="str"><f>A2</f><v></v></c>'),
    (b'<c r="A1"><f>A2</f><v>1</v></c>', True, b'<c r="A1" t="b"><f>A2</f><v>1</v></c>'),
    (b'<c r="A1"><f>A2</f><v>1</v></c>', ErrorWord("#VALUE!"), b'<c r="A1" t="e"><f>A2</f><v>#VALUE!</v></c>'),
    (b'<x:c r="A1"><x:f>A2</x:f><x:v>1</x:v></x:c>', 7.0, b'<x:c r="A1"><x:f>A2</x:f><x:v>7</x:v></x:c>'),
]  # fmt: skip


@pytest.mark.parametrize(("before", "value", "after"), SPELLED)
def test_cells_of_other_programs(before, value, after):
    found = changed_text(b"<row>" + before + b"</row>", {"A1": value})
    assert found.text == b"<row>" + after + b"</row>"
    assert changed_text(found.text, {"A1": value}).text == found.text


UNTOUCHED = [
    b'<c r="A1"><v>5</v></c>',  # a number that a person typed
    b'<c r="A1" t="s"><v>12</v></c>',  # a text that a person typed
    b'<!-- <c r="A1"><f>1</f><v>5</v></c> -->',
    b'<![CDATA[<c r="A1"><f>1</f><v>5</v></c>]]>',
    b'<col r="A1" min="1"/>',
]


@pytest.mark.parametrize("text", UNTOUCHED)
def test_what_is_not_computed_is_refused(text):
    found = changed_text(text, {"A1": 6.0})
    assert found.text == text
    assert found.without_place == ("A1",)


def test_the_same_number_in_other_digits_keeps_its_digits():
    text = b'<c r="A1"><f>0.1+0.2</f><v>0.30000000000000004</v></c><c r="B1"><f>1</f><v>1.0</v></c>'
    assert changed_text(text, {"A1": 0.1 + 0.2, "B1": 1.0}).text == text


def test_members_of_an_array_are_computed_and_their_texts_leave_the_shared_ones():
    text = b'<c r="A1"><f t="array" ref="A1:B2">F()</f><v>1</v></c>'
    text += b'<c r="B1" s="4" t="s"><v>0</v></c><c r="C1"><v>3</v></c>'
    found = changed_text(text, {"A1": 2.0, "B1": "L1", "C1": 9.0})
    assert b'<c r="B1" s="4" t="str"><v>L1</v></c>' in found.text
    assert b'<c r="C1"><v>3</v></c>' in found.text
    assert found.without_place == ("C1",)


@pytest.mark.parametrize("text", ["a_x000D_b", "line\nbreak", "tab\there", "\x02", "ü – ≥ 日本", ' "quoted" '])
def test_every_text_comes_back(text):
    found = changed_text(b'<c r="A1"><f>A2</f></c>', {"A1": text})
    assert dict(cached_values(found.text)) == {"A1": text}


def test_held_values_are_what_another_reader_sees(lab):
    ours = held_values(lab, "Schedule")
    theirs = loaded(lab, data_only=True)["Schedule"]
    for cell, value in ours.items():
        assert (theirs[cell].value or "") == value or theirs[cell].value == value, cell


def test_every_way_to_write_a_character_is_read_back():
    """LibreOffice writes quotes as entities; a cached text must be the text that a person sees."""
    value = b"&quot;L1&quot; isn&apos;t &lt; 3 &amp; OK"
    sheet = b'<sheetData><row r="1"><c r="A1" t="str"><f>B1</f><v>' + value + b"</v></c></row></sheetData>"
    assert dict(cached_values(sheet)) == {"A1": '"L1" isn\'t < 3 & OK'}
