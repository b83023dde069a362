"""Several stations at once: Newton's method on the flows of all open outlets, for all openings of a block at once.

Each outlet flow lies between zero and what its regulator holds. An outlet whose network pressure is below zero stays at
zero: it does not suck. The slope of an outlet is the secant between its flow and the flow its present pressure would
give, because the tangent is infinite at zero flow. A step is halved until the balance along it has fallen: where losses
rise with flow, the balance is the gradient of a convex function, so that proves descent.

With a cold source the flow through each hot seat is one more unknown, between zero and the flow of its valve.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE
from drenchbook.operating_cases import SOURCE_COLD
from drenchbook.solver_blocks import Block, splits
from drenchbook.solver_flows import WHOLE, Flows, flows
from drenchbook.solver_paths import Curves, CurveTable
from drenchbook.solver_trees import gathered

Numbers: TypeAlias = np.ndarray[Any, Any]

SETTLED = 1e-10  # last step over the outlet's rated flow
MOST_STEPS = 200
MOST_HALVINGS = 12
FINE = 1e-5  # steps below it are taken whole: rounding hides what the balance would say
GUESS, HOT_GUESS = 0.5, 0.5  # of the pressure at no flow; of the flow of a valve that a cold source splits
OTHER_GUESSES = ((0.9, 0.5), (0.9, 0.95), (0.1, 1.0), (0.02, 0.05))  # where the first does not settle
ENOUGH = 0.5  # of the balance along a step that may be left at its end


def solve_sets(block: Block, curves: Curves) -> tuple[Numbers, Numbers, Numbers]:
    """Flows of the outlets [S, B, outlets] and through the hot seats, and which cases have a root [S, B].

    Where a curve dips, the curves that never fall are solved first: the smallest flows lie at or beyond their root, and
    from there the falling slopes are left out of the steps, so that the flows rise to it.
    """
    dips = bool(curves.loss.dips[block.supply_paths.element_curve].any()
                or curves.loss.dips[block.tempered_paths.element_curve].any())  # fmt: skip
    newton = _Newton(block, curves, curves.never_falling if dips else curves.loss)
    newton.run()
    newton.begin_again()
    if dips:
        newton.table, newton.settled = replace(curves.loss, falls_felt=False), np.logical_not(newton.reached)
        newton.run(from_below=True)
    return newton.flow, newton.hot, newton.reached


@dataclass
class _Iterate:
    """Where the iteration of every case stands. Axes: state, opening, then outlet or valve."""

    flow: Numbers
    hot: Numbers
    settled: Numbers
    base_flow: Numbers  # start of the present step
    base_hot: Numbers
    step_flow: Numbers
    step_hot: Numbers
    part: Numbers  # how much of the step is tried
    balance: Numbers  # along the step, at its start
    size: Numbers  # of the step, over the rated flows
    halvings: Numbers

    def take(self, at: Numbers) -> _Iterate:
        """The openings at these places."""
        return _Iterate(**{name: value[:, at] for name, value in self.__dict__.items()})


class _Newton:
    """Outlet flows and hot flows of all cases of a block, and which are settled."""

    def __init__(self, block: Block, curves: Curves, table: CurveTable, guess: float = GUESS,
                 hot_guess: float = HOT_GUESS):  # fmt: skip
        self.block, self.curves, self.table = block, curves, table
        count = (len(block.end_static), len(block))
        self.flow: Numbers = np.zeros((*count, block.rated_flow.shape[1]))
        self.hot: Numbers = np.zeros((*count, block.shape.valves))
        still = self._at_rest(table)
        self.reached: Numbers = np.where(block.outlet_pair != NONE, still, -1.0).max(axis=2) > 0
        pressure = np.maximum(still, 0.0) * guess
        free = block.rated_flow * np.sqrt(pressure / block.rated_pressure)
        self.flow = np.where(self.reached[..., None], np.minimum(free, _cap(block)), 0.0)
        if block.fault == SOURCE_COLD:
            total = gathered(self.flow, _valve_of_outlet(block))
            self.hot = np.where(splits(block), hot_guess, 1.0) * total
        self.settled: Numbers = np.logical_not(self.reached)

    def _at_rest(self, table: CurveTable) -> Numbers:
        """Pressure at the outlets at no flow; with a cold source through the better of both ways."""
        block = self.block
        still = flows(block, self.curves, table, self.flow, self.hot, with_slopes=False)
        if block.fault != SOURCE_COLD:
            return still.outlet_pressure
        better = np.where(splits(block), np.maximum(still.cold_pressure, still.hot_pressure), still.hot_pressure)
        to_outlets = np.swapaxes(_valve_of_outlet(block), 1, 2)
        lift = np.where(block.cold_source, better - still.valve_pressure, 0.0)  # the others mix as they do
        return still.outlet_pressure + gathered(lift, to_outlets)

    def begin_again(self) -> None:
        """Solve what has not settled from elsewhere: seats, bypasses and reducing valves make corners that hold it."""
        for guesses in OTHER_GUESSES:
            openings = np.flatnonzero(~self.settled.all(axis=0))
            if not len(openings):
                return
            again = _Newton(self.block.take(openings), self.curves, self.table, *guesses)
            again.run()
            state, place = np.nonzero(again.settled & ~self.settled[:, openings])
            self.flow[state, openings[place]] = again.flow[state, place]
            self.hot[state, openings[place]] = again.hot[state, place]
            self.settled[state, openings[place]] = True

    def run(self, from_below: bool = False) -> None:
        """Iterate until every case is settled or the steps are used up."""
        block, here, shape = self.block, np.arange(len(self.block)), self.settled.shape
        at = _Iterate(
            self.flow, self.hot, self.settled, self.flow, self.hot, np.zeros_like(self.flow), np.zeros_like(self.hot),
            np.ones(shape), np.full(shape, np.inf), np.full(shape, np.inf), np.zeros(shape, dtype=int),
        )  # fmt: skip
        for _ in range(MOST_STEPS):
            self._advance(block, at, from_below)
            over: Numbers = np.asarray(at.settled.all(axis=0))
            if not over.any():
                continue
            gone = here[over]
            self.flow[:, gone], self.hot[:, gone], self.settled[:, gone] = at.flow[:, over], at.hot[:, over], True
            if over.all():
                return
            if over.sum() * 4 > len(over):
                keep = np.flatnonzero(~over)
                here, block, at = here[keep], block.take(keep), at.take(keep)
        self.flow[:, here], self.hot[:, here], self.settled[:, here] = at.flow, at.hot, at.settled

    def _advance(self, block: Block, at: _Iterate, from_below: bool) -> None:
        """One evaluation: either the present step is halved, or a new one begins where it ended."""
        now = flows(block, self.curves, self.table, at.flow, at.hot, with_slopes=True)
        miss_flow, miss_hot = _misses(block, now)

        def along(step_flow: Numbers, step_hot: Numbers) -> Numbers:
            return np.asarray((miss_flow * step_flow).sum(axis=2) + (_felt(now, miss_hot) * step_hot).sum(axis=2))

        retry = (along(at.step_flow, at.step_hot) > ENOUGH * at.balance) & (at.halvings < MOST_HALVINGS) & ~at.settled
        retry &= (at.size > FINE) & (not from_below)
        step_flow, step_hot = _step(block, now, at.hot, miss_flow, miss_hot)
        moved = (np.abs(step_flow) / np.where(block.rated_flow > 0, block.rated_flow, 1.0)).max(axis=2)
        most = block.rated_flow.max(axis=1)
        moved = np.maximum(moved, np.abs(step_hot).max(axis=2, initial=0.0) / most)
        wide = retry[..., None]
        at.base_flow, at.base_hot = np.where(wide, at.base_flow, at.flow), np.where(wide, at.base_hot, at.hot)
        at.balance = np.where(retry, at.balance, np.abs(along(step_flow, step_hot)))
        at.step_flow = np.where(wide, at.step_flow, step_flow)
        at.step_hot = np.where(wide, at.step_hot, step_hot)
        at.size = np.where(retry, at.size, moved)
        at.part = np.where(retry, at.part / 2, 1.0)
        at.halvings = np.where(retry, at.halvings + 1, 0)
        stay = at.settled[..., None]
        at.flow = np.where(stay, at.flow, at.base_flow + at.part[..., None] * at.step_flow)
        at.hot = np.where(stay, at.hot, at.base_hot + at.part[..., None] * at.step_hot)
        at.settled = at.settled | (~retry & (moved <= SETTLED))


def _cap(block: Block) -> Numbers:
    return np.where(block.regulated, block.rated_flow, np.inf)


def _valve_of_outlet(block: Block) -> Numbers:
    """1 where an outlet [B, outlets] hangs on a valve [.., valves]."""
    valve = np.take_along_axis(block.valve_of_station, block.station_of_outlet, axis=1)
    return ((valve[:, :, None] == np.arange(block.shape.valves)) & (block.outlet_pair != NONE)[..., None]).astype(float)


def _misses(block: Block, now: Flows) -> tuple[Numbers, Numbers]:
    """Pressure that each outlet needs less what it gets; pressure behind each bypass less that behind the hot seat."""
    there = block.outlet_pair != NONE
    need = block.rated_pressure * (now.outlet_flow / np.where(there, block.rated_flow, 1.0)) ** 2
    return np.where(there, need - now.outlet_pressure, 0.0), now.imbalance


def _felt(now: Flows, miss_hot: Numbers) -> Numbers:
    """The part of the imbalance that outlets do not see already."""
    return miss_hot if now.looks_hot is None else np.where(now.looks_hot, 0.0, miss_hot)


def _step(block: Block, now: Flows, hot: Numbers, miss_flow: Numbers, miss_hot: Numbers) -> tuple[Numbers, Numbers]:
    """One step of Newton's method inside the bounds.

    What would leave its bounds is put on the bound and the others are solved again, so that they know of it; hot flows
    first. Should the step still not go downhill, each unknown steps by itself.
    """
    flow, cap, total_of = now.outlet_flow, _cap(block), _valve_of_outlet(block)
    full, empty = np.zeros(hot.shape, dtype=bool), np.zeros(hot.shape, dtype=bool)
    if block.fault == SOURCE_COLD:
        full = (hot >= now.valve_flow * (1 - WHOLE)) & (miss_hot <= 0) | ~splits(block)
        empty = (hot <= 0) & (miss_hot >= 0) & ~full
    low, high = np.zeros(flow.shape, dtype=bool), np.zeros(flow.shape, dtype=bool)
    at_full = full
    for _ in range(flow.shape[2] + hot.shape[2] + 2):
        system = _system(block, now, hot, miss_flow, miss_hot, full)
        step_flow, step_hot = _newton_step(block, now, hot, system, low, high, full, empty)
        total = gathered(flow + step_flow, total_of)
        more_full = (hot + step_hot > total * (1 + WHOLE)) & ~full
        more_empty = (hot + step_hot < 0) & ~empty & ~full & ~more_full.any(axis=2, keepdims=True)
        later = (more_full | more_empty).any(axis=2, keepdims=True)
        more_low = (flow + step_flow < 0) & ~low & ~later
        more_high = (flow + step_flow > cap) & ~high & ~later
        if not (later.any() or more_low.any() or more_high.any()):
            break
        low, high, full = low | more_low, high | more_high, full | more_full
        empty = (empty | more_empty) & ~full
    new_flow = np.clip(flow + step_flow, 0.0, cap)
    total = gathered(new_flow, total_of)
    new_hot = np.where(full, total, np.clip(hot + step_hot, 0.0, total)) if block.fault == SOURCE_COLD else hot
    felt = _felt(now, miss_hot)
    uphill = (miss_flow * (new_flow - flow)).sum(axis=2) + (felt * (new_hot - hot)).sum(axis=2) > 0
    if uphill.any():
        alone_flow, alone_hot = _each_by_itself(block, now, hot, miss_flow, miss_hot, at_full)
        new_flow = np.where(uphill[..., None], alone_flow, new_flow)
        new_hot = np.where(uphill[..., None], alone_hot, new_hot)
    return new_flow - flow, new_hot - hot


def _each_by_itself(block: Block, now: Flows, hot: Numbers, miss_flow: Numbers, miss_hot: Numbers, full: Numbers
                    ) -> tuple[Numbers, Numbers]:  # fmt: skip
    """Where each outlet and each hot flow would go if the others stood still."""
    outlets = now.outlet_flow.shape[2]
    matrix, right = _system(block, now, hot, miss_flow, miss_hot, full)
    own = np.abs(np.diagonal(matrix, axis1=2, axis2=3))
    aim = right / np.where(own > 0, own, 1.0)
    new_flow = np.clip(now.outlet_flow + aim[..., :outlets], 0.0, _cap(block))
    new_flow = np.where(block.outlet_pair != NONE, new_flow, 0.0)
    if block.fault != SOURCE_COLD:
        return new_flow, hot
    total = gathered(new_flow, _valve_of_outlet(block))
    return new_flow, np.where(full, total, np.clip(hot + aim[..., outlets:], 0.0, total))


def _secant(block: Block, flow: Numbers, miss: Numbers) -> Numbers:
    """Slope of each outlet between its flow and the flow that its present pressure would give."""
    there = block.outlet_pair != NONE
    k = np.where(there, block.rated_flow / np.sqrt(block.rated_pressure), 1.0)
    aim = k * np.sqrt(np.maximum((flow / k) ** 2 - miss, 0.0))
    return np.where(there, np.maximum(flow + aim, 1e-9 * block.rated_flow) / k**2, 1.0)


def _system(block: Block, now: Flows, hot: Numbers, miss_flow: Numbers, miss_hot: Numbers, full: Numbers
            ) -> tuple[Numbers, Numbers]:  # fmt: skip
    """Matrix and right side of Newton's method, without bounds."""
    assert now.slopes is not None
    matrix, right = -now.slopes.pressure_flow, -miss_flow
    if block.fault == SOURCE_COLD:
        matrix, right = _with_hot_flows(block, now, matrix, right, miss_hot, full)
    at = np.arange(now.outlet_flow.shape[2])
    matrix[..., at, at] += _secant(block, now.outlet_flow, -right[..., : len(at)])
    return matrix, right


