"""The array functions: from the tables of a workbook, as ranges, to the rows of a result table.

The four functions of one recalculation get the same tables; the site is read and solved once for all of them.
"""

from __future__ import annotations

import datetime
import threading
from collections.abc import Callable, Sequence
from typing import Any

from drenchbook.checks import judge
from drenchbook.errors import SiteError
from drenchbook.field_day import DayOfTest
from drenchbook.report import Report
from drenchbook.result_tables import (
    CASE_COLUMNS,
    CHOICE_COLUMNS,
    CORRECTION_COLUMNS,
    COURSE_COLUMNS,
    FIELD_COLUMNS,
    NO_RESULT,
    PATH_COLUMNS,
    SCHEDULE_COLUMNS,
    SET_COLUMNS,
    SITE_COLUMNS,
    UNKNOWN,
    ResultColumn,
)
from drenchbook.site_cells import word_of
from drenchbook.site_rules import structural_problems
from drenchbook.site_sheets import SHEET_CORNER, Grid, KnownRows, ReadSite, read_grids
from drenchbook.site_tables import TABLES

Rows = list[list[Any]]
Columns = tuple[ResultColumn, ...]
MOST_ROWS = 50_000  # that are remembered from one reading to the next


def report_of(read: ReadSite, source: str) -> Report:
    """Judge a site as read. SiteError, with every problem, where the file's headings, tags or network are broken."""
    broken = [problem for problem in read.problems if problem.breaks_file] or structural_problems(read)
    if broken:
        others = [problem for problem in read.problems if not problem.breaks_file]
        raise SiteError(source, [*broken, *others])
    return Report(judge(read.site), read.problems)


class _LastReports:
    """The reports of the tables seen last: one recalculation asks four times for the same, several programs take turns.

    Each is made once: who asks for one that is being made waits for it.
    """

    def __init__(self, places: int = 4) -> None:
        self._places, self._lock = places, threading.Lock()
        self._reports: dict[Any, Report | SiteError] = {}
        self._rows: KnownRows = {}

    def of(self, grids: Sequence[Grid]) -> Report | SiteError:
        key = _contents(grids)
        with self._lock:
            report = self._reports.pop(key, None)
            if report is None:
                tables = {table.key: grid for table, grid in zip(TABLES, grids, strict=True)}
                if len(self._rows) > MOST_ROWS:
                    self._rows.clear()
                read = read_grids(tables, {table.key: SHEET_CORNER for table in TABLES}, self._rows)
                try:
                    report = report_of(read, "tables")
                except SiteError as error:
                    report = error
            self._keep(key, report)
            return report

    def remember(self, grids: Sequence[Grid], report: Report | SiteError) -> None:
        with self._lock:
            self._keep(_contents(grids), report)

    def forget(self) -> None:
        with self._lock:
            self._reports.clear()
            self._rows.clear()

    def _keep(self, key: Any, report: Report | SiteError) -> None:
        self._reports[key] = report
        while len(self._reports) > self._places:
            del self._reports[next(iter(self._reports))]


_last = _LastReports()
remember = _last.remember  # a report that was made already, with the true places of its cells
forget = _last.forget  # every site that is still in memory


def _contents(grids: Sequence[Grid]) -> tuple[Any, ...]:
    """What the tables hold, blank rows aside: the same contents give the same results."""
    plain = ((tuple(map(_plain, row)) for row in grid) for grid in grids)
    return tuple(tuple(row for row in grid if any(cell is not None for cell in row)) for grid in plain)


def _plain(cell: Any) -> Any:
    if cell is None or cell == "":
        return None
    if isinstance(cell, datetime.datetime):
        return cell.date()
    if isinstance(cell, bool):
        return "truth", cell  # TRUE is not 1, though Python calls them equal
    return cell


def schedule_rows(grids: Sequence[Grid]) -> Rows:
    """DRENCH_SCHEDULE: one row for each row of the Stations range, blanks last."""
    return _rows(grids, Report.schedule_rows, SCHEDULE_COLUMNS, len(grids[-1]) - 1)


