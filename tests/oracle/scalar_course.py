"""Fifteen minutes of one station in small steps with plain floats, from the rows of a site and the flows of a case.

It shares with the package only the properties of water and the tables of pipes. Each step draws what the valve asks,
cools what is stored, and hands the water to the pipe behind the valve, which gives it back when its content has passed.
"""

from __future__ import annotations

from dataclasses import dataclass

from drenchbook.physics.water import density, heat_capacity, specific_enthalpy, temperature_of_enthalpy
from drenchbook.published.pipes import pipe
from drenchbook.site_tables import PROJECT
from tests.oracle.scalar_solver import Rows

FLUSH = 900.0


@dataclass
class Felt:
    """What a person under the outlet meets, in seconds and °C."""

    inside: float
    untepid: float
    tepid_after: float
    lowest: float
    highest: float


class Course:
    """One station behind the only valve of its case."""

    def __init__(self, site, season, station, mass, limits, fault="normal"):
        self.rows, self.site, self.season, self.fault = Rows(site), site, season, fault
        t = self.rows.tables
        self.mass, self.least, self.greatest = mass, *limits
        column = self.rows.si
        project = {c.name: column(c, getattr(site.project, c.name)) for c in PROJECT.columns}
        self.project = project
        self.cold = project[f"cold_water_{season}"]
        self.room = project[f"room_{season}"]
        row = t["stations"][station]
        self.tempered, valve = self._runs(row["fed_from"])
        self.valve = t["mixing_valves"][valve]
        self.model = t["valve_models"][self.valve["model"]]
        hot, source = self._runs(self.valve["hot_run"])
        self.hot = hot
        self.source = t["hot_water_sources"][source]

    def _runs(self, tag):
        found = []
        while tag in self.rows.tables["pipe_runs"]:
            run = self.rows.tables["pipe_runs"][tag]
            found.append(run)
            tag = run["fed_from"]
        return found, tag

    def _content(self, runs, temperature):
        """Water and the wall's heat as water. [m³]"""
        total = 0.0
        for run in runs:
            one = pipe(run["material"], run["size"])
            area = 3.141592653589793 / 4 * one.inside_diameter**2
            wall = 3.141592653589793 / 4 * (one.outside_diameter**2 - one.inside_diameter**2)
            water = area * density(temperature) * heat_capacity(temperature)
            total += run["developed_length"] * area * (1 + wall * one.wall_density * one.wall_heat_capacity / water)
        return total

    def felt(self, governing, step=0.25):
        """Step by step: what the source gives, what the valve makes of it, and when it arrives."""
        hc, hs = specific_enthalpy(self.cold), specific_enthalpy(self.valve["set_temperature"])
        wanted = max(hs - hc, 0.0)
        needed = specific_enthalpy(self.valve["set_temperature"] + self.model["approach_hot"]) - hc
        stood = specific_enthalpy(self.room) - hc
        flow = self.mass / density(self.valve["set_temperature"])
        purge = self._content(self.tempered, self.valve["set_temperature"]) / flow
        hot_run = self._content(self.hot, 20.0) * density(self.cold) / self.mass  # the valve stands full hot
        hot_run = hot_run if wanted > 0 else 0.0  # cold water as warm as set: the valve stands full cold
        tank = _Source(self, governing, hc, wanted)
        arrives, known, time = [], {}, 0.0
        while time < FLUSH:
            given = tank.step(time, step)
            heat = min(wanted, stood if time < hot_run else given)
            assured = time < hot_run or given >= needed * (1 - 1e-12) or wanted <= 0
            if heat not in known:
                known[heat] = temperature_of_enthalpy(hc + heat)
            arrives.append((known[heat], assured or self.cold >= self.least))
            time += step
        return self._told(arrives, purge, hot_run, step)

    def _told(self, arrives, purge, hot_run, step):
        inside = untepid = after = time = 0.0
        lowest, highest = float("inf"), -float("inf")
        begun = False
        while time < FLUSH:
            late = time - purge
            temperature, sure = (self.room, True) if late < 0 else arrives[int(late / step)]
            fine = self.least - 1e-6 <= temperature <= self.greatest + 1e-6
            inside += step if fine and sure else 0.0
            if not begun and not fine:
                untepid, after = untepid + step, time + step
            begun = begun or late >= hot_run
            lowest, highest = min(lowest, temperature), max(highest, temperature)
            time += step
        return Felt(inside, untepid, after, lowest, highest)


class _Source:
    """What is stored, and what leaves it."""

    def __init__(self, course, governing, cold, wanted):
        row, self.course = course.source, course
        self.hot = specific_enthalpy(row["start_temperature"]) - cold
        weight = density(row["start_temperature"])
        self.governing, self.mass = governing, row["volume"] * weight
        self.stock = row["usable_fraction"] * self.mass * self.hot  # J that the layers hold
        self.surplus = self.hot
        self.other = row["other_demand"] * weight * self.hot
        self.heat, self.most = course.mass * wanted + self.other, course.mass
        if wanted > 0:
            self.most = self.heat / wanted
        self.power, self.delay = row["input_power"] * row["efficiency"], row["start_delay"]
        if course.fault == "power lost" and row["needs_power"]:
            self.power = 0.0

    def step(self, time, step):
        """Heat above cold water of what leaves now; then the step's draw and gain."""
        gain = self.power if time >= self.delay else 0.0
        if self.governing == "mixed":
            given = self.surplus
            drawn = min(self.heat, self.most * max(given, 0.0))
            self.surplus = min(self.surplus + (gain - drawn) * step / self.mass, self.hot)
            return given
        full = self.stock > 0
        if full:
            self.stock += (gain - self.heat) * step
            self.stock = min(self.stock, self.course.source["usable_fraction"] * self.mass * self.hot)
            return self.hot
        return self.hot if gain >= self.heat else min(gain / self.most, self.hot)
