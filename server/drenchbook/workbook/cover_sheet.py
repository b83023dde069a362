"""The Cover and the Cautions: what the workbook is about, if it agrees with itself, what it does not promise."""

from __future__ import annotations

from typing import Any

from drenchbook import __version__
from drenchbook.result_tables import CAUTIONS, FAIL, OK, UNKNOWN, VERDICTS, WARN
from drenchbook.site_tables import TABLES
from drenchbook.workbook.chart_sheet import course_chart, margins_chart, pressure_chart
from drenchbook.workbook.check_sheet import (
    CASES_SHOWN_HERE,
    SETS_GIVEN,
    STATIONS_FILLED,
    STATIONS_ON_SCHEDULE,
    STATIONS_WITH_RESULTS,
    count_name,
)
from drenchbook.workbook.drawing import PROTECTED, Drawing
from drenchbook.workbook.layout import (
    ANNUAL,
    CASES,
    CAUTIONS_SHEET,
    CHART_DATA,
    CHECK,
    COVER,
    FIELD_TEST,
    RESULTS,
    REVIEW,
    SCHEDULE,
    TEMPLATE_VERSION,
    WEEKLY,
    WORKED_PATH,
    range_name,
    setting_cell,
)
from drenchbook.workbook.look import lines_needed
from drenchbook.workbook.schedule_sheet import agreement_formula, changed_limits

JOB = (
    ("Project", "project"), ("Project number", "project_number"), ("Revision", "revision"), ("Designer", "designer"),
    ("Checker", "checker"), ("Calculation date", "calculation_date"), ("Criteria", "criteria_set"),
    ("Friction", "friction_method"),
)  # fmt: skip
MEANINGS = {
    FAIL: "a required limit is missed",
    UNKNOWN: "an input or a result is missing: no pass",
    WARN: "met with little margin, or on an assumption",
    OK: "every check made, every check met",
}
READ = (
    (SCHEDULE, "one line a station: verdict, numbers, what to do; to print and sign"),
    (CASES, "every operating case that was solved"),
    (WORKED_PATH, "one station and case step by step, to follow by hand"),
    (FIELD_TEST, "what a test should find on its day; readings and their verdicts"),
    (WEEKLY, "to print: weekly activation, with the seconds to flush"),
    (ANNUAL, "to print: annual inspection, with what is expected"),
    (REVIEW, "who checked what, and which warnings were accepted"),
    (RESULTS, "what the array functions give; the other sheets look up here"),
    (CAUTIONS_SHEET, "what this workbook does not promise"),
    (CHECK, "whether the results belong to the inputs"),
    (CHART_DATA, "what the charts below show"),
)
FIRST_CAUTIONS = 4
LEFT, RIGHT = 1, 5  # first columns of the two blocks
HOW_TO = (
    "1. Fill the sand-coloured cells, sheet by sheet from Project to Stations; insert rows above the dark lines.",
    "2. Calculate: in a spreadsheet program with the add-in it happens as you type, else run: drenchbook recalc FILE.",
    "3. Read the Schedule: verdict, governing case and what to do; follow any number on the sheet Worked path.",
    "4. Print, sign and file it with the makers' data and the flow test; test every station as it is built.",
)
REVISIONS, REVISION_ROWS = (("Revision", LEFT), ("What changed and why", LEFT + 1), ("Date", RIGHT), ("By", RIGHT + 1),
                            ("Checked", RIGHT + 2)), 4  # fmt: skip
PRESSURE_WORDS = ("Columns: the pressure at the supply, what each part of the path takes of it, what is left at the "
                  "outlet, and what is needed there. Numbers: sheet Chart data.")  # fmt: skip
COURSE_WORDS = ("Lines over the minutes of the flush: temperature at the station by the governing tank model, solid, "
                "by the other, dashed; dotted the least and greatest allowed. Numbers: sheet Chart data.")  # fmt: skip
MARGIN_WORDS = ("Columns for each station: margins of flow, pressure, hot water and the least flow of the valve over "
                "their limits. The numbers stand on the sheet Chart data.")  # fmt: skip
PRINT_SCALE = 85  # percent: the width of a small page
CHART_ROWS = 16  # of the usual height


def draw_cover_sheet(drawing: Drawing) -> None:
    """Draw the Cover."""
    sheet, look = drawing.sheets[COVER], drawing.look
    for place, width in enumerate((2, 19, 44, 3, 1, 13, 16, 16, 16, 16, 2)):
        sheet.set_column(place, place, width)
    sheet.set_row(0, 8)
    sheet.set_row(1, 34)
    sheet.set_row(2, 20)
    for row, style in ((1, "masthead"), (2, "under masthead")):
        for place in range(1, 10):
            sheet.write_blank(row, place, None, look(style))
    sheet.write_string(1, 1, "Emergency shower and eyewash", look("masthead"))
    sheet.write_string(2, 1, "Water, temperature and duration: schedule and calculation", look("under masthead"))
    sheet.write_formula(2, RIGHT + 2, f"={drawing.sample_words()}", look("under masthead", bold=True))
    drawing.banner(sheet, 3, column=1, width=9, size=13)
    sheet.set_row(3, 22)
    for number, line in enumerate(HOW_TO, start=4):
        sheet.write_string(number, LEFT, line, look("plain"))
    _draw_job(drawing, sheet, 9)
    _draw_verdicts(drawing, sheet, 9)
    _draw_links(drawing, sheet, 18)
    charts = 20 + len(TABLES)
    revisions = _draw_charts(drawing, sheet, charts)
    row = _draw_revisions(drawing, sheet, revisions) + 2
    row = _draw_cautions(drawing, sheet, row)
    versions = f"Drenchbook {__version__} · template {TEMPLATE_VERSION} · {drawing.units} units"
    sheet.write_string(row + 1, LEFT, versions, look("note"))
    sheet.protect("", PROTECTED)
    drawing.page(sheet, scale=PRINT_SCALE)
    sheet.set_h_pagebreaks([charts, revisions])
    sheet.repeat_rows(0, 3)
    sheet.center_horizontally()
    sheet.print_area(0, 0, row + 1, 10)
    sheet.activate()
    sheet.set_first_sheet()


