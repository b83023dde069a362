"""The Review record: who checked which inputs and results, what was decided, and which warnings were accepted.

The line of today stands above the lines that a checker types, column for column: it is copied and its values pasted.
From then on the sheet says on each line whether it still holds, and never that it does where something is missing.
"""

from __future__ import annotations

import datetime
from typing import Any

from drenchbook.result_tables import FAIL, OK, UNKNOWN, VERDICTS, WARN
from drenchbook.workbook.check_sheet import (
    FINGERPRINT,
    LIMITS_CHANGED,
    STATIONS_FILLED,
    count_name,
)
from drenchbook.workbook.drawing import GAP, PROTECTED, SAMPLE_ROWS, STATE, Drawing
from drenchbook.workbook.fingerprint import PLACES, TOLERANCE
from drenchbook.workbook.layout import RESULTS, REVIEW, SCHEDULE, cell_name, on_sheet, range_name, setting_cell
from drenchbook.workbook.look import FAIL_FILL, UNKNOWN_FILL
from drenchbook.workbook.schedule_sheet import COLUMN, changed_limits
from drenchbook.workbook.schedule_sheet import FIRST as FIRST_LINE

TITLE, PROJECT_LINE, HOW, LIMITS_LINE, BANNER_LINE, REVIEWS = range(6)
REVIEW_ROWS, ACCEPTED_ROWS = 10, 20
HEADINGS, TODAY, FIRST = REVIEWS + 1, REVIEWS + 2, REVIEWS + 3
ACCEPTED = FIRST + REVIEW_ROWS + 1
FIRST_ACCEPTED = ACCEPTED + 2
DIGEST = "Results_digest"
DIGEST_PLACES, DIGEST_TOLERANCE = 6, 1e-4  # programs add in different orders
DECISIONS = ("accepted", "accepted with warnings", "sent back")
WIDTHS = (13.0, 11.0, 34.0, 22.0, 17.0, 17.0, 10.0, 11.0, 10.0, 8.0, 8.0, 44.0, 48.0)
REVIEW_HEADINGS = ("Date", "Revision", "Checker", "Decision", "Inputs fingerprint", "Results digest", "Stations",
                   *VERDICTS, "Remarks", "Now")  # fmt: skip
ACCEPTED_HEADINGS = ("Station or subject", "Check", "Case", "Value then", "Limit", "Margin then", "By", "Date", "", "",
                     "", "Reason", "Now")  # fmt: skip
NOW = len(WIDTHS) - 1
HOW_WORDS = (
    "Recalculate and read every sheet. Then copy the line Today from Inputs fingerprint to OK, paste its values (not "
    "its formulas) on the next free line, and type date, revision, checker and decision. Nothing typed here changes a "
    "result."
)
ACCEPTED_WORDS = (
    "A warning may be accepted with a reason, a FAIL or UNKNOWN never. It stays valid while its case is the same and "
    "its margin no less; type value and limit with their units, and the margin as on the Schedule."
)
HOLDS, VALID = "holds", "valid"


def draw_review_record_sheet(drawing: Drawing) -> None:
    """Draw the line of today, the lines of reviews and those of accepted warnings."""
    sheet = drawing.sheets[REVIEW]
    _draw_head(drawing, sheet)
    _draw_today(drawing, sheet)
    for number in range(REVIEW_ROWS):
        _draw_review(drawing, sheet, FIRST + number)
    _draw_accepted(drawing, sheet)
    _draw_marks(drawing, sheet)
    sheet.freeze_panes(HEADINGS + 1, 1)
    sheet.repeat_rows(TITLE, BANNER_LINE)
    sheet.print_area(0, 0, FIRST_ACCEPTED + ACCEPTED_ROWS - 1, NOW)
    sheet.set_zoom(80)
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=True)


