"""Pipes run by run with plain floats: what stands around them, what they hold, what water loses and gains on its way.

Written from the equations and the numbers of `assumptions.md`; only the properties of water and the tables of pipes are
taken from the package. It knows one season of one site.
"""

from __future__ import annotations

import math

from drenchbook.published.pipes import pipe
from drenchbook.site_tables import PROJECT
from tests.oracle.scalar_solver import Rows, density, heat_capacity

WIND, STILL, ROOM = 34.0, 10.0, 12.8  # [W/(m²·K)] films outside in the wind, in the sun on a calm day, inside
INSULATION, SOIL, COVER, DARK = 0.04, 2.0, 0.5, 0.9  # [W/(m·K)], [W/(m·K)], [m], absorptivity
COLDEST, HOTTEST = -20.0, 110.0  # [°C] beyond these water is not liquid


class Pipes:
    """The pipe runs of one site in one season and one fault."""

    def __init__(self, rows: Rows, season: str, fault: str):
        self.runs, self.valves, self.season, self.fault = (
            rows.tables["pipe_runs"],
            rows.tables["mixing_valves"],
            season,
            fault,
        )
        self.project = {c.name: rows.si(c, getattr(rows.site.project, c.name)) for c in PROJECT.columns}
        self.pipe = {tag: pipe(run["material"], run["size"]) for tag, run in self.runs.items()}

    def above(self, tag):
        """Runs from a tag up to the valve, the source or the supply that feeds them, the lowest first; and its tag."""
        found = []
        while tag in self.runs:
            found.append(tag)
            tag = self.runs[tag]["fed_from"]
        return found, tag

    # What stands around a run.

    def shade(self, tag):
        air = {"inside": "room", "outside": "outside_air", "buried": "ground"}[self.runs[tag]["exposure"]]
        return self.project[f"{air}_{self.season}"]

    def sun(self, tag, film):
        """Of a run that the sun shines on: as if the air were that much warmer."""
        run = self.runs[tag]
        shines = run["exposure"] == "outside" and run["sun"] and self.project[f"sun_{self.season}"]
        return self.shade(tag) + (
            DARK * self.project[f"irradiance_{self.season}"] / (math.pi * film) if shines else 0.0
        )

    def flowing(self, tag):
        """While water flows: the coldest hour is a night."""
        return self.sun(tag, WIND) if self.season == "warm" else self.shade(tag)

    def conductance(self, tag):
        """Heat that passes from the water of a whole run, per kelvin. [W/K]"""
        run, one = self.runs[tag], self.pipe[tag]
        surface = one.outside_diameter + 2 * run["insulation"]
        wall = math.log(one.outside_diameter / one.inside_diameter) / (2 * math.pi * one.wall_conductivity)
        jacket = math.log(surface / one.outside_diameter) / (2 * math.pi * INSULATION)
        if run["exposure"] == "buried":
            around = math.acosh(2 * (COVER + surface / 2) / surface) / (2 * math.pi * SOIL)
        else:
            around = 1 / (math.pi * surface * (WIND if run["exposure"] == "outside" else ROOM))
        return run["developed_length"] / (wall + jacket + around)

    # What a run holds.

    def content(self, tag, temperature):
        """Water, and the wall's heat as water. [m³]"""
        one = self.pipe[tag]
        water = math.pi / 4 * one.inside_diameter**2 * self.runs[tag]["developed_length"]
        wall = math.pi / 4 * (one.outside_diameter**2 - one.inside_diameter**2) * self.runs[tag]["developed_length"]
        per_volume = density(temperature) * heat_capacity(temperature)
        return water + wall * one.wall_density * one.wall_heat_capacity / per_volume

    # What holds a run.

    def loop(self, valve):
        """Runs from a valve round to the end of its return run; () where it has no loop."""
        back = self.valves[valve]["loop_return_run"]
        return self.above(back)[0][::-1] if back else []

    def turns(self, valve):
        """Whether the pump of a valve's loop runs."""
        row = self.valves[valve]
        stops = self.fault in ("circulation off", "first draw after idle")
        return bool(row["loop_return_run"]) and not stops and not (
            self.fault == "power lost" and row["loop_pump_needs_power"])  # fmt: skip

    def round_the_loop(self, valve):
        """Temperatures at the valve and behind each run of its loop while the pump runs, and ṁ·c. [°C, W/K]"""
        row = self.valves[valve]
        rate = row["loop_flow"] * density(row["set_temperature"]) * heat_capacity(row["set_temperature"])
        found = [row["set_temperature"]]
        for tag in self.loop(valve):
            found.append(self.passed(found[-1], [(tag, rate)]))
        return found, rate

    def loop_loss(self, valve):
        """Heat that a turning loop takes from the source; what it gains is not credited. [W]"""
        if not self.turns(valve):
            return 0.0
        along, rate = self.round_the_loop(valve)
        return max(rate * (along[0] - along[-1]), 0.0)

    def held(self):
        """Temperatures at the beginning and the end of each run that something holds."""
        stopped = {tag for valve in self.valves if not self.turns(valve) for tag in self.loop(valve)}
        found = {}
        for tag, run in self.runs.items():
            lost = run["circulated"] and (tag in stopped or self.fault == "circulation off")
            lost = lost or self.fault in ("first draw after idle", "power lost")  # tracing ends as well
            if run["held_temperature"] is not None and not lost:
                found[tag] = (run["held_temperature"],) * 2
        for valve in self.valves:
            if self.turns(valve):
                along, _ = self.round_the_loop(valve)
                found |= {tag: along[place : place + 2] for place, tag in enumerate(self.loop(valve))}
        return found

    def standing(self, tag):
        """The two temperatures that stood water may have: by night and in the sun, or of a held run at its ends."""
        held = self.held()
        return tuple(held[tag]) if tag in held else (self.shade(tag), self.sun(tag, STILL))

    # What water loses and gains.

    def passed(self, temperature, way):
        """Behind some runs, each with its ṁ·c [W/K], in the order of the flow."""
        for tag, rate in way:
            around = self.flowing(tag)
            temperature = around + (temperature - around) * math.exp(-self.conductance(tag) / rate)
        return temperature

    def before(self, temperature, way):
        """What enters the runs where this leaves them; kept within what water can have."""
        for tag, rate in reversed(way):
            around, units = self.flowing(tag), self.conductance(tag) / rate
            off = temperature - around
            grown = math.copysign(math.inf, off) if units > 700 and off else off * math.exp(min(units, 700.0))
            temperature = around + grown
        return min(max(temperature, COLDEST), HOTTEST)
