"""Hot water over time in closed form: of a mixed tank, and of a source that changes only in steps.

Heat is counted above cold water (`surplus`, J/kg). The valves draw constant heat as long as their hot water allows it,
and below that (under `heat_drawn / greatest_draw`) their greatest hot flow.
"""

from __future__ import annotations

import numpy as np

from drenchbook.physics.inputs import Numbers


def mixed_surplus_kernel(
    time: Numbers, mass: Numbers, start: Numbers, full: Numbers, heat_drawn: Numbers, greatest_draw: Numbers,
    power: Numbers, delay: Numbers,
) -> Numbers:  # fmt: skip
    """Heat [J/kg] of a mixed tank's water at a time [s] of the draw, nothing checked.

    Notes
    -----
    mass [kg], start and full (the thermostat's) [J/kg], heat drawn [W], greatest draw [kg/s], power [W] after a delay
    [s]. A straight line while constant heat is drawn, then an exponential with the greatest flow [worked here from the
    first law]. The mass is constant, which reads up to 2 % long.

    >>> float(mixed_surplus_kernel(100.0, 700.0, 2e5, 2e5, 1.4e5, 2.0, 0.0, 0.0))
    180000.0
    """
    first = np.minimum(time, delay)
    surplus = _after(first, mass, start, heat_drawn, greatest_draw, np.zeros(()))
    return np.minimum(_after(time - first, mass, surplus, heat_drawn, greatest_draw, power), full)


def mixed_seconds_above_kernel(
    least: Numbers, time: Numbers, mass: Numbers, start: Numbers, full: Numbers, heat_drawn: Numbers,
    greatest_draw: Numbers, power: Numbers, delay: Numbers,
) -> Numbers:  # fmt: skip
    """Seconds, up to a time [s], in which a mixed tank's water has at least some heat [J/kg], nothing checked.

    Notes
    -----
    Arguments and source as in `mixed_surplus_kernel`; before and after the delay the heat only falls or only rises, so
    that each part is one crossing.

    >>> float(mixed_seconds_above_kernel(1.8e5, 900.0, 700.0, 2e5, 2e5, 1.4e5, 2.0, 0.0, 0.0))
    100.0
    """
    first = np.minimum(time, delay)
    before = _above(least, first, mass, start, heat_drawn, greatest_draw, np.zeros(()))
    surplus = _after(first, mass, start, heat_drawn, greatest_draw, np.zeros(()))
    after = _above(least, time - first, mass, surplus, heat_drawn, greatest_draw, power)
    return np.where(least > full * (1 + 1e-12), 0.0, before + after)


def stepped_surplus_kernel(time: Numbers, lasts: Numbers, full: Numbers, later: Numbers, delay: Numbers) -> Numbers:
    """Heat [J/kg] at a time [s] of water that is full until it ends, then cold, then of other heat, nothing checked.

    Notes
    -----
    Full until `lasts` [s], without heat from there until `delay` [s], and `later` [J/kg] from the greater of the two
    [worked here]: a tank that does not mix, and with `lasts` zero a source without storage.

    >>> stepped_surplus_kernel(np.array([0.0, 99.0, 100.0, 150.0]), 100.0, 2e5, 5e4, 120.0).tolist()
    [200000.0, 200000.0, 0.0, 50000.0]
    """
    return np.where(time < lasts, full, np.where(time < delay, 0.0, later))


def stepped_seconds_above_kernel(
    least: Numbers, time: Numbers, lasts: Numbers, full: Numbers, later: Numbers, delay: Numbers
) -> Numbers:
    """Seconds, up to a time [s], in which such water has at least some heat [J/kg], nothing checked.

    Notes
    -----
    Arguments and source as in `stepped_surplus_kernel`.

    >>> float(stepped_seconds_above_kernel(1e5, 900.0, 100.0, 2e5, 5e4, 120.0))
    100.0
    """
    end = np.minimum(time, lasts)
    cold = np.clip(np.minimum(time, delay) - end, 0.0, None)
    rest = np.clip(time - np.maximum(lasts, delay), 0.0, None)
    return np.where(full >= least, end, 0.0) + np.where(least <= 0.0, cold, 0.0) + np.where(later >= least, rest, 0.0)


