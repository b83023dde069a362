"""The Schedule: one line a station, found by tag in the results, with ordinary formulas only, to print and sign."""

from __future__ import annotations

import re
from typing import Any

from drenchbook.result_tables import (
    FAIL,
    MARK_HIGH,
    MARK_LOW,
    MARK_UNKNOWN,
    MARK_WARN,
    OK,
    SCHEDULE_COLUMNS,
    UNKNOWN,
    VERDICTS,
    WARN,
    ResultColumn,
)
from drenchbook.site_tables import STATIONS
from drenchbook.units import SI, US
from drenchbook.workbook.check_sheet import (
    CHANGED_NAMES,
    LIMITS_CHANGED,
    STATIONS_FILLED,
    STATIONS_ON_SCHEDULE,
    count_name,
    limit_name,
)
from drenchbook.workbook.drawing import BANNER, GAP, PROTECTED, STATE, Drawing
from drenchbook.workbook.layout import SCHEDULE, cell_name, on_sheet, range_name, setting_cell
from drenchbook.workbook.look import FAIL_FILL, UNKNOWN_FILL, WARN_FILL
from drenchbook.workbook.results_sheet import number_format
from drenchbook.workbook.schedule_foot import draw_foot

TITLE, PROJECT_LINE, COUNT_LINE, BASIS_LINE, BANNER_LINE, GROUPS, HEADINGS, UNITS, LIMITS, FIRST = range(10)
ROW_HEIGHT = 66  # five lines of what to do
COLUMN = {column.name: number for number, column in enumerate(SCHEDULE_COLUMNS)}
LINE_NUMBER, RESULT_ROW = len(SCHEDULE_COLUMNS), len(SCHEDULE_COLUMNS) + 1  # hidden, at the right end
# Letters that numbers of a quantity take with their sign, ▼ or !; narrower where nothing is marked.
NUMBER_WIDTHS = {
    US: {"flow": 6.5, "pressure": 7.0, "temperature": 7.0, "seconds": 6.7, "minutes": 7.5},
    SI: {"flow": 7.8, "pressure": 7.8, "temperature": 7.0, "seconds": 6.7, "minutes": 7.5},
}
NEED_WIDTHS = {US: 5.5, SI: 6.5}
ZOOM = {US: 80, SI: 75}  # percent: from tag to governing case on a screen of 1,366 dots
LETTER = 0.82  # width of a bold letter over that of a digit, for the names of groups
LEFT = ("tag", "area", "events", "outlets", "valve", "governing_case", "message")
WRAPPED = ("area", "events", "outlets", "check", "governing_case", "message")
HOSE = "Drench hose flow"


def schedule_columns(drawing: Drawing) -> dict[str, str]:
    """The ranges of the tag and verdict columns, for the counts of other sheets."""
    last = FIRST + drawing.layout.results["DRENCH_SCHEDULE"].rows - 1
    return {
        name: on_sheet(SCHEDULE, range_name(FIRST, COLUMN[name], last, COLUMN[name])) for name in ("tag", "verdict")
    }


def draw_schedule_sheet(drawing: Drawing) -> None:
    """Draw the whole sheet."""
    sheet = drawing.sheets[SCHEDULE]
    sheet.set_tab_color("#22384C")
    _draw_head(drawing, sheet)
    _draw_headings(drawing, sheet)
    rows = drawing.layout.results["DRENCH_SCHEDULE"].rows
    for row in range(FIRST, FIRST + rows):
        _draw_station(drawing, sheet, row)
    _draw_marks(drawing, sheet, FIRST, FIRST + rows - 1)
    last = draw_foot(drawing, sheet, FIRST + rows + 1)
    for place in (LINE_NUMBER, RESULT_ROW):
        sheet.set_column(place, place, 8, None, {"hidden": True})
    sheet.freeze_panes(FIRST, 2)
    sheet.repeat_rows(TITLE, LIMITS)
    sheet.print_area(0, 0, last, COLUMN["message"])
    sheet.set_zoom(ZOOM[drawing.units])
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=True)


