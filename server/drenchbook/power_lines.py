"""PWR-1: what stops on a site when power is lost, and what its stations still get."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_samples import PASSED, SLACK, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import Judgement
from drenchbook.hot_water import DAY
from drenchbook.operating_cases import POWER_LOST
from drenchbook.quantity_text import LEAST, quantity_text
from drenchbook.site_line import SiteLine, line, name_of, sentence, unknown
from drenchbook.site_model import tag_key

Numbers: TypeAlias = np.ndarray[Any, Any]

BOOSTER, STORAGE = "booster", "storage"
MOST_NAMES = 8


def power_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """PWR-1 for each hot water source and booster: what stops, and which stations have their required flow left."""
    context = judgement.context
    for source in context.site.hot_water_sources:
        stops = "is not heated any more: what it stored is all" if source.kind == STORAGE else "gives cold water"
        found = _line_of(judgement, source, stops, _behind(judgement, "hot_water_sources", source))
        yield replace(found, message=found.message + _lasts(judgement, source)) if found.outcome == WARNED else found
    for device in context.site.line_devices:
        if device.kind == BOOSTER:
            yield _line_of(judgement, device, "adds no pressure", _behind_device(judgement, device))


def _lasts(judgement: Judgement, source: Any) -> str:
    """How long the hot water of a storage that is not heated lasts, in the shortest case that is known."""
    number, pairs = judgement.site.hot_water_sources.index(source), judgement.cases.sources
    at = np.flatnonzero(pairs.member == number)
    seconds = judgement.measures.hot_seconds(POWER_LOST)[:, at]
    if source.kind != STORAGE or np.isnan(seconds).all() or np.nanmin(seconds) >= DAY:
        return ""
    state, place = np.unravel_index(int(np.nanargmin(seconds)), seconds.shape)
    lasts = quantity_text(float(seconds[state, place]), "minutes", judgement.context.units, LEAST)
    return f" Its hot water then lasts {lasts} in {judgement.cases.label(int(pairs.opening[at[place]]))}."


def _line_of(judgement: Judgement, row: Any, stops: str, behind: list[int]) -> SiteLine:
    name = name_of(row)
    if row.needs_power is False:
        return SiteLine(CHECK_BY_ID["PWR-1"], name, PASSED, f"{name} works without power.")
    if row.needs_power is not True:
        return unknown("PWR-1", name, f"whether {name} needs power is blank")
    return line(judgement, "PWR-1", name, -1.0, what=f"Without power {name} {stops}. {_left(judgement, behind)}")


def _left(judgement: Judgement, behind: list[int]) -> str:
    """What the stations behind something still get in the case of lost power."""
    if not behind:
        return "No station depends on it"
    key = ("without power",)
    if key not in judgement.remembered:
        judgement.remembered[key] = _without_power(judgement)
    short, hidden = judgement.remembered[key]
    groups: dict[str, list[int]] = {"Required flow is left at": [], "too little flow at": [], "not known at": []}
    for number in behind:
        kind = 1 if short[number] else 2 if hidden[number] else 0
        list(groups.values())[kind].append(number)
    words = []
    for told, members in groups.items():
        if members:
            names = ", ".join(name_of(judgement.site.stations[number]) for number in members[:MOST_NAMES])
            more = len(members) - MOST_NAMES
            words.append(f"{told} {names}" + (f" and {more} more" if more > 0 else ""))
    return sentence("; ".join(words))


def _without_power(judgement: Judgement) -> tuple[Numbers, Numbers]:
    """[stations] whether an outlet lacks its required flow in some opening without power; whether one is not known."""
    samples, count = judgement.measures.required_flow(POWER_LOST), len(judgement.site.stations)
    station = judgement.cases.outlet_station[samples.pairs.member]
    unknown = np.broadcast_to(samples.unknown, samples.margin.shape).any(axis=0)
    short, hidden = np.zeros(count, dtype=bool), np.bincount(station, minlength=count) == 0
    short[station[(samples.margin < -SLACK).any(axis=0)]] = True
    hidden[station[unknown]] = True
    return short, hidden


def _behind(judgement: Judgement, table: str, row: Any) -> list[int]:
    walks, wanted = judgement.context.walks, (table, tag_key(row.tag))
    return [number for number, walk in enumerate(walks) if wanted in walk]


def _behind_device(judgement: Judgement, device: Any) -> list[int]:
    context, key = judgement.context, tag_key(device.tag)
    runs = {
        ("pipe_runs", tag)
        for tag, run in context.rows["pipe_runs"].items()
        if isinstance(run.devices, tuple) and key in map(tag_key, run.devices)
    }
    return [number for number, walk in enumerate(context.walks) if runs.intersection(walk)]
