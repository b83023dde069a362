"""The fingerprint changes with every cell of an input table, and with nothing else."""

import datetime
import math
import random

import openpyxl
import pytest
from openpyxl.worksheet.formula import ArrayFormula

from drenchbook.site_sheets import blank_site, grid_of, heading_of
from drenchbook.site_tables import PROJECT, TABLES
from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.fingerprint import LONGEST_ROW, TOLERANCE, longest_row, table_fingerprint
from drenchbook.workbook.layout import HEADING_ROW, InputArea
from tests.workbook.packages import loaded

INPUTS = [table for table in TABLES if table is not PROJECT]


class OneTable:
    """One input table alone in a workbook, with its fingerprint: small enough to be worked out for every change."""

    def __init__(self, table, rows, units="US", insert_after=None, headings=None):
        headings = headings or [heading_of(column, units) for column in table.columns]
        self.book = openpyxl.Workbook()
        sheet, check = self.book.active, self.book.create_sheet("Check")
        sheet.title = table.sheet
        self.rows = [list(row) for row in rows]
        area = InputArea(table, len(self.rows))
        for place, heading in enumerate(headings):
            sheet.cell(HEADING_ROW + 1, place + 1).value = heading
        known = [heading_of(column, units) for column in table.columns]
        for number, heading in enumerate(known):
            check.cell(41 + number, 1).value = heading
        for number, row in enumerate(self.rows):
            for place, value in enumerate(row):
                sheet.cell(HEADING_ROW + 2 + number, place + 1).value = value
        listed = f"$A$41:$A${40 + len(known)}"
        for cell, formula in (("C30", table_fingerprint(area, listed)), ("D30", longest_row(area, listed))):
            check[cell] = ArrayFormula(cell, formula.strip("{}"))

    def value(self, cell="C30"):
        return evaluate_workbook(self.book, {"Check"}).values["Check", cell]


def fingerprint(table, rows, **more):
    return OneTable(table, rows, **more).value()


def filled_rows(lab_site, table):
    rows = grid_of(table, lab_site)
    return [*rows[:3], [None] * len(table.columns)]


def others(value):
    """What a careless hand makes of a cell."""
    if value is None:
        return [0, "x", True]
    if isinstance(value, bool):
        return [not value, None]
    if isinstance(value, datetime.date):
        return [value + datetime.timedelta(days=1), None]
    if isinstance(value, str):
        return [value + " ", value[:-1] + chr(ord(value[-1]) + 1), value[::-1] + "!", None, 0]
    return [value + max(abs(value), 1) * 1e-6, -value - 1, str(value), None]


@pytest.mark.parametrize("table", INPUTS, ids=lambda table: table.key)
def test_every_changed_cell_shows(lab_site, table):
    rows = filled_rows(lab_site, table)
    before = fingerprint(table, rows)
    picks = random.Random(table.key)
    for number, row in enumerate(rows):
        for place, value in enumerate(row):
            change = picks.choice(others(value))
            changed = [list(each) for each in rows]
            changed[number][place] = change
            after = fingerprint(table, changed)
            assert abs(after - before) > TOLERANCE, (number, place, value, change)


@pytest.mark.parametrize("table", INPUTS, ids=lambda table: table.key)
def test_the_order_of_rows_and_blank_rows_do_not_show(lab_site, table):
    rows = filled_rows(lab_site, table)
    before = fingerprint(table, rows)
    shuffled = [*reversed(rows), [None] * len(rows[0]), [""] * len(rows[0])]
    assert fingerprint(table, shuffled) == pytest.approx(before, abs=TOLERANCE / 2)
    doubled = [*rows, rows[0]]
    assert abs(fingerprint(table, doubled) - before) > TOLERANCE, "a row that stands twice shows"


def test_cells_swapped_between_rows_show(lab_site):
    table = next(t for t in INPUTS if t.key == "pipe_runs")
    rows = filled_rows(lab_site, table)
    before = fingerprint(table, rows)
    for place, column in enumerate(table.columns):
        for one, other in ((0, 1), (0, 2), (1, 2)):
            if rows[one][place] != rows[other][place]:
                swapped = [list(row) for row in rows]
                swapped[one][place], swapped[other][place] = swapped[other][place], swapped[one][place]
                assert abs(fingerprint(table, swapped) - before) > TOLERANCE, (column.name, one, other)


def test_words_moved_to_the_next_column_show():
    table = next(t for t in INPUTS if t.key == "stations")
    row = [None] * len(table.columns)
    row[0], row[1], row[2] = "L1", "Lab 101 fume", "hoods"
    moved = list(row)
    moved[1], moved[2] = "Lab 101", "fume hoods"
    assert abs(fingerprint(table, [row]) - fingerprint(table, [moved])) > TOLERANCE


def test_columns_known_by_heading(lab_site):
    table = next(t for t in INPUTS if t.key == "events")
    rows = filled_rows(lab_site, table)
    before = fingerprint(table, rows)
    headings = [heading_of(column, "US") for column in table.columns]
    wrong = fingerprint(table, rows, headings=["Another", *headings[1:]])
    assert abs(wrong - before) > TOLERANCE


def test_a_row_longer_than_is_looked_at_is_told(lab_site):
    table = next(t for t in INPUTS if t.key == "events")
    rows = filled_rows(lab_site, table)
    assert OneTable(table, rows).value("D30") <= LONGEST_ROW
    rows[0][4] = "x" * (LONGEST_ROW + 1)
    assert OneTable(table, rows).value("D30") > LONGEST_ROW


def test_numbers_stay_within_what_every_program_can_take_the_sine_of(lab_site):
    """Spreadsheet programs refuse the sine of 2^27 and more: the fullest row stays far below."""
    for table in INPUTS:
        full = [["W" * 60 if column.kind != "number" else 1e9 for column in table.columns]]
        book = OneTable(table, full)
        formula = book.book["Check"]["C30"].value.text
        inside = formula[len("=ROUND(SUM(SIN(") : -len(")),8)")]
        book.book["Check"]["C30"] = ArrayFormula("C30", f"=MAX({inside})")
        assert 0 < book.value() < 2**26, table.key


def test_a_whole_workbook_that_was_typed_over_is_stale(lab):
    book = loaded(lab)
    place = tuple(book.defined_names["Inputs_fingerprint"].attr_text.replace("$", "").split("!"))
    before = evaluate_workbook(book, {"Check"}).values[place]
    assert math.isfinite(before)
    setting = next(cell for cell in book["Project"]["A"] if cell.value == "Cold water, warm season")
    book["Project"].cell(setting.row, 2).value += 0.001
    after = evaluate_workbook(book, {"Check"}).values[place]
    assert abs(after - before) > TOLERANCE


def test_the_two_unit_systems_differ():
    us, si = (blank_site(units, "EN 15154") for units in ("US", "SI"))
    table = next(t for t in INPUTS if t.key == "supplies")
    assert us != si
    blank = [[None] * len(table.columns)]
    assert fingerprint(table, blank) != fingerprint(table, blank, headings=[heading_of(c, "SI") for c in table.columns])
