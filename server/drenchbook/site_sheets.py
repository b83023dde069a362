"""A site as grids of cells and back: what a sheet, an array function and a site file have in common.

A grid is a list of rows; the first row holds the headings, "name" and unit with a line break between them. Columns are
found by heading, in any order; columns of the user's own are left alone.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from drenchbook.errors import Problem
from drenchbook.published.criteria import default_limits
from drenchbook.site_cells import BLANK, is_blank, parse_cell, tidy, typed_form
from drenchbook.site_model import ROW_MODELS, Missing, Site, tag_key
from drenchbook.site_tables import HOT_WATER_SOURCES, LIMITS, PLANT_MAIN, PROJECT, TABLES, Column, Table

Grid = Sequence[Sequence[Any]]
KnownRows = dict[tuple[Any, ...], Any]
Lacked = frozenset[tuple[str, str]]  # table key and column name
PROJECT_HEADINGS = ("Setting", "Value", "Unit", "What it means")


@dataclass(frozen=True)
class Corner:
    """Where the heading row of a grid begins in its sheet: 1-based row and column."""

    row: int = 1
    column: int = 1

    def cell(self, row: int, column: int) -> str:
        """Name of the cell at a 0-based row and column of the grid.

        >>> Corner(row=6, column=1).cell(1, 27)
        'AB7'
        """
        return f"{column_letters(self.column + column)}{self.row + row}"


@functools.cache
def column_letters(number: int) -> str:
    """The letters of a column of a sheet by its 1-based number."""
    letters = ""
    while number:
        number, letter = divmod(number - 1, 26)
        letters = chr(65 + letter) + letters
    return letters


SHEET_CORNER = Corner(row=6, column=1)  # where the heading row of every input sheet stands in a workbook of ours


@dataclass(frozen=True)
class ReadSite:
    """A site as read, with every problem found on the way and the place of each row."""

    site: Site
    problems: tuple[Problem, ...]
    places: Mapping[str, tuple[Mapping[str, str], ...]]  # table key → for each row, column name → cell

    def place(self, table: Table, row: int, column: str) -> str:
        """Name of the cell of a row of the model."""
        rows = self.places.get(table.key, ())
        return rows[row].get(column, "") if row < len(rows) else ""


def heading_of(column: Column, units: str) -> str:
    """The text of a heading cell: the name and, on a line of its own, the unit."""
    unit = column.unit(units)
    return f"{column.heading}\n{unit}" if unit else column.heading


class _Reader:
    """Collects rows, places and problems while the grids of one site are read."""

    def __init__(self, corners: Mapping[str, Corner], known: KnownRows | None, lacked: Lacked):
        self.corners, self.known, self.lacked = corners, known, lacked
        self.problems: list[Problem] = []
        self.places: dict[str, tuple[Mapping[str, str], ...]] = {}
        self.units = "US"

    def refuse(self, table: Table, cell: str, value: Any, remedy: str) -> None:
        self.problems.append(Problem(table.sheet, cell, value, remedy, breaks_file=True))

    def value(self, table: Table, column: Column, typed: Any, cell: str, tag: str) -> Any:
        """One parsed cell; an unusable one is noted as a problem."""
        if isinstance(typed, str) and typed == "":
            typed = None
        if typed is None and column.need == "never":
            return None
        parsed = parse_cell(column, typed, self.units, f"sheet {table.sheet}, {cell}")
        if isinstance(parsed, Missing) and (column.need == "always" or parsed.typed is not None):
            remedy = f"{column.heading}: {parsed.reason}"
            self.problems.append(Problem(table.sheet, cell, parsed.typed, remedy, row_tag=tag))
        return parsed

    def project(self, grid: Grid) -> Any:
        """The Project sheet: one setting a row."""
        corner = self.corners.get(PROJECT.key, Corner())
        typed: dict[str, tuple[Any, str]] = {}
        names = {column.heading.casefold(): column for column in PROJECT.columns}
        for number, row in enumerate(grid):
            column = names.get(tidy(str(row[0])).casefold()) if row and row[0] is not None else None
            if column is None or number == 0:
                continue
            cell = corner.cell(number, 1)
            if column.name in typed:
                self.refuse(PROJECT, cell, row[0], "this setting stands twice; keep one row of it")
            typed[column.name] = (row[1] if len(row) > 1 else None, cell)
        for column in PROJECT.columns:
            if column.name not in typed and (PROJECT.key, column.name) not in self.lacked:
                self.refuse(PROJECT, "", column.heading, "this setting is missing; restore its row")
        self._read_units(typed)
        self._check_project_units(grid, names, corner)
        values = {
            column.name: self.value(PROJECT, column, *typed.get(column.name, (None, "")), "")
            for column in PROJECT.columns
        }
        where = {name: cell for name, (_, cell) in typed.items()}
        self.places[PROJECT.key] = (where,)
        return ROW_MODELS[PROJECT.key](**self._in_order(PROJECT, values, where, ""))

    def _in_order(self, table: Table, values: dict[str, Any], where: Mapping[str, str], tag: str) -> dict[str, Any]:
        """The values, without those of a least number that is more than the greatest: nobody knows which is meant."""
        for low, high in table.rising:
            least, most = values.get(low), values.get(high)
            if not (isinstance(least, float) and isinstance(most, float)) or least <= most:
                continue
            for name, value, other, words in ((low, least, high, "more"), (high, most, low, "less")):
                beside = f"{table.column(other).heading} of {most if name == low else least:.10g}"
                unit = table.column(name).unit(self.units)
                reason = (
                    f"{value:.10g}{' ' + unit if unit else ''} is {words} than {beside}; mend the one that is wrong"
                )
                values[name] = Missing(reason, value, f"sheet {table.sheet}, {where.get(name, '')}")
                remedy = f"{table.column(name).heading}: {reason}"
                self.problems.append(Problem(table.sheet, where.get(name, ""), value, remedy, row_tag=tag))
        return values

    def _read_units(self, typed: Mapping[str, tuple[Any, str]]) -> None:
        units, cell = typed.get("units", (None, ""))
        if isinstance(units, str) and tidy(units).upper() in ("US", "SI"):
            self.units = tidy(units).upper()
        elif "units" in typed:
            self.refuse(PROJECT, cell, units, 'Unit system must be "US" or "SI"; only the command convert changes it')

    def _check_project_units(self, grid: Grid, names: Mapping[str, Column], corner: Corner) -> None:
        for number, row in enumerate(grid):
            column = names.get(tidy(str(row[0])).casefold()) if row and row[0] is not None else None
            if column is None or len(row) < 3 or is_blank(row[2]) or number == 0:
                continue
            unit = column.unit(self.units)
            if tidy(str(row[2])) != unit:
                self.refuse(
                    PROJECT,
                    corner.cell(number, 2),
                    row[2],
                    f"the unit of {column.heading} is {unit or 'left blank'} in a {self.units} workbook; "
                    "only the command convert changes units",
                )

    def columns(self, table: Table, grid: Grid, corner: Corner) -> dict[int, Column]:
        """Which column of the grid is which column of the table."""
        found: dict[int, Column] = {}
        seen: set[str] = set()
        by_heading = {column.heading.casefold(): column for column in table.columns}
        for position, heading in enumerate(grid[0] if grid else ()):
            if is_blank(heading):
                continue
            lines = [tidy(line) for line in str(heading).replace("\r", "").split("\n") if tidy(line)]
            column = by_heading.get(lines[0].casefold()) if lines else None
            if column is None:
                continue
            cell = corner.cell(0, position)
            if column.name in seen:
                self.refuse(table, cell, lines[0], "this heading stands twice; keep one column of it")
                continue
            unit, typed = column.unit(self.units), " ".join(lines[1:])
            if typed != unit:
                self.refuse(
                    table,
                    cell,
                    typed or None,
                    f"the unit of {column.heading} must be {unit or 'left out'} in a {self.units} workbook; "
                    "only the command convert changes units",
                )
            found[position] = column
            seen.add(column.name)
        for column in table.columns:
            if column.name not in seen and (table.key, column.name) not in self.lacked:
                self.refuse(
                    table,
                    corner.cell(0, 0),
                    column.heading,
                    "the column with this heading is missing; restore the heading or the column",
                )
        return found

    def rows(self, table: Table, grid: Grid) -> tuple[Any, ...]:
        """Every row of a table that holds anything in one of the table's columns."""
        corner = self.corners.get(table.key, Corner())
        columns = self.columns(table, grid, corner)
        key = next((position for position, column in columns.items() if column.name == table.key_column), -1)
        rows, places = [], []
        for number, cells in enumerate(grid[1:], start=1):
            typed = {position: cells[position] if position < len(cells) else None for position in columns}
            if all(is_blank(value) for value in typed.values()):
                continue
            tag = str(typed[key]) if typed.get(key) else ""
            where = {column.name: corner.cell(number, position) for position, column in columns.items()}
            rows.append(self.row(table, columns, typed, where, tag))
            places.append(where)
        self.places[table.key] = tuple(places)
        return tuple(rows)

    def row(
        self, table: Table, columns: Mapping[int, Column], typed: Mapping[int, Any], where: Mapping[str, str], tag: str
    ) -> Any:
        """The model of one row of typed cells; one that is known, in its place, need not be read again."""
        before = len(self.problems)
        same: tuple[Any, ...] = ()
        if self.known is not None:
            cells = typed.values()  # 1 and TRUE are equal, but not of one type
            same = (table.key, self.units, *where.items(), *cells, *map(type, cells))
            if same in self.known:
                return self.known[same]
        values = {
            column.name: self.value(table, column, typed[position], where[column.name], tag)
            for position, column in columns.items()
        }
        for column in table.columns if self.lacked else ():
            if column.name not in values:  # a blank cell, for the checks to ask for
                values[column.name] = self.value(table, column, None, "", tag)
        row = ROW_MODELS[table.key](**self._in_order(table, values, where, tag))
        if table is HOT_WATER_SOURCES and row.kind == PLANT_MAIN:  # it has its own pressure: nothing feeds it
            self.problems[before:] = [
                one for one in self.problems[before:] if one.value is not None or one.cell != where.get("fed_from")
            ]
        if self.known is not None and len(self.problems) == before:
            self.known[same] = row
        return row


