"""Functions in Excel on Windows: the rendered VBA runs, COM is a stand-in, xlwings' conversions are its own."""

import ast
import datetime
import functools
from pathlib import Path

import pytest
from pyopenvba.interpreter import MISSING, VBAErrorValue

from drenchbook.errors import InputError, SiteError
from drenchbook.hosts.excel_module import module_text
from drenchbook.site_tables import TABLES
from drenchbook.units import SI
from drenchbook.workbook.reading import read_workbook
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS, status
from tests.hosts.excel_stand_in import Cells, Excel, run_calls, windows_side
from tests.hosts.truth_cases import examples, invalid, valid

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "server" / "drenchbook"
VALUE, NOT_AVAILABLE, DIVISION = VBAErrorValue(2015), VBAErrorValue(2042), VBAErrorValue(2007)
VELOCITY = ("DRENCH_PIPE_VELOCITY", 20, "copper L", "1")
EXAMPLES = [(function, example) for function in FUNCTIONS for example in function.examples]


@pytest.fixture
def excel():
    return Excel()


@functools.cache
def laboratory_tables():
    """The ranges of the sample's input sheets, in the order in which the array functions take them."""
    grids = read_workbook(ROOT / "samples" / "laboratory.xlsx").grids
    return [grids[table.key] for table in TABLES]


@pytest.mark.parametrize(("function", "example"), EXAMPLES, ids=lambda given: getattr(given, "name", ""))
def test_each_example_gives_the_same_digits_as_the_registry(excel, function, example):
    assert excel.cell(function.name, *example.cells) == function(*example.cells)


@pytest.mark.parametrize(("function", "example"), EXAMPLES, ids=lambda given: getattr(given, "name", ""))
def test_each_example_works_from_cells_as_well(excel, function, example):
    cells = [Cells([[cell]]) for cell in example.cells]
    assert excel.cell(function.name, *cells) == function(*example.cells)


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if f.gives_number and f.takes], ids=lambda f: f.name)
def test_a_refusal_is_a_true_error_value_and_never_text(excel, function):
    for place, argument in enumerate(function.takes):
        cells = list(function.examples[0].cells)[: len(function.takes)]
        if place >= len(cells) or argument.kind != "number":
            continue
        cells[place] = "a lot"
        with pytest.raises(InputError):
            function(*cells)
        assert excel.cell(function.name, *cells) == VALUE


def test_the_sentence_behind_a_refusal_is_told(excel):
    assert (
        excel.cell("DRENCH_REASON", "DRENCH_PIPE_VELOCITY", -2, "copper L", "1")
        == "flow = -2 gpm: must be zero or more"
    )
    assert excel.cell("DRENCH_REASON", *VELOCITY) == "OK"


# --- a blank is never a zero ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("blank", [None, "", Cells([[None]]), Cells([[""]])], ids=["none", "text", "cell", "formula"])
def test_a_blank_flow_is_refused_and_not_zero(excel, blank):
    assert excel.cell("DRENCH_PIPE_VELOCITY", 0, "copper L", "1") == 0
    assert excel.cell("DRENCH_PIPE_VELOCITY", blank, "copper L", "1") == VALUE
    assert "is blank" in excel.cell("DRENCH_REASON", "DRENCH_PIPE_VELOCITY", blank, "copper L", "1")


@pytest.mark.parametrize("blank", [None, "", Cells([[None]]), MISSING], ids=["none", "text", "cell", "left out"])
def test_what_may_be_left_out_takes_its_default(excel, blank):
    assert excel.cell("DRENCH_ELEVATION_LOSS", 20, blank, SI) == FUNCTION_BY_NAME["DRENCH_ELEVATION_LOSS"](20, None, SI)
    assert excel.cell("DRENCH_ELEVATION_LOSS", 20) == FUNCTION_BY_NAME["DRENCH_ELEVATION_LOSS"](20)


