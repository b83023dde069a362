"""The Check sheet: the fingerprint of the inputs, and the counts by which the other sheets know if results hold."""

from __future__ import annotations

from drenchbook import __version__
from drenchbook.published.criteria import CRITERIA_SETS, default_limits
from drenchbook.result_tables import VERDICTS
from drenchbook.site_sheets import PROJECT_HEADINGS, heading_of
from drenchbook.site_tables import (
    LIMITS,
    OUTLET_MODELS,
    PROJECT,
    STATIONS,
    TABLES,
    VALVE_MODELS,
    YES,
)
from drenchbook.units import UNITS, unit_of
from drenchbook.workbook.drawing import BANNER, PROTECTED, SAMPLE_ROWS, STATE, Drawing
from drenchbook.workbook.fingerprint import LONGEST_ROW, PLACES, TOLERANCE, longest_row, table_fingerprint
from drenchbook.workbook.layout import (
    CHECK,
    FACTS_ROW,
    LISTS_ROW,
    TABLES_ROW,
    TEMPLATE_VERSION,
    VERSION_NAME,
    cell_name,
    count_cell,
    on_sheet,
    range_name,
    setting_cell,
)
from drenchbook.workbook.option_lists import draw_option_lists

FINGERPRINT, STAMP = "Inputs_fingerprint", "Results_stamp"
STALE = "RESULTS DO NOT BELONG TO THESE INPUTS (DAT-5)"
STATIONS_FILLED, STATIONS_WITH_RESULTS, STATIONS_ON_SCHEDULE = (
    "Stations_filled", "Stations_with_results", "Stations_on_schedule",
)  # fmt: skip
SETS_GIVEN, CASES_GIVEN, CASES_SHOWN_HERE = "Sets_given", "Cases_given", "Cases_shown"
LIMITS_CHANGED, CHANGED_NAMES = "Limits_changed", "Limits_changed_names"
UNITS_AT, LIMITS_AT, HEADINGS_AT = 0, 4, 18  # first columns of the lists
SCHEDULE_LIMITS: tuple[tuple[str, str], ...] = (
    ("FLW-3", ""), ("PRS-2", "pressure"), ("TMP least", "temperature"), ("TMP greatest", "temperature"),
    ("DLG-2", "seconds"), ("HOT-1", "minutes"), ("HOT-2", "minutes"),
)  # fmt: skip


def count_name(verdict: str) -> str:
    """Name of the number of stations with a verdict."""
    return f"Stations_{verdict}"


def limit_name(limit: str) -> str:
    """Name of a limit in the units of the workbook."""
    return "Limit_" + limit.replace("-", "_").replace(" ", "_")


def draw_check_sheet(drawing: Drawing, schedule_columns: dict[str, str]) -> None:
    """Fill the Check sheet; `schedule_columns` are the tag and verdict columns of the Schedule sheet."""
    sheet, look = drawing.sheets[CHECK], drawing.look
    sheet.set_row(0, 24)
    sheet.write_string(0, 0, "Check", look("title"))
    note = "How every sheet knows whether the results belong to the inputs. Nothing is typed here."
    sheet.write_string(1, 0, note, look("how"))
    sheet.set_column(0, 0, 36)
    sheet.set_column(1, 3, 14)
    sheet.set_column(4, 60, 16)
    for number, (label, name, formula) in enumerate(_facts(drawing, schedule_columns)):
        row = FACTS_ROW + number
        sheet.write_string(row, 0, label, look("label"))
        if formula.startswith("{"):
            # A spreadsheet program without the add-in trusts stored values, but works array formulas out on opening.
            sheet.write_array_formula(row, 1, row, 1, formula, look("computed"))
        elif formula.startswith("="):
            sheet.write_formula(row, 1, formula, look("computed"))
        else:
            sheet.write_string(row, 1, formula, look("computed"))
        drawing.define(name, on_sheet(CHECK, cell_name(row, 1)))
    _draw_tables(drawing)
    _draw_units(drawing)
    _draw_limits(drawing)
    draw_option_lists(drawing, LISTS_ROW + 1, HEADINGS_AT + len(TABLES) + 1)
    sheet.protect("", PROTECTED)
    drawing.page(sheet)
    sheet.print_area(0, 0, TABLES_ROW + len(TABLES), 3)


