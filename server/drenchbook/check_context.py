"""What the checks look at: a site, its solved cases, its limits, and who depends on what, in SI."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_limits import LimitRow, limit_rows
from drenchbook.network import Network
from drenchbook.operating_cases import STATES, Cases
from drenchbook.site_model import Site, tag_key
from drenchbook.site_tables import OUTLET_KINDS, TABLE_BY_KEY
from drenchbook.solver_results import Results
from drenchbook.units import from_si, to_si
from drenchbook.valve_pairs import model_of_valve

Numbers: TypeAlias = np.ndarray[Any, Any]

WALK_TABLES = ("supplies", "pipe_runs", "hot_water_sources", "mixing_valves")


_TEMPERATURE_OF = {"storage": "start_temperature", "plant main": "main_temperature"}


def temperature_column(source: Any) -> str:
    """The column that says how hot the water of a hot water source is when a draw begins."""
    return _TEMPERATURE_OF.get(str(source.kind), "set_temperature")


@dataclass(frozen=True)
class Outlet:
    """One outlet of one station, in SI; not-a-number where the input is missing."""

    station: int
    kind: str
    regulated: bool
    rated_flow: float
    rated_pressure: float
    own_pressure: float  # the maker's least pressure, or that of the regulator; not-a-number: none is given
    maximum_pressure: float
    height: float


class Context:
    """A solved site as the checks see it. Everything is worked out once and never changes."""

    def __init__(self, site: Site, network: Network, cases: Cases, results: Results):
        self.site, self.network, self.cases, self.results = site, network, cases, results
        self.units = site.units
        self._models: dict[str, Any] = {}
        self._labels: dict[int, str] = {}
        self._limits: dict[str, LimitRow] = {}
        self._units: dict[tuple[str, str], str] = {}
        self._kept: dict[Any, Any] = {}
        self.rows = {
            key: {tag_key(getattr(row, TABLE_BY_KEY[key].key_column)): row for row in site.rows(TABLE_BY_KEY[key])}
            for key in (
                "supplies",
                "pipe_runs",
                "hot_water_sources",
                "mixing_valves",
                "valve_models",
                "outlet_models",
                "line_devices",
            )
        }

    def kept(self, what: Any, work: Callable[[], Any]) -> Any:
        """What `work` gives, worked out when it is first asked for under that name."""
        if what not in self._kept:
            self._kept[what] = work()
        return self._kept[what]

    @functools.cached_property
    def limits(self) -> dict[str, LimitRow]:
        """Every limit of the site by the key of its id."""
        return limit_rows(self.site)

    def limit(self, name: str) -> LimitRow:
        """The limit of that id; one whose row was deleted is not known."""
        row = self._limits.get(name)
        if row is None:
            missing = LimitRow(name, None, None, "", f"the row of limit {name} is missing in Limits")
            row = self._limits[name] = self.limits.get(tag_key(name), missing)
        return row

    def si(self, value: Any, unit_of_column: str) -> float:
        """SI number of a model cell, or not-a-number where there is none."""
        return float(to_si(value, unit_of_column)) if isinstance(value, float) else float("nan")

    def cell(self, table_key: str, row: Any, column: str) -> float:
        """SI number of a cell of a row, or not-a-number."""
        value = getattr(row, column)
        return float(to_si(value, self._unit(table_key, column))) if isinstance(value, float) else float("nan")

    def _unit(self, table_key: str, column: str) -> str:
        unit = self._units.get((table_key, column))
        if unit is None:
            unit = self._units[table_key, column] = TABLE_BY_KEY[table_key].column(column).unit(self.units)
        return unit

    @functools.cached_property
    def outlets(self) -> tuple[Outlet, ...]:
        """Every outlet, as the network numbers them."""
        return tuple(
            self._outlet(int(number), self.site.stations[number], int(slot))
            for number, slot in zip(self.network.outlet_station, self.network.outlet_slot, strict=True)
        )

    def _outlet(self, number: int, station: Any, slot: int) -> Outlet:
        height = self.cell("stations", station, f"outlet_{slot}_height")
        model = self.rows["outlet_models"].get(tag_key(getattr(station, f"outlet_{slot}")))
        if model is None:
            nan = float("nan")
            return Outlet(number, "", False, nan, nan, nan, nan, height)
        regulated = model.type == "flow-regulated"
        rated = self.cell("outlet_models", model, "rated_pressure")
        own = self.cell("outlet_models", model, "minimum_pressure")
        if np.isnan(own) and regulated:
            own = rated
        kind = model.kind if model.kind in OUTLET_KINDS else ""
        return Outlet(
            number,
            kind,
            regulated,
            self.cell("outlet_models", model, "rated_flow"),
            rated,
            own,
            self.cell("outlet_models", model, "maximum_pressure"),
            height,
        )

    def model_of_outlet(self, number: int) -> Any:
        """The row of an outlet's model, or None."""
        station, slot = self.site.stations[self.network.outlet_station[number]], self.network.outlet_slot[number]
        return self.rows["outlet_models"].get(tag_key(getattr(station, f"outlet_{slot}")))

    @functools.cached_property
    def outlets_of(self) -> tuple[tuple[int, ...], ...]:
        """The numbers of the outlets of each station."""
        found: list[list[int]] = [[] for _ in self.site.stations]
        for number, outlet in enumerate(self.outlets):
            found[outlet.station].append(number)
        return tuple(map(tuple, found))

    @functools.cached_property
    def required_flow(self) -> Numbers:
        """Required flow of each outlet; not-a-number where the limit is not known. [m³/s]"""
        by_kind = {kind: self.limit(f"FLW-1 {kind}").value for kind in OUTLET_KINDS}
        values = [by_kind.get(outlet.kind) for outlet in self.outlets]
        return np.array([float("nan") if value is None else value for value in values], dtype=float)

    @functools.cached_property
    def needed_pressure(self) -> Numbers:
        """Pressure each outlet needs: its own, or the limit PRS-1. [Pa]"""
        fallback = self.limit("PRS-1").value
        own = np.array([outlet.own_pressure for outlet in self.outlets], dtype=float)
        return np.where(np.isnan(own), float("nan") if fallback is None else fallback, own)

    @functools.cached_property
    def walks(self) -> tuple[tuple[tuple[str, str], ...], ...]:
        """For each station everything it depends on upstream, as (table key, tag key)."""
        known: dict[str, tuple[tuple[str, str], ...]] = {}
        return tuple(self._walk_known(tag_key(station.fed_from), known) for station in self.site.stations)

    def _walk_known(self, tag: str, known: dict[str, tuple[tuple[str, str], ...]]) -> tuple[tuple[str, str], ...]:
        """The walk from a tag; runs in a line end in a walk that is known, so that a shared valve is walked once."""
        runs = self.rows["pipe_runs"]
        line: dict[str, None] = {}
        while tag not in known and tag not in line and self._only_a_run(tag):
            line[tag] = None
            tag = tag_key(runs[tag].fed_from)
        if tag not in known:
            known[tag] = self._walk(tag)
        walk = known[tag]
        for above in reversed(line):
            walk = known[above] = (("pipe_runs", above), *walk)
        return walk

    def _only_a_run(self, tag: str) -> bool:
        return tag in self.rows["pipe_runs"] and not any(
            tag in self.rows[key] for key in WALK_TABLES if key != "pipe_runs"
        )

    def _walk(self, tag: str) -> tuple[tuple[str, str], ...]:
        path: list[tuple[str, str]] = []
        seen: set[str] = set()
        todo = [tag]
        while todo:
            tag = todo.pop()
            if tag in seen:
                continue
            seen.add(tag)
            for key in WALK_TABLES:
                row = self.rows[key].get(tag)
                if row is not None:
                    path.append((key, tag))
                    if getattr(row, "kind", "") == "plant main":
                        continue  # nothing of the site feeds it
                    todo += [
                        tag_key(getattr(row, column))
                        for column in ("fed_from", "cold_run", "hot_run")
                        if isinstance(getattr(row, column, None), str)
                    ]
        return tuple(path)

    def depends_on(self, station: int, table_key: str) -> list[Any]:
        """The rows of a table that a station depends on, nearest first."""
        return [self.rows[key][tag] for key, tag in self.walks[station] if key == table_key]

    @functools.cached_property
    def valve_of_station(self) -> tuple[Any, ...]:
        """The mixing valve row of each station, or None for a station without one."""
        valves = [self.depends_on(number, "mixing_valves") for number in range(len(self.site.stations))]
        return tuple(found[0] if found else None for found in valves)

    @functools.cached_property
    def valve_number(self) -> dict[str, int]:
        """The place of each mixing valve in its table, by the key of its tag."""
        return {tag_key(row.tag): number for number, row in enumerate(self.site.mixing_valves)}

    @functools.cached_property
    def without_valve(self) -> Numbers:
        """[stations] whether a station has no mixing valve."""
        return np.array([valve is None for valve in self.valve_of_station], dtype=bool)

    def model_of(self, valve: Any) -> Any:
        """The data sheet of a valve row, of both where two stand in parallel, or None."""
        if valve is None:
            return None
        key = tag_key(valve.tag)
        if key not in self._models:
            self._models[key] = self._with_its_greatest(valve, model_of_valve(valve, self.rows["valve_models"]))
        return self._models[key]

    def _with_its_greatest(self, valve: Any, model: Any) -> Any:
        """Two in parallel pass together what keeps each inside its data, not the sum of their greatest flows."""
        most = float(self.network.valve_greatest_flow[self.valve_number[tag_key(valve.tag)]])
        if model is None or np.isnan(most) or not isinstance(model.maximum_flow, float):
            return model
        return model.model_copy(update={"maximum_flow": from_si(most, self._unit("valve_models", "maximum_flow"))})

    def source_of(self, valve: Any) -> Any:
        """The hot water source row that feeds a valve, or None."""
        tag = tag_key(valve.hot_run) if valve is not None else ""
        while tag in self.rows["pipe_runs"]:
            tag = tag_key(self.rows["pipe_runs"][tag].fed_from)
        return self.rows["hot_water_sources"].get(tag)

    def main_of(self, tag: Any) -> str:
        """The tag key of the supply at the root above a run or source; "" for a plant main."""
        key = tag_key(tag)
        while True:
            row = self.rows["pipe_runs"].get(key) or self.rows["hot_water_sources"].get(key)
            if row is None:
                return key if key in self.rows["supplies"] else ""
            if getattr(row, "kind", "") == "plant main":
                return ""
            key = tag_key(row.fed_from)

    def source_temperature(self, source: Any) -> float:
        """Temperature at which hot water enters a valve: a storage starts at its thermostat's lower edge. [°C]"""
        return self.cell("hot_water_sources", source, temperature_column(source))

    def cold_temperature(self, season: str) -> float:
        """Temperature of the cold water supply in a season. [°C]"""
        return self.cell("project", self.site.project, f"cold_water_{season}")

    def season(self, state: int) -> str:
        """The season of a state of the results' first axis."""
        return STATES[state][0]

    def case_label(self, opening: int, state: int = -1, fault: str = "normal") -> str:
        """A case in words: "L1 + L2: cold season, high supply, hot pressure lost"."""
        label = self._labels.get(opening)
        if label is None:
            label = self._labels[opening] = self.cases.label(opening)
        words = [] if state < 0 else [f"{STATES[state][0]} season", f"{STATES[state][1]} supply"]
        if fault != "normal":
            words.append(fault)
        return label + (": " if words else "") + ", ".join(words)

    def stations_of(self, opening: int) -> Sequence[int]:
        """The stations of an opening."""
        return [int(number) for number in self.cases.stations.member[self.cases.stations.of(opening)]]