def _newton_step(block: Block, now: Flows, hot: Numbers, system: tuple[Numbers, Numbers], low: Numbers,
                 high: Numbers, full: Numbers, empty: Numbers) -> tuple[Numbers, Numbers]:  # fmt: skip
    """The step with some outlets put on a bound, and hot flows on theirs."""
    there, flow, cap = block.outlet_pair != NONE, now.outlet_flow, _cap(block)
    outlets = flow.shape[2]
    miss = -system[1][..., :outlets]
    still = ~there | ((flow <= 0) & (miss >= 0)) | ((flow >= cap) & (miss <= 0))
    held = still | low | high
    to_cap = np.where(np.isfinite(cap), cap, 0.0) - flow
    given = np.where(still, 0.0, np.where(low, -flow, np.where(high, to_cap, 0.0)))
    if block.fault == SOURCE_COLD:
        held = np.concatenate((held, full | empty), axis=2)
        given = np.concatenate((given, np.where(empty, -hot, 0.0)), axis=2)
    moved = _solved(*system, held, given)
    if block.fault != SOURCE_COLD:
        return moved, np.zeros_like(hot)
    total = gathered(flow + moved[..., :outlets], _valve_of_outlet(block))
    return moved[..., :outlets], np.where(full, total - hot, moved[..., outlets:])


