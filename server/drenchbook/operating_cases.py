"""Which cases a site has: seasons, supply states, faults, and which outlets are open at once. Nothing is sampled.

An opening is a choice of outlets that are open together: every station alone with all its outlets, every set of
stations that an event allows, and each outlet alone. Openings stand in arrays (offsets and indices), not in objects.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, combinations
from typing import Any, TypeAlias

import numpy as np

from drenchbook.errors import InputError
from drenchbook.network_arrays import NONE, Network
from drenchbook.site_model import Missing, Site, tag_key

Numbers: TypeAlias = np.ndarray[Any, Any]

# Axis 0 of every result: season, then supply state.
STATES: tuple[tuple[str, str], ...] = (("cold", "low"), ("cold", "high"), ("warm", "low"), ("warm", "high"))
NORMAL, HOT_LOST, SOURCE_COLD = "normal", "hot pressure lost", "source cold but pressurised"
COLD_LOST, POWER_LOST = "cold supply failure", "power lost"
OTHER_DEMAND, STRAINER_FOULED = "other demand on the main", "strainer fouled"
MAIN_LOST, VALVE_OUT = "common main lost", "valve out of service"
# What a station gets is as in normal use; temperatures and times are not.
CIRCULATION_OFF, AFTER_IDLE, AFTER_RECOVERY = "circulation off", "first draw after idle", "repeat after recovery"
# Every fault, in the order in which results stand; `faulted_network.faults_of` tells which can happen on a site.
FAULTS: tuple[str, ...] = (NORMAL, HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST, STRAINER_FOULED, COLD_LOST,
                           MAIN_LOST, VALVE_OUT, CIRCULATION_OFF, AFTER_IDLE, AFTER_RECOVERY)  # fmt: skip
MIXING = (NORMAL, OTHER_DEMAND, POWER_LOST, STRAINER_FOULED, VALVE_OUT, CIRCULATION_OFF, AFTER_IDLE,
          AFTER_RECOVERY)  # fmt: skip  # valves mix as long as hot water comes
AS_NORMAL = (CIRCULATION_OFF, AFTER_IDLE, AFTER_RECOVERY)  # flows and pressures are those of normal use
STATION_ALONE, SET, ONE_OUTLET = 0, 1, 2
MOST_SETS = 200_000  # of one event; more than that is an event nobody has thought through
SHOWER = "shower"


@dataclass(frozen=True)
class Pairs:
    """Which members (outlets, stations, valves …) belong to which opening.

    Members of opening `o` are `member[offsets[o]:offsets[o + 1]]`; `opening` gives the opening of each pair.
    """

    offsets: Numbers
    member: Numbers
    opening: Numbers

    def of(self, opening: Any) -> slice:
        """Where the pairs of one opening stand."""
        return slice(int(self.offsets[opening]), int(self.offsets[opening + 1]))

    @property
    def counts(self) -> Numbers:
        """Members of each opening."""
        return np.diff(self.offsets)


@dataclass(frozen=True)
class Cases:
    """Every opening of a site, with all the pairs that results are given for.

    Openings begin with each station alone, in the order of the stations; sets follow, then single outlets. Stations of
    an opening stand in the order of the site, outlets in the order of their stations.
    """

    kind: Numbers  # [O] STATION_ALONE, SET or ONE_OUTLET
    stations: Pairs
    outlets: Pairs
    valves: Pairs
    supplies: Pairs
    sources: Pairs
    events: Pairs  # events that allow a SET; none for the other kinds
    event_missing: tuple[str, ...]  # per event: why its sets are not known, or ""
    station_tags: tuple[str, ...]
    outlet_names: tuple[str, ...]
    outlet_station: Numbers
    event_tags: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.kind)

    def label(self, opening: int) -> str:
        """How a person names the opening: "L1", "L1 + L2", "L1: eye/face wash alone"."""
        stations = " + ".join(self.station_tags[s].strip() for s in self.stations.member[self.stations.of(opening)])
        if self.kind[opening] != ONE_OUTLET:
            return stations
        return f"{stations}: {self.outlet_names[self.outlets.member[self.outlets.of(opening)][0]]} alone"

    def labels(self, openings: Numbers) -> list[str]:
        """The names of several openings."""
        return [self.label(int(opening)) for opening in openings]

    def events_of(self, opening: int) -> tuple[str, ...]:
        """The events that allow a set."""
        return tuple(self.event_tags[e] for e in self.events.member[self.events.of(opening)])

    def find(self, stations: tuple[str, ...], outlet: str = "") -> int:
        """The opening of these stations with all their outlets, or with one outlet of one station; KeyError if none."""
        wanted = sorted(self.station_tags.index(tag) for tag in stations)
        candidates = np.flatnonzero((self.stations.counts == len(wanted)) & ((self.kind == ONE_OUTLET) == bool(outlet)))
        for opening in candidates:
            if self.stations.member[self.stations.of(opening)].tolist() == wanted and (
                not outlet or self.outlet_names[self.outlets.member[self.outlets.of(opening)][0]] == outlet
            ):
                return int(opening)
        raise KeyError(f"no opening of {' + '.join(stations)} {outlet}".strip())


def operating_cases(site: Site, network: Network) -> Cases:
    """Every opening that a site must stand.

    Parameters
    ----------
    site : Site
        For its events. [-]
    network : Network
        The same site, compiled. [-]

    Returns
    -------
    Cases
        All openings with their pairs. InputError if one event allows more than 200,000 sets. [-]

    Notes
    -----
    An event allows every choice of two or more of its stations within its users and showers; a station counts as one
    shower if any of its outlets is one. A single outlet of a station that has only one is the station alone.
    """
    sets, set_events, event_missing = _sets_of_events(site, network)
    return _assembled(network, sets, set_events, event_missing, tuple(str(row.tag) for row in site.events))


def stations_alone(network: Network) -> Cases:
    """Only the openings of each station alone, and of each single outlet: what needs no event."""
    none = np.zeros(0, dtype=int)
    return _assembled(network, _Sets(np.empty((0, 2), dtype=int)), (np.zeros(1, dtype=int), none), (), ())


def _assembled(network: Network, sets: _Sets, set_events: tuple[Numbers, Numbers], event_missing: tuple[str, ...],
               event_tags: tuple[str, ...]) -> Cases:  # fmt: skip
    stations = np.arange(len(network.station_tags))
    outlet_station = network.outlet_station
    count = np.bincount(outlet_station, minlength=len(stations))
    single = np.flatnonzero(count[outlet_station] > 1)
    set_sizes = np.array([len(one) for one in sets], dtype=int)
    kind = np.repeat([STATION_ALONE, SET, ONE_OUTLET], [len(stations), len(sets), len(single)])
    station_pairs = _pairs(
        np.concatenate((np.ones(len(stations), int), set_sizes, np.ones(len(single), int))),
        np.concatenate((stations, *sets.flat(), outlet_station[single])),
    )
    first = np.searchsorted(outlet_station, stations)  # outlets stand station by station
    whole = station_pairs.opening < len(stations) + len(sets)
    repeats = np.where(whole, count[station_pairs.member], 1)
    start = np.where(whole, first[station_pairs.member], 0)
    start[~whole] = single
    outlets = np.repeat(start - np.cumsum(repeats) + repeats, repeats) + np.arange(repeats.sum())
    outlet_counts = np.bincount(station_pairs.opening, weights=repeats, minlength=len(kind)).astype(int)
    events_sizes = np.zeros(len(kind), dtype=int)
    events_sizes[len(stations) : len(stations) + len(sets)] = np.diff(set_events[0])
    valve = network.station_valve[station_pairs.member]
    cold = network.station_node[station_pairs.member]
    if len(network.valve_tags):
        cold = np.where(valve >= 0, network.valve_cold_node[valve], cold)
    hot_supply, source = _hot_side(network, valve)
    return Cases(
        kind=kind, stations=station_pairs, outlets=_pairs(outlet_counts, outlets),
        valves=_members(station_pairs, valve),
        supplies=_members(station_pairs, network.node_supply[cold], hot_supply),
        sources=_members(station_pairs, source),
        events=_pairs(events_sizes, set_events[1]), event_missing=event_missing,
        station_tags=network.station_tags, outlet_names=network.outlet_names, outlet_station=outlet_station,
        event_tags=event_tags,
    )  # fmt: skip


def _hot_side(network: Network, valve: Numbers) -> tuple[Numbers, Numbers]:
    if not len(network.valve_tags):
        return np.full(len(valve), NONE), np.full(len(valve), NONE)
    behind = valve >= 0
    return (np.where(behind, network.node_supply[network.valve_hot_node[valve]], NONE),
            np.where(behind, network.valve_source[valve], NONE))  # fmt: skip


def _pairs(counts: Numbers, member: Numbers) -> Pairs:
    offsets = np.concatenate(([0], np.cumsum(counts)))
    return Pairs(offsets, np.asarray(member, dtype=int), np.repeat(np.arange(len(counts)), counts))


def _members(stations: Pairs, *member: Numbers) -> Pairs:
    """The distinct members that the stations of each opening bring, NONE left out."""
    opening = np.concatenate([stations.opening] * len(member))
    found = np.concatenate(member)
    opening, found = opening[found >= 0], found[found >= 0]
    size = int(found.max(initial=0)) + 1
    key = np.unique(opening * size + found)
    return _pairs(np.bincount(key // size, minlength=len(stations.offsets) - 1), key % size)


class _Sets:
    """Sets of stations as padded rows; a row ends at its first NONE."""

    def __init__(self, rows: Numbers):
        self.rows = rows

    def __len__(self) -> int:
        return len(self.rows)

    def __iter__(self) -> Iterator[Numbers]:
        return iter(row[row >= 0] for row in self.rows)

    def flat(self) -> tuple[Numbers]:
        return (self.rows[self.rows >= 0],)


def _sets_of_events(site: Site, network: Network) -> tuple[_Sets, tuple[Numbers, Numbers], tuple[str, ...]]:
    """Distinct sets of all events, the events of each (offsets, members), and what keeps an event from being read."""
    showers = np.bincount(
        network.outlet_station,
        weights=[kind == SHOWER for kind in network.outlet_kind],
        minlength=len(network.station_tags),
    )
    index = {tag_key(tag): i for i, tag in enumerate(network.station_tags)}
    blocks, owners, missing = [], [], []
    for number, event in enumerate(site.events):
        missing.append(_event_missing(event))
        if missing[-1]:
            continue
        struck = sorted({index[tag_key(tag)] for tag in event.stations})
        rows = _subsets(event, np.array([s for s in struck if showers[s]], dtype=int),
                        np.array([s for s in struck if not showers[s]], dtype=int))  # fmt: skip
        blocks += rows
        owners += [np.full(len(block), number) for block in rows]
    width = max((block.shape[1] for block in blocks), default=2)
    if not blocks:
        return _Sets(np.empty((0, width), int)), (np.zeros(1, int), np.empty(0, int)), tuple(missing)
    padded = np.concatenate([np.pad(b, ((0, 0), (0, width - b.shape[1])), constant_values=NONE) for b in blocks])
    owner = np.concatenate(owners)
    order = np.lexsort((*padded.T[::-1], (padded >= 0).sum(axis=1)))
    padded, owner = padded[order], owner[order]
    new = np.concatenate(([True], np.any(padded[1:] != padded[:-1], axis=1)))
    counts = np.bincount(np.cumsum(new) - 1)
    # lexsort is stable, so owners of one set stand in the order of the events
    return _Sets(padded[new]), (np.concatenate(([0], np.cumsum(counts))), owner), tuple(missing)


def _event_missing(event: Any) -> str:
    for column in ("stations", "users", "showers"):
        value = getattr(event, column)
        if value is None or isinstance(value, Missing):
            return f"Events {event.tag}: {column}: {value if value is not None else 'is blank'}"
    return ""


def _subsets(event: Any, with_shower: Numbers, without: Numbers) -> list[Numbers]:
    """Every allowed choice of two or more stations, rows sorted; one block a combination of sizes."""
    users, showers = math.ceil(event.users), math.ceil(event.showers)  # half a person is a person
    sizes = [(a, b) for a in range(min(showers, users, len(with_shower)) + 1)
             for b in range(min(users - a, len(without)) + 1) if a + b >= 2]  # fmt: skip
    total = sum(math.comb(len(with_shower), a) * math.comb(len(without), b) for a, b in sizes)
    if total > MOST_SETS:
        raise InputError(
            f"Events {event.tag}: users", users,
            f"gives {total:,} sets of stations, and {MOST_SETS:,} of one event can be solved; lower the users at once, "
            "or split the event into the areas that one accident can really reach",
        )  # fmt: skip
    blocks = []
    for a, b in sizes:
        left, right = _choices(with_shower, a), _choices(without, b)
        both = np.concatenate((np.repeat(left, len(right), axis=0), np.tile(right, (len(left), 1))), axis=1)
        blocks.append(np.sort(both, axis=1))
    return blocks


def _choices(members: Numbers, size: int) -> Numbers:
    flat = np.fromiter(chain.from_iterable(combinations(members.tolist(), size)), dtype=int)
    return flat.reshape(math.comb(len(members), size), size)
