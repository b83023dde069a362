"""Stretches of the forest and what they cost: friction, fittings, devices, curves, for all cases of a block at once.

A stretch runs from a node up to an ancestor. Its coefficients are differences of sums from the root, so that a case
costs the same on a small and on a large site. Arrays are [state, opening, stretch of the opening].
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, Network
from drenchbook.physics.pipe_flow import HAZEN_WILLIAMS_FLOW, darcy_gradient_kernel
from drenchbook.physics.supply import SUPPLY_EXPONENT

Numbers: TypeAlias = np.ndarray[Any, Any]


@dataclass(frozen=True)
class CurveTable:
    """Many curves of straight lines in one padded table; beyond its last point a curve's last line is drawn on."""

    flows: Numbers  # [curve, point], infinite where padded
    values: Numbers
    slopes: Numbers
    last_flow: Numbers  # [curve] the last point that was given
    falls_felt: bool = True  # whether a falling slope is told; an iteration from below leaves it out

    def __call__(self, curve: Numbers, flow: Numbers) -> tuple[Numbers, Numbers]:
        """Values and slopes of curves (one number each) at flows whose last axis matches."""
        place = np.zeros(flow.shape, dtype=int)
        for point in range(1, self.flows.shape[1] - 1):
            place += flow >= self.flows[:, point].take(curve)
        at = curve * self.flows.shape[1] + place
        slope = self.slopes.take(at)
        value = self.values.take(at) + slope * (flow - self.flows.take(at))
        return value, slope if self.falls_felt else np.maximum(slope, 0.0)

    @cached_property
    def dips(self) -> Numbers:
        """[curve] whether the loss falls anywhere while the flow rises."""
        return np.any(self.slopes < 0, axis=1)


def curve_table(curves: list[tuple[Numbers, Numbers]], held_beyond: bool = False) -> CurveTable:
    """A table of curves; `held_beyond` keeps the last value beyond the last point instead of drawing the line on."""
    points = max((len(flows) for flows, _ in curves), default=1) + 2
    table = [np.full((len(curves), points), fill) for fill in (np.inf, 0.0, 0.0)]
    last = np.full(len(curves), np.inf)
    for i, (flows, values) in enumerate(curves):
        lines = np.diff(values) / np.diff(flows)
        lines = np.append(lines, 0.0 if held_beyond or len(lines) == 0 else lines[-1])
        if flows[0] > 0:  # held below the first point
            flows, values, lines = np.append(0.0, flows), np.append(values[0], values), np.append(0.0, lines)
        for whole, part in zip(table, (flows, values, lines), strict=True):
            whole[i, : len(part)] = part
        last[i] = flows[-1]
    return CurveTable(table[0], table[1], table[2], last)


def never_falling(flows: Numbers, values: Numbers) -> tuple[Numbers, Numbers]:
    """The least curve above a loss curve that never falls: any root with the real curve lies at or beyond its root."""
    new_flows, new_values, top = [flows[0]], [values[0]], values[0]
    for i in range(1, len(flows)):
        if values[i] > top:
            if values[i - 1] < top:  # where the rising line regains the top
                share = (top - values[i - 1]) / (values[i] - values[i - 1])
                new_flows.append(flows[i - 1] + share * (flows[i] - flows[i - 1]))
                new_values.append(top)
            top = values[i]
        new_flows.append(flows[i])
        new_values.append(top)
    rising = values[-1] > values[-2]
    if rising and values[-1] < top:  # the last line drawn on regains the top beyond the last point
        slope = (values[-1] - values[-2]) / (flows[-1] - flows[-2])
        at = flows[-1] + (top - values[-1]) / slope
        new_flows += [at, at + 1.0]
        new_values += [top, top + slope]
    return np.array(new_flows), np.array(new_values)


@dataclass(frozen=True)
class Curves:
    """The loss curves of a network: as given, and never falling; and the coefficient curves of its valves."""

    loss: CurveTable
    never_falling: CurveTable
    coefficient: CurveTable
    pressure_at_no_flow: Numbers


def network_curves(network: Network) -> Curves:
    """Tables of all curves by their index in the network; a supply's curve becomes a loss from its pressure at rest."""
    supply = set(network.supply_curve.ravel().tolist()) - {NONE}
    loss: list[tuple[Numbers, Numbers]] = []
    for index, (flows, values) in enumerate(network.curves):
        loss.append((flows, values[0] - values) if index in supply else (flows, values))
    valve = set(network.valve_curve.tolist()) | set(network.valve_bypass_curve.tolist())
    loss.append((np.array([0.0, 1.0]), np.zeros(2)))  # stands in where a supply has a law in the other state
    falls = [one if index in valve else never_falling(*one) for index, one in enumerate(loss)]
    return Curves(
        curve_table(loss), curve_table(falls), curve_table(list(network.curves), held_beyond=True),
        np.array([values[0] for _, values in network.curves]),
    )  # fmt: skip


