"""The headless evaluator: whole workbooks, cell by cell, without a spreadsheet program."""

import datetime

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from drenchbook import worksheet_functions
from drenchbook.formula_values import DIVISION, NAME, NOT_AVAILABLE, REFERENCE, VALUE
from drenchbook.site_tables import TABLES
from drenchbook.workbook.evaluator import evaluate_workbook


@pytest.fixture
def evaluate(tmp_path):
    """Values of a sheet given as cell to content, saved and loaded as a file would be."""

    def run(cells, others=None, names=None, **options):
        book = openpyxl.Workbook()
        book.active.title = "Main"
        for title, content in {"Main": cells, **(others or {})}.items():
            sheet = book[title] if title in book.sheetnames else book.create_sheet(title)
            for cell, value in content.items():
                sheet[cell] = value
        for name, text in (names or {}).items():
            book.defined_names[name] = DefinedName(name, attr_text=text)
        book.save(tmp_path / "book.xlsx")
        return evaluate_workbook(openpyxl.load_workbook(tmp_path / "book.xlsx"), **options)

    return run


def test_cells_are_worked_out_whatever_their_order(evaluate):
    found = evaluate({"A1": "=A2*2", "A2": "=A3+1", "A3": 4})
    assert found.values == {("Main", "A1"): 10.0, ("Main", "A2"): 5.0}
    assert not found.problems


def test_other_sheets_names_and_wanted_sheets(evaluate):
    others = {"Pipe runs": {"A1": 1, "A2": "=A1+1", "B1": "=1/0"}}
    found = evaluate(
        {"A1": "=SUM(runs)+'Pipe runs'!A2"}, others, {"runs": "'Pipe runs'!$A$1:$A$2"}, wanted_sheets=["Main"]
    )
    assert found.values == {("Main", "A1"): 5.0, ("Pipe runs", "A2"): 2.0}
    everything = evaluate({"A1": "=SUM(RUNS)+'pipe runs'!A2"}, others, {"runs": "'Pipe runs'!$A$1:$A$2"})
    assert everything.values["Main", "A1"] == 5.0
    assert everything.values["Pipe runs", "B1"] == DIVISION


def test_a_blank_result_is_zero_and_a_date_its_number(evaluate):
    found = evaluate(
        {"A1": "=B1", "A2": "=B2", "B2": datetime.datetime(2026, 5, 4), "A3": "=B2+1", "A4": "=COUNT(B1:B2)"}
    )
    assert [found.values["Main", f"A{row}"] for row in range(1, 5)] == [0.0, 46146.0, 46147.0, 1.0]


def test_an_array_fills_its_area_and_members_lose_what_they_held(evaluate):
    found = evaluate({"A1": 1, "A2": 2, "C1": ArrayFormula("C1:E3", "=A1:A2*{1,10}"), "D2": 777, "G1": "=SUM(C1:D2)"})
    rows = [[found.values["Main", f"{column}{row}"] for column in "CDE"] for row in (1, 2, 3)]
    assert rows == [[1, 10, NOT_AVAILABLE], [2, 20, NOT_AVAILABLE], [NOT_AVAILABLE] * 3]
    assert found.values["Main", "G1"] == 33.0


def test_an_array_of_one_row_or_value_repeats(evaluate):
    found = evaluate({"A1": ArrayFormula("A1:B2", "={1,2}"), "D1": ArrayFormula("D1:D3", "=7")})
    assert [found.values["Main", c] for c in ("A1", "B1", "A2", "B2", "D3")] == [1, 2, 1, 2, 7]


@pytest.mark.parametrize("length", [2, 7, 50, 700])
def test_every_cell_of_a_circle_is_named_or_refused(evaluate, length):
    cells = {f"A{row}": f"=A{row % length + 1}+1" for row in range(1, length + 1)}
    found = evaluate({**cells, "B1": "=IFERROR(A1,5)", "B2": "=1+1"})
    assert all(found.values["Main", cell] == VALUE for cell in cells)
    assert found.values["Main", "B1"] == 5.0
    assert found.values["Main", "B2"] == 2.0
    assert {p.cell for p in found.problems} <= set(cells)
    assert any("refers to itself" in str(p) for p in found.problems)


def test_a_cell_that_refers_to_itself_through_a_range(evaluate):
    found = evaluate({"A1": 1, "A2": "=SUM(A1:A3)", "A3": 2, "A4": "=SUM(A1:A3)"})
    assert found.values["Main", "A2"] == VALUE
    assert found.values["Main", "A4"] == VALUE
    assert [(p.sheet, p.cell) for p in found.problems] == [("Main", "A2")]


def test_chains_deeper_than_the_stack(evaluate):
    down = {f"A{row}": f"=A{row - 1}+1" for row in range(2, 3001)} | {"A1": 1}
    up = {f"B{row}": f"=IF(B{row + 1}>0,B{row + 1}+1,0)" for row in range(1, 3000)} | {"B3000": 1}
    found = evaluate({**down, **up})
    assert found.values["Main", "A3000"] == 3000.0
    assert found.values["Main", "B1"] == 3000.0


