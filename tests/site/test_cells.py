"""One typed cell: what is accepted, and the sentence for what is not."""

import datetime

import pytest

from drenchbook.site_cells import parse_cell, typed_form
from drenchbook.site_model import Missing
from drenchbook.site_tables import EVENTS, LINE_DEVICES, PIPE_RUNS, PROJECT, STATIONS, VALVE_MODELS

LENGTH = PIPE_RUNS.column("developed_length")
SIZE = PIPE_RUNS.column("size")
FITTINGS = PIPE_RUNS.column("fittings")
CURVE = LINE_DEVICES.column("curve")


@pytest.mark.parametrize(
    ("column", "typed", "value"),
    [
        (LENGTH, 80, 80.0),
        (PROJECT.column("cold_water_cold"), -3.5, -3.5),
        (SIZE, "1-1/4", "1-1/4"),
        (SIZE, "¾", "¾"),
        (SIZE, 1, "1"),
        (FITTINGS, "4 x 90 elbow; 1 x tee, branch", "4 x 90 elbow; 1 x tee, branch"),
        (FITTINGS, 2.5, "2.5"),
        (CURVE, "0 11.5; 10 10.6; 20 10.2", ((0, 11.5), (10, 10.6), (20, 10.2))),
        (PIPE_RUNS.column("devices"), "M-1, S-1;B-1", ("M-1", "S-1", "B-1")),
        (STATIONS.column("potable"), "yes", True),
        (STATIONS.column("potable"), "n ", False),
        (PIPE_RUNS.column("material"), " COPPER L", "copper L"),
        (PROJECT.column("calculation_date"), datetime.datetime(2026, 5, 4, 12), datetime.date(2026, 5, 4)),
        (PROJECT.column("calculation_date"), "2026-05-04", datetime.date(2026, 5, 4)),
        (PROJECT.column("calculation_date"), 46146.0, datetime.date(2026, 5, 4)),
        (PIPE_RUNS.column("tag"), 101, "101"),
    ],
)
def test_what_a_cell_means(column, typed, value):
    assert parse_cell(column, typed, "US") == value


@pytest.mark.parametrize(
    ("column", "typed", "words"),
    [
        (LENGTH, None, "is blank; it is needed, and a blank is not a zero"),
        (LENGTH, " \u00a0", "is blank"),
        (LENGTH, "2,5", 'text "2,5" stands where a number in ft belongs; type 2.5 with a decimal point'),
        (LENGTH, "80 ft", "type the number alone, its unit stands in the heading"),
        (LENGTH, "#N/A", "the cell holds an error"),
        (LENGTH, True, "TRUE stands where a number in ft belongs"),
        (LENGTH, datetime.datetime(2026, 3, 4), "a date stands here"),
        (LENGTH, -1, "-1 ft is too small; 0 or more is accepted"),
        (LENGTH, float("nan"), "is not a finite number"),
        (SIZE, datetime.datetime(2026, 3, 4), "3/4"),
        (SIZE, 45750, "date"),
        (SIZE, "3/5", "3/5"),
        (FITTINGS, "included", "none"),
        (FITTINGS, "4 x 90 elbw", "90 elbow"),
        (CURVE, "0 11,5; 10 10,6", "holds something that is no number"),
        (CURVE, "0 11.5", "fewer than two points"),
        (CURVE, "5 11.5; 10 10", "must begin at zero flow"),
        (CURVE, "0 1; 10 2; 10 3", "must have flows that rise"),
        (CURVE, "0 1 2; 10 2", "is not a list of points"),
        (STATIONS.column("potable"), "maybe", '"maybe" must be Y or N'),
        (PIPE_RUNS.column("material"), "copper", "is not one of copper K, copper L"),
        (PROJECT.column("calculation_date"), "04.05.2026", "type it as year-month-day"),
        (PROJECT.column("calculation_date"), 4614, "is not a date"),
        (PROJECT.column("calculation_date"), 46146.5, "is not a date"),
        (EVENTS.column("users"), 0, "0 people is too small"),
        (VALVE_MODELS.column("seat_curve"), "0 0; 10 2", "above zero"),
    ],
)
def test_what_cannot_be_used_says_why(column, typed, words):
    missing = parse_cell(column, typed, "US", "sheet X, B7")
    assert isinstance(missing, Missing)
    assert words in str(missing)
    assert str(missing).startswith("sheet X, B7: ")


def test_a_cell_that_cannot_be_used_is_kept_as_typed():
    missing = parse_cell(LENGTH, "2,5", "US")
    assert typed_form(LENGTH, missing) == "2,5"


def test_a_blank_is_none_only_where_its_help_gives_it_a_meaning():
    assert parse_cell(PIPE_RUNS.column("plan_length"), None, "US") is None
    assert isinstance(parse_cell(PIPE_RUNS.column("insulation"), None, "US"), Missing)