def test_a_blank_value_is_unknown(excel):
    assert excel.cell("DRENCH_ADEQUACY", Cells([[None]]), 20, "none") == "UNKNOWN"
    assert excel.cell("DRENCH_ADEQUACY", 0, 20, "none") == "LOW"


# --- what cells hold ------------------------------------------------------------------------------------------------


def test_a_size_that_became_a_date_is_refused_with_that_reason(excel):
    date = Cells([[datetime.date(2026, 3, 4)]])
    assert excel.cell("DRENCH_INSIDE_DIAMETER", "copper L", date) == VALUE
    assert "is a date" in excel.cell("DRENCH_REASON", "DRENCH_INSIDE_DIAMETER", "copper L", date)


def test_a_cell_formatted_as_money_keeps_every_digit(excel):
    money = Cells([[20.123456789]], money=True)
    assert excel.cell("DRENCH_PIPE_VELOCITY", money, "copper L", "1") == FUNCTION_BY_NAME["DRENCH_PIPE_VELOCITY"](
        20.123456789, "copper L", "1"
    )


def test_an_error_in_an_argument_is_the_answer(excel):
    assert excel.cell("DRENCH_PIPE_VELOCITY", Cells([[DIVISION]]), "copper L", "1") == DIVISION
    assert excel.cell("DRENCH_ADEQUACY", 22, DIVISION, "none") == DIVISION
    assert excel.python.asked == []


@pytest.mark.parametrize("cells", [Cells([[20.0, 30.0]]), Cells([[20.0], [30.0]]), Cells([[1.0, 2.0], [3.0, 4.0]])])
def test_a_range_where_one_number_belongs_is_refused(excel, cells):
    assert excel.cell("DRENCH_PIPE_VELOCITY", cells, "copper L", "1") == VALUE


def test_a_range_in_two_parts_is_refused(excel):
    assert excel.cell("DRENCH_PIPE_VELOCITY", Cells([[20.0]], areas=2), "copper L", "1") == VALUE


def test_truth_values_stay_truth_values(excel):
    regulated = ("DRENCH_OUTLET_FLOW", 50, 20, 30)
    assert excel.cell(*regulated, Cells([[True]])) == 20
    assert excel.cell(*regulated, False) > 25
    assert excel.cell("DRENCH_PIPE_VELOCITY", True, "copper L", "1") == VALUE


# --- whole tables ---------------------------------------------------------------------------------------------------


def test_a_whole_site_gives_the_same_rows_as_the_registry(excel):
    tables = laboratory_tables()
    expected = FUNCTION_BY_NAME["DRENCH_SCHEDULE"](*tables)
    answer = excel.cell("DRENCH_SCHEDULE", *(Cells(table) for table in tables))
    assert [[cell or "" for cell in row] for row in answer] == [[cell or "" for cell in row] for row in expected]
    assert len({len(row) for row in answer}) == 1


