"""Recalculate a workbook: evaluate the formulas that stand in it and put the values back, headless."""

from __future__ import annotations

import math
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from drenchbook.errors import Problem
from drenchbook.report import Report
from drenchbook.site_line import SiteLine
from drenchbook.site_model import Site
from drenchbook.site_tables import TABLES
from drenchbook.table_results import remember, report_of
from drenchbook.workbook.check_sheet import FINGERPRINT, STAMP, STATIONS_ON_SCHEDULE
from drenchbook.workbook.evaluator import Evaluation, evaluate_workbook
from drenchbook.workbook.fingerprint import TOLERANCE
from drenchbook.workbook.formula_places import formula_lines
from drenchbook.workbook.opening import damaged, load, place_of_name
from drenchbook.workbook.package import refuse_open_elsewhere, replace_file
from drenchbook.workbook.patching import held_values, patched
from drenchbook.workbook.reading import ReadWorkbook, cell_of_name, read_book


@dataclass(frozen=True)
class Recalculated:
    """What a recalculation found and did."""

    report: Report
    site: Site
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    stale: str  # a sentence where the results that stood in the file did not belong to its inputs
    cells: int  # computed cells that hold another value than before
    formula_lines: tuple[SiteLine, ...]  # DAT-6: cells that hold no formula where one belongs; they stay as they are


def recalculate(path: Path, out_path: Path | None = None, *, write: bool = True) -> Recalculated:
    """Evaluate a workbook and patch the values of its computed cells.

    Parameters
    ----------
    path : Path
        A workbook.
    out_path : Path, optional
        Where the recalculated workbook goes; the file itself where left out.
    write : bool
        False only compares: what stands in the file, and what would stand there.

    Returns
    -------
    Recalculated
        The judged site, problems, notes, and whether the old results were stale. SiteError, and nothing written, where
        the file or its network cannot be used.
    """
    target = out_path or path
    if write:
        refuse_open_elsewhere(target)
    book = load(path)
    held = _Held(path)
    read = read_book(book, path, _inputs(book, held))
    report = report_of(read.read, str(path))
    remember([read.grids[table.key] for table in TABLES], report)
    evaluation = evaluate_workbook(book, cached=held)
    try:
        done = patched(path, evaluation.values)
    except (ElementTree.ParseError, KeyError, zipfile.BadZipFile) as error:  # a part that only writing needs
        raise damaged(path, error) from None
    stale = _stale(read, evaluation, held, done.cells)
    if write:
        if done.content is not None:
            replace_file(target, done.content)
        elif target != path:
            replace_file(target, path.read_bytes())
    lost = (Problem(sheet, cell, None, "this cell of an array is missing in the file; draw the sheet anew with convert")
            for sheet, cell in done.without_place)  # fmt: skip
    problems = (*read.problems, *evaluation.problems, *lost)
    return Recalculated(report, read.site, problems, _notes(read, report, evaluation), stale, done.cells,
                        tuple(formula_lines(book)))  # fmt: skip


class _Held:
    """The values that the file holds, a sheet at a time, read when the first is asked for."""

    def __init__(self, path: Path):
        self.path = path
        self.sheets: dict[str, dict[str, Any]] = {}

    def __call__(self, sheet: str, cell: str) -> Any:
        if sheet not in self.sheets:
            self.sheets[sheet] = held_values(self.path, sheet)
        value = self.sheets[sheet].get(cell)
        return getattr(value, "code", value)


def _inputs(book: Any, held: _Held) -> Callable[[str, str], Any]:
    """Values of formulas that the user wrote in input cells."""
    found: dict[tuple[str, str], Any] = {}

    def value_of(sheet: str, cell: str) -> Any:
        if not found:
            found.update(evaluate_workbook(book, {table.sheet for table in TABLES}, held).values)
        return found.get((sheet, cell))

    return value_of


def _stale(read: ReadWorkbook, evaluation: Evaluation, held: _Held, cells: int) -> str:
    """Why the results that stood in the file do not count; "" where they do."""
    stamp, now = cell_of_name(read.book, STAMP), cell_of_name(read.book, FINGERPRINT)
    if stamp is None or now is None:
        return "The fingerprint of the inputs is missing in this workbook."
    before, inputs = held(*stamp), evaluation.values.get(now)
    if not isinstance(before, float):
        return "The workbook was never calculated."
    if not isinstance(inputs, float) or not math.isclose(before, inputs, rel_tol=0, abs_tol=TOLERANCE):
        return "The inputs changed after the last calculation."
    return f"{cells} stored values differ from what the inputs give." if cells else ""


def _notes(read: ReadWorkbook, report: Report, evaluation: Evaluation) -> tuple[str, ...]:
    """What a person should know who reads the printed schedule."""
    notes = [
        f"Sheet {place[0]} is protected: take the protection off to type into it (none of ours has a password)"
        for table in TABLES
        if (place := place_of_name(read.book, table.range_name)) and read.book[place[0]].protection.sheet
    ]
    stations, counted = len(report.judgement.site.stations), cell_of_name(read.book, STATIONS_ON_SCHEDULE)
    on_schedule = evaluation.values.get(counted) if counted else None
    if isinstance(on_schedule, float) and on_schedule < stations:
        notes.append(
            f"The Schedule sheet has room for {on_schedule:.0f} of {stations} stations. Make room: "
            "drenchbook convert OLD.xlsx NEW.xlsx"
        )
    return tuple(notes)
