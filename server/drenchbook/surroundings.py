"""What stands around each pipe run: air, room, ground or sun, and how easily heat passes to the water, run by run.

Every number leans to the side on which heat passes more easily: the wind blows on outside runs, still air lets the sun
heat an idle one, the soil is moist and the cover thin, and a blank insulation counts as none. What a person has to say
and did not is not-a-number here, and `why_unknown` names the cell.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.check_context import Context
from drenchbook.network_arrays import RUN, WITHIN_RUNS
from drenchbook.physics.heat_loss import FILM_COEFFICIENT, overall_conductance
from drenchbook.physics.outdoor_pipe import pipe_sol_air_temperature, soil_conductance
from drenchbook.published.pipes import Pipe

Numbers: TypeAlias = np.ndarray[Any, Any]

SEASONS = ("cold", "warm")
INSIDE, OUTSIDE, BURIED = "inside", "outside", "buried"
AIR = {INSIDE: "room", OUTSIDE: "outside_air", BURIED: "ground"}
INSIDE_FILM = 12.8  # [W/(m²·K)] bare steel in still air, the highest of the tables of ASHAE Guide 1955, p. 646
WIND_FILM = 34.0  # [W/(m²·K)] wind of 6.7 m/s, ASHRAE Fundamentals, surface films for winter
STILL_FILM = FILM_COEFFICIENT  # [W/(m²·K)] a pipe that the sun heats on a calm day
INSULATION_CONDUCTIVITY = 0.04  # [W/(m·K)] the upper end of ASHRAE 90.1-2016 for water below 60 °C
SOIL_CONDUCTIVITY, SOIL_COVER = 2.0, 0.5  # [W/(m·K)], [m] moist soil, a shallow trench (common practice)
ABSORPTIVITY = 0.9  # [-] of the sun: dark paint, oxidised or dusty metal (common practice)


@dataclass(frozen=True, eq=False)
class Surroundings:
    """Arrays over the pipe runs of a site; [2, runs] are cold and warm season. Not-a-number: not known.

    `conductance` is U′·L of the whole run, `flowing` the temperature around it while water flows, `shade` and `sun`
    those that standing water comes to by night and on a sunny day (equal where no sun shines), `held` the temperature
    that was typed for a circulated or traced run.
    """

    pipes: tuple[Pipe | None, ...]
    length: Numbers  # [m]
    conductance: Numbers  # [W/K]
    flowing: Numbers  # [2, runs] [°C]
    shade: Numbers  # [2, runs] [°C]
    sun: Numbers  # [2, runs] [°C]
    held: Numbers  # [runs] [°C], not-a-number where none is typed
    bare_by_blank: Numbers  # [runs] bool: the insulation is blank and counts as none

    @property
    def conductance_per_metre(self) -> Numbers:
        """U′ of each run. [W/(m·K)]"""
        with np.errstate(divide="ignore", invalid="ignore"):
            return np.asarray(self.conductance / self.length)


def surroundings(context: Context) -> Surroundings:
    """What stands around every pipe run of a site, in both seasons.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]

    Returns
    -------
    Surroundings
        Arrays over the runs. [W/K, °C]

    Notes
    -----
    Conductance by `overall_conductance` with the films above, buried runs by `soil_conductance`. In the cold season the
    sun is not counted while water flows: the coldest hour is a night.
    """
    runs, network = context.site.pipe_runs, context.network
    kinds = [(run.exposure, run.sun) for run in runs]  # few: each is looked up once
    alike = {repr(kind): run for kind, run in zip(kinds, runs, strict=True)}
    place = {kind: number for number, kind in enumerate(alike)}
    which = np.array([place[repr(kind)] for kind in kinds], dtype=int)
    shade, rise = (np.array([[look(context, run, season) for run in alike.values()] for season in SEASONS]).reshape(
        2, -1)[:, which] for look in (_shade, _irradiance))  # fmt: skip
    return Surroundings(
        pipes=network.run_pipe, length=network.run_length, conductance=_conductances(context),
        flowing=np.stack((shade[0], _in_sun(shade[1], rise[1], WIND_FILM))),
        shade=shade, sun=np.stack([_in_sun(*pair, STILL_FILM) for pair in zip(shade, rise, strict=True)]),
        held=np.array([context.cell("pipe_runs", run, "held_temperature") for run in runs]),
        bare_by_blank=np.array([np.isnan(context.cell("pipe_runs", run, "insulation")) for run in runs], dtype=bool),
    )  # fmt: skip


def _shade(context: Context, run: Any, season: str) -> float:
    """Temperature of the room, the air or the ground around a run. [°C]"""
    column = AIR.get(run.exposure) if isinstance(run.exposure, str) else None
    return context.cell("project", context.site.project, f"{column}_{season}") if column else float("nan")


def _irradiance(context: Context, run: Any, season: str) -> float:
    """Sun on a run; zero where none can shine, not-a-number where it may and nobody says how strongly. [W/m²]"""
    project = context.site.project
    if run.exposure != OUTSIDE or run.sun is False or getattr(project, f"sun_{season}") is False:
        return 0.0
    if run.sun is not True or getattr(project, f"sun_{season}") is not True:
        return float("nan")
    return context.cell("project", project, f"irradiance_{season}")


def _in_sun(air: Numbers, irradiance: Numbers, film: float) -> Numbers:
    known = ~np.isnan(air + irradiance)
    warmed = np.full(air.shape, np.nan)
    warmed[known] = pipe_sol_air_temperature(air[known], irradiance[known], ABSORPTIVITY, film)
    return warmed


def _conductances(context: Context) -> Numbers:
    """U′·L of each run; blank insulation as none. [W/K]"""
    runs, network = context.site.pipe_runs, context.network
    found = np.full(len(runs), np.nan)
    known = np.array([one is not None for one in network.run_pipe], dtype=bool) & (network.run_length >= 0)
    at = np.flatnonzero(known)
    if not len(at):
        return found
    names = ("inside_diameter", "outside_diameter", "wall_conductivity")
    bore, outside, wall = (np.array([getattr(network.run_pipe[i], name) for i in at]) for name in names)
    thickness = np.nan_to_num(np.array([context.cell("pipe_runs", runs[i], "insulation") for i in at]))
    exposure = np.array([str(runs[i].exposure) for i in at])
    film = np.where(exposure == OUTSIDE, WIND_FILM, INSIDE_FILM)
    surface = outside + 2 * thickness
    buried = exposure == BURIED
    soil = soil_conductance(surface[buried], SOIL_COVER + surface[buried] / 2, SOIL_CONDUCTIVITY)
    film[buried] = soil / (np.pi * surface[buried])
    per_metre = overall_conductance(bore, outside, wall, thickness, INSULATION_CONDUCTIVITY, film)
    found[at] = per_metre * network.run_length[at]
    return found


def why_unknown(context: Context, run: Any, season: str) -> str:
    """Which cell keeps the temperature around a run from being known; "" where it is known."""
    name, project = str(run.tag).strip(), context.site.project
    if not isinstance(run.exposure, str):
        return gap("pipe_runs", run, "exposure")
    column = f"{AIR.get(run.exposure, 'room')}_{season}"
    if np.isnan(context.cell("project", project, column)):
        return f"{gap('project', project, column)}; run {name} stands in it"
    if not np.isnan(_irradiance(context, run, season)):
        return ""
    if run.sun is not True:
        return gap("pipe_runs", run, "sun")
    column = f"sun_{season}" if getattr(project, f"sun_{season}") is not True else f"irradiance_{season}"
    return f"{gap('project', project, column)}; run {name} may lie in the sun"


def why_heat_unknown(context: Context, run: Any, season: str) -> str:
    """Which cell keeps the heat that a run gains or loses from being known; "" where it is known."""
    why = why_unknown(context, run, season)
    if not why and np.isnan(context.cell("pipe_runs", run, "insulation")):
        return f"{gap('pipe_runs', run, 'insulation')}; 0 must be typed for a bare pipe"
    return why


def runs_above(context: Context, node: int) -> list[int]:
    """The runs (by number) from a node of the network up to the valve, source or supply that feeds it, lowest first.

    A pressure-reducing valve stands between two runs and ends nothing.
    """
    network, found = context.network, []
    while network.node_kind[node] in WITHIN_RUNS:
        if network.node_kind[node] == RUN:
            found.append(int(network.node_item[node]))
        node = int(network.parent[node])
    return found
