"""The water that has stood in the tempered runs of each station: what comes first when the station is opened."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
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
    values = np.full((len(STATES), len(context.site.stations)), np.nan)
    if np.isnan(middle):
        return values
    season = np.array([SEASONS.index(name) for name, _ in STATES])
    known: dict[int, Numbers] = {}
    for number, node in enumerate(context.network.station_node.tolist()):
        if node not in known:
            runs = runs_above(context, node)
            found = standing[:, :, runs].transpose(0, 2, 1).reshape(-1, 2)  # [shade or sun of each run, season]
            far = np.abs(found - middle) if np.isfinite(middle) else found
            worst = np.take_along_axis(found, far.argmax(axis=0)[None], axis=0)[0] if len(found) else np.full(2, np.nan)
            known[node] = np.where(np.isnan(found).any(axis=0), np.nan, worst)
        values[:, number] = known[node][season]
    return values


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
