"""A hot water tank in layers: the water above a mixed bottom moves up by exactly one layer at a time.

Heat is counted above the cold water that replaces what is drawn (`surplus`, J/kg). The valves draw constant heat as
long as their hot water allows it, and never more than their greatest hot flow.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drenchbook.errors import InputError
from drenchbook.physics.inputs import Numbers, number

LAYERS = 40


@dataclass(frozen=True)
class LayeredCourse:
    """What leaves the top of some tanks: one row a tank, one column a stretch of time in which nothing changes.

    `begins` is the time at which a stretch begins [s], infinite where a tank has none left; `surplus` the heat of the
    water that leaves in it [J/kg]; `stored` the heat in the tank when it begins [J].
    """

    begins: Numbers
    surplus: Numbers
    stored: Numbers

    def at(self, time: Numbers) -> Numbers:
        """Surplus of the water that leaves at times [s], one row a tank. [J/kg]"""
        times = np.atleast_1d(np.asarray(time, dtype=float))
        place = (self.begins[:, None, :] <= times[:, None]).sum(axis=2) - 1
        return np.take_along_axis(self.surplus, place, axis=1)


def layered_tank(
    mass: Numbers,
    full: Numbers,
    heat_drawn: Numbers,
    greatest_draw: Numbers,
    power: Numbers,
    delay: Numbers,
    mixed_fraction: float,
    until: float,
    layers: int = LAYERS,
) -> LayeredCourse:
    """Heat of the water that leaves a tank, from the beginning of a draw until a time.

    Parameters
    ----------
    mass : float or array
        Water that takes part: what can be used of the layers, and all of the mixed bottom; more than zero. [kg]
    full : float or array
        Heat of the tank's water at the beginning, above cold water; more than zero. [J/kg]
    heat_drawn : float or array
        Heat that the valves draw while the water is hot enough, zero or more. [W]
    greatest_draw : float or array
        Greatest flow they draw, zero or more. [kg/s]
    power : float or array
        Heat that the heater adds, zero or more. [W]
    delay : float or array
        Time before it does. [s]
    mixed_fraction : float
        Share of the mass, at the bottom, that is mixed: from 0 (layers only) to less than 1. [-]
    until : float
        Time at which the course may end, more than zero. [s]
    layers : int
        Layers that the whole mass would make; those above the mixed bottom are as heavy. [-]

    Returns
    -------
    LayeredCourse
        Stretches of time and the heat of the water that leaves in them.

    Notes
    -----
    Each step takes one layer, so that nothing smears: without a mixed bottom the cold water arrives after m/(q − r),
    whatever the number of layers; with more and more of it the course approaches that of a mixed tank [worked here from
    the first law]. The layers' share of the recovered heat returns at the top as water of full heat (a coil below the
    cold water earns next to none: then give no power); the bottom's share warms the bottom, never above full.

    >>> course = layered_tank(100.0, 2e5, 4e5, 4.0, 0.0, 0.0, mixed_fraction=0.0, until=60.0)
    >>> course.at([49.9, 50.1]).tolist()
    [[200000.0, 0.0]]
    """
    fraction = number("mixed_fraction", mixed_fraction, at_least=0.0, at_most=1.0)
    if fraction == 1:
        raise InputError("mixed_fraction", fraction, "must be less than 1; a mixed tank has its course in closed form")
    kg, surplus, drawn, most, heat, late = np.broadcast_arrays(*map(np.atleast_1d, (
        number("mass", mass, "kg", above=0.0), number("full", full, "J/kg", above=0.0),
        number("heat_drawn", heat_drawn, "W", at_least=0.0),
        number("greatest_draw", greatest_draw, "kg/s", at_least=0.0), number("power", power, "W", at_least=0.0),
        number("delay", delay, "s", at_least=0.0))))  # fmt: skip
    count = max(1, round(number("layers", layers, above=0.0) * (1 - fraction)))
    return layered_tank_kernel(
        kg, surplus, drawn, most, heat, late, fraction, number("until", until, "s", above=0.0), count
    )


def layered_tank_kernel(
    mass: Numbers, full: Numbers, heat_drawn: Numbers, greatest_draw: Numbers, power: Numbers, delay: Numbers,
    mixed_fraction: float, until: float, count: int,
) -> LayeredCourse:  # fmt: skip
    """Course of tanks in arrays of one length, `count` layers above the mixed bottom, nothing checked.

    Notes
    -----
    Arguments, source and error as in `layered_tank`.

    >>> tanks = (np.full(1, value) for value in (100.0, 2e5, 4e5, 4.0, 0.0, 0.0))
    >>> layered_tank_kernel(*tanks, mixed_fraction=0.0, until=30.0, count=4).begins[0, ::2].tolist()
    [0.0, 12.5, 25.0, 37.5]
    """
    tanks = _Tanks(mass, full, heat_drawn, greatest_draw, power, delay, mixed_fraction, count)
    begins, stored = [np.zeros(len(mass))], [tanks.stored()]
    surplus: list[Numbers] = []
    with np.errstate(divide="ignore", invalid="ignore"):
        while not surplus or np.any(tanks.clock < until):
            for leaves, ends, left in tanks.step():
                surplus.append(leaves)
                begins.append(ends)
                stored.append(left)
        surplus.append(tanks.leaving())
    return LayeredCourse(np.stack(begins, axis=1), np.stack(surplus, axis=1), np.stack(stored, axis=1))


class _Tanks:
    """Tanks between two steps. The layers stand in a ring: the top one is refilled as the lowest."""

    def __init__(self, mass: Numbers, full: Numbers, drawn: Numbers, greatest: Numbers, power: Numbers, delay: Numbers,
                 fraction: float, count: int):  # fmt: skip
        self.full, self.drawn, self.greatest, self.delay, self.fraction = full, drawn, greatest, delay, fraction
        self.layer, self.bottom = mass * (1 - fraction) / count, mass * fraction
        self.returned, self.warming = power * (1 - fraction) / full, power * fraction  # [kg/s] of full heat, [W]
        self.layers = np.repeat(full[:, None], count, axis=1)
        self.warm, self.clock, self.top = full.copy(), np.zeros(len(mass)), 0

    def stored(self) -> Numbers:
        """Heat of each tank above cold water. [J]"""
        return np.asarray(self.layers.sum(axis=1) * self.layer + self.warm * self.bottom)

    def draw(self, returned: Numbers) -> tuple[Numbers, Numbers]:
        """Flow out, and the heat of that water: of the top layer, and of what returned there."""
        top = self.layers[:, self.top]
        asked = np.where(top > 0, (self.drawn - returned * (self.full - top)) / np.where(top > 0, top, 1.0), np.inf)
        asked = np.where((top <= 0) & (self.drawn <= 0), 0.0, asked)
        flow = np.clip(np.minimum(asked, self.greatest), 0.0, None)
        alone = flow <= returned  # what returns is enough
        mixture = top + returned * (self.full - top) / np.where(flow > 0, flow, 1.0)
        return flow, np.where(alone & (returned > 0), self.full, mixture)

    def leaving(self) -> Numbers:
        """Heat of the water that leaves now."""
        return self.draw(np.where(self.clock >= self.delay, self.returned, 0.0))[1]

    def step(self) -> list[tuple[Numbers, Numbers, Numbers]]:
        """One layer leaves, first without the heater, then with it: what leaves, until when, what is stored then."""
        going = np.isfinite(self.clock)
        idle = np.maximum(self.delay - self.clock, 0.0)
        flow, first = self.draw(np.zeros(len(self.full)))
        cold = np.minimum(np.where(flow > 0, self.layer / flow, np.inf), idle)  # seconds without the heater
        early = np.where(cold > 0, flow * cold, 0.0)
        flow, second = self.draw(self.returned)
        late = np.where(cold < idle, 0.0, self.layer - early)
        net = flow - self.returned
        heated = np.where(late > 0, np.where(net > 0, late / np.where(net > 0, net, 1.0), np.inf), 0.0)
        halfway = self.stored() - np.where(going, early * first, 0.0)
        self._refill(going & np.isfinite(heated), early, late, heated)
        middle = self.clock + cold
        self.clock = np.where(going, middle + heated, np.inf)
        return [(first, np.where(going, middle, np.inf), halfway), (second, self.clock, self.stored())]

    def _refill(self, moved: Numbers, early: Numbers, late: Numbers, heated: Numbers) -> None:
        """Cold water enters the bottom, and as much of its water becomes the lowest layer."""
        lowest = np.zeros(len(self.full))
        if self.fraction > 0:
            before = self.warm
            after = before * np.exp(-early / self.bottom)
            balance = self.warming * np.where(late > 0, heated / np.where(late > 0, late, 1.0), 0.0)
            after = np.minimum(balance + (after - balance) * np.exp(-late / self.bottom), self.full)
            gained = (before - after) * self.bottom + self.warming * np.where(moved, heated, 0.0)
            lowest = np.minimum(gained / self.layer, self.full)
            self.warm = np.where(moved, after, before)
        self.layers[:, self.top] = np.where(moved, lowest, self.layers[:, self.top])
        self.top = (self.top + 1) % self.layers.shape[1]
