"""The formula language: spellings, shapes, blanks, errors, and the functions of the registry inside formulas."""

import pytest

from drenchbook.errors import InputError
from drenchbook.formula_grammar import parsed
from drenchbook.formula_language import Language, NoCells, evaluated, shape_of
from drenchbook.formula_values import DIVISION, NOT_AVAILABLE, VALUE, ErrorValue, Grid, number_text
from drenchbook.registry_externals import EXTERNALS

VELOCITY = '(20,"copper L","1")'


class Cells(NoCells):
    """A book of one sheet whose cells are given by (row, column)."""

    def __init__(self, cells, row=1, column=1):
        super().__init__()
        self.cells, self.row, self.column = cells, row, column

    def cell(self, at, sheet, row, column):
        return self.cells.get((row, column))

    def area(self, at, sheet, first, last):
        rows = [[self.cells.get((row, column)) for column in range(first[1], last[1] + 1)]
                for row in range(first[0], last[0] + 1)]  # fmt: skip
        return Grid.of(rows, first)


def value(formula, cells=None, **place):
    book = Cells(cells or {}, **place)
    return Language(EXTERNALS).compiled(formula, book)(book)


@pytest.mark.parametrize("name", [
    "DRENCH_PIPE_VELOCITY", "drench_pipe_velocity", "DRENCH.PIPE_VELOCITY", "Drench.Pipe_Velocity",
    "_xldudf_DRENCH_PIPE_VELOCITY", "_xludf.DRENCH_PIPE_VELOCITY", "_xlfn.DRENCH_PIPE_VELOCITY",
    "[1]!DRENCH_PIPE_VELOCITY", "'C:\\jobs\\a b.xlam'!DRENCH_PIPE_VELOCITY",
])  # fmt: skip
def test_every_spelling_is_the_same_function(name):
    """0.4085·q/d² = 7.776 ft/s."""
    assert evaluated(f"={name}{VELOCITY}", EXTERNALS) == pytest.approx(7.776, abs=5e-4)


def test_spelling_inside_text_is_left_alone():
    assert evaluated('="_xlfn.DRENCH.X(1)"', {}) == "_xlfn.DRENCH.X(1)"


def test_filled_down_formulas_share_a_shape_and_others_do_not():
    first = shape_of("=IF($A5=\"A5\",B$2+'A5'!C5,Sheet1!D6)", 5, 7)
    assert first == shape_of("=IF($A9=\"A5\",B$2+'A5'!C9,Sheet1!D10)", 9, 7)
    assert first != shape_of("=IF($A9=\"A5\",B$2+'A5'!C8,Sheet1!D10)", 9, 7)
    assert first != shape_of("=IF($A9=\"A9\",B$2+'A5'!C9,Sheet1!D10)", 9, 7)
    assert shape_of("=LOG10(A1)+Q1!A1", 1, 1) == "=LOG10(R[0]C[0])+Q1!R[0]C[0]"


def test_each_shape_is_read_once():
    language = Language({})
    cells = {(row, 1): float(row) for row in range(1, 101)}
    answers = []
    for row in range(1, 101):
        book = Cells(cells, row=row, column=2)
        answers.append(language.compiled(f"=A{row}*2", book)(book))
    assert answers == [2.0 * row for row in range(1, 101)]
    assert len(language._shapes) == 1


def test_absolute_and_relative_references_from_a_shared_shape():
    cells = {(row, column): 10.0 * row + column for row in range(1, 6) for column in range(1, 4)}
    language = Language({})
    for row in (1, 2, 3):
        book = Cells(cells, row=row, column=5)
        runs = language.compiled(f"=SUM($A$1:A{row})+$C{row}+C$1+INDEX(A{row}:C{row},1,2)", book)
        wanted = sum(10 * r + 1 for r in range(1, row + 1)) + (10 * row + 3) + 13 + (10 * row + 2)
        assert runs(book) == wanted


def test_a_blank_reaches_our_functions_as_a_blank():
    answer = value('=DRENCH_PIPE_VELOCITY(A1,"copper L","1")')
    assert answer == VALUE
    assert answer.reason == "flow = blank: is blank; give the flow in gpm"
    assert value('=DRENCH_ADEQUACY(A1,0,"none")') == "UNKNOWN"
    assert value('=DRENCH_PIPE_VELOCITY(,"copper L","1")').reason.startswith("flow = blank")


def test_a_blank_is_zero_or_empty_text_for_operators():
    assert value("=A1+1") == 1.0
    assert value('=A1&"x"') == "x"
    assert value('=A1=""') is True
    assert value("=A1=0") is True


def test_an_error_argument_passes_through_our_functions():
    cells = {(1, 1): DIVISION}
    assert value('=DRENCH_PIPE_VELOCITY(A1,"copper L","1")', cells) == DIVISION
    assert value("=DRENCH_ADEQUACY(A1,0,1)", cells) == DIVISION


def test_our_function_over_a_range_in_an_array_formula():
    book = Cells({(1, 1): 10.0, (2, 1): 20.0, (3, 1): -1.0})
    grid = Language(EXTERNALS).compiled('=DRENCH_PIPE_VELOCITY(A1:A3,"copper L","1")', book, array=True)(book)
    assert grid.item(1, 0) == pytest.approx(2 * grid.item(0, 0))
    assert grid.item(2, 0) == VALUE


def test_a_range_is_cut_to_the_formulas_own_row():
    cells = {(row, 1): float(row) for row in range(1, 6)}
    assert value("=A1:A5*10", cells, row=4, column=3) == 40.0
    assert value("=A1:A5*10", cells, row=9, column=3) == VALUE


