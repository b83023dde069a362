"""The workbook in a real spreadsheet program that has no add-in: banner, fingerprint, pages, and the way back."""

import datetime
import re
import subprocess

import pytest

from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.layout import TEMPLATE_VERSION
from drenchbook.workbook.pictures import converted, printed, sheets_of_pages
from drenchbook.workbook.recalculating import recalculate
from tests.formulas.libreoffice import need_libreoffice, recalculated
from tests.workbook.packages import loaded, part_of, with_text

LEAST_LETTERS = 7.3  # points, of nine letters in ten: 8 less what the foot, a page in SI units and rounding take
STALE = "RESULTS DO NOT BELONG TO THESE INPUTS"
BANNERS = {"Cover": "B4", "Schedule": "A5", "Cases": "A4", "Results": "A3"}


@pytest.fixture(autouse=True)
def program():
    return need_libreoffice()


def opened(path, folder):
    """The workbook as the program shows it when a person opens it: saved again without being recalculated."""
    folder.mkdir(exist_ok=True)
    return loaded(converted(path, folder, "xlsx", ".xlsx"), data_only=True)


def test_results_that_belong_carry_no_banner_and_keep_their_values(lab, tmp_path):
    ours, theirs = loaded(lab, data_only=True), opened(lab, tmp_path / "opened")
    for sheet, cell in BANNERS.items():
        assert not theirs[sheet][cell].value, sheet
    for row in range(10, 15):
        for column in range(1, 36):
            one, other = (book["Schedule"].cell(row, column).value for book in (ours, theirs))
            assert (one or "") == (other or "") or one == pytest.approx(other), (row, column)


def test_an_input_that_was_changed_shows_the_banner_on_every_result_sheet(lab, tmp_path):
    with_text(lab, part_of(lab, "Pipe runs"), b"<v>130</v>", b"<v>131</v>")
    theirs = opened(lab, tmp_path / "opened")
    for sheet, cell in BANNERS.items():
        assert STALE in str(theirs[sheet][cell].value), sheet


def test_a_workbook_that_nothing_calculated_shows_the_banner(lab, tmp_path):
    book = loaded(lab)
    book.save(lab)
    theirs = opened(lab, tmp_path / "opened")
    for sheet, cell in BANNERS.items():
        assert "NOT CALCULATED" in str(theirs[sheet][cell].value), sheet
    verdicts = {theirs["Schedule"].cell(row, 2).value for row in range(10, 15)}
    assert verdicts == {"UNKNOWN"}


def test_the_fingerprint_is_the_same_number_as_in_the_headless_evaluator(lab, tmp_path):
    book = loaded(lab)
    sheet = book["Stations"]
    sheet["B12"], sheet["B13"] = "ü – ≥ 日本 \U0001d11e", datetime.datetime(2026, 3, 4)
    sheet["D12"], sheet["E12"], sheet["E13"] = "2,5", -1e-9, 1e12
    sheet["V12"] = True
    book.save(lab)
    ours = evaluate_workbook(loaded(lab), {"Check"}).values
    theirs = loaded(recalculated(lab, tmp_path), data_only=True)["Check"]
    for row in range(25, 36):
        assert theirs.cell(row, 3).value == pytest.approx(ours["Check", f"C{row}"], abs=1e-7), row
        assert theirs.cell(row, 4).value == ours["Check", f"D{row}"], row


def test_a_file_that_the_program_saved_is_recalculated(lab, tmp_path):
    """Without the add-in the program stores names it does not know as errors; the results come back all the same."""
    built = loaded(lab, data_only=True)["Schedule"]
    folder = tmp_path / "saved"
    folder.mkdir()
    saved = converted(lab, folder, "xlsx", ".xlsx")
    done = recalculate(saved)
    assert done.formula_lines == (), "LibreOffice keeps every formula and the names of their places"
    assert done.problems == ()
    theirs = loaded(saved, data_only=True)["Schedule"]
    for row in range(10, 15):
        for column in range(1, 36):
            one, other = (sheet.cell(row, column).value for sheet in (built, theirs))
            assert (one or "") == (other or "") or one == pytest.approx(other), (row, column)
    once = saved.read_bytes()
    assert recalculate(saved).cells == 0
    assert saved.read_bytes() == once


def letter_sizes(pdf):
    """Of each page, the size of every letter, in points: the program that lists them gives three dots a point."""
    run = ["pdftohtml", "-xml", "-i", "-zoom", "3", "-stdout", str(pdf)]
    text = subprocess.run(run, check=True, capture_output=True).stdout.decode("utf-8", errors="replace")
    fonts, pages = {}, []
    for page in text.split("<page ")[1:]:
        fonts |= {name: float(size) / 3 for name, size in re.findall(r'<fontspec id="(\d+)" size="(-?\d+)"', page)}
        found = re.findall(r'<text [^>]*font="(\d+)">(.*?)</text>', page, re.DOTALL)
        letters = [(fonts[font], len(re.sub(r"<[^>]*>|\s", "", words))) for font, words in found]
        pages.append([size for size, number in letters for _ in range(number)])
    return pages


@pytest.mark.parametrize("fixture", ["lab", "blank_si"])
def test_pages_hold_their_words(fixture, request, tmp_path):
    pdf = printed(request.getfixturevalue(fixture), tmp_path)
    pages = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True).stdout.decode()
    text = " ".join(pages.split())
    for spoilt in ("###", "#NAME?", "#REF!", "#VALUE!", "#N/A", "Err:", STALE):
        assert spoilt not in text, spoilt
    for words in (
        "Emergency shower and eyewash schedule",
        "Operating cases",
        "Design aid",
        "Pipe runs",
        f"template {TEMPLATE_VERSION}",
    ):
        assert words in text, words
    if fixture == "lab":
        assert "4 FAIL 0 UNKNOWN 1 WARN 0 OK" in text
        assert "SAMPLE DATA in 6 rows: not for issue" in text
        unmarked = [number for number, page in enumerate(pages.split("\f")[:-1], start=1) if "SAMPLE" not in page]
        assert unmarked == [], "SAMPLE stands on every printed page"
    smallest = {}
    for sheet, sizes in zip(sheets_of_pages(pdf), letter_sizes(pdf), strict=True):
        smallest[sheet] = min(smallest.get(sheet, 99), sorted(sizes)[len(sizes) // 10])
    for sheet in (
        "Cover",
        "Project",
        "Limits",
        "Pipe runs",
        "Stations",
        "Schedule",
        "Cases",
        "Worked path",
        "Field test",
    ):
        assert smallest[sheet] >= LEAST_LETTERS, (sheet, smallest[sheet])
