"""Build a workbook from a site: every sheet, every formula; then its values, by evaluating what was built."""

from __future__ import annotations

import datetime
import io
import os
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from drenchbook.result_tables import CASES_SHOWN
from drenchbook.site_model import Site
from drenchbook.workbook.beside_stations import draw_beside_stations
from drenchbook.workbook.carried_over import Carried, placed, write_typed
from drenchbook.workbook.cases_sheet import draw_cases_sheet
from drenchbook.workbook.chart_sheet import draw_chart_data_sheet
from drenchbook.workbook.check_sheet import draw_check_sheet
from drenchbook.workbook.cover_sheet import draw_cautions_sheet, draw_cover_sheet
from drenchbook.workbook.drawing import Drawing
from drenchbook.workbook.field_test_sheet import draw_field_test_sheet
from drenchbook.workbook.formula_places import name_formula_places
from drenchbook.workbook.input_sheets import draw_input_sheets
from drenchbook.workbook.layout import layout_of
from drenchbook.workbook.look import FONT, SIZE
from drenchbook.workbook.package import replace_file, tidied
from drenchbook.workbook.patching import patched
from drenchbook.workbook.record_pages import draw_record_pages
from drenchbook.workbook.results_sheet import draw_results_sheet
from drenchbook.workbook.review_record_sheet import draw_review_record_sheet
from drenchbook.workbook.schedule_sheet import draw_schedule_sheet, schedule_columns
from drenchbook.workbook.worked_path_sheet import draw_worked_path_sheet

CALCULATION_ENGINE = (
    191029  # a current one: an older number makes programs recalculate everything when they open the file
)
NO_CLOCK = datetime.datetime(2000, 1, 1)

Values = Mapping[tuple[str, str], Any]


def write_workbook(
    site: Site,
    path: Path,
    *,
    spare_rows: int | None = None,
    values: Callable[[Path], Values] | None = None,
    cases_shown: int = CASES_SHOWN,
    carried: Carried | None = None,
) -> list[str]:
    """Write the workbook of a site, with a formula and a value in every computed cell.

    Parameters
    ----------
    site : Site
        What stands on the input sheets.
    path : Path
        The file to write; an existing one is replaced at one stroke.
    spare_rows : int, optional
        Free rows of every input table; each table's own number where left out.
    values : callable, optional
        Gives the values of the computed cells of the built file. Left out: they are evaluated.
    cases_shown : int
        Rows of the Cases sheet.
    carried : Carried, optional
        What a person typed beside the site in another workbook, to be taken along.

    Returns
    -------
    list of str
        A sentence for what of that has no place in this workbook.
    """
    from drenchbook.workbook.evaluator import evaluate_workbook
    from drenchbook.workbook.opening import load

    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(suffix=path.suffix, prefix=f".{path.name}.", dir=path.parent)
    os.close(handle)
    draft = Path(name)
    try:
        draft.write_bytes(workbook_bytes(site, spare_rows, cases_shown))
        said = list[str]()
        if carried:
            typed, said = placed(carried, load(draft))
            draft.write_bytes(workbook_bytes(site, spare_rows, cases_shown, typed))
        found = values(draft) if values else evaluate_workbook(load(draft)).values
        replace_file(path, patched(draft, found).content or draft.read_bytes())
    finally:
        draft.unlink(missing_ok=True)
    return said


def workbook_bytes(
    site: Site,
    spare_rows: int | None = None,
    cases_shown: int = CASES_SHOWN,
    typed: Mapping[tuple[str, int, int], Any] | None = None,
) -> bytes:
    """The workbook of a site with formulas and without values; the same site gives the same bytes.

    `typed` are values of cells that are open for typing: sheet, row and column, 1-based, to value.
    """
    import xlsxwriter

    made = io.BytesIO()
    book = xlsxwriter.Workbook(made, {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "default_format_properties": {"font_name": FONT, "font_size": SIZE},
    })  # fmt: skip
    book.calc_on_load, book.calc_id = False, CALCULATION_ENGINE  # values stand in the file; they are trusted
    book.set_properties({"title": "Emergency shower and eyewash schedule", "created": NO_CLOCK})
    book.set_size(2400, 1500)
    layout = layout_of(site, spare_rows, cases_shown)
    drawing = Drawing(book, site, layout)
    draw_cover_sheet(drawing)
    draw_input_sheets(drawing)
    draw_schedule_sheet(drawing)
    draw_beside_stations(drawing)
    draw_cases_sheet(drawing)
    draw_worked_path_sheet(drawing)
    draw_field_test_sheet(drawing)
    draw_record_pages(drawing)
    draw_review_record_sheet(drawing)
    draw_results_sheet(drawing)
    draw_cautions_sheet(drawing)
    draw_check_sheet(drawing, schedule_columns(drawing))
    draw_chart_data_sheet(drawing)
    name_formula_places(drawing)
    write_typed(drawing.sheets, drawing.look, typed or {})
    book.close()
    return tidied(made.getvalue())
