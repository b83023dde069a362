"""What stands in a built workbook: sheets, names, headings, validations, protection, and a value for every formula."""

import re
import zipfile

import openpyxl
import pytest
from openpyxl.utils.cell import range_boundaries

from drenchbook.published.pipes import MATERIALS
from drenchbook.site_sheets import blank_site
from drenchbook.site_tables import PROJECT, TABLES
from drenchbook.workbook.building import workbook_bytes
from drenchbook.workbook.layout import SHEETS, TEMPLATE_VERSION
from tests.workbook.packages import MAIN, cells, loaded, parts

ORDER = [
    "Cover", "Project", "Limits", "Supplies", "Hot water sources", "Line devices", "Pipe runs", "Mixing valves",
    "Valve models", "Outlet models", "Events", "Stations", "Schedule", "Cases", "Worked path", "Field test",
    "Weekly record", "Annual record", "Review record", "Results", "Cautions", "Check", "Chart data",
]  # fmt: skip


@pytest.fixture(scope="module")
def book(lab_bytes, tmp_path_factory):
    path = tmp_path_factory.mktemp("structure") / "lab.xlsx"
    path.write_bytes(lab_bytes)
    return loaded(path)


def area(book, table):
    sheet, reference = book.defined_names[table.range_name].attr_text.rsplit("!", 1)
    return book[sheet.strip("'")], range_boundaries(reference.replace("$", ""))


def rule_of(sheet, cell):
    for rule in sheet.data_validations.dataValidation:
        if cell in rule.sqref:
            return rule
    return None


def test_sheets_stand_in_the_order_of_the_design(book):
    assert book.sheetnames == ORDER == list(SHEETS)


@pytest.mark.parametrize("table", TABLES[1:], ids=lambda table: table.key)
def test_a_name_spans_from_the_headings_to_the_dark_end_row(book, table):
    sheet, (left, top, right, bottom) = area(book, table)
    assert sheet.title == table.sheet
    assert right - left + 1 == len(table.columns)
    assert [sheet.cell(bottom, column).value for column in range(left, right + 1)] == [None] * len(table.columns)
    assert sheet.cell(bottom, left).fill.fgColor.rgb == sheet.cell(top, left).fill.fgColor.rgb
    assert sheet.row_dimensions[bottom].height < 6
    assert sheet.cell(bottom + 1, left).value or sheet.cell(bottom + 1, left + 1).value
    thin = sheet.row_dimensions[top - 1].height
    assert thin == 3, "a blank thin row keeps the heading row the only one"


