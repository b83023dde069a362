"""The limits of a site in SI, each beside the one that its criteria set publishes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from drenchbook.errors import InputError
from drenchbook.published.criteria import Limit, default_limits
from drenchbook.site_cells import is_said
from drenchbook.site_model import Missing, Site, tag_key
from drenchbook.units import QUANTITIES, same_kind, to_si

# Limits that a value must not exceed: a greater one is looser. All others are least values: a smaller one is looser.
GREATEST = (
    "FLW-3", "FLW-4", "PRS-2", "VEL-1 cold", "VEL-1 hot", "VLV-6 greatest", "BYP-3 leakage", "BYP-3 time",
    "TMP greatest", "DLG-1 warning", "DLG-1 failure", "DLG-2", "DLG-4", "DLG-5", "LOP-1 greatest",
    "LOC-1 travel", "LOC-1 shower greatest", "LOC-1 eyewash greatest",
    "DAT-3 pressure", "DAT-3 flow", "DAT-4",
)  # fmt: skip
SLACK = 1e-9


@dataclass(frozen=True)
class LimitRow:
    """One row of the Limits table: the number in SI, and as it was typed, with its unit."""

    id: str
    value: float | None  # SI; None: not known
    typed: float | None
    unit: str
    why_missing: str = ""
    reason: str = ""  # why it was changed
    published: Limit | None = None  # only where the criteria set has a figure
    change: str = ""  # "looser" or "stricter" than published, "" where it is the same or nothing was published

    @property
    def told(self) -> str:
        """The limit and the published one, as typed: "FLW-1 shower is 15 gpm, published 20 gpm"."""
        was = f", published {_typed(self.published.value, self.published.unit)}" if self.published else ""
        return f"{self.id} is {_typed(self.typed, self.unit)}{was}"


def _typed(number: float | None, unit: str) -> str:
    return "not known" if number is None else f"{number:.10g}" + ("" if unit == "–" else f" {unit}")


def limit_rows(site: Site) -> dict[str, LimitRow]:
    """Every limit of a site by the key of its id; a number that cannot be used is None, with the reason."""
    criteria = site.project.criteria_set
    published = {tag_key(row.id): row for row in default_limits(criteria)} if isinstance(criteria, str) else {}
    return {tag_key(row.id): _row(row, published.get(tag_key(row.id))) for row in site.limits}


def _row(row: Any, published: Limit | None) -> LimitRow:
    name = published.id if published else str(row.id).strip()
    value, unit = row.value, row.unit
    why = _why_missing(name, value, unit, published)
    if why:
        return LimitRow(name, None, None, unit if isinstance(unit, str) else "", why)
    reason = row.reason.strip() if is_said(row.reason) else ""
    number = float(to_si(value, unit.strip()))
    if published is None or published.value is None:
        return LimitRow(name, number, value, unit.strip(), "", reason)
    was = float(to_si(published.value, published.unit))
    change = ""
    if abs(number - was) > SLACK * max(abs(number), abs(was)):
        change = "looser" if (number > was) == (name in GREATEST) else "stricter"
    return LimitRow(name, number, value, unit.strip(), "", reason, published, change)


def _why_missing(name: str, value: Any, unit: Any, published: Limit | None) -> str:
    if not isinstance(value, float):
        return f"limit {name} {value.reason if isinstance(value, Missing) else 'is blank'}"
    if not isinstance(unit, str) or not unit.strip():
        return f"the unit of limit {name} is blank"
    if published is not None and not _same_quantity(unit.strip(), published.unit):
        return f"limit {name} is in {unit.strip()}, a unit of {published.unit} is wanted"
    try:
        to_si(value, unit.strip())
    except InputError as error:
        return f"limit {name}: {error}"
    if value < 0 and unit.strip() not in QUANTITIES["temperature"]:
        return f"limit {name} is {_typed(value, unit.strip())}; 0 or more is wanted"
    return ""


def _same_quantity(unit: str, other: str) -> bool:
    """Whether a number in one unit can stand for one in the other; a temperature is no temperature difference."""
    mine, theirs = ({name for name, pair in QUANTITIES.items() if one in pair} for one in (unit, other))
    if unit == other or mine & theirs:
        return True
    if (mine and theirs) or unit == "%" or other == "%":
        return unit in ("%", "–") and other in ("%", "–")
    return same_kind(unit, other)
