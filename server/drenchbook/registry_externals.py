"""The registry's functions as the formula language calls them: sentences become error values that keep the sentence."""

from __future__ import annotations

from typing import Any

from drenchbook.errors import InputError, SiteError
from drenchbook.formula_values import VALUE, ErrorValue
from drenchbook.worksheet_functions import FUNCTIONS, WorksheetFunction


class RegistryExternal:
    """One registry row as a function of the formula language."""

    def __init__(self, function: WorksheetFunction):
        self.function = function

    def takes_grid(self, place: int) -> bool:
        """Whether an argument is a whole table."""
        takes = self.function.takes
        return place < len(takes) and takes[place].kind == "table"

    def __call__(self, at: Any, *values: Any) -> Any:
        """The answer; a sentence about an argument becomes #VALUE! with that sentence."""
        try:
            return self.function(*(_cells(value) for value in values))
        except (InputError, SiteError) as error:
            return ErrorValue(VALUE.code, str(error))


def _cells(value: Any) -> Any:
    """A grid as lists, its error cells as the text that they show; any other value as it is."""
    if not hasattr(value, "rows"):
        return value
    return [[cell.code if cell.__class__ is ErrorValue else cell for cell in row] for row in value.rows()]


EXTERNALS = {function.name: RegistryExternal(function) for function in FUNCTIONS}
