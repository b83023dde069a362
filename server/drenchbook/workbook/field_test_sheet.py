"""The Field test: what each outlet and valve should give on the day, room for the readings, and their verdicts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drenchbook.field_windows import KEY
from drenchbook.result_tables import FIELD_LINE, VALVE_GROUP
from drenchbook.site_model import Missing, Site, tag_key
from drenchbook.units import unit_of
from drenchbook.workbook.drawing import GAP, PROTECTED, SAMPLE_ROWS, STATE, Drawing
from drenchbook.workbook.field_test_columns import (
    DAY,
    EXPECTED,
    NAMES,
    OUTLET_GROUPS,
    OUTLET_HEADINGS,
    PAGES,
    PLACE,
    TYPED,
    VALVE_EXPECTED,
    VALVE_GROUPS,
    VALVE_HEADINGS,
    VALVE_TYPED,
    WHO,
    WIDTH,
    WIDTHS,
    Heading,
)
from drenchbook.workbook.field_test_formulas import (
    RANKED,
    Instruments,
    correction_formulas,
    outlet_formulas,
    valve_formulas,
)
from drenchbook.workbook.layout import (
    CORRECTION,
    FIELD,
    FIELD_ASKED,
    FIELD_DAY_COLUMN,
    FIELD_DAY_ROW,
    FIELD_FIRST,
    FIELD_TEST,
    cell_name,
    field_lines,
    field_valve_row,
    range_name,
    setting_cell,
)
from drenchbook.workbook.look import FAIL_FILL, SLATE, UNKNOWN_FILL, WARN_FILL

TITLE, PROJECT_LINE, CAUTION, BANNER_LINE = range(4)
FIRST = FIELD_FIRST
GROUPS, HEADINGS, UNITS, HOW = FIRST - 3, FIRST - 2, FIRST - 1, FIRST - 4
SCALE = 82  # per cent: letters of 10 pt are printed at 8.2 pt
HEAD = PLACE["need"]  # what stands before it is printed on every page
BLANK, DECIMALS = "–", {"flow": "0.00", "seconds": "0", "minutes": "0.0"}
CAUTION_WORDS = ("Nobody stands in the stream. Flow to waste, measure when it is steady. Loss tests can scald: two "
                 "people, one at the isolating valve. Restore every valve that was moved.")  # fmt: skip
HOW_WORDS = ("PASS within uncertainty: the window is met only if the instruments err in its favour. NOT TESTED: a "
             "reading is blank. Nothing is corrected by itself.")  # fmt: skip
PAGE_WORDS = (("Temperatures", 
               "In the stream. As set after: when the water of the valve is there, after what stood in the runs."),
              ("Verdicts, and what to correct",
               "Nothing is corrected by itself: type the value on the sheet that is named, if you agree."))  # fmt: skip
ALL_HERE = '"Every outlet of sheet Stations has its line."'


def draw_field_test_sheet(drawing: Drawing) -> None:
    """Draw the day's block, a line for each outlet and for each valve, and what counts the lines that are missing."""
    sheet = drawing.sheets[FIELD_TEST]
    _draw_head(drawing, sheet)
    for name in NAMES:
        sheet.set_column(PLACE[name], PLACE[name], WIDTHS.get(name, WIDTH))
    sheet.set_column(PLACE["found"], PLACE["line"], 8, None, {"hidden": True})
    lines = field_lines(drawing.site)
    first_valve, last = (field_valve_row(drawing.site, number) for number in (0, -1))
    _draw_headings(drawing, sheet, GROUPS, OUTLET_GROUPS, OUTLET_HEADINGS)
    outlets = outlets_of(drawing.site)
    for number in range(lines):
        _draw_outlet(drawing, sheet, FIRST + number, outlets[number] if number < len(outlets) else ("", ""))
    _draw_count(drawing, sheet, FIRST + lines - 1)
    _draw_headings(drawing, sheet, first_valve - 3, VALVE_GROUPS, VALVE_HEADINGS)
    valves = [str(row.tag).strip() for row in drawing.site.mixing_valves]
    for row in range(first_valve, last + 1):
        place = row - first_valve
        _draw_valve(drawing, sheet, row, valves[place] if place < len(valves) else "")
    _draw_marks(drawing, sheet, last)
    _set_page(drawing, sheet, first_valve, last)