def _draw_head(drawing: Drawing, sheet: Any) -> None:
    look = drawing.look
    sheet.set_row(TITLE, 26)
    sheet.set_row(PROJECT_LINE, 18)
    sheet.write_string(TITLE, 0, "Emergency shower and eyewash schedule", look("title", font_size=18))
    counts = '&"   "&'.join(f'{count_name(verdict)}&" {verdict}"' for verdict in VERDICTS)
    sample = drawing.sample_words(before=GAP)
    project = f'{setting_cell("project")}&""'
    sheet.write_formula(PROJECT_LINE, 0, f'={project}&"      "&{counts}&{sample}', look("subtitle"))
    sheet.write_formula(COUNT_LINE, 0, agreement_formula(), look("strong"))
    method, date = setting_cell("friction_method"), setting_cell("calculation_date")
    basis = (f'={setting_cell("criteria_set")}&" · {drawing.units} units · friction by "&'
             f'IF(LEN({method})=0,"no method yet",{method})&" · calculated for "&'
             f'IF(ISNUMBER({date}),TEXT({date},"yyyy-mm-dd"),"no date yet")&" · "&{changed_limits()}')  # fmt: skip
    sheet.write_formula(BASIS_LINE, 0, basis, look("plain"))
    drawing.banner(sheet, BANNER_LINE, width=COLUMN["message"] + 1)
    place = COLUMN["governing_case"]
    for row, name, label in (
        (TITLE, "project_number", "Project number"), (PROJECT_LINE, "revision", "Revision"),
        (COUNT_LINE, "designer", "Designed by"), (BASIS_LINE, "checker", "Checked by"),
    ):  # fmt: skip
        sheet.write_string(row, place, label, look("label", top=1, bottom=1, left=1, indent=1))
        sheet.write_formula(row, place + 1, f'={setting_cell(name)}&""', look("strong", top=1, bottom=1, right=1))


def agreement_formula() -> str:
    """Whether every station that is filled in stands on the schedule, and what to do if not."""
    missing = f"{STATIONS_FILLED}-{STATIONS_ON_SCHEDULE}"
    agree = f'"All "&{STATIONS_FILLED}&" stations of sheet Stations are on the schedule."'
    stop = (f'"STOP: "&{STATIONS_FILLED}&" stations are filled in and "&{STATIONS_ON_SCHEDULE}&" stand on it ("'
            f'&({missing})&" missing). Make room: drenchbook convert OLD NEW"')  # fmt: skip
    none = '"No station is filled in yet: begin with the sheet Project."'
    return f"=IF({STATIONS_FILLED}={STATIONS_ON_SCHEDULE},IF({STATIONS_FILLED}=0,{none},{agree}),{stop})"


def changed_limits() -> str:
    """Expression that names the limits that were changed."""
    same, changed = '"limits as in the criteria set"', '"limits changed for this project: "'
    return f"IF({LIMITS_CHANGED}=0,{same},{changed}&{CHANGED_NAMES})"


def _draw_headings(drawing: Drawing, sheet: Any) -> None:
    look, shown = drawing.look, ""
    hose_used = any(model.kind == "drench hose" for model in drawing.site.outlet_models)
    widths = column_widths(drawing.units)
    for row, height in ((GROUPS, 15), (HEADINGS, 44), (UNITS, 14), (LIMITS, 27)):
        sheet.set_row(row, height)
    for place, column in enumerate(SCHEDULE_COLUMNS):
        starts = column.group != shown
        shown = column.group
        edge = {"left": 1, "left_color": "#22384C"} if starts and place else {}
        group = f"{column.group}" if starts else ""
        sheet.write_string(GROUPS, place, group, look("band", **edge))
        align = "left" if column.name in LEFT else "center"
        sheet.write_string(
            HEADINGS, place, column.heading, look("heading", align=align, valign="vcenter", indent=int(align == "left"))
        )
        unit = "" if column.hidden else column.unit(drawing.units)
        sheet.write_string(UNITS, place, unit, look("unit", **edge))
        formula = _limit_formula(column)
        if formula.startswith("="):
            sheet.write_formula(LIMITS, place, formula, look("limit", **edge))
        else:
            sheet.write_string(LIMITS, place, formula, look("limit", **edge))
        hidden = column.hidden or (column.group == HOSE and not hose_used)
        sheet.set_column(place, place, widths[column.name], None, {"hidden": True} if hidden else {})