@pytest.mark.parametrize(
    "formula", ["=1+", "=(1", "=A1 B1", '="open', "=1,2", "={1,2;3}", "=F(1", "=ZZZ1", "=A9999999"]
)
def test_what_is_no_formula_is_a_sentence(formula):
    with pytest.raises(InputError, match=r"^formula = "):
        parsed(formula)


def test_unknown_functions_and_names_are_told_only_where_reached():
    assert evaluated("=IF(TRUE,1,FOO(2))", {}) == 1.0
    assert evaluated("=FOO(2)+1", {}).reason == "FOO is not a function that we evaluate"
    assert evaluated("=nonsense", {}).reason == "nonsense is not a defined name"
    assert evaluated("=LEFT()", {}).reason == "LEFT cannot have 0 arguments"
    assert evaluated("=IF()", {}).reason == "IF cannot have 0 arguments"
    assert evaluated('=TEXT(1,"0.0E+00")', {}).reason.startswith('TEXT with the pattern "0.0E+00"')


def test_choices_are_calculated_only_where_chosen():
    assert evaluated('=CHOOSE(2,FOO(1),"b")', {}) == "b"
    assert evaluated("=IFERROR(1,FOO(1))", {}) == 1.0


def test_arrays_broadcast_and_what_does_not_fit_is_not_available():
    grid = evaluated("={1,2,3}+{10;20}", {})
    assert grid.rows() == [[11, 12, 13], [21, 22, 23]]
    short = evaluated("={1,2,3}+{10,20}", {}).rows()
    assert short[0][:2] == [11, 22]
    assert short[0][2] == NOT_AVAILABLE


def test_single_characters_of_many_texts_are_taken_at_once_and_one_by_one_alike():
    words = ["abc", "ÄÖ", "½ x", ""]
    book = Cells({(row + 1, 1): word for row, word in enumerate(words)})
    at_once = Language({}).compiled('=UNICODE(MID(A1:A4&REPT(" ",9),{1,2,3,4},1))', book, array=True)(book)
    assert at_once.rows() == [[float(ord(c)) for c in (word + " " * 9)[:4]] for word in words]
    beyond = Language({}).compiled("=UNICODE(MID(A1:A4,{1,2,3,4},1))", book, array=True)(book)
    assert beyond.rows()[1] == [float(ord("Ä")), float(ord("Ö")), VALUE, VALUE]
    assert beyond.rows()[3] == [VALUE] * 4


def test_errors_travel_through_sums_but_not_through_counts():
    cells = {(1, 1): 1.0, (2, 1): DIVISION, (3, 1): None, (4, 1): "x"}
    assert value("=SUM(A1:A4)", cells) == DIVISION
    assert value("=COUNT(A1:A4)", cells) == 1.0
    assert value("=COUNTA(A1:A4)", cells) == 3.0
    assert value("=COUNTIF(A1:A4,1)", cells) == 1.0


def test_a_sum_does_not_depend_on_the_order_of_rows():
    numbers = [1e16, 1.0, -1e16, 3.14, 0.1, 1e-3]
    forward = value("=SUM(A1:A6)", {(row + 1, 1): number for row, number in enumerate(numbers)})
    backward = value("=SUM(A1:A6)", {(row + 1, 1): number for row, number in enumerate(reversed(numbers))})
    assert forward == backward == pytest.approx(4.241)


@pytest.mark.parametrize(("number", "text"), [
    (2.0, "2"), (-0.0, "0"), (0.1 + 0.2, "0.3"), (1e15, "1000000000000000"), (1e20, "100000000000000000000"),
    (1e21, "1E+21"), (0.00012, "0.00012"), (1.5e-12, "1.5E-12"), (123456.789, "123456.789"),
])  # fmt: skip
def test_numbers_as_text(number, text):
    assert number_text(number) == text


def test_error_values_compare_by_code():
    assert ErrorValue("#N/A", "why") == NOT_AVAILABLE
    assert ErrorValue("#N/A") != VALUE
    assert str(ErrorValue("#N/A", "why")) == "#N/A"


@pytest.mark.parametrize(
    ("formula", "place"),
    [("=1+", 2), ("=(1", 2), ("=A1 B1", 4), ("=1,2", 2), ("={1,A1}", 4), ("=1+%", 3), ("=F(1;2)", 4), ("=2)", 2)],
)
def test_the_place_is_told_where_a_formula_makes_no_sense(formula, place):
    """At the end of the text the last thing that was read is the place."""
    with pytest.raises(InputError, match=rf"cannot be read near character {place}$"):
        parsed(formula)


def test_operators_bind_as_in_a_spreadsheet():
    """OpenFormula 1.2, 5.5: signs before percent's number, then powers, products, sums, joins, comparisons."""
    assert parsed("=-2^2") == ("binary", "^", ("negative", ("value", 2.0)), ("value", 2.0))
    assert parsed("=2^-3%") == ("binary", "^", ("value", 2.0), ("negative", ("percent", ("value", 3.0))))
    assert parsed("=1-2-3") == ("binary", "-", ("binary", "-", ("value", 1.0), ("value", 2.0)), ("value", 3.0))
    assert parsed("=1&2+3=4") == parsed("=(1&(2+3))=4")
    assert parsed("=1+2*3^4") == parsed("=1+(2*(3^4))")


def test_arguments_may_be_missing():
    missing = ("missing",)
    assert parsed("=F()") == ("call", "F", ())
    assert parsed("=F(,)") == ("call", "F", (missing, missing))
    assert parsed("=F(1,,G())") == ("call", "F", (("value", 1.0), missing, ("call", "G", ())))


def test_brackets_may_be_nested_deeply():
    deep = 5000
    assert parsed("=" + "(" * deep + "1" + ")" * deep) == ("value", 1.0)
