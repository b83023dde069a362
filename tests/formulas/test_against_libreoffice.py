"""Ordinary functions and operators against a spreadsheet program: the same formulas, the same answers."""

import datetime

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.formula import ArrayFormula

from drenchbook.formula_functions import ORDINARY_FUNCTIONS
from drenchbook.formula_values import ErrorValue, serial
from drenchbook.workbook.evaluator import evaluate_workbook
from tests.formulas.libreoffice import recalculated

# Cells A1:F10 of the sheet; None is blank.
DATA = [
    [1, "apple", 10.5, None, "x", 3],
    [2, "Banana", -2.25, "", "L1", 1],
    [3, "cherry", 0, None, "L2", 2],
    [4, "apple", 1e6, "5", "l1", 5],
    [5, None, 0.1, 7, "L10", 4],
    [6, "date", 0.2, None, "TR-L1", 8],
    [7, "APPLE ", 0.3, "#N/A", "a*c", 7],
    [8, "fig", 12345.678, "tail", "abc", 6],
    [9, "grape", -0.5, None, " pad  ded ", 10],
    [10, "kiwi", 2.5, 3, "½ in", 9],
]

FORMULAS = """
1+2*3-4/8
2^3^2
-2^2
2^-1
10%
50%*8
(1+2)*3
1&2
"a"&"b"&""
1/3&""
0.1+0.2&""
1234567.891&""
0.00012&""
100000000000&""
-0.5&"x"
TRUE&""
A1=1
A1="1"
1<"a"
"a"<"b"
"a"="A"
"B">"a"
1=1.0
0.1+0.2=0.3
D1=0
D1=""
D1&"z"
D1+5
D2=""
D4=5
D4+1
"3"+4
"abc"+1
1/0
B1/2
1/0=1
IF(A1>0,"yes","no")
IF(FALSE,1/0,"safe")
IF(D1="","blank",D1)
IF(A1>5,1)
IF(1,2,3)
IFERROR(1/0,"caught")
IFERROR(NA(),1)
IFERROR(5,1)
_xlfn.IFNA(NA(),"missing")
_xlfn.IFNA(1/0,"missing")
_xlfn.IFNA(MATCH("zzz",B1:B10,0),"none")
AND(TRUE,1,A1>0)
AND(A1:A10)
OR(FALSE,0)
OR(A1>100,B1="apple")
NOT(FALSE)
NOT(5)
AND("x")
ISNUMBER(A1)
ISNUMBER(B1)
ISNUMBER(D1)
ISTEXT(D2)
ISTEXT(A1)
ISBLANK(D1)
ISBLANK(D2)
ISERROR(D7)
ISERROR(A1)
ISNA(D7)
ISNA(1/0)
ISERR(D7)
ISERR(1/0)
NA()
INDEX(A1:C10,3,2)
INDEX(A1:A10,4)
INDEX(A1:F1,5)
INDEX(A1:C10,11,1)
INDEX(A1:C10,1,4)
SUM(INDEX(A1:C10,0,1))
INDEX(B1:B10,5)=""
MATCH("BANANA",B1:B10,0)
MATCH("APPLE",B1:B10,0)
MATCH("zzz",B1:B10,0)
MATCH(4,A1:A10,0)
MATCH("4",A1:A10,0)
MATCH(4.5,A1:A10,1)
MATCH(4.5,A1:A10)
MATCH(0,A1:A10,1)
MATCH("l1",E1:E10,0)
MATCH("gr*",B1:B10,0)
MATCH("f?g",B1:B10,0)
MATCH("a~*c",E1:E10,0)
INDEX(B1:B10,MATCH(3,A1:A10,0))
COUNTIF(B1:B10,"apple")
COUNTIF(A1:A10,">5")
COUNTIF(A1:A10,"<=5")
COUNTIF(A1:A10,5)
COUNTIF(A1:A10,"<>5")
COUNTIF(B1:B10,"*a*")
COUNTIF(B1:B10,"<>apple")
COUNTIF(B1:B10,"?i*")
COUNTIF(C1:C10,">=0.2")
COUNTIFS(A1:A10,">2",B1:B10,"apple")
COUNTIFS(A1:A10,">2",A1:A10,"<9")
COUNTIFS(A1:A10,A3,B1:B10,B3)
COUNTA(B1:B10)
COUNTA(D1:D10)
COUNT(A1:D10)
COUNT(D1:D10)
COUNT(1,"2",TRUE)
COUNTBLANK(D1:D10)
SUM(A1:A10)
SUM(A1:C6)
SUM(D1:D6)
SUM(D1:D10)
SUM(1,"2",TRUE)
SUM("x")
SUM()
SUMIF(A1:A10,">5")
SUMIF(B1:B10,"apple",C1:C10)
SUMIF(A1:A10,3,C1:C10)
SUMPRODUCT(A1:A10,F1:F10)
SUMPRODUCT(A1:A3*F1:F3)
SUMPRODUCT((B1:B10="apple")*A1:A10)
SUMPRODUCT(A1:A3,F1:F4)
MAX(A1:A10)
MAX(C1:C10,99)
MAX(E1:E3)
MIN(C1:C10)
MIN(3,-1,"2")
ABS(C2)
ABS("-3")
ROUND(2.5,0)
ROUND(-2.5,0)
ROUND(1.005,2)
ROUND(C8,1)
ROUND(C8,-2)
ROUND(0.285,2)
ROUNDUP(C8,1)
ROUNDUP(-2.1,0)
ROUNDDOWN(C8,1)
ROUNDDOWN(-2.9,0)
INT(2.9)
INT(-2.1)
MOD(7,3)
MOD(-7,3)
MOD(7,-3)
MOD(5.5,2)
MOD(1,0)
SQRT(16)
LN(10)
LN(0)
EXP(1)
SIN(1)
LEN("hello")
LEN(E9)
LEN(D1)
LEN(123)
LEFT("hello",2)
LEFT("hello")
LEFT("hello",99)
RIGHT("hello",3)
RIGHT("hello",0)
MID("hello",2,3)
MID("hello",9,3)
MID("hello",0,3)
TRIM(E9)
UPPER("aBc1")
LOWER("AbC")
EXACT("a","A")
EXACT("a","a")
CONCATENATE("a",1,TRUE)
TEXT(3.14159,"0")
TEXT(3.14159,"0.0")
TEXT(2.345,"0.00")
TEXT(0.125,"0%")
TEXT(1234567.5,"#,##0")
TEXT(-1234.5,"#,##0")
TEXT(DATE(2026,5,4),"yyyy-mm-dd")
TEXT("abc","0.0")
VALUE("12.5")
VALUE("abc")
VALUE(" 7 ")
REPT("ab",3)
REPT("x",0)
_xlfn.UNICODE("A")
_xlfn.UNICODE(E10)
_xlfn.UNICHAR(188)
SUBSTITUTE("a-b-c","-","+")
SUBSTITUTE("a-b-c","-","+",2)
SUBSTITUTE("abc","x","y")
ROW(B7)
ROW()
COLUMN(C1)
COLUMN()
ROWS(A1:C10)
COLUMNS(A1:C10)
SMALL(A1:A10,3)
LARGE(C1:C10,2)
SMALL(A1:A10,11)
HYPERLINK("#Sheet1!A1","go")
CHOOSE(2,"a","b","c")
CHOOSE(4,"a","b","c")
N("x")
N(5)
T("x")
T(5)
DATE(2026,5,4)
DATE(2025,14,31)
DATE(2024,2,30)
TRUE()
fruits
SUM(numbers)
ROWS(numbers)
INDEX(numbers,3)
INDEX(fruits,2)
$A$3+A$4+$A5
'Other sheet'!A1+1
SUM('Other sheet'!$A$1:$A$3)
SUM({1,2;3,4})
SUMPRODUCT({1,2,3},{4,5,6})
INDEX({"a","b";"c","d"},2,1)
MATCH(3,{1,2,3},0)
INDEX(TRANSPOSE(A1:A10),1,4)
INDEX(MMULT(A1:B2,{1;2}),1)
SUM(MMULT({1,2;3,4},{5,6;7,8}))
A1:A10
IF(ISERROR(D7),"bad","good")
IF(AND(A1>0,A2>1),A1&"-"&A2,"")
IFERROR(INDEX(B1:B10,MATCH("kiwi",B1:B10,0)),"?")
MAX(A$1:A3)+1
SUM(IF(A1>0,A1:A3,0))
1=TRUE()&""
#N/A
""=D1
""&D1=""
" "=""
LEN(REPT(" ",400))
POWER(2,10)
"x"&IF(A1=1,"",1/0)
SUM(A:A)>=55
--"4"
-"x"
+A1
1E3+1.5e-1
"quo""te"
COUNTIF(B1:B10,"")
COUNTIF(B1:B10,B1)
MATCH(D1,A1:A10,0)
INDEX(A1:C3,2,)+0*SUM(1)
""".strip().splitlines()

