"""The water that has stood in the tempered runs of each station: what comes first when the station is opened."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.operating_cases import STATES
from drenchbook.site_model import tag_key

Numbers: TypeAlias = np.ndarray[Any, Any]
_AIR = {"inside": "room", "outside": "outside_air", "buried": "ground"}
SEASONS = ("cold", "warm")


def tempered_runs(context: Context, station: int) -> list[str]:
    """Tags (as keys) of the runs from a station up to its valve, or to its supply where it has none."""
    runs = []
    for key, tag in context.walks[station]:
        if key != "pipe_runs":
            break
        runs.append(tag)
    return runs


def first_water(context: Context, middle: float) -> Numbers:
    """[S, stations] temperature of the water that has stood in the runs of a station, the one farthest from `middle`.

    Inside a room it is the room's, outside the air's, buried the ground's, in a held run the held temperature; not
    known where that input is blank, or where the sun may shine on the run. [°C]
    """
    values = np.full((len(STATES), len(context.site.stations)), np.nan)
    standing = {
        season: {tag_key(run.tag): _standing(context, run, season) for run in context.site.pipe_runs}
        for season in SEASONS
    }
    for number in range(len(context.site.stations)):
        runs = tempered_runs(context, number)
        for season in SEASONS:
            found = [standing[season][tag] for tag in runs]
            if found and not np.isnan(found).any() and not np.isnan(middle):
                rows = [state for state, (name, _) in enumerate(STATES) if name == season]
                values[rows, number] = max(found, key=lambda value: abs(value - middle))
    return values


def _standing(context: Context, run: Any, season: str) -> float:
    held = context.cell("pipe_runs", run, "held_temperature")
    if not np.isnan(held):
        return held
    project = context.site.project
    if run.exposure == "outside" and run.sun is not False and getattr(project, f"sun_{season}") is not False:
        return float("nan")
    column = _AIR.get(run.exposure, "") if isinstance(run.exposure, str) else ""
    return context.cell("project", project, f"{column}_{season}") if column else float("nan")


def why_standing_unknown(context: Context, station: int) -> str:
    """Which run of a station hides the temperature of its first water, and which input would tell it."""
    for tag in tempered_runs(context, station):
        run = context.rows["pipe_runs"][tag]
        for season in SEASONS:
            if np.isnan(_standing(context, run, season)):
                name = str(run.tag).strip()
                if not isinstance(run.exposure, str):
                    return f"the exposure of run {name} is blank"
                column = f"{_AIR.get(run.exposure, 'room')}_{season}"
                if np.isnan(context.cell("project", context.site.project, column)):
                    words = column.replace("_", " ")
                    return f"the {words} season temperature is blank in Project, and run {name} stands in it"
                return f"the sun may shine on run {name} in the {season} season, and what it does is not computed"
    return ""
