"""Workbooks are read back as they were meant; a file that cannot be used is told in one sentence."""

import datetime
import io
import re
import zipfile
from pathlib import Path

import pandas
import pytest
from python_calamine import CalamineWorkbook

from drenchbook.errors import SiteError
from drenchbook.site_file import site_of_document
from drenchbook.site_model import Missing
from drenchbook.site_sheets import blank_site
from drenchbook.workbook import opening
from drenchbook.workbook.building import workbook_bytes
from drenchbook.workbook.reading import read_workbook
from tests.workbook.packages import loaded

ROOT = Path(__file__).parents[2]
OLD_FORMAT = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def row_of(sheet, tag):
    return next(cell.row for cell in sheet["A"] if cell.value == tag)


def column_of(sheet, heading):
    return next(cell.column for cell in sheet[6] if str(cell.value).split("\n")[0] == heading)


def edited(path, sheet, tag, heading, value):
    book = loaded(path)
    place = book[sheet].cell(row_of(book[sheet], tag), column_of(book[sheet], heading))
    place.value = value
    book.save(path)
    return read_workbook(path), place.coordinate


def test_what_was_built_is_read_back(lab, lab_site):
    read = read_workbook(lab)
    assert read.site == lab_site
    assert read.problems == ()


@pytest.mark.parametrize("units", ["US", "SI"])
def test_a_blank_workbook_is_read_back(units, tmp_path):
    site, path = blank_site(units, "EN 15154"), tmp_path / "blank.xlsx"
    path.write_bytes(workbook_bytes(site, cases_shown=3))
    assert read_workbook(path).site == site


def test_a_site_in_other_words_is_read_back(tmp_path):
    document = {
        "project": {"project": "Größe <&> \"1\"", "units": "SI", "calculation_date": datetime.date(2026, 5, 4),
                    "criteria_set": "EN 15154", "friction_method": "Darcy-Weisbach", "cold_water_cold": 5.5,
                    "cold_water_warm": 20},
        "stations": [{"tag": " L1 ", "area": "=not a formula", "remarks": "two\nlines, 1/2"}],
        "pipe_runs": [{"tag": "007", "size": "28x1.2", "fittings": "2.5", "devices": "A, B"}],
    }  # fmt: skip
    site, path = site_of_document(document, "test").site, tmp_path / "book.xlsx"
    path.write_bytes(workbook_bytes(site, cases_shown=3))
    read = read_workbook(path).site
    assert read == site
    assert read.stations[0].tag == " L1 "
    assert read.pipe_runs[0].tag == "007"


WRONG_CELLS = [
    ("Pipe runs", "TR-A", "Developed length", "2,5", r"2,5.*type 2\.5 with a decimal point"),
    ("Pipe runs", "TR-A", "Developed length", None, r"blank.*not a zero"),
    ("Pipe runs", "TR-A", "Size", datetime.datetime(2026, 3, 4), r"date"),
    ("Pipe runs", "TR-A", "Material", "wood", r"wood.*copper L"),
    ("Supplies", "SUP-1", "Static, low", "=1/0", r"holds an error"),
    ("Mixing valves", "MV-1", "Check valves", "perhaps", r"Y or N"),
]


@pytest.mark.parametrize(("sheet", "tag", "heading", "value", "sentence"), WRONG_CELLS)
def test_a_cell_that_cannot_be_used_is_a_sentence_with_its_place(lab, sheet, tag, heading, value, sentence):
    read, cell = edited(lab, sheet, tag, heading, value)
    problem = next(p for p in read.problems if p.cell == cell)
    assert (problem.sheet, problem.row_tag) == (sheet, tag)
    assert re.search(sentence, str(problem)), str(problem)


def test_a_formula_of_the_user_counts_with_its_value(lab):
    read, _ = edited(lab, "Pipe runs", "TR-A", "Developed length", "=40*2+0.5")
    run = next(run for run in read.site.pipe_runs if run.tag == "TR-A")
    assert run.developed_length == 80.5


def test_a_date_that_a_formula_gives_is_a_date(lab):
    read, _ = edited(lab, "Supplies", "SUP-1", "Test date", "=DATE(2026,3,2)")
    assert read.site.supplies[0].test_date == datetime.date(2026, 3, 2)


def test_columns_in_another_order_and_columns_of_the_users_own(lab, lab_site):
    book = loaded(lab)
    sheet = book["Events"]
    place = column_of(sheet, "Reason")
    for row in range(6, 12):
        users, own = sheet.cell(row, 3), sheet.cell(row, place)
        users.value, own.value = own.value, users.value
    book.save(lab)
    assert read_workbook(lab).site == lab_site
    book = loaded(lab)
    sheet = book["Events"]
    sheet.insert_cols(2)
    sheet["B6"] = "My own remark"
    sheet["B7"] = "ask the owner"
    name = book.defined_names["Events_table"]
    name.attr_text = name.attr_text.replace("$E$", "$F$")
    book.save(lab)
    assert read_workbook(lab).site == lab_site


def test_a_wrong_unit_under_a_heading_breaks_the_file(lab):
    book = loaded(lab)
    sheet = book["Pipe runs"]
    sheet.cell(6, column_of(sheet, "Developed length")).value = "Developed length\nm"
    book.save(lab)
    problem = next(p for p in read_workbook(lab).problems if p.breaks_file)
    assert "the unit of Developed length must be ft" in str(problem)


