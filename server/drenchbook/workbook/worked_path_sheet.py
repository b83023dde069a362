"""The Worked path: one station, one case, each step worked out by the small functions and compared with the solver."""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import UNKNOWN
from drenchbook.units import unit_of
from drenchbook.workbook.drawing import BANNER, PROTECTED, STATE, Drawing
from drenchbook.workbook.layout import (
    CHOICES,
    CHOSEN_PATH,
    PATH_ASKED_ROW,
    PATH_CASE_COLUMN,
    PATH_STATION_COLUMN,
    RESULTS,
    WORKED_PATH,
    ResultArea,
    cell_name,
    on_sheet,
    range_name,
    setting_cell,
)
from drenchbook.workbook.look import FAIL_FILL, RULE, SLATE, WARN_FILL
from drenchbook.workbook.worked_path_formulas import loss_formula, pressure_formula, result_formula

TITLE, PROJECT_LINE, HOW, BANNER_LINE, LABELS, PICKS, CASE_LINE, VERDICT_LINE, THIN, HEADINGS, UNITS, FIRST = range(12)
# Heading, width and alignment of each column; the hidden ones at the right end serve the formulas.
COLUMNS: tuple[tuple[str, str, float, str], ...] = (
    ("line", "No.", 4.5, "center"), ("part", "Part", 11, "left"), ("step", "Step", 43, "left"),
    ("flow", "Flow", 9, "right"), ("temperature", "Water", 7.5, "right"),
    ("material", "Material or coefficient", 11, "right"), ("size", "Size, or unit", 8.5, "left"),
    ("length", "Length or rise", 8.5, "right"), ("fittings", "Fittings", 13, "left"),
    ("loss", "Loss", 8.5, "right"), ("pressure", "Pressure after", 9, "right"),
    ("result", "Other result", 9.5, "right"), ("result_unit", "Its unit", 6.5, "left"),
    ("solver", "By the solver", 9.5, "right"), ("difference", "Difference", 10.5, "right"),
    ("same", "Compared", 10.5, "center"), ("formula", "Formula", 35, "left"), ("numbers", "Numbers put in", 40, "left"),
    ("source", "Source", 25, "left"), ("kind", "Kind", 14, "left"), ("before", "Pressure before", 9, "right"),
    ("other_before", "Other inlet before", 9, "right"),
)  # fmt: skip
PLACE = {name: number for number, (name, *_) in enumerate(COLUMNS)}
HIDDEN = ("kind", "before", "other_before")
CHOICES_ASKED = (("Station", "station", 2), ("What is open", "open", 8), ("Season", "season", 10),
                 ("Supply", "supply", 12), ("Fault", "fault", 16))  # fmt: skip
WHOLE = (
    "part",
    "material",
    "size",
    "step",
    "formula",
    "numbers",
    "source",
    "fittings",
)  # a longer text is drawn smaller, never cut
PRESSURE, PLAIN = "#,##0.000", "#,##0.0"


def draw_worked_path_sheet(drawing: Drawing) -> None:
    """Draw choices, heading and one line of formulas for each line of the path."""
    sheet, area = drawing.sheets[WORKED_PATH], drawing.layout.results[CHOSEN_PATH]
    _draw_head(drawing, sheet)
    _draw_choices(drawing, sheet)
    _draw_headings(drawing, sheet)
    for number in range(area.rows):
        _draw_line(drawing, sheet, area, number)
    last = FIRST + area.rows - 1
    _draw_verdict(drawing, sheet, area, last)
    _draw_marks(drawing, sheet, last)
    sheet.freeze_panes(FIRST, PLACE["step"] + 1)
    sheet.repeat_rows(TITLE, UNITS)
    sheet.print_area(0, 0, last + 2, PLACE["source"])
    sheet.set_zoom(80)
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=True)


