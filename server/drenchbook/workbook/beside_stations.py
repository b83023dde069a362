"""Beside each row of the sheet Stations: its verdict, what governs and what to do, looked up on the Schedule by tag.

The cells stand to the right of the table, outside its name: no result depends on them. A formula looks at the tag of
its own row, so that sorting, deleting and filtering rows cannot attach a verdict to another station. The tag, which
stays on screen, shows the word too, by the shape of its number alone: what is typed there stays the tag.
"""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import UNKNOWN, VERDICTS
from drenchbook.site_tables import STATIONS
from drenchbook.workbook.drawing import Drawing
from drenchbook.workbook.layout import GROUP_ROW, HEADING_ROW, cell_name, on_sheet, range_name
from drenchbook.workbook.look import FAIL_FILL, VERDICT_FILLS
from drenchbook.workbook.schedule_sheet import COLUMN, FIRST, SCHEDULE

LINE, VERDICT, CASE, MESSAGE = "Line of the schedule", "Verdict", "Governing case", "What it is and what to do"
HEADINGS = (VERDICT, CASE, MESSAGE, LINE)  # the hidden one last: some programs print ### over its edge
WIDTHS = (12.0, 54.0, 110.0, 8.0)
TAG_WIDTH = 20.0
NO_LINE = "This station has no line on the Schedule. Make room: drenchbook convert OLD NEW"


def draw_beside_stations(drawing: Drawing) -> None:
    """Draw the four columns; the last holds the line on the Schedule and is hidden."""
    area, look = drawing.layout.inputs[STATIONS.key], drawing.look
    sheet, left = drawing.sheets[STATIONS.sheet], area.width
    for place, (heading, width) in enumerate(zip(HEADINGS, WIDTHS, strict=True), start=left):
        sheet.write_string(HEADING_ROW, place, heading, look("heading", align="left"))
        sheet.set_column(place, place, width, None, {"hidden": True} if heading == LINE else {})
    _draw_group(drawing, sheet, left)
    for row in range(area.first, area.end):
        for place, formula in enumerate(_formulas(drawing, row, left), start=left):
            style: dict[str, Any] = (
                {"bold": True, "align": "center"} if place == left else {"align": "left", "indent": 1}
            )
            sheet.write_formula(row, place, formula, look("row", **style))
    drawing.verdict_marks(sheet, range_name(area.first, left, area.end - 1, left))
    sheet.set_column(0, 0, TAG_WIDTH)
    for verdict in VERDICTS:
        style = drawing.look.mark(num_format=f'@"  {verdict}"', **VERDICT_FILLS[verdict])
        rule = {
            "type": "formula",
            "criteria": f'=${cell_name(area.first, left, fixed=False)}="{verdict}"',
            "format": style,
        }
        sheet.conditional_format(area.first, 0, area.end - 1, 0, rule)


def _draw_group(drawing: Drawing, sheet: Any, left: int) -> None:
    """Above the headings: where the words come from, or that inserted rows lack them."""
    area = drawing.layout.inputs[STATIONS.key]
    tags, words = (range_name(HEADING_ROW, place, area.end, place) for place in (0, left))
    missing = f"SUMPRODUCT((LEN({tags})>0)*(LEN({words})=0))"
    formula = (f'=IF({missing}>0,"COPY DOWN: "&{missing}&" rows have no formulas here; copy them from another row",'
               '"From the Schedule, by the tag of the row")')  # fmt: skip
    sheet.write_formula(GROUP_ROW, left, formula, drawing.look("band"))
    for place in (left + 1, left + 2):
        sheet.write_blank(GROUP_ROW, place, None, drawing.look("band"))
    alarm = drawing.look.mark(bg_color=FAIL_FILL, font_color="#FFFFFF", bold=True)
    condition = f'=LEFT({cell_name(GROUP_ROW, left)},4)="COPY"'
    sheet.conditional_format(
        GROUP_ROW, left, GROUP_ROW, left + 2, {"type": "formula", "criteria": condition, "format": alarm}
    )


def _formulas(drawing: Drawing, row: int, left: int) -> tuple[str, ...]:
    last = FIRST + drawing.layout.results["DRENCH_SCHEDULE"].rows - 1

    def there(name: str) -> str:
        return on_sheet(SCHEDULE, range_name(FIRST, COLUMN[name], last, COLUMN[name]))

    tag, line = f"$A{row + 1}", "$" + cell_name(row, left + HEADINGS.index(LINE), fixed=False)
    found = {name: f"INDEX({there(name)},{line})" for name in ("verdict", "check", "governing_case", "message")}
    case = f'{found["check"]}&IF(LEN({found["governing_case"]})>0,": "&{found["governing_case"]},"")'

    def shown(words: str, otherwise: str) -> str:
        return f'=IF(LEN({tag})=0,"",IF(ISNUMBER({line}),{words},"{otherwise}"))'

    return (
        shown(found["verdict"], UNKNOWN),
        shown(case, "–"),
        shown(found["message"], NO_LINE),
        f'=IF(LEN({tag})=0,"none",IFERROR(MATCH({tag}&"",{there("tag")},0),"none"))',
    )
