"""Two valves in parallel as one data sheet: what holds for both is the worse of the two."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from drenchbook.site_cells import is_said
from drenchbook.site_model import Missing, tag_key

Rule = Callable[[Any, Any], Any]


def _both(least: bool) -> Rule:
    return min if least else max


def _sum(one: float, other: float) -> float:
    return one + other


def _all(one: Any, other: Any) -> Any:
    return one and other


# Which of two numbers holds. What is not named comes from the small valve: its minimum flow, and the bypass, of which
# only the small valve's counts.
RULES: dict[str, Rule] = {
    "maximum_flow": _sum,
    "leakage": _sum,
    **dict.fromkeys(("set_minimum", "approach_hot", "approach_cold", "tolerance", "hot_minimum", "cold_minimum",
                     "shutoff_time"), _both(least=False)),
    **dict.fromkeys(("set_maximum", "hot_maximum", "cold_maximum", "maximum_pressure", "maximum_pressure_ratio",
                     "maximum_pressure_difference", "independent_shutoffs"), _both(least=True)),
    "lead_free": _all,
    "sample": lambda one, other: one or other,
}  # fmt: skip
TEXTS = ("listing", "listing_edition", "source")  # empty as soon as one is


def model_of_valve(valve: Any, models: dict[str, Any]) -> Any:
    """The data sheet that a valve is judged by: its model's, or that of both models of two in parallel.

    Parameters
    ----------
    valve : row of mixing valves
        With its model and, where a larger valve stands in parallel, its second model. [-]
    models : dict
        Rows of valve models by the key of their tag. [-]

    Returns
    -------
    row of valve models or None
        A number that one of two models lacks is lacking. [-]
    """
    first = models.get(tag_key(valve.model))
    second = models.get(tag_key(getattr(valve, "second_model", None)))
    if first is None or second is None:
        return first
    changed: dict[str, Any] = {}
    for name, rule in RULES.items():
        changed[name] = _combined(getattr(first, name), getattr(second, name), rule)
    for name in TEXTS:
        one, other = getattr(first, name), getattr(second, name)
        filled = is_said(one) and is_said(other)
        changed[name] = (one if one == other else f"{one}; {other}") if filled else None
    return first.model_copy(update={**changed, "model": f"{first.model} with {second.model}"})


def _combined(one: Any, other: Any, rule: Rule) -> Any:
    for value in (one, other):
        if value is None or isinstance(value, Missing):
            return value
    return rule(one, other)