def _draw_head(drawing: Drawing, sheet: Any) -> None:
    look = drawing.look
    sheet.set_row(TITLE, 24)
    sheet.set_row(THIN, 3)
    sheet.write_string(TITLE, 0, "Worked path", look("title"))
    sample = drawing.sample_words()
    sheet.write_formula(PROJECT_LINE, 0, f'={setting_cell("project")}&"      "&{sample}', look("subtitle"))
    how = ("Choose a station and a case. All blank: the station with the least margin of flow or pressure. The case "
           "blank: the one that governs. The solver gives the flows; each line is worked out anew.")  # fmt: skip
    sheet.write_string(HOW, 0, how, look("how"))
    drawing.banner(sheet, BANNER_LINE, width=PLACE["source"] + 1)


def _draw_choices(drawing: Drawing, sheet: Any) -> None:
    """The cells to choose in, their lists, and the texts that the functions are asked with."""
    look, choices = drawing.look, drawing.layout.results[CHOICES]
    cells = {}
    for label, name, place in CHOICES_ASKED:
        sheet.write_string(LABELS, place, label, look("label", indent=1))
        sheet.write_blank(PICKS, place, None, look("input", locked=False, num_format="@"))
        cells[name] = cell_name(PICKS, place)
        source = "=Stations_tag_list"
        if name != "station":
            listed = choices.helper(0) if name == "open" else choices.named(name)
            drawing.define(f"Path_{name}_list",
                           f"INDEX({listed},1):INDEX({listed},MAX(1,SUMPRODUCT(--(LEN({listed})>0))))")  # fmt: skip
            source = f"=Path_{name}_list"
        sheet.data_validation(PICKS, place, PICKS, place, {
            "validate": "list", "source": source, "error_type": "warning", "input_title": label,
            "input_message": _advice(name), "error_message": "Choose from the list, or leave it blank."})  # fmt: skip
    sheet.set_row(PICKS, 18)
    words = '&" season, "&'.join(f'IF(LEN({cells[name]})=0,"{default}",{cells[name]}&"")'
                                 for name, default in (("season", "cold"), ("supply", "low")))  # fmt: skip
    fault = f'IF(OR(LEN({cells["fault"]})=0,{cells["fault"]}="normal"),"",", "&{cells["fault"]})'
    blank = "&".join(f"{cells[name]}" for name in ("open", "season", "supply", "fault"))
    formula = f'=IF(LEN({blank})=0,"",{cells["open"]}&": "&{words}&" supply"&{fault})'
    sheet.write_formula(PATH_ASKED_ROW, PATH_STATION_COLUMN, f'={cells["station"]}&""', look("plain"))
    sheet.write_formula(PATH_ASKED_ROW, PATH_CASE_COLUMN, formula, look("plain"))


def _advice(name: str) -> str:
    return {
        "station": "Blank: the station with the least margin of flow or pressure.",
        "open": "The station alone, one of its outlets, or a set that it is in. All four blank: the governing case.",
        "season": "Blank: cold.",
        "supply": "Blank: low.",
        "fault": "Blank: normal.",
    }[name]


def _draw_headings(drawing: Drawing, sheet: Any) -> None:
    look, units = drawing.look, drawing.units
    quantities = {"flow": "flow", "temperature": "temperature", "length": "length", "loss": "pressure",
                  "pressure": "pressure"}  # fmt: skip
    sheet.set_row(HEADINGS, 30)
    for name, heading, width, align in COLUMNS:
        place = PLACE[name]
        sheet.write_string(HEADINGS, place, heading, look("heading", align=align, indent=0 if align == "center" else 1))
        unit = unit_of(quantities[name], units) if name in quantities else ""
        sheet.write_string(UNITS, place, unit, look("unit", align=align, bottom=2, bottom_color=SLATE))
        sheet.set_column(place, place, width, None, {"hidden": True} if name in HIDDEN else {})


