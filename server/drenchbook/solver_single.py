"""One station at a time: what the network gives at a pressure of its lowest outlet, and the pressure where that fits.

The balance F(p) = p - available(flow(p)) rises with p unless a device's curve dips; then the smallest root is looked
for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.operating_cases import HOT_LOST, SOURCE_COLD
from drenchbook.physics.mixing_valve import two_seats_from_kernel
from drenchbook.physics.outlets import outlet_flow_kernel
from drenchbook.solver_flows import coefficient_at, square_law
from drenchbook.solver_paths import CurveTable
from drenchbook.solver_single_paths import COLD, COMMON, HOT, TEMPERED
from drenchbook.solver_single_ways import Station

Numbers: TypeAlias = np.ndarray[Any, Any]

SHARE_STEPS = 100  # bisection alone would end in fewer
KINKED = 10  # steps after which a curve that bends is also halved
SHARE_SETTLED = 1e-10  # after a step of Newton as small as this the next would be its square, below rounding
MARGIN = 0.01  # how far outside 0 to 1 a hot share is followed


def outlet_flows(station: Station, pressure: Numbers) -> tuple[Numbers, Numbers]:
    """Flow of each outlet and its slope [S, outlets, B] at pressures [S, B] of the lowest."""
    return outlet_flow_kernel(pressure[:, None] - station.above, station.rated_flow, station.rated_pressure,
                              station.regulated)  # fmt: skip


@dataclass(frozen=True)
class Passage:
    """What the network gives at a flow of the station; arrays [S, B]. What a fault does not tell is None."""

    given: Numbers  # pressure at the lowest outlet
    slope: Numbers  # of that with flow
    share: Numbers  # hot share
    seats: Numbers | None = None  # where the two seats stand, a start for a flow near by
    hot: Numbers | None = None  # pressures at the inlets of the valve, in its chamber and behind it
    cold: Numbers | None = None
    chamber: Numbers | None = None
    behind: Numbers | None = None
    stem: Numbers | None = None


def passage(station: Station, flow: Numbers, share: Numbers, seats: Numbers | None, table: CurveTable) -> Passage:
    """The path of a station at flows [S, B].

    `seats` is where the two seats stood at a flow near by, `share` where the split of a cold source did.
    """
    if station.fault == SOURCE_COLD and station.behind:
        return Passage(*_source_cold(station, flow, share, table))
    loss, slope = station.paths.losses(flow[:, None], table)
    if not station.behind:
        return Passage(station.cold_static - loss[:, COLD] - station.lowest, -slope[:, COLD], share)
    cold = station.cold_static - loss[:, COMMON] - loss[:, COLD]
    to_outlet = loss[:, TEMPERED] + station.lowest
    cold_slope = slope[:, COMMON] + slope[:, COLD]
    if station.fault == HOT_LOST:
        bypass, rise = square_law(station.curves, station.bypass_coefficient, station.bypass_curve, flow)
        behind = cold - bypass
        return Passage(behind - to_outlet, -cold_slope - rise - slope[:, TEMPERED], share, cold=cold, chamber=behind,
                       behind=behind)  # fmt: skip
    hot = station.hot_static - loss[:, COMMON] - loss[:, HOT]
    coefficient, change = coefficient_at(station.curves, station.coefficient, station.coefficient_curve, flow)
    chamber, stem, by_flow, by_hot, by_cold, seats = two_seats_from_kernel(flow, share, hot, cold, coefficient, seats)
    outlet = station.outlet_square * flow
    rise = (by_flow * (1 - flow * change / coefficient) - by_hot * (slope[:, COMMON] + slope[:, HOT])
            - by_cold * cold_slope - 2 * outlet - slope[:, TEMPERED])  # fmt: skip
    behind = chamber - outlet * flow
    return Passage(behind - to_outlet, rise, share, seats, hot, cold, chamber, behind, stem)


def at_rest(station: Station, table: CurveTable) -> Numbers:
    """Pressure at the lowest outlet at no flow [S, B]: static less what curves lose at no flow."""
    paths = station.paths
    loss = np.zeros(paths.power.shape)
    if len(paths.elements.group):
        groups, first = paths.first_elements
        held = table.values[paths.elements.curve, 0]
        loss.reshape(len(loss), -1)[:, groups] = np.add.reduceat(held, first, axis=1)
    cold = station.cold_static - loss[:, COMMON] - loss[:, COLD]
    if not station.behind or station.fault == HOT_LOST:
        return np.asarray(cold - loss[:, TEMPERED] - station.lowest)
    hot = station.hot_static - loss[:, COMMON] - loss[:, HOT]
    if station.fault == SOURCE_COLD:
        inlet = np.where(station.fitted, np.maximum(cold, hot), hot)
    else:  # a shut seat does not count; of two open ones the lower inlet holds the flow back
        share = station.share
        inlet = np.where(share <= 0, cold, np.where(share >= 1, hot, np.minimum(cold, hot)))
    return np.asarray(inlet - loss[:, TEMPERED] - station.lowest)


def _source_cold(station: Station, flow: Numbers, share: Numbers, table: CurveTable
                 ) -> tuple[Numbers, Numbers, Numbers]:  # fmt: skip
    """Hot seat fully open beside the bypass: the split is solved inside, warm from the last share.

    The gap between the sides falls while the share rises, also a little outside 0 to 1; there one side passes
    nothing.
    """
    fitted = np.broadcast_to(station.fitted, flow.shape)
    low, high = np.full(flow.shape, -MARGIN), np.full(flow.shape, 1 + MARGIN)
    share = np.where(fitted, share, 1.0)
    moves = fitted
    for step in range(SHARE_STEPS):
        hot, cold, hot_slope, cold_slope, _, _ = sides(station, flow, share, table)
        gap = hot - cold
        low, high = np.where(gap > 0, share, low), np.where(gap > 0, high, share)
        with np.errstate(divide="ignore", invalid="ignore"):
            new = np.clip(share + gap / ((hot_slope + cold_slope) * flow), -MARGIN, 1 + MARGIN)
        inside = (new >= low) & (new <= high) & (step < KINKED or step % 3 > 0)
        new = np.where(inside, new, (low + high) / 2)
        new = np.where(moves, new, share)
        moved, share = np.abs(new - share), new
        moves = moves & (moved > SHARE_SETTLED)
        if not np.any(moves):
            break
    share = np.clip(share, 0.0, 1.0)
    hot, cold, hot_slope, cold_slope, loss, slope = sides(station, flow, share, table)
    behind = np.where(share >= 1.0, hot, np.where(share <= 0.0, cold, share * hot + (1 - share) * cold))
    with np.errstate(divide="ignore", invalid="ignore"):
        both = np.where(hot_slope + cold_slope > 0, hot_slope * cold_slope / (hot_slope + cold_slope), 0.0)
    alone = np.where(share >= 1.0, hot_slope, np.where(share <= 0.0, cold_slope, both))
    return (behind - loss[:, TEMPERED] - station.lowest,
            -alone - slope[:, COMMON] - slope[:, TEMPERED], share)  # fmt: skip


def part_flows(flow: Numbers, share: Numbers) -> Numbers:
    """Flow of each part [S, parts, B] when a cold source's water comes by both ways."""
    return np.stack((flow, np.maximum(1 - share, 0.0) * flow, np.maximum(share, 0.0) * flow, flow), axis=1)


def sides(station: Station, flow: Numbers, share: Numbers, table: CurveTable) -> tuple[Numbers, ...]:
    """Pressures behind hot seat and bypass, how they fall with their flows, and losses and slopes of the parts."""
    flows = part_flows(flow, share)
    hot_flow, cold_flow = flows[:, HOT], flows[:, COLD]
    loss, slope = station.paths.losses(flows, table)
    seat, seat_slope = square_law(station.curves, station.coefficient, station.coefficient_curve, hot_flow)
    outlet = station.outlet_square * hot_flow
    bypass, bypass_slope = square_law(
        station.curves, np.where(station.fitted, station.bypass_coefficient, 1.0), station.bypass_curve, cold_flow
    )
    hot = station.hot_static - loss[:, COMMON] - loss[:, HOT] - seat - outlet * hot_flow
    cold = station.cold_static - loss[:, COMMON] - loss[:, COLD] - bypass
    return (hot, cold, slope[:, HOT] + seat_slope + 2 * outlet, slope[:, COLD] + bypass_slope, loss, slope)
