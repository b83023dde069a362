"""One table of truth: the same digits and the same refusals from every host, and a blank is never a zero."""

import json

import openpyxl
import pytest
from openpyxl.utils import get_column_letter

from drenchbook.formula_values import ErrorValue
from drenchbook.hosts.server_batch import answer_batch
from drenchbook.workbook.evaluator import evaluate_workbook
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS
from tests.hosts.excel_stand_in import run_calls
from tests.hosts.truth_cases import BLANK_CELL, SPOILED, examples, invalid, told, valid
from tests.hosts.web_script import asking
from tests.printed import printed

CASES = [*examples(), *valid(), *invalid()]
SHEET = "Cases"
ANSWER, REASON, FIRST = 1, 2, 4  # columns of the workbook: the call, its reason, the cells that it refers to
# The program's own word for a call with too many arguments or the like; it saves #VALUE! for it.
OWN_WORDS = {"Err:504": "#VALUE!", "Err:502": "#VALUE!", "#VALUE!": "#VALUE!"}


def number_of(value):
    """A number by its fifteen digits: what a spreadsheet program prints of it."""
    return f"{value + 0.0:.15g}"


def outcome(value):
    """What a host answered: a number by its digits, a text, or an error by its code."""
    if isinstance(value, ErrorValue):
        return "error", value.code
    if isinstance(value, dict):
        return "error", OWN_WORDS.get(value["error"], value["error"])
    return ("number", number_of(value)) if isinstance(value, (int, float)) else ("text", value)


# Hosts: each takes the cases and gives the outcome and the sentence of each -------------------------------------------


def by_registry(cases):
    """The registry itself, which every host must repeat."""
    found = []
    for case in cases:
        sentence = told(case)
        answer = FUNCTION_BY_NAME[case.function](*case.plain()) if sentence == "OK" else ErrorValue("#VALUE!")
        found.append((outcome(answer), sentence))
    return found


def by_batch(cases, ask):
    """Batches over HTTP, or to what answers them."""
    calls = [(case.function, case.plain()) for case in cases]
    calls += [("DRENCH_REASON", (case.function, *case.plain())) for case in cases]
    answers = [outcome(a.get("value", a)) for a in ask(*calls)]
    return [(answer, sentence[1]) for answer, sentence in zip(answers, answers[len(cases) :], strict=False)]


def ask_here(*calls):
    body = json.dumps({"calls": [{"function": name, "arguments": list(given)} for name, given in calls]})
    return json.loads(answer_batch(body.encode()))["answers"]


def typed(argument):
    """An argument as it is typed into a formula."""
    if argument is None:
        return ""
    if isinstance(argument, bool):
        return str(argument).upper()
    return '"' + argument.replace('"', '""') + '"' if isinstance(argument, str) else repr(argument)


def write_workbook(cases, path):
    """A workbook in which each case stands as a formula, in the plain spelling, with its reason beside it."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = SHEET
    for row, case in enumerate(cases, start=1):
        words = []
        for place, argument in enumerate(case.arguments):
            if not case.by_cell[place]:
                words.append(typed(argument))
                continue
            words.append(f"{get_column_letter(FIRST + place)}{row}")
            if argument is not BLANK_CELL:
                cell = sheet.cell(row, FIRST + place)
                cell.value = '=""' if argument == "" else argument
                if isinstance(argument, str) and argument:
                    cell.data_type = "s"
        sheet.cell(row, ANSWER).value = f"={case.function}({','.join(words)})"
        given = ",".join([f'"{case.function}"', *words])
        sheet.cell(row, REASON).value = f"=DRENCH_REASON({given})"
    book.save(path)


def by_evaluator(cases, path):
    """The headless evaluator over the workbook."""
    values = evaluate_workbook(openpyxl.load_workbook(path)).values
    return [(outcome(values[SHEET, f"A{row}"]), values[SHEET, f"B{row}"]) for row in range(1, len(cases) + 1)]


def by_calc(cases, path, calc):
    """LibreOffice Calc over the same workbook."""
    document = calc.open(path)
    calc.ask("calculate", document=document)
    rows = calc.everything(document)[SHEET]
    calc.close(document)
    return [(outcome(row[ANSWER - 1]), row[REASON - 1]) for row in rows[: len(cases)]]


# The table ------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def workbook(tmp_path_factory):
    path = tmp_path_factory.mktemp("truth") / "cases.xlsx"
    write_workbook(CASES, path)
    return path


@pytest.fixture(scope="module")
def truth():
    return by_registry(CASES)


def compare(host, truth, shown):
    wrong = []
    for case, (answer, sentence), (theirs, their_sentence) in zip(CASES, truth, shown, strict=True):
        if (theirs, their_sentence) != (answer, sentence):
            wrong.append(f"{case.kind}: {case.function}{case.plain()}: {answer} {sentence!r}, "
                         f"{host} {theirs} {their_sentence!r}")  # fmt: skip
    assert not wrong, f"{len(wrong)} of {len(CASES)} differ\n" + "\n".join(wrong[:20])


def test_there_are_enough_cases_of_every_kind(truth):
    kinds = [case.kind for case in CASES]
    assert kinds.count("valid") == 200
    assert sum(kinds.count(kind) for kind in SPOILED) == 200
    assert all(kinds.count(kind) >= 5 for kind in SPOILED)
    assert {case.function for case in CASES} >= {f.name for f in FUNCTIONS if f.examples}
    for case, (answer, sentence) in zip(CASES, truth, strict=True):
        assert (answer[0] == "error") == (case.kind in SPOILED) == (sentence != "OK"), case


def test_the_registry_gives_the_printed_answers(truth):
    printed_answers = [example.answer for function in FUNCTIONS for example in function.examples]
    for (answer, _), expected in zip(truth, printed_answers, strict=False):
        assert (float(answer[1]) == printed(expected)) if answer[0] == "number" else answer[1] == expected


def test_the_batch_repeats_it(truth):
    compare("batch", truth, by_batch(CASES, ask_here))


def test_the_server_repeats_it(truth, server_of_calc):
    compare("HTTP", truth, by_batch(CASES, server_of_calc.ask))


def test_the_headless_evaluator_repeats_it(truth, workbook):
    compare("evaluator", truth, by_evaluator(CASES, workbook))


def test_excel_repeats_it(truth):
    """The rendered module and the Python process behind it, with Excel itself and COM as stand-ins."""

    def ask(*calls):
        return run_calls([{"function": name, "arguments": list(given)} for name, given in calls])

    compare("Excel", truth, by_batch(CASES, ask))


def test_the_web_script_repeats_it(truth, server_of_calc, tmp_path):
    """The script of the web add-in in Node, with the spreadsheet program as a stand-in."""
    compare("web", truth, by_batch(CASES, asking(tmp_path, server_of_calc.address)))


def test_libreoffice_repeats_it(truth, workbook, calc):
    compare("LibreOffice", truth, by_calc(CASES, workbook, calc))