def _draw_line(drawing: Drawing, sheet: Any, area: ResultArea, number: int) -> None:
    look, row = drawing.look, FIRST + number
    names = [column.name for column in area.columns]

    def given(name: str) -> str:
        """The cell of the array with that number or text."""
        return on_sheet(RESULTS, cell_name(area.first + number, area.COLUMN + names.index(name), fixed=False))

    def here(name: str) -> str:
        return cell_name(row, PLACE[name], fixed=False)

    def above(name: str) -> str:
        """The column from the heading's unit row to the line above."""
        return f"{cell_name(FIRST - 1, PLACE[name])}:{cell_name(row - 1, PLACE[name], fixed=False)}"

    def filled(expression: str) -> str:
        """The expression where the line is filled, spelled in two ways by turns.

        These columns read each other from line to line. A program that takes equal formulas below each other
        for one and works them out together loses that order, and keeps what it found before an inlet was known.
        """
        if number % 2:
            return f'=IF({blank},"",{expression})'
        return f'=IF(LEN({here("kind")})>0,{expression},"")'

    blank = f"LEN({here('kind')})=0"
    words = {name: f'=IFERROR({given(name)}&"","")' for name in ("part", "step", "fittings", "formula", "numbers",
                                                                 "source", "kind", "result_unit")}  # fmt: skip
    numbers = {name: f'=IF({blank},"",{given(name)})' for name in ("flow", "temperature", "length")}
    number_or_text = f'IF(ISNUMBER({given("coefficient")}),{given("coefficient")},{given("material")}&"")'
    size_or_unit = f'IF(ISNUMBER({given("coefficient")}),{given("coefficient_unit")}&"",{given("size")}&"")'
    solver = f'IF({here("kind")}="needed","–",{given("result")})'
    difference = (f'IF(ISNUMBER({here("solver")}),ROUND(IF(ISNUMBER({here("pressure")}),{here("pressure")},'
                  f'{here("result")})-{here("solver")},6),"–")')  # fmt: skip
    compared = (f'IF(ISNUMBER({here("solver")}),IF({here("kind")}="solver only","solver only",'
                f'IF(ISNUMBER({here("difference")}),IF(ABS({here("difference")})<={given("tolerance")},"same",'
                f'"DIFFERS"),"ERROR")),"–")')  # fmt: skip
    formulas = {
        **words, **numbers,
        "line": f'=IF({blank},"",{number + 1})',
        "material": f'=IF({blank},"",{number_or_text})',
        "size": f'=IF({blank},"",{size_or_unit})',
        "before": filled(_before(given("after"), given("start_pressure"), above("pressure"))),
        "other_before": filled(_before(given("other_after"), given("start_pressure"), above("pressure"))),
        "loss": filled(loss_formula(given, here, drawing.units)),
        "pressure": filled(pressure_formula(given, here)),
        "result": filled(result_formula(given, here, above, drawing.units)),
        "solver": f'=IF({blank},"",{solver})',
        "difference": f'=IF({blank},"",{difference})',
        "same": f'=IF({blank},"",{compared})',
    }  # fmt: skip
    for name, _, _, align in COLUMNS:
        sheet.write_formula(row, PLACE[name], formulas[name], look("plain", **_style(name, align)))


def _style(name: str, align: str) -> dict[str, Any]:
    style: dict[str, Any] = {"align": align}
    shapes = {"flow": PRESSURE, "temperature": PLAIN, "length": PLAIN, "material": "General", "line": "0",
              "result": PRESSURE}  # fmt: skip
    if align == "right":
        style["num_format"] = f"{shapes.get(name, PRESSURE)}_);-{shapes.get(name, PRESSURE)}_);0_);@_)"
        if name in ("loss", "pressure", "solver", "difference"):
            style["num_format"] = "#,##0.000_);-#,##0.000_);0.000_);@_)"
        elif name == "material":
            style["num_format"] = "General_);-General_);General_);@_)"
    elif align == "left":
        style["indent"] = 1
    if name in WHOLE:
        style["shrink"] = True
    if name in ("pressure", "same"):
        style["bold"] = True
    return style


def _before(after: str, start: str, pressures: str) -> str:
    """Pressure at the start of a line: that after the line it begins with, or its own."""
    return f'IF(ISNUMBER({after}),IF({after}>0,INDEX({pressures},{after}+1),{start}),"–")'