@dataclass(frozen=True)
class Stretches:
    """Coefficients of stretches [opening, stretch]; segments and curve elements point into them by their flat index."""

    hazen_williams: bool
    power: Numbers  # Hazen-Williams, Pa at 1 m³/s
    minor: Numbers  # times density and flow squared
    square: Numbers  # times flow squared
    supply: Numbers  # [state, opening, stretch] drop of the supply's law at 1 m³/s
    draw: Numbers  # [opening, stretch] other demand on that supply [m³/s]
    segment: Numbers  # flat index of the stretch, rising
    segment_length: Numbers
    segment_diameter: Numbers
    segment_roughness: Numbers
    element: Numbers  # flat index of the stretch of each curve, rising
    element_curve: Numbers  # [state, element]

    def take(self, at: Numbers) -> Stretches:
        """The stretches of openings, each as often as it is named."""
        width = self.power.shape[1]
        segment, moved_segment = rows_of(self.segment, width, at)
        element, moved_element = rows_of(self.element, width, at)
        return Stretches(
            self.hazen_williams, self.power.take(at, axis=0), self.minor.take(at, axis=0),
            self.square.take(at, axis=0), self.supply.take(at, axis=1), self.draw.take(at, axis=0),
            moved_segment, self.segment_length[segment], self.segment_diameter[segment],
            self.segment_roughness[segment], moved_element, self.element_curve[:, element],
        )  # fmt: skip

    def losses(self, flow: Numbers, density: Numbers, viscosity: Numbers, table: CurveTable) -> tuple[Numbers, Numbers]:
        """Loss [Pa] and slope [Pa per m³/s] at flows [state, opening, stretch]; a flow below zero counts as zero."""
        flow = np.maximum(flow, 0.0)
        line = (self.minor * density + self.square) * flow
        loss, slope = line * flow, 2 * line
        at = self.powered
        part = self.power[:, at] * flow[..., at] ** (HAZEN_WILLIAMS_FLOW - 1)
        loss[..., at] += part * flow[..., at]
        slope[..., at] += HAZEN_WILLIAMS_FLOW * part
        at = self.fed
        drop, rise = supply_drop(self.supply[..., at], flow[..., at], self.draw[:, at])
        loss[..., at] += drop
        slope[..., at] += rise
        loss, slope = loss.reshape(len(loss), -1), slope.reshape(len(slope), -1)
        if len(self.segment):
            at = self.segment
            gradient = darcy_gradient_kernel(
                _flat(flow)[:, at], self.segment_diameter, self.segment_roughness, _flat(density)[:, at],
                _flat(viscosity)[:, at],
            )  # fmt: skip
            for total, one in zip((loss, slope), gradient, strict=True):
                total[:, self.first_segments[0]] += np.add.reduceat(
                    one * self.segment_length, self.first_segments[1], axis=1
                )
        if len(self.element):
            values = table(self.element_curve, _flat(flow)[:, self.element])
            for total, one in zip((loss, slope), values, strict=True):
                for state in range(len(total)):
                    total[state] += np.bincount(self.element, weights=one[state], minlength=total.shape[1])
        return loss.reshape(flow.shape), slope.reshape(flow.shape)

    @cached_property
    def powered(self) -> Numbers:
        """Columns where any opening has Hazen-Williams friction; about half of the stretches are empty."""
        return np.flatnonzero(self.power.any(axis=0))

    @cached_property
    def fed(self) -> Numbers:
        """Columns where any opening's stretch begins at a supply with a law."""
        return np.flatnonzero(self.supply.any(axis=(0, 1)))

    @cached_property
    def first_segments(self) -> tuple[Numbers, Numbers]:
        """Stretches that have segments, and where theirs begin."""
        first = np.flatnonzero(np.diff(self.segment, prepend=-1))
        return self.segment[first], first


def supply_drop(coefficient: Numbers, flow: Numbers, draw: Numbers) -> tuple[Numbers, Numbers]:
    """Pressure that a supply's law loses from no flow to a flow, and its slope, while an other demand is drawn too."""
    more = flow + draw
    part = coefficient * more ** (SUPPLY_EXPONENT - 1)
    drop = part * more
    return drop - coefficient * draw**SUPPLY_EXPONENT if draw.any() else drop, SUPPLY_EXPONENT * part


def span(places: Numbers) -> slice | Numbers:
    """Places as a slice where they follow each other: read and written without an index."""
    if len(places) and int(places[-1]) - int(places[0]) == len(places) - 1 and bool((np.diff(places) == 1).all()):
        return slice(int(places[0]), int(places[-1]) + 1)
    return places


def rows_of(flat: Numbers, width: int, at: Numbers) -> tuple[Numbers, Numbers]:
    """Rows that belong to openings, and their new flat indices; `flat` rises: `width` times the opening + place."""
    start, stop = np.searchsorted(flat, at * width), np.searchsorted(flat, (at + 1) * width)
    counts = stop - start
    row = np.repeat(start - np.cumsum(counts) + counts, counts) + np.arange(counts.sum())
    return row, flat[row] + np.repeat((np.arange(len(at)) - at) * width, counts)


