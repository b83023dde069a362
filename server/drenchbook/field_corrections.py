"""Which one input to correct first after a field test, and by how much: nothing is changed by itself.

A line of readings that failed is explained by one cell: that of the outlet where flow and pressure do not belong to
each other, that of the way to it where they do, that of the valve or the tank where temperatures are wrong. The value
that is suggested makes the middle of the day's window equal to the reading, found by solving the station again.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from drenchbook.errors import InputError
from drenchbook.field_day import DayOfTest
from drenchbook.field_lines import Correction, FieldLines, number_of
from drenchbook.field_windows import KEY, Windows
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import NORMAL, STATES
from drenchbook.physics.outlets import outlet_flow
from drenchbook.physics.pipe_flow import elevation_pressure
from drenchbook.physics.water import density
from drenchbook.result_tables import (
    CORRECTION_COLUMNS,
    FIELD_LINE,
    FIELD_READINGS,
    FIELD_SECONDS,
    FIELD_TIMES,
    NOT_APPLICABLE,
)
from drenchbook.site_cells import word_of
from drenchbook.site_model import tag_key
from drenchbook.site_tables import TABLE_BY_KEY
from drenchbook.solver import step_by_step

FAIL = "FAIL"
OUTLET_SLACK = 0.02  # by which flow and pressure of an outlet may miss its curve before its data is doubted
WORDS = {None: "blank", True: "Y", False: "N"}
MOST_LINES = 200  # failed lines that are worked out; those after them say so


def correction_rows(site: JudgedSite, day: DayOfTest, lines: Sequence[Sequence[Any]]) -> list[list[Any]]:
    """What to correct first, one row for each line of readings.

    Parameters
    ----------
    site : JudgedSite
        The judged site. [-]
    day : DayOfTest
        What was measured on the day. [-]
    lines : sequence of sequence
        Lines of the Field test in the order of FIELD_LINE, in the units of the site; InputError where they are
        narrower. [-]

    Returns
    -------
    list of list
        In the order of CORRECTION_COLUMNS; a dash where nothing failed. [-]
    """
    if lines and len(lines[0]) != len(FIELD_LINE):
        raise InputError("readings", len(lines[0]), f"must be {len(FIELD_LINE)} columns, from station to result")
    finder = _Finder(site, day) if day.complete else None
    rows, failed = [], 0
    for cells in lines:
        line = dict(zip(FIELD_LINE, cells, strict=True))
        key = f"{word_of(line['tag'])}{KEY}{word_of(line['outlet'])}" if word_of(line["tag"]) else ""
        row: dict[str, Any] = {"key": key, "asked": sum(number_of(line[name], 0.0) for name in FIELD_READINGS)}
        if word_of(line["result"]) == FAIL and finder is not None and finder.knows(key):
            failed += 1
            found = finder.first(line) if failed <= MOST_LINES else "Correct the lines above first."
            row |= _shown(site, found)
        rows.append([_or_dash(row.get(column.name, "")) for column in CORRECTION_COLUMNS])
    return rows


def _shown(site: JudgedSite, found: Correction | str) -> dict[str, Any]:
    if isinstance(found, str):
        return {"sentence": found}
    table = TABLE_BY_KEY[found.table]
    column = table.column(found.column)
    row, heading = (column.heading, "Value") if found.table == "project" else (found.row.strip(), column.heading)
    return {"sheet": table.sheet, "row": row, "column": heading, "unit": column.unit(site.units),
            "now": _rounded(found.now, 6),
            "suggested": _rounded(found.suggested, 4), "sentence": found.sentence}  # fmt: skip


def _rounded(value: Any, digits: int) -> Any:
    """To a few digits: more than any instrument has, and the same on every processor."""
    return float(f"{value:.{digits}g}") if isinstance(value, float) else WORDS.get(value, str(value))


def _or_dash(value: Any) -> Any:
    return NOT_APPLICABLE if value == "" else value  # a cell that is empty is worked out anew when a file is opened


class _Finder(FieldLines):
    """Finds the input behind a failed line."""

    def first(self, line: Mapping[str, Any]) -> Correction | str:
        """The cell behind a failed line, or a sentence where there is none."""
        key = f"{word_of(line['tag'])}{KEY}{word_of(line['outlet'])}"
        if key in self.valves:
            return self._of_valve(self.valves[key], line)
        station, outlet = self.outlets[key]
        if line["static_verdict"] == FAIL:
            return self._static(station, outlet, line)
        if FAIL in (line["flow_verdict"], line["pressure_verdict"]):
            return self._flow(station, outlet, line)
        if line["temperature_verdict"] == FAIL:
            return self._temperature(station, line)
        if line["pattern"] == "N":
            return self._pattern(outlet, line)
        return self._loss_test(station)

    # ---- one outlet ----

    def _static(self, station: int, outlet: int, line: Mapping[str, Any]) -> Correction | str:
        """No water flows: only heights, or the setting of a pressure-reducing valve, tell the outlet from the gauge."""
        exact = Windows(self.site.judgement.site, self.day).of_outlet(station, outlet)
        off = self.si(line, "static") - (exact["static_least"] + exact["static_most"]) / 2
        row = self.model.stations[station]
        for table, tag in reversed(self.context.walks[station]):
            for device in self._devices(tag) if table == "pipe_runs" else ():
                if device.kind == "pressure-reducing valve" and isinstance(device.setting, float):
                    setting = device.setting + self.typed("line_devices", "setting", off)
                    return self.correct("line_devices", device, "setting", setting,
                                        f"Without flow the gauge reads {self.told(abs(off), 'pressure')} "
                                        f"{'more' if off > 0 else 'less'} than this setting leaves there.")  # fmt: skip
        slot = int(self.windows.network.outlet_slot[outlet])
        column, rise = f"outlet_{slot}_elevation", float(elevation_pressure(1.0, density(self.day.cold)))
        now = getattr(row, column)
        if not isinstance(now, float):
            return f"Sheet Stations, row {row.tag}: type the elevation of outlet {slot}."
        return self.correct("stations", row, column, now - self.typed("stations", column, off / rise),
                            f"Without flow only height tells the outlet from the supply's gauge: it reads "
                            f"{self.told(abs(off), 'pressure')} {'more' if off > 0 else 'less'}. Hold the gauge at "
                            "the nozzle; look for a shut stop too.")  # fmt: skip

    def _devices(self, run: str) -> list[Any]:
        tags = getattr(self.context.rows["pipe_runs"][run], "devices", None) or ()
        rows = self.context.rows["line_devices"]
        return [rows[tag_key(tag)] for tag in tags if tag_key(tag) in rows] if isinstance(tags, tuple) else []

    def _flow(self, station: int, outlet: int, line: Mapping[str, Any]) -> Correction | str:
        flow, pressure = self.si(line, "flow"), self.si(line, "flowing")
        if math.isnan(pressure):
            return "Measure the flowing pressure first: without it the outlet cannot be told from the way to it."
        if not math.isnan(flow) and (found := self._outlet_curve(outlet, line, flow, pressure)) is not None:
            return found
        low, high = self.si(line, "pressure_least"), self.si(line, "pressure_most")
        if low <= pressure <= high:
            if flow < self.si(line, "need"):
                return "As computed: this flow is expected and is less than required. See the sheet Schedule."
            return "Flow and pressure lie at the edge of their windows: measure both again, with all outlets open."
        return self._way(station, outlet, pressure)

    def _outlet_curve(self, outlet: int, line: Mapping[str, Any], flow: float, pressure: float) -> Correction | None:
        """The outlet's data, where its flow is not what its model gives at the pressure that was read."""
        own, error = self.context.outlets[outlet], self.windows.day.pressure_error or 0.0
        data = (own.rated_flow, own.rated_pressure, own.regulated)
        if math.isnan(own.rated_flow + own.rated_pressure) or pressure <= 0:
            return None
        least, expected, most = (float(outlet_flow(max(p, 0.0), *data)) for p in
                                 (pressure - error, pressure, pressure + error))  # fmt: skip
        low, high = self.si(line, "flow_low"), self.si(line, "flow_high")
        if low <= most * (1 + OUTLET_SLACK) and high >= least * (1 - OUTLET_SLACK):
            return None
        row = self.context.model_of_outlet(outlet)
        suggested = self.typed("outlet_models", "rated_flow", own.rated_flow * flow / expected)
        return self.correct("outlet_models", row, "rated_flow", suggested,
                            f"At {self.told(pressure, 'pressure')} the outlet gives {100 * flow / expected:.0f} % of "
                            "what its model gives: clean it and its strainer, then look at its size.")  # fmt: skip

    def _way(self, station: int, outlet: int, pressure: float) -> Correction | str:
        """The run, then the device, that loses most on the way to an outlet."""
        state = STATES.index(("cold", "low"))
        steps = step_by_step(self.windows.network, self.windows.cases, self.windows.results, NORMAL, state, station)
        middle = self._middle_pressure
        for kind, table, column in (("pipe", "pipe_runs", "developed_length"),
                                    ("device", "line_devices", "loss_per_flow_squared")):  # fmt: skip
            known = self.context.rows[table]
            losses = [(s.loss, s.tag) for s in steps if s.kind == kind and s.side != "hot" and tag_key(s.tag) in known]
            if not losses:
                continue
            loss, tag = max(losses)
            row = self.context.rows[table][tag_key(tag)]
            found = self.solved_for(station, table, row, column, middle(station, outlet), pressure)
            if found is not None:
                more = "more" if found > getattr(row, column) else "less"
                return self.correct(table, row, column, found,
                                    f"The way takes {more} than computed; this loses most on it "
                                    f"({self.told(loss, 'pressure')}). Look for a stop part shut first, "
                                    "a fouled strainer, a smaller pipe.")  # fmt: skip
        return ("No length on the way explains this pressure alone: look at the flow test (sheet Supplies), at sizes, "
                "stops and strainers.")  # fmt: skip

    def _middle_pressure(self, station: int, outlet: int) -> Callable[[Windows], float]:
        first = int((self.site.cases.outlet_station < station).sum())

        def of(windows: Windows) -> float:
            found = windows.of_outlet(0, outlet - first)
            return (found.get("pressure_least", math.nan) + found.get("pressure_most", math.nan)) / 2

        return of

    # ---- temperatures ----

    def _temperature(self, station: int, line: Mapping[str, Any]) -> Correction | str:
        valve = self.context.valve_of_station[station]
        if valve is None:
            return "There is no mixing valve on the way: the water comes as cold as it is."
        error = self.windows.day.temperature_error or 0.0
        low, high = self.si(line, "temperature_least"), self.si(line, "temperature_most")
        start, settled = number_of(line["tepid"], 0.0), number_of(line["settled"])
        every = [(seconds, self.si(line, name)) for seconds, name in zip(FIELD_SECONDS, FIELD_TIMES, strict=True)
                 if isinstance(line[name], (int, float))]  # fmt: skip
        read = [one for one in every if one[0] >= settled]
        signs = [(value > high + error) - (value < low - error) for _, value in read]
        good = [place for place, sign in enumerate(signs) if sign == 0]
        if not any(signs):
            return self._stood(station, [value for seconds, value in every if start <= seconds < settled])
        if good and not any(signs[good[0] :]):
            before = FIELD_SECONDS[FIELD_SECONDS.index(read[good[0]][0]) - 1]
            return self._late(station, (before + read[good[0]][0]) / 2)
        if good and good[0] == 0 and sorted(signs, reverse=True) == signs:
            return self._ran_out(station, valve, (read[good[-1]][0] + read[good[-1] + 1][0]) / 2)
        if good or (1 in signs and -1 in signs):
            return self.correct("mixing_valves", valve, "check_valves", "look at them",
                                "The temperature swings: look at check valves, strainers and element.")  # fmt: skip
        return self._set(valve, [value for _, value in read], low, high)

    def _stood(self, station: int, read: Sequence[float]) -> Correction | str:
        """Water that stood in the runs and came outside the limits, while it was computed as tepid."""
        least, most = self.context.limit("TMP least").value, self.context.limit("TMP greatest").value
        if least is None or most is None or not read:
            return "Measure the temperatures again."
        worst = max(read, key=lambda value: max(least - value, value - most))
        season = "cold" if worst < least else "warm"
        return Correction("project", "", f"room_{season}", getattr(self.model.project, f"room_{season}"),
                          self.typed("project", f"room_{season}", worst),
                          f"The water that stood in the runs of {str(self.model.stations[station].tag).strip()} came "
                          f"{'colder' if season == 'cold' else 'hotter'} than was assumed: look at what is around "
                          "them.")  # fmt: skip

    def _set(self, valve: Any, read: Sequence[float], least: float, most: float) -> Correction | str:
        mean, middle = sum(read) / len(read), (least + most) / 2
        if math.isnan(middle):
            return "Enter the day above: without a window no setting can be compared."
        off = mean - middle
        suggested = self.typed("mixing_valves", "set_temperature",
                               self.context.cell("mixing_valves", valve, "set_temperature") + off)  # fmt: skip
        return self.correct("mixing_valves", valve, "set_temperature", suggested,
                            f"The readings are steady and {'hotter' if off > 0 else 'colder'} than set: turn the valve "
                            "to what is typed, or type what it is set to; then see its check valves.")  # fmt: skip

    def _late(self, station: int, seconds: float) -> Correction | str:
        network, runs = self.windows.network, self.context.rows["pipe_runs"]
        own, node = [], int(network.station_node[station])
        for run, at in enumerate(network.run_node.tolist()):
            above = int(network.parent[at])
            if network.node_valve[at] == network.node_valve[node] and (
                ("pipe_runs", tag_key(network.run_tags[run])) in self.context.walks[station]
            ):
                own.append((float(network.purge_sum[at] - network.purge_sum[above]), run))
        if not own:
            return "There is no run between valve and outlet to explain the delay: look at the hot run to the valve."
        row = runs[tag_key(network.run_tags[max(own)[1]])]

        def settled(windows: Windows) -> float:
            return float(windows.of_outlet(0, 0).get("settled", math.nan))

        found = self.solved_for(station, "pipe_runs", row, "developed_length", settled, seconds)
        if found is None:
            return f"Tepid water comes after {seconds:.0f} s: no length of run {row.tag} explains it alone."
        return self.correct("pipe_runs", row, "developed_length", found,
                            f"Tepid water comes after about {seconds:.0f} s: this run holds most of the water between "
                            "valve and outlet. Look at its size and the hot run too.")  # fmt: skip

    def _ran_out(self, station: int, valve: Any, seconds: float) -> Correction | str:
        source = int(
            self.windows.network.valve_source[self.model.mixing_valves.index(self.own("mixing_valves", valve.tag))]
        )
        row = self.windows.site.hot_water_sources[source]
        place = self.windows.cases.stations.of(station).start
        late = float(self.windows.results.normal.station.purge_seconds[:, place].max())
        at_valve = seconds - late
        window = self.windows.of_outlet(station, self.context.outlets_of[station][0])["lasts"]
        if isinstance(window, float) and at_valve >= window:
            return ("As computed: the hot water ends after "
                    f"{window / 60:.1f} min at the valve. See HOT-1 on the sheet Schedule.")  # fmt: skip
        if row.kind != "storage":
            return "The hot water fails before its time: look at firing, fuel and power of its source."
        stratified = self.windows.measures.hot_water.governs[source] == "stratified"
        column = "usable_fraction" if stratified else "volume"

        def lasts(windows: Windows) -> float:
            found = windows.of_outlet(0, 0).get("lasts", math.nan)
            return found if isinstance(found, float) else math.inf

        found = self.solved_for(station, "hot_water_sources", row, column, lasts, at_valve)
        if found is None:
            return "The hot water ends too early, and no size of the tank explains it alone: look at its thermostat."
        return self.correct("hot_water_sources", row, column, found,
                            f"The hot water ends after about {seconds / 60:.1f} min instead of {_minutes(window)}: "
                            "look at the tank's thermostat, dip tube and shut elements first.")  # fmt: skip

    # ---- pattern, loss tests, valves ----

    def _pattern(self, outlet: int, line: Mapping[str, Any]) -> Correction | str:
        row, pressure = self.context.model_of_outlet(outlet), self.si(line, "flowing")
        if math.isnan(pressure):
            return "Measure the flowing pressure: the pattern needs the least pressure of the outlet's maker."
        suggested = f"over {self.typed('outlet_models', 'minimum_pressure', pressure):.3g}"
        return self.correct("outlet_models", row, "minimum_pressure", suggested,
                            f"The pattern is wrong at {self.told(pressure, 'pressure')}: clean the outlet and its "
                            "strainer; if it stays wrong, it needs more pressure than that.")  # fmt: skip

    def _loss_test(self, station: int) -> Correction | str:
        valve = self.context.valve_of_station[station]
        model = None if valve is None else self.context.rows["valve_models"].get(tag_key(valve.model))
        if valve is None or model is None:
            return "There is no mixing valve on the way: a loss test does not apply."
        return self.correct("valve_models", model, "bypass_coefficient", "measure it",
                            f"Measure the flow with hot water shut, and what passes with cold water shut, on the line "
                            f"of valve {str(valve.tag).strip()} below: it says by how much.")  # fmt: skip

    def _of_valve(self, number: int, line: Mapping[str, Any]) -> Correction | str:
        valve = self.model.mixing_valves[number]
        model = self.context.rows["valve_models"].get(tag_key(valve.model))
        if model is None:
            return f"Sheet Mixing valves, row {valve.tag}: type its model."
        if line["flow_verdict"] == FAIL:
            return self._bypass(number, valve, model, line)
        if line["static_verdict"] == FAIL:
            leak = 60 * number_of(line["static"]) / number_of(line["flowing"])  # volume, and the seconds that it took
            return self.correct("valve_models", model, "leakage", leak,
                                "More passes with cold water shut than its data or the limit says: hot water reaches "
                                "the outlet. Clean or change the valve.")  # fmt: skip
        if line["pressure_verdict"] == FAIL:
            return self.correct("valve_models", model, "shutoff_time", number_of(line["pattern"]),
                                "It shuts later than its data or the limit says: clean or change it.")  # fmt: skip
        if line["temperature_verdict"] == FAIL:
            return self._set(valve, [self.si(line, FIELD_TIMES[0])], self.si(line, "temperature_least"),
                             self.si(line, "temperature_most"))  # fmt: skip
        return "Restore every valve that was moved and type Y."

    def _bypass(self, number: int, valve: Any, model: Any, line: Mapping[str, Any]) -> Correction | str:
        flow, window = self.si(line, "flow"), self.windows.of_valve(number)
        if valve.parallel_bypass is not True:
            return f"Valve {str(valve.tag).strip()} has no bypass (sheet Mixing valves): see BYP-1 on the Schedule."
        if window["flow_least"] <= flow <= window["flow_most"]:
            return "As computed: this flow is expected and is less than required. See BYP-1 on the sheet Schedule."
        tags = [str(tag).strip() for tag in self.windows.cases.station_tags]
        station = tags.index(window["open"])

        def lost(windows: Windows) -> float:
            return sum(windows.lost_flow(0)) / 2

        found = self.solved_for(station, "valve_models", model, "bypass_coefficient", lost, flow)
        if found is None:
            return "No bypass coefficient explains this flow alone: look at cold side, stops and strainers."
        return self.correct("valve_models", model, "bypass_coefficient", found,
                            "The flow with hot water shut is not what this bypass gives: look whether it opens, and at "
                            "the stop before it.")  # fmt: skip


def _minutes(window: Any) -> str:
    return f"{window / 60:.1f} min" if isinstance(window, float) else str(window)
