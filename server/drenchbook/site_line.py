"""One line of the site: the verdict of a check on a supply, a source, a valve group or an event, in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from drenchbook.check_samples import NOT_KNOWN, OUTCOME_WORDS, PASSED, SLACK
from drenchbook.check_table import CHECK_BY_ID, Check
from drenchbook.checks import Judgement
from drenchbook.quantity_text import opposite, quantity_text

NAN = float("nan")


@dataclass(frozen=True)
class SiteLine:
    """One verdict on a part of the site."""

    check: Check
    subject: str
    outcome: int
    message: str
    value: float = NAN
    limit: float = NAN
    case: str = ""
    remedy: str = ""

    @property
    def word(self) -> str:
        """The outcome in words."""
        return OUTCOME_WORDS[self.outcome]

    @property
    def text(self) -> str:
        """What it is, and what to do."""
        return f"{self.message} {self.remedy}".strip()


def line(
    judgement: Judgement,
    check_id: str,
    subject: Any,
    margin: float,
    value: float = NAN,
    limit: float = NAN,
    what: str = "",
    case: str = "",
    value_text: str = "",
    why: str = "",
) -> SiteLine:
    """A line of a check from its margin; one that is not-a-number is UNKNOWN, and `why` says what is missing."""
    check, name = CHECK_BY_ID[check_id], str(subject).strip()
    if math.isnan(margin):
        return unknown(check_id, name, why or "a number that it needs is blank", value, limit, case)
    shown = {
        "value": value_text or quantity_text(value, check.quantity, judgement.context.units, check.toward),
        "limit": quantity_text(limit, check.quantity, judgement.context.units, opposite(check.toward)),
        "what": what or name,
    }
    outcome = check.severity if margin < -SLACK else PASSED
    pattern = check.message if outcome != PASSED else "{what}: {value}, limit {limit}: met" if value == value else "Met"
    text = sentence(pattern.format(**shown))
    remedy = sentence(check.remedy.format(**shown)) if outcome != PASSED else ""
    return SiteLine(check, name, outcome, text, value, limit, case, remedy)


def unknown(check_id: str, subject: str, why: str, value: float = NAN, limit: float = NAN, case: str = "") -> SiteLine:
    """An UNKNOWN line of a check, with the reason."""
    check = CHECK_BY_ID[check_id]
    text = sentence(f"{check.what} of {subject} is not known: {why}")
    return SiteLine(
        check, subject, NOT_KNOWN, text, value, limit, case, "Fill what is missing; UNKNOWN is never a pass."
    )


def sentence(text: str) -> str:
    """The same words as a sentence."""
    return text[:1].upper() + text[1:].rstrip(".") + "."


def name_of(row: Any) -> str:
    """The tag of a row, without stray spaces."""
    return str(row.tag).strip()
