"""A cell that gives no number: every UNKNOWN that comes of it names sheet, place, column and what was typed."""

import functools

import pytest

from drenchbook.check_samples import NOT_KNOWN
from drenchbook.check_words import message
from drenchbook.checks import STATION_CHECKS, judge
from drenchbook.report import Report
from drenchbook.site_cells import BLANK, parse_cell
from drenchbook.site_model import Missing
from drenchbook.site_tables import TABLE_BY_KEY, TABLES
from tests.checks.sites import edited, laboratory, lines, only

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


def test_a_count_is_a_whole_number():
    column = TABLE_BY_KEY["project"].column("stations_out_of_service")
    cell = parse_cell(column, 1.5, "US", "sheet Project, C30")
    (line,) = lines(Report(judge(edited(site(), "project", "", stations_out_of_service=cell))), "OUT-1")
    assert line.word == "UNKNOWN"
    assert "Project, C30: Stations out of service at once: 1.5 is not a whole number; type 1 or 2" in line.message
    assert parse_cell(column, 1.0, "US", "") == 1.0


@pytest.mark.parametrize(("tolerance", "known"), [(97.0, True), (99.0, False)])
def test_an_exchanger_gives_no_ice(tolerance, known):
    """Set to 130 °F, 98 °F above ice."""
    steam = {"kind": "steam heat exchanger", "set_temperature": 130.0, "capacity": 1e6, "tolerance": tolerance}
    told = unknowns(edited(site(), "hot_water_sources", "WH-1", **steam))
    words = "WH-1: Outlet tolerance is 99 Δ°F: its water could be ice; at its set temperature 98 Δ°F is the most"
    assert any(words in sentence for _, sentence in told) is not known
