"""The sheets that people fill: one per table, drawn from its description."""

from __future__ import annotations

import datetime
import math
from collections.abc import Callable, Sequence
from typing import Any

from drenchbook.published.pipes import MATERIALS
from drenchbook.site_cells import COLDEST, MOST
from drenchbook.site_sheets import PROJECT_HEADINGS, grid_of, heading_of
from drenchbook.site_tables import PROJECT, TABLES, Column, Table
from drenchbook.units import from_si
from drenchbook.workbook.drawing import SAMPLE_ROWS, Drawing
from drenchbook.workbook.layout import (
    BELOW_THE_LINE,
    COUNT_ROW,
    GROUP_ROW,
    HEADING_ROW,
    HOW_ROW,
    THIN_ROW,
    TITLE_ROW,
    InputArea,
    project_lines,
    range_name,
)
from drenchbook.workbook.look import FAIL_FILL, QUIET, lines_needed
from drenchbook.workbook.option_lists import SIZE_LIST, list_for

WIDEST_PAGE = 285  # letters across a large page that can still be read
NUMBER = "General_)"  # a bracket's width is kept free to the right of a number
LINE = 13.5  # points of one line of text
TEXT_KINDS = ("tag", "ref", "refs", "size", "fittings", "curve", "text", "choice", "yes_no")
WIDEST = 1e9  # where a quantity has no bound of its own
# What a cell says when it is chosen, where its column has nothing more to say.
PROMPTS = {"text": "Any text; it may stay blank.", "yes_no": "Y or N.", "choice": "Choose from the list.",
           "ref": "Choose a tag from the list; blank: none.", "number": "A number; it may stay blank."}  # fmt: skip
PROJECT_WIDTHS = (34.0, 46.0, 9.0, 78.0)


def draw_input_sheets(drawing: Drawing) -> None:
    """Every table on its sheet, with its name over the whole workbook."""
    for table in TABLES:
        area = drawing.layout.inputs[table.key]
        sheet = drawing.sheets[table.sheet]
        sheet.set_tab_color("#E8C76A")
        _above(drawing, sheet, table, area)
        if table is PROJECT:
            _project(drawing, sheet)
        else:
            _rows(drawing, sheet, area)
        _below(drawing, sheet, area)
        drawing.define(table.range_name, area.block())


def _above(drawing: Drawing, sheet: Any, table: Table, area: InputArea) -> None:
    look = drawing.look
    for row, height in ((TITLE_ROW, 24), (HOW_ROW, 15), (COUNT_ROW, 15), (GROUP_ROW, 15), (THIN_ROW, 3)):
        sheet.set_row(row, height)
    place = (
        0 if pages_wide(table, drawing.units) == 1 else 1
    )  # the first column stands on each page: no room for titles
    sheet.write_string(TITLE_ROW, place, table.sheet, look("title"))
    sheet.write_string(HOW_ROW, place, table.how, look("how"))
    keys = range_name(HEADING_ROW, 0, area.end, 0)
    stray = range_name(area.end + 2, 0, area.end + BELOW_THE_LINE, area.width - 1)
    used = f"COUNTA({keys})-1"
    stop = f'IF(COUNTA({stray})>0,"   STOP: "&COUNTA({stray})&" cells below the dark line are not calculated","")'
    sample = f'IF({SAMPLE_ROWS}>0,"   SAMPLE DATA in "&{SAMPLE_ROWS}&" rows: not for issue","")'
    counted = f'{used}&IF({used}=1," row used"," rows used")'
    if table is PROJECT:
        counted = '"Settings of the whole workbook"'
    sheet.write_formula(COUNT_ROW, place, f"={counted}&{stop}&{sample}", look("strong"))
    if place:  # the first column is printed on every page
        sheet.write_formula(COUNT_ROW, 0, f'=IF({SAMPLE_ROWS}>0,"■ SAMPLE","")', look("strong"))
    mark = look.mark(font_color="#FFFFFF", bg_color=FAIL_FILL, bold=True)
    condition = f"=COUNTA({stray})>0"
    sheet.conditional_format(COUNT_ROW, place, COUNT_ROW, min(area.width, 6) - 1,
                             {"type": "formula", "criteria": condition, "format": mark})  # fmt: skip


def _below(drawing: Drawing, sheet: Any, area: InputArea) -> None:
    look = drawing.look
    sheet.set_row(area.end, 4)
    for position in range(area.width):
        sheet.write_blank(area.end, position, None, look("end"))
    advice = "▲ Insert rows above the dark line. What stands below it is not calculated."
    if area.table is PROJECT:
        advice = "▲ Each setting has its row; keep the names in the first column as they are."
    place = 0 if pages_wide(area.table, drawing.units) == 1 else 1
    sheet.write_string(area.end + 1, place, advice, look("note"))


