"""From the numbers of every case to the worst one of each opening and of each station.

A check measures something on pairs: an opening with one of its outlets, valves, stations or sources. Each pair is
measured in several conditions (fault and state). Worst means: worst outcome first, then the smallest margin.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.operating_cases import Cases, Pairs

Numbers: TypeAlias = np.ndarray[Any, Any]

NONE, PASSED, NOTED, WARNED, NOT_KNOWN, FAILED = range(6)
OUTCOME_WORDS = ("–", "OK", "NOTE", "WARN", "UNKNOWN", "FAIL")
SLACK = 1e-9  # equality meets a limit: rounding of units must not turn it into a failure


@dataclass(frozen=True)
class Samples:
    """One quantity on pairs, in `conditions` of (fault, state); arrays are [conditions, pairs] or broadcast to it.

    A margin of not-a-number with `unknown` false means that the check does not apply there.
    """

    pairs: Pairs
    conditions: tuple[tuple[str, int], ...]
    value: Any
    limit: Any
    margin: Any
    unknown: Any = False
    severity: Any = None  # outcome of a miss, where it differs from case to case; None: that of the check's row
    second: Any = False  # whether the second quantity of the check's row was measured, as a difference beside a ratio


@dataclass(frozen=True)
class Found:
    """The worst of one check for each opening or each station; arrays of that length."""

    outcome: Numbers
    margin: Numbers
    value: Numbers
    limit: Numbers
    opening: Numbers  # -1: no case, a property of the station itself
    condition: Numbers  # index in `conditions`, -1: none
    member: Numbers  # the outlet, valve, station or source that was measured, -1: none
    second: Numbers  # bool: the second quantity of the check's row
    conditions: tuple[tuple[str, int], ...] = ()
    pairs: Pairs | None = None  # what `member` counts

    def at(self, where: Numbers) -> Found:
        """The findings at some of the places."""
        return replace(self, **{name: getattr(self, name)[where] for name in _ARRAYS})


_ARRAYS = ("outcome", "margin", "value", "limit", "opening", "condition", "member", "second")


def at_least(value: Any, limit: Any) -> Any:
    """Margin of a value that must be at least its limit, as a share of the limit (of one unit where that is zero).

    >>> float(at_least(14.0, 20.0)), float(at_least(3.0, 0.0)), float(at_least(-12.0, -10.0))
    (-0.3, 3.0, -0.2)
    """
    if isinstance(value, float) and isinstance(limit, float):
        return (value - limit) / (abs(limit) or 1.0)
    scale = np.abs(limit)
    return np.subtract(value, limit) / np.where(scale == 0, 1.0, scale)


def at_most(value: Any, limit: Any) -> Any:
    """Margin of a value that must be at most its limit.

    >>> float(at_most(30.0, 25.0)), float(at_most(0.0, 0.0))
    (-0.2, 0.0)
    """
    return -at_least(value, limit) + 0.0


def nothing_found(count: int) -> Found:
    """A check that applies nowhere."""
    nan, minus = np.full(count, np.nan), np.full(count, -1)
    return Found(np.full(count, NONE), nan, nan, nan, minus, minus, minus, np.zeros(count, dtype=bool))


def outcomes(samples: Samples, severity: int) -> Numbers:
    """[conditions, pairs] outcome of each measurement; a miss weighs `severity` unless the samples say otherwise."""
    margin = np.broadcast_to(samples.margin, (len(samples.conditions), len(samples.pairs.member)))
    unknown, severity = samples.unknown, severity if samples.severity is None else samples.severity
    missed = np.where(margin < -SLACK, severity, PASSED)
    return np.where(unknown, NOT_KNOWN, np.where(np.isnan(margin), NONE, missed))


def by_opening(samples: Samples, count: int, severity: int) -> Found:
    """The worst measurement of each opening."""
    pairs = samples.pairs
    if len(pairs.member) == 0:
        return nothing_found(count)
    shape = (len(samples.conditions), len(pairs.member))
    outcome = outcomes(samples, severity)
    margin = np.broadcast_to(samples.margin, shape)
    rank = np.where(np.isnan(margin), np.inf, margin)
    # the worst condition of each pair, then the worst pair of each opening
    worst = np.lexsort((rank, -outcome), axis=0)[0]
    columns = np.arange(shape[1])

    def pick(array: Any) -> Numbers:
        return np.broadcast_to(array, shape)[worst, columns]

    pair_outcome, pair_rank = outcome[worst, columns], rank[worst, columns]
    order = np.lexsort((pair_rank, -pair_outcome, pairs.opening))
    opening, first = np.unique(pairs.opening[order], return_index=True)
    chosen = order[first]
    found = nothing_found(count)
    values = {
        "outcome": pair_outcome,
        "margin": pick(margin),
        "value": pick(samples.value),
        "limit": pick(samples.limit),
        "opening": pairs.opening,
        "condition": worst,
        "member": pairs.member,
        "second": pick(samples.second),
    }
    filled = {}
    for name, array in values.items():
        whole = getattr(found, name).copy()
        whole[opening] = array[chosen]
        filled[name] = whole
    return replace(found, **filled, conditions=samples.conditions, pairs=pairs)


def by_station(found: Found, cases: Cases, stations: int) -> Found:
    """The worst opening of each station: what a set does counts for each of its stations."""
    pairs = cases.stations
    if len(pairs.member) == 0:
        return nothing_found(stations)
    outcome, margin = found.outcome[pairs.opening], found.margin[pairs.opening]
    rank = np.where(np.isnan(margin), np.inf, margin)
    order = np.lexsort((pairs.opening, rank, -outcome, pairs.member))
    station, first = np.unique(pairs.member[order], return_index=True)
    chosen = found.at(pairs.opening[order[first]])
    whole = nothing_found(stations)
    filled = {}
    for name in _ARRAYS:
        array = getattr(whole, name).astype(getattr(chosen, name).dtype)
        array[station] = getattr(chosen, name)
        filled[name] = array
    return replace(whole, **filled, conditions=found.conditions, pairs=found.pairs)
