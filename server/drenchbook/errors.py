"""The errors we raise on purpose. Each one is a sentence about what the user gave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# Exit codes of the commands: all OK or WARN; something is FAIL or UNKNOWN; a file or an argument cannot be used.
ALL_MET, NOT_MET, UNUSABLE = 0, 1, 2


def shown(value: object) -> str:
    """Write a value as the user would recognise it.

    >>> shown(2.50), shown("3/8"), shown(None)
    ('2.5', '"3/8"', 'blank')
    """
    if value is None or value == "":
        return "blank"
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int) and abs(value) >= 10**300:  # more than a number of a cell can be
        return "an endless row of digits"
    if isinstance(value, (int, float)):
        return f"{value:.10g}"
    return f'"{value}"'


class InputError(ValueError):
    """An input that cannot be used: which one, what it was, what would be accepted."""

    def __init__(self, name: str, value: object, wanted: str, unit: str = ""):
        self.name, self.value, self.wanted, self.unit = name, value, wanted, unit
        super().__init__(f"{name} = {shown(value)}{' ' + unit if unit else ''}: {wanted}")


@dataclass(frozen=True)
class Problem:
    """One thing in a file that cannot be used, and where it stands."""

    sheet: str
    cell: str  # "B7" in a workbook, "pipe_runs[3].size" in a site file
    value: object
    remedy: str
    breaks_file: bool = False  # headings, tags, networks: nothing can be calculated
    row_tag: str = ""

    def __str__(self) -> str:
        file = self.sheet in ("file", "workbook", "site file")
        place = self.sheet if file else f"sheet {self.sheet}"
        place += f", {self.cell}" if self.cell else ""
        tag = f" ({self.row_tag})" if self.row_tag else ""
        told = self.value is None and (not self.cell or "blank" in self.remedy)
        return f"{place}{tag}: {'' if told else shown(self.value) + ': '}{self.remedy}"


class SiteError(ValueError):
    """A file that cannot be used, with every problem found in it."""

    def __init__(self, source: str, problems: Sequence[Problem]):
        self.source, self.problems = source, tuple(problems)
        super().__init__("\n".join(f"{source}: {problem}" for problem in problems))