def read_grids(
    grids: Mapping[str, Grid],
    corners: Mapping[str, Corner] | None = None,
    known: KnownRows | None = None,
    lacked: Lacked = frozenset(),
) -> ReadSite:
    """The site that the grids hold, table key by table key, with every problem found.

    A table without a grid is a problem that breaks the file. `corners` say where each grid begins in its sheet, so that
    sentences name the cell. `known` keeps the rows of earlier readings that had no problem: one that is typed alike
    in the same place need not be read again. `lacked` are columns that an older template did not have: blank cells.
    """
    reader = _Reader(corners or {}, known, lacked)
    tables: dict[str, Any] = {}
    for table in TABLES:
        grid = grids.get(table.key)
        if grid is None:
            reader.refuse(
                table, "", table.sheet, f"this table is missing; restore its sheet and its name {table.range_name}"
            )
        said = len(reader.problems)
        tables[table.key] = reader.project(grid or ()) if table is PROJECT else reader.rows(table, grid or ())
        if grid is None:  # one sentence is enough: what the table holds is missing with it
            del reader.problems[said:]
    return ReadSite(Site(**tables), tuple(reader.problems), reader.places)


def grid_of(table: Table, site: Site) -> list[list[Any]]:
    """The rows of a table as a person would type them, without the heading row; cells in the order of the columns."""
    return [[typed_form(column, getattr(row, column.name)) for column in table.columns] for row in site.rows(table)]


