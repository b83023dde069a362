"""The readings of a field test beside the site of that day: cells in SI, and what value of an input explains one."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from drenchbook.field_day import DayOfTest, site_of_station
from drenchbook.field_windows import KEY, Windows, windows_on
from drenchbook.judged_site import JudgedSite
from drenchbook.result_tables import FIELD_TIMES, VALVE_GROUP
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import TABLE_BY_KEY
from drenchbook.units import from_si, to_si, unit_of

MOST_TIMES = 50.0  # a length or coefficient is not looked for beyond so many times what it is
QUANTITIES = {
    **dict.fromkeys(
        ("static", "flowing", "pressure_least", "pressure_most", "static_least", "static_most"), "pressure"
    ),
    **dict.fromkeys(("need", "flow", "flow_low", "flow_high", "flow_least", "flow_most"), "flow"),
    **dict.fromkeys(
        ("temperature_least", "temperature_most", "limit_least", "limit_most", *FIELD_TIMES), "temperature"
    ),
}  # of the cells of a line; the rest is counted in seconds or is words


@dataclass(frozen=True)
class Correction:
    """One cell to look at; values in the units of the site, text where there is no number."""

    table: str
    row: str
    column: str
    now: Any
    suggested: Any
    sentence: str


def number_of(cell: Any, missing: float = math.nan) -> float:
    """A cell as a number, or what stands for one that is none."""
    return float(cell) if isinstance(cell, (int, float)) and not isinstance(cell, bool) else missing


class FieldLines:
    """The lines of one site on one day: their cells, their windows, and values that make a window meet a reading."""

    def __init__(self, site: JudgedSite, day: DayOfTest):
        self.site, self.day, self.units = site, day.exact, site.units
        self.windows = windows_on(site, day)
        self.context, self.model = self.windows.context, site.judgement.site
        names, stations = site.cases.outlet_names, site.cases.outlet_station
        self.outlets = {
            f"{site.cases.station_tags[station].strip()}{KEY}{names[outlet]}": (int(station), outlet)
            for outlet, station in enumerate(stations)
        }
        self.valves = {f"{str(row.tag).strip()}{KEY}{VALVE_GROUP}": n for n, row in enumerate(self.model.mixing_valves)}

    def knows(self, key: str) -> bool:
        """Whether a line is one of the site."""
        return key in self.outlets or key in self.valves

    # ---- cells and windows ----

    def si(self, line: Mapping[str, Any], name: str) -> float:
        """A reading or a window in SI, not-a-number where it is none."""
        return float(to_si(number_of(line[name]), unit_of(QUANTITIES[name], self.units)))

    def told(self, value: float, quantity: str) -> str:
        """An SI value as a sentence writes it."""
        unit = unit_of(quantity, self.units)
        return f"{float(from_si(value, unit)):.3g} {unit}"

    def typed(self, table: str, column: str, value: float) -> float:
        """An SI value in the unit of a column."""
        return float(from_si(value, TABLE_BY_KEY[table].column(column).unit(self.units)))

    def correct(self, table: str, row: Any, column: str, suggested: Any, sentence: str) -> Correction:
        """A correction of a row of the site as it was designed."""
        name = str(getattr(row, TABLE_BY_KEY[table].key_column))
        own = self.own(table, name)
        return Correction(table, name, column, getattr(own, column), suggested, sentence)

    def own(self, table: str, name: str) -> Any:
        """A row of the site as it was designed."""
        key = TABLE_BY_KEY[table].key_column
        return next(row for row in self.model.rows(TABLE_BY_KEY[table]) if tag_key(getattr(row, key)) == tag_key(name))

    def solved_for(
        self, station: int, table: str, row: Any, column: str, of: Callable[[Windows], float], target: float
    ) -> float | None:
        """The value of a cell, in its own unit, at which a number of the day is what was read; None: no value is.

        From nothing to fifty times what the cell holds.
        """
        small, now = site_of_station(self.site.context, station), getattr(row, column)
        if not isinstance(now, float) or now <= 0 or math.isnan(target):
            return None
        seen: dict[float, float] = {}

        def miss(times: float) -> float:
            if times not in seen:
                seen[times] = of(Windows(_changed(small, table, row, column, now * times), self.day)) - target
            return seen[times]

        for times in ((0.5, 0.1, 0.001), (2.0, 8.0, MOST_TIMES)):
            for end in times:
                if math.isfinite(miss(1.0)) and math.isfinite(miss(end)) and miss(end) * miss(1.0) <= 0:
                    return now * _root(miss, 1.0, end)
        return None


def _root(miss: Callable[[float], float], one: float, other: float) -> float:
    """Where a function that changes its sign between two numbers is zero, by false position (Illinois)."""
    at = [one, other]
    value = [miss(one), miss(other)]
    for _ in range(80):
        new = (at[0] * value[1] - at[1] * value[0]) / (value[1] - value[0]) if value[0] != value[1] else at[0]
        found = miss(new)
        if found == 0 or abs(at[1] - at[0]) <= 1e-9 * abs(new) or not math.isfinite(found):
            return new
        if found * value[1] < 0:
            at[0], value[0] = at[1], value[1]
        else:
            value[0] /= 2
        at[1], value[1] = new, found
        if abs(found) <= 1e-9 * max(abs(each) for each in (value[0], found, 1e-300)):
            return new
    return at[1]


def _changed(site: Site, table: str, row: Any, column: str, value: float) -> Site:
    """A site with one cell of one row changed."""
    key = TABLE_BY_KEY[table].key_column
    rows = tuple(one.model_copy(update={column: value}) if tag_key(getattr(one, key)) == tag_key(getattr(row, key)) else
                 one for one in site.rows(TABLE_BY_KEY[table]))  # fmt: skip
    return site.model_copy(update={table: rows})
