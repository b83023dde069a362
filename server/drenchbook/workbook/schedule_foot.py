"""What stands below the stations on the Schedule: sets, site lines, legend, cautions and signatures."""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import CAUTIONS, SCHEDULE_COLUMNS, SET_COLUMNS, ResultColumn
from drenchbook.workbook.drawing import STATE, Drawing
from drenchbook.workbook.layout import cell_name, line_below, range_name
from drenchbook.workbook.results_sheet import TITLES, number_format

# Column of the schedule above in which each column of the sets stands.
SET_PLACES = {
    "verdict": "verdict", "set": "area", "events": "events", "users": "users", "flow_low": "shower_least",
    "flow_high": "shower_most", "pressure_least": "pressure_least", "hot_needed": "purge", "hot_there": "tepid",
    "minutes": "minutes", "minutes_other": "minutes_other", "flow_lost": "lost_shower", "check": "check",
    "margin": "margin", "governing_case": "governing_case", "message": "message",
}  # fmt: skip
SITE_PLACES = {"check": "tag", "verdict": "verdict", "subject": "area", "case": "events", "message": "shower_least"}
LEGEND = (
    "FAIL: a required limit is missed.   UNKNOWN: an input or a result is missing, nothing may be concluded.   "
    "WARN: met, with little margin or on an assumption; the checker accepts each with a reason.   "
    "OK: every check was made and met.",
    "▼ ▲ below, above a limit that fails   ! warning   ? no answer   – does not apply   not known: below the minimum "
    "flow under control no temperature can be stated.   Least: low supply, the worst set; Most: high supply. "
    "Margin: of the governing check, against its limit.",
)
SIGNATURES = (("Designed by, date", "tag"), ("Checked by, date", "shower_least"), ("Approved by, date", "purge"))
SET_HEIGHT = 53  # four lines of what to do
_PLACE = {column.name: number for number, column in enumerate(SCHEDULE_COLUMNS)}


def draw_foot(drawing: Drawing, sheet: Any, row: int) -> int:
    """Draw everything below the stations from `row` down; gives the last row."""
    row = _draw_sets(drawing, sheet, row) + 2
    row = _draw_site_lines(drawing, sheet, row) + 2
    for line in (*LEGEND, " ".join(CAUTIONS[:4]), " ".join(CAUTIONS[4:])):
        style = "note" if line in LEGEND else "how"
        sheet.write_string(row, 0, line, drawing.look(style, font_size=10))
        row += 1
    row += 2
    sheet.set_row(row, 26)
    for label, name in SIGNATURES:
        place = _PLACE[name]
        sheet.write_string(row, place, label, drawing.look("label", valign="bottom"))
        for number in range(place + 2, place + 7):
            sheet.write_blank(row, number, None, drawing.look("signature"))
    return row


def _draw_sets(drawing: Drawing, sheet: Any, row: int) -> int:
    look, area = drawing.look, drawing.layout.results["DRENCH_SETS"]
    columns = {column.name: column for column in SET_COLUMNS}
    sheet.set_row(row, 18)
    sheet.write_string(row, 0, TITLES["DRENCH_SETS"], look("subtitle"))
    row += 1
    sheet.set_row(row, 58)
    for place in range(_PLACE["message"] + 1):
        sheet.write_blank(row, place, None, look("bar"))
    for name, other in SET_PLACES.items():
        column = columns[name]
        unit = column.unit(drawing.units)
        align = "left" if name in ("set", "events", "governing_case", "message") else "center"
        heading = f"{column.heading}\n{unit}" if unit and name != "users" else column.heading
        sheet.write_string(row, _PLACE[other], heading, look("bar", align=align, text_wrap=True))
    sheet.write_string(row, 0, "Line", look("bar"))
    first, line = row + 1, line_below(cell_name(row, 0))
    for number in range(area.rows):
        row = first + number
        sheet.set_row(row, SET_HEIGHT)
        for place in range(_PLACE["message"] + 1):
            sheet.write_blank(row, place, None, look("row"))
        key = f"INDEX({area.helper(0)},{line})"
        sheet.write_formula(row, 0, f'=IF(LEN({key})=0,"",{line})', look("row", align="left", num_format='"Set "0'))
        for name, other in SET_PLACES.items():
            formula = _found(area.named(name), key, line, columns[name], name)
            sheet.write_formula(row, _PLACE[other], formula, _style(drawing, columns[name], name))
    drawing.verdict_marks(sheet, range_name(first, _PLACE["verdict"], row, _PLACE["verdict"]))
    return row


def _found(cells: str, key: str, line: str, column: ResultColumn, name: str) -> str:
    """Value of a line of the results, blank where the line is blank; no verdict counts while the results are stale."""
    value = f"INDEX({cells},{line})"
    shown = value if column.is_number else f'{value}&""'
    if name == "verdict":
        shown = f'IF({STATE}=1,{shown},"UNKNOWN")'
    return f'=IF(LEN({key})=0,"",IFERROR({shown},"?"))'


def _style(drawing: Drawing, column: ResultColumn, name: str) -> Any:
    left = name in ("set", "events", "governing_case", "message", "subject", "case")
    changes: dict[str, Any] = {"align": "left" if left else "center"}
    if left:
        changes["text_wrap"] = True
    if name == "verdict":
        changes["bold"] = True
    if column.is_number:
        changes["num_format"] = number_format(column)
        if column.quantity == "volume":  # stands under another unit where the page is turned
            changes["num_format"] += f'" {column.unit(drawing.units)}"'
    return drawing.look("row", **changes)


def _draw_site_lines(drawing: Drawing, sheet: Any, row: int) -> int:
    look, area = drawing.look, drawing.layout.results["DRENCH_SITE"]
    columns = {column.name: column for column in area.columns}
    sheet.set_row(row, 18)
    sheet.write_string(row, 0, TITLES["DRENCH_SITE"], look("subtitle"))
    row += 1
    sheet.set_row(row, 18)
    for place in range(_PLACE["message"] + 1):
        sheet.write_blank(row, place, None, look("bar"))
    for name, other in SITE_PLACES.items():
        sheet.write_string(row, _PLACE[other], columns[name].heading, look("bar"))
    first, line = row + 1, line_below(cell_name(row, 0))
    for number in range(area.rows):
        row = first + number
        sheet.set_row(row, 15)
        key = f"INDEX({area.helper(0)},{line})"
        for name, other in SITE_PLACES.items():
            style = look("plain", bold=name == "verdict", align="center" if name == "verdict" else "left")
            sheet.write_formula(row, _PLACE[other], _found(area.named(name), key, line, columns[name], name), style)
    drawing.verdict_marks(sheet, range_name(first, _PLACE["verdict"], row, _PLACE["verdict"]))
    return row