def test_a_date_in_a_table_stays_a_date_and_an_error_shows_as_its_text(excel):
    given = []
    side = windows_side().functions
    spied = Cells([["Tag", "Date"], ["A", datetime.date(2026, 5, 4)], [DIVISION, None]])
    original = FUNCTION_BY_NAME["DRENCH_SCHEDULE"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(side, "answer", lambda function, cells: given.append(cells) or "seen")
        assert excel.cell(original.name, *[spied] * len(original.takes)) == "seen"
    rows = side._without_midnight(given[0][0])
    assert rows == [["Tag", "Date"], ["A", datetime.date(2026, 5, 4)], ["#DIV/0!", None]]


def test_one_row_still_arrives_as_rows(excel):
    given = []
    side = windows_side().functions
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(side, "answer", lambda function, cells: given.append(cells) or "seen")
        excel.cell("DRENCH_SCHEDULE", *[Cells([["Tag", "Date"]])] * len(FUNCTION_BY_NAME["DRENCH_SCHEDULE"].takes))
    assert given[0][0] == [["Tag", "Date"]]


def test_whole_columns_are_taken_as_far_as_the_sheet_is_used(excel):
    tables = [Cells(table, whole_columns=True) for table in laboratory_tables()]
    plain = [Cells(table) for table in laboratory_tables()]
    assert excel.cell("DRENCH_SCHEDULE", *tables) == excel.cell("DRENCH_SCHEDULE", *plain)


# --- memory ---------------------------------------------------------------------------------------------------------


def test_an_equal_call_does_not_ask_python_again(excel):
    assert excel.cell(*VELOCITY) == excel.cell(*VELOCITY) == excel.cell(VELOCITY[0], Cells([[20]]), "copper L", "1")
    assert excel.python.asked == [VELOCITY[0]]


def test_a_refusal_is_remembered_too(excel):
    for _ in range(3):
        assert excel.cell("DRENCH_PIPE_VELOCITY", -2, "copper L", "1") == VALUE
    assert len(excel.python.asked) == 1


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ((0.1,), (0.1 + 2**-56,)),  # the same fifteen digits
        ((1.0,), ("1",)),
        ((1.0,), (True,)),
        ((None,), (0.0,)),
        (("a|t1:b",), ("a", "b")),
        (("A",), ("a",)),
        ((datetime.date(2026, 5, 4),), (46146.0,)),
    ],
)
def test_calls_that_differ_are_never_taken_for_equal(excel, one, other):
    def cell(value):
        return Cells([[value]]) if isinstance(value, datetime.date) else value

    excel.cell("DRENCH_REASON", "DRENCH_STATUS", *map(cell, one))
    excel.cell("DRENCH_REASON", "DRENCH_STATUS", *map(cell, other))
    assert len(excel.python.asked) == 2


def test_tables_are_not_kept(excel):
    tables = [Cells(table) for table in laboratory_tables()]
    excel.cell("DRENCH_SITE", *tables)
    excel.cell("DRENCH_SITE", *tables)
    assert excel.python.asked == ["DRENCH_SITE"] * 2


def test_memory_is_bounded():
    excel = Excel(text=module_text().replace("MOST_REMEMBERED As Long = 20000", "MOST_REMEMBERED As Long = 3"))
    for flow in (1, 2, 3, 4, 1):
        excel.cell("DRENCH_PIPE_VELOCITY", flow, "copper L", "1")
    assert len(excel.python.asked) == 5


# --- when Python does not answer ------------------------------------------------------------------------------------


def test_without_python_numbers_are_not_available_and_status_says_why(excel):
    excel.installed = False
    assert excel.cell(*VELOCITY) == NOT_AVAILABLE
    assert "Could not load the interpreter" in excel.cell("DRENCH_STATUS")
    assert "drenchbook doctor" in excel.cell("DRENCH_REASON", *VELOCITY)
    assert excel.cell("DRENCH_ADEQUACY", 22, 20, "none") not in ("OK", "LOW", "HIGH", "UNKNOWN")


def test_a_failure_is_not_remembered_as_an_answer(excel):
    excel.installed = False
    excel.vba.freeze(datetime.datetime(2026, 5, 4, 12, 0, 0))
    assert excel.cell(*VELOCITY) == NOT_AVAILABLE
    excel.installed = True
    assert excel.cell(*VELOCITY) == NOT_AVAILABLE  # nobody asks again at once
    excel.vba.freeze(datetime.datetime(2026, 5, 4, 12, 0, 11))
    assert excel.cell(*VELOCITY) == FUNCTION_BY_NAME[VELOCITY[0]](*VELOCITY[1:])
    assert excel.cell("DRENCH_STATUS") == status()


def test_a_process_that_ended_is_started_again(excel):
    excel.cell(*VELOCITY)
    ended = excel.python
    ended.alive = False
    excel.python = type(ended)()
    assert excel.cell("DRENCH_PIPE_VELOCITY", 21, "copper L", "1") == FUNCTION_BY_NAME[VELOCITY[0]](21, "copper L", "1")
    assert excel.cell("DRENCH_STATUS") == status()


