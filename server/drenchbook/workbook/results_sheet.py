"""The Results sheet: every array function, and beside each array its keys and verdicts as text to look up."""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import CASES_SHOWN, ResultColumn
from drenchbook.site_tables import TABLES
from drenchbook.workbook.drawing import PROTECTED, Drawing
from drenchbook.workbook.layout import (
    CHOICES,
    CHOSEN_PATH,
    CORRECTION,
    COURSE,
    FIELD,
    RESULTS,
    WORST_PATH,
    ResultArea,
    cell_name,
    range_name,
)
from drenchbook.workbook.look import lines_needed

TITLES = {
    "DRENCH_SCHEDULE": "Stations",
    "DRENCH_SETS": "Stations used at once",
    "DRENCH_SITE": "Supplies, hot water sources, valves and events as a whole",
    "DRENCH_CASES": f"Operating cases (the first {CASES_SHOWN} on this sheet, all of them in the JSON report)",
    CHOSEN_PATH: "The path that the sheet Worked path asks for",
    WORST_PATH: "The path of the station with the least margin of flow or pressure, in that case",
    COURSE: "Fifteen minutes of the station with the least margin of hot water, in the case that governs it",
    FIELD: "What a test on the day of the sheet Field test should find",
    CORRECTION: "Which one input to correct first, a row for each line of the sheet Field test",
    CHOICES: "What may be chosen on the sheet Worked path",
}
KEY = "As text"
SECOND = {"verdict": "Verdict as text", "bar": "Bar as text"}  # columns that are looked up beside the key


def draw_results_sheet(drawing: Drawing) -> None:
    """Write every array and its helper columns."""
    sheet, look = drawing.sheets[RESULTS], drawing.look
    sheet.set_row(0, 24)
    sheet.write_string(0, 0, "Results", look("title"))
    sheet.write_string(1, 0, "What the array functions give. The other sheets look values up here.", look("how"))
    sheet.write_formula(0, 4, f"={drawing.sample_words()}", look("strong"))
    drawing.banner(sheet, 2)
    widths: dict[int, float] = {0: 18.0, 1: 13.0}
    for name, area in drawing.layout.results.items():
        _draw_area(drawing, sheet, area, TITLES[name])
        for number, column in enumerate(area.columns):
            place = area.COLUMN + number
            widths[place] = max(widths.get(place, 9.0), min(column.width, 24.0))
    for place, width in widths.items():
        sheet.set_column(place, place, width)
    sheet.freeze_panes(3, 2)
    sheet.protect("", PROTECTED)
    drawing.page(sheet)
    sheet.print_area(0, 0, 3, 8)  # a sheet to look values up in: what is printed stands on Schedule and Cases


def array_formula(area: ResultArea) -> str:
    """The array formula of an area: the eleven tables in their order, then the rows that the area has.

    The schedule gives a row for each row of the Stations range by itself.
    """
    names = ",".join(table.range_name for table in TABLES)
    more = f",{area.more}" if area.more else ""
    return f"{{={area.function}({names}{more})}}"


def _draw_area(drawing: Drawing, sheet: Any, area: ResultArea, title: str) -> None:
    look = drawing.look
    names = [column.name for column in area.columns]
    second = next((name for name in SECOND if name in names), "")
    sheet.write_string(area.top, 0, title, look("subtitle"))
    for place, heading in ((0, KEY), (1, SECOND.get(second, "–"))):
        sheet.write_string(area.top + 2, place, heading, look("heading"))
    heights = []
    for number, column in enumerate(area.columns):
        place, heading = area.COLUMN + number, _heading(column)
        sheet.write_string(area.top + 1, place, column.name, look("note"))
        sheet.write_string(area.top + 2, place, heading, look("heading"))
        sheet.write_string(area.top + 3, place, column.unit(drawing.units), look("unit"))
        heights.append(lines_needed(heading, max(9.0, min(column.width, 24.0)), 1.0))
    sheet.set_row(area.top + 2, 4 + 13.5 * max(heights))
    last = area.COLUMN + len(area.columns) - 1
    sheet.write_array_formula(area.first, area.COLUMN, area.last, last, array_formula(area), look("computed"))
    for row in range(area.first, area.last + 1):
        for place in range(area.COLUMN + 1, last + 1):
            sheet.write_number(row, place, 0, _format(drawing, area.columns[place - area.COLUMN])) if (
                row > area.first
            ) else None
        key = cell_name(row, area.COLUMN, fixed=False)
        sheet.write_formula(row, 0, f'=IFERROR({key}&"","")', look("computed"))
        if second:
            beside = cell_name(row, area.COLUMN + names.index(second), fixed=False)
            sheet.write_formula(row, 1, f'=IFERROR({beside}&"","")', look("computed"))
    if second == "verdict":
        drawing.verdict_marks(sheet, range_name(area.first, 1, area.last, 1))


def _heading(column: ResultColumn) -> str:
    return f"{column.group}: {column.heading}" if column.group and column.group != "Station" else column.heading


def _format(drawing: Drawing, column: ResultColumn) -> Any:
    return drawing.look("computed", num_format=number_format(column)) if column.is_number else drawing.look("computed")


def number_format(column: ResultColumn) -> str:
    """How a number of the column is shown."""
    places = "." + "0" * column.decimals if column.decimals else ""
    return f"0{places}%" if column.percent else f"#,##0{places}"
