"""What a closing outlet valve adds to the static pressure of a station, against the weakest rating on its path."""

from __future__ import annotations

import math
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.operating_cases import Pairs
from drenchbook.physics.surge import wave_speed
from drenchbook.physics.water import density, sound_speed
from drenchbook.site_model import Missing, tag_key

Numbers: TypeAlias = np.ndarray[Any, Any]

# [°C] where density times the speed of sound is greatest: within 9 % of the coldest water, on the safe side.
STIFFEST_WATER = 50.0


class SurgePaths:
    """Of each station: the longest way to a main or a tank, the fastest wave on it, and the least closing time."""

    def __init__(self, context: Context):
        self.context = context
        self.density = float(density(STIFFEST_WATER))
        self.sound_speed = float(sound_speed(STIFFEST_WATER))
        self._times = {tag: self._time_of(model) for tag, model in context.rows["outlet_models"].items()}
        self._known: dict[str, tuple[float, float]] = {}
        self._speeds: dict[tuple[float, ...], float] = {}  # by bore and wall: many runs are alike
        self._run_number = {tag_key(tag): number for number, tag in enumerate(context.network.run_tags)}
        ways = [self._way(tag_key(station.fed_from)) for station in context.site.stations]
        self.length = np.array([length for length, _ in ways], dtype=float)
        self.wave_speed = np.array([speed for _, speed in ways], dtype=float)
        self.closing_time = np.array([self._closing_time(station) for station in context.site.stations], dtype=float)

    def _closing_time(self, station: Any) -> float:
        """The least of its outlets. [s]"""
        names = [tag_key(getattr(station, f"outlet_{slot}")) for slot in (1, 2, 3)]
        times = [self._times[name] for name in names if name in self._times]
        return math.nan if any(map(math.isnan, times)) else min(times, default=0.0)

    def _time_of(self, model: Any) -> float:
        """Closing time of an outlet model; a blank closes at once, one that cannot be used is not known. [s]"""
        typed = model.closing_time
        if typed is None or (isinstance(typed, Missing) and typed.typed is None):
            return 0.0
        return self.context.cell("outlet_models", model, "closing_time")

    def _way(self, tag: str) -> tuple[float, float]:
        """Length and wave speed upstream of a tag, itself included; worked out once for each tag."""
        waiting = [tag]
        while waiting:
            now = waiting[-1]
            above = self._above(now)
            todo = [other for other in above if other not in self._known]
            if todo:
                waiting += todo
                continue
            waiting.pop()
            length, speed = self._own(now)
            ways = [self._known[other] for other in above]
            self._known[now] = (
                length + _greatest([0.0, *(one for one, _ in ways)]),
                _greatest([speed, *(one for _, one in ways)]),
            )
        return self._known[tag]

    def _above(self, tag: str) -> list[str]:
        """What feeds a tag, on both sides of a valve; the way goes on through a tank, which makes it longer."""
        for key in ("pipe_runs", "mixing_valves", "hot_water_sources"):
            row = self.context.rows[key].get(tag)
            if row is not None and getattr(row, "kind", "") == "plant main":
                return []
            if row is not None:
                columns = ("cold_run", "hot_run") if key == "mixing_valves" else ("fed_from",)
                return [tag_key(getattr(row, name)) for name in columns if isinstance(getattr(row, name), str)]
        return []

    def _own(self, tag: str) -> tuple[float, float]:
        """Length of a run and the speed of a wave in it; nothing for anything else."""
        number = self._run_number.get(tag)
        if number is None:
            return 0.0, 0.0
        found, length = self.context.network.run_pipe[number], float(self.context.network.run_length[number])
        if found is None:
            return length, float("nan")
        pipe = found.inside_diameter, found.wall, found.wall_elasticity
        if pipe not in self._speeds:
            self._speeds[pipe] = float(wave_speed(self.sound_speed, self.density, *pipe))
        return length, self._speeds[pipe]

    def pressure_per_velocity(self, station: Numbers, closing_time: Numbers) -> Numbers:
        """Pressure that each unit of stopped velocity adds at some stations, closed in some times. [Pa/(m/s)]

        Notes
        -----
        As `physics.surge.closing_pressure`, for all stations at once; not-a-number where an input is missing.
        """
        length, speed = self.length[station], self.wave_speed[station]
        with np.errstate(divide="ignore", invalid="ignore"):
            slow = np.where(closing_time > 0, 2 * length / closing_time, np.inf)
        return np.asarray(self.density * np.where(closing_time == 0, speed, np.minimum(speed, slow)))

    def least_closing_time(self, pairs: Pairs) -> Numbers:
        """For each pair of an opening and a station the least closing time in the opening: all share its pipes. [s]"""
        least = np.full(len(pairs.offsets) - 1, np.inf)
        np.minimum.at(least, pairs.opening, self.closing_time[pairs.member])
        return least[pairs.opening]


def _greatest(numbers: list[float]) -> float:
    """The greatest; not-a-number as soon as one is."""
    return math.nan if any(map(math.isnan, numbers)) else max(numbers)


def spare_pressures(context: Context, static_outlet: Numbers, static_valve: Numbers) -> tuple[Numbers, Numbers]:
    """[stations] static pressure and rating where least is to spare, at outlets and valves. [Pa]"""
    static, rating = (np.full(len(context.site.stations), np.nan) for _ in range(2))
    for number in range(len(static)):
        parts = [(static_outlet[o], context.outlets[o].maximum_pressure) for o in context.outlets_of[number]]
        for valve in context.depends_on(number, "mixing_valves"):
            model = context.model_of(valve)
            rated = context.cell("valve_models", model, "maximum_pressure") if model is not None else float("nan")
            parts.append((static_valve[context.valve_number[tag_key(valve.tag)]], rated))
        spare = np.array([rated - now for now, rated in parts], dtype=float)
        if len(spare) and not np.isnan(spare).any():
            static[number], rating[number] = parts[int(spare.argmin())]
    return static, rating
