"""Which cases a site has: seasons, supply states, faults, and which outlets are open at once. Nothing is sampled.

An opening is a choice of outlets that are open together: every station alone with all its outlets, every set of
stations that an event allows, and each outlet alone. Openings stand in arrays (offsets and indices), not in objects.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

Numbers: TypeAlias = np.ndarray[Any, Any]

# Axis 0 of every result: season, then supply state.
STATES: tuple[tuple[str, str], ...] = (("cold", "low"), ("cold", "high"), ("warm", "low"), ("warm", "high"))
NORMAL, HOT_LOST, SOURCE_COLD = "normal", "hot pressure lost", "source cold but pressurised"
FAULTS: tuple[str, ...] = (NORMAL, HOT_LOST, SOURCE_COLD)
STATION_ALONE, SET, ONE_OUTLET = 0, 1, 2


@dataclass(frozen=True)
class Pairs:
    """Which members (outlets, stations, valves …) belong to which opening.

    Members of opening `o` are `member[offsets[o]:offsets[o + 1]]`; `opening` gives the opening of each pair.
    """

    offsets: Numbers
    member: Numbers
    opening: Numbers

    def of(self, opening: int) -> slice:
        """Where the pairs of one opening stand."""
        return slice(int(self.offsets[opening]), int(self.offsets[opening + 1]))


@dataclass(frozen=True)
class Cases:
    """Every opening of a site, with all the pairs that results are given for."""

    kind: Numbers  # [O] STATION_ALONE, SET or ONE_OUTLET
    stations: Pairs
    outlets: Pairs
    valves: Pairs
    supplies: Pairs
    sources: Pairs
    events: Pairs  # events that allow a SET; empty for the other kinds
    alone: Numbers  # [stations] the opening in which a station flows alone with all its outlets
    station_tags: tuple[str, ...]
    outlet_names: tuple[str, ...]  # "shower", "eye/face wash", "shower 2" …
    outlet_station: Numbers

    def __len__(self) -> int:
        return len(self.kind)
