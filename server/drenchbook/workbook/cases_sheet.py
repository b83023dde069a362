"""The Cases sheet: every operating case that the results hold, one a line, to filter and read."""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import CASE_COLUMNS, ResultColumn
from drenchbook.workbook.check_sheet import CASES_SHOWN_HERE
from drenchbook.workbook.drawing import PROTECTED, Drawing
from drenchbook.workbook.layout import (
    CASES,
    COUNT_ROW,
    HEADING_ROW,
    HOW_ROW,
    THIN_ROW,
    TITLE_ROW,
    cell_name,
    line_below,
)
from drenchbook.workbook.look import RULE, lines_needed
from drenchbook.workbook.results_sheet import number_format

LEFT = ("stations", "outlets", "fault", "state", "worst_outlet", "valve", "season", "supply", "changed")
NARROWEST, OF_NUMBERS = 8.0, 9.5  # letters; a number's heading wraps
BANNER_ROW = 3


def draw_cases_sheet(drawing: Drawing) -> None:
    """Draw the heading and one line of formulas for each row of the array."""
    sheet, look, area = drawing.sheets[CASES], drawing.look, drawing.layout.results["DRENCH_CASES"]
    for row, height in ((TITLE_ROW, 24), (HOW_ROW, 15), (COUNT_ROW, 15), (BANNER_ROW, 16), (THIN_ROW, 3)):
        sheet.set_row(row, height)
    sheet.write_string(TITLE_ROW, 0, "Operating cases", look("title"))
    how = ('Every case is solved; nothing is sampled. "–" does not apply, "not known" has no answer, a state says why. '
           "To print, filter the blank lines away.")  # fmt: skip
    sheet.write_string(HOW_ROW, 0, how, look("how"))
    sheet.write_formula(
        COUNT_ROW, 0, f'={CASES_SHOWN_HERE}&" cases on this sheet   "&{drawing.sample_words()}', look("strong")
    )
    drawing.banner(sheet, BANNER_ROW)
    line = line_below(cell_name(HEADING_ROW, 0))
    for place, column in enumerate(CASE_COLUMNS):
        unit = column.unit(drawing.units)
        heading = f"{column.heading}\n{unit}" if unit else column.heading
        align = "left" if column.name in LEFT else "right"
        sheet.write_string(HEADING_ROW, place, heading, look("heading", align=align))
        width = _width(column)
        sheet.set_column(place, place, width)
        style: dict[str, Any] = {"align": align, "shrink": not column.is_number}
        style.update({"num_format": f"{number_format(column)}_);@_)"} if column.is_number else {"indent": 1})
        for number in range(area.rows):
            value = f"INDEX({area.named(column.name)},{line})"
            key = f"INDEX({area.helper(0)},{line})"
            shown = value if column.is_number else f'{value}&""'
            first = cell_name(HEADING_ROW + 1 + number, 0, fixed=False)
            formula = f'=IFERROR({shown},IF(LEN({first})=0,"","?"))' if place else f"={key}"
            sheet.write_formula(HEADING_ROW + 1 + number, place, formula, look("plain", **style))
    headings = [max(lines_needed(c.heading, _width(c) - 1, 1.15), 1) + bool(c.quantity) for c in CASE_COLUMNS]
    sheet.set_row(HEADING_ROW, 4 + 13.5 * max(headings))
    last = HEADING_ROW + area.rows
    sheet.freeze_panes(HEADING_ROW + 1, 1)
    sheet.autofilter(HEADING_ROW, 0, last, len(CASE_COLUMNS) - 1)
    sheet.repeat_rows(TITLE_ROW, HEADING_ROW)
    filled = f"=LEN({cell_name(HEADING_ROW + 1, 0).replace('$A$', '$A')})>0"
    ruled = look.mark(bottom=1, bottom_color=RULE)
    sheet.conditional_format(HEADING_ROW + 1, 0, last, len(CASE_COLUMNS) - 1,
                             {"type": "formula", "criteria": filled, "format": ruled})  # fmt: skip
    odd = look.mark(font_color="#7F1414", bold=True)
    place = [column.name for column in CASE_COLUMNS].index("state")
    first = cell_name(HEADING_ROW + 1, place).replace("$", "")
    condition = f'=AND(LEN({first})>0,EXACT({first},"solved")=FALSE)'
    sheet.conditional_format(
        HEADING_ROW + 1, place, last, place, {"type": "formula", "criteria": condition, "format": odd}
    )
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=True)


def _width(column: ResultColumn) -> float:
    """Width of a column: no word of its heading is broken."""
    words = max(len(word) for word in column.heading.split()) + 1.0
    return max(OF_NUMBERS if column.is_number else column.width, words, NARROWEST)
