"""A blank never helps: whatever cell of the laboratory is cleared, no station comes nearer to OK."""

import functools

import pytest

from drenchbook.check_samples import FAILED, NOT_KNOWN, PASSED
from drenchbook.errors import SiteError
from drenchbook.site_sheets import full_grids, read_grids
from drenchbook.site_tables import PROJECT, TABLES
from drenchbook.table_results import report_of
from tests.checks.sites import laboratory

# Tables whose every needed cell L5 depends on, and the row of each; L5 is a WARN as it stands.
DEPENDS = {
    "supplies": ("SUP-1",), "hot_water_sources": ("WH-1",), "line_devices": ("M-1", "S-1", "B-1"),
    "pipe_runs": ("CM-1", "CW-1", "HW-1", "TR-A", "TR-B", "TR-C", "TR-L5"), "mixing_valves": ("MV-1",),
    "valve_models": ("SAMPLE TMV 45",), "outlet_models": ("SH-REG22",), "events": ("bench 2",), "stations": ("L5",),
}  # fmt: skip


def cells():
    """One filled cell of every column of every table, another row for each column, and all cells of Project."""
    grids, chosen = full_grids(laboratory()), []
    for table in TABLES:
        rows = grids[table.key]
        if table is PROJECT:
            chosen += [(table.key, row, 1) for row in range(1, len(rows)) if rows[row][1] not in (None, "")]
            continue
        for place in range(len(table.columns)):
            filled = [row for row in range(1, len(rows)) if rows[row][place] not in (None, "")]
            if filled:
                chosen.append((table.key, filled[(7 * place) % len(filled)], place))
    return chosen


@functools.cache
def outcomes_of_laboratory():
    return [
        int(one) for one in report_of(read_grids(full_grids(laboratory())), "laboratory").judgement.station_outcomes
    ]


@pytest.mark.parametrize(("table", "row", "place"), cells())
def test_a_blank_never_helps(table, row, place):
    grids = full_grids(laboratory())
    tag, column = grids[table][row][0], _column(table, row, place)
    grids[table][row][place] = None
    try:
        report = report_of(read_grids(grids), "laboratory")
    except SiteError:  # a tag, a tie or a unit system: nothing is calculated
        return
    for before, after in zip(outcomes_of_laboratory(), report.judgement.station_outcomes, strict=True):
        assert int(after) >= before or (before == FAILED and after == NOT_KNOWN) or column.need == "never"
    for rows in (report.schedule_rows(), report.set_rows(), report.case_rows(), report.site_rows()):
        assert all(len(one) == len(rows[0]) for one in rows)
    if column.need == "always":
        assert any(line.check.id == "DAT-1" and line.outcome == NOT_KNOWN for line in report.lines)
        if tag in DEPENDS.get(table, ()):
            assert int(report.judgement.station_outcomes[-1]) >= NOT_KNOWN
            assert report.judgement.station_outcomes[-1] != PASSED


def _column(table, row, place):
    found = next(one for one in TABLES if one.key == table)
    return found.columns[row - 1] if found is PROJECT else found.columns[place]


@pytest.mark.parametrize(
    ("table", "tag"), [(table, tag) for table, tags in DEPENDS.items() if table != "stations" for tag in tags]
)
def test_needed_cells_of_what_a_station_depends_on_are_never_passed_over(table, tag):
    """All needed cells of a row at once, ties aside: L5 is UNKNOWN or worse, and says which cell."""
    described = next(one for one in TABLES if one.key == table)
    grids = full_grids(laboratory())
    row = next(one for one in grids[table] if one[0] == tag)
    for place, column in enumerate(described.columns):
        if column.need == "always" and column.kind not in ("tag", "ref", "refs"):
            row[place] = None
    report = report_of(read_grids(grids), "laboratory")
    assert int(report.judgement.station_outcomes[-1]) >= NOT_KNOWN
    assert report.judgement.missed(4)
    needed = [c for c in described.columns if c.need == "always" and c.kind not in ("tag", "ref", "refs")]
    sentences = " ".join(report.judgement.measures.missing.of(4))
    assert needed
    assert all(column.heading in sentences for column in needed)
