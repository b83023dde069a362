"""Where everything stands in a workbook: sheets, rows, columns and names that building, reading and patching share."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from drenchbook.result_tables import CASES_SHOWN, FIELD_LINE, RESULT_TABLES, ResultColumn
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import PROJECT, STATIONS, TABLES, Column, Table

# Raised whenever an older workbook can no longer be read as it stands; older_templates.py then says what it had.
TEMPLATE_VERSION = 3
VERSION_NAME = "Template_version"

COVER, SCHEDULE, CASES, RESULTS, CAUTIONS_SHEET, CHECK = "Cover", "Schedule", "Cases", "Results", "Cautions", "Check"
WORKED_PATH, CHART_DATA, FIELD_TEST = "Worked path", "Chart data", "Field test"
WEEKLY, ANNUAL, REVIEW = "Weekly record", "Annual record", "Review record"
SHEETS = (COVER, *(table.sheet for table in TABLES), SCHEDULE, CASES, WORKED_PATH, FIELD_TEST, WEEKLY, ANNUAL, REVIEW,
          RESULTS, CAUTIONS_SHEET, CHECK, CHART_DATA)  # fmt: skip

# Input sheets, 0-based rows: title, how to fill, counter, group band, thin blank row, then the one heading row.
TITLE_ROW, HOW_ROW, COUNT_ROW, GROUP_ROW, THIN_ROW, HEADING_ROW = range(6)
MOST_SETS = 200  # lines of sets on the Schedule; the JSON report holds every set
BELOW_THE_LINE = 1000  # rows under the dark line that are watched for stray entries


def cell_name(row: int, column: int, fixed: bool = True) -> str:
    """Name of a cell by its 0-based row and column.

    >>> cell_name(5, 27), cell_name(0, 0, fixed=False)
    ('$AB$6', 'A1')
    """
    letters, number = "", column + 1
    while number:
        number, letter = divmod(number - 1, 26)
        letters = chr(65 + letter) + letters
    mark = "$" if fixed else ""
    return f"{mark}{letters}{mark}{row + 1}"


def range_name(first_row: int, first_column: int, last_row: int, last_column: int) -> str:
    """Name of a range by its 0-based corners, both included.

    >>> range_name(5, 0, 9, 0)
    '$A$6:$A$10'
    """
    return f"{cell_name(first_row, first_column)}:{cell_name(last_row, last_column)}"


def line_below(heading: str) -> str:
    """Expression of the line on which a formula stands below a heading cell; the same text on every line.

    >>> line_below("$A$6")
    'ROW()-ROW($A$6)'
    """
    return f"ROW()-ROW({heading})"


def on_sheet(sheet: str, reference: str) -> str:
    """A reference on another sheet.

    >>> on_sheet("Pipe runs", "$A$1"), on_sheet("Events", "$A$1")
    ("'Pipe runs'!$A$1", 'Events!$A$1')
    """
    return f"'{sheet}'!{reference}" if " " in sheet else f"{sheet}!{reference}"


@dataclass(frozen=True)
class InputArea:
    """A table on its sheet: one heading row, rows for data, a dark end row. Rows and columns are 0-based."""

    table: Table
    rows: int  # data and spare rows between the heading and the dark line

    @property
    def first(self) -> int:
        """Row of the first data row."""
        return HEADING_ROW + 1

    @property
    def end(self) -> int:
        """Row of the dark line."""
        return self.first + self.rows

    @property
    def width(self) -> int:
        """Number of columns."""
        return 4 if self.table is PROJECT else len(self.table.columns)

    def position(self, name: str) -> int:
        """Position of a column by its name."""
        return [column.name for column in self.table.columns].index(name)

    def block(self) -> str:
        """The whole table, from the heading row to the dark line."""
        return on_sheet(self.table.sheet, range_name(HEADING_ROW, 0, self.end, self.width - 1))

    def headings(self) -> str:
        """The heading row."""
        return on_sheet(self.table.sheet, range_name(HEADING_ROW, 0, HEADING_ROW, self.width - 1))

    def first_heading(self) -> str:
        """The first cell of the heading row."""
        return on_sheet(self.table.sheet, cell_name(HEADING_ROW, 0))

    def column(self, position: int) -> str:
        """One column from the heading row to the dark line: rows inserted anywhere between are inside."""
        return on_sheet(self.table.sheet, range_name(HEADING_ROW, position, self.end, position))

    def named(self, name: str) -> str:
        """The column of that name, from the heading row to the dark line."""
        return self.column(self.position(name))


def project_lines() -> tuple[str | Column, ...]:
    """The rows of the Project sheet: the name of a group, or a setting."""
    lines: list[str | Column] = []
    for column in PROJECT.columns:
        if column.group and column.group not in lines:
            lines.append(column.group)
        lines.append(column)
    return tuple(lines)


def setting_cell(name: str) -> str:
    """Cell of a setting's value on the Project sheet."""
    row = next(n for n, line in enumerate(project_lines()) if isinstance(line, Column) and line.name == name)
    return on_sheet(PROJECT.sheet, cell_name(HEADING_ROW + 1 + row, 1))


