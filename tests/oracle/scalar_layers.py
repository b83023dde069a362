"""A tank of which a share, at the bottom, is mixed, with plain floats: one layer after the other leaves its top.

The upper part is a row of layers that do not mix. While one leaves, cold water enters the mixed bottom, and as much of
the bottom's water makes the new lowest layer. The heater's heat is shared by mass: that of the layers comes back at the
top as water of full heat, that of the bottom warms it.
"""

from __future__ import annotations

import math

from scipy.integrate import quad

from tests.oracle.scalar_solver import density, specific_enthalpy
from tests.oracle.scalar_sources import Piece, Stream, powered

LAYERS = 40  # that the whole mass would make


def layered(row, cold, ask, fault, until, fraction):
    """What leaves a storage that begins at its start temperature."""
    full = specific_enthalpy(row["start_temperature"]) - specific_enthalpy(cold)
    usable = row["usable_fraction"]
    mass = row["volume"] * density(row["start_temperature"]) * (usable + (1 - usable) * fraction)
    power = row["input_power"] * row["efficiency"] if powered(row, fault) else 0.0
    count = max(1, round(LAYERS * (1 - fraction)))
    layers, bottom = [full] * count, Bottom(mass * fraction, full)
    one, returned, time = mass * (1 - fraction) / count, power * (1 - fraction) / full, 0.0
    pieces = []
    while time < until:
        top, rest, warmed = layers.pop(0), one, 0.0
        parts = []
        for stop, back in ((row["start_delay"], 0.0), (math.inf, returned)):
            if rest <= 0 or time >= stop:
                continue
            flow = drawn(ask, top, full, back)
            net = flow - back
            whole = rest / net if net > 0 else math.inf
            seconds = min(whole, stop - time)
            heat = full if flow <= back and back > 0 else top + (back * (full - top) / flow if flow > 0 else 0.0)
            pieces.append(Piece(time, time + seconds, lambda _, heat=heat: heat))
            time += seconds
            if math.isinf(time):
                return Stream(pieces)
            rest = 0.0 if seconds == whole else rest - net * seconds
            parts.append((net, seconds, power * fraction if back or stop == math.inf else 0.0))
            warmed += parts[-1][1] * parts[-1][2]
        layers.append(min((bottom.passes(parts) + warmed) / one, full) if bottom.mass > 0 else 0.0)
    pieces[-1].end = math.inf
    return Stream(pieces)


def drawn(ask, top, full, back):
    """Flow out, so that the heat asked for leaves with the top layer's water and what comes back; at most all."""
    if top <= 0:
        return 0.0 if ask.heat <= 0 else ask.greatest
    return min(max((ask.heat - back * (full - top)) / top, 0.0), ask.greatest)


class Bottom:
    """The mixed bottom: cold water in, its own water out, and heat."""

    def __init__(self, mass, heat):
        self.mass, self.heat, self.full = mass, heat, heat

    def passes(self, parts):
        """Lets a layer through in parts (flow, seconds, heat made); how much less heat it holds then. [J]"""
        before = self.heat
        for flow, seconds, power in parts:
            if seconds <= 0:
                continue
            pace = flow / self.mass  # dh/dt = power/mass − pace·h
            made = quad(lambda t, pace=pace, end=seconds: math.exp(-pace * (end - t)), 0.0, seconds, epsabs=0,
                        epsrel=1e-12)[0]  # fmt: skip
            self.heat = self.heat * math.exp(-pace * seconds) + power / self.mass * made
        self.heat = min(self.heat, self.full)
        return (before - self.heat) * self.mass
