"""The verdict beside each row of the sheet Stations is that of the Schedule, whatever happens to the rows."""

import json

import pytest

from drenchbook.command_line import main
from drenchbook.workbook.patching import patch
from drenchbook.workbook.reading import read_workbook
from drenchbook.workbook.recalculating import recalculate
from tests.workbook.packages import loaded


def beside(path):
    """Tag to verdict, governing case and message, as they stand beside the rows."""
    sheet = loaded(path, data_only=True)["Stations"]
    place = {str(cell.value).split("\n")[0]: cell.column for cell in sheet[6]}
    wanted = [place[name] for name in ("Verdict", "Governing case", "What it is and what to do")]
    lines = [row for row in range(7, sheet.max_row) if sheet.cell(row, wanted[0]).value]
    return {sheet.cell(row, 1).value: tuple(sheet.cell(row, column).value for column in wanted) for row in lines}


def reported(path, capsys):
    """The same from the report, which reads no computed cell."""
    main(["recalc", str(path), "--check", "--json"])
    (file,) = json.loads(capsys.readouterr().out)["files"]
    return {station["tag"]: station for station in file["stations"]}


def agrees(path, capsys):
    """Verdict, governing case and message beside each row are those that the report gives to its tag."""
    words, report = beside(path), reported(path, capsys)
    assert set(words) == set(report)
    for tag, (verdict, case, message) in words.items():
        assert verdict == report[tag]["verdict"]
        check = report[tag]["governing_check"]
        assert case == f"{check}: {report[tag]['governing_case']}"
        messages = [each["message"] for each in report[tag]["checks"] if each["id"] == check]
        assert any(message.startswith(each.split(".")[0]) for each in messages), (message, messages)
    return words


def test_each_row_has_its_own_verdict(lab, capsys):
    assert set(agrees(lab, capsys)) == {"L1", "L2", "L3", "L4", "L5"}


def test_rows_swapped_by_hand_keep_their_verdicts(lab, capsys):
    before, book = beside(lab), loaded(lab)
    sheet = book["Stations"]
    for column in range(1, len([c for c in sheet[6] if c.value and c.value != "Verdict"]) + 1):
        one, other = sheet.cell(7, column), sheet.cell(10, column)
        if "f" in (one.data_type, other.data_type):
            break
        one.value, other.value = other.value, one.value
    book.save(lab)
    recalculate(lab)
    after = agrees(lab, capsys)
    assert next(iter(before)) == list(after)[3] != list(before)[3]
    assert {tag: words[0] for tag, words in after.items()} == {tag: words[0] for tag, words in before.items()}


def test_a_row_without_formulas_is_told_and_is_no_failure_of_formulas(lab):
    book = loaded(lab)
    sheet = book["Stations"]
    place = next(cell.column for cell in sheet[6] if cell.value == "Verdict")
    for column in range(place - 1, place + 3):
        sheet.cell(9, column).value = None
    book.save(lab)
    done = recalculate(lab)
    assert done.formula_lines == ()
    assert set(beside(lab)) == {"L1", "L2", "L4", "L5"}
    assert loaded(lab, data_only=True)["Stations"].cell(4, place).value.startswith("COPY DOWN: 1 rows have no formulas")


def test_a_verdict_typed_beside_a_row_is_told(lab):
    book = loaded(lab)
    sheet = book["Stations"]
    place = next(cell for cell in sheet[6] if cell.value == "Verdict")
    cell = sheet.cell(7, place.column)
    cell.value = "OK"
    book.save(lab)
    (line,) = recalculate(lab, write=False).formula_lines
    assert (line.check.id, line.subject) == ("DAT-6", f"Stations {cell.coordinate}")


@pytest.mark.parametrize("state", ["stale", "never calculated"])
def test_results_that_do_not_belong_show_no_ok(lab, state):
    book = loaded(lab)
    stamp = book.defined_names["Results_stamp"].attr_text.replace("$", "").split("!")
    name = book.defined_names["Inputs_fingerprint"].attr_text.replace("$", "").split("!")
    patch(lab, {tuple(name): 1.5} if state == "stale" else {tuple(stamp): "?"})
    from drenchbook.workbook.evaluator import evaluate_workbook

    book = loaded(lab)
    book[stamp[0]][stamp[1]] = 1.5 if state == "stale" else "?"
    values = evaluate_workbook(book).values
    place = next(cell for cell in book["Stations"][6] if cell.value == "Verdict")
    words = {values[("Stations", f"{place.column_letter}{row}")] for row in range(7, 12)}
    assert words == ({"FAIL"} if state == "stale" else {"UNKNOWN"})


def test_the_table_is_read_without_them(lab, lab_site):
    assert read_workbook(lab).site == lab_site
