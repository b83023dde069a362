"""What each case rests on, told once: the numbers of each season and supply state, and what each fault changes."""

from __future__ import annotations

import math
from typing import Any, TypeAlias

from drenchbook.json_cases import number_object
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import STATES
from drenchbook.units import unit_of

Object: TypeAlias = dict[str, Any]

_OF_SEASON = (
    ("cold_water", "temperature"), ("outside_air", "temperature"), ("room", "temperature"), ("ground", "temperature"),
    ("irradiance", "irradiance"),
)  # fmt: skip  # column of the project without its season, quantity
_OF_SUPPLY = (("static", "pressure"), ("residual", "pressure"), ("test_flow", "flow"))


def state_objects(site: JudgedSite) -> list[Object]:
    """Each season and supply state with its temperatures and the data of every supply; cases name both."""
    return [_state(site, season, level) for season, level in STATES]


def fault_objects(site: JudgedSite) -> list[Object]:
    """Each fault that is solved with what it changes against normal use; cases name it."""
    return [{"fault": name, "changed": site.changed(name)} for name in site.judgement.results.names]


def _state(site: JudgedSite, season: str, level: str) -> Object:
    project = site.judgement.site.project
    numbers = {name: _typed(site, getattr(project, f"{name}_{season}"), quantity) for name, quantity in _OF_SEASON}
    sun = getattr(project, f"sun_{season}")
    shines = {True: "shines", False: "does not shine"}.get(sun, "not known")
    supplies = [_supply(site, row, level) for row in site.judgement.site.supplies]
    return {"season": season, "supply": level, **numbers, "sun": shines, "supplies": supplies}


def _supply(site: JudgedSite, row: Any, level: str) -> Object:
    """A flow test, or the points of a curve, in one supply state."""
    told: Object = {"supply": str(row.tag).strip()}
    curve = getattr(row, f"curve_{level}")
    if isinstance(curve, tuple):
        flow, pressure = unit_of("flow", site.units), unit_of("pressure", site.units)
        told["curve"] = [
            {"flow": {"value": one, "unit": flow}, "pressure": {"value": other, "unit": pressure}}
            for one, other in curve
        ]
        return told
    for name, quantity in _OF_SUPPLY:
        told[name] = _typed(site, getattr(row, f"{name}_{level}"), quantity)
    return told


def _typed(site: JudgedSite, value: Any, quantity: str) -> Object:
    """A number as it was typed, with its unit; null where there is none."""
    if not isinstance(value, float):
        return number_object(math.nan, quantity, site.units)
    return {"value": value, "unit": unit_of(quantity, site.units)}
