"""The rules between rows: each breach is a sentence with sheet, cell, value and remedy; all come at once."""

from pathlib import Path

import pytest

from drenchbook.errors import SiteError
from drenchbook.result_tables import RESULT_TABLES
from drenchbook.site_file import read_site_file
from drenchbook.site_rules import structural_problems
from drenchbook.site_sheets import SHEET_CORNER, full_grids, read_grids
from drenchbook.site_tables import TABLE_BY_KEY, TABLES
from drenchbook.table_results import report_of

LABORATORY = Path(__file__).parents[2] / "samples" / "laboratory.toml"


@pytest.fixture
def grids():
    return full_grids(read_site_file(LABORATORY).site)


def put(grids, table, tag, column, value):
    """Type a value into the cell of a row."""
    columns = [c.name for c in TABLE_BY_KEY[table].columns]
    key = columns.index(TABLE_BY_KEY[table].key_column)
    row = next(row for row in grids[table][1:] if row[key] == tag)
    row[columns.index(column)] = value


def sentences(grids):
    read = read_grids(grids, {table.key: SHEET_CORNER for table in TABLES})
    return [str(problem) for problem in [*(p for p in read.problems if p.breaks_file), *structural_problems(read)]]


def test_the_laboratory_is_sound(grids):
    assert sentences(grids) == []


@pytest.mark.parametrize("feed", [None, "CM-1"])
def test_a_plant_main_needs_no_feed(grids, feed):
    """It has its own pressure; a storage without a feed is refused."""
    put(grids, "hot_water_sources", "WH-1", "fed_from", feed)
    put(grids, "hot_water_sources", "WH-1", "kind", "plant main")
    for column, value in (("main_pressure", 60), ("main_temperature", 130), ("main_elevation", 0)):
        put(grids, "hot_water_sources", "WH-1", column, value)
    assert sentences(grids) == []
    read = read_grids(grids, {table.key: SHEET_CORNER for table in TABLES})
    report = report_of(read, "plant.toml")
    assert not any("Fed from" in text for text in report.judgement.measures.missing.of(0))
    assert report.judgement.context.main_of("HW-1") == ""
    put(grids, "hot_water_sources", "WH-1", "kind", "storage")
    if feed is None:
        assert "feeds it" in sentences(grids)[0]


@pytest.mark.parametrize(
    ("table", "tag", "column", "value", "words"),
    [
        ("pipe_runs", "TR-B", "fed_from", "TR-X", ["sheet Pipe runs, B11 (TR-B)", '"TR-X"', "no row of"]),
        ("pipe_runs", "TR-B", "fed_from", "TR-A, TR-C", ["sheet Pipe runs, B11", "names two parents"]),
        ("pipe_runs", "TR-B", "fed_from", None, ["sheet Pipe runs, B11", "blank", "name the tag of"]),
        ("pipe_runs", "TR-B", "tag", "tr-a ", ["A11", '"tr-a "', "stands already in sheet Pipe runs, A10"]),
        ("pipe_runs", "TR-B", "tag", "MV-1", ["sheet Mixing valves, A7", "stands already in sheet Pipe runs, A11"]),
        ("pipe_runs", "TR-B", "fed_from", "TR-D", ["closes a ring", "TR-B", "TR-C", "TR-D"]),
        ("pipe_runs", "TR-B", "fed_from", "TR-B", ["closes a ring: TR-B ← TR-B"]),
        ("mixing_valves", "MV-1", "hot_run", None, ["sheet Mixing valves, D7 (MV-1)", "without a hot side"]),
        ("mixing_valves", "MV-1", "hot_run", "CW-1", ["D7", "is a run of cold water", "without a hot side"]),
        ("mixing_valves", "MV-1", "cold_run", "HW-1", ["C7", "is a run of hot water; name a cold run"]),
        ("stations", "L3", "fed_from", "HW-1", ["takes hot water without a mixing valve and would scald"]),
        ("events", "bench 1", "stations", "L1, L9", ["sheet Events, B7 (bench 1)", "'L9'"]),
        ("pipe_runs", "CM-1", "devices", "M-1, X-9", ["'X-9'", "no row of Line devices"]),
        ("hot_water_sources", "WH-1", "fed_from", "TR-A", ["closes a ring"]),
    ],
)
def test_a_broken_tie_is_a_sentence(grids, table, tag, column, value, words):
    put(grids, table, tag, column, value)
    text = "\n".join(sentences(grids))
    for word in words:
        assert word in text


def test_all_breaches_come_in_one_go(grids):
    put(grids, "pipe_runs", "TR-B", "fed_from", "TR-X")
    put(grids, "stations", "L3", "fed_from", "nowhere")
    put(grids, "events", "bench 1", "stations", "L1, L9")
    put(grids, "stations", "L2", "tag", "L1")
    assert len(sentences(grids)) >= 4


def test_tags_are_compared_without_case_and_stray_spaces(grids):
    put(grids, "pipe_runs", "TR-B", "fed_from", " tr-a\u00a0")
    assert sentences(grids) == []


def test_headings_are_found_in_any_order_and_foreign_columns_are_left_alone(grids):
    swapped = [[*reversed(row), "mine", "x"] for row in grids["pipe_runs"]]
    read, plain = read_grids({**grids, "pipe_runs": swapped}), read_grids(grids)
    assert read.site == plain.site


@pytest.mark.parametrize(
    ("heading", "new", "words"),
    [
        ("Developed length\nft", "Developed length\nm", "the unit of Developed length must be ft in a US workbook"),
        ("Developed length\nft", "Developed length", "the unit of Developed length must be ft"),
        ("Developed length\nft", "Length\nft", "the column with this heading is missing"),
        ("Plan length\nft", "Developed length\nft", "this heading stands twice"),
    ],
)
def test_a_wrong_heading_breaks_the_file(grids, heading, new, words):
    grids["pipe_runs"][0][grids["pipe_runs"][0].index(heading)] = new
    assert words in "\n".join(sentences(grids))


def test_a_wrong_unit_system_breaks_the_file(grids):
    row = next(row for row in grids["project"] if row[0] == "Unit system")
    row[1] = "SI"
    text = "\n".join(sentences(grids))
    assert "only the command convert changes units" in text


def test_a_broken_file_gives_no_results(grids):
    put(grids, "pipe_runs", "TR-B", "fed_from", "TR-X")
    with pytest.raises(SiteError, match="TR-X"):
        report_of(read_grids(grids), "here")


def test_a_bad_cell_makes_its_stations_unknown_and_leaves_the_others(grids):
    put(grids, "pipe_runs", "TR-L2", "developed_length", "35,5")
    report = report_of(read_grids(grids, {table.key: SHEET_CORNER for table in TABLES}), "here")
    message = [column.name for column in RESULT_TABLES["DRENCH_SCHEDULE"]].index("message")
    words = {row[0]: (row[1], row[message]) for row in report.schedule_rows()}
    assert words["L2"][0] in ("UNKNOWN", "FAIL")
    assert words["L2"][0] == "UNKNOWN"
    assert 'text "35,5" stands where a number in ft belongs' in words["L2"][1]
    assert words["L3"][0] == "FAIL"
    assert report.verdict == "FAIL"
