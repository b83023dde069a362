"""A fingerprint of the inputs in ordinary formulas, so that any spreadsheet program sees when results are stale.

Each row of a table becomes one number: its typed numbers, by the logarithm of their size, and its letters, each
weighted by its column or its place. The sine of that number is summed over the rows. A sum does not depend on the order
of the rows, and the sine of an empty row is zero; swapping two cells between rows changes two sines that do not cancel.
Columns are known by their headings, so columns of the user's own do not count. No number is turned into text on the
way, so the decimal sign of the computer does not matter. The weights keep every row below 2^27, the largest number
whose sine a spreadsheet program gives, and far enough from it that the sum is the same in every program.
"""

from __future__ import annotations

from drenchbook.workbook.layout import InputArea, cell_name

LONGEST_ROW = 500  # letters of a row that are looked at; a longer row stops the comparison, see `longest_row`
TOLERANCE = 1e-6
PLACES = 8  # decimals kept of a sum of sines: what differs between processors lies beyond


def _known(area: InputArea, headings: str) -> str:
    """Row of numbers: the place of each heading in the list of known headings, 0 for a column of the user's own."""
    return f"IFERROR(MATCH({area.headings()},{headings},0),0)"


def _letters(area: InputArea) -> str:
    """Column of texts: all the words of a row one after the other."""
    columns = (area.column(position) for position in range(area.width))
    return '&" "&'.join(f'IF(ISTEXT({cells}),{cells},"")' for cells in columns)


def table_fingerprint(area: InputArea, headings: str) -> str:
    """Array formula of the fingerprint of one table; `headings` is the range that lists its known headings."""
    block = area.block()
    number = f"1+LN(1+1000000*ABS({block}))+0.731*({block}<0)"
    text = f"IF(LEN({block})=0,0,2+LEN({block}))"  # an empty text is a blank in one program and a text in another
    other = f"IF(ISTEXT({block}),{text},IF(ISBLANK({block}),0,IF({block}=TRUE,3.3,4.4)))"
    cells = f"IF(ISERROR({block}),5.7,IF(ISNUMBER({block}),{number},{other}))"
    columns = f"TRANSPOSE(100*{_known(area, headings)}^1.37)"
    places = f"COLUMN($A$1:{cell_name(0, LONGEST_ROW - 1)})"
    codes = f'_xlfn.UNICODE(MID({_letters(area)}&REPT(" ",{LONGEST_ROW}),{places},1))-32'
    weights = f"0.1*ROW($A$1:{cell_name(LONGEST_ROW - 1, 0)})^0.83"
    rows = f"MMULT({cells},{columns})+MMULT({codes},{weights})"
    return f"{{=ROUND(SUM(SIN({rows})),{PLACES})}}"


def longest_row(area: InputArea, headings: str) -> str:
    """Array formula of the most letters in a row below the headings of one table, spaces between columns included."""
    block = area.block()
    lengths = f"IF(ISTEXT({block}),LEN({block}),0)+1"
    counted = f"TRANSPOSE(IF({_known(area, headings)}>0,1,0))"
    below = f"(ROW({area.column(0)})>ROW({area.first_heading()}))"
    return f"{{=MAX(MMULT({lengths},{counted})*{below})}}"