@pytest.mark.parametrize(("units", "flow", "length"), [("US", "gpm", "ft"), ("SI", "L/min", "m")])
def test_units_stand_under_the_headings(units, flow, length, tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(workbook_bytes(blank_site(units, "ANSI/ISEA Z358.1"), cases_shown=3))
    book = loaded(path)
    sheet, (left, top, _, _) = area(book, next(t for t in TABLES if t.key == "outlet_models"))
    assert f"Rated flow\n{flow}" in [cell.value for cell in sheet[top]]
    sheet, (left, top, _, _) = area(book, next(t for t in TABLES if t.key == "pipe_runs"))
    assert f"Developed length\n{length}" in [cell.value for cell in sheet[top]]
    assert sheet.cell(top, left).value == "Tag"
    units_row = next(row for row in book["Project"].iter_rows(values_only=True) if row[0] == "Unit system")
    assert units_row[1] == units


@pytest.mark.parametrize("table", TABLES[1:], ids=lambda table: table.key)
def test_every_input_cell_is_validated_by_its_column(book, table):
    sheet, (left, top, _, bottom) = area(book, table)
    for position, column in enumerate(table.columns):
        first, last = sheet.cell(top + 1, left + position), sheet.cell(bottom - 1, left + position)
        rule = rule_of(sheet, first.coordinate)
        if column.kind in ("choice", "yes_no"):
            choices = MATERIALS if column.name == "material" else column.choices
            assert rule.type == "list", column.name
            assert rule.formula1 == '"' + ",".join(choices) + '"'
        elif column.kind in ("ref", "size"):
            assert rule.type == "list", column.name
            assert rule.formula1 in book.defined_names, column.name
        elif column.kind == "number":
            assert rule.type == "decimal", column.name
            assert column.low is None or float(rule.formula1) == column.low
            assert column.high is None or float(rule.formula2) == column.high
        elif column.kind == "date":
            assert rule.type == "date", column.name
        if rule is not None:
            assert rule_of(sheet, last.coordinate) is rule, "the last free row has the same rule"
            if rule.type != "custom" and rule.type is not None and column.kind != "text":
                assert not rule.allowBlank or column.kind in ("tag", "refs", "fittings", "curve"), column.name
        if column.kind in ("size", "tag", "ref"):
            assert first.number_format == "@", column.name
        if column.help:
            assert rule.prompt, f"{column.name} has no prompt"


def test_the_unit_system_cannot_be_chosen_anew(book):
    sheet = book["Project"]
    row = next(cell.row for cell in sheet["A"] if cell.value == "Unit system")
    assert rule_of(sheet, f"B{row}").formula1 == '"US"'


def test_every_setting_has_its_row(book):
    _, (_, top, _, bottom) = area(book, PROJECT)
    names = [row[0] for row in book["Project"].iter_rows(min_row=top, max_row=bottom, values_only=True)]
    for column in PROJECT.columns:
        assert names.count(column.heading) == 1, column.heading


@pytest.mark.parametrize("fixture", ["lab_bytes", "blank_si_bytes"])
def test_every_formula_has_a_value_with_its_type(fixture, request, tmp_path):
    path = tmp_path / "book.xlsx"
    path.write_bytes(request.getfixturevalue(fixture))
    formulas = 0
    for name, xml in parts(path).items():
        if not name.startswith("xl/worksheets/sheet"):
            continue
        found = cells(xml)
        for cell, element in found.items():
            formula = element.find(f"{MAIN}f")
            if formula is None:
                continue
            formulas += 1
            places = [cell]
            if formula.get("t") == "array":
                left, top, right, bottom = range_boundaries(formula.get("ref"))
                places = [f"{openpyxl.utils.get_column_letter(column)}{row}"
                          for row in range(top, bottom + 1) for column in range(left, right + 1)]  # fmt: skip
            for place in places:
                value = found[place].find(f"{MAIN}v")
                assert value is not None, f"{name} {place} has no value"
                assert value.text or found[place].get("t") == "str", f"{name} {place} has an empty value"
                assert found[place].get("t") != "e", f"{name} {place} holds the error {value.text}"
    assert formulas > 1000


def test_nothing_asks_programs_to_recalculate_on_opening(lab):
    workbook = parts(lab)["xl/workbook.xml"].decode()
    assert "fullCalcOnLoad" not in workbook
    assert re.search(r'calcId="\d+"', workbook)


def test_inputs_are_open_and_computed_sheets_protected(book):
    for name in ORDER:
        is_input = name in {table.sheet for table in TABLES}
        assert book[name].protection.sheet is not is_input, name


@pytest.mark.parametrize("name", ["Pipe runs", "Stations", "Schedule", "Cases"])
def test_headings_stay_on_screen_and_on_every_printed_page(book, name):
    assert book[name].freeze_panes
    assert book[name].print_title_rows


def test_versions_stand_at_the_foot_of_every_sheet(book):
    for sheet in book.worksheets:
        assert f"template {TEMPLATE_VERSION}" in sheet.oddFooter.center.text, sheet.title


def test_the_schedule_is_one_large_page_wide(book):
    setup = book["Schedule"].page_setup
    assert (setup.orientation, setup.fitToWidth or 1, setup.fitToHeight) == ("landscape", 1, 0)  # 1 is not written
    assert int(setup.paperSize) == 3
    assert book["Schedule"].freeze_panes == "C10"


def test_the_same_site_gives_the_same_bytes(lab_site):
    assert workbook_bytes(lab_site, cases_shown=3) == workbook_bytes(lab_site, cases_shown=3)


def test_the_package_holds_no_clock(lab):
    with zipfile.ZipFile(lab) as package:
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert b"2000-01-01T00:00:00Z" in package.read("docProps/core.xml")


def test_the_schedule_concludes_what_the_worked_site_must(lab):
    """The worked site says FAIL for L1 to L4 and WARN for L5; cover and schedule count the same."""
    sheet = loaded(lab, data_only=True)["Schedule"]
    verdicts = {row[0]: row[1] for row in sheet.iter_rows(min_row=10, max_row=17, values_only=True) if row[0]}
    assert verdicts == {"L1": "FAIL", "L2": "FAIL", "L3": "FAIL", "L4": "FAIL", "L5": "WARN"}
    assert "4 FAIL   0 UNKNOWN   1 WARN   0 OK" in sheet["A2"].value
    assert sheet["A3"].value == "All 5 stations of sheet Stations are on the schedule."


def test_sample_data_is_marked_wherever_it_could_be_printed(lab):
    book = loaded(lab, data_only=True)
    for name in ("Cover", "Schedule", "Valve models", "Stations"):
        top = [str(cell) for row in book[name].iter_rows(max_row=14, values_only=True) for cell in row if cell]
        assert any("SAMPLE DATA in 6 rows" in text for text in top), name


@pytest.mark.parametrize("fixture", ["lab_bytes", "blank_si_bytes"])
def test_a_small_screen_shows_the_schedule_from_tag_to_governing_case(fixture, request, tmp_path):
    """1,366 dots less row numbers and scroll bar; a letter of Calibri 11 is 7 dots, and 5 are the cell's own."""
    path = tmp_path / "book.xlsx"
    path.write_bytes(request.getfixturevalue(fixture))
    sheet = loaded(path)["Schedule"]
    zoom = sheet.sheet_view.zoomScale / 100
    headings = {cell.value: cell.column for cell in sheet[7]}
    shown, spans = 0, list(sheet.column_dimensions.values())
    for column in range(1, headings["Governing case"] + 1):
        span = next(one for one in spans if one.min <= column <= one.max)
        shown += 0 if span.hidden else int(span.width * 7 + 0.5)  # the file's width has the cell's own dots in it
    assert zoom >= 0.75
    assert 1000 < shown * zoom <= 1366 - 44


def test_a_blank_schedule_names_no_date_and_no_method(blank_si, lab):
    """A blank cell is not the day 0 of the calendar."""
    blank, filled = (loaded(path, data_only=True)["Schedule"]["A4"].value for path in (blank_si, lab))
    assert "friction by no method yet · calculated for no date yet" in blank
    assert "calculated for 2026-05-04" in filled
