"""A worked path as lines of a table: each step with the numbers that its formula takes, and what the solver found."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from drenchbook.faulted_network import network_in
from drenchbook.hot_water import DAY
from drenchbook.judged_site import JudgedSite
from drenchbook.network_arrays import NONE, RUN
from drenchbook.operating_cases import HOT_LOST, NORMAL, STATES
from drenchbook.physics.mixing_valve import curve_coefficient_kernel
from drenchbook.site_model import tag_key
from drenchbook.solver_results import PathStep, Results
from drenchbook.solver_steps import step_by_step
from drenchbook.units import to_si

PARTS = {"common": "Common", "cold": "Cold side", "hot": "Hot side", "valve": "Mixing valve", "tempered": "Tempered",
         "outlet": "Outlet"}  # fmt: skip
# How each kind of line is worked out: the formula in symbols, and its source.
FORMULAS: Mapping[str, tuple[str, str]] = {
    "supply by test": ("p = p0 − (p0 − pr)·(q/qr)^1.85", "NFPA 291"),
    "supply by points": ("p = p1 + (q − q1)·(p2 − p1)/(q2 − q1)", "typed points"),
    "plant main": ("p = its own pressure − k·q²", "typed"),
    "plant main by points": ("p = its own pressure − Δp(q)", "typed points"),
    "booster": ("Δp = p1 + (q − q1)·(p2 − p1)/(q2 − q1) − head at no flow", "typed points"),
    "setting": ("p = the setting, where more comes", "typed"),
    "loss by points": ("Δp = p1 + (q − q1)·(p2 − p1)/(q2 − q1)", "typed points"),
    "loss by square": ("Δp = k·q²", "typed coefficient"),
    "pipe": ("Δp = friction by length + ΣK·ρv²/2", "sheet Project; Crane TP-410"),
    "rough pipe": ("Δp = f·L/D·ρv²/2 + ΣK·ρv²/2, own roughness", "Darcy-Weisbach; Colebrook 1939; Crane TP-410"),
    "rise": ("Δp = ρ·g·h", "SR6-08"),
    "seats, cold lower": ("x·q/√(ph − pm) + (1 − x)·q/√(pc − pm) = C", "worked here"),
    "seats, hot lower": ("x·q/√(ph − pm) + (1 − x)·q/√(pc − pm) = C", "worked here"),
    "coefficient": ("Δp = (q/C)²", "IEC 60534-2-1"),
    "orifice outlet": ("q = qr·√(p/pr)", "NFPA 13"),
    "regulated outlet": ("q = qr above pr; qr·√(p/pr) below", "NFPA 13"),
    "needed": ("p ≥ the outlet's own minimum, or limit PRS-1", "sheets Outlet models and Limits"),
    "flow total": ("Σ outlets = flow that was assumed", "worked here"),
    "hot flow": ("mh·hh + mc·hc = m·h", "SR6-08"),
    "cold flow": ("mh·hh + mc·hc = m·h", "SR6-08"),
    "hot fraction": ("x = ρh·qh/(ρ·q), by mass", "SR6-08"),
    "stem": ("s = x·q/(C·√(ph − pm))", "worked here"),
    "purge": ("t = V·(1 + β)/q", "worked here"),
    "purge total": ("t = Σ V·(1 + β)/q", "worked here"),
    "stratified tank": ("t = f·V/(qh − r)", "UFC 3-420-01"),
    "mixed tank": ("T falls by (P − draw)/(ρ·c·V) until set + approach", "UFC 3-420-01; SR6-08"),
    "solver only": ("no small function: shown by the solver only", "worked here"),
}
# Tolerance of the comparison by unit: half of the last printed digit, or what the note of the line says.
TOLERANCES = {"psi": 5e-4, "kPa": 5e-3, "gpm": 5e-4, "L/min": 5e-3, "–": 5e-5, "s": 0.05, "min": 0.005}
PURGE_SHARE = 2e-3  # the small function takes the wall's heat against water of 60 °F, the solver against set water


@dataclass
class Line:
    """One line: names as in PATH_COLUMNS, numbers in SI."""

    part: str
    kind: str
    tag: str
    step: str
    values: dict[str, Any] = field(default_factory=dict)
    result: float = math.nan
    quantity: str = "pressure"


def path_lines(site: JudgedSite, station: int, opening: int, state: int, fault: str) -> list[Line]:
    """Every line of one solved case from supply to outlet, then mixing, purge and storage; none if it is not solved.

    Parameters
    ----------
    site : JudgedSite
        The judged site. [-]
    station, opening, state : int
        Which station of which case. [-]
    fault : str
        One of `operating_cases.FAULTS`. [-]
    """
    judgement = site.judgement
    steps = step_by_step(judgement.network, judgement.cases, judgement.results, fault, state, opening, station)
    if not steps:
        return []
    made = _Lines(site, station, opening, state, fault)
    lines = list(made.hydraulic(steps))
    _mark_bars(lines)
    with np.errstate(divide="ignore", invalid="ignore"):
        return [*lines, *made.needed(), *made.flow_total(steps), *made.mixing(), *made.purge(steps), *made.storage()]


# Where the loss of a line belongs in the chart; "" is drawn by the parts that follow.
_BARS = {"supply by test": "Supply at this flow", "supply by points": "Supply at this flow",
         "plant main": "Supply at this flow", "plant main by points": "Supply at this flow",
         "pipe": "Pipe", "rough pipe": "Pipe", "loss by points": "Devices",
         "loss by square": "Devices", "seats, cold lower": "Mixing valve", "seats, hot lower": "Mixing valve",
         "coefficient": "Mixing valve"}  # fmt: skip


def _mark_bars(lines: list[Line]) -> None:
    """Give each line on the way to the outlet of least pressure its bar; of two inlets the lower is the way."""
    outlets = [line for line in lines if line.kind in ("orifice outlet", "regulated outlet")]
    if not outlets:
        return
    worst = min(outlets, key=lambda line: float(line.values["pressure"]))
    worst.values["bar"] = "At the outlet"
    number = int(worst.values["after"])
    while number > 0:
        line = lines[number - 2]  # line 1 names the case
        tempered = "outlet" if line.part in ("Tempered", "Outlet") else "valve"
        line.values["bar"] = f"Rise to the {tempered}" if line.kind == "rise" else _BARS.get(line.kind, "Devices")
        number = int(line.values["after"])


class _Lines:
    """The lines of one case."""

    def __init__(self, site: JudgedSite, station: int, opening: int, state: int, fault: str):
        self.site, self.cases = site, site.judgement.cases
        self.network = network_in(site.judgement.network, fault)
        self.results: Results = site.judgement.results
        self.now = self.results.fault(fault)
        self.station, self.opening, self.state, self.fault = station, opening, state, fault
        self.valve = int(self.network.station_valve[station])
        valves = self.cases.valves
        self.pair = next((place for place in range(valves.of(opening).start, valves.of(opening).stop)
                          if int(valves.member[place]) == self.valve), NONE)  # fmt: skip
        self.mixes = self.pair != NONE and fault != HOT_LOST and not (
            self.network.source_cold[self.network.valve_source[self.valve]])  # fmt: skip
        self.rows = {table: {tag_key(row.tag): row for row in getattr(site.judgement.site, table)}
                     for table in ("pipe_runs", "supplies", "hot_water_sources", "line_devices")}  # fmt: skip

    # ---- from supply to outlet ----

    def hydraulic(self, steps: tuple[PathStep, ...]) -> Iterator[Line]:
        """One line for each step; `after` is the number of the line whose pressure it begins with (lines from 2)."""
        last: dict[str, int] = {}
        for number, step in enumerate(steps, start=2):  # line 1 names the case
            line = self._line(step)
            line.result = step.flow if step.kind == "outlet" else step.pressure
            if step.kind == "outlet":
                line.quantity = "flow"
            shown = {"flow": step.flow, "temperature": step.temperature, "loss": step.loss, "pressure": step.pressure}
            line.values = {**shown, **line.values}
            line.values["after"] = float(self._after(step, last))
            if line.kind.startswith("seats"):  # the loss counts from the lower inlet
                cold, hot = (float(last.get(side, last.get("common", 0))) for side in ("cold", "hot"))
                lower, other = (hot, cold) if line.kind == "seats, hot lower" else (cold, hot)
                line.values.update(after=lower, other_after=other)
            last[f"rise {step.tag}" if step.side in ("tempered", "cold") and self._is_outlet(step) else step.side] = (
                number
            )
            yield line

    def _is_outlet(self, step: PathStep) -> bool:
        return step.kind == "rise" and step.tag in self.network.outlet_names

    def _after(self, step: PathStep, last: dict[str, int]) -> int:
        if step.kind == "outlet":
            return last.get(f"rise {step.tag}", 0)
        before = {
            "cold": ("cold", "common"),
            "hot": ("hot", "common"),
            "tempered": ("tempered", "valve"),
            "valve": ("valve", "cold", "common"),
            "common": ("common",),
        }[step.side]
        if step.side == "valve" and step.kind in ("seats", "bypass"):
            before = ("cold", "common") if step.kind == "bypass" or self.mixes else ("hot", "common")
        return next((last[side] for side in before if side in last), 0)

    def _line(self, step: PathStep) -> Line:
        kind, words, values = {
            "supply": self._supply,
            "device": self._device,
            "hot water source": self._source,
            "pipe": self._pipe,
            "rise": self._rise,
            "seats": self._seats,
            "outlet passage": self._passage,
            "bypass": self._bypass,
            "outlet": self._outlet,
        }.get(step.kind, self._other)(step)
        return Line(PARTS.get(step.side, step.side), kind, step.tag, words, values)

    def _other(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        return "solver only", f"{step.kind.capitalize()} {step.tag}", {}

    def _supply(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network, level = self.network, ("low", "high").index(STATES[self.state][1])
        item = network.supply_tags.index(step.tag)
        words = f"Supply {step.tag}, {STATES[self.state][1]} state, at this flow"
        start = {"start_pressure": step.pressure + step.loss}
        if network.supply_curve[level, item] != NONE:
            return "supply by points", words, {**start, **self._points(int(network.supply_curve[level, item]), step)}
        draw = float(network.supply_draw[item])  # other demand on the same main, which the curve has in it already
        words += " and other demand" if draw else ""
        test = {"pressure_2": float(network.supply_residual[level, item]), "flow": step.flow + draw,
                "flow_2": float(network.supply_test_flow[level, item])}  # fmt: skip
        return "supply by test", words, {**start, **test}

    def _points(self, curve: int, step: PathStep) -> dict[str, Any]:
        """The two points of a curve between which a flow lies."""
        flows, values = self.network.curves[curve]
        place = int(np.clip(np.searchsorted(flows, step.flow, side="right") - 1, 0, len(flows) - 2))
        return {"flow_1": float(flows[place]), "pressure_1": float(values[place]),
                "flow_2": float(flows[place + 1]), "pressure_2": float(values[place + 1])}  # fmt: skip

    def _device(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network = self.network
        for place, tag in enumerate(network.reducer_tags):
            if step.tag == f"{network.device_names[tag]} setting":
                setting = {"start_pressure": float(network.reducer_setting[place])}
                return "setting", f"Setting of {network.device_names[tag]}, where more comes", setting
        key = tag_key(step.tag)
        words = f"{str(self.rows['line_devices'][key].kind).capitalize()} {step.tag}"
        curve, head = network.device_curve.get(key, NONE), network.device_head.get(key, 0.0)
        square = network.device_square.get(key, 0.0)
        if curve != NONE and head and not square:
            return "booster", words, {**self._points(curve, step), "start_pressure": head}
        if curve != NONE and not head and not square:
            return "loss by points", words, self._points(curve, step)
        if curve == NONE and not head:
            return "loss by square", words, self._square(square)
        return "solver only", words, {}

    def _square(self, value: float) -> dict[str, Any]:
        return {"coefficient": value, "coefficient_quantity": "loss per flow squared"}

    def _source(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network, item = self.network, self.network.source_tags.index(step.tag)
        words = f"{str(self.rows['hot_water_sources'][tag_key(step.tag)].kind).capitalize()} {step.tag}"
        curve, square = int(network.source_curve[item]), float(network.source_square[item])
        if network.source_plant_main[item]:
            start = {"start_pressure": float(network.source_pressure[item])}
            if curve != NONE:
                return "plant main by points", words, {**start, **self._points(curve, step)}
            return "plant main", words, {**start, **self._square(square)}
        if curve != NONE:
            return "loss by points", words, self._points(curve, step)
        return "loss by square", words, self._square(square)

    def _pipe(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network, number = self.network, self.network.run_tags.index(step.tag)
        row, found = self.rows["pipe_runs"][tag_key(step.tag)], network.run_pipe[number]
        assert found is not None
        values: dict[str, Any] = {
            "material": str(row.material), "size": str(row.size), "length": float(network.run_length[number]),
            "fittings": row.fittings if isinstance(row.fittings, str) else f"{row.fittings:.12g}",
        }  # fmt: skip
        words, kind = f"Pipe {step.tag}", int(network.run_class[number])
        if network.hazen_williams:
            return "pipe", words, {**values, "constant": float(network.class_constant[kind])}
        roughness = float(network.class_roughness[kind])
        if roughness == found.roughness:
            return "pipe", words, values
        return "rough pipe", words, {**values, "roughness": roughness}

    def _rise(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        to = "the outlet " if step.tag in self.network.outlet_names else "the end of "
        word = "Rise" if step.rise >= 0 else "Fall"
        return "rise", f"{word} to {to}{step.tag}", {"length": step.rise}

    def _coefficient(self, flat: float, curve: int, flow: float) -> float:
        """The flow coefficient at a flow: typed, or from the points of a curve."""
        if curve == NONE:
            return flat
        return float(curve_coefficient_kernel(flow, *self.network.curves[curve])[0])

    def _seats(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network, valve = self.network, self.valve
        flat = float(network.valve_coefficient[valve])
        coefficient = self._coefficient(flat, int(network.valve_curve[valve]), step.flow)
        if not self.mixes:
            square = coefficient**-2 + float(network.valve_outlet_square[valve])
            words = f"Hot seat of {step.tag}, fully open, with its outlet passage"
            return "coefficient", words, self._valve_coefficient(square**-0.5)
        fraction = float(np.clip(self.now.valve.hot_fraction[self.state, self.pair], 0, 1))
        sides = self.now.valve.hot_pressure, self.now.valve.cold_pressure
        hot, cold = (float(pressure[self.state, self.pair]) for pressure in sides)
        kind = "seats, hot lower" if hot < cold else "seats, cold lower"
        return kind, f"Two seats of {step.tag}", {**self._valve_coefficient(coefficient), "fraction": fraction}

    def _valve_coefficient(self, value: float) -> dict[str, Any]:
        return {"coefficient": value, "coefficient_quantity": "flow coefficient"}

    def _passage(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        square = float(self.network.valve_outlet_square[self.valve])
        return "coefficient", f"Outlet passage of {step.tag}", self._valve_coefficient(square**-0.5)

    def _bypass(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network, valve = self.network, self.valve
        flat = float(network.valve_bypass_coefficient[valve])
        found = self._coefficient(flat, int(network.valve_bypass_curve[valve]), step.flow)
        return "coefficient", f"Cold bypass of {step.tag}", self._valve_coefficient(found)

    def _outlet(self, step: PathStep) -> tuple[str, str, dict[str, Any]]:
        network = self.network
        number = next(n for n in np.flatnonzero(network.outlet_station == self.station)
                      if network.outlet_names[n] == step.tag)  # fmt: skip
        rated = {"flow_1": float(network.outlet_rated_flow[number]),
                 "pressure_1": float(network.outlet_rated_pressure[number])}  # fmt: skip
        kind = "regulated outlet" if network.outlet_regulated[number] else "orifice outlet"
        return kind, f"Flow of the {step.tag}", rated

    def needed(self) -> Iterator[Line]:
        """The pressure that the outlet of least pressure over its need must have."""
        pairs = self.cases.outlets
        places = [place for place in range(pairs.of(self.opening).start, pairs.of(self.opening).stop)
                  if int(self.network.outlet_station[pairs.member[place]]) == self.station]  # fmt: skip
        least = min(places, key=lambda place: float(self.now.outlet_pressure[self.state, place]))
        outlet = int(pairs.member[least])
        need = float(self.site.context.needed_pressure[outlet])
        words = f"Pressure needed at the {self.network.outlet_names[outlet]}"
        yield Line("Outlet", "needed", "", words, {"pressure": need, "bar": "Needed there"})

    def flow_total(self, steps: tuple[PathStep, ...]) -> Iterator[Line]:
        """The sum of the outlets against the flow that came down the last pipe."""
        pipes = [step for step in steps if step.kind == "pipe"]
        outlets = [step for step in steps if step.kind == "outlet"]
        last = self.network.node_item[self.network.station_node[self.station]]
        is_run = self.network.node_kind[self.network.station_node[self.station]] == RUN
        carried = [step.flow for step in pipes if is_run and step.tag == self.network.run_tags[last]]
        if carried and outlets and not self._shared(int(self.network.station_node[self.station])):
            yield Line("Outlet", "flow total", "", "Sum of the outlets against the flow assumed", {"flow": carried[-1]},
                       carried[-1], "flow")  # fmt: skip

    def _shared(self, node: int) -> bool:
        """Whether the last run also feeds another station of the case."""
        network = self.network
        for other in self.cases.stations.member[self.cases.stations.of(self.opening)]:
            at = int(network.station_node[other])
            while int(other) != self.station and at != 0:
                if at == node:
                    return True
                at = int(network.parent[at])
        return False

    # ---- mixing, purge and storage ----

    def mixing(self) -> Iterator[Line]:
        """Hot and cold flow, hot fraction and stem of the station's valve, in normal use within its reach."""
        if not self.mixes:
            return
        valve, state, pair = self.now.valve, self.state, self.pair
        fraction, tag = float(valve.hot_fraction[state, pair]), self.network.valve_tags[self.valve]
        if not 0 <= fraction <= 1:
            return
        shared = self._mixture(float(valve.flow[state, pair]))
        hot, cold = float(valve.hot_flow[state, pair]), float(valve.cold_flow[state, pair])
        yield Line("Mixing", "hot flow", tag, f"Hot water into {tag}", dict(shared), hot, "flow")
        yield Line("Mixing", "cold flow", tag, f"Cold water into {tag}", dict(shared), cold, "flow")
        yield Line("Mixing", "hot fraction", tag, "Hot share by mass", {**shared, "flow_1": hot}, fraction, "fraction")
        pressures = {"pressure_1": float(valve.hot_pressure[state, pair]),
                     "pressure_2": float(valve.cold_pressure[state, pair])}  # fmt: skip
        coefficient = self._coefficient(float(self.network.valve_coefficient[self.valve]),
                                        int(self.network.valve_curve[self.valve]), shared["flow"])  # fmt: skip
        values = {**shared, **pressures, "fraction": fraction, **self._valve_coefficient(coefficient)}
        yield Line("Mixing", "stem", tag, "Opening of the hot seat", values, float(valve.stem[state, pair]), "fraction")

    def _mixture(self, flow: float) -> dict[str, Any]:
        network, season = self.network, ("cold", "warm").index(STATES[self.state][0])
        return {"flow": flow, "mixed_temperature": float(network.valve_set[self.valve]),
                "temperature": float(network.source_temperature[network.valve_source[self.valve]]),
                "cold_temperature": float(network.cold_temperature[season])}  # fmt: skip

    def purge(self, steps: tuple[PathStep, ...]) -> Iterator[Line]:
        """Time for new water to pass each tempered run, and the sum."""
        network, total = self.network, 0.0
        runs = [step for step in steps if step.side == "tempered" and step.kind == "pipe"]
        if any(step.flow <= 0 for step in runs):
            return  # a starved station: nothing passes, and no time is told
        for step in runs:
            node = int(network.run_node[network.run_tags.index(step.tag)])
            volume = float(network.purge_sum[node] - network.purge_sum[network.parent[node]])
            seconds = volume / step.flow if step.flow > 0 else math.nan
            total += seconds
            _, _, values = self._pipe(step)
            kept = {name: values[name] for name in ("material", "size", "length")}
            yield Line("Purge", "purge", step.tag, f"New water passes {step.tag}", {**kept, "flow": step.flow}, seconds,
                       "seconds")  # fmt: skip
        if runs:
            places = self.cases.stations.of(self.opening)
            place = places.start + self.cases.stations.member[places].tolist().index(self.station)
            found = float(self.now.station.purge_seconds[self.state, place])
            yield Line("Purge", "purge total", "", "From the valve to the station", {}, found, "seconds")

    def storage(self) -> Iterator[Line]:
        """How long the tank of the station's valve lasts, by both models."""
        source = int(self.network.valve_source[self.valve]) if self.pair != NONE else NONE
        if self.fault != NORMAL or source == NONE:
            return
        hot, pairs = self.site.judgement.measures.hot_water, self.cases.sources
        places = pairs.of(self.opening)
        place = places.start + pairs.member[places].tolist().index(source)
        row = self.site.judgement.site.hot_water_sources[source]
        governs = hot.governs[source]
        other = {"stratified": "mixed", "mixed": "stratified"}.get(governs, "")
        # what others draw, and what makes good the loss of loops, is no longer there for the tank
        beside = float(hot.hot_flow[self.state, place] - self.now.source_hot_flow[self.state, place])
        left = float(hot.recovery[self.state, source]) - beside
        words = ", recovery less other draw and loops" if beside > 0 else ""
        for model, seconds in ((governs, hot.seconds), (other, hot.seconds_other)):
            found = float(seconds[self.state, place])
            if model in ("stratified", "mixed") and not math.isnan(found):
                plain = self.cases.valves.counts[self.opening] == 1 and not row.start_delay and not left < 0
                word = "governs" if model == governs else "for comparison"
                yield Line("Storage", f"{model} tank" if plain else "solver only", str(row.tag),
                           f"Hot water of {str(row.tag).strip()} lasts, {model} tank ({word}{words})",
                           self._tank(row, left) if plain else {}, min(found, DAY), "minutes")  # fmt: skip

    def _tank(self, row: Any, recovery: float) -> dict[str, Any]:
        judgement, context = self.site.judgement, self.site.context
        units = self.site.units
        model = context.model_of(judgement.site.mixing_valves[self.valve])
        approach = context.cell("valve_models", model, "approach_hot") if model is not None else math.nan
        fraction = row.usable_fraction
        return {
            **self._mixture(float(self.now.valve.flow[self.state, self.pair])),
            "volume": float(to_si(row.volume, "gal" if units == "US" else "L")), "approach": approach,
            "fraction": fraction if isinstance(fraction, float) else 1.0,  # the mixed tank does not use it
            "flow_1": recovery,
        }  # fmt: skip