def picked(numbers: Numbers, place: Numbers) -> Numbers:
    """Of numbers [S, B, n] the ones at places [B, k] of each opening."""
    if numbers.shape[2] == 1:
        return np.broadcast_to(numbers, (*numbers.shape[:2], place.shape[1]))
    return np.asarray(numbers[:, np.arange(len(place))[:, None], place])


def _flat(numbers: Numbers) -> Numbers:
    return numbers.reshape(len(numbers), -1)


def stretches(network: Network, curves: Curves, lower: Numbers, upper: Numbers, states: Numbers) -> Stretches:
    """The stretches from nodes `lower` up to, not including, their ancestors `upper`, both [opening, stretch].

    `states` gives the supply level (0 low, 1 high) of each state; a stretch that begins at a supply carries its drop.
    """
    shape = lower.shape
    low, high = lower.ravel(), upper.ravel()
    segment, length, class_ = _segments(network, low, high)
    power: Numbers = np.zeros(low.size)
    if network.hazen_williams:
        power = np.bincount(segment, weights=length * network.class_resistance[class_], minlength=low.size)
        segment, length, class_ = segment[:0], length[:0], class_[:0]
    element, element_curve = _elements(network, low, high)
    element_curve = np.tile(element_curve, (len(states), 1))
    supply = np.where((high == 0) & (low != 0), network.node_supply[low], NONE)
    drop, draw = np.zeros((len(states), low.size)), np.zeros(low.size)
    if len(network.supply_tags):
        curve = network.supply_curve[:, supply]
        with np.errstate(invalid="ignore"):
            law = ((network.supply_static - network.supply_residual)
                   / network.supply_test_flow**SUPPLY_EXPONENT)[:, supply]  # fmt: skip
        drop = np.where((supply >= 0) & (curve < 0), law, 0.0)[states]
        draw = np.where(supply >= 0, network.supply_draw[supply], 0.0)
        fed = np.flatnonzero((supply >= 0) & np.any(curve >= 0, axis=0))
        given = curve[:, fed][states]
        element = np.concatenate((element, fed))
        element_curve = np.concatenate((element_curve, given), axis=1)
        if np.any(given < 0):  # law in one state, curve in the other: a curve without loss stands in
            element_curve = np.where(element_curve < 0, len(network.curves), element_curve)
    order = np.argsort(element, kind="stable")
    minor, square = (
        np.maximum(total[low] - total[high], 0.0).reshape(shape) for total in (network.minor_sum, network.square_sum)
    )
    return Stretches(
        network.hazen_williams, power.reshape(shape), minor, square,
        drop.reshape(len(states), *shape), draw.reshape(shape), segment, length, network.class_diameter[class_],
        network.class_roughness[class_], element[order], element_curve[:, order],
    )  # fmt: skip


def _segments(network: Network, low: Numbers, high: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Pipe classes on each stretch: index of the stretch, length, class."""
    start, stop = network.class_offsets[low], network.class_offsets[low + 1]
    counts = np.where(low == high, 0, stop - start)
    stretch = np.repeat(np.arange(low.size), counts)
    row = np.repeat(start - np.cumsum(counts) + counts, counts) + np.arange(counts.sum())
    classes = len(network.class_diameter)
    class_, length = network.class_index[row], network.class_length[row]
    # Where the same class stands in the sum of the upper node, that length lies above the stretch.
    node_of_row = np.repeat(np.arange(len(network.parent)), np.diff(network.class_offsets))
    keys = node_of_row * classes + network.class_index
    wanted = high[stretch] * classes + class_
    place = np.minimum(np.searchsorted(keys, wanted), max(len(keys) - 1, 0))
    above = np.where(keys[place] == wanted, network.class_length[place], 0.0) if len(keys) else 0.0
    length = length - above
    some = length > 0
    return stretch[some], length[some], class_[some]


def _elements(network: Network, low: Numbers, high: Numbers) -> tuple[Numbers, Numbers]:
    """Curves on each stretch: index of the stretch, curve."""
    found: list[tuple[Numbers, Numbers]] = []
    stretch, element = np.arange(low.size), network.last_curve[low]
    floor = network.depth[high]
    while True:
        inside = element >= 0
        stretch, element = stretch[inside], element[inside]
        inside = network.depth[network.element_node[element]] > floor[stretch]
        stretch, element = stretch[inside], element[inside]
        if not len(stretch):
            break
        found.append((stretch, network.element_curve[element]))
        element = network.element_above[element]
    if not found:
        return np.zeros(0, dtype=int), np.zeros(0, dtype=int)
    return np.concatenate([one[0] for one in found]), np.concatenate([one[1] for one in found])