ARRAYS = [
    ("A1:A3*2", 3, 1), ("A1:A3*{1,2}", 3, 2), ("A1:A3&B1:B3", 3, 1), ("IF(A1:A4>2,A1:A4,\"low\")", 4, 1),
    ("TRANSPOSE(A1:B3)", 2, 3), ("MMULT(A1:A2,{1,2})", 2, 2), ("IF(ISTEXT(D1:D5),D1:D5,\"\")", 5, 1),
    ("_xlfn.UNICODE(MID(B1:B3&REPT(\" \",9),{1,2,3,4},1))", 3, 4), ("SUM(A1:A3*F1:F3)", 1, 1),
    ("MMULT(_xlfn.UNICODE(MID(E1:E4&REPT(\" \",9),{1,2,3},1)),{1;2;3})", 4, 1), ("ROW(A2:A4)", 3, 1),
    ("LEN(B1:B3)", 3, 1), ("A1:A2+F1:F3", 3, 1), ("ROUND(C1:C3/3,2)", 3, 1), ("SIN(A1:A3)*MOD(A1:A3,2)", 3, 1),
    ("IFERROR(1/(A1:A3-2),\"inf\")", 3, 1), ("MAX(IF(B1:B10=\"apple\",A1:A10))", 1, 1), ("COUNTIF(B1:B10,B1:B3)", 3, 1),
    ("MATCH(E2:E4,E1:E10,0)", 3, 1), ("A1:A3>=F1:F3", 3, 1),
]  # fmt: skip

