"""What the pipes of a site come to, worked out once: surroundings, loops, held and standing water, frost."""

from __future__ import annotations

import functools
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.frost import Frost, frost, worst_on_the_way
from drenchbook.loops import Loop, held_temperatures, loop_heat, loops
from drenchbook.pipe_heat import Passage, inlet_passage, tempered_passage
from drenchbook.standing_water import first_water, standing_temperatures
from drenchbook.surroundings import Surroundings, surroundings

Numbers: TypeAlias = np.ndarray[Any, Any]


class PipeStates:
    """The pipes of one solved site; everything is worked out when it is first asked for."""

    def __init__(self, context: Context):
        self.context = context

    @functools.cached_property
    def surroundings(self) -> Surroundings:
        """What stands around each pipe run."""
        return surroundings(self.context)

    @functools.cached_property
    def loops(self) -> dict[int, Loop]:
        """The circulated loops by the number of their valve."""
        return loops(self.context, self.surroundings)

    def loop_heat(self, fault: str) -> Numbers:
        """[S, valves] heat that the loop of each valve takes from its hot water source in a fault. [W]"""
        return loop_heat(self.context, self.loops, fault)

    @functools.cached_property
    def held(self) -> Numbers:
        """[2 (beginning, end), 2 seasons, runs] temperatures at which heating or circulation holds each run. [°C]"""
        return held_temperatures(self.context, self.surroundings, self.loops)

    @functools.cached_property
    def standing(self) -> Numbers:
        """[2 (shade, sun), 2 seasons, runs] temperatures of water that has stood in each run. [°C]"""
        return standing_temperatures(self.surroundings, self.held)

    @functools.cached_property
    def tepid_middle(self) -> float:
        """The middle between the limits of tepid water. [°C]"""
        values = self.context.limit("TMP least").value, self.context.limit("TMP greatest").value
        return float("nan") if None in values else float(np.mean(np.array(values, dtype=float)))

    @functools.cached_property
    def first_water(self) -> Numbers:
        """[S, stations] temperature of the water that has stood in the tempered runs of a station. [°C]"""
        return first_water(self.context, self.tepid_middle, self.standing)

    @functools.cached_property
    def first_water_circulation_off(self) -> Numbers:
        """The same when no pump runs. [°C]"""
        held = held_temperatures(self.context, self.surroundings, self.loops, circulating=False)
        return first_water(self.context, self.tepid_middle, standing_temperatures(self.surroundings, held))

    @functools.cached_property
    def tempered_passage(self) -> Passage:
        """What the tempered runs do to the water of each station, in steady flow."""
        return tempered_passage(self.context, self.surroundings)

    @functools.cached_property
    def hot_at_valves(self) -> Numbers:
        """[valves] least temperature at which hot water arrives, over all cases under control; infinite: none. [°C]"""
        network, pairs, valve = self.context.network, self.context.cases.valves, self.context.results.normal.valve
        found = np.full(len(network.valve_tags), np.inf)
        if len(pairs.member):
            start = np.broadcast_to(
                network.source_temperature[network.valve_source[pairs.member]], valve.hot_flow.shape
            )
            arriving = inlet_passage(self.context, self.surroundings, "hot").arriving(start)
            used = valve.under_control & (valve.hot_flow > 0)
            np.minimum.at(found, pairs.member, np.where(used, arriving, np.inf).min(axis=0))
        return found

    @functools.cached_property
    def frost(self) -> Frost:
        """What runs come to in frost."""
        return frost(self.context, self.surroundings, self.held)

    @property
    def _runs_of_loops(self) -> dict[int, tuple[int, ...]]:
        return {number: loop.runs for number, loop in self.loops.items()}

    @functools.cached_property
    def coldest_runs(self) -> tuple[Numbers, Numbers]:
        """For each station the coldest run that it depends on, and one whose temperature is not known; -1: none."""
        return worst_on_the_way(self.context, self.frost.idle, self._runs_of_loops)

    @functools.cached_property
    def soonest_frozen_runs(self) -> tuple[Numbers, Numbers]:
        """For each station the heated run that freezes soonest without its heat, and one of which it is not known."""
        return worst_on_the_way(self.context, self.frost.seconds_of_heated, self._runs_of_loops)
