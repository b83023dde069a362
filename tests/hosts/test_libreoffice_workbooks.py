"""Every sample and template in LibreOffice Calc: each computed cell is what the headless evaluator gives."""

from pathlib import Path

import pytest
from openpyxl.utils.cell import coordinate_to_tuple

from drenchbook.convert_command import convert
from drenchbook.formula_values import ErrorValue
from drenchbook.hosts.respelled_workbook import respell
from drenchbook.result_tables import FIELD_SECONDS
from drenchbook.site_file import read_site_file
from drenchbook.workbook.building import write_workbook
from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.workbook.field_test_columns import PLACE
from drenchbook.workbook.layout import FIELD_DAY_COLUMN, FIELD_DAY_ROW, FIELD_FIRST, FIELD_TEST, cell_name
from drenchbook.workbook.opening import load
from tests.hosts.calc import converted
from tests.workbook.packages import loaded

ROOT = Path(__file__).parents[2]
WORKBOOKS = sorted([*ROOT.glob("samples/*.xlsx"), *ROOT.glob("workbook_templates/*.xlsx")])


def differences(path, shown):
    """Cells where the program's value is not the evaluator's; `shown` maps sheets to rows of cells."""
    ours = evaluate_workbook(load(path))
    assert not ours.problems
    found = []
    for (sheet, cell), value in ours.values.items():
        row, column = coordinate_to_tuple(cell)
        rows = shown[sheet]
        theirs = rows[row - 1][column - 1] if row <= len(rows) and column <= len(rows[row - 1]) else ""
        if not same(value, theirs):
            found.append(f"{sheet}!{cell}: {value!r}, the program {theirs!r}")
    return found, len(ours.values)


def same(ours, theirs):
    """The same text or error; the same number to the fifteenth digit, the last that the program prints."""
    if isinstance(ours, ErrorValue):
        return isinstance(theirs, dict) and theirs["error"] == ours.code
    if isinstance(ours, float) and isinstance(theirs, (int, float)):
        return f"{ours:.15g}" == f"{theirs:.15g}"
    if isinstance(ours, bool):
        return theirs == ours
    return (ours or "") == (theirs or "")


@pytest.fixture
def opened(calc):
    documents = []

    def open_file(path):
        documents.append(calc.open(path))
        return documents[-1]

    yield open_file
    for document in documents:
        calc.close(document)


def test_there_are_samples_and_templates():
    assert len(WORKBOOKS) >= 3


@pytest.mark.parametrize("path", WORKBOOKS, ids=lambda path: path.stem)
def test_each_computed_cell_is_the_evaluators(path, calc, opened):
    document = opened(path)
    calc.ask("calculate", document=document)
    found, cells = differences(path, calc.everything(document))
    assert not found, "\n".join(found[:20])
    assert cells > 500


def test_loading_alone_calculates_and_changes_nothing(calc, opened):
    """Plain names are bound on loading, and the document still counts as unchanged, its charts apart."""
    path = ROOT / "samples" / "laboratory.xlsx"
    document = opened(path)
    found, _ = differences(path, calc.everything(document))
    assert not found, "\n".join(found[:20])
    assert calc.ask("is_modified", document=document) is False


@pytest.fixture
def changed(calc, opened, tmp_path):
    """Do something to a sample in the program, save it there, restore the plain names; the file, and what was shown."""

    def done(path, *actions):
        document = opened(path)
        for action, given in actions:
            calc.everything(document, "Schedule")  # whatever hangs on the cells is up to date before
            calc.ask(action, document=document, **given)
        shown = calc.everything(document)  # nobody asked for a recalculation
        saved, plain = tmp_path / "saved.xlsx", tmp_path / "plain.xlsx"
        calc.save(document, saved)
        assert respell(saved, plain, "plain") >= 5
        return plain, shown

    return done


SAMPLE = ROOT / "samples" / "laboratory.xlsx"
INSERT = ("insert_rows", {"sheet": "Stations", "row": 8, "count": 1})
INSERT_PIPES = ("insert_rows", {"sheet": "Pipe runs", "row": 20, "count": 2})
SORT = ("sort", {"sheet": "Stations", "area": "A7:Y12", "column": 0, "ascending": False})


@pytest.mark.parametrize(
    "actions", [(), (INSERT, INSERT_PIPES), (SORT,), (INSERT, SORT)], ids=["saved", "inserted", "sorted", "both"]
)
def test_saved_there_and_restored_the_evaluator_gives_what_was_shown(actions, changed):
    plain, shown = changed(SAMPLE, *actions)
    assert "DRENCH." not in formulas(plain)
    assert "DRENCH_SCHEDULE(" in formulas(plain)
    found, cells = differences(plain, shown)
    assert not found, "\n".join(found[:20])
    assert cells > 500


def formulas(path):
    book = loaded(path)
    told = []
    for sheet in book:
        for row in sheet.iter_rows():
            told += [str(getattr(cell.value, "text", cell.value)) for cell in row if cell.data_type == "f"]
    return "\n".join(told)


def test_edited_there_the_results_are_those_of_the_new_inputs(changed, calc, opened):
    """A longer pipe: other numbers than before, and the evaluator's for the same edit."""
    document = opened(SAMPLE)
    before = calc.everything(document)
    plain, shown = changed(SAMPLE, ("put", {"sheet": "Stations", "cell": "E8", "value": 20}))
    assert shown["Schedule"] != before["Schedule"]
    found, _ = differences(plain, shown)
    assert not found, "\n".join(found[:20])