# Where spreadsheet programs differ among themselves: what we give, and why.
DIFFERENT = {
    'TRUE&""': ("TRUE", "a truth value has a word in one program and is the number 1 in the other"),
    'CONCATENATE("a",1,TRUE)': ("a1TRUE", "the same"),
    'MATCH("4",A1:A10,0)': (ErrorValue("#N/A"), "text is no number in a look-up; the other program converts it"),
    'SUM(1,"2",TRUE)': (4.0, "typed text that spells a number counts; the other program refuses it"),
    'MIN(3,-1,"2")': (-1.0, "the same"),
    "SUM()": (ErrorValue("#VALUE!"), "a sum of nothing is a slip"),
}
ERRORS = {"#NUM!": {"#NUM!", "#VALUE!"}, "#VALUE!": {"#VALUE!", "#NUM!"}, "#REF!": {"#REF!", "#VALUE!"}}


def make_workbook(path):
    book = openpyxl.Workbook()
    sheet, other = book.active, book.create_sheet("Other sheet")
    sheet.title = "Sheet1"
    for row, cells in enumerate(DATA, start=1):
        for column, value in enumerate(cells, start=1):
            if value == "#N/A":
                value = "=NA()"
            elif value == "":
                value = '=""'
            sheet.cell(row, column, value)
    sheet["D4"].data_type = "s"
    for row in range(1, 4):
        other.cell(row, 1, row * 100)
    book.defined_names["fruits"] = DefinedName("fruits", attr_text="Sheet1!$B$1:$B$10")
    book.defined_names["numbers"] = DefinedName("numbers", attr_text="Sheet1!$A$1:$A$10")
    for at, formula in enumerate(FORMULAS):
        sheet.cell(at + 1, 8, "=" + formula)
    column = 10
    for formula, rows, columns in ARRAYS:
        first, last = sheet.cell(1, column).coordinate, sheet.cell(rows, column + columns - 1).coordinate
        sheet[first] = ArrayFormula(f"{first}:{last}", "=" + formula)
        column += columns + 1
    book.save(path)


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Our values and theirs, by cell."""
    folder = tmp_path_factory.mktemp("formulas")
    path = folder / "formulas.xlsx"
    make_workbook(path)
    ours = evaluate_workbook(openpyxl.load_workbook(path))
    theirs = openpyxl.load_workbook(recalculated(path, folder), data_only=True)["Sheet1"]
    return ours, theirs


def same(ours, theirs, in_array=False):
    if isinstance(theirs, (datetime.datetime, datetime.date)):
        theirs = serial(theirs)
    if isinstance(ours, ErrorValue):
        return theirs in ERRORS.get(ours.code, {ours.code})
    if isinstance(ours, bool):  # inside an array the other program writes truth values as 1 and 0
        return theirs == ours if in_array else theirs is ours
    if isinstance(ours, float) and isinstance(theirs, (int, float)):
        return ours == pytest.approx(theirs, rel=1e-13, abs=1e-13)
    return (ours or "") == (theirs or "")


def test_each_formula_gives_what_the_spreadsheet_program_gives(both):
    ours, theirs = both
    wrong = []
    for at, formula in enumerate(FORMULAS):
        cell = f"H{at + 1}"
        mine = ours.values["Sheet1", cell]
        if formula in DIFFERENT:
            assert mine == DIFFERENT[formula][0], formula
        elif not same(mine, theirs[cell].value):
            wrong.append(f"{formula}: {mine!r}, the other program {theirs[cell].value!r}")
    assert not wrong, "\n".join(wrong)
    assert len(FORMULAS) > 200


def test_each_array_gives_what_the_spreadsheet_program_gives(both):
    ours, theirs = both
    wrong, column = [], 10
    for formula, rows, columns in ARRAYS:
        for row in range(1, rows + 1):
            for across in range(column, column + columns):
                cell = theirs.cell(row, across)
                mine = ours.values["Sheet1", cell.coordinate]
                if not same(mine, cell.value, in_array=True):
                    wrong.append(f"{formula} at {cell.coordinate}: {mine!r}, the other program {cell.value!r}")
        column += columns + 1
    assert not wrong, "\n".join(wrong)


def test_each_ordinary_function_is_among_the_formulas():
    text = "\n".join([*FORMULAS, *(formula for formula, _, _ in ARRAYS)])
    missing = [name for name in ORDINARY_FUNCTIONS if f"{name}(" not in text]
    assert missing == ["FALSE"]