def column_widths(units: str) -> dict[str, float]:
    """Width of each column: its numbers with their signs, and the name of its group over its columns."""
    groups: dict[str, list[ResultColumn]] = {}
    for column in SCHEDULE_COLUMNS:
        groups.setdefault(column.group, []).append(column)
    widths = {column.name: _width(column, units) for column in SCHEDULE_COLUMNS}
    for group, columns in groups.items():
        missing = 1.0 + LETTER * len(group) - sum(widths[column.name] for column in columns)
        for column in columns:
            widths[column.name] += max(missing, 0.0) / len(columns)
    return widths


def _width(column: ResultColumn, units: str) -> float:
    if column.name.endswith("_need"):
        return NEED_WIDTHS[units]
    return NUMBER_WIDTHS[units].get(column.quantity, column.width)


def _limit_formula(column: ResultColumn) -> str:
    """The limit under a heading: text, or a formula over the Limits sheet."""
    found = re.search(r"\{([^}]+)\}", column.limit)
    if not found:
        return column.limit
    before, after = column.limit[: found.start()], column.limit[found.end() :]
    name = limit_name(found.group(1))
    ending = f'&"{after}"' if after else ""
    return f'="{before}"&IF(ISNUMBER({name}),ROUND({name},2),{name}){ending}'


def _draw_station(drawing: Drawing, sheet: Any, row: int) -> None:
    sheet.set_row(row, ROW_HEIGHT)
    area, look = drawing.layout.results["DRENCH_SCHEDULE"], drawing.look
    number, tag = cell_name(row, LINE_NUMBER, fixed=False), cell_name(row, COLUMN["tag"], fixed=False)
    above = f"{cell_name(FIRST - 1, LINE_NUMBER)}:{cell_name(row - 1, LINE_NUMBER, fixed=False)}"
    sheet.write_formula(row, LINE_NUMBER, f"=MAX({above})+1", look("plain"))
    keys = area.helper(0)
    sheet.write_formula(
        row, RESULT_ROW, f'=IF(LEN({tag})=0,"none",IFERROR(MATCH({tag},{keys},0),"none"))', look("plain")
    )
    typed = drawing.layout.inputs[STATIONS.key].named("tag")
    formula = f'=IF({STATE}=-1,IFERROR(INDEX({typed},{number}+1)&"",""),IFERROR(INDEX({keys},{number})&"",""))'
    sheet.write_formula(row, COLUMN["tag"], formula, look("row", bold=True, text_wrap=True))
    sheet.write_formula(row, COLUMN["verdict"], _verdict_formula(drawing, row), look("row", bold=True, align="center"))
    shown = "Station"
    for place, column in enumerate(SCHEDULE_COLUMNS):
        starts, shown = column.group != shown, column.group
        if column.name in ("tag", "verdict"):
            continue
        style: dict[str, Any] = {"left": 1, "left_color": "#8FA3B5"} if starts else {}
        style["align"] = "left" if column.name in LEFT else "center"
        if column.name in WRAPPED:
            style["text_wrap"] = True
        if column.is_number:
            style.update(num_format=number_format(column), text_wrap=True)
        sheet.write_formula(row, place, _value_formula(drawing, row, column), look("row", **style))


