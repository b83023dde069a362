"""An empty cell reaches the add-in as the number 0, and still is no zero: in the reading of formulas and in Calc."""

import itertools

import pytest

from drenchbook.hosts.libreoffice.drenchbook_blanks import BLANK, DOUBT, ZERO, Blanks, calls_in, source_of

NAMES = ("DRENCH_F", "DRENCH.F")


class Sheet:
    """A document of one sheet: cells by name, formulas among them."""

    def __init__(self, cells, names=None):
        self.cells, self.names, self.asked = cells, names or {}, 0

    def formulas(self, name):
        self.asked += 1
        return [("S", text) for text in self.cells.values() if isinstance(text, str) and text.startswith("=")]

    def cell(self, place):
        assert place.sheet == "S"
        value = self.cells.get(f"{chr(65 + place.column)}{place.row + 1}")
        if value is None:
            return "EMPTY", None
        if isinstance(value, float):
            return "VALUE", value
        return ("FORMULA", None) if value.startswith("=") else ("TEXT", value)

    def name(self, word):
        return self.names.get(word, "")


def judged(cells, *arguments, names=None):
    return Blanks().judge(Sheet(cells, names), "key", NAMES, arguments)


@pytest.mark.parametrize(
    ("formula", "expected"),
    [
        ("=DRENCH_F(A1)", BLANK), ("=1+drench.f($A$1)*2", BLANK), ("=DRENCH_F((A1))", BLANK), ("=DRENCH_F(+A1)", BLANK),
        ("=DRENCH_F($S.A1)", BLANK), ("=DRENCH_F($'S'.$A$1)", BLANK), ("=DRENCH_F(0)", ZERO), ("=DRENCH_F(B1)", ZERO),
        ("=DRENCH_F(A1+0)", ZERO), ("=DRENCH_F(-A1)", ZERO), ("=DRENCH_F(SUM(A1:A3))", ZERO), ("=DRENCH_F(C1)", ZERO),
        ('=DRENCH_F(IF(A1="";"";A1))', ZERO), ("=DRENCH_F(IF(ISBLANK(A1);5;$A$1))", ZERO),
        ("=DRENCH_F(IF(B1>0;A1;7))", BLANK), ("=DRENCH_F(IF(B1>0;A1;B1))", DOUBT), ("=DRENCH_F(IFERROR(A1;5))", BLANK),
        ("=DRENCH_F(INDEX(A1:B5;1))", DOUBT), ("=DRENCH_F(OFFSET(B1;0;1))", DOUBT), ("=DRENCH_F(unknown_name)", DOUBT),
        ("=DRENCH_F(blank_name)", BLANK), ("=DRENCH_F(zero_name)", ZERO), ("=DRENCH_F(1=2)", ZERO),
        ("=DRENCH_F(FALSE())", ZERO), ('=IF("DRENCH_F(B1)"="";DRENCH_F(B1);DRENCH_F(A1))', DOUBT),
    ],
)  # fmt: skip
def test_a_zero_of_one_call(formula, expected):
    cells = {"B1": 0.0, "C1": "=1-1", "D1": formula}
    assert judged(cells, 0.0, names={"blank_name": "$S.$A$1", "zero_name": "$S.$B$1"}) == [expected]


def test_what_is_no_zero_is_not_judged():
    assert judged({"D1": "=DRENCH_F(A1;B1)"}, 0.0, "x") == [DOUBT, ""]  # no call of the document fits
    assert judged({"D1": '=DRENCH_F(A1;"x";3)'}, 0.0, "x", 3.0) == [BLANK, "", ""]
    assert judged({"D1": "=DRENCH_F(;A1)"}, None, 0.0) == ["", BLANK]
    assert judged({"D1": "=DRENCH_F(A1;2)", "D2": "=DRENCH_F(;2)"}, 0.0, 2.0) == [BLANK, ""]


def test_the_other_arguments_tell_the_calls_apart():
    cells = {
        "B1": 0.0,
        "C1": 1.5,
        "C2": 2.5,
        "D1": "=DRENCH_F(A1;C1)",
        "D2": "=DRENCH_F(B1;C2)",
        "D3": "=DRENCH_F(0;9)",
    }
    assert judged(cells, 0.0, 1.5) == [BLANK, ""]
    assert judged(cells, 0.0, 2.5) == [ZERO, ""]
    assert judged(cells, 0.0, 9.0) == [ZERO, ""]


