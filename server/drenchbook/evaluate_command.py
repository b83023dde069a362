"""The command `evaluate`: formulas as arguments or one a line from standard input, answers on standard output."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Sequence
from typing import Any, TextIO

from drenchbook.errors import InputError
from drenchbook.formula_grammar import parsed
from drenchbook.formula_language import evaluated
from drenchbook.formula_values import ErrorValue, Grid, text
from drenchbook.registry_externals import EXTERNALS, RegistryExternal
from drenchbook.worksheet_functions import FUNCTION_BY_NAME

GOOD, WRONG = 0, 2  # exit codes
DIGITS = 10  # of a printed number: enough for a script, few enough to hide the last bit of a conversion
EXPLANATIONS = {"#DIV/0!": "a division by zero", "#NUM!": "no number comes out of these arguments",
                "#N/A": "nothing was found", "#NAME?": "a name that is not known",
                "#REF!": "there are no cells here; type the value itself",
                "#VALUE!": "a value of the wrong kind"}  # fmt: skip


def run(
    arguments: Sequence[str], given: TextIO | None = None, out: TextIO | None = None, err: TextIO | None = None
) -> int:
    """Evaluate formulas.

    Parameters
    ----------
    arguments : sequence of str
        Formulas, with or without the equals sign; a single "-" reads them from standard input. [-]
    given, out, err : text streams, optional
        Standard streams where left out. [-]

    Returns
    -------
    int
        0, or 2 where an answer is an error. [-]

    >>> run(['=DRENCH_OUTLET_FLOW(400, 80, 100, FALSE, "SI")'])
    160 L/min
    0
    """
    given, out, err = given or sys.stdin, out or sys.stdout, err or sys.stderr
    if list(arguments) == ["-"]:
        return _answer_lines(given, out)
    if not arguments:
        print("evaluate: give a formula, such as '=DRENCH_PIPE_VELOCITY(20,\"copper L\",\"1\")', or - to read "
              "them from standard input", file=err)  # fmt: skip
        return WRONG
    code = GOOD
    for formula in arguments:
        value, unit = answer(formula)
        if isinstance(value, ErrorValue):
            code = WRONG
            print(sentence(value), file=err)
        else:
            print(shown(value, unit), file=out)
    return code


def _answer_lines(given: Iterable[str], out: TextIO) -> int:
    """One answer a line, at once, so that another program can talk to this one; a blank line gives a blank line."""
    code = GOOD
    for line in given:
        if not line.strip():
            print(file=out, flush=True)
            continue
        value, unit = answer(line)
        if isinstance(value, ErrorValue):
            code = WRONG
            print(f"{value.code} {sentence(value)}", file=out, flush=True)
        else:
            print(shown(value, unit), file=out, flush=True)
    return code


def answer(formula: str) -> tuple[Any, str]:
    """The value of a formula, and its unit where the formula is one call of a registry function.

    >>> answer("=DRENCH_ELEVATION_LOSS(0)")
    (0.0, 'psi')
    """
    externals = dict(EXTERNALS)
    try:
        tree = parsed(formula)
    except InputError as error:
        return ErrorValue("#NAME?", str(error)), ""
    watch = None
    if tree[0] == "call" and tree[1] in FUNCTION_BY_NAME:
        watch = externals[tree[1]] = _Watched(FUNCTION_BY_NAME[tree[1]])
    value = evaluated(formula, externals)
    return value, watch.unit if watch else ""


class _Watched(RegistryExternal):
    """Remembers the unit of its last answer: the outermost call is answered last."""

    unit = ""

    def __call__(self, at: Any, *values: Any) -> Any:
        value = super().__call__(at, *values)
        self.unit = "" if isinstance(value, ErrorValue) else self.function.unit(values)
        return value


def shown(value: Any, unit: str = "") -> str:
    """An answer as one line: the number first, then its unit.

    >>> shown(1.0249999999999997, "in"), shown(True), shown("OK")
    ('1.025 in', 'TRUE', 'OK')
    """
    if isinstance(value, Grid):
        return "{" + ";".join(",".join(shown(cell) for cell in row) for row in value.rows()) + "}"
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return f"{value + 0.0:.{DIGITS}g}" + (f" {unit}" if unit else "")
    return str(value) if isinstance(value, ErrorValue) else text(value).replace("\n", "; ")


def sentence(error: ErrorValue) -> str:
    """Why there is no answer."""
    return (error.reason or EXPLANATIONS.get(error.code, error.code)).replace("\n", "; ")


if __name__ == "__main__":
    sys.exit(run(sys.argv[1:]))
