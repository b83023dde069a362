"""Numbers as people read them: in the site's units, with few digits, rounded toward the unsafe side.

A flow that must be at least something is rounded down, one that must be at most something is rounded up, so that a
printed number never looks better than it is.
"""

from __future__ import annotations

import math

from drenchbook.units import from_si, unit_of

LEAST, MOST = "least", "most"
_DECIMALS = {
    "flow": 1,
    "pressure": 1,
    "temperature": 0,
    "temperature difference": 0,
    "length": 1,
    "small length": 1,
    "volume": 0,
    "seconds": 0,
    "minutes": 1,
    "hours": 2,
    "velocity": 1,
    "fraction": 2,
    "number": 2,
    "people": 0,
    "flow coefficient": 1,
    "power": 0,
    "months": 0,
}


def rounded(value: float, decimals: int, toward: str = LEAST) -> float:
    """A number with few decimals, rounded down where it must be at least something and up where at most.

    A digit that only the conversion of units brought in does not count: 20 gpm stays 20.0.

    >>> rounded(14.38, 1), rounded(25.42, 1, MOST), rounded(19.9999999999, 1), rounded(19.999999, 1)
    (14.3, 25.5, 20.0, 19.9)
    """
    if not math.isfinite(value):
        return value
    scaled = value * 10**decimals
    nearest = round(scaled)
    if abs(scaled - nearest) <= 1e-9 * max(1.0, abs(scaled)):
        return nearest / 10**decimals
    return (math.floor(scaled) if toward == LEAST else math.ceil(scaled)) / 10**decimals


def decimals_of(quantity: str, shown: float) -> int:
    """How many decimals a quantity is printed with; small numbers get one more."""
    decimals = _DECIMALS.get(quantity, 2)
    return decimals + 1 if quantity in ("flow", "velocity") and abs(shown) < 10 else decimals


def quantity_text(value: float, quantity: str, system: str, toward: str = LEAST) -> str:
    """An SI value with its unit, in words for a message.

    >>> quantity_text(20 * 6.30902e-05, "flow", "US"), quantity_text(float("inf"), "minutes", "US")
    ('20.0 gpm', 'without end')
    """
    if math.isnan(value):
        return "not known"
    if math.isinf(value):
        return "without end" if quantity in ("seconds", "minutes", "hours") else "without limit"
    unit = unit_of(quantity, system) if quantity else ""
    shown = from_si(value, unit) if unit else value
    if quantity in ("seconds", "minutes") and value >= 86400:
        return "without end"
    decimals = decimals_of(quantity, shown)
    text = f"{rounded(shown, decimals, toward):.{decimals}f}"
    return text if unit in ("", "–") else f"{text} {unit}"


def percent_text(share: float, toward: str = LEAST) -> str:
    """A share as a whole percentage, rounded down unless said otherwise.

    >>> percent_text(0.019), percent_text(0.101, MOST), percent_text(float("-inf"))
    ('1 %', '11 %', 'less than any share')
    """
    if math.isnan(share):
        return "not known"
    if math.isinf(share):
        return "without limit" if share > 0 else "less than any share"
    return f"{rounded(100 * share, 0, toward):.0f} %"


def opposite(toward: str) -> str:
    """The way to round a limit, so that a value short of it is never printed as equal to it.

    >>> opposite(LEAST)
    'most'
    """
    return LEAST if toward == MOST else MOST