def test_calls_that_cannot_be_told_apart_are_in_doubt():
    assert judged({"B1": 0.0, "D1": "=DRENCH_F(A1)", "D2": "=DRENCH_F(B1)"}, 0.0) == [DOUBT]


def test_an_edit_is_seen_at_once():
    """The formulas are remembered for a moment, the cells they refer to never."""
    document, blanks = Sheet({"D1": "=DRENCH_F(A1)"}), Blanks(clock=itertools.repeat(0.0).__next__)
    assert blanks.judge(document, "key", NAMES, (0.0,)) == [BLANK]
    document.cells["A1"] = 0.0
    assert blanks.judge(document, "key", NAMES, (0.0,)) == [ZERO]
    del document.cells["A1"]
    assert blanks.judge(document, "key", NAMES, (0.0,)) == [BLANK]
    assert document.asked == 1
    document.cells["D2"] = "=DRENCH_F(A2;7)"
    assert blanks.judge(document, "key", NAMES, (0.0, 7.0)) == [BLANK, ""]
    assert document.asked == 2


@pytest.mark.parametrize(
    ("formula", "calls"),
    [
        ("=DRENCH_F()", [[]]), ("=DRENCH_F(A1;;\"x;y\")", [["A1", "", '"x;y"']]),
        ("=DRENCH_F(DRENCH_F(1);{1;2|3})", [["DRENCH_F(1)", "{1;2|3}"], ["1"]]),
        ("=MY_DRENCH_F(1)+DRENCH_F2(1)+XDRENCH.F(1)", []), ('="DRENCH_F(1)"', []), ("='DRENCH_F('.A1", []),
        ("=DRENCH_F(1", [[]]),
    ],
)  # fmt: skip
def test_calls_are_found_outside_texts(formula, calls):
    assert calls_in(formula, NAMES) == calls


def test_places_are_read():
    source = source_of("$'it''s'.$AB$12", "S")
    assert (source.value.sheet, source.value.column, source.value.row) == ("it's", 27, 11)


@pytest.fixture
def sheet(calc):
    document = calc.new()
    yield lambda cell, value: calc.put(document, "Sheet1", cell, value), lambda cell: calc.one(document, "Sheet1", cell)
    calc.close(document)


def test_in_calc_a_blank_is_refused_and_a_zero_is_not(sheet):
    put, shown = sheet
    put("B1", "=DRENCH_ELEVATION_LOSS(A1)")
    put("B2", '=DRENCH_REASON("DRENCH_ELEVATION_LOSS";A1)')
    assert shown("B1") == {"error": "#VALUE!"}
    assert shown("B2").startswith("rise = blank: is blank; give the ")
    put("A1", 0)
    assert shown("B1") == 0
    assert shown("B2") == "OK"
    put("A1", 20)
    assert shown("B1") == pytest.approx(8.66, abs=0.01)
    put("A1", None)
    assert shown("B1") == {"error": "#VALUE!"}


def test_in_calc_a_blank_option_takes_its_default_and_a_zero_counts(sheet):
    put, shown = sheet
    put("A1", 20)
    put("C1", '=DRENCH_ELEVATION_LOSS(A1;B1;"SI")')
    put("C2", '=DRENCH_ELEVATION_LOSS(A1;;"SI")')
    assert shown("C1") == shown("C2")
    put("B1", 0)
    assert shown("C1") == pytest.approx(20 * 9.80665 * 0.99984, rel=1e-4)  # water at 0 °C
    assert shown("C1") != shown("C2")


def test_in_calc_a_blank_value_is_unknown(sheet):
    put, shown = sheet
    put("B1", '=DRENCH_ADEQUACY(A1;20;"none")')
    assert shown("B1") == "UNKNOWN"
    put("A1", 0)
    assert shown("B1") == "LOW"


def test_in_calc_a_doubtful_zero_is_refused_with_the_cure(sheet):
    put, shown = sheet
    put("B1", "=DRENCH_ELEVATION_LOSS(INDEX(A1:A3;2))")
    put("B2", '=DRENCH_REASON("DRENCH_ELEVATION_LOSS";INDEX(A1:A3;2))')
    assert shown("B1") == {"error": "#VALUE!"}
    assert shown("B2") == 'arguments = 0: may be a blank cell; write IF(x="","",x) for a cell x that may be blank'
