"""One row of a site read in SI for the network, with the sentences of its cells that cannot be used."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.errors import InputError
from drenchbook.network_arrays import NONE, NOT_SAID
from drenchbook.physics.mixing_valve import checked_valve_curve
from drenchbook.physics.supply import checked_curve
from drenchbook.physics.water import HIGHEST
from drenchbook.site_model import Missing, Site
from drenchbook.site_tables import Table
from drenchbook.units import from_si, to_si

Numbers: TypeAlias = np.ndarray[Any, Any]

ICE = 0.0  # [°C] no supply, heater or valve gives water below it


class CurveList:
    """The curves of a network in the order in which they were read, each with the name that a sentence gives it."""

    def __init__(self) -> None:
        self.names: list[str] = []
        self.points: list[tuple[Numbers, Numbers]] = []

    def new(self, name: str, curve: tuple[Numbers, Numbers] | None) -> int:
        """Its index, or NONE where there is no curve."""
        if curve is None:
            return NONE
        self.names.append(name)
        self.points.append(curve)
        return len(self.points) - 1


def power_of(cells: Cells) -> int:
    """Whether something needs power: YES, NO, or NOT_SAID where the cell is blank."""
    value = cells.row.needs_power
    return int(value) if isinstance(value, bool) else NOT_SAID


class Cells:
    """Reads the cells of one row in SI and keeps the sentences of those that cannot be used."""

    def __init__(self, site: Site, table: Table, row: Any):
        self.site, self.table, self.row = site, table, row
        self.missing: list[str] = []
        key = getattr(row, table.key_column, None) if table.key_column else None
        self.name = f"{table.sheet} {key}" if key is not None else table.sheet

    def say(self, column: str, reason: str) -> None:
        self.missing.append(f"{self.name}: {self.table.column(column).heading} {reason}")

    def value(self, column: str, optional: bool = False) -> Any:
        """The value as typed, or None; the sentence is kept unless a blank is allowed."""
        value = getattr(self.row, column)
        if isinstance(value, Missing):
            if not (optional and value.typed is None):
                self.missing.append(gap(self.table.key, self.row, column))
            return None
        if value is None and not optional:
            self.say(column, "is blank; it is needed, and a blank is not a zero")
        return value

    def number(self, column: str, optional: bool = False) -> float:
        """The number in SI, or not-a-number."""
        value = self.value(column, optional)
        if value is None:
            return np.nan
        unit = self.table.column(column).unit(self.site.units)
        return float(to_si(float(value), unit)) if unit else float(value)

    def temperature(self, column: str) -> float:
        """A temperature at which the water of a pipe is liquid, or not-a-number."""
        value = self.number(column)
        if not np.isnan(value) and not ICE <= value <= HIGHEST:
            unit = self.table.column(column).unit(self.site.units)
            typed, ice, most = (f"{from_si(one, unit):.4g}" for one in (value, ICE, HIGHEST))
            self.say(column, f"is {typed} {unit}; water is liquid from {ice} to {most} {unit}: look at the unit")
            return np.nan
        return value

    def positive(self, column: str, optional: bool = False) -> float:
        """A number more than zero in SI, or not-a-number."""
        value = self.number(column, optional)
        if value <= 0:
            self.say(column, "must be more than zero")
            return np.nan
        return value

    def curve(self, column: str, valve: bool = False) -> tuple[Numbers, Numbers] | None:
        """The points of a curve in SI, or None."""
        points = self.value(column, optional=True)
        if not points:
            return None
        units = self.table.column(column).unit(self.site.units).split(", ")
        flows, values = ([to_si(float(point[i]), units[i]) for point in points] for i in (0, 1))
        try:
            return (checked_valve_curve if valve else checked_curve)(flows, values)
        except InputError as error:
            self.say(column, error.wanted)
            return None

    def has(self, column: str) -> bool:
        """Whether something was typed, usable or not."""
        value = getattr(self.row, column)
        return value is not None and not (isinstance(value, Missing) and value.typed is None)