def _set_page(drawing: Drawing, sheet: Any, first_valve: int, last: int) -> None:
    """Letter or A4 across: flow and pressure, temperatures, verdicts; station and outlet on each page."""
    sheet.freeze_panes(FIRST, 2)
    sheet.set_zoom(80)
    sheet.protect("", PROTECTED)
    drawing.page(sheet)
    sheet.set_print_scale(SCALE)
    sheet.repeat_rows(GROUPS, UNITS)
    sheet.repeat_columns(0, 1)
    sheet.set_v_pagebreaks([PLACE[name] for name in PAGES])
    sheet.set_h_pagebreaks([first_valve - 3])
    sheet.print_across()
    sheet.print_area(0, 0, last, PLACE["first"])


def outlets_of(site: Site) -> list[tuple[str, str]]:
    """Station and outlet of each line, named as the results name them."""
    kinds = {tag_key(model.model): str(model.kind) for model in site.outlet_models}
    lines = []
    for station in site.stations:
        seen: dict[str, int] = {}
        for slot in (1, 2, 3):
            tag = getattr(station, f"outlet_{slot}")
            if tag is None or isinstance(tag, Missing):
                continue
            kind = kinds.get(tag_key(tag), f"outlet {slot}")
            seen[kind] = seen.get(kind, 0) + 1
            lines.append((str(station.tag).strip(), kind if seen[kind] == 1 else f"{kind} {seen[kind]}"))
    return lines


def _draw_head(drawing: Drawing, sheet: Any) -> None:
    look = drawing.look
    sheet.set_row(TITLE, 24)
    sheet.write_string(TITLE, 0, "Field test", look("title"))
    for page, (words, how) in zip(PAGES, PAGE_WORDS, strict=True):
        sheet.write_string(TITLE, PLACE[page], words, look("title"))
        sheet.write_string(CAUTION, PLACE[page], how, look("how"))
    sample = drawing.sample_words(before=GAP)
    for place in (HEAD, *(PLACE[page] for page in PAGES)):
        sheet.write_formula(PROJECT_LINE, place, f'={setting_cell("project")}&""&{sample}', look("subtitle"))
    sheet.write_string(CAUTION, HEAD, CAUTION_WORDS, look("stop"))
    sheet.write_string(HOW, HEAD, HOW_WORDS, look("how"))
    drawing.banner(sheet, BANNER_LINE, HEAD, width=PLACE["first"] + 1 - HEAD)
    for number, (words, quantity) in enumerate(DAY):
        row, unit = FIELD_DAY_ROW + number, unit_of(quantity, drawing.units)
        sheet.write_string(row, HEAD, words, look("label"))
        sheet.write_blank(row, FIELD_DAY_COLUMN, None, look("input", locked=False, align="right"))
        sheet.write_string(row, FIELD_DAY_COLUMN + 1, unit, look("label"))
        signed = not words.endswith("±")
        rule = {"validate": "decimal", "criteria": "between", "minimum": -50 if signed else 0, "maximum": 5000,
                "error_message": f"Type a number in {unit}, without the unit."}  # fmt: skip
        sheet.data_validation(row, FIELD_DAY_COLUMN, row, FIELD_DAY_COLUMN, rule)
    place = PLACE["volume"]
    for number, words in enumerate(WHO):
        sheet.write_string(FIELD_DAY_ROW + number, place, words, look("label"))
        for column in range(place + 2, PLACE["loss_test"] + 1):
            sheet.write_blank(FIELD_DAY_ROW + number, column, None, look("input", locked=False, num_format="@"))


def _draw_headings(drawing: Drawing, sheet: Any, top: int, groups: tuple[tuple[str, str], ...],
                   headings: Mapping[str, Heading]) -> None:  # fmt: skip
    look = drawing.look
    for place in range(PLACE["first"] + 1):
        sheet.write_blank(top, place, None, look("band"))
    if top == GROUPS:  # repeated on every page
        short = f'=IF({SAMPLE_ROWS}>0,"■ SAMPLE","")'
        sheet.write_formula(top, PLACE["outlet"], short, look("band", font_color=FAIL_FILL))
    for name, words in groups:
        if words:
            sheet.write_string(top, PLACE[name], words, look("band"))
    sheet.set_row(top + 1, 41)
    for name in NAMES:
        words, quantity = headings[name]
        unit = quantity if quantity in ("Y/N", "all outlets") else unit_of(quantity, drawing.units) if quantity else ""
        align = "left" if name in ("tag", "outlet", "first", "sheet", "row", "column") else "center"
        sheet.write_string(top + 1, PLACE[name], words, look("heading", align=align, indent=0))
        sheet.write_string(top + 2, PLACE[name], unit, look("unit", bottom=2, bottom_color=SLATE))


