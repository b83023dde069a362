"""OUT-1: which hazards keep no station when stations, or a valve with all behind it, are out of service."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from drenchbook.cell_gaps import gap
from drenchbook.check_samples import PASSED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import Judgement
from drenchbook.site_line import SiteLine, line, name_of, unknown
from drenchbook.site_model import tag_key

NO_HAZARD = "no hazard typed"


def out_of_service_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """OUT-1 for every hazard of an area, and for every mixing valve, at the owner's number of stations out at once."""
    allowed = judgement.site.project.stations_out_of_service
    if not isinstance(allowed, float):
        why = gap("project", judgement.site.project, "stations_out_of_service")
        yield unknown("OUT-1", "stations", f"{why}; 0 must be typed where none may be")
    elif allowed == 0:
        words = "No station is out of service while its hazard is there: the owner's choice."
        yield SiteLine(CHECK_BY_ID["OUT-1"], "stations", PASSED, words)
    else:
        groups = hazards(judgement)
        yield from _of_hazards(judgement, groups, allowed)
        yield from _of_valves(judgement, groups)


def hazards(judgement: Judgement) -> dict[tuple[str, str], list[int]]:
    """The stations of each hazard in each area, by the keys of both texts."""
    groups: dict[tuple[str, str], list[int]] = {}
    for number, row in enumerate(judgement.site.stations):
        groups.setdefault((tag_key(row.area), tag_key(row.hazard)), []).append(number)
    return groups


def _label(judgement: Judgement, members: list[int]) -> str:
    row = judgement.site.stations[members[0]]
    parts = [text.strip() for text in (row.hazard, row.area) if isinstance(text, str) and text.strip()]
    return ", ".join(parts) or NO_HAZARD


def _tags(rows: Any, members: list[int]) -> str:
    return ", ".join(name_of(rows[number]) for number in members)


def _of_hazards(judgement: Judgement, groups: dict[tuple[str, str], list[int]], allowed: float) -> Iterator[SiteLine]:
    """Each hazard must have more stations than may be out at once."""
    for members in groups.values():
        label, tags = _label(judgement, members), _tags(judgement.site.stations, members)
        if label == NO_HAZARD:
            why = f"neither area nor hazard of {tags} is typed, so that nobody can tell what they stand for"
            yield unknown("OUT-1", label, why, limit=allowed + 1)
            continue
        words = f"With {allowed:g} out of service, {label} keeps no station of {tags}"
        yield line(judgement, "OUT-1", label, len(members) - (allowed + 1), len(members), allowed + 1, what=words)


def _of_valves(judgement: Judgement, groups: dict[tuple[str, str], list[int]]) -> Iterator[SiteLine]:
    """A valve that is out takes every station behind it out."""
    behind = [valve and tag_key(valve.tag) for valve in judgement.context.valve_of_station]
    for valve in judgement.site.mixing_valves:
        key = tag_key(valve.tag)
        if key not in behind:
            continue
        bare = [members for members in groups.values() if all(behind[number] == key for number in members)]
        labels = "; ".join(_label(judgement, members) for members in bare)
        name = name_of(valve)
        words = f"With {name} out of service no station is left for: {labels}"
        if bare:
            yield line(judgement, "OUT-1", name, -1.0, what=words)
        else:
            yield SiteLine(CHECK_BY_ID["OUT-1"], name, PASSED, f"With {name} out every hazard keeps a station.")