@pytest.mark.parametrize(
    ("cell", "typed", "word"),
    [
        ("E8", None, "is blank"),
        ("E8", "2,5", "type 2.5 with a decimal point"),
        ("A8", "L1", "L1"),
        ("E8", 0, ""),
        ("E8", {"date": 46146}, "a date stands here"),
        ("E8", "=1/0", "#DIV/0!"),
    ],
    ids=["blank", "text", "tag twice", "zero", "date", "error"],
)
def test_an_input_that_cannot_be_used_is_told_alike(cell, typed, word, changed):
    """A blank elevation is no elevation of zero: the station is not known, and the sentence is the evaluator's."""
    plain, shown = changed(SAMPLE, ("put", {"sheet": "Stations", "cell": cell, "value": typed}))
    found, _ = differences(plain, shown)
    assert not found, "\n".join(found[:20])
    verdicts = [row[1] for row in shown["Schedule"] if len(str(row[0])) == 2]
    assert ("UNKNOWN" in verdicts or not verdicts) == bool(word)  # no station has a row where the tags are no use
    assert word in "\n".join(str(cell) for row in shown["Results"] for cell in row)


def test_an_input_that_is_a_formula_is_followed(changed):
    """An elevation that is worked out on another sheet: the results follow the cell that was typed."""
    typed = [("put", {"sheet": "Cautions", "cell": "Z1", "value": number}) for number in (1, 2.5)]
    formula = ("put", {"sheet": "Stations", "cell": "E8", "value": "=10+$Cautions.Z1*4"})
    plain, shown = changed(SAMPLE, typed[0], formula, typed[1])
    found, _ = differences(plain, shown)
    assert not found, "\n".join(found[:20])
    assert shown["Stations"][7][4] == 20


def test_in_the_other_unit_system(changed, tmp_path):
    metric = tmp_path / "metric.xlsx"
    convert(SAMPLE, metric, units="SI")
    plain, shown = changed(metric)
    found, _ = differences(plain, shown)
    assert not found, "\n".join(found[:20])


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """The laboratory as it is drawn today."""
    path = tmp_path_factory.mktemp("drawn") / "laboratory.xlsx"
    write_workbook(read_site_file(ROOT / "samples" / "laboratory.toml").site, path, cases_shown=3)
    return path


def field_cell(row, column):
    return {"sheet": FIELD_TEST, "cell": cell_name(row, column, fixed=False)}


DAY_TYPED = [("put", {**field_cell(FIELD_DAY_ROW + number, FIELD_DAY_COLUMN), "value": value})
             for number, value in enumerate((66, 66, 42, 130, 0.5, 1, 0.1, 0.3))]  # fmt: skip
# L1's shower: 5 gal in 17 s at 38.3 psi, where its model gives 22.6 gpm
READ = {"static": 62, "flowing": 38.3, "volume": 5, "seconds": 17, "pattern": "Y", "loss_test": "Y",
        **{f"t{s}": 70 if s < 45 else 85 for s in FIELD_SECONDS}}  # fmt: skip
READ_TYPED = [("put", {**field_cell(FIELD_FIRST, PLACE[name]), "value": value}) for name, value in READ.items()]


def field_line(shown, row=FIELD_FIRST):
    return {name: shown[FIELD_TEST][row][place] for name, place in PLACE.items()}


def test_readings_of_a_field_test_are_judged_as_they_are_typed(drawn, changed):
    """5 · 60 / 17 = 17.65 gpm: 17.65 / √38.3 · √30 = 15.62 gpm at the rated pressure, by hand."""
    plain, shown = changed(drawn, *DAY_TYPED, *READ_TYPED)
    found, _ = differences(plain, shown)
    assert not found, "\n".join(found[:20])
    line = field_line(shown)
    assert (line["flow_verdict"], line["result"]) == ("FAIL", "FAIL")
    assert (line["sheet"], line["row"], line["column"]) == ("Outlet models", "SH-ORIFICE", "Rated flow")
    assert line["now"] == 20
    assert line["suggested"] == pytest.approx(15.62, abs=0.01)


def test_the_windows_follow_the_day_and_readings_stay_with_their_station(drawn, changed):
    """Less pressure, less expected; with Stations sorted the other way round the line still is L1's."""
    warm = ("put", {**field_cell(FIELD_DAY_ROW + 1, FIELD_DAY_COLUMN), "value": 50})
    _, first = changed(drawn, *DAY_TYPED, *READ_TYPED)
    plain, shown = changed(drawn, *DAY_TYPED, *READ_TYPED, warm, SORT)
    found, _ = differences(plain, shown)
    assert not found, "\n".join(found[:20])
    before, after = field_line(first), field_line(shown)
    assert (after["tag"], after["outlet"], after["static"]) == ("L1", "shower", 62)
    assert after["flow_least"] < before["flow_least"]
    assert after["flow_most"] == pytest.approx(before["flow_most"], rel=1e-9)


def test_converted_without_a_window(server_of_calc, tmp_path):
    """The same in one go, as a build machine does it: the numbers are in the file that it writes."""
    made = converted(SAMPLE, tmp_path, server_of_calc.state)
    book = loaded(made, data_only=True)
    shown = {sheet.title: [["" if cell is None else cell for cell in row] for row in sheet.iter_rows(values_only=True)]
             for sheet in book}  # fmt: skip
    ours = evaluate_workbook(load(SAMPLE)).values
    numbers = 0
    for (sheet, cell), value in ours.items():
        row, column = coordinate_to_tuple(cell)
        theirs = shown[sheet][row - 1][column - 1]
        if isinstance(value, float) and isinstance(theirs, (int, float)) and not isinstance(theirs, bool):
            numbers += 1  # the file has fifteen digits, the last one rounded up from halves
            assert theirs == pytest.approx(value, rel=6e-15, abs=0), (sheet, cell)
    assert numbers > 2000
