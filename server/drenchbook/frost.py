"""Frost: what idle runs come to in the cold season, and how long heated ones last when their heat is lost."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.network_arrays import RUN, VALVE
from drenchbook.physics.heat_loss import idle_time_constant, seconds_to_temperature
from drenchbook.surroundings import Surroundings

Numbers: TypeAlias = np.ndarray[Any, Any]

FREEZING = 0.0  # [°C]
WATER_TEMPERATURE = 4.0  # [°C] at which the heat of the water is taken


@dataclass(frozen=True)
class Frost:
    """Arrays over the runs of a site, in the cold season. Not-a-number: not known, or it does not apply."""

    idle: Numbers  # temperature of water that stands or is held [°C]
    heated: Numbers  # bool: something holds it
    seconds_from_cold: Numbers  # from cold water to freezing; infinite where it never freezes [s]
    seconds_of_heated: (
        Numbers  # from the held temperature to freezing, without heat; infinite where nothing is held [s]
    )


def frost(context: Context, around: Surroundings, held: Numbers) -> Frost:
    """Idle temperatures and times to freezing of every run.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    around : Surroundings
        Of the same site. [W/K, °C]
    held : array
        From `held_temperatures`. [°C]

    Returns
    -------
    Frost
        Arrays over the runs. [°C, s]

    Notes
    -----
    t = τ·ln((T0 − Ta)/(0 − Ta)) [Incropera, eq. 5.5], τ without the heat of the insulation and without that of
    freezing: the water is still liquid then, and the next hour is not counted on.
    """
    outside, warmest = around.shade[0], np.min(held[:, 0], axis=0)
    heated = ~np.isnan(warmest)
    constant = time_constants(around)
    cold = context.cold_temperature("cold")
    heated_seconds = np.where(heated, _seconds(warmest, outside, constant), np.inf)
    return Frost(
        np.where(heated, warmest, outside), heated, _seconds(np.full(outside.shape, cold), outside, constant),
        heated_seconds,
    )  # fmt: skip


def time_constants(around: Surroundings) -> Numbers:
    """τ of each run while it stands, not-a-number where the pipe is not known. [s]"""
    found = np.full(len(around.pipes), np.nan)
    per_metre = around.conductance_per_metre
    at = [number for number, one in enumerate(around.pipes) if one is not None and per_metre[number] > 0]
    if at:
        names = ("inside_diameter", "outside_diameter", "wall_density", "wall_heat_capacity")
        walls = {name: np.array([getattr(around.pipes[number], name) for number in at]) for name in names}
        found[at] = idle_time_constant(
            **walls, conductance_per_metre=per_metre[at], water_temperature=WATER_TEMPERATURE
        )
    return found


def _seconds(start: Numbers, outside: Numbers, constant: Numbers) -> Numbers:
    found = np.full(outside.shape, np.nan)
    known = ~np.isnan(start + outside + constant)
    found[known] = seconds_to_temperature(start[known], outside[known], FREEZING, constant[known])
    found[known & (start <= FREEZING) & (outside < FREEZING)] = 0.0
    return found


def worst_on_the_way(context: Context, value: Numbers, beside: Mapping[int, Sequence[int]]) -> tuple[Numbers, Numbers]:
    """The run with the least value among all that a station depends on, hot and cold side of its valve included.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    value : array
        One number for each run; not-a-number: not known. [-]
    beside : mapping
        Runs that belong to a valve beside those on the way, such as those of its loop. [-]

    Returns
    -------
    tuple of array
        For each station the run with the least known value, and one whose value is not known; -1 where there is none.

    Notes
    -----
    Passed on from node to node, those of the supplies first [worked here].
    """
    network = context.network
    least, hidden = np.full(len(network.node_kind), -1), np.full(len(network.node_kind), -1)

    def better(one: int, other: int) -> int:
        return one if other < 0 or (one >= 0 and value[one] <= value[other]) else other

    for node in np.argsort(network.node_valve >= 0, kind="stable").tolist():
        if node == 0:
            continue
        above = int(network.parent[node])
        least[node], hidden[node] = least[above], hidden[above]
        item = int(network.node_item[node])
        if network.node_kind[node] == VALVE:
            cold, hot = int(network.valve_cold_node[item]), int(network.valve_hot_node[item])
            least[node] = better(int(least[cold]), int(least[hot]))
            hidden[node] = max(hidden[cold], hidden[hot])
            for run in beside.get(item, ()):
                least[node], hidden[node] = (least[node], run) if np.isnan(value[run]) else (
                    better(run, int(least[node])), hidden[node])  # fmt: skip
        elif network.node_kind[node] == RUN:
            if np.isnan(value[item]):
                hidden[node] = item
            else:
                least[node] = better(item, int(least[node]))
    return least[network.station_node], hidden[network.station_node]
