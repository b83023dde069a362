"""What the solver gives back: arrays over supply states and openings, one set for each fault.

Axis 0 is the state of season and supply in the order of `operating_cases.STATES`. Axis 1 is the opening, or a pair of
an opening with one of its outlets, stations, valves, supplies or hot water sources; `Cases` holds which pairs those
are. Every number of a case that is not SOLVED is not-a-number: no root is a state, never a zero (FROM_DATA has the
flows of the valve's data sheet and of the outlets that share them, and nothing else). A solved case may
hold a starved outlet: its flow is 0 and its pressure, zero or less, is what the network would still give there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

Numbers: TypeAlias = np.ndarray[Any, Any]

SOLVED, CANNOT_REACH, MISSING, BEYOND_CURVE, NOT_CONVERGED, NO_PATH, FROM_DATA, NO_WATER = range(8)
STATE_WORDS: tuple[str, ...] = (
    "solved",
    "supply cannot reach",
    "missing input",
    "beyond curve points",
    "not converged",
    "no flow path",  # a fault that this valve has no way round: no bypass is fitted, or the station has no valve
    "from the valve's data",  # not solved: the valve passes what its data sheet says, shared out by rated flow
    "no water: supply or valve lost",
)
REACHES, TOO_COLD, TOO_HOT = 0, -1, 1


@dataclass(frozen=True)
class ValveResults:
    """One number for each state and each pair of an opening and a valve that passes water in it.

    Flows are volumes at their own temperature [m³/s], pressures gauge [Pa], temperatures [°C]. `hot_fraction` is the
    share by mass that the temperatures ask for, unclamped; where it lies outside 0 to 1 `reach` says so (TOO_COLD:
    the hot water is not hot enough; TOO_HOT: the cold water is already warmer than set) and the hydraulics stand at
    full hot or full cold. `mixed_temperature` is not-a-number where the valve is not under control.
    `chamber_pressure` stands behind the seats, `outlet_pressure` behind the outlet passage. In the fault "hot
    pressure lost" the hot side is not-a-number and the chamber is where the bypass joins.
    """

    flow: Numbers
    hot_fraction: Numbers
    hot_flow: Numbers
    cold_flow: Numbers
    hot_pressure: Numbers
    cold_pressure: Numbers
    chamber_pressure: Numbers
    outlet_pressure: Numbers
    stem: Numbers
    mixed_temperature: Numbers
    under_control: Numbers  # bool: flow at or above the model's minimum flow
    beyond_model: Numbers  # bool: flow above the last point of the model's curve; the case is refused
    reach: Numbers  # int: REACHES, TOO_COLD or TOO_HOT


@dataclass(frozen=True)
class StationResults:
    """One number for each state and each pair of an opening and a station in it.

    `purge_seconds` is the time until the front has passed from the valve to the station, pipe wall included
    (not-a-number for a station without a valve). Peak velocities [m/s] over the common, cold and tempered runs of the
    path, and over its hot runs, each with the index of the run in `Network.run_tags` (-1: none).
    """

    purge_seconds: Numbers
    velocity_cold: Numbers
    velocity_cold_run: Numbers
    velocity_hot: Numbers
    velocity_hot_run: Numbers


@dataclass(frozen=True)
class FaultResults:
    """Every case of one fault."""

    fault: str
    state: Numbers  # [S, O] int: SOLVED … NO_PATH
    residual_pressure: Numbers  # [S, O] largest difference of what outlets need and the paths give [Pa]
    residual_flow: Numbers  # [S, O] largest imbalance of one outlet's flow, as a share of that flow [-]
    beyond_item: Numbers  # [S, O] int: index in Network.curve_names of the curve that was left, -1 none
    outlet_flow: Numbers  # [S, pairs of opening and outlet] at its own temperature [m³/s]
    outlet_pressure: Numbers  # [S, same] gauge [Pa]
    valve: ValveResults
    station: StationResults
    supply_flow: Numbers  # [S, pairs of opening and supply] [m³/s]
    supply_beyond_test: Numbers  # [S, same] bool: flow above that of the flow test
    source_hot_flow: Numbers  # [S, pairs of opening and hot water source] at hot temperature [m³/s]


@dataclass(frozen=True)
class Results:
    """Every fault of every case."""

    faults: tuple[FaultResults, ...]  # in the order of operating_cases.FAULTS, those that can happen on the site

    def fault(self, name: str) -> FaultResults:
        """The results of one fault by its name; KeyError if it is not solved."""
        for one in self.faults:
            if one.fault == name:
                return one
        raise KeyError(name)

    @property
    def names(self) -> tuple[str, ...]:
        """The faults that were solved."""
        return tuple(one.fault for one in self.faults)

    @property
    def normal(self) -> FaultResults:
        """Results without a fault."""
        return self.faults[0]


@dataclass(frozen=True)
class StaticPressures:
    """Pressures at no flow, high supply state, no loss of any device credited [Pa]; the larger of both seasons."""

    outlet: Numbers  # [outlets of the network]
    valve_cold: Numbers  # [valves]
    valve_hot: Numbers  # [valves]


@dataclass(frozen=True)
class PathStep:
    """One row of a worked path: what the water passes, its flow there, the pressure it costs and what is left."""

    side: str  # "common", "cold", "hot", "valve", "tempered", "outlet"
    kind: str  # "supply", "device", "pipe", "rise", "hot water source", "seats", "outlet passage", "bypass", "outlet"
    tag: str
    flow: float  # [m³/s], at the temperature of the section
    loss: float  # [Pa], positive where pressure falls
    pressure: float  # [Pa], after it
    temperature: float = math.nan  # [°C], of the water there
    rise: float = math.nan  # [m], where the step is a rise
