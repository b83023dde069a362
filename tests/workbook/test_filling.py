"""Filling the input sheets: lists that grow, a message in each cell, numbers that no site has refused while typed."""

import openpyxl
import pytest
from openpyxl.utils.cell import get_column_letter, range_boundaries

from drenchbook.site_cells import COLDEST, MOST
from drenchbook.site_tables import PROJECT, TABLES
from drenchbook.units import to_si
from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.input_sheets import plausible_range
from tests.workbook.packages import loaded


@pytest.fixture(scope="module")
def book(lab_bytes, tmp_path_factory):
    path = tmp_path_factory.mktemp("filling") / "lab.xlsx"
    path.write_bytes(lab_bytes)
    return loaded(path)


def rules(sheet):
    """Cell of the first row of data to its validation."""
    found = {}
    for rule in sheet.data_validations.dataValidation:
        for part in str(rule.sqref).split():
            left, top, right, bottom = range_boundaries(part)
            for column in range(left, right + 1):
                for row in range(top, min(bottom, 60) + 1):
                    found[f"{get_column_letter(column)}{row}"] = rule
    return found


@pytest.mark.parametrize("table", [table for table in TABLES if table is not PROJECT], ids=lambda table: table.key)
def test_each_cell_says_what_it_wants(book, table):
    found = rules(book[table.sheet])
    for place, column in enumerate(table.columns, start=1):
        rule = found[f"{get_column_letter(place)}7"]
        assert rule.prompt, column.name
        assert rule.promptTitle
        assert rule.showInputMessage
        assert len(rule.prompt) <= 255
        if column.kind == "number":
            assert (rule.type, rule.operator) == ("decimal", None)  # between is the default and not written
            low, high = float(rule.formula1), float(rule.formula2)
            assert low < high
            assert rule.error
            assert not rule.allowBlank
        elif column.kind in ("choice", "yes_no", "ref", "size"):
            assert rule.type == "list"


def test_settings_say_what_they_want(book):
    found = rules(book["Project"])
    settings = {cell.value: cell.row for cell in book["Project"]["A"]}
    for column in PROJECT.columns:
        assert found[f"B{settings[column.heading]}"].prompt, column.name


@pytest.mark.parametrize("units", ["US", "SI"])
def test_what_may_be_typed_is_what_is_read(units):
    """The range of the cell holds all that the reader takes, and hardly more."""
    for column in (column for table in TABLES for column in table.columns if column.quantity in MOST):
        if column.kind != "number":
            continue
        low, high = plausible_range(column, units)
        unit = column.unit(units)
        least, most = (to_si(value, unit) if unit else value for value in (low, high))
        asked = COLDEST if column.quantity == "temperature" else -MOST[column.quantity]
        assert most >= MOST[column.quantity] * (1 - 1e-9)
        assert least <= asked + abs(asked) * 1e-9
        assert most <= MOST[column.quantity] * 1.002
        assert least >= asked - abs(asked) * 2e-3 - 0.1


def test_a_list_ends_at_the_last_filled_row_even_behind_a_blank_one(lab):
    """The third run is deleted: the last one still is in the list of runs, and in the joined lists."""
    book = loaded(lab)
    sheet = book["Pipe runs"]
    tags = [sheet.cell(row, 1).value for row in range(7, 30) if sheet.cell(row, 1).value]
    for column in range(1, sheet.max_column + 1):
        sheet.cell(9, column).value = None
    values = evaluate_workbook(book).values
    check = book["Check"]
    row = next(cell.row for cell in check["A"] if cell.value == "Pipe runs")
    assert values["Check", f"B{row}"] == len(tags) - 1
    assert values["Check", f"E{row}"] == len(tags)
    assert f"Check!$E${row}" in book.defined_names["Pipe_runs_tag_list"].attr_text
    joined = next(name for name in book.defined_names if name.startswith("Tags_of_") and "pipe_runs" in name)
    sheet, area = book.defined_names[joined].attr_text.split(",")[0].removeprefix("INDEX(").split("!")
    left, top, _, bottom = range_boundaries(area.replace("$", ""))
    offered = [values.get((sheet, f"{get_column_letter(left)}{line}")) for line in range(top, bottom + 1)]
    assert tags[-1] in offered
    assert tags[2] not in offered


def test_sizes_stay_texts_and_the_list_holds_what_programs_make_of_them(book):
    sheet = book["Pipe runs"]
    place = next(cell.column for cell in sheet[6] if cell.value == "Size")
    assert {sheet.cell(row, place).number_format for row in range(7, 20)} == {"@"}
    area = book.defined_names["Size_list"].attr_text.split("!")[1].replace("$", "")
    sizes = [row[0].value for row in book["Check"][area]]
    assert {"3/4", "1-1/4", "DN32", "¾", "1 ¼"} <= set(sizes) | {"DN32"}
    assert openpyxl.utils.cell.range_boundaries(area)[0] > 4


def test_more_stations_than_result_rows_stop_with_the_command_that_makes_room(lab):
    """Stations typed into inserted rows beyond the rows of the results: Schedule, Cover and the row itself say so."""
    from drenchbook.workbook.layout import HEADING_ROW

    book = loaded(lab)
    stations = book["Stations"]
    sheet, area = book.defined_names["Stations_table"].attr_text.split("!")
    left, top, right, bottom = range_boundaries(area.replace("$", ""))
    assert (sheet, top) == ("Stations", HEADING_ROW + 1)
    for row in range(12, bottom):
        for column in range(left, right + 1):
            stations.cell(row, column).value = stations.cell(11, column).value
        stations.cell(row, 1).value = f"X{row}"
    schedule = book["Schedule"]
    for row in range(10, schedule.max_row + 1):  # as if the results had one row less
        if row == 10 + bottom - 8:
            schedule.cell(row, 1).value = None
    values = evaluate_workbook(book).values
    assert "Make room: drenchbook convert OLD NEW" in values["Schedule", "A3"]
    assert values["Schedule", "A3"].startswith("STOP: 8 stations are filled in and 7 stand on it")
    place = next(cell.column for cell in stations[6] if cell.value == "What it is and what to do")
    assert "Make room: drenchbook convert" in values["Stations", f"{get_column_letter(place)}{bottom - 1}"]
