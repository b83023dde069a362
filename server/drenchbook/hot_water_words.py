"""Why the minutes of a hot water source are not known: which cell they wait for."""

from __future__ import annotations

from typing import Any

from drenchbook.cell_gaps import first_gap, gap
from drenchbook.checks import Judgement
from drenchbook.hot_sources import INSTANTANEOUS

_SOURCE_CELLS = {
    "storage": ("volume", "start_temperature", "usable_fraction", "input_power", "efficiency", "start_delay"),
    **dict.fromkeys(INSTANTANEOUS, ("set_temperature", "input_power", "efficiency", "minimum_firing_flow",
                                    "maximum_rise", "minimum_power")),
    "steam heat exchanger": ("set_temperature", "capacity", "tolerance"),
    "plant main": ("main_temperature",),
}  # fmt: skip


def gap_of_source(source: Any) -> str:
    """Which cell that its kind needs gives no number; "" where all do."""
    return gap("hot_water_sources", source, "kind") or first_gap(
        "hot_water_sources", source, _SOURCE_CELLS.get(source.kind, ())
    )


def why_minutes_unknown(judgement: Judgement, number: int) -> str:
    """Which cell of a source, or of a loop behind it, the minutes wait for; "" where no cell is missing."""
    source = judgement.site.hot_water_sources[number]
    if why := gap("hot_water_sources", source, "other_demand") or gap_of_source(source):
        return why
    for valve, loop in judgement.measures.loops.items():
        if loop.why_unknown and int(judgement.network.valve_source[valve]) == number:
            return f"what the loop loses is not known: {loop.why_unknown}"
    for valve in (judgement.network.valve_source == number).nonzero()[0].tolist():
        model = judgement.context.model_of(judgement.site.mixing_valves[valve])
        if model is not None and (why := first_gap("valve_models", model, ("minimum_flow", "approach_hot"))):
            return why
    return ""
