"""One station at a time: a single unknown, the pressure at its lowest open outlet, for all openings of a block at once.

All stretches carry flows in proportion to the station's, so a path collapses into a few coefficients. The balance
F(p) = p - available(flow(p)) rises with p unless a device's curve dips; then the smallest root is looked for.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE
from drenchbook.operating_cases import HOT_LOST, NORMAL, SOURCE_COLD
from drenchbook.physics.mixing_valve import two_seats_kernel
from drenchbook.physics.outlets import outlet_flow_kernel
from drenchbook.physics.pipe_flow import HAZEN_WILLIAMS_FLOW, darcy_gradient_kernel
from drenchbook.physics.supply import SUPPLY_EXPONENT
from drenchbook.solver_blocks import SEASON_OF_STATE, Block, splits
from drenchbook.solver_flows import coefficient_at, square_law
from drenchbook.solver_paths import Curves, CurveTable, Stretches, rows_of, supply_drop
from drenchbook.solver_trees import gathered

Numbers: TypeAlias = np.ndarray[Any, Any]

COMMON, COLD, HOT, TEMPERED = range(4)  # where a stretch lies on the path of one station
SETTLED = 1e-8  # last step over the pressure at no flow; Newton's next one would be its square
MOST_STEPS = 100  # bisection alone would end in fewer
START = 0.6  # of the pressure at no flow
SHARE_SETTLED = 1e-10  # after a step of Newton as small as this the next would be its square, below rounding
MARGIN = 0.01  # how far outside 0 to 1 a hot share is followed


@dataclass(frozen=True)
class Paths:
    """Losses of one station's path, by part [S, B, 4]; a stretch carries `factor` times the flow of its part."""

    power: Numbers  # Hazen-Williams
    supply: Numbers  # drop of the supply's law
    draw: Numbers  # other demand on that supply, in units of the part's flow
    square: Numbers
    segment_group: Numbers  # part of its opening: 4·opening + part, rising
    segment_factor: Numbers  # [S, segments]
    segment_density: Numbers
    segment_viscosity: Numbers
    segment_length: Numbers
    segment_diameter: Numbers
    segment_roughness: Numbers
    element_group: Numbers  # rising
    element_factor: Numbers
    element_curve: Numbers

    def take(self, at: Numbers) -> Paths:
        """The paths of openings, each as often as it is named."""
        segment, segment_group = rows_of(self.segment_group, 4, at)
        element, element_group = rows_of(self.element_group, 4, at)
        changed: dict[str, Any] = {"segment_group": segment_group, "element_group": element_group}
        for name in (one.name for one in fields(self)):
            value = getattr(self, name)
            if name in ("power", "supply", "draw", "square"):
                changed[name] = value.take(at, axis=1)
            elif name not in changed:
                changed[name] = value.take(segment if name.startswith("segment") else element, axis=-1)
        return replace(self, **changed)

    def losses(self, flow: Numbers, table: CurveTable) -> tuple[Numbers, Numbers]:
        """Loss and slope of each part at its flow [S, B, 4], or at one flow for all [S, B, 1]."""
        powered = flow ** (HAZEN_WILLIAMS_FLOW - 1)
        part = self.power * powered
        line = self.square * flow
        if self.is_drawn:
            loss, slope = (part + line) * flow, HAZEN_WILLIAMS_FLOW * part + 2 * line
            for at in self.fed:
                one = flow[..., at if flow.shape[2] == 4 else 0]
                drop, rise = supply_drop(self.supply[..., at], one, self.draw[..., at])
                loss[..., at] += drop
                slope[..., at] += rise
        else:
            drop = self.supply * (powered if SUPPLY_EXPONENT == HAZEN_WILLIAMS_FLOW else flow ** (SUPPLY_EXPONENT - 1))
            loss = (part + drop + line) * flow
            slope = HAZEN_WILLIAMS_FLOW * part + SUPPLY_EXPONENT * drop + 2 * line
        wide = (loss.reshape(len(loss), -1), slope.reshape(len(slope), -1))
        if len(self.segment_group):
            gradient = darcy_gradient_kernel(
                self._of(flow, self.segment_group) * self.segment_factor, self.segment_diameter,
                self.segment_roughness, self.segment_density, self.segment_viscosity,
            )  # fmt: skip
            groups, first = self.first_segments
            wide[0][:, groups] += np.add.reduceat(gradient[0] * self.segment_length, first, axis=1)
            weight = self.segment_length * self.segment_factor
            wide[1][:, groups] += np.add.reduceat(gradient[1] * weight, first, axis=1)
        if len(self.element_group):
            value, rise = table(self.element_curve, self._of(flow, self.element_group) * self.element_factor)
            groups, first = self.first_elements
            for total, one in zip(wide, (value, rise * self.element_factor), strict=True):
                total[:, groups] += np.add.reduceat(one, first, axis=1)
        return wide[0].reshape(loss.shape), wide[1].reshape(loss.shape)

    @functools.cached_property
    def is_drawn(self) -> bool:
        """Whether any supply gives another demand besides."""
        return bool(self.draw.any())

    @functools.cached_property
    def fed(self) -> list[int]:
        """The parts in which any opening has a supply."""
        return np.flatnonzero(self.supply.any(axis=(0, 1))).tolist()

    @functools.cached_property
    def first_segments(self) -> tuple[Numbers, Numbers]:
        """Parts that have segments, and where theirs begin."""
        first = np.flatnonzero(np.diff(self.segment_group, prepend=-1))
        return self.segment_group[first], first

    @functools.cached_property
    def first_elements(self) -> tuple[Numbers, Numbers]:
        """Parts that have curve elements, and where theirs begin."""
        first = np.flatnonzero(np.diff(self.element_group, prepend=-1))
        return self.element_group[first], first

    @staticmethod
    def _of(flow: Numbers, group: Numbers) -> Numbers:
        return flow.reshape(len(flow), -1).take(group if flow.shape[2] == 4 else group // 4, axis=1)


def paths_of(block: Block) -> Paths:
    """The path of the one station of each opening. With "source cold but pressurised" each part has its own flow."""
    edges = block.supply_edges
    if block.shape.valves:
        part = np.where(edges[:, :, 0] * edges[:, :, 1] > 0, COMMON, np.where(edges[:, :, 0] > 0, COLD, HOT))
        share = block.share[..., 0] if block.fault != SOURCE_COLD else np.full(block.share.shape[:2], 0.5)
        mass = np.stack((1 - share, share), axis=2) * block.valve_density
        if block.fault == SOURCE_COLD:
            edge_mass = np.broadcast_to(block.valve_density, (*share.shape, edges.shape[1]))
        else:
            edge_mass = gathered(mass, np.swapaxes(edges, 1, 2))
    else:
        part = np.full(edges.shape[:2], COLD)
        edge_mass = np.broadcast_to(block.station_density, (*block.station_density.shape[:2], edges.shape[1]))
    factor = np.repeat(edge_mass, 2, axis=2) / block.supply_density
    sides = (
        (block.supply_paths, np.repeat(part, 2, axis=1), factor, block.supply_density, block.supply_viscosity),
        (block.tempered_paths, np.full((len(block), 1), TEMPERED), np.ones((len(factor), len(block), 1)),
         block.tempered_density, block.tempered_viscosity),
    )  # fmt: skip
    sums = [np.zeros((len(factor), len(block), 4)) for _ in range(4)]  # power, supply, draw, square
    for side, place, times, density, _ in sides:
        _add_coefficients(sums, side, place, times, density)
    segments = [_segments(*side) for side in sides]
    joined = [np.concatenate([one[i] for one in segments], axis=-1) for i in range(7)]
    order = np.argsort(joined[0], kind="stable")
    elements = [_elements(side, place, times) for side, place, times, _, _ in sides]
    curves = [np.concatenate([one[i] for one in elements], axis=-1) for i in range(3)]
    order_of_curves = np.argsort(curves[0], kind="stable")
    return Paths(*sums, *(one[..., order] for one in joined), *(one[..., order_of_curves] for one in curves))


def _add_coefficients(sums: list[Numbers], side: Stretches, part: Numbers, factor: Numbers, density: Numbers) -> None:
    """Coefficients of the stretches, summed over each part; factors and waters change with the season only."""
    season = np.unique(SEASON_OF_STATE, return_index=True)[1]
    factor, density = factor[season], density[season]
    which = (part[:, :, None] == np.arange(4)).astype(float)
    at = side.powered
    sums[0] += gathered(side.power[:, at] * factor[..., at] ** HAZEN_WILLIAMS_FLOW, which[:, at])[SEASON_OF_STATE]
    at = np.flatnonzero(side.minor.any(axis=0) | side.square.any(axis=0))
    lost = side.minor[:, at] * density[..., at] + side.square[:, at]
    sums[3] += gathered(lost * factor[..., at] ** 2, which[:, at])[SEASON_OF_STATE]
    at = side.fed
    drawn = factor[..., at] ** SUPPLY_EXPONENT
    sums[1] += gathered(side.supply[..., at] * drawn[SEASON_OF_STATE], which[:, at])
    if side.draw.any():  # each part begins at one supply at most
        share = np.divide(side.draw[:, at], factor[..., at], out=np.zeros_like(factor[..., at]),
                          where=factor[..., at] > 0)  # fmt: skip
        sums[2] += gathered(share, which[:, at])[SEASON_OF_STATE]


def _segments(side: Stretches, part: Numbers, factor: Numbers, density: Numbers, viscosity: Numbers) -> list[Numbers]:
    at = side.segment
    wide = [one.reshape(len(one), -1)[:, at] for one in (factor, density, viscosity)]
    group = 4 * (at // part.shape[1]) + part.ravel()[at]
    return [group, *wide, side.segment_length, side.segment_diameter, side.segment_roughness]


def _elements(side: Stretches, part: Numbers, factor: Numbers) -> list[Numbers]:
    at = side.element
    group = 4 * (at // part.shape[1]) + part.ravel()[at]
    return [group, factor.reshape(len(factor), -1)[:, at], side.element_curve]


# What the paths, and the search for the root, read of a block.
_OF_PATHS = frozenset(("opening", "supply_edges", "share", "valve_density", "station_density", "supply_density",
                       "supply_viscosity", "supply_paths", "tempered_paths", "tempered_density",
                       "tempered_viscosity"))  # fmt: skip
_USED = frozenset(("end_static", "share", "coefficient", "coefficient_curve", "outlet_square", "bypass_coefficient",
                   "bypass_curve", "cold_source", "rated_flow", "rated_pressure", "regulated",
                   "outlet_pair"))  # fmt: skip


@dataclass(frozen=True)
class Station:
    """One station of each opening: its path, its valve and its outlets."""

    block: Block
    curves: Curves
    paths: Paths
    lowest: Numbers  # [S, B] height pressure of the lowest open outlet
    above: Numbers  # [S, B, outlets] height pressure above the lowest

    def take(self, at: Numbers) -> Station:
        """The openings at these places."""
        return Station(self.block.take(at, _USED), self.curves, self.paths.take(at), self.lowest[:, at],
                       self.above[:, at])  # fmt: skip

    def outlet_flows(self, pressure: Numbers) -> tuple[Numbers, Numbers]:
        """Flow of each outlet and its slope [S, B, outlets] at pressures [S, B] of the lowest."""
        block = self.block
        return outlet_flow_kernel(pressure[..., None] - self.above, block.rated_flow, block.rated_pressure,
                                  block.regulated)  # fmt: skip

    def available(self, flow: Numbers, share: Numbers, table: CurveTable) -> tuple[Numbers, Numbers, Numbers]:
        """Pressure that the network gives at the lowest outlet, its slope with flow, and the hot share there [S, B]."""
        block = self.block
        if not block.shape.valves:
            loss, slope = self.paths.losses(flow[..., None], table)
            return (block.end_static[..., 0] - loss[..., COLD] - self.lowest, -slope[..., COLD], share)
        if block.fault == SOURCE_COLD:
            return self._source_cold(flow, share, table)
        loss, slope = self.paths.losses(flow[..., None], table)
        cold = block.end_static[..., 0] - loss[..., COMMON] - loss[..., COLD]
        cold_slope = -slope[..., COMMON] - slope[..., COLD]
        if block.fault == HOT_LOST:
            bypass, bypass_slope = square_law(
                self.curves, block.bypass_coefficient, block.bypass_curve, flow[..., None]
            )
            return (cold - bypass[..., 0] - loss[..., TEMPERED] - self.lowest,
                    cold_slope - bypass_slope[..., 0] - slope[..., TEMPERED], share)  # fmt: skip
        hot = block.end_static[..., 1] - loss[..., COMMON] - loss[..., HOT]
        coefficient, change = (one[..., 0] for one in coefficient_at(
            self.curves, block.coefficient, block.coefficient_curve, flow[..., None]))  # fmt: skip
        chamber, _, by_flow, by_hot, by_cold = two_seats_kernel(flow, block.share[..., 0], hot, cold, coefficient)
        outlet = block.outlet_square[:, 0] * flow
        rise = (by_flow * (1 - flow * change / coefficient) + by_hot * -(slope[..., COMMON] + slope[..., HOT])
                + by_cold * cold_slope - 2 * outlet - slope[..., TEMPERED])  # fmt: skip
        return chamber - outlet * flow - loss[..., TEMPERED] - self.lowest, rise, share

    def at_rest(self, table: CurveTable) -> Numbers:
        """Pressure at the lowest outlet at no flow [S, B]: static less what curves lose at no flow."""
        block, paths = self.block, self.paths
        loss = np.zeros((*self.lowest.shape, 4))
        for state in range(len(loss)):
            held = table.values[paths.element_curve[state], 0]
            loss[state] = np.bincount(paths.element_group, weights=held, minlength=loss[0].size).reshape(loss[0].shape)
        cold = block.end_static[..., 0] - loss[..., COMMON] - loss[..., COLD]
        if not block.shape.valves or block.fault == HOT_LOST:
            return cold - loss[..., TEMPERED] - self.lowest
        hot = block.end_static[..., 1] - loss[..., COMMON] - loss[..., HOT]
        if block.fault == SOURCE_COLD:
            inlet = np.where(splits(block)[:, 0], np.maximum(cold, hot), hot)
        else:  # a shut seat does not count; of two open ones the lower inlet holds the flow back
            share = block.share[..., 0]
            inlet = np.where(share <= 0, cold, np.where(share >= 1, hot, np.minimum(cold, hot)))
        return inlet - loss[..., TEMPERED] - self.lowest

    def _source_cold(self, flow: Numbers, share: Numbers, table: CurveTable) -> tuple[Numbers, Numbers, Numbers]:
        """Hot seat fully open beside the bypass: the split is solved inside, warm from the last share.

        The gap between the sides falls while the share rises, also a little outside 0 to 1; there one side passes
        nothing.
        """
        block = self.block
        fitted = np.broadcast_to(splits(block)[:, 0], flow.shape)
        low, high = np.full(flow.shape, -MARGIN), np.full(flow.shape, 1 + MARGIN)
        share = np.where(fitted, share, 1.0)
        for _ in range(MOST_STEPS):
            hot, cold, hot_slope, cold_slope, _, _ = self._sides(flow, share, table)
            gap = hot - cold
            low, high = np.where(gap > 0, share, low), np.where(gap > 0, high, share)
            with np.errstate(divide="ignore", invalid="ignore"):
                new = np.clip(share + gap / ((hot_slope + cold_slope) * flow), -MARGIN, 1 + MARGIN)
            new = np.where((new >= low) & (new <= high), new, (low + high) / 2)
            new = np.where(fitted, new, 1.0)
            moved, share = np.abs(new - share), new
            if not np.any(moved > SHARE_SETTLED):
                break
        share = np.clip(share, 0.0, 1.0)
        hot, cold, hot_slope, cold_slope, loss, slope = self._sides(flow, share, table)
        behind = np.where(share >= 1.0, hot, np.where(share <= 0.0, cold, share * hot + (1 - share) * cold))
        with np.errstate(divide="ignore", invalid="ignore"):
            both = np.where(hot_slope + cold_slope > 0, hot_slope * cold_slope / (hot_slope + cold_slope), 0.0)
        alone = np.where(share >= 1.0, hot_slope, np.where(share <= 0.0, cold_slope, both))
        return (behind - loss[..., TEMPERED] - self.lowest,
                -alone - slope[..., COMMON] - slope[..., TEMPERED], share)  # fmt: skip

    def _sides(self, flow: Numbers, share: Numbers, table: CurveTable) -> tuple[Numbers, ...]:
        block = self.block
        hot_flow, cold_flow = np.maximum(share, 0.0) * flow, np.maximum(1 - share, 0.0) * flow
        loss, slope = self.paths.losses(np.stack((flow, cold_flow, hot_flow, flow), axis=2), table)
        seat, seat_slope = (one[..., 0] for one in square_law(
            self.curves, block.coefficient, block.coefficient_curve, hot_flow[..., None]))  # fmt: skip
        outlet = block.outlet_square[:, 0] * hot_flow
        fitted = splits(block)
        bypass, bypass_slope = (one[..., 0] for one in square_law(
            self.curves, np.where(fitted, block.bypass_coefficient, 1.0), block.bypass_curve,
            cold_flow[..., None]))  # fmt: skip
        hot = block.end_static[..., 1] - loss[..., COMMON] - loss[..., HOT] - seat - outlet * hot_flow
        cold = block.end_static[..., 0] - loss[..., COMMON] - loss[..., COLD] - bypass
        return (hot, cold, slope[..., HOT] + seat_slope + 2 * outlet, slope[..., COLD] + bypass_slope, loss, slope)


def solve_single(block: Block, curves: Curves) -> tuple[Numbers, Numbers, Numbers]:
    """Flows of the outlets [S, B, outlets] and through the hot seats, and which cases have a root [S, B].

    Flows are zero where there is no root.
    """
    there = block.outlet_pair != NONE
    height = np.where(there, block.outlet_height, np.inf)
    lowest = height.min(axis=2)
    paths = paths_of(block.take(block.first, _OF_PATHS)).take(block.same)
    station = Station(block, curves, paths, lowest, np.where(there, height - lowest[..., None], 0.0))
    shape = lowest.shape
    share = np.full(shape, 0.5)
    if block.shape.valves and block.fault == NORMAL:
        share = block.share[..., 0].copy()
    dips = np.zeros(len(block), dtype=bool)
    falling = curves.loss.dips[station.paths.element_curve].any(axis=0)
    dips[station.paths.element_group[falling] // 4] = True
    first_table = curves.never_falling if dips.any() else curves.loss
    static = station.at_rest(first_table)
    reached = static > 0
    root = _Root(station, np.zeros(shape), np.where(reached, static, 0.0), _start(station, static), share, first_table)
    root.run()
    if dips.any():
        _smallest(root, station.take(np.flatnonzero(dips)), dips, curves)
    flow, _ = station.outlet_flows(root.pressure)
    flow = np.where(reached[..., None], flow, 0.0)
    return flow, (root.share * flow.sum(axis=2))[..., None], reached


def _start(station: Station, static: Numbers) -> Numbers:
    """The highest pressure below static at which a regulator begins to hold, else a part of static."""
    block = station.block
    kink = np.where(block.regulated, block.rated_pressure + station.above, -np.inf)
    kink = np.where(kink < static[..., None], kink, -np.inf).max(axis=2)
    return np.where(np.isfinite(kink), kink, START * static)


class _Root:
    """Bracketed Newton for F(p) = p - available(flow(p)); openings that are settled in every state drop out."""

    def __init__(self, station: Station, low: Numbers, high: Numbers, start: Numbers, share: Numbers,
                 table: CurveTable):  # fmt: skip
        self.station, self.table = station, table
        self.low: Numbers = low
        self.high: Numbers = high
        self.pressure: Numbers = np.clip(start, low, high)
        self.share: Numbers = share
        self.scale = np.maximum(high, 1.0)
        self.settled = high <= low

    def run(self) -> None:
        """Iterate until every case is settled or the steps are used up."""
        station, here = self.station, np.arange(self.low.shape[1])
        low, high, p, share, scale, settled = (
            one.copy() for one in (self.low, self.high, self.pressure, self.share, self.scale, self.settled)
        )
        low_miss = 0.0 - scale
        for step in range(MOST_STEPS):
            flow, slope = (one.sum(axis=2) for one in station.outlet_flows(p))
            available, change, share = station.available(flow, share, self.table)
            miss = p - available
            below = miss < 0
            low, high = np.where(below, p, low), np.where(below, high, p)
            rate = 1 - change * slope
            with np.errstate(divide="ignore", invalid="ignore"):
                new = p - miss / rate
                if step == 0:  # F is almost straight: the secant from F(0) = -static
                    new = np.where(below | (low > 0), new, p * low_miss / (low_miss - miss))
            bad = ~((new >= low) & (new <= high) & (rate > 0)) | ((step > 12) & (step % 3 == 0))
            new = np.where(bad, (low + high) / 2, new)
            new = np.where(settled, p, new)
            done = (np.abs(new - p) <= SETTLED * scale) | (high - low <= 1e-15 * scale)
            p = new
            settled = settled | done
            over: Numbers = np.asarray(settled.all(axis=0))
            if over.any():
                gone = here[over]
                self.pressure[:, gone], self.share[:, gone] = p[:, over], share[:, over]
                self.settled[:, gone] = True
                if over.all():
                    return
                if over.sum() * 3 > len(over):
                    keep = np.flatnonzero(~over)
                    here, station = here[keep], station.take(keep)
                    low, high, p, share, scale, settled, low_miss = (  # type: ignore[assignment]
                        one[:, keep] for one in (low, high, p, share, scale, settled, low_miss)
                    )
        self.pressure[:, here], self.share[:, here], self.settled[:, here] = p, share, settled


def _smallest(root: _Root, station: Station, dips: Numbers, curves: Curves) -> None:
    """The smallest root with curves that dip: never below the root of the curves that never fall."""
    low, share = root.pressure[:, dips], root.share[:, dips]
    deepest = np.zeros(low.shape)
    group = station.paths.element_group // 4
    for state in range(len(low)):
        curve = station.paths.element_curve[state]
        depth = (curves.never_falling.values - 0).max(axis=1)[curve] - curves.loss.values.min(axis=1)[curve]
        deepest[state] = np.bincount(group, weights=depth, minlength=low.shape[1])
    high = np.where(root.settled[:, dips] & (root.high[:, dips] > 0), root.high[:, dips] + deepest + 1.0, 0.0)
    found = _Root(station, np.minimum(low, high), high, low, share, curves.loss)
    found.run()
    for _ in range(2):
        if not _earlier(found, low, curves):
            break
    root.pressure[:, dips], root.share[:, dips] = found.pressure, found.share
    root.settled[:, dips] &= found.settled


def _earlier(found: _Root, low: Numbers, curves: Curves) -> bool:
    """Look for a root between `low` and the one found, at flows where a curve bends; solve again where one shows."""
    station = found.station
    paths = station.paths
    most = found.pressure
    points = curves.loss.flows[paths.element_curve]  # [S, elements, points]
    part_flow = np.ones((*low.shape, 4))
    if station.block.fault == SOURCE_COLD:
        part_flow[..., COLD], part_flow[..., HOT] = 1 - found.share, found.share
    times = Paths._of(part_flow, paths.element_group) * paths.element_factor
    with np.errstate(divide="ignore", invalid="ignore"):
        bends = points / times[..., None]
    flow_low, flow_high = (station.outlet_flows(p)[0].sum(axis=2) for p in (low, most))
    opening = paths.element_group // 4
    inside = (bends > flow_low[:, opening, None]) & (bends < flow_high[:, opening, None])
    if not inside.any():
        return False
    state, element, point = np.nonzero(inside)
    wanted = np.full((*low.shape, int(np.bincount(state * low.shape[1] + opening[element]).max())), np.inf)
    order = np.lexsort((bends[state, element, point], opening[element], state))
    state, element, point = state[order], element[order], point[order]
    key = state * low.shape[1] + opening[element]
    place = np.arange(len(key)) - np.searchsorted(key, key)
    wanted[state, opening[element], place] = bends[state, element, point]
    start, end, changed = low.copy(), most.copy(), np.zeros(low.shape, dtype=bool)
    for k in range(wanted.shape[2]):
        at = np.where(np.isfinite(wanted[..., k]) & ~changed, _pressure_at(station, wanted[..., k], low, most), most)
        flow = station.outlet_flows(at)[0].sum(axis=2)
        miss = at - station.available(flow, found.share, curves.loss)[0]
        asked = np.isfinite(wanted[..., k]) & ~changed
        crossed = asked & (miss >= 0)
        end = np.where(crossed, at, end)
        changed |= crossed
        start = np.where(asked & ~crossed, at, start)
    if not changed.any():
        return False
    again = _Root(station, np.where(changed, start, most), end, np.where(changed, (start + end) / 2, most), found.share,
                  curves.loss)  # fmt: skip
    again.run()
    found.pressure = np.where(changed, again.pressure, found.pressure)
    found.share = np.where(changed, again.share, found.share)
    found.settled &= again.settled
    return True


def _pressure_at(station: Station, flow: Numbers, low: Numbers, high: Numbers) -> Numbers:
    """Pressure of the lowest outlet at which the station passes a flow, by halving the range."""
    low, high = low.copy(), high.copy()
    for _ in range(60):
        middle = (low + high) / 2
        less = station.outlet_flows(middle)[0].sum(axis=2) < flow
        low, high = np.where(less, middle, low), np.where(less, high, middle)
    return (low + high) / 2