def _draw_head(drawing: Drawing, sheet: Any) -> None:
    look = drawing.look
    sheet.set_row(TITLE, 24)
    sheet.write_string(TITLE, 0, "Review record", look("title"))
    sample = drawing.sample_words(before=GAP)
    sheet.write_formula(PROJECT_LINE, 0, f'={setting_cell("project")}&""&{sample}', look("subtitle"))
    sheet.write_string(HOW, 0, HOW_WORDS, look("how"))
    sheet.write_formula(LIMITS_LINE, 0, f'="Today: "&{changed_limits()}', look("plain"))
    drawing.banner(sheet, BANNER_LINE, width=len(WIDTHS))
    for row, words, headings in ((REVIEWS, "Reviews", REVIEW_HEADINGS), (ACCEPTED, "", ACCEPTED_HEADINGS)):
        sheet.set_row(row, 18)
        sheet.write_string(row, 0, words or "Accepted warnings", look("subtitle"))
        sheet.set_row(row + 1, 30)
        for place, heading in enumerate(headings):
            align, indent = ("left", 1) if WIDTHS[place] > 12 else ("center", 0)
            sheet.write_string(
                row + 1,
                place,
                heading,
                look("heading", align=align, valign="vcenter", indent=indent),
            )
    sheet.write_string(ACCEPTED, 3, ACCEPTED_WORDS, look("how"))
    for place, width in enumerate(WIDTHS):
        sheet.set_column(place, place, width)


def _draw_today(drawing: Drawing, sheet: Any) -> None:
    look, area = drawing.look, drawing.layout.results["DRENCH_SCHEDULE"]
    block = on_sheet(RESULTS, range_name(area.first, area.COLUMN, area.last, area.COLUMN + len(area.columns) - 1))
    style = {"bold": True, "align": "center"}
    sheet.set_row(TODAY, 20)
    sheet.write_string(TODAY, 0, "Today", look("computed", bold=True))
    sheet.write_formula(TODAY, 1, f'={setting_cell("revision")}&""', look("computed", align="center"))
    sheet.write_formula(TODAY, 2, f'={setting_cell("checker")}&""', look("computed"))
    sheet.write_string(TODAY, 3, "copy values from here →", look("computed", font_color="#3D4C5A"))
    # A word stands where there is no number: a digest of results that do not belong would vouch for nothing.
    digits = look("computed", num_format="0." + "0" * PLACES, **style)
    sheet.write_formula(TODAY, 4, f'=IF(ISNUMBER({FINGERPRINT}),{FINGERPRINT},"{UNKNOWN}")', digits)
    digest = f'IF(ISNUMBER(SUM({block})),ROUND(SUM({block}),{DIGEST_PLACES}),"{UNKNOWN}")'
    digits = look("computed", num_format="0." + "0" * DIGEST_PLACES, **style)
    sheet.write_formula(TODAY, 5, f'=IF({STATE}=1,{digest},"{UNKNOWN}")', digits)
    drawing.define(DIGEST, on_sheet(REVIEW, cell_name(TODAY, 5)))
    for place, name in enumerate((STATIONS_FILLED, *(count_name(verdict) for verdict in VERDICTS)), start=6):
        sheet.write_formula(TODAY, place, f"={name}", look("computed", **style))
    words = (f'=IF({STATE}=1,"results belong to the inputs","RESULTS DO NOT BELONG: nothing can be reviewed")'
             f'&IF({SAMPLE_ROWS}>0,"; SAMPLE data in "&{SAMPLE_ROWS}&" rows","")'
             f'&IF({LIMITS_CHANGED}>0,"; "&{LIMITS_CHANGED}&" limits changed","")')  # fmt: skip
    sheet.write_formula(TODAY, NOW, words, look("computed", text_wrap=True))
    sheet.write_blank(TODAY, NOW - 1, None, look("computed"))


def _open(drawing: Drawing, sheet: Any, row: int, place: int, **style: Any) -> None:
    sheet.write_blank(row, place, None, drawing.look("input", locked=False, indent=0, **style))


def _date(sheet: Any, row: int, place: int) -> None:
    sheet.data_validation(row, place, row, place, {
        "validate": "date", "criteria": "between", "minimum": datetime.date(1990, 1, 1),
        "maximum": datetime.date(2100, 12, 31), "error_message": "Type a date: 2026-05-04."})  # fmt: skip


