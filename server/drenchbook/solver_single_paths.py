"""The path of one station, condensed to the losses of its four parts: what each costs at the station's flow.

All stretches of a part carry flows in proportion to the station's, so a path collapses into a few coefficients. What
comes before a valve is the same for all stations behind it and is condensed once for each valve.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.physics.pipe_flow import (
    HAZEN_WILLIAMS_FLOW,
    darcy_number_kernel,
    darcy_pressure_kernel,
    reynolds_kernel,
)
from drenchbook.physics.supply import SUPPLY_EXPONENT
from drenchbook.solver_paths import CurveTable, Stretches, rows_of, span, supply_drop
from drenchbook.solver_trees import gathered

Numbers: TypeAlias = np.ndarray[Any, Any]

COMMON, COLD, HOT, TEMPERED = range(4)  # where a stretch lies on the path of one station
PARTS = 4
AT_ONCE = 4000  # segments whose friction is worked out together, so that all of its numbers stay near the processor


@dataclass(frozen=True)
class Segments:
    """Pipes with Darcy-Weisbach friction; each carries flow in proportion to that of its part."""

    group: Numbers  # part · openings + opening, rising
    reynolds: Numbers  # [S, segments] Reynolds number of a part's flow of 1 m³/s
    pressure: Numbers  # [S, segments] loss for each unit of f·Re² [Pa]
    roughness: Numbers  # over the bore


@dataclass(frozen=True)
class Elements:
    """Curves on the way, at flows in proportion to that of their part."""

    group: Numbers  # part · openings + opening, rising
    factor: Numbers  # [S, elements]
    curve: Numbers  # [S, elements]


@dataclass(frozen=True)
class Paths:
    """Losses of paths, by part [S, parts, openings]."""

    power: Numbers  # Hazen-Williams, and the supply's law where nothing else is drawn, Pa at 1 m³/s
    square: Numbers  # Pa at 1 m³/s
    supply: Numbers  # drop of the supply's law beside another demand, Pa at 1 m³/s; one column where there is none
    draw: Numbers  # that demand, in units of the part's flow [m³/s]; likewise
    segments: Segments
    elements: Elements

    def take(self, at: Numbers) -> Paths:
        """The paths of openings, each as often as it is named."""
        parts, count = self.power.shape[1:]
        wanted = (np.arange(parts)[:, None] * count + at).ravel()
        segment, of_segment = rows_of(self.segments.group, 1, wanted)
        element, of_element = rows_of(self.elements.group, 1, wanted)
        power, square = self.power.take(at, axis=2), self.square.take(at, axis=2)
        supply, draw = (one.take(at, axis=2) if self.fed else one for one in (self.supply, self.draw))
        return Paths(
            power, square, supply, draw,
            Segments(of_segment, self.segments.reynolds.take(segment, axis=1),
                     self.segments.pressure.take(segment, axis=1), self.segments.roughness.take(segment)),
            Elements(of_element, self.elements.factor.take(element, axis=1),
                     self.elements.curve.take(element, axis=1)))  # fmt: skip

    def losses(self, flow: Numbers, table: CurveTable) -> tuple[Numbers, Numbers]:
        """Loss and slope of each part at its flow [S, parts, B], or at one flow for all [S, 1, B]."""
        wide = flow.shape[1] > 1
        line = self.square * flow
        slope = 2 * line
        loss = line  # over the flow, for now
        if (at := self.powered) is not None:
            part = self.power[:, at] * np.power(flow[:, at] if wide else flow, HAZEN_WILLIAMS_FLOW - 1)
            loss[:, at] += part
            part *= HAZEN_WILLIAMS_FLOW
            slope[:, at] += part
        loss *= flow
        for at_supply in self.fed:
            one = flow[:, at_supply if wide else 0]
            drop, rise = supply_drop(self.supply[:, at_supply], one, self.draw[:, at_supply])
            loss[:, at_supply] += drop
            slope[:, at_supply] += rise
        flat_loss, flat_slope = (one.reshape(len(one), -1) for one in (loss, slope))
        if len(self.segments.group):
            self._add_segments(flow, flat_loss, flat_slope)
        if len(self.elements.group):
            self._add_elements(flow, table, flat_loss, flat_slope)
        return loss, slope

    def _add_segments(self, flow: Numbers, loss: Numbers, slope: Numbers) -> None:
        one = self.segments
        reynolds = self.of(flow, one.group) * one.reynolds
        number, rise = np.empty_like(reynolds), np.empty_like(reynolds)
        for start in range(0, len(one.group), AT_ONCE):
            at = slice(start, start + AT_ONCE)
            number[:, at], rise[:, at] = darcy_number_kernel(reynolds[:, at], one.roughness[at])
        number *= one.pressure
        groups, first = self.first_segments
        loss[:, groups] += np.add.reduceat(number, first, axis=1)
        rise *= one.pressure
        rise *= one.reynolds
        slope[:, groups] += np.add.reduceat(rise, first, axis=1)

    def _add_elements(self, flow: Numbers, table: CurveTable, loss: Numbers, slope: Numbers) -> None:
        one = self.elements
        value, rise = table(self.curves, self.of(flow, one.group) * one.factor)
        rise *= one.factor
        groups, first = self.first_elements
        for total, part in ((loss, value), (slope, rise)):
            total[:, groups] += part if len(first) == len(one.group) else np.add.reduceat(part, first, axis=1)

    def of(self, flow: Numbers, group: Numbers) -> Numbers:
        """The flow of each group [S, groups]."""
        return flow.reshape(len(flow), -1)[:, span(group if flow.shape[1] > 1 else group % self.power.shape[2])]

    @functools.cached_property
    def powered(self) -> slice | None:
        """The parts from the first to the last with a coefficient of a power."""
        there = np.flatnonzero(self.power.any(axis=(0, 2)))
        return slice(int(there[0]), int(there[-1]) + 1) if len(there) else None

    @functools.cached_property
    def fed(self) -> list[int]:
        """The parts in which any opening has a supply that gives another demand besides."""
        return np.flatnonzero(self.supply.any(axis=(0, 2))).tolist()

    @functools.cached_property
    def curves(self) -> Numbers:
        """The curve of each element, one for all where they are alike [S, elements or 1]."""
        one = self.elements.curve
        return one[:, :1] if bool((one == one[:, :1]).all()) else one

    @functools.cached_property
    def first_segments(self) -> tuple[slice | Numbers, Numbers]:
        """Groups that have segments, and where theirs begin."""
        return _first(self.segments.group)

    @functools.cached_property
    def first_elements(self) -> tuple[slice | Numbers, Numbers]:
        """Groups that have curve elements, and where theirs begin."""
        return _first(self.elements.group)


def _first(group: Numbers) -> tuple[slice | Numbers, Numbers]:
    first = np.flatnonzero(np.diff(group, prepend=-1))
    return span(group[first]), first


@dataclass(frozen=True)
class Side:
    """Stretches before a valve (or behind it) for each row, with the part and the share of the flow of each."""

    stretches: Stretches
    part: Numbers  # [rows, stretches]
    factor: Numbers  # [S, rows, stretches] flow over that of the station
    density: Numbers  # [S, rows, stretches]
    viscosity: Numbers


def paths_of(side: Side) -> Paths:
    """One side of the paths of openings, condensed; parts of the other side cost nothing."""
    one, factor = side.stretches, side.factor
    which = (side.part[:, :, None] == np.arange(PARTS)).astype(float)
    power = gathered(one.power * np.power(factor, HAZEN_WILLIAMS_FLOW), which)
    square = gathered((one.minor * side.density + one.square) * (factor * factor), which)
    supply = gathered(one.supply * np.power(factor, SUPPLY_EXPONENT), which)
    share = np.divide(one.draw, factor, out=np.zeros_like(factor), where=factor > 0)
    draw = gathered(np.where(one.supply > 0, share, 0.0), which)  # each part begins at one supply at most
    if SUPPLY_EXPONENT == HAZEN_WILLIAMS_FLOW:  # both laws are one where nothing else is drawn
        alone = np.where(draw > 0, 0.0, supply)
        power, supply = power + alone, supply - alone
    if not supply.any():
        supply, draw = supply[:, :1], draw[:, :1]
    power, square, supply, draw = (np.ascontiguousarray(np.swapaxes(total, 1, 2)) for total in (
        power, square, supply, draw))  # fmt: skip
    return Paths(power, square, supply, draw, _segments(side), _elements(side))


def _segments(side: Side) -> Segments:
    at = side.stretches.segment
    factor, density, viscosity = (_flat(one)[:, at] for one in (side.factor, side.density, side.viscosity))
    length, diameter = side.stretches.segment_length, side.stretches.segment_diameter
    group, order = _grouped(side, at)
    return Segments(
        group, reynolds_kernel(factor, diameter, viscosity, density)[:, order],
        (length * darcy_pressure_kernel(diameter, density, viscosity))[:, order],
        (side.stretches.segment_roughness / diameter)[order])  # fmt: skip


def _elements(side: Side) -> Elements:
    at = side.stretches.element
    group, order = _grouped(side, at)
    return Elements(group, _flat(side.factor)[:, at[order]], side.stretches.element_curve[:, order])


def _grouped(side: Side, at: Numbers) -> tuple[Numbers, Numbers]:
    """Part and row of what stands on stretches, rising, and the order that makes it so."""
    rows, width = side.part.shape
    group = side.part.ravel()[at] * rows + at // width
    order = np.argsort(group, kind="stable")
    return group[order], order


def _flat(numbers: Numbers) -> Numbers:
    return numbers.reshape(len(numbers), -1)


def joined(before: Paths, at_before: Numbers, behind: Paths | None, at_behind: Numbers) -> Paths:
    """Paths of openings from those before their valves and those behind them."""
    one = before.take(at_before)
    if behind is None:
        return one
    other = behind.take(at_behind)  # only the last part, so that groups go on rising
    for total, more in ((one.power, other.power), (one.square, other.square)):
        total[:, TEMPERED] += more[:, TEMPERED]
    both = zip(_arrays(one.segments), _arrays(other.segments), strict=True)
    curves = zip(_arrays(one.elements), _arrays(other.elements), strict=True)
    return Paths(
        one.power, one.square, one.supply, one.draw,
        Segments(*(np.concatenate(pair, axis=-1) for pair in both)),
        Elements(*(np.concatenate(pair, axis=-1) for pair in curves)))  # fmt: skip


def _arrays(of: Segments | Elements) -> list[Numbers]:
    return list(of.__dict__.values())