def _draw_verdict(drawing: Drawing, sheet: Any, area: ResultArea, last: int) -> None:
    """Which case this is, and whether every line agrees; above the lines and again below them."""
    look = drawing.look
    names = [column.name for column in area.columns]
    cells = {name: range_name(FIRST, PLACE[name], last, PLACE[name]) for name in ("same", "kind", "solver")}
    station, case = (cell_name(PATH_ASKED_ROW, column) for column in (PATH_STATION_COLUMN, PATH_CASE_COLUMN))
    echo = on_sheet(RESULTS, cell_name(area.first, area.COLUMN + names.index("asked")))
    first = {name: cell_name(FIRST, PLACE[name]) for name in ("step", "kind")}
    sheet.write_formula(CASE_LINE, 0, f'="Case: "&{first["step"]}', look("subtitle"))
    wrong = f'COUNTIF({cells["same"]},"DIFFERS")+COUNTIF({cells["same"]},"ERROR")'
    alone = f'COUNTIF({cells["same"]},"solver only")'
    agrees = (f'"AGREES: "&COUNTIF({cells["same"]},"same")&" results are the solver\'s to the printed digits"'
              f'&IF({alone}>0,"; "&{alone}&" shown by the solver only","")')  # fmt: skip
    differs = f'"DOES NOT AGREE: "&({wrong})&" results differ from the solver; see the column Compared"'
    whole = (f'IF({first["kind"]}<>"case","NO PATH: "&{first["step"]},IF(COUNTIF({cells["kind"]},"{UNKNOWN}")>0,'
             f'"NOT COMPLETE: the path has more lines than this sheet",IF({wrong}>0,{differs},{agrees})))')  # fmt: skip
    asked = f'IFERROR({echo}&"","")<>{station}&" | "&{case}'
    stale = f'IF({asked},"NOT CALCULATED FOR THIS CHOICE: recalculate",{whole})'
    formula = f"IF({STATE}<>1,{BANNER},{stale})"
    sheet.write_formula(VERDICT_LINE, 0, f"={formula}", look("strong", font_size=12))
    sheet.write_formula(last + 2, 0, f"={cell_name(VERDICT_LINE, 0)}", look("strong", font_size=12))
    alarm = look.mark(bg_color=FAIL_FILL, font_color="#FFFFFF", bold=True)
    for row in (VERDICT_LINE, last + 2):
        rule = {"type": "formula", "criteria": f'=LEFT({cell_name(row, 0)},6)<>"AGREES"', "format": alarm}
        sheet.conditional_format(row, 0, row, PLACE["length"], rule)


def _draw_marks(drawing: Drawing, sheet: Any, last: int) -> None:
    look = drawing.look
    area = (FIRST, 0, last, PLACE["source"])
    kind, part = (cell_name(FIRST, PLACE[name]).replace("$", "", 2) for name in ("kind", "part"))
    part_above = cell_name(FIRST - 1, PLACE["part"]).replace("$", "", 2)
    starts = look.mark(top=1, top_color=SLATE)
    rules = ((f"=AND(LEN(${kind})>0,${part}<>${part_above})", starts),
             (f"=LEN(${kind})>0", look.mark(bottom=4, bottom_color=RULE)))  # fmt: skip
    for condition, mark in rules:
        sheet.conditional_format(*area, {"type": "formula", "criteria": condition, "format": mark})
    quiet = {"type": "cell", "criteria": "==", "value": '"–"', "format": look.mark(font_color=RULE)}
    sheet.conditional_format(*area, quiet)
    place = PLACE["same"]
    for word, style in (("DIFFERS", {"bg_color": FAIL_FILL, "font_color": "#FFFFFF"}),
                        ("ERROR", {"bg_color": FAIL_FILL, "font_color": "#FFFFFF"}),
                        ("solver only", {"bg_color": WARN_FILL})):  # fmt: skip
        rule = {"type": "cell", "criteria": "==", "value": f'"{word}"', "format": look.mark(**style)}
        sheet.conditional_format(FIRST, place, last, place, rule)