def _verdict_formula(drawing: Drawing, row: int) -> str:
    """OK only where the results belong to the inputs and every check that was made was met."""
    area = drawing.layout.results["DRENCH_SCHEDULE"]
    tag, found, made, met = (
        cell_name(row, place, fixed=False)
        for place in (COLUMN["tag"], RESULT_ROW, COLUMN["checks_made"], COLUMN["checks_met"])
    )
    word = f"INDEX({area.helper(1)},{found})"
    proved = f'IF(AND(ISNUMBER({made}),ISNUMBER({met})),IF(AND({made}>0,{made}={met}),"{OK}","{UNKNOWN}"),"{UNKNOWN}")'
    said = f'IF({word}="{OK}",{proved},IF(OR({word}="{FAIL}",{word}="{WARN}"),{word},"{UNKNOWN}"))'
    belongs = f'IF(AND({STATE}=1,ISNUMBER({found})),{said},"{UNKNOWN}")'
    return f'=IF(LEN({tag})=0,"",IF({STATE}=0,"{FAIL}",{belongs}))'


def _value_formula(drawing: Drawing, row: int, column: ResultColumn) -> str:
    """The value of the row's tag; "?" where the results hold none, blank where the row has no tag."""
    area = drawing.layout.results["DRENCH_SCHEDULE"]
    tag, found = cell_name(row, COLUMN["tag"], fixed=False), cell_name(row, RESULT_ROW, fixed=False)
    value = f"INDEX({area.named(column.name)},{found})"
    shown = (
        value if column.is_number else f'{value}&""'
    )  # text of an array can be compared only as text that was joined
    if column.name == "message":
        none = f'IF(LEN({BANNER})>0,{BANNER},"No result stands for this tag: recalculate.")'
        return f'=IF(LEN({tag})=0,"",IFERROR(IF({STATE}=1,{shown},{BANNER}),{none}))'
    if column.name == "check":
        return f'=IF(LEN({tag})=0,"",IFERROR(IF({STATE}=1,{shown},"DAT-5"),"DAT-5"))'
    return f'=IFERROR({shown},IF(LEN({tag})=0,"","?"))'


def _draw_marks(drawing: Drawing, sheet: Any, first: int, last: int) -> None:
    """Verdict fills, and the program's marks: which cell fails low or high, warns, or has no answer."""
    drawing.verdict_marks(sheet, range_name(first, COLUMN["verdict"], last, COLUMN["verdict"]))
    drawing.verdict_marks(sheet, range_name(COUNT_LINE, COLUMN["verdict"], COUNT_LINE, COLUMN["verdict"]))
    alarm = drawing.look.mark(bg_color=FAIL_FILL, font_color="#FFFFFF", bold=True)
    stopped = f'=LEFT({cell_name(COUNT_LINE, 0)},4)="STOP"'
    sheet.conditional_format(
        COUNT_LINE, 0, COUNT_LINE, COLUMN["valve"], {"type": "formula", "criteria": stopped, "format": alarm}
    )
    marks = cell_name(first, COLUMN["marks"]).replace("$", "", 2)
    marks = "$" + marks
    for place, column in enumerate(SCHEDULE_COLUMNS):
        if not column.is_number or column.hidden:
            continue
        area = range_name(first, place, last, place).replace("$", "")
        for letter, sign, style in (
            (MARK_LOW, " ▼", {"font_color": "#7F1414", "bold": True, "bg_color": "#F6D9D4"}),
            (MARK_HIGH, " ▲", {"font_color": "#7F1414", "bold": True, "bg_color": "#F6D9D4"}),
            (MARK_WARN, " !", {"bold": True, "bg_color": WARN_FILL}),
            (MARK_UNKNOWN, " ?", {"bold": True, "bg_color": UNKNOWN_FILL}),
        ):
            shape = number_format(column)
            signed = f'{shape}"{sign}";-{shape}"{sign}";{shape}"{sign}";@"{sign}"'
            condition = f'=EXACT(MID({marks},{place + 1},1),"{letter}")'
            rule = {"type": "formula", "criteria": condition, "format": drawing.look.mark(num_format=signed, **style)}
            sheet.conditional_format(area, rule)