def _facts(drawing: Drawing, schedule: dict[str, str]) -> list[tuple[str, str, str]]:
    inputs, results = drawing.layout.inputs, drawing.layout.results
    stamped = f"ABS({STAMP}-{FINGERPRINT})<={TOLERANCE:.6f}"
    answered = f"OR({STATIONS_FILLED}=0,{STATIONS_WITH_RESULTS}>0)"
    samples = "+".join(f'COUNTIF({inputs[t.key].named("sample")},"{YES}")' for t in (VALVE_MODELS, OUTLET_MODELS))
    tables = f"{cell_name(TABLES_ROW, 2)}:{cell_name(TABLES_ROW + len(TABLES) - 1, 2)}"
    longest = tables.replace("$C", "$D")
    shown = results["DRENCH_CASES"].helper(0)
    return [
        ("Program version", "Program_version", __version__),
        ("Template version", VERSION_NAME, f"={TEMPLATE_VERSION}"),
        ("Fingerprint of the inputs", FINGERPRINT,
         f"{{=IF(MAX({longest})>{LONGEST_ROW},NA(),ROUND(SUM({tables}),{PLACES}))}}"),
        ("Fingerprint that was calculated", STAMP, f"=DRENCH_STAMP({FINGERPRINT})"),
        ("Results belong (1), not (0), never calculated (-1)", STATE,
         f"{{=IF(AND(ISNUMBER({STAMP}),{answered}),IF(ISNUMBER({FINGERPRINT}),IF({stamped},1,0),0),-1)}}"),
        ("Said on every result sheet", BANNER,
         f'{{=IF({STATE}=1,"",IF({STATE}=0,"{STALE}: the inputs changed. Recalculate before use.",'
         f'"{STALE}: NOT CALCULATED. Open with the add-in, or run: drenchbook recalc"))}}'),
        ("Rows of SAMPLE data", SAMPLE_ROWS, f"={samples}"),
        ("Stations filled in", STATIONS_FILLED, f"={count_cell(STATIONS)}"),
        ("Stations with results", STATIONS_WITH_RESULTS, _count_words(results["DRENCH_SCHEDULE"].helper(0))),
        ("Stations on the schedule", STATIONS_ON_SCHEDULE, _count_words(schedule["tag"])),
        ("Sets with results", SETS_GIVEN, _count_words(results["DRENCH_SETS"].helper(0))),
        ("Cases shown", CASES_SHOWN_HERE, _count_words(shown)),
        *((f"Stations {verdict}", count_name(verdict), f'=COUNTIF({schedule["verdict"]},"{verdict}")')
          for verdict in VERDICTS),
        ("Limits that differ from the criteria set", LIMITS_CHANGED, f"=SUM({_limit_range(drawing, 6)})"),
        ("Their names", CHANGED_NAMES, f"={_last_name()}"),
    ]  # fmt: skip


def _count_words(cells: str) -> str:
    return f"=SUMPRODUCT(--(LEN({cells})>0))"


def _draw_tables(drawing: Drawing) -> None:
    sheet, look = drawing.sheets[CHECK], drawing.look
    for position, heading in enumerate(("Sheet", "Rows used", "Fingerprint", "Most letters in a row", "Last row used")):
        sheet.write_string(TABLES_ROW - 1, position, heading, look("heading"))
    for number, table in enumerate(TABLES):
        area, row, column = drawing.layout.inputs[table.key], TABLES_ROW + number, HEADINGS_AT + number
        headings = [heading_of(each, drawing.units) for each in table.columns]
        if table is PROJECT:
            headings = list(PROJECT_HEADINGS)
        sheet.write_string(LISTS_ROW, column, table.sheet, look("strong"))
        for line, heading in enumerate(headings):
            sheet.write_string(LISTS_ROW + 1 + line, column, heading, look("plain"))
        known = range_name(LISTS_ROW + 1, column, LISTS_ROW + len(headings), column)
        sheet.write_string(row, 0, table.sheet, look("computed"))
        sheet.write_formula(row, 1, f"=COUNTA({area.column(0)})-1", look("computed"))
        sheet.write_array_formula(
            row, 2, row, 2, table_fingerprint(area, known), look("computed", num_format="0.000000")
        )
        sheet.write_array_formula(row, 3, row, 3, longest_row(area, known), look("computed"))
        keys = area.column(0)
        last = f"{{=MAX((LEN({keys})>0)*(ROW({keys})-ROW({area.first_heading()})))}}"
        sheet.write_array_formula(row, 4, row, 4, last, look("computed"))


