"""The Field test: what each outlet should give on the day, room for the readings, and a verdict for each of them."""

from __future__ import annotations

from typing import Any

from drenchbook.field_windows import KEY
from drenchbook.site_model import Missing, Site, tag_key
from drenchbook.units import unit_of
from drenchbook.workbook.drawing import PROTECTED, SAMPLE_ROWS, STATE, Drawing
from drenchbook.workbook.field_test_formulas import verdict_formulas
from drenchbook.workbook.layout import (
    FIELD,
    FIELD_DAY_COLUMN,
    FIELD_DAY_ROW,
    FIELD_TEST,
    cell_name,
    range_name,
    setting_cell,
)
from drenchbook.workbook.look import FAIL_FILL, SLATE, UNKNOWN_FILL

TITLE, PROJECT_LINE, CAUTION, BANNER_LINE = range(4)
GROUPS, HEADINGS, UNITS, FIRST = 11, 12, 13, 14
SECONDS = (0, 5, 10, 15, 20, 30, 45, 60, 120, 180, 300, 600, 900)
# What is measured before the test, in the order in which the function takes it: words and quantity.
DAY = (("Static pressure at the supply's gauge", "pressure"), ("Cold water", "temperature"),
       ("Hot water at its source", "temperature"), ("Gauge may err ±", "pressure"),
       ("Thermometer may err ±", "temperature difference"), ("Volume over time may err ±", "fraction"))  # fmt: skip
WHO = ("Date", "Tested by", "Witness", "Pressure gauge no.", "Thermometer no.", "Bucket and watch")
EXPECTED = (("need", "Required", "flow"), ("flow_least", "Least", "flow"), ("flow_most", "Most", "flow"),
            ("pressure_least", "Least", "pressure"), ("pressure_most", "Most", "pressure"),
            ("tepid", "Tepid within", "seconds"), ("temperature_least", "From", "temperature"),
            ("temperature_most", "To", "temperature"))  # fmt: skip
READINGS = (("static", "Static pressure", "pressure"), ("flowing", "Flowing pressure", "pressure"),
            ("volume", "Volume", "volume"), ("seconds", "In", "seconds"))  # fmt: skip
RESULTS_OF = (
    ("flow", "Flow", "flow"),
    ("flow_verdict", "Flow", ""),
    ("pressure_verdict", "Pressure", ""),
    ("temperature_verdict", "Temperature", ""),
    ("result", "Result", ""),
    ("first", "Look first at", ""),
)
NAMES = ("tag", "outlet", *(n for n, *_ in EXPECTED), *(n for n, *_ in READINGS), *(f"t{s}" for s in SECONDS),
         "pattern", "loss_test", *(n for n, *_ in RESULTS_OF), "found")  # fmt: skip
PLACE = {name: number for number, name in enumerate(NAMES)}
WIDTHS = {"tag": 9.0, "outlet": 14.0, "first": 50.0, "result": 13.0, "flow_verdict": 12.0, "pressure_verdict": 12.0,
          "temperature_verdict": 12.0}  # fmt: skip
CAUTION_WORDS = ("Nobody stands in the stream. Flow to waste, measure when it is steady. Loss tests can scald: two "
                 "people, one at the isolating valve. Restore and record every valve that was moved.")  # fmt: skip


def draw_field_test_sheet(drawing: Drawing) -> None:
    """Draw the day's block, one line for each outlet, and what counts the outlets that have no line."""
    sheet, area = drawing.sheets[FIELD_TEST], drawing.layout.results[FIELD]
    _draw_head(drawing, sheet)
    _draw_headings(drawing, sheet)
    outlets = outlets_of(drawing.site)
    for number in range(area.rows):
        _draw_line(drawing, sheet, number, outlets[number] if number < len(outlets) else ("", ""))
    last = FIRST + area.rows - 1
    keys, typed = area.helper(0), range_name(FIRST, PLACE["found"], last, PLACE["found"])
    count = f"SUMPRODUCT(--(LEN({keys})>0))-SUMPRODUCT(--ISNUMBER({typed}))"
    told = (f'=IF({count}>0,"STOP: "&({count})&" outlets of sheet Stations have no line here: type station and outlet",'
            '"Every outlet of sheet Stations has its line.")')  # fmt: skip
    sheet.write_formula(last + 1, 0, told, drawing.look("strong"))
    _draw_marks(drawing, sheet, last)
    sheet.set_column(PLACE["found"], PLACE["found"], 8, None, {"hidden": True})
    sheet.freeze_panes(FIRST, 2)
    sheet.repeat_rows(GROUPS, UNITS)
    sheet.print_area(0, 0, last + 1, PLACE["first"])
    sheet.set_zoom(80)
    sheet.protect("", PROTECTED)
    drawing.page(sheet, large=True)


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
    sample = f'IF({SAMPLE_ROWS}>0,"      ■ SAMPLE DATA in "&{SAMPLE_ROWS}&" rows: not for issue","")'
    sheet.write_formula(PROJECT_LINE, 0, f'={setting_cell("project")}&""&{sample}', look("subtitle"))
    sheet.write_string(CAUTION, 0, CAUTION_WORDS, look("stop"))
    drawing.banner(sheet, BANNER_LINE, width=PLACE["first"] + 1)
    for number, (words, quantity) in enumerate(DAY):
        unit = unit_of(quantity, drawing.units)
        sheet.write_string(FIELD_DAY_ROW + number, 0, f"{words}, {unit}" if unit != "–" else f"{words}, share",
                           look("label"))  # fmt: skip
        sheet.write_blank(FIELD_DAY_ROW + number, FIELD_DAY_COLUMN, None, look("input", locked=False, align="right"))
        rule = {"validate": "decimal", "criteria": "between", "minimum": -50, "maximum": 5000,
                "error_message": f"Type a number in {unit}, without the unit."}  # fmt: skip
        sheet.data_validation(FIELD_DAY_ROW + number, FIELD_DAY_COLUMN, FIELD_DAY_ROW + number, FIELD_DAY_COLUMN, rule)
    place = PLACE["flowing"]
    for number, words in enumerate(WHO):
        sheet.write_string(FIELD_DAY_ROW + number, place, words, look("label"))
        for column in range(place + 3, place + 7):
            sheet.write_blank(FIELD_DAY_ROW + number, column, None, look("input", locked=False, num_format="@"))


