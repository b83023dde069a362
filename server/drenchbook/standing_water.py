"""The water that has stood in the tempered runs of each station: what comes first when the station is opened."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.network_arrays import WITHIN_RUNS
from drenchbook.operating_cases import STATES
from drenchbook.surroundings import SEASONS, Surroundings, runs_above, why_heat_unknown, why_unknown

Numbers: TypeAlias = np.ndarray[Any, Any]


def standing_temperatures(around: Surroundings, held: Numbers) -> Numbers:
    """Temperatures that water comes to while it stands, in shade and in the sun.

    Parameters
    ----------
    around : Surroundings
        Of the runs of a site. [°C]
    held : array
        From `held_temperatures`. [°C]

    Returns
    -------
    array
        [2 (shade, sun), 2 (cold, warm), runs]; of a run that is held, the temperatures at its beginning and end. [°C]

    Notes
    -----
    Long standing: the surroundings themselves, whatever the insulation [worked here].
    """
    return np.where(np.isnan(held), np.stack((around.shade, around.sun)), held)


def tempered_runs(context: Context, station: int) -> list[int]:
    """The runs, by number, from a station up to its valve, or to its supply where it has none."""
    return runs_above(context, int(context.network.station_node[station]))


def first_water(context: Context, middle: float, standing: Numbers) -> Numbers:
    """Temperature of the water that has stood in the tempered runs of each station, the one farthest from `middle`.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    middle : float
        The middle of what is tepid. [°C]
    standing : array
        From `standing_temperatures`. [°C]

    Returns
    -------
    array
        [S, stations]; not-a-number where an input is blank, or where there is no run. [°C]

    Notes
    -----
    By night or on a sunny day, in whichever run it is worst [worked here].
    """
    return _farthest(context, standing, middle)


def hottest_first_water(context: Context, standing: Numbers) -> Numbers:
    """The same, the hottest: what may scald. [S, stations] [°C]"""
    return _farthest(context, standing, -np.inf)


def _farthest(context: Context, standing: Numbers, middle: float) -> Numbers:
    """Level by level from the root of each tree: the value farthest from the middle so far, the lowest run's first."""
    network = context.network
    if np.isnan(middle):
        return np.full((len(STATES), len(context.site.stations)), np.nan)

    def far(values: Numbers) -> Numbers:
        return np.abs(values - middle) if np.isfinite(middle) else values

    shade, sun = standing
    own = np.full((2, len(network.parent)), np.nan)
    unknown = np.zeros(own.shape, dtype=bool)
    own[:, network.run_node] = np.where(far(sun) > far(shade), sun, shade)
    unknown[:, network.run_node] = np.isnan(shade + sun)
    worst = own.copy()  # not-a-number at nodes that are no runs
    passed = np.isin(network.node_kind, WITHIN_RUNS)
    for level in range(1, int(network.depth.max(initial=0)) + 1):
        nodes = np.flatnonzero((network.depth == level) & passed)
        parent = network.parent[nodes]
        above, here = worst[:, parent], own[:, nodes]
        worst[:, nodes] = np.where(np.isnan(here) | (far(above) > far(here)), above, here)
        unknown[:, nodes] |= unknown[:, parent]
    season = np.array([SEASONS.index(name) for name, _ in STATES])
    found = np.where(unknown, np.nan, worst)[season]
    return found[:, network.station_node] if len(network.station_node) else np.zeros((len(STATES), 0))


def standing_hot_content(context: Context, held: Numbers) -> Numbers:
    """Water that stands in the hot runs of each valve, the heat of the walls counted as water.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    held : array
        From `held_temperatures`. [°C]

    Returns
    -------
    array
        For each mixing valve; runs that are held at a temperature do not count. [m³]

    Notes
    -----
    Σ V·(1 + β) from the hot water source to the hot inlet, as in `purge_seconds`.
    """
    network = context.network
    found = np.zeros(len(network.valve_tags))
    for valve, node in enumerate(network.valve_hot_node.tolist()):
        for run in runs_above(context, node):
            if np.isnan(held[0, 0, run]):
                at = network.run_node[run]
                found[valve] += network.purge_sum[at] - network.purge_sum[network.parent[at]]
    return found


def why_standing_unknown(context: Context, station: int) -> str:
    """Which run of a station hides the temperature of its first water, and which input would tell it."""
    return _why_runs_unknown(context, tempered_runs(context, station))


def why_hot_runs_unknown(context: Context, station: int) -> str:
    """Which hot run of a station's valve hides the temperature of the water that stood in it, and which input would."""
    valve = int(context.network.station_valve[station])
    runs = runs_above(context, int(context.network.valve_hot_node[valve])) if valve >= 0 else []
    return _why_runs_unknown(context, runs)


def _why_runs_unknown(context: Context, runs: list[int]) -> str:
    for number in runs:
        run = context.site.pipe_runs[number]
        if np.isnan(context.cell("pipe_runs", run, "held_temperature")):
            why = next((why for why in (why_unknown(context, run, season) for season in SEASONS) if why), "")
            if why:
                return why
    return ""


def why_heat_on_the_way(context: Context, station: int) -> str:
    """Which run of a station hides what its water gains or loses on the way, and which input would tell it."""
    for number in tempered_runs(context, station):
        run = context.site.pipe_runs[number]
        why = next((why for why in (why_heat_unknown(context, run, season) for season in SEASONS) if why), "")
        if why:
            return why
    return ""
