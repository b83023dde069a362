"""The root of one station's balance: a single unknown, the pressure at its lowest open outlet, for a block at once."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.operating_cases import NORMAL, SOURCE_COLD
from drenchbook.solver_paths import Curves, CurveTable
from drenchbook.solver_single import Passage, at_rest, outlet_flows, part_flows, passage
from drenchbook.solver_single_ways import Station

Numbers: TypeAlias = np.ndarray[Any, Any]
# What stands at the roots by name: "flow" [S, outlets, B]; "lowest", the pressure at the lowest outlet, "share", and of
# `Passage` "given" and what the fault tells [S, B].
Found: TypeAlias = dict[str, Numbers]

SETTLED = 2e-9  # step over the pressure that is not taken any more
MOST_STEPS = 100  # bisection alone would end in fewer
START = 0.6  # of the pressure at no flow


def solve_single(station: Station) -> tuple[Found, Numbers]:
    """What is found at the roots, and which cases have one [S, B]. Flows are zero where there is none."""
    curves, paths, shape = station.curves, station.paths, station.lowest.shape
    share = station.share if station.fault == NORMAL else np.full(shape, 0.5)
    dips = np.zeros(shape[1], dtype=bool)
    falling = curves.loss.dips[paths.elements.curve].any(axis=0)
    dips[paths.elements.group[falling] % shape[1]] = True
    first_table = curves.never_falling if dips.any() else curves.loss
    static = at_rest(station, first_table)
    reached = static > 0
    root = _Root(station, np.zeros(shape), np.where(reached, static, 0.0), _start(station, static), share, first_table)
    root.run()
    if dips.any():
        _smallest(root, station.take(np.flatnonzero(dips)), dips, curves)
    if not reached.all():
        root.found["flow"] = np.where(reached[:, None], root.found["flow"], 0.0)
    return root.found, reached


def _start(station: Station, static: Numbers) -> Numbers:
    """The highest pressure below static at which a regulator begins to hold, else a part of static."""
    if not station.regulated.any():
        return START * static
    kink = np.where(station.regulated, station.rated_pressure + station.above, -np.inf)
    kink = np.where(kink < static[:, None], kink, -np.inf).max(axis=1)
    return np.where(np.isfinite(kink), kink, START * static)


class _Root:
    """Bracketed Newton for F(p) = p - given(flow(p)); openings that are settled in every state drop out.

    `found` holds the last evaluation of each case, which is the answer: the step from there is too short to matter.
    """

    def __init__(self, station: Station, low: Numbers, high: Numbers, start: Numbers, share: Numbers,
                 table: CurveTable):  # fmt: skip
        self.station, self.table = station, table
        self.low: Numbers = low
        self.high: Numbers = high
        self.share: Numbers = share
        self.start = np.clip(start, low, high)
        self.found: Found = {}

    def run(self) -> None:
        """Iterate until every case is settled or the steps are used up."""
        station, here = self.station, np.arange(self.low.shape[1])
        low, high, p, share, seats = self.low, self.high, self.start, self.share, None
        scale, settled = np.maximum(high, 1.0), high <= low
        for step in range(MOST_STEPS):
            flow, slope = outlet_flows(station, p)
            now = passage(station, _sum(flow), share, seats, self.table)
            share, seats = now.share, now.seats
            miss = p - now.given
            rate = 1 - now.slope * _sum(slope)
            below = miss < 0
            with np.errstate(divide="ignore", invalid="ignore"):
                new = p - miss / rate
                if step == 0:  # F is almost straight: the secant from F(0) = -static
                    new = np.where(below | (low > 0), new, p * scale / (scale + miss))
            low, high = np.where(below, p, low), np.where(below, high, p)
            good = (new >= low) & (new <= high) & (rate > 0)
            if step > 12 and step % 3 == 0:
                good[:] = False
            if not good.all():
                new = np.where(good, new, (low + high) / 2)
            settled = settled | (np.abs(new - p) <= SETTLED * p) | (high - low <= 1e-15 * scale)
            over = settled.all(axis=0)
            if over.all() or step == MOST_STEPS - 1:
                self._keep(here, p, flow, now)
                break
            new = np.where(settled, p, new)
            if over.sum() * 3 > len(over):
                self._keep(here, p, flow, now)
                kept = np.flatnonzero(~over)
                here, station = here[kept], station.take(kept)
                low, high, new, share, scale, settled = (
                    one.take(kept, axis=1) for one in (low, high, new, share, scale, settled)
                )
                seats = None if seats is None else seats.take(kept, axis=1)
            p = new

    def _keep(self, here: Numbers, pressure: Numbers, flow: Numbers, now: Passage) -> None:
        """What was evaluated last for the openings at these places."""
        told = {"flow": flow, "lowest": pressure, "share": now.share, "given": now.given, "hot": now.hot,
                "cold": now.cold, "chamber": now.chamber, "behind": now.behind, "stem": now.stem}  # fmt: skip
        for name, value in told.items():
            if value is not None and len(here) < self.low.shape[1]:
                self.found[name][..., here] = value
            elif value is not None:
                self.found[name] = value

    @property
    def pressure(self) -> Numbers:
        """Pressure at the lowest outlets [S, B]."""
        return self.found["lowest"]


def _sum(of_outlets: Numbers) -> Numbers:
    return np.asarray(of_outlets[:, 0] if of_outlets.shape[1] == 1 else of_outlets.sum(axis=1))


def _smallest(root: _Root, station: Station, dips: Numbers, curves: Curves) -> None:
    """The smallest root with curves that dip: never below the root of the curves that never fall."""
    low, share = root.pressure[:, dips], root.found["share"][:, dips]
    deepest = np.zeros(low.shape)
    opening = station.paths.elements.group % low.shape[1]
    for state in range(len(low)):
        curve = station.paths.elements.curve[state]
        depth = curves.never_falling.values.max(axis=1)[curve] - curves.loss.values.min(axis=1)[curve]
        deepest[state] = np.bincount(opening, weights=depth, minlength=low.shape[1])
    high = np.where(root.high[:, dips] > 0, root.high[:, dips] + deepest + 1.0, 0.0)
    found = _Root(station, np.minimum(low, high), high, low, share, curves.loss)
    found.run()
    for _ in range(2):
        if not _earlier(found, low, curves):
            break
    root.found["share"] = root.found["share"].copy()  # it may be the station's own
    for name, value in found.found.items():
        root.found[name][..., dips] = value


def _earlier(found: _Root, low: Numbers, curves: Curves) -> bool:
    """Look for a root between `low` and the one found, at flows where a curve bends; solve again where one shows."""
    station, elements = found.station, found.station.paths.elements
    most = found.pressure
    points = curves.loss.flows[elements.curve]  # [S, elements, points]
    ones = np.ones(low.shape)
    share = found.found["share"]
    part_flow = part_flows(ones, share) if station.fault == SOURCE_COLD else ones[:, None]
    times = station.paths.of(part_flow, elements.group) * elements.factor
    with np.errstate(divide="ignore", invalid="ignore"):
        bends = points / times[..., None]
    flow_low, flow_high = (outlet_flows(station, p)[0].sum(axis=1) for p in (low, most))
    opening = elements.group % low.shape[1]
    inside = (bends > flow_low[:, opening, None]) & (bends < flow_high[:, opening, None])
    if not inside.any():
        return False
    wanted = _rising(bends, inside, opening, low.shape)
    start, end, changed = low.copy(), most.copy(), np.zeros(low.shape, dtype=bool)
    for k in range(wanted.shape[2]):
        asked = np.isfinite(wanted[..., k]) & ~changed
        at = np.where(asked, _pressure_at(station, wanted[..., k], low, most), most)
        flow = outlet_flows(station, at)[0].sum(axis=1)
        miss = at - passage(station, flow, share, None, curves.loss).given
        crossed = asked & (miss >= 0)
        end = np.where(crossed, at, end)
        changed |= crossed
        start = np.where(asked & ~crossed, at, start)
    if not changed.any():
        return False
    again = _Root(station, np.where(changed, start, most), end, np.where(changed, (start + end) / 2, most), share,
                  curves.loss)  # fmt: skip
    again.run()
    for name, value in again.found.items():
        found.found[name] = np.where(changed if value.ndim == 2 else changed[:, None], value, found.found[name])
    return True


def _rising(bends: Numbers, inside: Numbers, opening: Numbers, shape: tuple[int, ...]) -> Numbers:
    """The flows at which curves of each opening bend, rising, infinite where there are fewer [S, B, bends]."""
    state, element, point = np.nonzero(inside)
    wanted = np.full((*shape, int(np.bincount(state * shape[1] + opening[element]).max())), np.inf)
    order = np.lexsort((bends[state, element, point], opening[element], state))
    state, element, point = state[order], element[order], point[order]
    key = state * shape[1] + opening[element]
    place = np.arange(len(key)) - np.searchsorted(key, key)
    wanted[state, opening[element], place] = bends[state, element, point]
    return wanted


def _pressure_at(station: Station, flow: Numbers, low: Numbers, high: Numbers) -> Numbers:
    """Pressure of the lowest outlet at which the station passes a flow, by halving the range."""
    low, high = low.copy(), high.copy()
    for _ in range(60):
        middle = (low + high) / 2
        less = outlet_flows(station, middle)[0].sum(axis=1) < flow
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    return (low + high) / 2