def full_grids(site: Site) -> dict[str, list[list[Any]]]:
    """Every table as a grid with its heading row: what the array functions take."""
    grids: dict[str, list[list[Any]]] = {}
    for table in TABLES:
        if table is PROJECT:
            values = [typed_form(column, getattr(site.project, column.name)) for column in table.columns]
            grids[table.key] = [list(PROJECT_HEADINGS)] + [
                [column.heading, value, column.unit(site.units), column.help]
                for column, value in zip(table.columns, values, strict=True)
            ]
        else:
            grids[table.key] = [[heading_of(column, site.units) for column in table.columns], *grid_of(table, site)]
    return grids


def default_limit_rows(criteria: str) -> tuple[Any, ...]:
    """The Limits rows that a new site of a criteria set begins with."""
    model = ROW_MODELS[LIMITS.key]
    return tuple(
        model(
            id=limit.id,
            meaning=limit.meaning,
            value=Missing(BLANK) if limit.value is None else limit.value,
            unit=limit.unit,
            source=limit.source,
            basis=limit.basis,
        )
        for limit in default_limits(criteria)
    )


def blank_site(units: str, criteria: str) -> Site:
    """A site with its unit system, criteria set and limits, and nothing else."""
    values: dict[str, Any] = {column.name: parse_cell(column, None, units) for column in PROJECT.columns}
    values.update(units=units, criteria_set=criteria)
    return Site(project=ROW_MODELS[PROJECT.key](**values), limits=default_limit_rows(criteria))


def with_default_limits(site: Site, given: Sequence[Any]) -> tuple[Any, ...]:
    """The default limits of the site's criteria set, each replaced by the given row of the same id, then the others."""
    criteria = site.project.criteria_set
    if isinstance(criteria, Missing) or criteria is None:
        return tuple(given)
    by_id = {tag_key(row.id): row for row in given}
    rows = [by_id.pop(tag_key(row.id), row) for row in default_limit_rows(criteria)]
    return (*rows, *by_id.values())
