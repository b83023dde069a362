"""A workbook with one row for each example of the registry: what a user opens first, to see that functions compute."""

from __future__ import annotations

import datetime
import io

from drenchbook.workbook.package import tidied
from drenchbook.worksheet_functions import FUNCTIONS
from drenchbook.worksheet_reference import example_formula

HEADINGS = ("Function", "Live answer", "Printed answer", "Unit", "Where the printed answer comes from", "Typed as")
WIDTHS = (34, 16, 16, 10, 60, 80)
NO_CLOCK = datetime.datetime(2000, 1, 1)


def examples_workbook() -> bytes:
    """The workbook; live answers have no value until a program computes them, so that nothing looks computed."""
    import xlsxwriter

    made = io.BytesIO()
    book = xlsxwriter.Workbook(made, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": "Drenchbook worksheet functions", "created": NO_CLOCK})
    sheet = book.add_worksheet("Functions")
    bold = book.add_format({"bold": True})
    for column, (heading, width) in enumerate(zip(HEADINGS, WIDTHS, strict=True)):
        sheet.set_column(column, column, width)
        sheet.write(0, column, heading, bold)
    examples = [(function, example) for function in FUNCTIONS for example in function.examples]
    for row, (function, example) in enumerate(examples, start=1):
        formula = example_formula(function, example.cells)
        sheet.write_string(row, 0, function.name)
        sheet.write_formula(row, 1, formula, value="not computed")
        sheet.write_string(row, 2, example.answer)
        sheet.write_string(row, 3, function.unit(example.cells))
        sheet.write_string(row, 4, example.how)
        sheet.write_string(row, 5, formula.removeprefix("="))
    sheet.write_formula(len(examples) + 1, 1, "=DRENCH_STATUS()", value="not computed")
    sheet.write_string(len(examples) + 1, 0, "DRENCH_STATUS")
    sheet.freeze_panes(1, 1)
    book.close()
    return tidied(made.getvalue())
