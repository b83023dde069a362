"""Trees of the ends of an opening, and what on them is no plain loss: reducing valves and other hot demand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, Network

Numbers: TypeAlias = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Held:
    """Pressure-reducing valves above ends (or stations): each holds a pressure, and what follows it loses its part.

    The pressure at an end is the least of what comes from its root and of what each of its reducers lets through.
    """

    edges: Numbers  # [B, reducers, edges, ends] 1 where the edge lies between reducer and end
    pressure: Numbers  # [S, B, reducers, ends] at the end at no flow, infinite where there is no such reducer

    def take(self, at: Numbers) -> Held:
        """The openings at these places."""
        return Held(self.edges.take(at, axis=0), self.pressure.take(at, axis=1))


@dataclass(frozen=True)
class Tree:
    """Edges between the ends of each opening: lower node, upper node, which ends hang below."""

    lower: Numbers  # [B, edges]
    upper: Numbers
    feeds: Numbers  # [B, edges, ends]


def tree_of_ends(network: Network, ends: Numbers) -> Tree:
    """The edges that lead from the ends [B, ends] to the root, split where paths meet."""
    count, n = ends.shape
    if n == 1:
        return Tree(ends, np.zeros_like(ends), np.ones((count, 1, 1)))
    order = np.argsort(network.preorder[ends], axis=1, kind="stable")
    rank = np.argsort(order, axis=1, kind="stable")
    ends = np.take_along_axis(ends, order, axis=1)
    meets = network.lowest_common_ancestor(ends[:, :-1], ends[:, 1:])
    depth = network.depth[meets]
    rows = np.arange(count)
    lower, upper, first, last = [], [], [], []
    for i in range(n):
        left, right = (np.full(count, i - 1), np.full(count, i))
        upper.append(_deeper(meets, depth, rows, left, right))
        lower.append(ends[:, i])
        first.append(np.full(count, i))
        last.append(np.full(count, i))
    for j in range(n - 1):
        left, right = np.full(count, -1), np.full(count, n - 1)
        for other in range(j):  # the nearest on the left that is as high, on the right that is higher
            left = np.where(depth[:, other] <= depth[:, j], other, left)
        for other in range(n - 2, j, -1):
            right = np.where(depth[:, other] < depth[:, j], other, right)
        upper.append(_deeper(meets, depth, rows, left, right))
        lower.append(meets[:, j])
        first.append(left + 1)
        last.append(right)
    begin, end = (np.stack(side, axis=1)[:, :, None] for side in (first, last))
    feeds = ((begin <= rank[:, None, :]) & (rank[:, None, :] <= end)).astype(float)
    return Tree(np.stack(lower, axis=1), np.stack(upper, axis=1), feeds)


def _deeper(meets: Numbers, depth: Numbers, rows: Numbers, left: Numbers, right: Numbers) -> Numbers:
    """The deeper of two meeting points, the root where there is neither."""
    n = meets.shape[1]
    if n == 0:
        return np.zeros(len(rows), dtype=int)
    sides = []
    for side in (left, right):
        there = (side >= 0) & (side < n)
        at = np.clip(side, 0, n - 1)
        sides.append((np.where(there, depth[rows, at], -1), np.where(there, meets[rows, at], 0)))
    (depth_left, node_left), (depth_right, node_right) = sides
    return np.where(depth_left >= depth_right, node_left, node_right)


def gathered(numbers: Numbers, where: Numbers) -> Numbers:
    """Sums [S, B, k] of numbers [S, B, n] over the incidence [B, n, k]; a loop over n beats many tiny products."""
    total = np.zeros((*numbers.shape[:2], where.shape[2]))
    for place in range(where.shape[1]):
        total += numbers[:, :, place, None] * where[:, place]
    return total


def reducers_above(network: Network, ends: Numbers) -> Numbers:
    """Nodes of the pressure-reducing valves above ends [B, ends] as [B, reducers, ends], NONE where there are fewer."""
    found, node = [], ends
    while True:
        reducer = network.last_reducer[node]
        if not (reducer != NONE).any():
            break
        found.append(reducer)
        node = np.where(reducer != NONE, network.parent[reducer], 0)
    return np.stack(found, axis=1) if found else np.full((len(ends), 0, ends.shape[1]), NONE)


def settings_at(network: Network, reducers: Numbers) -> Numbers:
    """Settings of the pressure-reducing valves at nodes, not-a-number where padded."""
    place = np.where(reducers == NONE, NONE, network.node_item[reducers])
    return np.append(network.reducer_setting, np.nan)[place]


def drawing_sources(network: Network, ends: Numbers) -> Numbers:
    """Sources [B, sources] whose other demand flows through pipes that ends [B, ends] depend on, NONE padded."""
    drawing = np.flatnonzero(network.source_draw != 0)
    above = network.node_supply[network.source_node[drawing]]
    supply, source = network.node_supply[ends], network.node_source[ends]
    related = ((supply[:, :, None] == above) & (above != NONE) | (source[:, :, None] == drawing)).any(axis=1)
    order = np.argsort(~related, axis=1, kind="stable")
    taken = np.where(np.take_along_axis(related, order, axis=1), drawing[order], NONE)
    return taken[:, : int(related.sum(axis=1).max(initial=0))]


def held_between(lower_depth: Numbers, feeds: Numbers, reducers: Numbers, depth: Numbers, pressure: Numbers
                 ) -> Held | None:  # fmt: skip
    """What reducers [B, reducers, ends] hold at a pressure, and the edges between them and their ends."""
    if not reducers.shape[1]:
        return None
    below = lower_depth[:, None, :, None] > depth[np.maximum(reducers, 0)][:, :, None, :]
    return Held(feeds[:, None] * below, np.where(reducers == NONE, np.inf, pressure))


def wide_stations(network: Network) -> Numbers:
    """[stations] whether a pressure-reducing valve, or a source with other demand now, counts on a path of theirs."""
    held = network.last_reducer != NONE
    drawn = np.zeros(len(network.parent), dtype=bool)
    if (network.source_draw != 0).any():
        sources = network.source_draw != 0
        supplies = np.unique(network.node_supply[network.source_node[sources]])
        drawn = (network.node_supply != NONE) & np.isin(network.node_supply, supplies)
        drawn |= (network.node_source != NONE) & np.append(sources, False)[network.node_source]
    node = held | drawn
    found = node[network.station_node]
    if len(network.valve_tags):
        sides = node[network.valve_cold_node] | node[network.valve_hot_node]
        found = found | ((network.station_valve != NONE) & sides[network.station_valve])
    return np.asarray(found)
