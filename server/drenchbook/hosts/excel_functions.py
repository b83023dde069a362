"""The registry as functions of xlwings: the one file that imports it, and the module that Excel's Python process loads.

Only the free part of xlwings is used: its decorators here, its module and its process in the workbook. Each function
takes what a cell or a range holds and gives a number, text, rows, or an error value as its text ("#VALUE!"), which the
workbook's own module makes a true error value; the sentence behind it is DRENCH_REASON's. Nothing is raised: Excel
would show the text of an exception as if it were an answer.
"""

from __future__ import annotations

import datetime
import inspect
import logging
import math
from collections.abc import Callable
from typing import Any

import xlwings

from drenchbook.errors import InputError, SiteError
from drenchbook.hosts.excel_module import CATEGORY, argument_help, function_help
from drenchbook.worksheet_functions import FUNCTIONS, WorksheetFunction

log = logging.getLogger("drenchbook.excel")


def answer(function: WorksheetFunction, cells: tuple[Any, ...]) -> Any:
    """What Excel is given for one call: the answer, or an error value as its text.

    >>> velocity = next(f for f in FUNCTIONS if f.name == "DRENCH_PIPE_VELOCITY")
    >>> answer(velocity, (-2.0, "copper L", "1", None))
    '#VALUE!'
    """
    try:
        value = function(*map(_without_midnight, cells))
    except (InputError, SiteError):
        return "#VALUE!"
    except Exception as error:
        # A fault of ours; its text may hold what the user typed, so only its kind is logged.
        log.error("%s: %s", function.name, type(error).__name__)
        return "#N/A"
    return "#NUM!" if isinstance(value, float) and not math.isfinite(value) else value


def _single(cells: Any) -> Any:
    """One value as itself, where xlwings hands over rows; a range keeps its rows and columns."""
    rows = isinstance(cells, (list, tuple)) and len(cells) == 1 and isinstance(cells[0], (list, tuple))
    return cells[0][0] if rows and len(cells[0]) == 1 else cells


def _without_midnight(cell: Any) -> Any:
    """A cell, or the cells of a range, with a date where COM hands over the first moment of that day."""
    if isinstance(cell, (list, tuple)):
        return [_without_midnight(each) for each in cell]
    if isinstance(cell, datetime.datetime) and cell.time() == datetime.time():
        return cell.date()
    return cell


def excel_function(function: WorksheetFunction) -> Callable[..., Any]:
    """One registry row as xlwings takes it: by signature, with what each argument and the answer are."""

    tables = {place for place, argument in enumerate(function.takes) if argument.kind == "table"}

    def called(*cells: Any) -> Any:
        return answer(function, tuple(cell if at in tables else _single(cell) for at, cell in enumerate(cells)))

    kinds = inspect.Parameter
    called.__name__ = called.__qualname__ = function.name
    called.__doc__ = function_help(function)
    called.__signature__ = inspect.Signature([  # type: ignore[attr-defined]
        kinds(argument.name, kinds.VAR_POSITIONAL if argument.repeats else kinds.POSITIONAL_OR_KEYWORD,
              default=None if argument.optional else kinds.empty)
        for argument in function.takes
    ])  # fmt: skip
    decorated: Any = called
    for argument in function.takes:
        decorated = xlwings.arg(argument.name, doc=argument_help(argument), ndim=2, err_to_str=True)(decorated)
    return xlwings.func(category=CATEGORY)(xlwings.ret()(decorated))  # last: each of the others resets the category


for _function in FUNCTIONS:
    globals()[_function.name] = excel_function(_function)
