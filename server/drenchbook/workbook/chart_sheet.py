"""The sheet Chart data and the charts on the Cover that show it: pressure along a path, temperature, all margins."""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import MARGIN_COLUMNS, PATH_BARS
from drenchbook.units import unit_of
from drenchbook.workbook.drawing import PROTECTED, STATE, Drawing
from drenchbook.workbook.layout import (
    CHART_DATA,
    COURSE,
    COURSE_STATION_COLUMN,
    COURSE_STATION_ROW,
    RESULTS,
    WORST_PATH,
    ResultArea,
    cell_name,
    on_sheet,
    range_name,
)
from drenchbook.workbook.look import FONT, INK, RULE, SLATE, WARN_FILL

TITLES_ROW, HEADINGS, FIRST = 3, 5, 6
BARS_AT, MARGINS_AT, COURSE_AT = 0, 8, 14  # first columns of the three tables
# Lines of the chart of temperatures: column of the course, its name there, its dash, its width.
LINES = (("outlet", "At the station", "solid", 2.5), ("outlet_other", "At the station, other tank model", "dash", 1.75),
         ("least", "Least", "round_dot", 1.25), ("greatest", "Greatest", "square_dot", 1.25))  # fmt: skip
BASE, STANDS, LOST, NEEDED, LEVEL, LABEL = range(1, 7)
MOST_STATIONS = 40  # groups of columns that stay readable
LOSS_FILL, HOT_FILL = "#AEBBC7", "#F3F5F7"
MARGIN_FILLS = (SLATE, "#7F97AD", WARN_FILL, HOT_FILL)  # from dark to light, so that grey prints keep them apart


def draw_chart_data_sheet(drawing: Drawing) -> None:
    """Write what the charts show, in formulas over the results."""
    sheet, look = drawing.sheets[CHART_DATA], drawing.look
    sheet.set_row(0, 24)
    sheet.write_string(0, 0, "Chart data", look("title"))
    sheet.write_string(1, 0, "What the charts of the Cover show. Nothing is typed here.", look("how"))
    sheet.write_formula(1, MARGINS_AT, f"={drawing.sample_words()}", look("strong"))
    drawing.banner(sheet, 2)
    sheet.set_column(0, 0, 22)
    sheet.set_column(1, MARGINS_AT + len(MARGIN_COLUMNS), 12)
    _draw_bars(drawing, sheet)
    _draw_margins(drawing, sheet)
    _draw_course(drawing, sheet)
    sheet.repeat_rows(0, HEADINGS)
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=True)


def _draw_bars(drawing: Drawing, sheet: Any) -> None:
    """A bar hangs from the level that the one before it left."""
    look, area = drawing.look, drawing.layout.results[WORST_PATH]
    headings = ("Pressure", "Not drawn", "Stands", "Lost", "Needed", "Level after", "Label")
    for place, heading in enumerate(headings):
        sheet.write_string(HEADINGS, BARS_AT + place, heading, look("heading"))
    bars = area.helper(1)
    known = f'AND({STATE}=1,COUNTIF({bars},"{PATH_BARS[-2]}")>0)'
    case = on_sheet(RESULTS, cell_name(area.first, area.COLUMN + [c.name for c in area.columns].index("step")))
    unit = unit_of("pressure", drawing.units)
    title = f'"Pressure from the supply to the outlet, {unit}: "&{case}'
    _write(sheet, TITLES_ROW, BARS_AT, f'=IF({known},{title},"Pressure from the supply to the outlet: no result")',
           look("strong"), "title")  # fmt: skip
    for number, label in enumerate(PATH_BARS):
        row = FIRST + number
        before, level = (cell_name(at, LEVEL, fixed=False) for at in (row - 1, row))
        sheet.write_string(row, BARS_AT, label, look("computed"))
        stands = f'SUMIF({bars},"{label}",{area.named("pressure")})'
        loss = f'SUMIF({bars},"{label}",{area.named("loss")})'
        formulas = dict.fromkeys((BASE, STANDS, LOST, NEEDED, LEVEL), '""')
        if number in (0, len(PATH_BARS) - 2):
            formulas |= {STANDS: stands, LEVEL: stands}
        elif number == len(PATH_BARS) - 1:
            formulas |= {NEEDED: stands}
        else:
            formulas |= {
                BASE: f"MAX(0,MIN({before},{level}))",
                LOST: f"ABS({before}-{level})",
                LEVEL: f"{before}-{loss}",
            }
        for column, formula in formulas.items():
            _write(sheet, row, column, f'=IF({known},{formula},"")', look("computed", num_format="0.00"), 0)
        fall = f"{before}-{level}"
        whole = cell_name(row, LEVEL if formulas[STANDS] != '""' else NEEDED, fixed=False)
        number_text = f'TEXT({whole},"0.0")'
        if formulas[LOST] != '""':
            number_text = f'IF({fall}<0,"+","−")&TEXT(ABS({fall}),"0.0")'
        _write(sheet, row, LABEL, f'=IF({known},"{label} "&{number_text},"{label}")', look("computed"), label)


