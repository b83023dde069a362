"""The page that describes every worksheet function, written from the registry so that it cannot lag behind it."""

from __future__ import annotations

from typing import Any

from drenchbook.errors import shown
from drenchbook.published.sources import SOURCES
from drenchbook.units import SI, US
from drenchbook.worksheet_arguments import Argument
from drenchbook.worksheet_functions import FUNCTIONS, TABLE, TEXT, WorksheetFunction

HEAD = """# Worksheet functions

Written by the program from its registry; a test compares this page with it.

Arguments in square brackets may be left out. The last argument of a number function is the unit system, `"US"` (which
is what a blank stands for) or `"SI"`. A blank argument is never a zero. A wrong argument gives an error value, never a
number; `DRENCH_REASON` and the command `evaluate` tell the sentence.
"""


def reference_markdown() -> str:
    """The page, one section per function.

    >>> "## DRENCH_PIPE_LOSS" in reference_markdown()
    True
    """
    return "\n".join([HEAD, *(_section(function) for function in FUNCTIONS), _sources()])


def signature(function: WorksheetFunction) -> str:
    """The function as it is typed, optional arguments in brackets."""
    names = [f"[{a.name}]" if a.optional else f"…{a.name}…" if a.repeats else a.name for a in function.takes]
    return f"{function.name}({', '.join(names)})"


def example_formula(function: WorksheetFunction, cells: tuple[Any, ...]) -> str:
    """An example as a formula.

    >>> example_formula(FUNCTIONS[0], (10, 140, None, True, ""))
    '=DRENCH_MIXED_TEMPERATURE(10,140,,TRUE,)'
    """
    typed = ["" if cell is None or cell == "" else shown(cell) for cell in cells]
    return f"={function.name}({','.join(typed)})"


def _section(function: WorksheetFunction) -> str:
    lines = [f"## {function.name}", "", f"{function.help}.", "", f"`{signature(function)}`", ""]
    if function.takes:
        lines += ["| argument | US | SI | what it is | if left out |", "|---|---|---|---|---|"]
        lines += [_row(argument) for argument in function.takes] + [""]
    lines += [f"Gives {_answer(function)}. Source: {', '.join(function.sources)}.", ""]
    for example in function.examples:
        unit = function.unit(example.cells)
        answer = f"{example.answer} {unit}" if unit else example.answer
        lines.append(f"- `{example_formula(function, example.cells)}` gives {answer} ({example.how})")
    return "\n".join([*lines, ""]) if function.examples else "\n".join(lines)


def _row(argument: Argument) -> str:
    left_out = "refused" if not argument.optional else _default(argument)
    return f"| {argument.name} | {argument.unit(US)} | {argument.unit(SI)} | {argument.help} | {left_out} |"


def _default(argument: Argument) -> str:
    if not isinstance(argument.default, tuple):
        return shown(argument.default) if argument.default is not None else "–"
    us, si = (f"{argument.default_in(system):.4g} {argument.unit(system)}".removesuffix(" –") for system in (US, SI))
    return us if us == si else f"{us}, {si}"


def _answer(function: WorksheetFunction) -> str:
    if function.gives == TEXT:
        return "text"
    if function.gives == TABLE:
        return "an array"
    us, si = function.unit(), function.unit(tuple(SI if a.kind == "units" else None for a in function.takes))
    return f"a number in {us}, in SI units {si}" if us != si else f"a number in {us}" if us else "a plain number"


def _sources() -> str:
    used = dict.fromkeys(key for function in FUNCTIONS for key in function.sources)
    lines = ["## Sources", "", "| key | what it is | how we know it |", "|---|---|---|"]
    return "\n".join([*lines, *(f"| {key} | {SOURCES[key].title} | {SOURCES[key].how_known} |" for key in used), ""])


if __name__ == "__main__":
    print(reference_markdown(), end="")
