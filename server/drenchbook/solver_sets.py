"""Several stations at once: Newton's method on the flows of all open outlets, for all openings of a block at once.

Each outlet flow lies between zero and what its regulator holds. An outlet whose network pressure is below zero stays at
zero: it does not suck. The slope of an outlet is the secant between its flow and the flow its present pressure would
give, because the tangent is infinite at zero flow. A step is halved until the balance along it has fallen.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network import NONE
from drenchbook.operating_cases import SOURCE_COLD
from drenchbook.solver_blocks import Block
from drenchbook.solver_flows import Flows, flows
from drenchbook.solver_paths import Curves, CurveTable

Numbers: TypeAlias = np.ndarray[Any, Any]

SETTLED = 1e-10  # last step over the outlet's rated flow (a share over one)
MOST_STEPS = 200
MOST_HALVINGS = 12
GUESS = 0.5  # of the pressure at no flow


def solve_sets(block: Block, curves: Curves) -> tuple[Numbers, Numbers, Numbers, Numbers]:
    """Flows of the outlets [S, B, outlets], hot shares [S, B, valves], which cases have a root and which converged.

    Where a curve dips, the curves that never fall are solved first: the smallest flows lie at or beyond their root, and
    from there the falling slopes are left out of the steps, so that the flows rise to it.
    """
    dips = bool(curves.loss.dips[block.supply_paths.element_curve].any()
                or curves.loss.dips[block.tempered_paths.element_curve].any())  # fmt: skip
    newton = _Newton(block, curves, curves.never_falling if dips else curves.loss)
    newton.run()
    if dips:
        newton.table, newton.settled = (
            replace(curves.loss, falls_felt=False),
            np.zeros_like(newton.settled) | ~newton.reached,
        )
        newton.run(from_below=True)
    return newton.flow, newton.share, newton.reached, newton.settled


class _Newton:
    """The state of all cases of a block: outlet flows, hot shares, and which are settled."""

    def __init__(self, block: Block, curves: Curves, table: CurveTable):
        self.block, self.curves, self.table = block, curves, table
        count = (len(block.end_static), len(block))
        self.share = np.broadcast_to(_first_share(block), (*count, block.shape.valves)).copy()
        self.flow = np.zeros((*count, block.rated_flow.shape[1]))
        rest = flows(block, curves, table, self.flow, self.share, with_slopes=False)
        open_pressure = np.where(block.outlet_pair != NONE, rest.outlet_pressure, -1.0)
        self.reached: Numbers = open_pressure.max(axis=2) > 0
        pressure = np.maximum(rest.outlet_pressure, 0.0) * GUESS
        free = block.rated_flow * np.sqrt(pressure / block.rated_pressure)
        self.flow = np.where(self.reached[..., None], np.minimum(free, _cap(block)), 0.0)
        self.settled: Numbers = np.logical_not(self.reached)

    def run(self, from_below: bool = False) -> None:
        """Iterate until every case is settled or the steps are used up."""
        block, here = self.block, np.arange(len(self.block))
        y, r, settled = self.flow.copy(), self.share.copy(), self.settled.copy()
        step_y, step_r = np.zeros_like(y), np.zeros_like(r)
        base_y, base_r = y.copy(), r.copy()
        balance, part = np.full(settled.shape, np.inf), np.ones(settled.shape)
        halvings = np.zeros(settled.shape, dtype=int)
        for _ in range(MOST_STEPS):
            now = flows(block, self.curves, self.table, y, r, with_slopes=True)
            miss_y, miss_r = _misses(block, now)
            worse = ((miss_y * step_y).sum(axis=2) + (miss_r * step_r).sum(axis=2)) > 0.5 * balance
            retry = worse & (halvings < MOST_HALVINGS) & ~settled & (not from_below)
            new_y, new_r = _step(block, now, miss_y, miss_r)
            step_y = np.where(retry[..., None], step_y, new_y)
            step_r = np.where(retry[..., None], step_r, new_r)
            base_y = np.where(retry[..., None], base_y, y)
            base_r = np.where(retry[..., None], base_r, r)
            part = np.where(retry, part / 2, 1.0)
            halvings = np.where(retry, halvings + 1, 0)
            fresh = np.abs((miss_y * step_y).sum(axis=2) + (miss_r * step_r).sum(axis=2))
            balance = np.where(retry, balance, fresh)
            y_next = np.clip(base_y + part[..., None] * step_y, 0.0, _cap(block))
            r_next = np.clip(base_r + part[..., None] * step_r, 0.0, 1.0)
            moved = np.maximum((np.abs(new_y) / np.where(block.rated_flow > 0, block.rated_flow, 1.0)).max(axis=2),
                               np.abs(new_r).max(axis=2, initial=0.0))  # fmt: skip
            done = ~retry & (moved <= SETTLED)
            stay = settled[..., None]
            y, r = np.where(stay, y, y_next), np.where(stay, r, r_next)
            settled = settled | done
            over = settled.all(axis=0)
            if over.any():
                gone = here[over]
                self.flow[:, gone], self.share[:, gone], self.settled[:, gone] = y[:, over], r[:, over], True
                if over.all():
                    return
                if over.sum() * 4 > len(over):
                    keep = ~over
                    here, block = here[keep], block.take(keep)
                    y, r, settled, step_y, step_r, base_y, base_r, balance, part, halvings = (
                        one[:, keep] for one in (y, r, settled, step_y, step_r, base_y, base_r, balance, part, halvings)
                    )
        self.flow[:, here], self.share[:, here], self.settled[:, here] = y, r, settled


def _cap(block: Block) -> Numbers:
    return np.where(block.regulated, block.rated_flow, np.inf)


def _first_share(block: Block) -> Numbers:
    if block.fault != SOURCE_COLD:
        return block.share
    bypass = np.where(block.bypass_curve != NONE, 1.0, block.bypass_coefficient)
    seat = np.where(block.coefficient_curve != NONE, 1.0, block.coefficient)
    return np.where((block.bypass_curve != NONE) != (block.coefficient_curve != NONE), 0.5, seat / (seat + bypass))


def _misses(block: Block, now: Flows) -> tuple[Numbers, Numbers]:
    """Pressure that each outlet needs less what it gets; imbalance of each valve times its flow."""
    there = block.outlet_pair != NONE
    need = block.rated_pressure * (now.outlet_flow / np.where(there, block.rated_flow, 1.0)) ** 2
    miss = np.where(there, need - now.outlet_pressure, 0.0)
    if block.fault != SOURCE_COLD:
        return miss, np.zeros_like(now.valve_flow)
    return miss, now.imbalance * now.valve_flow


def _step(block: Block, now: Flows, miss_y: Numbers, miss_r: Numbers) -> tuple[Numbers, Numbers]:
    """One step of Newton's method; outlets and shares that press against a bound stand still."""
    assert now.slopes is not None
    there = block.outlet_pair != NONE
    y, cap = now.outlet_flow, _cap(block)
    k = np.where(there, block.rated_flow / np.sqrt(block.rated_pressure), 1.0)
    aim = k * np.sqrt(np.maximum(now.outlet_pressure, 0.0))
    secant = np.maximum(y + aim, 1e-9 * block.rated_flow) / k**2
    fixed = ~there | ((y <= 0) & (miss_y >= 0)) | ((y >= cap) & (miss_y <= 0))
    outlets = y.shape[2]
    unknowns = outlets + (now.valve_flow.shape[2] if block.fault == SOURCE_COLD else 0)
    matrix = np.zeros((*y.shape[:2], unknowns, unknowns))
    matrix[..., :outlets, :outlets] = -now.slopes.pressure_flow
    at = np.arange(outlets)
    matrix[..., at, at] += np.where(there, secant, 1.0)
    right, held = -miss_y, fixed
    if block.fault == SOURCE_COLD:
        slopes, flow = now.slopes, now.valve_flow
        assert slopes.pressure_share is not None
        assert slopes.imbalance_flow is not None
        assert slopes.imbalance_share is not None
        of_outlet = (np.take_along_axis(block.valve_of_station, block.station_of_outlet, axis=1)[:, None, :]
                     == np.arange(flow.shape[2])[:, None]) & there[:, None, :]  # fmt: skip
        matrix[..., :outlets, outlets:] = -slopes.pressure_share
        matrix[..., outlets:, :outlets] = (flow[..., None] * slopes.imbalance_flow
                                           + now.imbalance[..., None] * of_outlet)  # fmt: skip
        matrix[..., outlets:, outlets:] = flow[..., None] * slopes.imbalance_share
        no_way = (block.bypass_coefficient == 0) & (block.bypass_curve == NONE)
        share = now.hot_share
        still = no_way | (flow <= 0) | ((share <= 0) & (miss_r >= 0)) | ((share >= 1) & (miss_r <= 0))
        right, held = np.concatenate((right, -miss_r), axis=2), np.concatenate((fixed, still), axis=2)
    scale = np.where(held, 1.0, np.abs(np.diagonal(matrix, axis1=2, axis2=3)))
    scale = np.where(scale > 0, scale, 1.0)
    matrix = np.where(held[..., None] | held[..., None, :], 0.0, matrix / scale[..., None])
    place = np.arange(unknowns)
    matrix[..., place, place] = np.where(held, 1.0, matrix[..., place, place])
    moved = np.linalg.solve(matrix, np.where(held, 0.0, right / scale)[..., None])[..., 0]
    step_y = np.clip(y + moved[..., :outlets], 0.0, cap) - y
    if block.fault != SOURCE_COLD:
        return step_y, np.zeros_like(now.hot_share)
    return step_y, np.clip(now.hot_share + moved[..., outlets:], 0.0, 1.0) - now.hot_share
