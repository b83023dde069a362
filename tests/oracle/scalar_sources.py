"""What one hot water source gives over time, as pieces in each of which the heat only rises, only falls or stays.

Heat is counted above the cold water [J/kg]. Written from the first law and from `assumptions.md`: no steps of time,
every event (heater on, tank empty, valves full hot, thermostat) has its own moment.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from tests.oracle.scalar_solver import density, specific_enthalpy


@dataclass
class Ask:
    """What is asked of a source in one case: heat [W], of that what loops lose, and flow with all valves full hot."""

    heat: float
    loops: float
    greatest: float  # [kg/s]
    lowest: float  # [°C] with which every valve still holds its set temperature


@dataclass
class Piece:
    """From one moment to another."""

    begin: float
    end: float
    at: Callable[[float], float]


@dataclass
class Stream:
    """Water of a source: silent for a time where it has none, then in pieces; and what is stored."""

    pieces: list[Piece]
    silent: float = 0.0
    stored: Callable[[float], float] | None = None  # [J] that can be used
    most: float = math.nan  # [J]
    full: float = math.nan  # [J/kg]
    power: float = 0.0
    delay: float = 0.0

    def at(self, time):
        """Heat at a moment; that of the piece which begins there."""
        return next(piece for piece in reversed(self.pieces) if time >= piece.begin or piece is self.pieces[0]).at(time)

    def parts(self, begin, end):
        """The pieces between two moments: begin, end, function."""
        for piece in self.pieces:
            a, b = max(piece.begin, begin), min(piece.end, end)
            if a < b:
                yield a, b, piece.at


def steady(heat, silent=0.0):
    return Stream([Piece(0.0, math.inf, lambda _: heat)], silent)


def hottest(row):
    """Temperature at which a source gives its water. [°C]"""
    column = {"storage": "start_temperature", "plant main": "main_temperature"}
    return row[column.get(row["kind"], "set_temperature")]


def powered(row, fault):
    return not (fault == "power lost" and row["needs_power"])


def without_storage(row, cold, ask, fault):
    """A heater, an exchanger or a plant main."""
    silent = row["start_delay"] or 0.0
    if not powered(row, fault):
        return steady(0.0, silent)
    hc = specific_enthalpy(cold)
    if row["kind"] == "plant main":
        return steady(specific_enthalpy(hottest(row)) - hc, silent)
    if row["kind"] == "steam heat exchanger":
        top, power = specific_enthalpy(row["set_temperature"] - row["tolerance"]) - hc, row["capacity"]
    else:
        top = specific_enthalpy(min(row["set_temperature"], cold + row["maximum_rise"])) - hc
        power = row["input_power"] * row["efficiency"]
        rise = specific_enthalpy(row["set_temperature"]) - hc
        if not fires(row, (ask.heat - ask.loops) / rise, rise):
            return steady(0.0, silent)
    return steady(max(top, 0.0) if ask.heat <= power * (1 + 1e-9) else min(max(top, 0.0), power / ask.greatest), silent)


def fires(row, hot, rise):
    """Whether a heater fires for a hot flow [kg/s] of its set temperature, by flow and by power."""
    enough = hot / density(row["set_temperature"]) >= row["minimum_firing_flow"] * (1 - 1e-9)
    return enough and hot * rise >= row["minimum_power"] * (1 - 1e-9)


def holds(row, cold, ask, water):
    """Whether a source without storage keeps what every valve needs, within its data."""
    needed = specific_enthalpy(ask.lowest) - specific_enthalpy(cold)
    if ask.heat <= 0 or row["kind"] == "plant main":
        return True
    power = row["capacity"] if row["kind"] == "steam heat exchanger" else row["input_power"] * row["efficiency"]
    if row["kind"] != "steam heat exchanger" and row["set_temperature"] - cold > row["maximum_rise"]:
        return False
    return ask.heat <= power and water.at(0.0) >= needed


def tank(row, cold, ask, fault, until, model, again=None):
    """A storage by one of the two models, from its start temperature or after the first flush and a recovery."""
    full = specific_enthalpy(row["start_temperature"]) - specific_enthalpy(cold)
    mass = row["volume"] * density(row["start_temperature"])
    power = row["input_power"] * row["efficiency"] if powered(row, fault) else 0.0
    delay = row["start_delay"]
    if model == "stratified":
        most = row["usable_fraction"] * mass * full
        begin, make = most, lambda stock: layers(stock, most, full, ask, power, delay, until)
        unit = 1.0
    else:
        begin, make = full, lambda heat: mixed(heat, full, mass, ask, power, delay, until)
        lowest = specific_enthalpy(ask.lowest) - specific_enthalpy(cold)
        most, unit = mass * max(full - lowest, 0.0), mass
    found = make(begin)
    if again is not None:
        flush, rest = again
        left = found.stored(flush) if model == "stratified" else found.at(flush) * mass
        found = make(min((left + power * rest) / unit, begin))
    if model == "mixed":
        course = found.at
        found.stored = lambda time: mass * max(course(time) - lowest, 0.0)
    found.most, found.full, found.power, found.delay = most, full, power, delay
    return found


def layers(stock, most, full, ask, power, delay, until):
    """Nothing mixes: full heat until what can be used is gone, then what the heater makes."""
    knots, level, time = [(0.0, stock)], stock, 0.0
    pieces = []
    while time < until:
        on, stop = (power, until) if time >= delay else (0.0, min(delay, until))
        heat, net = full, on - ask.heat
        if level <= 0 and net < 0:  # drawn as it is made, all of it
            heat, net = min(on / ask.greatest, full), 0.0
        if level >= most and net > 0:  # the thermostat keeps it full
            net = 0.0
        goal = 0.0 if net < 0 else most
        if net and time + (goal - level) / net < stop:
            stop, level = time + (goal - level) / net, goal
        else:
            level += net * (stop - time)
        pieces.append(Piece(time, stop, lambda _, heat=heat: heat))
        knots.append((stop, level))
        time = stop
    pieces[-1].end = math.inf

    def stored(moment):
        for (t0, s0), (t1, s1) in pairwise(knots):
            if moment <= t1:
                return s0 + (s1 - s0) * (moment - t0) / (t1 - t0)
        return knots[-1][1]

    return Stream(pieces, stored=stored)


def mixed(heat, full, mass, ask, power, delay, until):
    """All of it mixes: constant heat is drawn while the valves are not full hot, then their greatest flow."""
    knee = ask.heat / ask.greatest if ask.greatest > 0 else 0.0
    pieces, time = [], 0.0
    while time < until:
        on, stop = (0.0, min(delay, until)) if time < delay else (power, until)
        begin = time
        drawn = min(ask.heat, ask.greatest * heat)
        if heat >= full and on >= drawn:  # the thermostat holds it
            at = lambda _, value=full: value  # noqa: E731
        elif heat > knee or (heat == knee and on >= ask.heat):
            slope = (on - ask.heat) / mass
            at = lambda t, h=heat, t0=time, slope=slope: h + slope * (t - t0)  # noqa: E731
            goal = knee if slope < 0 else full
            stop = min(stop, time + (goal - heat) / slope) if slope else stop
        else:
            rest = on / ask.greatest
            pace = ask.greatest / mass
            at = lambda t, h=heat, t0=time, rest=rest, pace=pace: rest + (h - rest) * math.exp(-pace * (t - t0))  # noqa: E731
            goal = min(knee, full)
            if rest > goal > heat:
                stop = min(stop, time + math.log((rest - heat) / (rest - goal)) / pace)
        heat = at(stop)
        for edge in (knee, full):  # a moment of change has the heat of that change
            heat = edge if math.isclose(heat, edge, rel_tol=1e-13) else heat
        if stop > begin:
            pieces.append(Piece(begin, stop, at))
        time = stop
    pieces[-1].end = math.inf
    return Stream(pieces)


def stream(row, cold, ask, fault, until, model, again=None):
    """What a source gives in a case."""
    if fault in ("hot pressure lost", "source cold but pressurised"):
        return steady(0.0)
    if row["kind"] == "storage":
        return tank(row, cold, ask, fault, until, model, again)
    return without_storage(row, cold, ask, fault)


def governs(row):
    """The mixed tank, unless the usable fraction cites its source."""
    return "stratified" if row["usable_fraction_source"] else "mixed"