def _with_hot_flows(block: Block, now: Flows, matrix: Numbers, right: Numbers, miss_hot: Numbers, full: Numbers
                    ) -> tuple[Numbers, Numbers]:  # fmt: skip
    """The system with the hot flows as unknowns; where a hot seat takes all (`full`), its flow moves with outlets."""
    slopes, outlets = now.slopes, matrix.shape[2]
    assert slopes is not None
    assert slopes.pressure_hot is not None
    assert slopes.imbalance_flow is not None
    assert slopes.imbalance_hot is not None
    upper = np.concatenate((matrix, -slopes.pressure_hot), axis=3)
    lower = np.concatenate((slopes.imbalance_flow, slopes.imbalance_hot), axis=3)
    matrix, right = np.concatenate((upper, lower), axis=2), np.concatenate((right, -miss_hot), axis=2)
    carry = np.zeros_like(matrix)
    place = np.arange(matrix.shape[2])
    carry[..., place, place] = 1.0
    # Without a bypass the outlets look behind the hot seat already, and nothing is carried over.
    follows = full & splits(block)
    carry[..., outlets:, :outlets] = follows[..., None] * np.swapaxes(_valve_of_outlet(block), 1, 2)
    turned = np.swapaxes(carry, 2, 3)
    if now.looks_hot is not None:  # what outlets see already, or do not feel, is not carried over
        seen = follows & ~now.looks_hot
        of_outlets = seen[:, :, None, :] * _valve_of_outlet(block)
        if now.from_valve is not None:
            of_outlets = of_outlets * np.take_along_axis(
                now.from_valve, np.broadcast_to(block.station_of_outlet, right[..., :outlets].shape), axis=2
            )[..., None]  # fmt: skip
        turned = turned.copy()
        turned[..., :outlets, outlets:] = of_outlets
    return np.matmul(np.matmul(turned, matrix), carry), np.matmul(turned, right[..., None])[..., 0]


def _solved(matrix: Numbers, right: Numbers, held: Numbers, given: Numbers) -> Numbers:
    """Solution of small linear systems in which some unknowns are held at given values."""
    right = right - np.matmul(matrix, np.where(held, given, 0.0)[..., None])[..., 0]
    scale = np.abs(np.diagonal(matrix, axis1=2, axis2=3))
    scale = np.where(held | (scale <= 0), 1.0, scale)
    matrix = np.where(held[..., None] | held[..., None, :], 0.0, matrix / scale[..., None])
    place = np.arange(matrix.shape[2])
    matrix[..., place, place] = np.where(held, 1.0, matrix[..., place, place])
    return np.asarray(np.linalg.solve(matrix, np.where(held, given, right / scale)[..., None])[..., 0])
