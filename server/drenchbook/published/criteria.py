"""Criteria sets: the default limits of each, with where each number was read."""

from __future__ import annotations

import functools
from dataclasses import dataclass

from drenchbook.errors import InputError
from drenchbook.published.data_files import rows
from drenchbook.units import to_si

CRITERIA_SETS = ("ANSI/ISEA Z358.1", "EN 15154")


@dataclass(frozen=True)
class Limit:
    """One default limit. `value` is None where the set has no figure that we have read."""

    id: str
    meaning: str
    value: float | None
    unit: str
    source: str
    basis: str


@functools.cache
def _limits() -> dict[str, tuple[Limit, ...]]:
    sets: dict[str, list[Limit]] = {name: [] for name in CRITERIA_SETS}
    for row in rows("limits"):
        value = float(row["value"]) if row["value"] else None
        limit = Limit(row["id"], row["meaning"], value, row["unit"], row["source"], row["basis"])
        sets[row["criteria"]].append(limit)
    return {name: tuple(limits) for name, limits in sets.items()}


def criteria_set(typed: object) -> str:
    """The name of the criteria set a user named, in any case; anything else is an InputError.

    >>> criteria_set("en 15154")
    'EN 15154'
    """
    if isinstance(typed, str):
        for name in CRITERIA_SETS:
            if name.casefold() == typed.strip().casefold():
                return name
    raise InputError("criteria", typed, "must be one of " + ", ".join(f'"{name}"' for name in CRITERIA_SETS))


def default_limits(criteria: str) -> tuple[Limit, ...]:
    """Every default limit of a criteria set, in the order of the Limits sheet."""
    return _limits()[criteria_set(criteria)]


def required_flow(kind: object, criteria: object) -> float:
    """Published required flow of an outlet kind. [m³/s]

    Raises InputError for a kind without a figure in that set: the answer is not known, and never a pass.

    >>> round(required_flow("shower", "ANSI/ISEA Z358.1") * 60000, 2)
    75.71
    """
    limits = {
        limit.id.removeprefix("FLW-1 "): limit
        for limit in default_limits(criteria_set(criteria))
        if limit.id.startswith("FLW-1 ")
    }
    limit = limits.get(kind.strip().casefold()) if isinstance(kind, str) else None
    if limit is None:
        raise InputError("kind", kind, "must be one of " + ", ".join(f'"{name}"' for name in limits))
    if limit.value is None:
        raise InputError(
            "kind",
            kind,
            f"has no figure in {criteria_set(criteria)} that we have read; "
            "type the figure of the edition you own in the sheet Limits",
        )
    return float(to_si(limit.value, limit.unit))
