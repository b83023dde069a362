"""A cell that gives no number: every UNKNOWN that comes of it names sheet, place, column and what was typed."""

import functools

import pytest

from drenchbook.check_samples import NOT_KNOWN
from drenchbook.check_words import message
from drenchbook.checks import STATION_CHECKS, judge
from drenchbook.report import Report
from drenchbook.site_cells import BLANK
from drenchbook.site_model import Missing
from drenchbook.site_tables import TABLES
from tests.checks.sites import edited, laboratory, only

# Cells that change nothing at a station inside, or whose blank has a meaning of its own.
SILENT = {"outside_air_cold", "outside_air_warm"}
BLANK_IS_AN_ANSWER = {"insulation", "closing_time"}
CELLS = [(table.key, column.name) for table in TABLES if table.key not in ("limits", "events")
         for column in table.columns if column.kind == "number"]  # fmt: skip


@functools.cache
def site():
    return only(laboratory(), "L1")


@functools.cache
def unknowns(of=None):
    """Every UNKNOWN of a site as check and sentence."""
    judgement = judge(of if of is not None else site())
    verdicts = [judgement.verdict(check, 0) for check in STATION_CHECKS]
    found = {(one.check.id, message(judgement, one, 0)) for one in verdicts if one.outcome == NOT_KNOWN}
    return found | {(line.check.id, line.message) for line in Report(judgement).lines if line.outcome == NOT_KNOWN}


def used(key, column):
    rows = [row for row in site().rows(next(table for table in TABLES if table.key == key))
            if isinstance(getattr(row, column), float)]  # fmt: skip
    if key == "stations":
        rows = [row for row in rows if row.tag == "L1"]
    if key == "pipe_runs":
        rows = [row for row in rows if row.tag == "TR-L1"]
    if key == "outlet_models":
        rows = [row for row in rows if row.model == "EFW-REG32"]
    return rows[0] if rows else None


@pytest.mark.parametrize(("key", "column"), [cell for cell in CELLS if used(*cell) is not None])
def test_every_sentence_names_the_cell_and_what_stands_in_it(key, column):
    table = next(table for table in TABLES if table.key == key)
    row = used(key, column)
    tag = "" if key == "project" else str(getattr(row, table.key_column))
    place, heading = f"heet {table.sheet}, Z9 ({tag})", table.column(column).heading
    for cell in (
        Missing("-5 is too small; 0 or more is accepted", -5.0, "s" + place),
        Missing(BLANK, None, "s" + place),
    ):
        told = unknowns(edited(site(), key, tag, **{column: cell})) - unknowns()
        assert told or column in SILENT or (cell.typed is None and column in BLANK_IS_AN_ANSWER)
        for check, sentence in told:
            assert place in sentence, (check, sentence)
            assert f"{heading}{'' if cell.typed is None else ':'} {cell.reason}" in sentence, (check, sentence)
