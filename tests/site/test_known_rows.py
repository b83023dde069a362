"""A row that is typed as before need not be read again, and what is read is the same either way."""

import copy

import pytest

from drenchbook.site_model import Missing
from drenchbook.site_sheets import SHEET_CORNER, KnownRows, full_grids, read_grids
from drenchbook.site_tables import TABLE_BY_KEY
from tests.checks.sites import laboratory

CORNERS = dict.fromkeys(TABLE_BY_KEY, SHEET_CORNER)


@pytest.fixture
def known() -> KnownRows:
    """The rows of the laboratory, read once."""
    found: KnownRows = {}
    read_grids(full_grids(laboratory()), CORNERS, found)
    return found


def edited(table: str, column: str, value: object) -> dict[str, list[list[object]]]:
    """The laboratory's grids with one cell of a table's first row replaced."""
    grids = copy.deepcopy(full_grids(laboratory()))
    place = [one.name for one in TABLE_BY_KEY[table].columns].index(column)
    grids[table][1][place] = value
    return grids


@pytest.mark.parametrize(
    ("table", "column", "value"),
    [
        ("stations", "floor_elevation", 3.5),
        ("stations", "area", True),  # equal to 1, and not the same text
        ("stations", "area", 1),
        ("stations", "travel_time", None),
        ("stations", "travel_time", "soon"),
        ("stations", "travel_time", True),
        ("pipe_runs", "developed_length", ""),
        ("pipe_runs", "size", '2"'),
        ("valve_models", "dated", "2026-02-30"),
    ],
)
def test_known_rows_change_nothing(known, table, column, value):
    grids = edited(table, column, value)
    fresh = read_grids(grids, CORNERS)
    assert read_grids(grids, CORNERS, known) == fresh
    assert read_grids(grids, CORNERS, known) == fresh  # and once more, with the new row known too


def test_a_row_is_taken_from_what_is_known(known):
    site = read_grids(full_grids(laboratory()), CORNERS, known).site
    assert site.stations
    assert all(any(row is other for other in known.values()) for row in site.stations)


def test_a_blank_says_where_it_is(known):
    grids = full_grids(laboratory())
    grids["stations"].insert(1, grids["stations"][-1])
    station = read_grids(grids, CORNERS, known).site.stations[0]
    assert {value.where.split(", ")[1][-1] for value in station.__dict__.values() if isinstance(value, Missing)} == {
        "7"
    }


def test_true_and_one_are_not_alike(known):
    read_grids(edited("stations", "area", 1), CORNERS, known)
    assert read_grids(edited("stations", "area", True), CORNERS, known).site.stations[0].area == "True"


def test_columns_in_another_order_are_other_cells(known):
    grids = full_grids(laboratory())
    places = [one.name for one in TABLE_BY_KEY["stations"].columns]
    first, other = places.index("outlet_1_height"), places.index("outlet_2_height")
    for row in grids["stations"]:
        row[first], row[other] = row[other], row[first]
    assert read_grids(grids, CORNERS, known).site == read_grids(full_grids(laboratory()), CORNERS).site


def test_a_cell_that_cannot_be_used_is_told_each_time(known):
    grids = edited("stations", "travel_time", "soon")
    told = [read_grids(grids, CORNERS, known).problems for _ in range(2)]
    assert told[0] == told[1]
    assert any("soon" in str(problem) for problem in told[0])
