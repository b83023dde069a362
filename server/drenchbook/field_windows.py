"""What a technician should find on the day of a test: windows of flow, pressure, time and temperature at each outlet.

The site is solved again with the pressures and the water temperatures of that day, each station alone with all its
outlets open. What gauge and thermometer may err in these widens the windows; what they may err in a reading does not:
that belongs to the reading.
"""

from __future__ import annotations

import math
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.check_measures import Measures
from drenchbook.faulted_network import faults_of
from drenchbook.field_day import DayOfTest, not_measured, site_on
from drenchbook.hot_water import DAY
from drenchbook.judged_site import JudgedSite
from drenchbook.network import compile_network
from drenchbook.operating_cases import HOT_LOST, NORMAL, stations_alone
from drenchbook.result_tables import FIELD_COLUMNS, NOT_APPLICABLE, NOT_KNOWN, VALVE_GROUP
from drenchbook.site_model import Site, tag_key
from drenchbook.solver import solve, static_pressures
from drenchbook.solver_results import SOLVED, STATE_WORDS
from drenchbook.units import from_si

Numbers: TypeAlias = np.ndarray[Any, Any]

KEY = " | "  # between a station's tag and its outlet
ENTER = "enter static pressure, water temperatures and uncertainties of the day"
ENDLESS, NEVER = "does not end", "never"


def field_rows(site: JudgedSite, day: DayOfTest) -> list[list[Any]]:
    """One row for each outlet of each station, then one for each valve; windows are blank until the day is known.

    Parameters
    ----------
    site : JudgedSite
        The judged site. [-]
    day : DayOfTest
        What was measured on the day. [-]

    Returns
    -------
    list of list
        In the order of FIELD_COLUMNS, in the units of the site. [-]
    """
    windows = windows_on(site, day) if day.complete else None
    rows = []
    for number, tag in enumerate(site.cases.station_tags):
        valve = site.context.valve_of_station[number]
        for outlet in np.flatnonzero(site.cases.outlet_station == number):
            values: dict[str, Any] = {
                "key": f"{tag.strip()}{KEY}{site.cases.outlet_names[outlet]}", "state": ENTER,
                "need": float(site.context.required_flow[outlet]),
                "valve": str(valve.tag).strip() if valve is not None else NOT_APPLICABLE,
            }  # fmt: skip
            if windows is not None:
                values.update(windows.of_outlet(number, int(outlet)))
            rows.append(_row(site, values))
    for number, valve in enumerate(site.judgement.site.mixing_valves):
        values = {"key": f"{str(valve.tag).strip()}{KEY}{VALVE_GROUP}", "state": ENTER, "valve": str(valve.tag).strip()}
        if windows is not None:
            values.update(windows.of_valve(number))
        rows.append(_row(site, values))
    return rows


def _row(site: JudgedSite, values: dict[str, Any]) -> list[Any]:
    return [_cell(site, column, values.get(column.name, NOT_APPLICABLE)) for column in FIELD_COLUMNS]


def _cell(site: JudgedSite, column: Any, value: Any) -> Any:
    if isinstance(value, str):
        return value
    return float(f"{from_si(value, column.unit(site.units)):.10g}") if math.isfinite(value) else NOT_KNOWN


def windows_on(site: JudgedSite, day: DayOfTest) -> Windows:
    """The windows of a day, worked out once for all that ask."""
    known = site.judgement.remembered.get(("field test",))
    if known is None or known[0] != day:
        known = day, Windows(site.judgement.site, day)
        site.judgement.remembered["field test",] = known
    found: Windows = known[1]
    return found


