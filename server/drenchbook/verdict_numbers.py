"""The numbers of a verdict with their units, rounded toward the unsafe side."""

from __future__ import annotations

from drenchbook.checks import Judgement, Verdict
from drenchbook.quantity_text import opposite, percent_text, quantity_text


def value_text(judgement: Judgement, verdict: Verdict) -> str:
    """The value of a verdict with its unit, rounded toward the unsafe side."""
    return _number_text(judgement, verdict, verdict.value, verdict.toward)


def limit_text(judgement: Judgement, verdict: Verdict) -> str:
    """The limit of a verdict with its unit, rounded away from the value."""
    return _number_text(judgement, verdict, verdict.limit, opposite(verdict.toward))


def _number_text(judgement: Judgement, verdict: Verdict, value: float, toward: str) -> str:
    if verdict.check.percent:
        return percent_text(value, toward)
    return quantity_text(value, verdict.shown_quantity, judgement.context.units, toward)
