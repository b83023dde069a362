"""Fittings by name: length over diameter as published, and the resistance of a counted list."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import pairwise
from typing import Any

from drenchbook.errors import InputError
from drenchbook.published.data_files import rows
from drenchbook.published.size_text import inches

LARGEST_TOTAL = 10_000.0  # far above any run; a larger number is a date or a slip of the keyboard
LONGEST_REMEMBERED = 200  # characters of a list that is read once and remembered
WANTED = 'needs a total K, "none", or a list such as "4 x 90 elbow; 1 x tee, branch"'


@dataclass(frozen=True)
class Fitting:
    """One kind of fitting. [-]"""

    word: str
    l_over_d: float
    source: str


@cache
def _fittings() -> dict[str, Fitting]:
    return {row["word"]: Fitting(row["word"], float(row["l_over_d"]), row["source"]) for row in rows("fittings")}


@cache
def _words() -> dict[str, str]:
    names = {}
    for row in rows("fittings"):
        for word in (row["word"], *row["aliases"].split(";")):
            names[_plain(word)] = row["word"]
    return names


@cache
def _turbulent_factors() -> tuple[tuple[float, float], ...]:
    return tuple((inches(row["size"]), float(row["turbulent_factor"])) for row in rows("turbulent_factors"))


def _plain(text: str) -> str:
    """Same word however it is typed: case, degree signs, commas, plurals."""
    text = re.sub(r"°|\bdeg(?:rees?)?\b\.?|,", " ", text.casefold().replace("-", " "))
    return " ".join(re.sub(r"(?<=[a-rt-z])s$", "", word) for word in text.split())


def turbulent_factor(nominal_inches: float) -> float:
    """Friction factor of clean steel pipe in full turbulence, by nominal size.

    Parameters
    ----------
    nominal_inches : float
        Nominal size, 3/8 to 4. [in]

    Returns
    -------
    float
        Darcy friction factor. [-]

    Notes
    -----
    Crane TP-410, fT of clean commercial steel; used with every material (common practice). Straight lines between the
    listed sizes. Within 1.3 % of the fully rough formula with 0.0018 in and the schedule 40 bore.

    >>> turbulent_factor(2.0)
    0.0189
    """
    listed = _turbulent_factors()
    if not listed[0][0] <= nominal_inches <= listed[-1][0]:
        raise InputError("nominal_inches", nominal_inches, f"must be {listed[0][0]:g} to {listed[-1][0]:g}", "in")
    for (low, factor_low), (high, factor_high) in pairwise(listed):
        if nominal_inches <= high:
            share = (nominal_inches - low) / (high - low)
            return factor_low * (1 - share) + factor_high * share
    raise InputError("nominal_inches", nominal_inches, "must be a number", "in")


def counted(text: str) -> tuple[tuple[int, Fitting], ...]:
    """Read a counted list of fittings.

    Parameters
    ----------
    text : str
        Items with semicolons between them, each "count x word"; a word alone counts once. [-]

    Returns
    -------
    tuple of (int, Fitting)
        In the order typed. [-]

    >>> [(count, fitting.word) for count, fitting in counted("4 × 90 Elbows; tee, branch")]
    [(4, '90 elbow'), (1, 'tee, branch')]
    """
    items = [item.strip() for item in text.split(";")]
    if items and not items[-1]:
        items.pop()
    if not items:
        raise InputError("fittings", text, WANTED)
    return tuple(_counted_item(item, text) for item in items)


def _counted_item(item: str, text: str) -> tuple[int, Fitting]:
    count, word = _count_and_word(item)
    if _plain(word) in _words():
        return count, _fittings()[_words()[_plain(word)]]
    if not word:
        raise InputError("fittings", text, 'has an item without a fitting; write "4 x 90 elbow; 1 x tee, branch"')
    bare = re.sub(r"^\d+\s+", "", word)
    if bare != word and _plain(bare) in _words():
        raise InputError("fittings", text, f'has "{item}"; put an x between the count and the fitting')
    if re.fullmatch(r"\d+,\d+", word):
        raise InputError("fittings", text, f"is read as text; type the total K with a point, {word.replace(',', '.')}")
    semicolons = "; put semicolons between the items" if re.search(r",\s*\d", word) else ""
    raise InputError("fittings", text, f'has "{word}", which is not in the list{semicolons}; {_near_words(word)}')


def _count_and_word(item: str) -> tuple[int, str]:
    """Split "4 x 90 elbow"; without a count there is one."""
    match = re.match(r"(\d{1,3})\s*[x×*]\s*", item, flags=re.IGNORECASE)
    return (int(match[1]), item[match.end() :].strip()) if match else (1, item.strip())


def _near_words(word: str) -> str:
    import difflib  # only a wrong word needs it

    plain = _plain(word)
    inside = [known for known in FITTINGS if plain and plain in _plain(known)]
    close = [_words()[name] for name in difflib.get_close_matches(plain, _words(), n=5, cutoff=0.6)]
    near = list(dict.fromkeys(inside + close))[:3]
    if not near:
        return f'the list has {"; ".join(FITTINGS)}. If the length includes the fittings, type "none"'
    return "nearest: " + ", ".join(f'"{name}"' for name in near)


def fittings_resistance(fittings: object, nominal_inches: float) -> float:
    """Total resistance of the fittings of a run.

    Parameters
    ----------
    fittings : object
        A number is the total K; "none" is no fittings; otherwise a counted list. [-]
    nominal_inches : float
        Nominal size of the run, 3/8 to 4. [in]

    Returns
    -------
    float
        Velocity heads lost, at the velocity in the run. [-]

    Notes
    -----
    K = fT·ΣL/D [Crane TP-410, eq. 2-4], fT that of clean steel pipe of the nominal size for every material (common
    practice). Lists differ: others print up to 60 % more for screwed fittings of 1/2 in, 10 % less for 4 in. A blank is
    refused: nothing may lower a loss by being left out.

    >>> round(fittings_resistance("4 x 90 elbow; 1 x tee, branch", 1.0), 3)
    4.014
    """
    if hasattr(fittings, "isoformat"):  # dates and times of every library
        raise InputError("fittings", fittings, f"is a date; {WANTED}")
    if fittings is None or (isinstance(fittings, str) and not fittings.strip()):
        raise InputError("fittings", fittings, WANTED)
    if isinstance(fittings, bool) or not (isinstance(fittings, str) or hasattr(fittings, "__float__")):
        raise InputError("fittings", fittings, WANTED)
    if isinstance(fittings, str):
        read = _read_text if len(fittings) <= LONGEST_REMEMBERED else _read_text.__wrapped__
        return read(fittings, nominal_inches)
    return _checked_total(fittings)


@lru_cache(maxsize=1024)
def _read_text(fittings: str, nominal_inches: float) -> float:
    if _plain(fittings) == "none":
        return 0.0
    if re.fullmatch(r"\s*[-+]?\d+(?:\.\d*)?\s*", fittings):
        return _checked_total(fittings)
    total = sum(count * fitting.l_over_d for count, fitting in counted(fittings))
    return turbulent_factor(nominal_inches) * total


def _checked_total(fittings: Any) -> float:
    total = float(fittings)
    if not (math.isfinite(total) and 0 <= total <= LARGEST_TOTAL):
        raise InputError("fittings", fittings, f"must be a total K from 0 to {LARGEST_TOTAL:g}")
    return total


FITTINGS: tuple[str, ...] = tuple(row["word"] for row in rows("fittings"))
