"""What every measure of the solved cases rests on: results, limits, data of valves, hot water and its courses."""

from __future__ import annotations

import functools
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.check_samples import Samples
from drenchbook.courses import Courses
from drenchbook.hot_sources import Heater, heaters, held_temperature
from drenchbook.hot_water import DAY, HotWater, hot_water, seconds_in
from drenchbook.operating_cases import (
    MIXING,
    NORMAL,
    STATES,
    Pairs,
)
from drenchbook.pipe_states import PipeStates
from drenchbook.solver_results import FaultResults

Numbers: TypeAlias = np.ndarray[Any, Any]

ALL_STATES = tuple(range(len(STATES)))


def conditions(*faults: str, states: tuple[int, ...] = ALL_STATES) -> tuple[tuple[str, int], ...]:
    """Every combination of a fault and a state, fault by fault."""
    return tuple((fault, state) for fault in faults for state in states)


class CaseMeasures(PipeStates):
    """The solved cases of one site, with what several checks share worked out once."""

    def __init__(self, context: Context):
        super().__init__(context)
        self.cases = context.cases
        self.of_valves: dict[tuple[str, int], Any] = {}  # findings that all stations behind one valve share
        self._required: dict[str, Samples] = {}
        self._mixed: dict[str, Numbers] = {}
        self._hot_seconds: dict[str, Numbers] = {}

    def _fault(self, name: str) -> FaultResults:
        return self.context.results.fault(name)

    def _limit(self, name: str) -> float:
        value = self.context.limit(name).value
        return float("nan") if value is None else value

    def _states(self, fault: str, pairs: Pairs) -> Numbers:
        """[S, pairs] state of the opening of each pair."""
        return self._fault(fault).state[:, pairs.opening]

    def solved_faults(self, *faults: str) -> tuple[str, ...]:
        """Those of some faults that can happen on the site."""
        return tuple(fault for fault in faults if fault in self.context.results.names)

    def _model_cell(self, valve: Any, column: str) -> float:
        model = self.context.model_of(valve)
        return self.context.cell("valve_models", model, column) if model is not None else float("nan")

    def _model_cells(self, column: str) -> Numbers:
        cells = np.array([self._model_cell(valve, column) for valve in self.context.site.mixing_valves], dtype=float)
        members = self.cases.valves.member
        return cells[members] if len(members) else np.zeros(0)

    @functools.cached_property
    def hot_water(self) -> HotWater:
        """Minutes of hot water of every case."""
        return hot_water(self.context, self.loop_heat(NORMAL))

    def hot_seconds(self, fault: str) -> Numbers:
        """[S, source pairs] seconds of hot water in a fault, a day at most; not-a-number where not known, or no mix."""
        if fault not in self._hot_seconds:
            if fault == NORMAL:
                found = self.hot_water.seconds
            elif fault in MIXING:
                course = self.courses.sources(fault)[0]
                found = seconds_in(self.context, fault, self.loop_heat(fault), course)
            else:
                found = np.full(self._fault(fault).source_hot_flow.shape, np.nan)
            self._hot_seconds[fault] = np.minimum(found, DAY)
        return self._hot_seconds[fault]

    @functools.cached_property
    def heaters(self) -> tuple[Heater, ...]:
        """Every hot water source, in SI."""
        return heaters(self.context)

    def mixed_temperature_in(self, fault: str) -> Numbers:
        """[S, valve pairs] temperature at which water leaves each valve in a fault, with what its source holds."""
        if fault not in self._mixed:
            results = self._fault(fault)
            held = (
                held_temperature(self.context, results, self.heaters, self.loop_heat(fault))
                if fault in MIXING
                else np.inf
            )
            self._mixed[fault] = np.minimum(results.valve.mixed_temperature, held)
        return self._mixed[fault]

    @functools.cached_property
    def courses(self) -> Courses:
        """Fifteen minutes of every case."""
        return Courses(self.context, self)
