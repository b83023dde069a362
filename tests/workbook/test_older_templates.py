"""A workbook of an older template: recalc says how to make it new, and convert loses nothing that was typed in it.

`older/laboratory_of_template_1.xlsx` and `…_2.xlsx` are the sample laboratory as the generators of those versions wrote
it.
"""

import datetime
import shutil
import tomllib
from pathlib import Path

import pytest
from openpyxl.comments import Comment

from drenchbook.command_line import main
from drenchbook.site_file import read_site_file
from drenchbook.site_tables import LIMITS, PROJECT, TABLES
from tests.workbook.packages import loaded

OLD = Path(__file__).parent / "older" / "laboratory_of_template_1.xlsx"
NEWER = {  # columns that came with template version 2
    "Line devices": {"Setting", "Needs power"},
    "Mixing valves": {"Second model", "Second opens at", "Loop flow", "Loop return run", "Loop enters cold inlet",
                      "Loop pump needs power"},
    "Outlet models": {"Closing time"},
}  # fmt: skip


@pytest.fixture
def old(tmp_path):
    return Path(shutil.copy(OLD, tmp_path / "old.xlsx"))


@pytest.fixture
def second(tmp_path):
    return Path(shutil.copy(OLD.with_name("laboratory_of_template_2.xlsx"), tmp_path / "second.xlsx"))


def test_a_workbook_of_version_2_is_refused_by_recalc_and_read_whole_by_convert(second, tmp_path, capsys, lab_site):
    assert main(["recalc", str(second)]) == 2
    assert "was made with template version 2, this program has version" in capsys.readouterr().err
    new = tmp_path / "new.toml"
    assert main(["convert", str(second), str(new)]) == 0
    assert "blank" not in capsys.readouterr().err
    assert read_site_file(new).site == lab_site


def typed(path, sheet):
    """What a person sees typed in a table: row by row, heading to value, blank cells and formulas left out."""
    cells = loaded(path)[sheet]
    headings = [str(cell.value or "").split("\n")[0] for cell in cells[6]]
    rows = []
    for line in cells.iter_rows(min_row=7, max_col=len(headings), values_only=True):
        if any(str(value or "").startswith("▲") for value in line):
            break
        held = [(name, value) for name, value in zip(headings, line, strict=True) if value not in (None, "")]
        rows.append({name: value for name, value in held if not str(value).startswith("=")})  # computed ones
    return [row for row in rows if row]


def test_recalc_says_in_one_sentence_how_to_make_it_new(old, capsys):
    before = old.read_bytes()
    assert main(["recalc", str(old)]) == 2
    said = capsys.readouterr().err.strip()
    assert said.count("\n") == 0
    assert "was made with template version 1, this program has version" in said
    assert f"drenchbook convert {old} {old.with_name('old_new.xlsx')}" in said
    assert old.read_bytes() == before


def test_convert_makes_it_new_with_everything_typed_and_blanks_for_what_it_was_not_asked(old, tmp_path, capsys):
    before, new = old.read_bytes(), tmp_path / "new.xlsx"
    assert main(["convert", str(old), str(new)]) == 0
    told = capsys.readouterr().err
    assert "blank, as template version 1 did not ask for them: Project: Irradiance, cold season" in told
    assert old.read_bytes() == before
    for table in TABLES:
        then, now = typed(old, table.sheet), typed(new, table.sheet)
        if table is LIMITS:
            added = now[len(then) :]
            assert {row["Limit"] for row in added} >= {"DLG-1 warning", "FRZ-1", "STR-1 factor"}
            assert all(row["Limit"] in told for row in added)
            now = now[: len(then)]
        if table is PROJECT:
            now = [row for row in now if not row["Setting"].startswith("Irradiance")]
            then, now = (
                [{name: row.get(name) for name in ("Setting", "Value")} for row in rows] for rows in (then, now)
            )
        assert now == then, table.sheet
        headings = {str(cell.value or "").split("\n")[0] for cell in loaded(new)[table.sheet][6]}
        assert headings >= NEWER.get(table.sheet, set())
    assert main(["recalc", str(new), "--check"]) == 1  # the laboratory fails on purpose; its results are not stale
    assert "DAT-5" not in capsys.readouterr().out


def test_a_column_that_the_old_template_had_is_still_missed(old, tmp_path, capsys):
    book = loaded(old)
    book["Pipe runs"]["F6"] = "My length"
    book.save(old)
    assert main(["convert", str(old), str(tmp_path / "new.toml")]) == 2
    said = capsys.readouterr().err
    assert '"Developed length": the column with this heading is missing' in said
    assert "Setting" not in said
    assert not (tmp_path / "new.toml").exists()


def test_a_limit_that_was_taken_out_of_the_old_workbook_is_not_put_back(old, tmp_path):
    from drenchbook.workbook.older_templates import with_newer_limits
    from drenchbook.workbook.reading import read_workbook

    book = loaded(old)
    row = next(cell.row for cell in book["Limits"]["A"] if cell.value == "FLW-3")
    for cell in book["Limits"][row]:
        cell.value = None
    book.save(old)
    read = read_workbook(old, older=True)
    site, added = with_newer_limits(read.site, read.version)
    names = [limit.id for limit in site.limits]
    assert "FLW-3" not in names
    assert "STR-1 factor" in names
    assert "STR-1 factor" in added
    assert with_newer_limits(site, read.version) == (site, [])


def test_what_is_not_carried_over_is_said(old, tmp_path, capsys):
    book = loaded(old)
    events, runs = book["Events"], book["Pipe runs"]
    events["F6"], events["F7"] = "My own remark", "ask the owner"
    below = next(cell.row for cell in runs["A"] if str(cell.value or "").startswith("▲")) + 2
    runs.cell(below, 1).value = "TR-LATE"
    runs["F7"] = "=30*2"
    runs["A7"].comment = Comment("as built", "me")
    book.create_sheet("My notes")["B2"] = datetime.date(2026, 5, 4)
    book.save(old)
    assert main(["convert", str(old), str(tmp_path / "new.toml")]) == 0
    said = capsys.readouterr().err
    for sentence in (
        'not carried over: sheet Events, your own column "My own remark" (F7)',
        f"not carried over: sheet Pipe runs, what stands below the dark line (A{below})",
        "carried over as values: sheet Pipe runs, formulas (F7)",
        "not carried over: sheet Pipe runs, comments (A7)",
        "not carried over: your own sheet My notes (B2)",
    ):
        assert sentence in said
    first = tomllib.loads((tmp_path / "new.toml").read_text(encoding="utf-8"))["pipe_runs"][0]
    assert first["developed_length"] == 60


def test_an_untouched_workbook_leaves_nothing_behind(old, lab):
    from drenchbook.workbook.left_behind import left_behind

    assert left_behind(loaded(lab)) == []
    assert left_behind(loaded(old)) == []


def test_convert_does_not_write_over_its_own_source(lab, capsys):
    before = lab.read_bytes()
    assert main(["convert", str(lab), str(lab.parent / "." / lab.name), "--units", "SI"]) == 2
    assert "is the same file as IN" in capsys.readouterr().err
    assert lab.read_bytes() == before