def set_rows(grids: Sequence[Grid], rows: float = 0) -> Rows:
    """DRENCH_SETS: one row for each set of stations that an event lets flow at once, padded to `rows`."""
    return _rows(grids, Report.set_rows, SET_COLUMNS, int(rows))


def case_rows(grids: Sequence[Grid], station: Any = "", rows: float = 0) -> Rows:
    """DRENCH_CASES: one row for each case, or the governing ones of a large site, padded to `rows`."""
    return _rows(grids, lambda report: report.case_rows(word_of(station)), CASE_COLUMNS, int(rows))


def site_rows(grids: Sequence[Grid], rows: float = 0) -> Rows:
    """DRENCH_SITE: one row for each site line, the worst first, padded to `rows`."""
    return _rows(grids, Report.site_rows, SITE_COLUMNS, int(rows))


def path_rows(grids: Sequence[Grid], station: Any = "", case: Any = "", rows: float = 0) -> Rows:
    """DRENCH_PATH: one row for each step from supply to outlet in one case, padded to `rows`."""
    return _rows(grids, lambda report: report.path_rows(word_of(station), word_of(case)), PATH_COLUMNS, int(rows))


def course_rows(
    grids: Sequence[Grid], station: Any = "", case: Any = "", mixed_fraction: float | None = None, rows: float = 0
) -> Rows:
    """DRENCH_COURSE: one row for each time of fifteen minutes in one case, padded to `rows`."""
    asked = word_of(station), word_of(case), mixed_fraction
    return _rows(grids, lambda report: report.course_rows(*asked), COURSE_COLUMNS, int(rows))


def choice_rows(grids: Sequence[Grid], station: Any = "", rows: float = 0) -> Rows:
    """DRENCH_CHOICES: what may be chosen for the path of a station, padded to `rows`."""
    return _rows(grids, lambda report: report.choice_rows(word_of(station)), CHOICE_COLUMNS, int(rows))


def field_rows(grids: Sequence[Grid], rows: float = 0, **measured: float | None) -> Rows:
    """DRENCH_FIELD: what a test should find at each outlet and valve on a day, padded to `rows`."""
    day = DayOfTest(**measured)
    return _rows(grids, lambda report: report.field_rows(day), FIELD_COLUMNS, int(rows))


def correction_rows(
    grids: Sequence[Grid], readings: Grid | None = None, rows: float = 0, **measured: float | None
) -> Rows:
    """DRENCH_CORRECTION: which input to correct first, a row for each line of readings, padded to `rows`."""
    day = DayOfTest(**measured)
    return _rows(grids, lambda report: report.correction_rows(day, (readings or [])[1:]), CORRECTION_COLUMNS, int(rows))


def _rows(grids: Sequence[Grid], rows_of: Callable[[Report], Rows], columns: Columns, room: int) -> Rows:
    """The rows of a report, padded with empty text; a file that cannot be used gives UNKNOWN and the sentences.

    Where there are more rows than room, the last row says how many are not shown and how to make room.
    """
    report = _last.of(grids)
    if isinstance(report, Report):
        rows = rows_of(report)
    else:
        rows = [_words(str(problem), columns) for problem in report.problems]
    if room and len(rows) > room:
        left = f"and {len(rows) - room + 1} more rows: make room with drenchbook convert OLD.xlsx NEW.xlsx"
        rows = [*rows[: room - 1], _words(left, columns)]
    return rows + [[""] * len(columns) for _ in range(max(room, 1) - len(rows))]  # a range has a row at least


def _words(sentence: str, columns: Columns) -> list[Any]:
    """A row that is UNKNOWN and says why, in the columns for words that the table has."""
    words = {"verdict": UNKNOWN, "state": UNKNOWN, "message": sentence, "outlets": sentence, "marks": "",
             "step": sentence, "case": sentence, "kind": UNKNOWN, "asked": "",
             "sentence": sentence}  # fmt: skip
    if any(column.name == "message" for column in columns):
        del words["outlets"], words["case"]
    return [words.get(column.name, NO_RESULT) for column in columns]
