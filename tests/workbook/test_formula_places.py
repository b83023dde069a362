"""DAT-6: a number, a text or a blank where a formula belongs is told with its sheet and cell, and never mended."""

import json

import pytest

from drenchbook.command_line import main
from drenchbook.workbook.formula_places import blocks, formula_lines
from tests.workbook.packages import loaded


def typed(path, sheet, cell, value):
    book = loaded(path)
    assert book[sheet][cell].data_type == "f"
    book[sheet][cell] = value
    book.save(path)


def told(path):
    return [(line.check.id, line.word, line.subject, line.message) for line in formula_lines(loaded(path))]


def test_a_workbook_as_it_is_drawn_has_every_formula(lab, blank_si):
    assert told(lab) == []
    assert told(blank_si) == []


@pytest.mark.parametrize(
    ("sheet", "cell", "value", "shown"),
    [
        ("Schedule", "I10", 25.0, "25 stands"),
        ("Schedule", "B11", "OK", '"OK" stands'),
        ("Check", "B7", -1.5, "-1.5 stands"),
        ("Results", "C9", 1.0, "1 stands"),
        ("Stations", "A3", None, "a blank stands"),
    ],
)
def test_what_was_typed_over_a_formula_is_told(lab, sheet, cell, value, shown):
    typed(lab, sheet, cell, value)
    (line,) = [line for line in told(lab) if line[2] == f"{sheet} {cell}"]
    assert line == ("DAT-6", "FAIL", f"{sheet} {cell}", f"Sheet {sheet}, cell {cell}: {shown} where a formula belongs.")


def test_the_command_fails_and_says_so_in_words_and_in_json(lab, capsys):
    typed(lab, "Schedule", "I10", 25.0)
    assert main(["recalc", str(lab)]) == 1
    said = " ".join(capsys.readouterr().out.split())  # lines are broken to the width of the terminal
    assert "DAT-6 FAIL Sheet Schedule, cell I10: 25 stands where a formula belongs. Undo it" in said
    assert loaded(lab)["Schedule"]["I10"].value == 25.0, "what the user typed is not touched, and is told again"
    assert main(["recalc", str(lab), "--json"]) == 1
    (file,) = json.loads(capsys.readouterr().out)["files"]
    (line,) = [line for line in file["site"] if line["id"] == "DAT-6"]
    assert (file["verdict"], line["severity"], line["subject"]) == ("FAIL", "FAIL", "Schedule I10")


def test_rows_that_a_person_inserts_above_move_the_places(lab):
    """Spreadsheet programs move names with their cells; here the names are moved by hand, as they do."""
    from openpyxl.utils.cell import range_boundaries

    book = loaded(lab)
    sheet = book["Cover"]
    sheet.insert_rows(1)
    for name, defined in book.defined_names.items():
        if name.startswith("Computed_Cover"):
            left, top, right, bottom = range_boundaries(defined.attr_text.split("!")[1].replace("$", ""))
            corners = [sheet.cell(row + 1, column).coordinate for row, column in ((top, left), (bottom, right))]
            defined.attr_text = "Cover!" + ":".join(corners)
    book.save(lab)
    assert [line for line in told(lab) if line[2].startswith("Cover")] == []


def test_a_workbook_that_does_not_say_where_formulas_belong_is_unknown(lab):
    book = loaded(lab)
    for name in [name for name in book.defined_names if name.startswith("Computed_")]:
        del book.defined_names[name]
    book.save(lab)
    ((check, word, _, words),) = told(lab)
    assert (check, word) == ("DAT-6", "UNKNOWN")
    assert "names of their places are missing" in words


def test_blocks_cover_their_cells_and_no_others():
    places = {(0, 0), (0, 1), (1, 0), (1, 1), (2, 1), (4, 1), (4, 3), (5, 3)}
    found = blocks(places)
    cells = [
        (r, c) for top, left, bottom, right in found for r in range(top, bottom + 1) for c in range(left, right + 1)
    ]
    assert sorted(cells) == sorted(places)
    assert len(found) == 4
