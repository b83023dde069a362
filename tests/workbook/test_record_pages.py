"""The weekly and the annual record: a row for each station, a flush as long as the purge, boxes to write in."""

import json
import math

import pytest

from drenchbook.command_line import main
from drenchbook.workbook.evaluator import evaluate_workbook
from tests.workbook.packages import loaded

FIRST = 13  # row of the first station
WORDS = ("not known", "no valve")


def page(values, sheet="Weekly record"):
    """Station to the cells of its row, as a spreadsheet program shows them."""
    tags = {row: values.get((sheet, f"A{row}")) for row in range(FIRST, FIRST + 8)}
    return {tag: {letter: values.get((sheet, f"{letter}{row}")) for letter in "ABCDEF"}
            for row, tag in tags.items() if tag}  # fmt: skip


def held(path, sheet):
    return {(sheet, cell.coordinate): cell.value for row in loaded(path, data_only=True)[sheet] for cell in row}


def test_each_station_is_flushed_for_its_longest_purge(lab, capsys):
    main(["recalc", str(lab), "--check", "--json"])
    (file,) = json.loads(capsys.readouterr().out)["files"]
    schedule = {row[0]: row for row in loaded(lab, data_only=True)["Schedule"].iter_rows(min_row=10, max_row=14,
                                                                                         values_only=True)}  # fmt: skip
    headings = [cell.value for cell in loaded(lab)["Schedule"][7]]
    found = page(held(lab, "Weekly record"))
    assert list(found) == [station["tag"] for station in file["stations"]]
    for tag, row in found.items():
        purge = schedule[tag][headings.index("Purge")]
        assert row["E"] == math.ceil(purge / 5) * 5
        minutes, seconds = row["F"].split(":")
        assert int(minutes) * 60 + int(seconds) == row["E"]
        assert len(seconds) == 2


def test_the_eyewash_of_a_large_branch_is_flushed_longer_than_the_emergency_lasts(lab):
    """By hand: 0.5 gpm through the runs from MV-1 to L3 takes more than twenty minutes (worked site)."""
    assert page(held(lab, "Weekly record"))["L3"]["E"] > 1200


def test_a_flush_is_never_blank_or_nought_for_a_station(lab):
    """A size taken out of a run leaves its stations without a purge: the page says so."""
    book = loaded(lab)
    runs = book["Pipe runs"]
    row = next(cell.row for cell in runs["A"] if cell.value == "TR-L5")
    size = next(cell.column for cell in runs[6] if cell.value == "Size")
    runs.cell(row, size).value = None
    found = page(evaluate_workbook(book).values)
    assert found["L5"]["E"] == found["L5"]["F"] == "not known"
    assert found["L3"]["E"] > 1200


def test_without_results_no_flush_is_shown(lab):
    book = loaded(lab)
    name = book.defined_names["Results_stamp"].attr_text.replace("$", "").split("!")
    book[name[0]][name[1]] = 1.5
    values = evaluate_workbook(book).values
    found = page(values)
    assert set(found) == {"L1", "L2", "L3", "L4", "L5"}
    assert {row["E"] for row in found.values()} == {"not known"}
    assert "DO NOT BELONG" in values["Weekly record", "A9"]
    assert "DO NOT BELONG" in values["Annual record", "A9"]


@pytest.mark.parametrize("sheet", ["Weekly record", "Annual record"])
def test_only_the_first_week_is_typed_and_no_box_is_filled(lab, sheet):
    cells = [cell for row in loaded(lab)[sheet] for cell in row]
    opened = [cell.coordinate for cell in cells if not cell.protection.locked]
    assert opened == (["C8"] if sheet == "Weekly record" else [])
    for cell in cells:
        if cell.row >= FIRST and cell.data_type != "f":
            assert cell.value in (None, "Tested by", "Day and time") or cell.row > FIRST + 8, cell.coordinate
    assert loaded(lab)[sheet].print_title_rows == "$1:$12"


def test_weeks_follow_the_first(lab):
    import datetime

    book = loaded(lab)
    first = datetime.datetime(2026, 5, 4)
    book["Weekly record"]["C8"] = first
    values = evaluate_workbook(book).values
    begin = datetime.datetime(1899, 12, 30)
    weeks = [begin + datetime.timedelta(days=values["Weekly record", f"{letter}11"]) for letter in "GHIJKLMNOPQRS"]
    assert weeks == [first + datetime.timedelta(weeks=number) for number in range(13)]


def test_the_annual_record_expects_what_the_schedule_says(lab):
    book = loaded(lab, data_only=True)
    schedule, annual = book["Schedule"], book["Annual record"]
    there = {cell.value: cell.column for cell in annual[11]}
    names = [cell.value for cell in schedule[7]]
    groups = [cell.value for cell in schedule[6]]
    begin = groups.index("Shower flow")
    for number in range(5):
        for heading, place in (("Shower need", begin), ("Shower least", begin + 1), ("Shower most", begin + 2)):
            assert annual.cell(FIRST + number, there[heading]).value == schedule.cell(10 + number, place + 1).value
        pressure = names.index("Least", groups.index("Pressure, worst outlet"))
        assert (
            annual.cell(FIRST + number, there["Pressure least"]).value == schedule.cell(10 + number, pressure + 1).value
        )
    texts = [str(cell.value) for row in annual.iter_rows(min_row=FIRST + 8) for cell in row if cell.value]
    assert "MV-1" in texts
    assert "Tepid: 60 to 100 °F" in annual["A7"].value
    assert "10 s at most" in annual["A7"].value
    assert "shower 82 in to 96 in; eyewash 33 in to 53 in" in annual["A7"].value


def test_a_station_without_a_valve_has_no_computed_flush(lab_site, tmp_path):
    from drenchbook.workbook.building import write_workbook

    cold = next(run.tag for run in lab_site.pipe_runs if run.tag == str(lab_site.mixing_valves[0].cold_run))
    stations = tuple(s.model_copy(update={"fed_from": cold}) if s.tag == "L5" else s for s in lab_site.stations)
    path = tmp_path / "direct.xlsx"
    write_workbook(lab_site.model_copy(update={"stations": stations}), path, cases_shown=3)
    found = page(held(path, "Weekly record"))
    assert found["L5"]["E"] in WORDS
    assert found["L5"]["F"] == found["L5"]["E"]


def test_sample_data_and_missing_stations_are_told_on_both_pages(lab):
    book = loaded(lab, data_only=True)
    for sheet in ("Weekly record", "Annual record", "Review record"):
        assert "SAMPLE DATA in 6 rows" in book[sheet]["A2"].value
    assert book["Weekly record"]["A3"].value == "All 5 stations of sheet Stations are on the schedule."