def test_an_unknown_function_names_sheet_cell_and_function(evaluate):
    found = evaluate({"A1": "=WEBSERVICE(B1)", "A2": "=A1+1"})
    assert found.values["Main", "A1"] == NAME
    assert found.values["Main", "A2"] == NAME
    assert [str(p) for p in found.problems] == [
        'sheet Main, A1: "=WEBSERVICE(B1)": WEBSERVICE is not a function that we evaluate'
    ]


def test_a_value_that_the_file_holds_stands_in_for_a_foreign_formula(evaluate):
    asked = []

    def cached(sheet, cell):
        asked.append((sheet, cell))
        return {"A1": 41.0, "A2": "#N/A"}.get(cell)

    found = evaluate({"A1": "=FOO(1)", "A2": "=FOO(2)", "A3": "=FOO(3)", "B1": "=A1+1"}, cached=cached)
    assert found.values["Main", "B1"] == 42.0
    assert found.values["Main", "A2"] == NOT_AVAILABLE
    assert found.values["Main", "A3"] == NAME
    assert set(asked) == {("Main", "A1"), ("Main", "A2"), ("Main", "A3")}
    assert len(found.problems) == 3


def test_text_that_is_no_formula_and_sheets_that_are_not_there(evaluate):
    found = evaluate({"A1": "=1+", "A2": "=Nowhere!A1", "A3": "=missing_name", "A4": "=#REF!+1"})
    assert [found.values["Main", f"A{row}"] for row in (1, 2, 3, 4)] == [NAME, REFERENCE, NAME, REFERENCE]
    assert [p.remedy for p in found.problems] == [
        "cannot be read near character 2", "there is no sheet Nowhere", "missing_name is not a defined name",
    ]  # fmt: skip


def test_a_refused_argument_keeps_its_sentence_where_it_arose(evaluate):
    found = evaluate({"A1": '=DRENCH_PIPE_VELOCITY(B1,"copper L","1")', "A2": "=A1*2", "B1": -2})
    assert found.values["Main", "A2"] == VALUE
    assert found.reasons == {("Main", "A1"): "flow = -2 gpm: must be zero or more"}
    assert not found.problems


def test_names_of_a_copied_sheet_are_its_own(tmp_path):
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Main"
    sheet["A1"], sheet["B1"] = 1, "=thing"
    copy = book.create_sheet("Copy")
    copy["A1"], copy["B1"] = 2, "=thing"
    book.defined_names["thing"] = DefinedName("thing", attr_text="Main!$A$1")
    copy.defined_names["thing"] = DefinedName("thing", attr_text="Copy!$A$1")
    book.save(tmp_path / "copy.xlsx")
    found = evaluate_workbook(openpyxl.load_workbook(tmp_path / "copy.xlsx"))
    assert found.values == {("Main", "B1"): 1.0, ("Copy", "B1"): 2.0}


def test_a_name_that_names_itself_is_refused(evaluate):
    found = evaluate({"A1": "=one"}, names={"one": "two+1", "two": "one+1"})
    assert found.values["Main", "A1"] == NAME


def test_error_cells_and_text_that_looks_like_a_formula(evaluate):
    found = evaluate({"A1": "=ISNA(B1)", "B1": "#N/A", "A2": "=ISTEXT(B2)", "B2": "plain"})
    assert found.values["Main", "A1"] is True
    assert found.values["Main", "A2"] is True


def test_whole_columns_and_rows(evaluate):
    cells = {f"A{row}": row for row in range(1, 11)} | {"C1": "=SUM(A:A)", "D1": "=COUNT($A:$A)", "C12": "=SUM(3:3)"}
    found = evaluate(cells)
    assert [found.values["Main", c] for c in ("C1", "D1", "C12")] == [55.0, 10.0, 3.0]


def test_array_functions_get_whole_tables_as_lists(evaluate, monkeypatch):
    """Blank cells stay blank, dates dates, errors the text they show; the answer fills the area."""
    seen = {}

    def site_results(table, **given):
        seen[table] = given
        return [["L1", 1.5], ["", ""]]

    monkeypatch.setattr(worksheet_functions, "site_results", site_results)
    others = {table.sheet: {"A5": "Tag", "B5": "Value", "A6": "x"} for table in TABLES}
    others["Stations"] |= {"B6": datetime.datetime(2026, 5, 4), "A7": "#N/A", "B7": "=2*3"}
    names = {table.range_name: f"'{table.sheet}'!$A$5:$B$8" for table in TABLES}
    arguments = ",".join(names)
    found = evaluate({"A1": ArrayFormula("A1:B2", f'=DRENCH_CASES({arguments},"L1",2)'),
                      "D1": ArrayFormula("D1:E2", f"=DRENCH_SCHEDULE({arguments})")}, others, names)  # fmt: skip
    assert seen["case"]["stations"] == [
        ["Tag", "Value"], ["x", datetime.datetime(2026, 5, 4)], ["#N/A", 6.0], [None, None],
    ]  # fmt: skip
    assert seen["case"]["station"] == "L1"
    assert seen["case"]["rows"] == 2.0
    assert set(seen["schedule"]) == {table.key for table in TABLES}
    assert [found.values["Main", c] for c in ("A1", "B1", "A2", "D1", "E1")] == ["L1", 1.5, "", "L1", 1.5]
