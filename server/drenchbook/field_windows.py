"""What a technician should find on the day of a test: windows of flow, pressure, time and temperature at each outlet.

The site is solved again with the static pressure and the water temperatures of that day, each station alone with all
its outlets open; how far the instruments may err widens the windows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from drenchbook.judged_site import JudgedSite
from drenchbook.network import compile_network
from drenchbook.operating_cases import NORMAL, STATES, stations_alone
from drenchbook.result_tables import FIELD_COLUMNS, NOT_APPLICABLE, NOT_KNOWN
from drenchbook.site_model import Site
from drenchbook.site_tables import HOT_WATER_SOURCES, PROJECT, SUPPLIES
from drenchbook.solver import solve
from drenchbook.solver_results import SOLVED, STATE_WORDS, FaultResults
from drenchbook.units import from_si

KEY = " | "  # between a station's tag and its outlet
ENTER = "enter static pressure, water temperatures and uncertainties of the day"
TEMPERATURE_OF = {"storage": "start_temperature", "plant main": "main_temperature"}


@dataclass(frozen=True)
class DayOfTest:
    """What was measured before the test; None where it was not."""

    static: float | None  # [Pa] at the supply's gauge, no flow
    cold: float | None  # [°C]
    hot: float | None  # [°C] at the source
    pressure_error: float | None  # [Pa] of the gauge, either way
    temperature_error: float | None  # [K] of the thermometer, either way

    @property
    def complete(self) -> bool:
        """Whether everything was entered."""
        return None not in (self.static, self.cold, self.hot, self.pressure_error, self.temperature_error)


def field_rows(site: JudgedSite, day: DayOfTest) -> list[list[Any]]:
    """One row for each outlet of each station, in the order of FIELD_COLUMNS; windows are blank until the day is known.

    Parameters
    ----------
    site : JudgedSite
        The judged site. [-]
    day : DayOfTest
        What was measured before the test. [-]
    """
    found = _Windows(site, day) if day.complete else None
    rows = []
    for number, tag in enumerate(site.cases.station_tags):
        for outlet in np.flatnonzero(site.cases.outlet_station == number):
            name = site.cases.outlet_names[outlet]
            need = float(site.context.required_flow[outlet])
            values: dict[str, Any] = {"key": f"{tag.strip()}{KEY}{name}", "need": need, "state": ENTER}
            if found is not None:
                values.update(found.of(number, int(outlet)))
            rows.append([_cell(site, column.name, column.unit(site.units), values) for column in FIELD_COLUMNS])
    return rows


def _cell(site: JudgedSite, name: str, unit: str, values: dict[str, Any]) -> Any:
    value = values.get(name, NOT_APPLICABLE)
    if isinstance(value, str):
        return value
    return float(f"{from_si(value, unit):.10g}") if math.isfinite(value) else NOT_KNOWN


class _Windows:
    """The site solved for the day of the test."""

    def __init__(self, site: JudgedSite, day: DayOfTest):
        self.site, self.day = site, day
        self.network = compile_network(site_on(site.judgement.site, day))
        self.cases = stations_alone(self.network)
        self.results: FaultResults = solve(self.network, self.cases, (NORMAL,)).normal
        season = "cold"  # both seasons have the water of the day
        self.states = [state for state, (name, _) in enumerate(STATES) if name == season]

    def of(self, number: int, outlet: int) -> dict[str, Any]:
        """The windows of one outlet; the station's own opening has its number."""
        now, states = self.results, self.states
        solved = now.state[states, number]
        if not (solved == SOLVED).all():
            return {"state": STATE_WORDS[int(solved.max())]}
        pairs = self.cases.outlets
        pair = next(p for p in range(pairs.of(number).start, pairs.of(number).stop) if int(pairs.member[p]) == outlet)
        flow, pressure = now.outlet_flow[states, pair], now.outlet_pressure[states, pair]
        values: dict[str, Any] = {
            "flow_least": float(flow.min()), "flow_most": float(flow.max()),
            "pressure_least": float(pressure.min()), "pressure_most": float(pressure.max()), "state": "",
        }  # fmt: skip
        return values | self._temperature(number)

    def _temperature(self, number: int) -> dict[str, float]:
        """When it should be tepid, and between which temperatures then."""
        assert self.day.cold is not None
        assert self.day.temperature_error is not None
        valve, error = int(self.network.station_valve[number]), self.day.temperature_error
        if valve < 0:
            return {"temperature_least": self.day.cold - error, "temperature_most": self.day.cold + error, "tepid": 0.0}
        mixed = self.results.valve.mixed_temperature[self.states, self.cases.valves.of(number).start]
        row = self.site.judgement.site.mixing_valves[valve]
        model = self.site.context.model_of(row)
        error += self.site.context.cell("valve_models", model, "tolerance") if model is not None else math.nan
        seconds = self.results.station.purge_seconds[self.states, self.cases.stations.of(number).start]
        return {"temperature_least": float(mixed.min()) - error, "temperature_most": float(mixed.max()) + error,
                "tepid": float(seconds.max())}  # fmt: skip


def site_on(site: Site, day: DayOfTest) -> Site:
    """The site with the supply and the water of one day: each supply keeps the fall of its flow test.

    Low and high state stand for the gauge reading less and more what the gauge may err.
    """
    assert day.static is not None
    assert day.pressure_error is not None
    supplies = []
    for row in site.supplies:
        changed: dict[str, Any] = {}
        for level, sign in (("low", -1.0), ("high", 1.0)):
            unit = SUPPLIES.column(f"static_{level}").unit(site.units)
            static = float(from_si(day.static + sign * day.pressure_error, unit))
            curve = getattr(row, f"curve_{level}")
            before, residual = getattr(row, f"static_{level}"), getattr(row, f"residual_{level}")
            if isinstance(curve, tuple) and curve:
                changed[f"curve_{level}"] = tuple((flow, p + static - curve[0][1]) for flow, p in curve)
            elif isinstance(before, float) and isinstance(residual, float):
                changed |= {f"static_{level}": static, f"residual_{level}": residual + static - before}
        supplies.append(row.model_copy(update=changed))
    water = {f"cold_water_{season}": _typed(PROJECT.column(f"cold_water_{season}").unit(site.units), day.cold)
             for season in ("cold", "warm")}  # fmt: skip
    sources = []
    for source in site.hot_water_sources:
        column = TEMPERATURE_OF.get(str(source.kind), "set_temperature")
        unit = HOT_WATER_SOURCES.column(column).unit(site.units)
        sources.append(source.model_copy(update={column: _typed(unit, day.hot)}))
    return site.model_copy(update={"supplies": tuple(supplies), "hot_water_sources": tuple(sources),
                                   "project": site.project.model_copy(update=water)})  # fmt: skip


def _typed(unit: str, value: float | None) -> float:
    assert value is not None
    return float(from_si(value, unit))
