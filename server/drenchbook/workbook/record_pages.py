"""The weekly and the annual record: pages to print and to write on, one row a station, with a computed flush time.

Nothing is typed into their rows, so that no entry can slip to another station when the sheet Stations is sorted: what
was found is written on the paper. An empty box is a test that was not made, and the pages say so.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from drenchbook.result_tables import NOT_APPLICABLE, SCHEDULE_COLUMNS
from drenchbook.site_tables import LIMITS, MIXING_VALVES
from drenchbook.units import unit_of
from drenchbook.workbook.check_sheet import limit_name
from drenchbook.workbook.drawing import GAP, PROTECTED, STATE, Drawing
from drenchbook.workbook.layout import ANNUAL, SCHEDULE, WEEKLY, cell_name, on_sheet, setting_cell
from drenchbook.workbook.look import SLATE
from drenchbook.workbook.results_sheet import number_format
from drenchbook.workbook.schedule_sheet import COLUMN, agreement_formula
from drenchbook.workbook.schedule_sheet import FIRST as FIRST_LINE

TITLE, PROJECT_LINE, COUNT_LINE, HOW, SOURCE, MORE_SOURCE, LIMITS_LINE, TYPED, BANNER_LINE, GROUPS = range(10)
HEADINGS, UNITS, FIRST = GROUPS + 1, GROUPS + 2, GROUPS + 3
WEEKS = 13  # a quarter of a year on a page
STEP = 5  # seconds to which a flush is rounded up
ROW_HEIGHT = 26
FIRST_WEEK = "First week begins"
FIRST_WEEK_COLUMN = 2
FIRST_DAY = datetime.date(1990, 1, 1)
NO_VALVE = "no valve"
BLANK_BOX = "An empty box is a test that was not made: it is no pass."
WEEKLY_SOURCE = (
    "Weekly activation: ANSI/ISEA Z358.1, told by the OSHA InfoSheet on contaminated water in eyewashes (2015); "
    "confirm it in the edition you own.",
    "Flush: the longest purge that was computed, of the slowest outlet alone and with circulated runs, rounded up to "
    f"{STEP} s (common practice); longer where the maker or the water management plan asks.",
)
WEEKLY_HOW = (
    "Open each outlet until the flush has ended; feel for tepid, steady water; shut. Initials where all was right, "
    f"X and a report where not. {BLANK_BOX}"
)
ANNUAL_SOURCE = (
    "Annual inspection: ANSI/ISEA Z358.1 (from memory; confirm it in the edition you own).",
    "Expected: the Schedule of this workbook, least at the low supply, most at the high. Readings in full: Field test.",
)
ANNUAL_HOW = (
    "Measure at steady flow, write the reading, then Y or N for what is looked at, PASS or FAIL, date and initials. "
    f"{BLANK_BOX} UNKNOWN is no pass."
)


@dataclass(frozen=True)
class Part:
    """A column of a record page: from the Schedule, worked out here, or a box to write in."""

    heading: str
    width: float
    schedule: str = ""  # a column of the Schedule
    formula: str = ""  # with {column} of the page's own row
    unit: str = ""
    group: str = ""
    align: str = "center"
    hidden: bool = False

    @property
    def is_box(self) -> bool:
        """Whether it is written on paper."""
        return not (self.schedule or self.formula)


_NAMED = (
    Part("Station", 10, "tag", group="Station", align="left"),
    Part("Area", 22, "area", group="Station", align="left"),
    Part("Outlets", 18, "outlets", group="Station", align="left"),
    Part("Valve", 10, "valve", group="Station", align="left"),
)
_FLUSHED = (
    Part("Flush at least", 9, formula=f"MAX({STEP},-INT(-{{purge}}/{STEP})*{STEP})", unit="s", group="Flush"),
    Part("That is", 9, formula='INT({flush}/60)&":"&RIGHT("0"&MOD({flush},60),2)', unit="min:s", group="Flush"),
)
_RESULT = tuple(Part(heading, width, group="Result") for heading, width in
                (("PASS or FAIL", 8), ("Date", 11), ("Initials", 8), ("Defect, order number", 24)))  # fmt: skip
_LOOKED_AT = ("Opens in 1 s, stays open", "Pattern right", "Way and area clear", "Heights right", "Sign, light, alarm",
              "Drain works")  # fmt: skip


def weekly_parts() -> tuple[Part, ...]:
    """The columns of the weekly record."""
    weeks = (
        Part(str(number + 1), 6.5, group="Weeks: initials, or X" if number == 0 else "") for number in range(WEEKS)
    )
    return (*_NAMED, *_FLUSHED, *weeks)


def annual_parts(units: str, hose: bool) -> tuple[Part, ...]:
    """The columns of the annual record; those of the drench hose are hidden where there is none."""
    flow, pressure, degrees = (unit_of(quantity, units) for quantity in ("flow", "pressure", "temperature"))
    expected = [
        Part(f"{words} {kind}", 8, f"{name}_{kind}", unit=flow, group="Expected", hidden=name == "hose" and not hose)
        for name, words in (("shower", "Shower"), ("eye", "Eyewash"), ("hose", "Hose"))
        for kind in ("need", "least", "most")
    ]
    expected.append(Part("Pressure least", 8, "pressure_least", unit=pressure, group="Expected"))
    measured = (("Shower", flow), ("Eyewash", flow), ("Hose", flow), ("Pressure", pressure), ("After flush", degrees),
                ("At 15 min", degrees))  # fmt: skip
    boxes = (
        Part(words, 8, unit=unit, group="Measured", hidden=words == "Hose" and not hose) for words, unit in measured
    )
    seen = (Part(words, 8, unit="Y/N", group="Looked at") for words in _LOOKED_AT)
    return (*_NAMED, *_FLUSHED[:1], *expected, *boxes, *seen, *_RESULT)


def draw_record_pages(drawing: Drawing) -> None:
    """Draw both pages."""
    hose = any(model.kind == "drench hose" for model in drawing.site.outlet_models)
    _draw_weekly(drawing, weekly_parts())
    _draw_annual(drawing, annual_parts(drawing.units, hose))


def _draw_weekly(drawing: Drawing, parts: Sequence[Part]) -> None:
    sheet, look = drawing.sheets[WEEKLY], drawing.look
    _draw_head(drawing, sheet, WEEKLY, (WEEKLY_HOW, *WEEKLY_SOURCE), parts)
    sheet.write_string(TYPED, 0, FIRST_WEEK, look("label"))
    day = look("input", locked=False, num_format="yyyy-mm-dd", align="left")
    sheet.write_blank(TYPED, FIRST_WEEK_COLUMN, None, day)
    sheet.data_validation(TYPED, FIRST_WEEK_COLUMN, TYPED, FIRST_WEEK_COLUMN, {
        "validate": "date", "criteria": ">", "value": FIRST_DAY, "input_title": FIRST_WEEK,
        "input_message": "Type the date of its Monday; blank leaves the dates to be written by hand.",
        "error_message": "Type a date: 2026-05-04."})  # fmt: skip
    first = len(parts) - WEEKS
    sheet.set_row(HEADINGS, 62)
    for number in range(WEEKS):
        start = cell_name(TYPED, FIRST_WEEK_COLUMN)
        # White, so that a date can be written by hand where none is typed.
        turned = look("filled", rotation=90, num_format="yyyy-mm-dd", align="center", bold=True, border=1)
        sheet.write_formula(HEADINGS, first + number, f'=IF(ISNUMBER({start}),{start}+{7 * number},"")', turned)
        sheet.write_string(UNITS, first + number, f"week {number + 1}", look("unit", bottom=2, bottom_color=SLATE))
    row = _draw_rows(drawing, sheet, parts)
    for words in ("Tested by", "Day and time"):
        sheet.set_row(row, ROW_HEIGHT)
        sheet.write_string(row, 0, words, look("label"))
        for place in range(first, len(parts)):
            sheet.write_blank(row, place, None, look("filled", border=1))
        row += 1
    _finish(drawing, sheet, row, len(parts), large=False)


def _draw_annual(drawing: Drawing, parts: Sequence[Part]) -> None:
    sheet, look = drawing.sheets[ANNUAL], drawing.look
    _draw_head(drawing, sheet, ANNUAL, (ANNUAL_HOW, *ANNUAL_SOURCE), parts)
    sheet.set_row(HEADINGS, 44)
    for place, words in ((0, "Instruments"), (4, "Inspected by"), (10, "Period")):
        sheet.write_string(TYPED, place, words, look("label"))
        sheet.write_blank(TYPED, place + 2, None, look("signature"))
        sheet.write_blank(TYPED, place + 3, None, look("signature"))
    row = _draw_rows(drawing, sheet, parts) + 1
    row = _draw_valves(drawing, sheet, row, parts)
    _finish(drawing, sheet, row, len(parts), large=True)


def _draw_valves(drawing: Drawing, sheet: Any, row: int, parts: Sequence[Part]) -> int:
    """One row for each mixing valve of the project, in the order of its sheet."""
    look, area = drawing.look, drawing.layout.inputs[MIXING_VALVES.key]
    sheet.set_row(row, 18)
    sheet.write_string(row, 0, "Mixing valves", look("subtitle"))
    degrees = unit_of("temperature", drawing.units)
    headings = ("Valve", "Model", "Set temperature", "Set to", "Found at", "Held, hot shut", "Shut, cold shut",
                "Strainers clean", "Checks hold", "Stops open, locked", "PASS or FAIL", "Date", "Initials")  # fmt: skip
    shown = [place for place, part in enumerate(parts) if not part.hidden][: len(headings)]
    sheet.set_row(row + 1, 44)
    for place, heading in zip(shown, headings, strict=True):
        words = f"{heading}\n{degrees}" if heading in ("Set temperature", "Set to", "Found at") else heading
        sheet.write_string(row + 1, place, words, look("heading", align="center", valign="vcenter", indent=0))
    for number in range(area.rows):
        line = row + 2 + number
        sheet.set_row(line, ROW_HEIGHT)
        tag = f"INDEX({area.named('tag')},{number + 2})"
        for place, name in zip(shown, ("tag", "model", "set_temperature"), strict=False):
            value = f"INDEX({area.named(name)},{number + 2})"
            kept = value if name == "set_temperature" else f'{value}&""'
            absent = f'IF(LEN({value})=0,"not known",{kept})'
            formula = f'=IF(LEN({tag})=0,"",{absent})'
            sheet.write_formula(line, place, formula, look("row", num_format="0.0", align="left", border=1))
        for place in shown[3:]:
            sheet.write_blank(line, place, None, look("filled", border=1))
    return row + 2 + area.rows


def _draw_head(drawing: Drawing, sheet: Any, title: str, words: Sequence[str], parts: Sequence[Part]) -> None:
    look, width = drawing.look, len(parts)
    sheet.set_tab_color(SLATE)
    sheet.set_row(TITLE, 24)
    sheet.write_string(TITLE, 0, title, look("title"))
    sample = drawing.sample_words(before=GAP)
    revision = f'IF(LEN({setting_cell("revision")})=0,"","   revision "&{setting_cell("revision")})'
    sheet.write_formula(PROJECT_LINE, 0, f'={setting_cell("project")}&""&{revision}&{sample}', look("subtitle"))
    sheet.write_formula(COUNT_LINE, 0, agreement_formula(), look("strong"))
    for row, line, style in zip((HOW, SOURCE, MORE_SOURCE), words, ("strong", "how", "how"), strict=True):
        sheet.write_string(row, 0, line, look(style))
    sheet.write_formula(LIMITS_LINE, 0, "=" + _limit_words(drawing), look("plain"))
    drawing.banner(sheet, BANNER_LINE, width=width)
    shown = ""
    for place, part in enumerate(parts):
        sheet.write_string(GROUPS, place, part.group if part.group != shown else "", look("band"))
        shown = part.group or shown
        align, indent = part.align, 1 if part.align == "left" else 0
        sheet.write_string(HEADINGS, place, part.heading, look("heading", align=align, valign="vcenter", indent=indent))
        sheet.write_string(UNITS, place, part.unit, look("unit", bottom=2, bottom_color=SLATE))
        sheet.set_column(place, place, part.width, None, {"hidden": True} if part.hidden else {})


def _limit_words(drawing: Drawing) -> str:
    """Expression of the limits that a person needs on the page, as they stand on the sheet Limits."""
    degrees = unit_of("temperature", drawing.units)
    least, most = (f'IF(ISNUMBER({name}),ROUND({name},1),"not known")'
                   for name in (limit_name("TMP least"), limit_name("TMP greatest")))  # fmt: skip
    area = drawing.layout.inputs[LIMITS.key]

    def stated(limit: str) -> str:
        found = f'MATCH("{limit}",{area.named("id")},0)'
        value, unit = (f"INDEX({area.named(name)},{found})" for name in ("value", "unit"))
        return f'IFERROR(IF(LEN({value})=0,"not known",{value}&" "&{unit}),"not known")'

    heights = "&".join(
        f'"{mark} {kind} "&{stated(f"LOC-1 {kind} least")}&" to "&{stated(f"LOC-1 {kind} greatest")}'
        for mark, kind in ((":", "shower"), (";", "eyewash"))
    )
    return (f'"Tepid: "&{least}&" to "&{most}&" {degrees}, held to the end of the flush. Way from the hazard: "&'
            f'{stated("LOC-1 travel")}&" at most. Heights above the floor"&{heights}&"."')  # fmt: skip


def _draw_rows(drawing: Drawing, sheet: Any, parts: Sequence[Part]) -> int:
    """The rows of the stations, in the order of the Schedule; gives the row below them."""
    rows = drawing.layout.results["DRENCH_SCHEDULE"].rows
    columns = {column.name: column for column in SCHEDULE_COLUMNS}
    for number in range(rows):
        row = FIRST + number
        sheet.set_row(row, ROW_HEIGHT)
        for place, part in enumerate(parts):
            if part.is_box:
                sheet.write_blank(row, place, None, drawing.look("filled", border=1))
                continue
            style: dict[str, Any] = {"align": part.align, "border": 1}
            if part.align == "left":
                style.update(text_wrap=True, bold=part.schedule == "tag", indent=1)
            if part.schedule and columns[part.schedule].is_number:
                style["num_format"] = number_format(columns[part.schedule])
            elif part.formula:
                style.update(bold=True, num_format="0")
            sheet.write_formula(row, place, _formula(part, number, row), drawing.look("row", **style))
    return FIRST + rows


def _formula(part: Part, number: int, row: int) -> str:
    """Formula of a cell; a number that is not known is never a blank, and none is shown while results are stale."""

    def there(name: str) -> str:
        return on_sheet(SCHEDULE, cell_name(FIRST_LINE + number, COLUMN[name]))

    tag, columns = there("tag"), {column.name: column for column in SCHEDULE_COLUMNS}
    if part.schedule and not columns[part.schedule].is_number:
        return f'=IF(LEN({tag})=0,"",{there(part.schedule)}&"")'
    purge, flush = there("purge"), cell_name(row, len(_NAMED), fixed=False)
    asked = flush if "{flush}" in part.formula else purge if part.formula else there(part.schedule)
    known = part.formula.format(purge=purge, flush=flush) if part.formula else asked
    absent = f'IF({asked}&""="{NOT_APPLICABLE}","{NO_VALVE if part.formula else NOT_APPLICABLE}","not known")'
    if "{flush}" in part.formula:
        absent = f'{asked}&""'
    return f'=IF(LEN({tag})=0,"",IF({STATE}=1,IF(ISNUMBER({asked}),{known},{absent}),"not known"))'


def _finish(drawing: Drawing, sheet: Any, row: int, width: int, *, large: bool) -> None:
    sheet.freeze_panes(FIRST, 1)
    sheet.repeat_rows(TITLE, UNITS)
    sheet.print_area(0, 0, row, width - 1)
    sheet.set_zoom(80)
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=large)
