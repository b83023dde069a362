"""The command `evaluate`: what it prints, where, and how it ends."""

import io
import subprocess
import sys

import pytest

from drenchbook.evaluate_command import run

LOSS = '=DRENCH_PIPE_LOSS(20,"copper L","1",100,"none",60)'


def evaluate(*arguments, given=""):
    out, err = io.StringIO(), io.StringIO()
    return run(arguments, io.StringIO(given), out, err), out.getvalue(), err.getvalue()


def test_the_number_comes_first_then_the_unit():
    """9.85 psi: Colebrook-White by hand in test_hand_calculations."""
    code, out, err = evaluate(LOSS)
    number, unit = out.split()
    assert (code, unit, err) == (0, "psi", "")
    assert float(number) == pytest.approx(9.85, abs=0.02)


def test_the_unit_is_that_of_the_answer():
    assert evaluate('=DRENCH_INSIDE_DIAMETER("copper L","1")')[1] == "1.025 in\n"
    assert evaluate('=DRENCH_INSIDE_DIAMETER("copper L","1","SI")')[1] == "26.035 mm\n"
    assert evaluate("=DRENCH_STEM_POSITION(10,0.4,50,50,11)")[1] == "0.4\n"
    assert evaluate('=DRENCH_INSIDE_DIAMETER("copper L","1")*2')[1] == "2.05\n"
    assert evaluate('=drench.inside_diameter("copper L","1")')[1] == "1.025 in\n"


def test_several_formulas_give_several_lines():
    assert evaluate("=1+1", '="a"&"b"', "=1=1", "={1,2;3,4}") == (0, "2\nab\nTRUE\n{1,2;3,4}\n", "")


@pytest.mark.parametrize(("formula", "sentence"), [
    ('=DRENCH_PIPE_VELOCITY(-2,"copper L","1")', "flow = -2 gpm: must be zero or more"),
    ('=DRENCH_PIPE_VELOCITY(,"copper L","1")', "flow = blank: is blank; give the flow in gpm"),
    ('=DRENCH_PIPE_VELOCITY("2,5","copper L","1")', 'flow = "2,5" gpm: is text, not a number'),
    ('=DRENCH_PIPE_VELOCITY(TRUE,"copper L","1")', "flow = TRUE: is a truth value, not a number"),
    ('=DRENCH_PIPE_VELOCITY(20,"copper L",46085)', "size = 46085: is a date"),
    ("=1+", 'formula = "=1+": cannot be read'),
    ("=FOO(1)", "FOO is not a function that we evaluate"),
    ("=A1", "there are no cells here; type the value itself"),
    ("=1/0", "a division by zero"),
])  # fmt: skip
def test_a_wrong_argument_ends_with_2_and_a_sentence_and_no_number(formula, sentence):
    code, out, err = evaluate(formula)
    assert (code, out) == (2, "")
    assert err.startswith(sentence)
    assert err.count("\n") == 1


def test_good_answers_are_printed_beside_a_wrong_one():
    code, out, err = evaluate("=1+1", "=1/0", "=2+2")
    assert (code, out, err) == (2, "2\n4\n", "a division by zero\n")


def test_lines_give_one_answer_each():
    given = f'{LOSS}\n\n=1/0\n=DRENCH_PIPE_VELOCITY(-2,"copper L","1")\n=1+1\n'
    code, out, err = evaluate("-", given=given)
    lines = out.split("\n")
    assert (code, err) == (2, "")
    assert lines[0].endswith(" psi")
    assert lines[1:] == ["", "#DIV/0! a division by zero", "#VALUE! flow = -2 gpm: must be zero or more", "2", ""]


def test_all_good_lines_end_with_0():
    assert evaluate("-", given="=1\n=2") == (0, "1\n2\n", "")


def test_reason_answers_with_the_sentence_and_ends_well():
    assert evaluate('=DRENCH_REASON("DRENCH_PIPE_VELOCITY",-2,"copper L","1")') == (
        0, "flow = -2 gpm: must be zero or more\n", "")  # fmt: skip


def test_no_formula_is_told_how_to():
    code, out, err = evaluate()
    assert (code, out) == (2, "")
    assert "give a formula" in err


def test_each_line_is_answered_before_the_next_is_asked():
    """Another program talks to it over pipes: it must not wait for the end of its input."""
    command = [sys.executable, "-m", "drenchbook.evaluate_command", "-"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin
        assert process.stdout
        for line, answer in (("=1+1", "2"), ("=2+2", "4")):
            process.stdin.write(line + "\n")
            process.stdin.flush()
            assert process.stdout.readline() == answer + "\n"
        process.stdin.close()
    assert process.returncode == 0


def test_starting_up_loads_nothing_heavy():
    """Seconds count when a script calls it often: no model, no table library, no spreadsheet library."""
    heavy = ("pydantic", "pint", "pandas", "openpyxl", "xlsxwriter", "scipy")
    program = f"""
import sys
from drenchbook.evaluate_command import run
run(["=DRENCH_STATUS()"])
print([name for name in {heavy} if name in sys.modules])
"""
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[1] == "[]"