def _knee(heat_drawn: Numbers, greatest_draw: Numbers) -> Numbers:
    """Heat [J/kg] below which the valves draw their greatest flow."""
    some = np.greater(greatest_draw, 0)
    return np.where(some, np.divide(heat_drawn, np.where(some, greatest_draw, 1.0)), 0.0)


def _rest(power: Numbers, greatest_draw: Numbers) -> Numbers:
    """Heat [J/kg] at which the greatest flow takes away what the heater gives."""
    some = np.greater(greatest_draw, 0)
    return np.where(some, np.divide(power, np.where(some, greatest_draw, 1.0)), np.inf)


def _gain(surplus: Numbers, drawn: Numbers, greatest: Numbers, power: Numbers) -> Numbers:
    """Heat that the tank gains. [W]"""
    return np.subtract(power, np.minimum(drawn, greatest * surplus))


def _after(time: Numbers, mass: Numbers, start: Numbers, drawn: Numbers, greatest: Numbers, power: Numbers) -> Numbers:
    """Heat [J/kg] after a time [s] of constant power, on whichever side of the knee, over it at most once."""
    knee, rest = _knee(drawn, greatest), _rest(power, greatest)
    slope = np.asarray((power - drawn) / mass)
    above = start >= knee
    with np.errstate(divide="ignore", over="ignore", invalid="ignore"):
        cross = np.where(slope < 0, (knee - start) / slope, np.inf)
        if not np.all(above):  # from below it is an exponential towards `rest`
            rises = np.log((rest - start) / (rest - knee)) * mass / greatest
            cross = np.where(above, cross, np.where(rest > knee, rises, np.inf))
        straight = np.minimum(time, np.where(above, cross, np.maximum(time - cross, 0.0)))
        curved = time - straight
        begin = np.where(above, np.minimum(start, knee), start)
        below = np.where(curved > 0, rest + (begin - rest) * np.exp(-greatest / mass * curved), begin)
        line = np.where(straight > 0, slope * straight, 0.0)
    return np.where(above, np.where(curved > 0, below, start + line), np.where(straight > 0, knee + line, below))


def _passage(target: Numbers, mass: Numbers, start: Numbers, drawn: Numbers, greatest: Numbers,
             power: Numbers) -> Numbers:  # fmt: skip
    """Time [s] until the heat reaches a target in the direction in which it moves; infinite where it never does."""
    knee, rest = _knee(drawn, greatest), _rest(power, greatest)
    rising = _gain(start, drawn, greatest, power) > 0
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        high, low = np.maximum(start, target), np.minimum(start, target)
        straight = np.clip(high - np.maximum(low, knee), 0.0, None) * mass
        straight = np.where(straight > 0, straight / np.abs(power - drawn), 0.0)
        top, end = np.minimum(high, knee), np.minimum(low, knee)
        far, near = np.where(rising, rest - end, top - rest), np.where(rising, rest - top, end - rest)
        curved = np.where(top > end, np.where(near > 0, np.log(far / near), np.inf) * mass / greatest, 0.0)
        there = np.where(rising, target >= start, target <= start)
        return np.where(there, straight + curved, np.inf)


def _above(least: Numbers, time: Numbers, mass: Numbers, start: Numbers, drawn: Numbers, greatest: Numbers,
           power: Numbers) -> Numbers:  # fmt: skip
    """Seconds, up to a time [s], with at least some heat, while the power is constant."""
    passage = np.minimum(_passage(least, mass, start, drawn, greatest, power), time)
    gain = _gain(start, drawn, greatest, power)
    falling = np.where(start >= least, passage, 0.0)
    rising = np.where(start >= least, time, time - passage)
    return np.where(gain > 0, rising, np.where((gain == 0) & (start >= least), time, falling))