def _draw_margins(drawing: Drawing, sheet: Any) -> None:
    """One row for each station, every margin cut at 100 %."""
    look, area = drawing.look, drawing.layout.results["DRENCH_SCHEDULE"]
    shown = margin_rows(area)
    more = f", the first {shown}" if area.rows > shown else ""
    title = f"Margin of each station over its limits, drawn up to 100 %; below 0 % a limit is missed{more}"
    sheet.write_string(TITLES_ROW, MARGINS_AT, title, look("strong"))
    sheet.write_string(HEADINGS, MARGINS_AT, "Station", look("heading"))
    for place, (_, heading, _) in enumerate(MARGIN_COLUMNS, start=1):
        sheet.write_string(HEADINGS, MARGINS_AT + place, heading, look("heading"))
    for number in range(shown):
        row = FIRST + number
        tag = on_sheet(RESULTS, cell_name(area.first + number, 0, fixed=False))
        _write(sheet, row, MARGINS_AT, f'=IFERROR({tag}&"","")', look("computed"), "–")
        for place, (name, _, _) in enumerate(MARGIN_COLUMNS, start=1):
            column = area.COLUMN + [each.name for each in area.columns].index(name)
            cell = on_sheet(RESULTS, cell_name(area.first + number, column, fixed=False))
            formula = f'=IF({STATE}=1,IF(ISNUMBER({cell}),MAX(-1,MIN(1,{cell})),""),"")'
            _write(sheet, row, MARGINS_AT + place, formula, look("computed", num_format="0%"), 0)


def _draw_course(drawing: Drawing, sheet: Any) -> None:
    """Minutes and temperatures; a line without an answer repeats the one before, so that a chart ends where it ends."""
    look, area = drawing.look, drawing.layout.results[COURSE]
    margins = drawing.layout.results["DRENCH_SCHEDULE"]
    hot = margins.named("margin_hot")
    sheet.write_string(COURSE_STATION_ROW, COURSE_AT, "Station", look("label"))
    _write(sheet, COURSE_STATION_ROW, COURSE_STATION_COLUMN,
           f'=IFERROR(INDEX({margins.helper(0)},MATCH(MIN({hot}),{hot},0))&"","")', look("computed"), "–")  # fmt: skip
    names = [column.name for column in area.columns]

    def given(name: str, number: int) -> str:
        return on_sheet(RESULTS, cell_name(area.first + number, area.COLUMN + names.index(name), fixed=False))

    case = f'IFERROR({given("case", 0)}&"","no result")'
    unit = unit_of("temperature", drawing.units)
    _write(sheet, TITLES_ROW, COURSE_AT, f'=IF({STATE}=1,"Temperature over the flush, {unit}: "&{case},'
           '"Temperature over the flush: no result")', look("strong"), "title")  # fmt: skip
    headings = ("Minutes", *(heading for _, heading, _, _ in LINES))
    for place, heading in enumerate(headings):
        sheet.write_string(HEADINGS, COURSE_AT + place, heading, look("heading", text_wrap=False))
    for number in range(area.rows):
        row = FIRST + number
        for place, name in enumerate(("time", *(name for name, *_ in LINES))):
            before = cell_name(row - 1, COURSE_AT + place, fixed=False)
            value = f"{given('time', number)}/60" if name == "time" else given(name, number)
            without = f'IF(ISNUMBER({before}),IF(ISNUMBER({given("time", number)}),"",{before}),"")'
            formula = f"=IF(AND({STATE}=1,ISNUMBER({given(name, number)})),{value},{without})"
            _write(sheet, row, COURSE_AT + place, formula, look("computed", num_format="0.00"), 0)


def margin_rows(area: ResultArea) -> int:
    """How many stations the chart of margins shows."""
    return min(area.rows, MOST_STATIONS)


def _write(sheet: Any, row: int, column: int, formula: str, style: Any, stand_in: Any) -> None:
    """A formula; the stand-in tells the chart whether numbers or words will stand there."""
    sheet.write_formula(row, column, formula, style, stand_in)