def _draw_outlet(drawing: Drawing, sheet: Any, row: int, line: tuple[str, str]) -> None:
    look = drawing.look
    here = _draw_names(drawing, sheet, row, line)
    for name in EXPECTED:
        _draw_window(drawing, sheet, row, name, name, OUTLET_HEADINGS[name][1])
    valve = f"INDEX({drawing.layout.results[FIELD].named('valve')},{here['found']})"
    sheet.write_formula(
        row, PLACE["group"], f'=IF(ISNUMBER({here["found"]}),{valve}&"","")', look("row", align="center")
    )
    for name in TYPED:
        _draw_typed(drawing, sheet, row, name)
    _draw_formulas(drawing, sheet, row, outlet_formulas(here, instruments()))


def _draw_valve(drawing: Drawing, sheet: Any, row: int, tag: str) -> None:
    look, lines = drawing.look, field_lines(drawing.site)
    here = _draw_names(drawing, sheet, row, (tag, VALVE_GROUP))
    for name in EXPECTED:
        if name in VALVE_EXPECTED:
            _draw_window(drawing, sheet, row, name, VALVE_EXPECTED[name], VALVE_HEADINGS[name][1])
        else:
            sheet.write_blank(row, PLACE[name], None, look("row"))
    for name in TYPED:
        if name in VALVE_TYPED:
            _draw_typed(drawing, sheet, row, name, number=name == "pattern")
        else:
            sheet.write_blank(row, PLACE[name], None, look("row"))
    groups, results = (range_name(FIRST, PLACE[name], FIRST + lines - 1, PLACE[name]) for name in ("group", "result"))
    _draw_formulas(drawing, sheet, row, valve_formulas(here, instruments(), groups, results))


def instruments() -> Instruments:
    """Cells of the day that the verdicts need."""
    cells = [cell_name(FIELD_DAY_ROW + number, FIELD_DAY_COLUMN) for number in range(len(DAY))]
    return Instruments(after=cells[1], gauge=cells[4], thermometer=cells[5], bucket=cells[6], watch=cells[7])


def _draw_names(drawing: Drawing, sheet: Any, row: int, line: tuple[str, str]) -> dict[str, str]:
    """Station and outlet of a line, and where the results have it."""
    look, area = drawing.look, drawing.layout.results[FIELD]
    sheet.set_row(row, 54)
    here = {name: cell_name(row, place, fixed=False) for name, place in PLACE.items()}
    for name, text in zip(("tag", "outlet"), line, strict=True):
        style = look("input", locked=False, num_format="@", indent=0, text_wrap=True)
        if text == VALVE_GROUP:
            style = look("row", num_format="@", indent=0)
        sheet.write_string(row, PLACE[name], text, style) if text else sheet.write_blank(row, PLACE[name], None, style)
    match = f'IFERROR(MATCH({_key(here)},{area.helper(0)},0),"?")'
    sheet.write_formula(row, PLACE["found"], f'=IF(LEN({here["tag"]})=0,"",{match})', look("plain"))
    return here


def _key(here: Mapping[str, str]) -> str:
    return f'{here["tag"]}&"{KEY}"&{here["outlet"]}'


def _draw_window(drawing: Drawing, sheet: Any, row: int, name: str, column: str, quantity: str) -> None:
    found = cell_name(row, PLACE["found"], fixed=False)
    value = f"INDEX({drawing.layout.results[FIELD].named(column)},{found})"
    shown = f'IF(ISNUMBER({value}),{value},IF(ISERROR({value}),"?",IF({value}&""="{BLANK}","",{value}&"")))'
    # without the day nothing is looked up: other programs work these cells out anew, and have no functions for it
    known = (
        "TRUE" if name == "need" and column == "need" and row < field_valve_row(drawing.site, 0) else _day_is_known()
    )
    formula = f'=IF(ISNUMBER({found}),IF({known},IF({STATE}=1,{shown},"?"),""),"")'
    style = drawing.look("row", align="center", text_wrap=True, num_format=DECIMALS.get(quantity, "0.0"))
    sheet.write_formula(row, PLACE[name], formula, style)


