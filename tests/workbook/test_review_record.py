"""The Review record: what a checker types holds only as long as inputs and results are those that were checked."""

import datetime

from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.recalculating import recalculate
from tests.workbook.packages import loaded

SHEET, TODAY, FIRST, FIRST_ACCEPTED = "Review record", 8, 9, 22
NUMBERS = "EFGHIJK"


def today(path):
    sheet = loaded(path, data_only=True)[SHEET]
    return {letter: sheet[f"{letter}{TODAY}"].value for letter in NUMBERS}


def reviewed(lab, *lines):
    """The workbook with the line of today pasted and signed on some lines, each with changes typed over it."""
    pasted, book = today(lab), loaded(lab)
    signed = {"A": datetime.datetime(2026, 5, 4), "B": "P1", "C": "B. Checker", "D": "accepted with warnings"}
    for row, changes in enumerate(lines, start=FIRST):
        for letter, value in (pasted | signed | changes).items():
            book[SHEET][f"{letter}{row}"] = value
    return book


def now(book, count, first=FIRST):
    """What the sheet says of some lines."""
    values = evaluate_workbook(book).values
    return [values[SHEET, f"M{row}"] for row in range(first, first + count)]


def test_the_line_of_today_counts_what_the_cover_counts(lab):
    line = today(lab)
    assert [line[letter] for letter in "GHIJK"] == [5, 4, 0, 1, 0]
    assert isinstance(line["E"], float)
    assert isinstance(line["F"], float)


def test_a_line_holds_only_whole_and_with_the_same_results(lab):
    wanted = {
        "holds": {},
        "UNKNOWN: fingerprint, digest or counts are not typed": {"K": None},
        "UNKNOWN: date, revision, checker or decision is not typed": {"C": None},
        "RESULTS CHANGED SINCE: review again": {"H": 3, "J": 2},
        "sent back: not accepted": {"D": "sent back"},
    }
    again = ({"E": None}, {"D": None}, {"F": 1.0})
    said = now(reviewed(lab, *wanted.values(), *again), len(wanted) + len(again) + 1)
    assert said == [*wanted, *list(wanted)[1:4], ""]


def test_a_review_ends_when_an_input_changes(lab):
    book = reviewed(lab, {})
    book["Stations"]["B7"] = "another room"
    assert now(book, 1) == ["INPUTS CHANGED SINCE: review again"]


def test_what_is_typed_changes_no_result_and_is_no_fault(lab):
    before = loaded(lab, data_only=True)["Check"]["B6"].value
    reviewed(lab, {}).save(lab)
    done = recalculate(lab)
    assert done.formula_lines == ()
    book = loaded(lab, data_only=True)
    assert book["Check"]["B6"].value == before
    assert (book[SHEET][f"M{FIRST}"].value, book[SHEET][f"C{FIRST}"].value) == ("holds", "B. Checker")


def accepted(lab, *lines):
    """The workbook with the warning of L5 accepted as the Schedule states it, on some lines with changes."""
    schedule = loaded(lab, data_only=True)["Schedule"]
    headings = [cell.value for cell in schedule[7]]
    line = next(row for row in schedule.iter_rows(min_row=10, max_row=14, values_only=True) if row[0] == "L5")
    typed = {"A": "L5", "B": line[headings.index("By check")], "C": line[headings.index("Governing case")],
             "D": "1 %", "E": "10 %", "F": line[headings.index("Margin")], "G": "B. C.",
             "H": datetime.datetime(2026, 5, 4), "L": "larger run is on order"}  # fmt: skip
    book = loaded(lab)
    for row, changes in enumerate(lines, start=FIRST_ACCEPTED):
        for letter, value in (typed | changes).items():
            book[SHEET][f"{letter}{row}"] = value
    return book


def test_an_accepted_warning_is_valid_only_as_it_was_accepted(lab):
    wanted = {
        "valid": {},
        "UNKNOWN: check, by, date or reason is not typed": {"L": None},
        "UNKNOWN: the margin then is not typed": {"F": None},
        "REVIEW AGAIN: its margin is less now": {"F": 0.09},
        "REVIEW AGAIN: another case governs now": {"C": "L5: cold season, low supply"},
        "UNKNOWN: FLW-2 governs now; find this check with recalc --json": {"B": "VEL-1"},
        "UNKNOWN: no such station or line now": {"A": "L9"},
        "REVIEW AGAIN: it is FAIL now": {"A": "L1", "B": "HOT-1"},
        "stands: compare its words with what was accepted": {"A": "MV-1", "B": "BYP-4"},
    }
    assert now(accepted(lab, *wanted.values()), len(wanted) + 1, FIRST_ACCEPTED) == [*wanted, ""]


def test_nothing_is_valid_while_the_results_are_stale(lab):
    book = accepted(lab, {})
    name = book.defined_names["Results_stamp"].attr_text.replace("$", "").split("!")
    book[name[0]][name[1]] = 1.5
    assert now(book, 1, FIRST_ACCEPTED) == ["UNKNOWN: the results do not belong to the inputs"]