class Windows:
    """A site solved for the day of a test."""

    def __init__(self, site: Site, day: DayOfTest):
        self.day, self.site = day, site_on(site, day)
        self.network = compile_network(self.site)
        self.cases = stations_alone(self.network)
        faults = (NORMAL, HOT_LOST) if HOT_LOST in faults_of(self.network) else (NORMAL,)
        self.results = solve(self.network, self.cases, faults)
        self.context = Context(self.site, self.network, self.cases, self.results)
        self.measures = Measures(self.context)
        self._course = self.measures.courses.summary(NORMAL)
        self._lasts = self.measures.hot_water.seconds
        self._static = self._statics()

    # ---- what is asked for ----

    def of_outlet(self, number: int, outlet: int) -> dict[str, Any]:
        """The windows of one outlet in SI, by the names of FIELD_COLUMNS; the station's own opening has its number."""
        if reason := not_measured(self.context, number):
            return {"state": reason}
        now, values = self.results.normal, {"state": ""} | self._limits()
        values |= {name: float(each[outlet]) for name, each in zip(("static_least", "static_most"), self._static,
                                                                   strict=True)}  # fmt: skip
        solved = now.state[:, number]
        if not (solved == SOLVED).all():
            return values | {"state": STATE_WORDS[int(solved.max())]}
        pair = self.pair(number, outlet)
        for name, numbers in (("flow", now.outlet_flow[:, pair]), ("pressure", now.outlet_pressure[:, pair])):
            values[f"{name}_least"], values[f"{name}_most"] = float(numbers.min()), float(numbers.max())
        return values | self.temperatures(number) | self._times(number)

    def of_valve(self, number: int) -> dict[str, Any]:
        """The windows of a valve: its loss tests at the station that gets least of what it needs without hot water."""
        behind = [n for n in np.flatnonzero(self.network.station_valve == number).tolist()
                  if not not_measured(self.context, n)]  # fmt: skip
        if not behind:
            return {"state": "no station behind it that is measured here"}
        totals = {n: self.lost_flow(n) for n in behind}
        needs = {n: float(np.sum(self.context.required_flow[list(self.context.outlets_of[n])])) for n in behind}
        unsolved = [n for n in behind if math.isnan(totals[n][0]) or math.isnan(needs[n])]
        hardest = unsolved[0] if unsolved else min(behind, key=lambda n: totals[n][0] / needs[n])
        row = self.site.mixing_valves[number]
        values: dict[str, Any] = {
            "state": "", "need": needs[hardest], "open": str(self.cases.station_tags[hardest]).strip(),
            "flow_least": totals[hardest][0], "flow_most": totals[hardest][1], **self._limits(),
            "leak_most": self._at_most(row, "leakage"), "shut_most": self._at_most(row, "shutoff_time"),
        }  # fmt: skip
        if unsolved:
            fault = self.results.fault(HOT_LOST) if HOT_LOST in self.results.names else None
            values["state"] = "no flow path" if fault is None else STATE_WORDS[int(fault.state[:, hardest].max())]
        return values | self.temperatures(hardest)

    def pair(self, number: int, outlet: int) -> int:
        """Place of an outlet in its station's own opening."""
        pairs = self.cases.outlets.of(number)
        return pairs.start + self.cases.outlets.member[pairs].tolist().index(outlet)

    def lost_flow(self, number: int) -> tuple[float, float]:
        """Least and greatest flow of all outlets of a station with hot water shut. [m³/s]"""
        if HOT_LOST not in self.results.names:
            return math.nan, math.nan
        flow = self.results.fault(HOT_LOST).outlet_flow[:, self.cases.outlets.of(number)].sum(axis=1)
        return float(flow.min()), float(flow.max())

    def temperatures(self, number: int) -> dict[str, Any]:
        """Between which temperatures the water should be once it is tepid. [°C]"""
        cold, hot, error = self.day.cold, self.day.hot, self.day.temperature_error
        assert cold is not None
        assert hot is not None
        assert error is not None
        valve = int(self.network.station_valve[number])
        if valve < 0:
            return {"temperature_least": cold - error, "temperature_most": cold + error}
        mixed = self.results.normal.valve.mixed_temperature[:, self.cases.valves.of(number).start]
        model = self.context.model_of(self.site.mixing_valves[valve])
        tolerance = self.context.cell("valve_models", model, "tolerance") if model is not None else math.nan
        least, most = min(float(mixed.min()), hot - error), max(float(mixed.max()), cold + error)
        if math.isnan(float(mixed.sum())):  # not under control in one of the states
            least = most = math.nan
        return {"temperature_least": least - tolerance, "temperature_most": most + tolerance}

    # ---- parts ----

    def _limits(self) -> dict[str, Any]:
        least, most = self.context.limit("TMP least").value, self.context.limit("TMP greatest").value
        return {"limit_least": math.nan if least is None else least, "limit_most": math.nan if most is None else most}

    def _times(self, number: int) -> dict[str, Any]:
        """Seconds until it should be tepid, and as set, the latest of all states; how long hot water lasts."""
        lasts = {"lasts": self._minutes(number)}
        if int(self.network.station_valve[number]) < 0:
            return {"tepid": 0.0, "settled": 0.0} | lasts
        pair = self.cases.stations.of(number).start
        seconds = self._course.tepid_after[:, pair]
        one = self.measures.courses.phases(NORMAL, np.array([pair]))
        settled = float((one.purge + one.cooled + one.silent).max())
        return {"tepid": NEVER if np.isinf(seconds).any() else float(seconds.max()), "settled": settled} | lasts

    def _minutes(self, number: int) -> float | str:
        """Seconds of hot water at the valve; the shortest of all states."""
        part = self.cases.sources.of(number)
        if part.start == part.stop:
            return NOT_APPLICABLE
        least = float(self._lasts[:, part.start].min())
        return ENDLESS if least >= DAY else least

    def _at_most(self, valve: Any, column: str) -> float:
        """The smaller of what the model's data says after cold supply failure and its limit; not known without both."""
        model, limit = self.context.model_of(valve), {"leakage": "BYP-3 leakage", "shutoff_time": "BYP-3 time"}[column]
        allowed = self.context.limit(limit).value
        if model is None or allowed is None:
            return math.nan
        return float(np.min([self.context.cell("valve_models", model, column), allowed]))

    def _statics(self) -> tuple[Numbers, Numbers]:
        """Least and greatest pressure of each outlet at no flow: devices may hold back what they lose there, or not."""
        lowest, highest = self.day.statics()
        days = (DayOfTest(static, self.day.cold, self.day.hot, 0.0, 0.0) for static in (lowest, highest))
        low, high = (static_pressures(compile_network(site_on(self.site, day))) for day in days)
        held = np.array([self._held_back(station) for station in range(len(self.site.stations))], dtype=float)
        return low.outlet - held[self.cases.outlet_station], high.outlet

    def _held_back(self, station: int) -> float:
        """What the devices on the way of a station lose at no flow, on all its sides together. [Pa]"""
        network, seen = self.network, dict[str, float]()
        number = {tag_key(tag): run for run, tag in enumerate(network.run_tags)}
        for table, tag in self.context.walks[station]:
            for key in network.run_devices[number[tag]] if table == "pipe_runs" else ():
                curve = network.device_curve.get(key, -1)
                if curve >= 0 and not network.device_head.get(key, 0.0):
                    seen[key] = float(network.curves[curve][1][0])
        return sum(seen.values())