def _draw_units(drawing: Drawing) -> None:
    sheet, look = drawing.sheets[CHECK], drawing.look
    for position, heading in enumerate(("Unit", "Factor to SI", "Added before")):
        sheet.write_string(LISTS_ROW, UNITS_AT + position, heading, look("heading"))
    for number, (name, unit) in enumerate(UNITS.items(), start=1):
        sheet.write_string(LISTS_ROW + number, UNITS_AT, name, look("computed"))
        sheet.write_number(LISTS_ROW + number, UNITS_AT + 1, unit.factor, look("computed"))
        sheet.write_number(LISTS_ROW + number, UNITS_AT + 2, unit.offset, look("computed"))


def _limit_range(drawing: Drawing, position: int) -> str:
    count = len(default_limits(CRITERIA_SETS[0]))
    return range_name(LISTS_ROW + 1, LIMITS_AT + position, LISTS_ROW + count, LIMITS_AT + position)


def _last_name() -> str:
    return cell_name(LISTS_ROW + len(default_limits(CRITERIA_SETS[0])), LIMITS_AT + 7)


def _draw_limits(drawing: Drawing) -> None:
    """Each limit of the criteria sets, the value that stands in the Limits sheet, and whether it differs."""
    sheet, look, area = drawing.sheets[CHECK], drawing.look, drawing.layout.inputs[LIMITS.key]
    american, european = (default_limits(name) for name in CRITERIA_SETS)
    headings = ("Limit", "Published here", "Its unit", "Value", "Unit", "Row", "Differs", "Names", "In these units",
                *CRITERIA_SETS[:1], "Its unit", *CRITERIA_SETS[1:], "Its unit")  # fmt: skip
    for position, heading in enumerate(headings):
        sheet.write_string(LISTS_ROW, LIMITS_AT + position, heading, look("heading"))
    ids, values, given = area.named("id"), area.named("value"), area.named("unit")
    in_units = dict(SCHEDULE_LIMITS)
    is_european = f'{setting_cell("criteria_set")}="{CRITERIA_SETS[1]}"'
    for number, (one, other) in enumerate(zip(american, european, strict=True), start=1):
        row = LISTS_ROW + number
        cell = {p: cell_name(row, LIMITS_AT + p, fixed=False) for p in range(13)}
        sheet.write_string(row, LIMITS_AT, one.id, look("computed"))
        value = f"INDEX({values},{cell[5]})"
        for position, published in enumerate((one.value, one.unit, other.value, other.unit), start=9):
            sheet.write(row, LIMITS_AT + position, "none" if published is None else published, look("computed"))
        formulas = {
            1: f"=IF({is_european},{cell[11]},{cell[9]})",
            2: f"=IF({is_european},{cell[12]},{cell[10]})",
            3: f'=IF(ISNUMBER({cell[5]}),IF(ISNUMBER({value}),{value},"none"),"none")',
            4: f'=IF(ISNUMBER({cell[5]}),INDEX({given},{cell[5]})&"","none")',
            5: f'=IFERROR(MATCH({cell[0]},{ids},0),"none")',
            6: f"=IF(ISNUMBER({cell[1]}),IF(AND({cell[3]}={cell[1]},{cell[4]}={cell[2]}),0,1),0)",
            7: f'={_before(row)}&IF({cell[6]}=1,IF(LEN({_before(row)})>0,", ","")&{cell[0]},"")',
        }
        if one.id in in_units:
            formulas[8] = _in_units(drawing, cell, in_units[one.id])
            drawing.define(limit_name(one.id), on_sheet(CHECK, cell_name(row, LIMITS_AT + 8)))
        for position, formula in formulas.items():
            sheet.write_formula(row, LIMITS_AT + position, formula, look("computed"))


def _before(row: int) -> str:
    return cell_name(row - 1, LIMITS_AT + 7, fixed=False) if row > LISTS_ROW + 1 else '""'


def _in_units(drawing: Drawing, cell: dict[int, str], quantity: str) -> str:
    """Formula of a limit in the units of the workbook, from the unit that its row names."""
    if not quantity:
        return f"={cell[3]}"
    names = range_name(LISTS_ROW + 1, UNITS_AT, LISTS_ROW + len(UNITS), UNITS_AT)
    factors, offsets = names.replace("$A", "$B"), names.replace("$A", "$C")
    unit = UNITS[unit_of(quantity, drawing.units)]
    factor = f"INDEX({factors},MATCH({cell[4]},{names},0))"
    offset = f"INDEX({offsets},MATCH({cell[4]},{names},0))"
    return f'=IFERROR(({cell[3]}+{offset})*{factor}/{unit.factor!r}-{unit.offset!r},"none")'
