"""Site files: a site as TOML text, with the same tables and columns as the workbook.

`[project]` holds the settings, `[[pipe_runs]]` and so on one row each; a key that is left out is a blank cell. Limits
that a file does not list are the defaults of its criteria set.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w

from drenchbook.errors import Problem, SiteError
from drenchbook.site_model import Site, tag_key
from drenchbook.site_sheets import (
    PROJECT_HEADINGS,
    Corner,
    ReadSite,
    grid_of,
    heading_of,
    read_grids,
    with_default_limits,
)
from drenchbook.site_tables import LIMITS, PROJECT, TABLE_BY_KEY, TABLES, Table


@dataclass(frozen=True)
class _Key(Corner):
    """The place of a value in a site file: "pipe_runs[3].size", counted from 1."""

    table: Table = PROJECT

    def cell(self, row: int, column: int) -> str:
        if self.table is PROJECT:
            return f"project.{PROJECT.columns[row - 1].name}" if row else "project"
        name = self.table.columns[column].name
        return f"{self.table.key}[{row}].{name}" if row else f"{self.table.key}.{name}"


def read_site_file(path: Path) -> ReadSite:
    """The site in a TOML file. SiteError when it is no TOML, or holds tables or keys that we do not know."""
    try:
        document = tomllib.loads(path.read_bytes().decode("utf-8"))
    except OSError as error:
        raise SiteError(
            str(path), [Problem("site file", "", None, f"cannot be opened: {error.strerror}", True)]
        ) from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SiteError(str(path), [Problem("site file", "", None, f"is not TOML text: {error}", True)]) from None
    return site_of_document(document, str(path))


def site_of_document(document: Mapping[str, Any], source: str) -> ReadSite:
    """The site of a parsed site file."""
    unknown = list(_unknown_keys(document))
    if unknown:
        raise SiteError(source, unknown)
    units = document.get("project", {}).get("units", "US")
    units = units.strip().upper() if isinstance(units, str) and units.strip().upper() in ("US", "SI") else "US"
    grids = {table.key: _grid(table, document.get(table.key), units) for table in TABLES}
    read = read_grids(grids, {table.key: _Key(table=table) for table in TABLES})
    twice = list(_limits_twice(read))
    if twice:
        raise SiteError(source, twice)
    limits = with_default_limits(read.site, read.site.limits)
    return ReadSite(read.site.model_copy(update={"limits": limits}), read.problems, read.places)


def _limits_twice(read: ReadSite) -> Iterator[Problem]:
    """A limit that stands in two rows: nobody knows which one holds."""
    seen: dict[str, str] = {}
    for number, row in enumerate(read.site.limits):
        key, cell = tag_key(row.id), read.place(LIMITS, number, "id")
        if key and key in seen:
            yield Problem(LIMITS.sheet, cell, row.id, f"this limit stands already in {seen[key]}; keep one row", True)
        seen.setdefault(key, cell)


def _grid(table: Table, rows: Any, units: str) -> list[list[Any]]:
    if table is PROJECT:
        values = rows or {}
        return [list(PROJECT_HEADINGS)] + [
            [column.heading, values.get(column.name), column.unit(units), ""] for column in table.columns
        ]
    headings: list[Any] = [heading_of(column, units) for column in table.columns]
    return [headings] + [[row.get(column.name) for column in table.columns] for row in rows or ()]


def _unknown_keys(document: Mapping[str, Any]) -> list[Problem]:
    problems = []
    for key, rows in document.items():
        table = TABLE_BY_KEY.get(key)
        if table is None:
            problems.append(
                Problem("site file", key, None, "is no table of a site" + _nearest(key, list(TABLE_BY_KEY)), True)
            )
            continue
        wanted = dict if table is PROJECT else list
        if not isinstance(rows, wanted) or not all(
            isinstance(row, dict) for row in ([rows] if table is PROJECT else rows)
        ):
            form = f"[{key}]" if table is PROJECT else f"[[{key}]]"
            problems.append(
                Problem("site file", key, None, f"must be written as {form} with a key for each column", True)
            )
            continue
        names = [column.name for column in table.columns]
        for number, row in enumerate([rows] if table is PROJECT else rows, start=1):
            place = key if table is PROJECT else f"{key}[{number}]"
            problems += [
                Problem(
                    "site file",
                    f"{place}.{name}",
                    row[name],
                    "is no column of this table" + _nearest(name, names),
                    True,
                )
                for name in row
                if name not in names
            ]
    return problems


def _nearest(word: str, words: list[str]) -> str:
    near = difflib.get_close_matches(word, words, 1)
    return f"; did you mean {near[0]}?" if near else "; the tables and columns are listed in README"


def site_document(site: Site) -> dict[str, Any]:
    """A site as the nested dictionary of its site file; blanks are left out."""
    document: dict[str, Any] = {}
    for table in TABLES:
        rows = [
            {column.name: cell for column, cell in zip(table.columns, row, strict=True) if cell is not None}
            for row in grid_of(table, site)
        ]
        document[table.key] = rows[0] if table is PROJECT else rows
    return {key: rows for key, rows in document.items() if rows}


def site_text(site: Site) -> str:
    """A site as the text of a site file; the same site gives the same text."""
    return tomli_w.dumps(site_document(site))