def _draw_job(drawing: Drawing, sheet: Any, row: int) -> None:
    look = drawing.look
    for number, (label, name) in enumerate(JOB):
        sheet.set_row(row + number, 19)
        sheet.write_string(row + number, LEFT, label, look("label", bottom=1, bottom_color="#8FA3B5"))
        formula = f'={setting_cell(name)}&""'
        if name == "calculation_date":
            formula = f'=IF(ISNUMBER({setting_cell(name)}),TEXT({setting_cell(name)},"yyyy-mm-dd"),"")'
        sheet.write_formula(row + number, LEFT + 1, formula, look("filled", bold=name == "project", text_wrap=True))


def _draw_verdicts(drawing: Drawing, sheet: Any, row: int) -> None:
    look = drawing.look
    for number, verdict in enumerate(VERDICTS):
        line = row + number
        sheet.write_string(line, RIGHT, verdict, look("computed", bold=True, align="center", border=1))
        sheet.write_formula(line, RIGHT + 1, f"={count_name(verdict)}", look("strong", font_size=14, align="center"))
        sheet.write_string(line, RIGHT + 2, MEANINGS[verdict], look("label"))
    drawing.verdict_marks(sheet, range_name(row, RIGHT, row + 3, RIGHT))
    line = row + len(VERDICTS)
    sheet.write_formula(line + 1, RIGHT, agreement_formula(), look("strong"))
    counts = (f'={STATIONS_FILLED}&" stations filled in, "&{STATIONS_WITH_RESULTS}&" with results, "'
              f'&{STATIONS_ON_SCHEDULE}&" on the schedule; "&{SETS_GIVEN}&" sets, "'
              f'&{CASES_SHOWN_HERE}&" cases shown"')  # fmt: skip
    sheet.write_formula(line + 2, RIGHT, counts, look("plain"))
    sample = drawing.sample_words("No row is marked as SAMPLE data.")
    sheet.write_formula(line, RIGHT, f"={sample}", look("strong"))
    sheet.write_formula(line + 3, RIGHT, "=" + changed_limits().replace('"limits', '"Limits'), look("plain"))


def _draw_links(drawing: Drawing, sheet: Any, row: int) -> None:
    look = drawing.look
    filled = [(table.sheet, f"one row: {table.one_row}") for table in TABLES]
    for place, title, links in ((LEFT, "You fill", filled), (RIGHT, "You read", READ)):
        sheet.write_string(row, place, title, look("subtitle"))
        for number, (name, meaning) in enumerate(links, start=1):
            sheet.write_url(row + number, place, f"internal:'{name}'!A1", look("link"), name)
            sheet.write_string(row + number, place + 1, meaning, look("label"))


def _draw_revisions(drawing: Drawing, sheet: Any, row: int) -> int:
    """The list of revisions, to be typed; gives its last row."""
    look = drawing.look
    for heading, place in REVISIONS:
        sheet.write_string(row, place, heading, look("heading", valign="vcenter"))
        for number in range(1, REVISION_ROWS + 1):
            style = {"num_format": "yyyy-mm-dd", "align": "left"} if heading == "Date" else {"num_format": "@"}
            sheet.write_blank(row + number, place, None, look("input", locked=False, **style))
    return row + REVISION_ROWS


def _draw_charts(drawing: Drawing, sheet: Any, row: int) -> int:
    """The charts side by side; gives the row below them."""
    charts = ((row, LEFT, pressure_chart(drawing), 470, PRESSURE_WORDS),
              (row, RIGHT, course_chart(drawing), 560, COURSE_WORDS),
              (row + CHART_ROWS, LEFT, margins_chart(drawing), 1052, MARGIN_WORDS))  # fmt: skip
    for line, place, chart, wide, words in charts:
        chart.set_size({"width": wide, "height": CHART_ROWS * 20 - 10})
        sheet.insert_chart(line, place, chart, {"description": words, "object_position": 2, "y_offset": 6})
    return row + 2 * CHART_ROWS + 1


def _draw_cautions(drawing: Drawing, sheet: Any, row: int) -> int:
    look = drawing.look
    sheet.write_string(row, LEFT, "Cautions", look("subtitle"))
    for number, caution in enumerate(CAUTIONS[:FIRST_CAUTIONS], start=1):
        sheet.write_string(row + number, LEFT, f"{number}. {caution}", look("plain"))
    more = f"All {len(CAUTIONS)} cautions stand on the sheet Cautions, which is part of this document."
    sheet.write_string(row + FIRST_CAUTIONS + 1, LEFT, more, look("how"))
    return row + FIRST_CAUTIONS + 1


def draw_cautions_sheet(drawing: Drawing) -> None:
    """Draw the Cautions."""
    sheet, look = drawing.sheets[CAUTIONS_SHEET], drawing.look
    sheet.set_column(0, 0, 5)
    sheet.set_column(1, 1, 110)
    sheet.set_row(0, 24)
    sheet.write_string(0, 0, "Cautions", look("title"))
    for number, caution in enumerate(CAUTIONS, start=1):
        sheet.set_row(number + 1, 6 + 15 * lines_needed(caution, 105))
        sheet.write_number(number + 1, 0, number, look("strong", align="left", valign="top"))
        sheet.write_string(number + 1, 1, caution, look("wrapped", font_size=11))
    sheet.protect("", PROTECTED)
    drawing.page(sheet)