def _group_band(drawing: Drawing, sheet: Any, groups: Sequence[str]) -> None:
    shown = ""
    for position, group in enumerate(groups):
        band = drawing.look("band", left=1, left_color="#FFFFFF") if group != shown else drawing.look("band")
        sheet.write_string(GROUP_ROW, position, group, band) if group and group != shown else sheet.write_blank(
            GROUP_ROW, position, None, band
        )
        shown = group


def _rows(drawing: Drawing, sheet: Any, area: InputArea) -> None:
    table, columns, look = area.table, area.table.columns, drawing.look
    if any(column.group for column in columns):
        _group_band(drawing, sheet, [column.group for column in columns])
    headings = [heading_of(column, drawing.units) for column in columns]
    widths = [column_width(column, drawing.units) for column in columns]
    for position, (column, heading, width) in enumerate(zip(columns, headings, widths, strict=True)):
        align = "right" if column.kind == "number" else "left"
        sheet.write_string(HEADING_ROW, position, heading, look("heading", align=align))
        sheet.set_column(position, position, width)
        _validate(drawing, sheet, column, (area.first, position, area.end - 1, position))
    sheet.set_row(
        HEADING_ROW, 4 + LINE * max(lines_needed(h, w - 2, 1.08) for h, w in zip(headings, widths, strict=True))
    )
    data = grid_of(table, drawing.site)
    for number in range(area.rows):
        cells = data[number] if number < len(data) else [None] * len(columns)
        row = area.first + number
        sheet.set_row(row, _height(columns, cells, widths))
        for position, (column, cell) in enumerate(zip(columns, cells, strict=True)):
            _write(drawing, sheet, row, position, column, cell)
    sheet.freeze_panes(HEADING_ROW + 1, 1)
    sheet.autofilter(HEADING_ROW, 0, area.end - 1, area.width - 1)
    sheet.repeat_rows(TITLE_ROW, HEADING_ROW)
    sheet.repeat_columns(0)
    sheet.print_area(0, 0, area.end + 1, area.width - 1)
    sizes = [position for position, column in enumerate(columns) if column.kind in ("size", "tag", "ref")]
    marked = " ".join(range_name(area.first, p, area.end - 1, p).replace("$", "") for p in sizes)
    sheet.ignore_errors({"number_stored_as_text": marked})
    drawing.page(sheet, large=sum(widths) > 150, wide=pages_wide(table, drawing.units))


def pages_wide(table: Table, units: str) -> int:
    """Pages side by side on which a table is printed."""
    if table is PROJECT:
        return 1
    return 1 if sum(column_width(column, units) for column in table.columns) <= WIDEST_PAGE else 2


def column_width(column: Column, units: str) -> float:
    """Width of a column: no word of its heading, and not its unit, is broken.

    >>> from drenchbook.site_tables import VALVE_MODELS
    >>> column_width(VALVE_MODELS.column("minimum_flow"), "US")
    12.0
    """
    words = heading_of(column, units).split()
    return max(column.width, 4.5 + max(len(word) for word in words) * 1.02)


def _height(columns: Sequence[Column], cells: Sequence[Any], widths: Sequence[float]) -> float:
    lines = [
        lines_needed(cell, width - 2, 1.15) for cell, width in zip(cells, widths, strict=True) if isinstance(cell, str)
    ]
    return 3 + LINE * max(lines, default=1)


def _write(drawing: Drawing, sheet: Any, row: int, position: int, column: Column, cell: Any) -> None:
    look, kind = drawing.look, column.kind
    style = (
        look("input", num_format="@", text_wrap=True)
        if kind in TEXT_KINDS
        else look("input", align="right", indent=0, num_format=NUMBER)
    )
    if kind == "date":
        style = look("input", num_format="yyyy-mm-dd", align="left")
    if cell is None or cell == "":
        sheet.write_blank(row, position, None, style)
    elif isinstance(cell, bool):
        sheet.write_boolean(row, position, cell, style)
    elif isinstance(cell, (datetime.date, datetime.datetime)):
        sheet.write_datetime(row, position, cell, look("input", num_format="yyyy-mm-dd", align="left"))
    elif isinstance(cell, (int, float)):
        sheet.write_number(row, position, cell, look("input", align="left") if kind in TEXT_KINDS else style)
    else:
        sheet.write_string(row, position, str(cell), style)