def _day_is_known() -> str:
    """Whether everything stands there that the windows rest on; the pressure after the tests comes last."""
    cells = [cell_name(FIELD_DAY_ROW + number, FIELD_DAY_COLUMN) for number in sorted(FIELD_ASKED)]
    return f"COUNT({cells[0]},{cells[2]}:{cells[-1]})={len(cells) - 1}"


def _draw_typed(drawing: Drawing, sheet: Any, row: int, name: str, *, number: bool = False) -> None:
    place = PLACE[name]
    sheet.write_blank(row, place, None, drawing.look("input", locked=False, align="center", indent=0))
    if name in ("pattern", "loss_test") and not number:
        sheet.data_validation(row, place, row, place, {"validate": "list", "source": ["Y", "N"]})


def _draw_formulas(drawing: Drawing, sheet: Any, row: int, formulas: Mapping[str, str]) -> None:
    """Verdicts, and what to correct first, of one line."""
    here = {name: cell_name(row, place, fixed=False) for name, place in PLACE.items()}
    windows, area = drawing.layout.results[FIELD], drawing.layout.results[CORRECTION]
    sheet.write_formula(row, PLACE["line"], f"=ROW()-ROW({cell_name(UNITS, 0)})", drawing.look("plain"))
    found = {column.name: f"INDEX({area.named(column.name)},{here['line']})" for column in area.columns}
    state = f'IF(ISNUMBER({here["found"]}),INDEX({windows.named("state")},{here["found"]})&"","")'
    plain = {"flow": "0.00", "flow_low": "0.00", "flow_high": "0.00", "now": "General", "suggested": "General"}
    for name, formula in {**formulas, **correction_formulas(here, found, _key(here), state)}.items():
        style: dict[str, Any] = {"align": "center", "text_wrap": True}
        if name in plain:
            style["num_format"] = plain[name]
        elif name in ("first", "sheet", "row", "column"):
            style["align"] = "left"
        elif name != "unit_of_it":
            style["bold"] = True
        sheet.write_formula(row, PLACE[name], formula, drawing.look("row", **style))


def _draw_count(drawing: Drawing, sheet: Any, last: int) -> None:
    """How many outlets of the results have no line, or more than one."""
    keys = drawing.layout.results[FIELD].helper(0)
    found = range_name(FIRST, PLACE["found"], last, PLACE["found"])
    heading = keys.split(":")[0]
    place = f"ROW({keys})-ROW({heading})+1"
    outlets = f'(LEN({keys})>0)*(RIGHT({keys},{len(KEY + VALVE_GROUP)})<>"{KEY}{VALVE_GROUP}")'
    missing = f"SUMPRODUCT({outlets}*ISNA(MATCH({place},{found},0)))"
    lines = f"SUMPRODUCT(--ISNUMBER({found}))"
    distinct = f"SUMPRODUCT({outlets}*ISNUMBER(MATCH({place},{found},0)))"
    stray = f'SUMPRODUCT(--({found}="?"))'
    told = (f'=IF({missing}>0,"STOP: "&{missing}&" outlets of Stations have no line here: type station and outlet",'
            f'IF({lines}>{distinct},"STOP: a station and outlet stands on two lines",'
            f'IF({stray}>0,"STOP: a line is of no station and outlet of sheet Stations",{ALL_HERE})))')  # fmt: skip
    sheet.write_formula(FIELD_DAY_ROW + len(WHO), PLACE["volume"], told, drawing.look("strong"))


def _draw_marks(drawing: Drawing, sheet: Any, last: int) -> None:
    look = drawing.look
    fail: dict[str, Any] = {"bg_color": FAIL_FILL, "font_color": "#FFFFFF"}
    fills = {RANKED[0]: fail, RANKED[1]: {"bg_color": UNKNOWN_FILL}, RANKED[3]: {"bg_color": WARN_FILL}}
    area = (FIRST, PLACE["static_verdict"], last, PLACE["group"])
    for word, style in fills.items():
        sheet.conditional_format(*area, {"type": "cell", "criteria": "==", "value": f'"{word}"',
                                         "format": look.mark(bold=True, **style)})  # fmt: skip


assert NAMES[: len(FIELD_LINE)] == FIELD_LINE  # what the function reads is one block of cells