def pressure_chart(drawing: Drawing) -> Any:
    """Columns that hang from each other on an invisible base."""
    chart = drawing.book.add_chart({"type": "column", "subtype": "stacked"})
    last = FIRST + len(PATH_BARS) - 1
    labels = _range(FIRST, LABEL, last)
    fills: tuple[tuple[int, str, dict[str, Any]], ...] = (
        (BASE, "", {"fill": {"none": True}, "border": {"none": True}}),
        (STANDS, "Stands", {"fill": {"color": SLATE}, "border": {"color": INK}}),
        (LOST, "Lost", {"fill": {"color": LOSS_FILL}, "border": {"color": INK}}),
        (NEEDED, "Needed", {"fill": {"color": WARN_FILL}, "border": {"color": INK}}),
    )
    for column, name, look in fills:
        series = {
            "name": name or "not drawn",
            "categories": labels,
            "values": _range(FIRST, column, last),
            "gap": 45,
            **look,
        }
        chart.add_series(series)
    _finish(chart, f"={on_sheet(CHART_DATA, cell_name(TITLES_ROW, BARS_AT))}")
    chart.set_y_axis({"min": 0, "major_gridlines": {"visible": True, "line": {"color": RULE, "width": 0.5}},
                      "num_font": {"name": FONT, "size": 9}, "num_format": "0"})  # fmt: skip
    chart.set_x_axis({"num_font": {"name": FONT, "size": 9}})
    chart.set_legend({"none": True})
    return chart


def margins_chart(drawing: Drawing) -> Any:
    """One group of columns for each station."""
    chart = drawing.book.add_chart({"type": "column"})
    last = FIRST + margin_rows(drawing.layout.results["DRENCH_SCHEDULE"]) - 1
    for place, (fill, (_, heading, _)) in enumerate(zip(MARGIN_FILLS, MARGIN_COLUMNS, strict=True), start=1):
        chart.add_series({
            "name": heading, "categories": _range(FIRST, MARGINS_AT, last),
            "values": _range(FIRST, MARGINS_AT + place, last), "gap": 60, "fill": {"color": fill},
            "border": {"color": INK}, "invert_if_negative": False,
        })  # fmt: skip
    _finish(chart, f"={on_sheet(CHART_DATA, cell_name(TITLES_ROW, MARGINS_AT))}")
    chart.set_y_axis({"min": -1, "max": 1, "num_format": "0%", "num_font": {"name": FONT, "size": 9},
                      "major_gridlines": {"visible": True, "line": {"color": RULE, "width": 0.5}}})  # fmt: skip
    chart.set_x_axis(
        {"label_position": "low", "num_font": {"name": FONT, "size": 9}, "line": {"color": INK, "width": 1.5}}
    )
    chart.set_legend({"position": "bottom", "font": {"name": FONT, "size": 9}})
    return chart


def course_chart(drawing: Drawing) -> Any:
    """Temperature over time: the governing tank solid, the other dashed, the limits dotted."""
    chart = drawing.book.add_chart({"type": "scatter", "subtype": "straight"})
    last = FIRST + drawing.layout.results[COURSE].rows - 1
    for place, (_, heading, dash, width) in enumerate(LINES, start=1):
        chart.add_series({
            "name": heading, "categories": _range(FIRST, COURSE_AT, last),
            "values": _range(FIRST, COURSE_AT + place, last), "marker": {"type": "none"},
            "line": {"color": INK if place != 2 else "#B8621B", "width": width, "dash_type": dash},
        })  # fmt: skip
    _finish(chart, f"={on_sheet(CHART_DATA, cell_name(TITLES_ROW, COURSE_AT))}")
    font = {"name": FONT, "size": 9}
    lines = {"visible": True, "line": {"color": RULE, "width": 0.5}}
    chart.set_y_axis({"major_gridlines": lines, "num_font": font, "num_format": "0"})
    chart.set_x_axis({"min": 0, "max": 15, "num_font": font, "num_format": "0", "name": "minutes after opening",
                      "name_font": {**font, "bold": False}, "major_unit": 5})  # fmt: skip
    chart.set_legend({"position": "bottom", "font": font})
    return chart


def _finish(chart: Any, title: str) -> None:
    chart.set_title({"name": title, "name_font": {"name": FONT, "size": 11, "bold": True, "color": SLATE},
                     "overlay": False})  # fmt: skip
    chart.set_chartarea({"border": {"color": RULE}})


def _range(first: int, column: int, last: int) -> str:
    return f"={on_sheet(CHART_DATA, range_name(first, column, last, column))}"
