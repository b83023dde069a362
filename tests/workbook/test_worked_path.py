"""The Worked path: each line by the small functions is the solver's, on the sample and on random sites."""

import math

import pytest

from drenchbook import path_lines
from drenchbook.site_rules import structural_problems
from drenchbook.site_sheets import ReadSite
from drenchbook.table_results import forget
from drenchbook.workbook.building import workbook_bytes
from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.layout import WORKED_PATH
from drenchbook.workbook.worked_path_sheet import CASE_LINE, CHOICES_ASKED, COLUMNS, FIRST, PICKS, VERDICT_LINE
from tests.solver.random_sites import RandomSite
from tests.workbook.packages import loaded

PLACE = {name: place for place, (name, *_) in enumerate(COLUMNS)}


@pytest.fixture(scope="module")
def open_site(tmp_path_factory):
    """A workbook of a site, open, and a way to choose on its Worked path."""

    def made(site):
        path = tmp_path_factory.mktemp("path") / "site.xlsx"
        path.write_bytes(workbook_bytes(site, cases_shown=3))
        return loaded(path)

    return made


@pytest.fixture(scope="module")
def lab_book(open_site, lab_site):
    return open_site(lab_site)


def shown(book, **chosen):
    """The sheet after a choice: its case, its last line and its lines."""
    sheet = book[WORKED_PATH]
    for _, name, place in CHOICES_ASKED:
        sheet.cell(PICKS + 1, place + 1).value = chosen.get(name)
    values = evaluate_workbook(book, {WORKED_PATH}).values
    rows = []
    for row in range(FIRST + 1, sheet.max_row + 1):
        line = {name: values.get((WORKED_PATH, sheet.cell(row, place + 1).coordinate)) for name, place in PLACE.items()}
        if line["kind"]:
            rows.append(line)
    return values[WORKED_PATH, f"A{CASE_LINE + 1}"], values[WORKED_PATH, f"A{VERDICT_LINE + 1}"], rows


@pytest.mark.parametrize(
    ("chosen", "case"),
    [
        ({}, "L4: cold season, low supply"),
        ({"station": "L1"}, "L1 + L2: cold season, high supply"),
        ({"station": "L2", "open": "L2 + L5", "supply": "high"}, "L2 + L5: cold season, high supply"),
        ({"station": "L1", "season": "warm", "supply": "high", "open": "L1: shower alone"},
         "L1: shower alone: warm season, high supply"),
        ({"station": "L4", "fault": "hot pressure lost"}, "L4: cold season, low supply, hot pressure lost"),
        ({"station": "L4", "fault": "source cold but pressurised"},
         "L4: cold season, low supply, source cold but pressurised"),
    ],
)  # fmt: skip
def test_a_choice_is_worked_out_and_agrees(chosen, case, lab_book):
    told, verdict, rows = shown(lab_book, **chosen)
    assert told == f"Case: {case}"
    assert verdict.startswith("AGREES: "), verdict
    assert "solver only" not in verdict
    assert sum(row["same"] == "same" for row in rows) > 15


def test_the_sheet_has_the_hand_calculated_pressures(lab_book):
    """The worked site, L4 at low supply: cold inlet 51.98, hot 50.84, chamber 48.88, outlet 15.51 psi."""
    _, _, rows = shown(lab_book, station="L4", open="L4")
    pressure = {row["step"]: row["pressure"] for row in rows}
    assert pressure["Rise to the end of CW-1"] == pytest.approx(51.98, abs=0.02)
    assert pressure["Rise to the end of HW-1"] == pytest.approx(50.84, abs=0.02)
    assert pressure["Two seats of MV-1"] == pytest.approx(48.88, abs=0.02)
    assert pressure["Rise to the outlet shower"] == pytest.approx(15.51, abs=0.02)


def test_a_station_that_is_none_is_told_and_does_not_agree(lab_book):
    _, verdict, rows = shown(lab_book, station="L9")
    assert verdict == 'NO PATH: "L9" is no tag of the sheet Stations'
    assert len(rows) == 1


def sound(seed):
    """Whether a workbook can hold the site: points of a curve are not negative there, low pressure is below high."""
    site = RandomSite(seed).site()
    curves = [curve for row in site.supplies for curve in (row.curve_low, row.curve_high)]
    points = [p for curve in [*curves, *(row.curve for row in site.line_devices)] for _, p in curve or ()]
    rising = all((row.static_low or 0) <= (row.static_high or math.inf) for row in site.supplies)
    return not structural_problems(ReadSite(site, (), {})) and min(points, default=0) >= 0 and rising


SEEDS = [seed for seed in range(20) if sound(seed)][:4]


def test_random_sites_agree_in_every_kind_of_line(open_site):
    """Both friction methods, own roughness and C, curves, several valves, both unit systems, boosters and settings."""
    agreed = 0
    for seed in SEEDS:
        site = RandomSite(seed).site()
        book = open_site(site)
        for fault in ("normal", "hot pressure lost", "power lost"):
            case, verdict, rows = shown(book, station=site.stations[0].tag, season="warm", supply="high", fault=fault)
            solved = rows[0]["kind"] == "case"
            assert verdict.startswith("AGREES: " if solved else "NO PATH: "), (seed, case, verdict, rows)
            agreed += solved
    assert agreed >= 6


def test_another_number_is_seen(lab_site, open_site, monkeypatch):
    """A device coefficient that is 1 % off in the table is a line that differs, and the last line says so."""
    plain = path_lines._Lines._square
    monkeypatch.setattr(path_lines._Lines, "_square", lambda lines, value: plain(lines, 1.01 * value))
    forget()
    _, verdict, rows = shown(open_site(lab_site), station="L4", open="L4")
    assert verdict.startswith("DOES NOT AGREE: ")
    assert {row["same"] for row in rows if row["step"] == "Meter M-1"} == {"DIFFERS"}


def test_a_stale_choice_says_so(lab_book):
    """Where nothing recalculates the array after a choice, the sheet does not call it an agreement."""
    sheet = lab_book[WORKED_PATH]
    array = lab_book["Results"]
    values = evaluate_workbook(lab_book).values
    shown(lab_book)
    kept = {}
    for (name, cell), value in values.items():  # what a program without the functions keeps
        if name == "Results":
            kept[cell] = array[cell].value
            array[cell].value = value if not hasattr(value, "code") else None
    sheet.cell(PICKS + 1, CHOICES_ASKED[0][2] + 1).value = "L2"
    verdict = evaluate_workbook(lab_book, {WORKED_PATH}).values[WORKED_PATH, f"A{VERDICT_LINE + 1}"]
    for cell, value in kept.items():
        array[cell].value = value
    assert verdict == "NOT CALCULATED FOR THIS CHOICE: recalculate"