@dataclass(frozen=True)
class ResultArea:
    """One array on the Results sheet: title, names, headings and units above it, two helper columns beside it."""

    function: str
    top: int  # row of the title
    rows: int
    more: str = ""  # arguments after the tables

    COLUMN = 2  # first column of every array; the helper columns stand before it

    @property
    def columns(self) -> tuple[ResultColumn, ...]:
        """The columns of the array."""
        return RESULT_TABLES[self.function]

    @property
    def first(self) -> int:
        """Row of the first array row."""
        return self.top + 4

    @property
    def last(self) -> int:
        """Row of the last array row."""
        return self.first + self.rows - 1

    def helper(self, number: int) -> str:
        """A helper column: 0 the key as text, 1 the verdict as text."""
        return on_sheet(RESULTS, range_name(self.first, number, self.last, number))

    def named(self, name: str) -> str:
        """One column of the array."""
        position = self.COLUMN + [column.name for column in self.columns].index(name)
        return on_sheet(RESULTS, range_name(self.first, position, self.last, position))

    def cell(self) -> str:
        """First cell of the array."""
        return on_sheet(RESULTS, cell_name(self.first, self.COLUMN))


@dataclass(frozen=True)
class Layout:
    """Every area of one workbook."""

    inputs: Mapping[str, InputArea]
    results: Mapping[str, ResultArea]


def spare_rows(table: Table, used: int) -> int:
    """Rows left free for more: the table's own number, fewer of the tall station rows once some are filled.

    >>> from drenchbook.site_tables import STATIONS
    >>> spare_rows(STATIONS, 0), spare_rows(STATIONS, 5)
    (12, 3)
    """
    return 3 + used // 10 if table is STATIONS and used else table.spare_rows


def path_rows_of(site: Site) -> int:
    """Lines that the longest worked path of a site may take: runs, their devices and rises, then mixing and storage."""
    above: dict[str, list[str]] = {}
    for run in site.pipe_runs:
        above.setdefault(tag_key(run.tag), []).append(tag_key(run.fed_from))
    for source in site.hot_water_sources:
        above.setdefault(tag_key(source.tag), []).append(tag_key(source.fed_from))
    for valve in site.mixing_valves:
        above.setdefault(tag_key(valve.tag), []).extend((tag_key(valve.cold_run), tag_key(valve.hot_run)))
    longest = 0
    for station in site.stations:
        waiting, seen = [tag_key(station.fed_from)], set[str]()
        while waiting:
            tag = waiting.pop()
            if tag not in seen:
                seen.add(tag)
                waiting += above.get(tag, ())
        longest = max(longest, len(seen))
    return 24 + 3 * longest + len(site.line_devices)


# Cells of the Worked path that say which station and case the functions are asked for.
PATH_ASKED_ROW, PATH_STATION_COLUMN, PATH_CASE_COLUMN = 5, 19, 20
CHOSEN_PATH, WORST_PATH, CHOICES = "DRENCH_PATH", "DRENCH_PATH of the least margin", "DRENCH_CHOICES"
CHOICES_SHOWN = 40
FIELD, CORRECTION = "DRENCH_FIELD", "DRENCH_CORRECTION"
# Field test: cells of the day's measurements, downward; first line of outlets; rows from the last to the valves.
FIELD_DAY_ROW, FIELD_DAY_COLUMN, FIELD_FIRST, FIELD_GAP = 4, 7, 16, 4
FIELD_ASKED = (0, 2, 3, 4, 5, 1)  # measurements of the day that the functions take, in their order
COURSE, COURSE_ROWS = "DRENCH_COURSE", 68  # rows of fifteen minutes, one to spare
COURSE_STATION_ROW, COURSE_STATION_COLUMN = 4, 15  # cell of Chart data: whose temperatures are drawn