def test_a_sheet_that_was_duplicated_is_not_read_twice(lab, lab_site):
    book = loaded(lab)
    copy = book.copy_worksheet(book["Stations"])
    copy["A7"] = "L1 of the copy"
    book.save(lab)
    assert read_workbook(lab).site == lab_site


def test_a_missing_name_is_told_with_the_name(lab):
    book = loaded(lab)
    del book.defined_names["Stations_table"]
    book.save(lab)
    problems = read_workbook(lab).problems
    assert any(p.breaks_file and "Stations_table" in str(p) for p in problems)


def test_a_size_that_autocorrect_changed_is_read(lab):
    read, _ = edited(lab, "Pipe runs", "TR-L2", "Size", "¾")
    run = next(run for run in read.site.pipe_runs if run.tag == "TR-L2")
    assert not isinstance(run.size, Missing)


def refused(path):
    with pytest.raises(SiteError) as error:
        read_workbook(path)
    return str(error.value)


REFUSED = [
    (b"", "is empty"),
    (b"tag,size\nL1,3/4\n", "is not a workbook"),
    (OLD_FORMAT + b"\0" * 600, r"old .xls format"),
    (OLD_FORMAT + b"\0" * 600 + "EncryptedPackage".encode("utf-16-le"), "is encrypted; remove its password"),
]


@pytest.mark.parametrize(("content", "sentence"), REFUSED)
def test_files_that_are_no_workbook(content, sentence, tmp_path):
    path = tmp_path / "file.xlsx"
    path.write_bytes(content)
    assert sentence in refused(path)


def test_a_file_that_is_not_there_and_a_folder(tmp_path):
    assert "does not exist" in refused(tmp_path / "none.xlsx")
    assert "is a folder" in refused(tmp_path)


def test_a_zip_that_is_no_workbook(tmp_path):
    path = tmp_path / "file.xlsx"
    with zipfile.ZipFile(path, "w") as package:
        package.writestr("readme.txt", "hello")
    assert "is damaged or no workbook" in refused(path)


def test_a_package_cut_short(lab):
    lab.write_bytes(lab.read_bytes()[:-2000])
    assert "workbook" in refused(lab)


def test_a_workbook_that_is_not_ours(tmp_path):
    path = tmp_path / "own.xlsx"
    made = io.BytesIO()
    pandas.DataFrame({"tag": ["L1"]}).to_excel(made)
    path.write_bytes(made.getvalue())
    assert "not one of ours" in refused(path)


@pytest.mark.parametrize(
    ("version", "sentence"), [(0, "which there never was; restore the cell"), (99, "install the newer program")]
)
def test_another_template_version(lab, version, sentence):
    book = loaded(lab)
    sheet, cell = book.defined_names["Template_version"].attr_text.replace("$", "").split("!")
    book[sheet][cell] = version
    book.save(lab)
    said = refused(lab)
    assert f"template version {version}" in said
    assert sentence in said


def test_a_file_that_is_too_large(lab, monkeypatch):
    monkeypatch.setattr(opening, "LARGEST_FILE", 1000)
    assert "MB are read" in refused(lab)


def test_a_file_that_unpacks_to_too_much(lab, monkeypatch):
    monkeypatch.setattr(opening, "LARGEST_UNPACKED", 1000)
    assert "unpacks to" in refused(lab)


COMMITTED = sorted(path for name in ("workbook_templates", "samples") for path in (ROOT / name).glob("*.xlsx"))


@pytest.mark.parametrize("which", ["built", *COMMITTED], ids=lambda which: getattr(which, "name", which))
def test_three_readers_see_the_same(lab, which):
    """openpyxl, calamine and pandas (which reads with openpyxl here), on every sheet of templates and samples."""
    path = lab if which == "built" else which
    theirs = CalamineWorkbook.from_path(str(path))
    frames = pandas.read_excel(path, sheet_name=None, header=None, engine="openpyxl", keep_default_na=False)
    ours, seen = loaded(path, data_only=True), 0
    assert theirs.sheet_names == list(frames) == ours.sheetnames
    for sheet in ours.sheetnames:
        values = [list(row) for row in ours[sheet].iter_rows(values_only=True)]
        table = theirs.get_sheet_by_name(sheet).to_python(skip_empty_area=False)
        seen += compared(sheet, values, table) + compared(sheet, values, frames[sheet].values.tolist())
    assert seen > 1000


def compared(sheet, values, table):
    """Compare what stands in each cell of either; gives how many were filled."""
    filled = 0
    for number in range(max(len(values), len(table))):
        ours, theirs = (rows[number] if number < len(rows) else [] for rows in (values, table))
        for place in range(max(len(ours), len(theirs))):
            one, other = (row[place] if place < len(row) else None for row in (ours, theirs))
            assert same(one, other), (sheet, number + 1, place + 1, one, other)
            filled += one not in (None, "")
    return filled


def same(one, other):
    if isinstance(one, datetime.datetime):
        return str(other).startswith(one.date().isoformat())
    if one in (None, "") or other in (None, ""):
        return one in (None, "") and (other in (None, "") or other != other)
    if isinstance(one, str):
        return one.replace("\r\n", "\n") == str(other).replace("\r\n", "\n")
    return float(one) == pytest.approx(float(other), rel=1e-12)
