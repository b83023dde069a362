"""Lines about what a site states: its events (EVT-1), and limits that differ from those published (LIM-1)."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from drenchbook.check_samples import NOTED, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import Judgement
from drenchbook.published.criteria import default_limits
from drenchbook.site_cells import is_said
from drenchbook.site_line import SiteLine, line, name_of, sentence, unknown
from drenchbook.site_model import tag_key

NO_EVENT = "No event is stated: each station was solved alone, and no two of them at once."
ONE_USER = "State each credible event, or one of a single user with the reason why no second one is credible."
MORE_SHOWERS = "Type as many showers as stations with a shower may be used, or fewer users."


def _users_left_out(judgement: Judgement, event: Any) -> str:
    """Whether an event's showers allow fewer stations at once than its users: such sets were not solved."""
    if not (isinstance(event.stations, tuple) and isinstance(event.users, float) and isinstance(event.showers, float)):
        return ""
    numbers = {tag_key(row.tag): number for number, row in enumerate(judgement.site.stations)}
    outlets, struck = judgement.context.outlets, {numbers[tag_key(tag)] for tag in event.stations}
    showers = sum(any(outlets[o].kind == "shower" for o in judgement.context.outlets_of[one]) for one in struck)
    users, allowed = math.ceil(event.users), math.ceil(event.showers)
    under = min(allowed, users, showers)
    most = under + min(users - under, len(struck) - showers)
    if most >= min(users, len(struck)) or len(struck) < 2:
        return ""
    told = f"no more than {most} of its stations" if most > 1 else "no two of its stations"
    counts = f"Event {name_of(event)} has {users} users and {allowed} showers at once"
    return f"{counts}: {told} were solved at once, for a station with a shower is used with all its outlets."


def event_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """EVT-1: each event says why it, and no larger one, is credible."""
    if len(judgement.site.stations) > 1 and not judgement.site.events:
        yield SiteLine(CHECK_BY_ID["EVT-1"], "events", WARNED, NO_EVENT, remedy=ONE_USER)
    for event in judgement.site.events:
        if words := _users_left_out(judgement, event):
            yield SiteLine(CHECK_BY_ID["EVT-1"], name_of(event), WARNED, words, remedy=MORE_SHOWERS)
        written = is_said(event.reason)
        told = line(judgement, "EVT-1", event.tag, 0.0 if written else -1.0)
        yield replace(told, message="Reason written.") if written else told


NAME_OF_A_LIMIT = "Type the number in the row of the limit that is meant, or clear this row."
EVERY_LIMIT = "EN 15154"  # every criteria set has a row for each limit


def limit_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """LIM-1: each limit that differs from the published one; a NOTE with a reason, a WARN without."""
    check, site = CHECK_BY_ID["LIM-1"], judgement.site
    if not isinstance(site.project.criteria_set, str):
        yield unknown("LIM-1", "Limits", "the criteria set is blank, so that nothing can be compared")
        return
    known = {tag_key(row.id) for row in default_limits(site.project.criteria_set)}
    for key, row in judgement.context.limits.items():
        if key not in known:
            near = difflib.get_close_matches(row.id.upper(), [one.id for one in default_limits(EVERY_LIMIT)], 1)
            meant = f"; did you mean {near[0]}" if near else ""
            yield SiteLine(check, row.id, WARNED, f"No check asks for limit {row.id}{meant}.", remedy=NAME_OF_A_LIMIT)
        if row.change:
            only = "; what rests on it is OK to project limit only" if row.change == "looser" else ""
            reason = f"reason: {row.reason}" if row.reason else "no reason is typed"
            text = sentence(f"{row.told}, {row.change}{only}; {reason}")
            outcome = NOTED if row.reason else WARNED
            yield SiteLine(check, row.id, outcome, text, remedy="" if row.reason else sentence(check.remedy))