def _draw_review(drawing: Drawing, sheet: Any, row: int) -> None:
    sheet.set_row(row, 20)
    _open(drawing, sheet, row, 0, num_format="yyyy-mm-dd", align="left")
    _date(sheet, row, 0)
    for place in (1, 2, 3, NOW - 1):
        _open(drawing, sheet, row, place, num_format="@", text_wrap=True)
    sheet.data_validation(row, 3, row, 3, {"validate": "list", "source": list(DECISIONS), "error_type": "stop",
                                           "error_message": "Choose from the list."})  # fmt: skip
    shapes = {4: "0." + "0" * PLACES, 5: "0." + "0" * DIGEST_PLACES}
    for place in range(4, NOW - 1):
        _open(drawing, sheet, row, place, num_format=shapes.get(place, "0"), align="center")
        sheet.data_validation(row, place, row, place, {
            "validate": "decimal", "criteria": "between", "minimum": -1e12, "maximum": 1e12, "error_type": "stop",
            "error_message": "Copy the number from the line Today and paste its value."})  # fmt: skip
    sheet.write_formula(row, NOW, _review_now(row), drawing.look("computed", bold=True, text_wrap=True))


def _review_now(row: int) -> str:
    """Whether a review still holds: the same inputs, the same results, and nothing missing on its line."""
    typed = f"{cell_name(row, 0, fixed=False)}:{cell_name(row, NOW - 1, fixed=False)}"
    inputs, results = (cell_name(row, place, fixed=False) for place in (4, 5))
    today = [cell_name(TODAY, place) for place in range(4, NOW - 1)]
    numbers = f"{inputs}:{cell_name(row, NOW - 2, fixed=False)}"
    named = "+".join(f"(LEN({cell_name(row, place, fixed=False)})=0)" for place in (0, 1, 2, 3))
    counts = "+".join(
        f"({cell_name(row, place, fixed=False)}<>{cell_name(TODAY, place)})" for place in range(6, NOW - 1)
    )
    sent_back = f'{cell_name(row, 3, fixed=False)}="{DECISIONS[2]}"'
    steps = (
        (f"COUNTA({typed})=0", '""'),
        (f"COUNT({numbers})<{NOW - 1 - 4}", f'"{UNKNOWN}: fingerprint, digest or counts are not typed"'),
        (f"{named}>0", f'"{UNKNOWN}: date, revision, checker or decision is not typed"'),
        (f"NOT(ISNUMBER({today[0]}))", f'"{UNKNOWN}: the inputs have no fingerprint"'),
        (f"ABS({inputs}-{today[0]})>{TOLERANCE:.6f}", '"INPUTS CHANGED SINCE: review again"'),
        (f"NOT(ISNUMBER({today[1]}))", f'"{UNKNOWN}: the results do not belong to the inputs"'),
        (f"ABS({results}-{today[1]})>{DIGEST_TOLERANCE:.4f}", '"RESULTS CHANGED SINCE: review again"'),
        (f"{counts}>0", '"RESULTS CHANGED SINCE: review again"'),
        (sent_back, '"sent back: not accepted"'),
    )
    return _first_true(steps, f'"{HOLDS}"')


def _first_true(steps: tuple[tuple[str, str], ...], otherwise: str) -> str:
    text = otherwise
    for condition, words in reversed(steps):
        text = f"IF({condition},{words},{text})"
    return "=" + text


def _draw_accepted(drawing: Drawing, sheet: Any) -> None:
    look, last = drawing.look, drawing.sheets[SCHEDULE].dim_rowmax
    for number in range(ACCEPTED_ROWS):
        row = FIRST_ACCEPTED + number
        sheet.set_row(row, 20)
        for place, heading in enumerate(ACCEPTED_HEADINGS[:NOW]):
            if not heading:
                sheet.write_blank(row, place, None, look("computed"))
            elif heading == "Date":
                _open(drawing, sheet, row, place, num_format="yyyy-mm-dd", align="left")
                _date(sheet, row, place)
            elif heading == "Margin then":
                _open(drawing, sheet, row, place, num_format="0.0%", align="center")
                sheet.data_validation(row, place, row, place, {
                    "validate": "decimal", "criteria": "between", "minimum": -10, "maximum": 1000,
                    "error_message": "Type the margin as on the Schedule, like 3%."})  # fmt: skip
            else:
                _open(drawing, sheet, row, place, num_format="@", text_wrap=True)
        formula = _accepted_now(row, last)
        sheet.write_formula(row, NOW, formula, look("computed", bold=True, text_wrap=True))


