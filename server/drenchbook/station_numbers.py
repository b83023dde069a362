"""The least and the greatest numbers of each station over all its cases: all stations at once, as the schedule shows.

Least and greatest are not-a-number as soon as one of the numbers is missing, for what is not known may be worse.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_samples import at_least
from drenchbook.hot_water import DAY
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import STATES

Numbers: TypeAlias = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Extremes:
    """[stations] least and greatest; not-a-number where one is missing, or where there is nothing."""

    least: Numbers
    most: Numbers


def extremes_of(values: Numbers, owner: Numbers, count: int) -> Extremes:
    """Least and greatest of values [states, pairs] for each owner of pairs; an owner below zero is nobody.

    >>> found = extremes_of(np.array([[3.0, 1.0, 7.0], [2.0, 5.0, np.nan]]), np.array([1, 1, 0]), 2)
    >>> found.least.tolist(), found.most.tolist()
    ([nan, 1.0], [nan, 5.0])
    """
    order = np.argsort(owner, kind="stable")
    order = order[np.searchsorted(owner[order], 0) :]
    first = np.flatnonzero(np.diff(owner[order], prepend=-1))
    found = []
    for over_states, over_pairs in ((np.min, np.minimum), (np.max, np.maximum)):
        whole = np.full(count, np.nan)
        if len(first):
            whole[owner[order][first]] = over_pairs.reduceat(over_states(values, axis=0)[order], first)
        found.append(whole)
    return Extremes(*found)


class StationNumbers:
    """The numbers of one judged site that its schedule shows; each is worked out once for all stations."""

    def __init__(self, site: JudgedSite):
        self.site, self.context, self.results = site, site.context, site.judgement.results
        self.count = len(site.judgement.site.stations)
        self._needs: dict[tuple[str, ...], Extremes] = {}
        self._flows: dict[tuple[str, tuple[str, ...]], tuple[Extremes, Extremes]] = {}
        self._kinds = np.array([outlet.kind for outlet in self.context.outlets], dtype=object)
        self._station = np.array([outlet.station for outlet in self.context.outlets], dtype=int)

    @functools.cached_property
    def _pairs_station(self) -> Numbers:
        """Station of each pair of an opening and an outlet."""
        return self._station[self.site.cases.outlets.member]

    def _of_kinds(self, kinds: tuple[str, ...]) -> Numbers:
        return np.isin(self._kinds, kinds)

    def need(self, kinds: tuple[str, ...]) -> Extremes:
        """Required flow of a station's outlets of some kinds. [m³/s]"""
        if kinds not in self._needs:
            owner = np.where(self._of_kinds(kinds), self._station, -1)
            self._needs[kinds] = extremes_of(self.context.required_flow[None], owner, self.count)
        return self._needs[kinds]

    def flow(self, fault: str, kinds: tuple[str, ...]) -> tuple[Extremes, Extremes]:
        """Flow of a station's outlets of some kinds under a fault [m³/s], and its share of the required flow."""
        if (fault, kinds) not in self._flows:
            member = self.site.cases.outlets.member
            owner = np.where(self._of_kinds(kinds)[member], self._pairs_station, -1)
            flow = self.results.fault(fault).outlet_flow
            with np.errstate(divide="ignore", invalid="ignore"):
                share = flow / self.context.required_flow[member]
            self._flows[fault, kinds] = tuple(extremes_of(one, owner, self.count) for one in (flow, share))  # type: ignore[assignment]
        return self._flows[fault, kinds]

    @functools.cached_property
    def pressure(self) -> tuple[Numbers, Numbers, Numbers]:
        """At the outlet of each station that has least over its need: margin, need and pressure there. [Pa]"""
        need = self.context.needed_pressure[self.site.cases.outlets.member]
        pressure = self.results.normal.outlet_pressure
        margin = at_least(pressure, need)
        owner = np.broadcast_to(self._pairs_station, margin.shape).ravel()
        order = np.lexsort((margin.ravel(), owner))  # not-a-number stands last
        station = owner[order]
        first = np.flatnonzero(np.diff(station, prepend=-1))
        known = ~np.isnan(margin.ravel()[order][np.append(first[1:], len(order)) - 1]) if len(first) else first
        found = np.full((3, self.count), np.nan)
        worst = order[first[known]] if len(first) else first
        wide = margin, np.broadcast_to(need, margin.shape), pressure
        found[:, owner[worst]] = [array.ravel()[worst] for array in wide]
        return found[0], found[1], found[2]

    @functools.cached_property
    def static(self) -> Extremes:
        """Static pressure at a station's outlets. [Pa]"""
        return extremes_of(self.site.judgement.measures.static.outlet[None], self._station, self.count)

    @functools.cached_property
    def delivered(self) -> dict[str, Extremes]:
        """Delivered temperature in each season, its least counted in the cold and its greatest in the warm one. [°C]"""
        least, greatest = self.site.judgement.measures.delivered_temperatures
        delivered, seasons = {"cold": least, "warm": greatest}, [season for season, _ in STATES]
        return {
            season: extremes_of(
                delivered[season][[state for state, name in enumerate(seasons) if name == season]],
                self._pairs_station,
                self.count,
            )
            for season in dict.fromkeys(seasons)
        }

    @functools.cached_property
    def purge(self) -> Extremes:
        """Seconds until a station's tempered runs are flushed."""
        return extremes_of(self.results.normal.station.purge_seconds, self.site.cases.stations.member, self.count)

    @functools.cached_property
    def users(self) -> Numbers:
        """The most stations that flow at once with each station, itself included."""
        pairs, most = self.site.cases.stations, np.ones(self.count, dtype=int)
        np.maximum.at(most, pairs.member, pairs.counts[pairs.opening])
        return most

    @functools.cached_property
    def minutes(self) -> tuple[Numbers, Numbers]:
        """Least known seconds of hot water, by the governing tank model and by the other; a day at most."""
        hot = self.site.judgement.measures.hot_water
        return self._least_of_sources(hot.seconds), self._least_of_sources(hot.seconds_other)

    def _least_of_sources(self, seconds: Numbers) -> Numbers:
        """Of numbers [states, pairs of an opening and a source] the least known one of each station's openings."""
        sources, stations = self.site.cases.sources, self.site.cases.stations
        of_opening = np.full(len(self.site.cases), np.nan)
        if seconds.size:
            np.fmin.at(of_opening, sources.opening, np.fmin.reduce(np.minimum(seconds, DAY), axis=0))
        least = np.full(self.count, np.nan)
        np.fmin.at(least, stations.member, of_opening[stations.opening])
        return least
