"""The site: one frozen model for each table, made from its description. No equations, no reading, no writing.

A field holds what a person typed, in the site's own unit system: text, number, True/False for Y/N, date, a tuple of
tags, or a tuple of curve points. A cell that cannot be used is a `Missing`, which says why and where; a cell left blank
where a blank means "none" is None. Nothing here turns a blank into a zero.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from typing import Any

from pydantic import BaseModel, ConfigDict, create_model

from drenchbook.site_tables import TABLES, Column, Table

Curve = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Missing:
    """A cell without a usable value: why, what was typed (kept, so that nothing is lost), and where."""

    reason: str
    typed: Any = None
    where: str = field(default="", compare=False)

    def __str__(self) -> str:
        return f"{self.where}: {self.reason}" if self.where else self.reason

    def __hash__(self) -> int:
        return hash(self.reason)  # what was typed may be a list, which has no hash


_TYPES: dict[str, Any] = {
    "text": str,
    "number": float,
    "choice": str,
    "yes_no": bool,
    "tag": str,
    "ref": str,
    "refs": tuple[str, ...],
    "size": str,
    "fittings": str,
    "curve": Curve,
    "date": datetime.date,
}


class Row(BaseModel):
    """One row of a table: cannot be wrong in kind, cannot change."""

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


def _field(column: Column) -> tuple[Any, None]:
    return (_TYPES[column.kind] | Missing | None, None)


def _row_model(table: Table) -> type[Row]:
    name = table.sheet.title().replace(" ", "")
    fields: dict[str, Any] = {column.name: _field(column) for column in table.columns}
    return create_model(name, __base__=Row, __doc__=f"{table.sheet}: {table.one_row}.", **fields)


ROW_MODELS: dict[str, Any] = {table.key: _row_model(table) for table in TABLES}


class Site(BaseModel):
    """Everything a site file or a workbook says, table by table, in row order."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    project: Any
    limits: tuple[Any, ...] = ()
    supplies: tuple[Any, ...] = ()
    hot_water_sources: tuple[Any, ...] = ()
    line_devices: tuple[Any, ...] = ()
    pipe_runs: tuple[Any, ...] = ()
    mixing_valves: tuple[Any, ...] = ()
    valve_models: tuple[Any, ...] = ()
    outlet_models: tuple[Any, ...] = ()
    events: tuple[Any, ...] = ()
    stations: tuple[Any, ...] = ()

    @property
    def units(self) -> str:
        """The unit system in which every number of the site is given: "US" or "SI"."""
        return str(self.project.units)

    def rows(self, table: Table) -> tuple[Any, ...]:
        """The rows of a table; the project is its one row."""
        rows = getattr(self, table.key)
        return rows if isinstance(rows, tuple) else (rows,)


def tag_key(tag: Any) -> str:
    """What two tags are compared by: no case, no stray spaces.

    >>> tag_key(" tr-l1\\u00a0") == tag_key("TR-L1")
    True
    """
    return " ".join(str(tag).split()).casefold() if tag is not None and not isinstance(tag, Missing) else ""