def field_lines(site: Site) -> int:
    """Lines of the Field test for outlets: one for each, and some to spare."""
    slots = ("outlet_1", "outlet_2", "outlet_3")
    used = sum(getattr(station, slot) is not None for station in site.stations for slot in slots)
    return used + 5 if used else 20


def field_valve_lines(site: Site) -> int:
    """Lines of the Field test for valves."""
    return len(site.mixing_valves) + 2


def field_valve_row(site: Site, number: int) -> int:
    """Row of a valve's line on the Field test; -1 is the last."""
    lines = field_valve_lines(site)
    return FIELD_FIRST + field_lines(site) + FIELD_GAP - 1 + (number if number >= 0 else lines + number)


def _field_asked(site: Site) -> tuple[str, str, int]:
    """What the functions of the Field test take: the day, the readings, and how many lines these are."""
    cells = (on_sheet(FIELD_TEST, cell_name(FIELD_DAY_ROW + number, FIELD_DAY_COLUMN)) for number in FIELD_ASKED)
    day = ",".join(f'IF({cell}="","",{cell})' for cell in cells)  # an empty cell is not a zero
    last = field_valve_row(site, -1)
    readings = on_sheet(FIELD_TEST, range_name(FIELD_FIRST - 1, 0, last, len(FIELD_LINE) - 1))
    return day, readings, last - FIELD_FIRST + 1


def sets_of(site: Site) -> int:
    """How many sets of two or more stations the events of a site allow, at most."""
    count = 0
    for event in site.events:
        if isinstance(event.stations, tuple) and isinstance(event.users, float):
            stations, users = len(event.stations), min(int(event.users), 6)
            count += sum(math.comb(stations, together) for together in range(2, users + 1))
    return count


def layout_of(site: Site, spare: int | None = None, cases_shown: int = CASES_SHOWN) -> Layout:
    """The areas of a workbook that holds a site."""
    inputs = {}
    for table in TABLES:
        used = len(project_lines()) if table is PROJECT else len(site.rows(table))
        free = spare_rows(table, used) if spare is None else max(spare, 1)
        inputs[table.key] = InputArea(table, used if table is PROJECT else used + free)
    wholes = ((3, site.supplies), (4, site.hot_water_sources), (1, site.mixing_valves), (2, site.events))
    station, case = (on_sheet(WORKED_PATH, cell_name(PATH_ASKED_ROW, column))
                     for column in (PATH_STATION_COLUMN, PATH_CASE_COLUMN))  # fmt: skip
    hot_station = on_sheet(CHART_DATA, cell_name(COURSE_STATION_ROW, COURSE_STATION_COLUMN))
    day, readings, lines = _field_asked(site)
    path = path_rows_of(site)
    asked: dict[str, tuple[int, str]] = {
        "DRENCH_SCHEDULE": (inputs[STATIONS.key].rows, ""),
        "DRENCH_SETS": (min(sets_of(site) + 3, MOST_SETS), "{rows}"),
        "DRENCH_SITE": (max(12, 4 + sum(lines * len(rows) for lines, rows in wholes)), "{rows}"),
        "DRENCH_CASES": (cases_shown, '"",{rows}'),
        CHOSEN_PATH: (path, f"{station},{case},{{rows}}"),
        WORST_PATH: (path, '"","",{rows}'),
        CHOICES: (CHOICES_SHOWN, f"{station},{{rows}}"),
        FIELD: (field_lines(site) + field_valve_lines(site), f'{day},{{rows}},"{site.units}"'),
        CORRECTION: (lines, f'{day},{readings},{{rows}},"{site.units}"'),
        COURSE: (COURSE_ROWS, f'{hot_station},"","",{{rows}}'),
    }
    results, top = {}, 4
    for name, (rows, more) in asked.items():
        results[name] = ResultArea(name.split()[0], top, rows, more.format(rows=rows))
        top = results[name].last + 3
    return Layout(inputs, results)


# The Check sheet, 0-based rows: facts one a line, then a line for each table, then the lists side by side.
FACTS_ROW, TABLES_ROW, LISTS_ROW = 3, 24, 40


def count_cell(table: Table) -> str:
    """Cell of the Check sheet with the number of rows that are filled in a table."""
    return on_sheet(CHECK, cell_name(TABLES_ROW + TABLES.index(table), 1))


def last_cell(table: Table) -> str:
    """Cell of the Check sheet with the line of the last filled row of a table: blank rows before it count."""
    return on_sheet(CHECK, cell_name(TABLES_ROW + TABLES.index(table), 4))