def _accepted_now(row: int, last: int) -> str:
    """Whether an accepted warning is still the one that was accepted, by what the Schedule says of its station."""
    cell = {heading: cell_name(row, place, fixed=False) for place, heading in enumerate(ACCEPTED_HEADINGS) if heading}
    station, check, case, then = (cell[name] for name in ("Station or subject", "Check", "Case", "Margin then"))

    def there(name: str) -> str:
        return on_sheet(SCHEDULE, range_name(FIRST_LINE, COLUMN[name], last, COLUMN[name]))

    def now(name: str) -> str:
        return f'INDEX({there(name)},MATCH({station}&"",{there("tag")},0))'

    # A line of a supply, a source or an event has its check where a station has its tag, and its subject beside it.
    lines = f'COUNTIFS({there("tag")},{check},{there("area")},{station},{there("verdict")},"{WARN}")'
    failing = f'COUNTIFS({there("tag")},{check},{there("area")},{station},{there("verdict")},"{FAIL}")'
    signed = "+".join(f"(LEN({cell[name]})=0)" for name in ("By", "Date", "Reason", "Check"))
    typed = f"{cell_name(row, 0, fixed=False)}:{cell_name(row, NOW - 1, fixed=False)}"
    steps = (
        (f"COUNTA({typed})=0", '""'),
        (f"{signed}>0", f'"{UNKNOWN}: check, by, date or reason is not typed"'),
        (f"{STATE}<>1", f'"{UNKNOWN}: the results do not belong to the inputs"'),
        (f"{failing}>0", f'"REVIEW AGAIN: it is {FAIL} now"'),
        (f"{lines}>0", '"stands: compare its words with what was accepted"'),
        (f"ISERROR({now('verdict')})", f'"{UNKNOWN}: no such station or line now"'),
        (f'{now("verdict")}="{OK}"', '"no longer needed: the station is OK"'),
        (f'{now("check")}<>{check}',
         f'"{UNKNOWN}: "&{now("check")}&" governs now; find this check with recalc --json"'),
        (f'{now("verdict")}<>"{WARN}"', f'"REVIEW AGAIN: it is "&{now("verdict")}&" now"'),
        (f"NOT(ISNUMBER({then}))", f'"{UNKNOWN}: the margin then is not typed"'),
        (f'{now("governing_case")}<>{case}', '"REVIEW AGAIN: another case governs now"'),
        (f'NOT(ISNUMBER({now("margin")}))', f'"{UNKNOWN}: it has no margin now"'),
        (f'{now("margin")}<{then}-0.000000001', '"REVIEW AGAIN: its margin is less now"'),
    )  # fmt: skip
    return _first_true(steps, f'"{VALID}"')


def _draw_marks(drawing: Drawing, sheet: Any) -> None:
    """Fills under the words that ask for something; the words stand in the cells all the same."""
    alarm = drawing.look.mark(bg_color=FAIL_FILL, font_color="#FFFFFF", bold=True)
    grey = drawing.look.mark(bg_color=UNKNOWN_FILL, bold=True)
    for first, last in ((TODAY, FIRST + REVIEW_ROWS - 1), (FIRST_ACCEPTED, FIRST_ACCEPTED + ACCEPTED_ROWS - 1)):
        cell = cell_name(first, NOW, fixed=False)
        for words, style in (("UNKNOWN", grey), ("CHANGED", alarm), ("AGAIN", alarm), ("RESULTS DO NOT", alarm)):
            rule = {"type": "formula", "criteria": f'=ISNUMBER(SEARCH("{words}",{cell}))', "format": style}
            sheet.conditional_format(first, NOW, last, NOW, rule)