def _draw_headings(drawing: Drawing, sheet: Any) -> None:
    look, units = drawing.look, drawing.units
    for place in range(PLACE["first"] + 1):
        sheet.write_blank(GROUPS, place, None, look("band"))
    for name, words in (("tag", "Outlet"), ("need", "Expected today, all outlets of the station open"),
                        ("static", "Measured: write here"), ("t0", "Temperature after opening, at"),
                        ("pattern", "Observed"), ("flow", "Result")):  # fmt: skip
        sheet.write_string(GROUPS, PLACE[name], words, look("band"))
    plain = {"tag": ("Station", ""), "outlet": ("Outlet", ""), "pattern": ("Pattern right", ""),
             "loss_test": ("Loss test held", ""), "found": ("Row", "")}  # fmt: skip
    headed = {name: (words, unit_of(quantity, units) if quantity else "")
              for name, words, quantity in (*EXPECTED, *READINGS, *RESULTS_OF)}  # fmt: skip
    degrees = unit_of("temperature", units)
    timed = {f"t{s}": (f"{s} s" if s <= 60 else f"{s // 60} min", degrees) for s in SECONDS}
    yes_no = {"pattern": "Y/N", "loss_test": "Y/N"}
    sheet.set_row(HEADINGS, 30)
    for name in NAMES:
        words, unit = (plain | headed | timed)[name]
        align = "left" if name in ("tag", "outlet", "first") else "center"
        sheet.write_string(HEADINGS, PLACE[name], words, look("heading", align=align, indent=0))
        sheet.write_string(UNITS, PLACE[name], yes_no.get(name, unit), look("unit", bottom=2, bottom_color=SLATE))
        sheet.set_column(
            PLACE[name], PLACE[name], WIDTHS.get(name, 6.5 if name.startswith("t") and name[1:].isdigit() else 9)
        )


def _draw_line(drawing: Drawing, sheet: Any, number: int, line: tuple[str, str]) -> None:
    look, row, area = drawing.look, FIRST + number, drawing.layout.results[FIELD]
    sheet.set_row(row, 24)
    here = {name: cell_name(row, place, fixed=False) for name, place in PLACE.items()}
    for name, text in zip(("tag", "outlet"), line, strict=True):
        style = look("input", locked=False, num_format="@", indent=0)
        sheet.write_string(row, PLACE[name], text, style) if text else sheet.write_blank(row, PLACE[name], None, style)
    key = f'{here["tag"]}&"{KEY}"&{here["outlet"]}'
    match = f'IFERROR(MATCH({key},{area.helper(0)},0),"?")'
    sheet.write_formula(row, PLACE["found"], f'=IF(LEN({here["tag"]})=0,"",{match})', look("plain"))
    for name, _, quantity in EXPECTED:
        value = f"INDEX({area.named(name)},{here['found']})"
        shown = f'IF(ISNUMBER({value}),{value},IF(ISERROR({value}),"?",IF({value}&""="–","",{value}&"")))'
        formula = f'=IF(ISNUMBER({here["found"]}),IF({STATE}=1,{shown},"?"),"")'
        shape = "0" if quantity == "seconds" else "0.00" if quantity == "flow" else "0.0"
        sheet.write_formula(row, PLACE[name], formula, look("row", align="center", num_format=shape))
    for name in (*(n for n, *_ in READINGS), *(f"t{s}" for s in SECONDS), "pattern", "loss_test"):
        sheet.write_blank(row, PLACE[name], None, look("input", locked=False, align="center", indent=0))
    styles: dict[str, dict[str, Any]] = {
        "flow": {"num_format": "0.00", "align": "center"},
        "first": {"text_wrap": True, "font_size": 9, "align": "left"},
    }
    gauge, share = (cell_name(FIELD_DAY_ROW + place, FIELD_DAY_COLUMN) for place in (3, 5))
    for name, formula in verdict_formulas(here, SECONDS, gauge, share).items():
        style = styles.get(name, {"bold": True, "align": "center"})
        sheet.write_formula(row, PLACE[name], formula, look("row", **style))


def _draw_marks(drawing: Drawing, sheet: Any, last: int) -> None:
    look = drawing.look
    fills = (("FAIL", {"bg_color": FAIL_FILL, "font_color": "#FFFFFF"}), ("UNKNOWN", {"bg_color": UNKNOWN_FILL}))
    area = (FIRST, PLACE["flow_verdict"], last, PLACE["result"])
    for word, style in fills:
        sheet.conditional_format(*area, {"type": "cell", "criteria": "==", "value": f'"{word}"',
                                         "format": look.mark(bold=True, **style)})  # fmt: skip
