"""What an equation accepts: numbers and arrays looked at once, and refused in a sentence that names the argument."""

from __future__ import annotations

import math
from typing import Any, TypeAlias

import numpy as np

from drenchbook.errors import InputError

# A float, or a numpy array of floats; arguments broadcast, and the answer is a float when every argument was one.
Numbers: TypeAlias = Any

KELVIN = 273.15  # 0 °C on the absolute scale, exact by definition [SI brochure, 2.3.1]


def number(
    name: str,
    value: Numbers,
    unit: str = "",
    *,
    at_least: float = -math.inf,
    above: float = -math.inf,
    at_most: float = math.inf,
    wanted: str = "",
) -> Numbers:
    """Return the value as a float or a float array, or say what would be accepted.

    Parameters
    ----------
    name : str
        The argument as the caller wrote it.
    value : float or array
        What was given.
    unit : str
        The SI unit named in the sentence.
    at_least, above, at_most : float
        Lower limit (allowed), lower limit (not allowed), upper limit (allowed).
    wanted : str
        The sentence to use instead of the one made from the limits.

    Returns
    -------
    float or array
        The same numbers, finite and inside the limits.

    Notes
    -----
    Our own rule, not a printed one: not-a-number, infinity, text, a blank and TRUE are not numbers [worked here].

    >>> number("flow", 2, "m³/s", at_least=0)
    2.0
    >>> number("flow", -2, "m³/s", at_least=0)
    Traceback (most recent call last):
    drenchbook.errors.InputError: flow = -2 m³/s: must be zero or more
    """
    if isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool)):
        if at_least <= value <= at_most and above < value and math.isfinite(value):
            return float(value)
        raise InputError(name, value, wanted or _accepted(value, at_least, above, at_most), unit)
    if value is None or isinstance(value, (bool, str, np.bool_)):
        raise InputError(name, value, "a number is needed", unit)
    array = np.asarray(value)
    if array.dtype.kind not in "iuf":
        raise InputError(name, str(value), "a number is needed", unit)
    array = array.astype(float, copy=False)
    good = np.isfinite(array) & (array >= at_least) & (array > above) & (array <= at_most)
    if not good.all():
        first = float(array[~good].flat[0]) if array.ndim else float(array)
        raise InputError(name, first, wanted or _accepted(first, at_least, above, at_most), unit)
    return array if array.ndim else float(array)


def _accepted(value: float, at_least: float, above: float, at_most: float) -> str:
    """The sentence for one refused number."""
    if not math.isfinite(value):
        return "must be a finite number"
    lower = max(at_least, above)
    if math.isfinite(lower) and math.isfinite(at_most):
        between = "more than {:g} and at most {:g}" if above == lower else "from {:g} to {:g}"
        return "must be " + between.format(lower, at_most)
    if math.isfinite(at_most):
        return f"must be at most {at_most:g}"
    word = "zero" if lower == 0 else f"{lower:g}"
    return f"must be more than {word}" if above == lower else f"must be {word} or more"


def same_kind(answer: Numbers) -> Numbers:
    """Give a single number back as a float and an array as an array.

    Parameters
    ----------
    answer : float or array
        What numpy made of the arguments.

    Returns
    -------
    float or array
        A plain float where every argument was one.

    Notes
    -----
    So that a cell shows 22.5 and not a numpy object [worked here].

    >>> same_kind(np.float64(22.5))
    22.5
    """
    return answer if np.ndim(answer) else float(answer)


def first_where(value: Numbers, bad: Numbers) -> float:
    """The first number of a broadcast argument at which a condition holds, for the sentence.

    Parameters
    ----------
    value : float or array
        The argument to be named.
    bad : bool or array of bool
        Where it cannot be used.

    Returns
    -------
    float
        The first such number.

    Notes
    -----
    Reading order of the broadcast arrays [worked here].

    >>> first_where(np.array([1.0, 7.0]), np.array([False, True]))
    7.0
    """
    value, bad = np.broadcast_arrays(value, bad)
    return float(value[bad].flat[0])