def _project(drawing: Drawing, sheet: Any) -> None:
    look, settings = drawing.look, drawing.site.project
    for position, (heading, width) in enumerate(zip(PROJECT_HEADINGS, PROJECT_WIDTHS, strict=True)):
        sheet.write_string(HEADING_ROW, position, heading, look("heading", align="left"))
        sheet.set_column(position, position, width)
    values = dict(zip((c.name for c in PROJECT.columns), grid_of(PROJECT, drawing.site)[0], strict=True))
    for number, line in enumerate(project_lines()):
        row = HEADING_ROW + 1 + number
        sheet.set_row(row, 16.5)
        if isinstance(line, str):
            sheet.write_string(row, 0, line, look("band", align="left", indent=1))
            for position in range(1, len(PROJECT_HEADINGS)):
                sheet.write_blank(row, position, None, look("band"))
            continue
        sheet.write_string(row, 0, line.heading, look("row", align="left", indent=1))
        _write(drawing, sheet, row, 1, line, values[line.name])
        for position, text in ((2, line.unit(drawing.units)), (3, line.help)):
            style = look("row", font_color=QUIET, align="left", indent=1)
            sheet.write_string(row, position, text, style) if text else sheet.write_blank(row, position, None, style)
        only = (str(settings.units),) if line.name == "units" else ()
        _validate(drawing, sheet, line, (row, 1, row, 1), only)
    sheet.freeze_panes(HEADING_ROW + 1, 1)
    sheet.repeat_rows(TITLE_ROW, HEADING_ROW)
    sheet.set_row(HEADING_ROW, 18)
    drawing.page(sheet, tall=1)


def _validate(
    drawing: Drawing, sheet: Any, column: Column, area: tuple[int, int, int, int], only: tuple[str, ...] = ()
) -> None:
    rule = _rule(column, drawing.units, only)
    rule.update(input_title=column.heading[:32], input_message=_prompt(column, drawing.units)[:255])
    if not rule["input_message"]:
        del rule["input_title"], rule["input_message"]
    if "error_message" in rule:
        rule["error_title"] = column.heading[:32]
        rule["error_message"] = rule["error_message"][:255]
    if rule["validate"] != "any" or "input_message" in rule:
        sheet.data_validation(*area, rule)


def _prompt(column: Column, units: str) -> str:
    unit = column.unit(units)
    parts = [column.help]
    if unit and unit != "–":
        parts.append(f"Unit: {unit}.")
    if column.need == "always":
        parts.append("Needed.")
    if column.kind == "number" and column.low is not None and column.high is not None:
        parts.append(f"From {column.low:g} to {column.high:g}.")
    if column.kind in ("size", "tag"):
        parts.append("Fill down with copy, not by dragging.")
    if not any(parts):
        parts.append(PROMPTS[column.kind])
    return "\n".join(part for part in parts if part)


def _rule(column: Column, units: str, only: tuple[str, ...]) -> dict[str, Any]:
    """What a cell of the column accepts, as XlsxWriter takes it."""
    if column.kind in ("choice", "yes_no"):
        choices = only or (MATERIALS if column.name == "material" else column.choices)
        advice = "Only the command convert changes the unit system." if only else "Choose from the list."
        return {**_listed(list(choices), advice), "error_type": "stop"}
    if column.kind == "ref":
        return _listed(f"={list_for(column)}", "No filled row has this tag yet. Keep it only if you will add that row.")
    if column.kind == "size":
        return _listed(f"={SIZE_LIST}", "Not in the pipe tables. Type it as on the drawing: 3/4, 1-1/4, DN32, 28x1.2.")
    if column.kind == "number":
        return {"validate": "decimal", "criteria": "between", "ignore_blank": False, **_bounds(column, units)}
    if column.kind == "date":
        return {"validate": "date", "criteria": "between", "minimum": datetime.date(1990, 1, 1), "ignore_blank": False,
                "maximum": datetime.date(2100, 12, 31), "error_message": "Type a date: 2026-05-04."}  # fmt: skip
    return {"validate": "any"}


def _listed(source: list[str] | str, advice: str) -> dict[str, Any]:
    return {
        "validate": "list",
        "source": source,
        "error_type": "warning",
        "error_message": advice,
        "ignore_blank": False,
    }


def _bounds(column: Column, units: str) -> dict[str, Any]:
    unit = column.unit(units)
    asked = f"Type a number in {unit}" if unit not in ("", "–") else "Type a number"
    least = f", {column.low:g} or more" if column.low is not None else ""
    most = f", {column.high:g} at most" if column.high is not None else ""
    lowest, highest = plausible_range(column, units)
    return {
        "minimum": lowest if column.low is None else column.low,
        "maximum": highest if column.high is None else column.high,
        "error_message": f"{asked}{least}{most}, with your decimal sign and without the unit.",
    }


def plausible_range(column: Column, units: str) -> tuple[float, float]:
    """Least and greatest number that a cell takes where its column has no bounds: beyond them the reader refuses it.

    >>> from drenchbook.site_tables import SUPPLIES
    >>> plausible_range(SUPPLIES.column("static_low"), "SI")
    (-10000.0, 10000.0)
    """
    unit = column.unit(units)
    most = MOST.get(column.quantity)
    if most is None:
        return -WIDEST, WIDEST
    coldest = COLDEST if column.quantity == "temperature" else -most
    low, high = ((from_si(value, unit) if unit else value) for value in (coldest, most))
    return _outward(low, math.floor), _outward(high, math.ceil)


def _outward(value: float, rounded: Callable[[float], int]) -> float:
    """The number with four digits, away from zero or toward it as `rounded` says."""
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 3) if value else 1.0
    return float(f"{rounded(round(value / step, 6)) * step:.12g}")