def test_a_fault_of_the_program_is_not_available_and_not_remembered(excel):
    side = windows_side().functions

    def broken(*cells):
        raise ZeroDivisionError("in our own code")

    row = next(f for f in side.FUNCTIONS if f.name == VELOCITY[0])
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(type(row), "__call__", broken)
        assert excel.cell(*VELOCITY) == NOT_AVAILABLE
    assert excel.cell(*VELOCITY) == FUNCTION_BY_NAME[VELOCITY[0]](*VELOCITY[1:])


def test_a_workbook_of_another_version_says_so():
    excel = Excel(text=module_text().replace(f'"{status()}"', '"Drenchbook 0.0.1"'))
    assert excel.cell("DRENCH_STATUS") == (
        f"{status()}; the functions in this workbook are of Drenchbook 0.0.1: write it again"
    )


# --- the function wizard --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["site.xlsm", "Ada's site.xlsm"])
def test_opening_the_workbook_gives_the_wizard_its_texts_and_changes_nothing(name):
    excel = Excel(name)
    excel.vba.run("Auto_Open")
    quoted = name.replace("'", "''")
    assert set(excel.application.wizard) == {f"'{quoted}'!{function.name}" for function in FUNCTIONS}
    for function in FUNCTIONS:
        words, category, places = excel.application.wizard[f"'{quoted}'!{function.name}"]
        assert words.startswith(function.help)
        assert category == "Drenchbook"
        assert len(places) == len(function.takes)
        assert all(place.startswith(argument.help) for place, argument in zip(places, function.takes, strict=True))
    assert excel.book.saved is True


# --- the runner, and what xlwings is told ---------------------------------------------------------------------------


def test_the_table_of_truth_holds_in_excel():
    """Every example, 200 valid and 200 spoiled lists of arguments: the same digits and the same refusals."""
    cases = [*examples(), *valid(), *invalid()]
    answers = run_calls([{"function": case.function, "arguments": list(case.plain())} for case in cases])
    refused = 0
    for case, answer in zip(cases, answers, strict=True):
        try:
            expected = {"value": FUNCTION_BY_NAME[case.function](*case.plain())}
        except (InputError, SiteError) as error:
            refused += 1
            expected = {"error": "#VALUE!", "message": str(error)}
        assert answer == expected, case
    assert refused == 200


def test_a_skipped_argument_that_is_wanted_is_an_error(excel):
    assert excel.cell("DRENCH_PIPE_VELOCITY", MISSING, "copper L", "1") == VALUE
    assert excel.cell("DRENCH_PIPE_VELOCITY", 20, "copper L") == VALUE
    assert excel.cell("DRENCH_PIPE_VELOCITY", 20, "copper L", "1", "US", "more") == VALUE


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.name)
def test_xlwings_knows_each_function_by_name_arguments_and_options(function):
    known = getattr(windows_side().functions, function.name).__xlfunc__
    assert known["name"] == function.name
    assert known["category"] == "Drenchbook"
    assert [argument["name"] for argument in known["args"]] == [argument.name for argument in function.takes]
    for argument, row in zip(known["args"], function.takes, strict=True):
        assert ("optional" in argument) == row.optional
        assert argument["vararg"] == row.repeats
        assert argument["options"] == {"ndim": 2, "err_to_str": True}
        assert argument["doc"].startswith(row.help)


def test_xlwings_is_imported_in_one_file_and_nothing_of_its_paid_part():
    importing = set()
    for path in PACKAGE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            if any(name.split(".")[0] == "xlwings" for name in names):
                importing.add(path.name)
                assert names == ["xlwings"]
        text = path.read_text(encoding="utf-8").lower()
        assert "xlwings.pro" not in text
        assert "license_key" not in text
    assert importing == {"excel_functions.py"}
