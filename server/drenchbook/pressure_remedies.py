"""Remedies of too little pressure: where the path loses most, what holds pressure back, how much more would do."""

from __future__ import annotations

import math
from collections.abc import Iterator

from drenchbook.checks import Judgement, Verdict
from drenchbook.network_arrays import YES
from drenchbook.operating_cases import NORMAL, POWER_LOST, STATES
from drenchbook.quantity_text import quantity_text
from drenchbook.site_model import tag_key
from drenchbook.solver import step_by_step
from drenchbook.solver_results import CANNOT_REACH, SOLVED, PathStep

REDUCING = "pressure-reducing valve"
SETTING = " setting"  # how a worked path names what a reducing valve holds back
LITTLE = 0.05  # part of the pressure that is wanted: a pipe that loses less is no remedy
UNTOUCHED = 1e-6  # [Pa] a reducing valve that holds back less passes what comes


def _text(judgement: Judgement, value: float, quantity: str = "pressure") -> str:
    return quantity_text(value, quantity, judgement.context.units, "most")


def largest_loss(judgement: Judgement, verdict: Verdict) -> str:
    """What lifts the pressure at an outlet in that case: power, a setting, larger pipe, a booster, more pressure."""
    if verdict.opening < 0 or verdict.state < 0 or verdict.member < 0:
        return ""
    station = int(judgement.cases.outlet_station[verdict.member])
    state = judgement.results.fault(verdict.fault).state[verdict.state, verdict.opening]
    if state == CANNOT_REACH:
        return _out_of_reach(judgement, verdict, station)
    if state != SOLVED:
        return ""
    more = _more_pressure(judgement, verdict, station)
    holding = _holding(judgement, verdict, station)
    words = _power(judgement, verdict, station)
    if holding is not None:
        words.append(_setting(judgement, holding, more))
    tag, loss = _worst_pipe(judgement, verdict, station)
    head = _missing_head(judgement, station) if verdict.fault == NORMAL else []
    if tag and not (loss < LITTLE * more and (words or head)):
        words.append(f"larger pipe where the path loses most: {tag} takes {_text(judgement, loss)}")
    if holding is None:
        words += head
    if more > 0 and holding is None and not more > _spare(judgement, station):
        words.append(f"{_text(judgement, more)} more pressure is enough as the pipes are")
    return _joined(words)


def _out_of_reach(judgement: Judgement, verdict: Verdict, station: int) -> str:
    """What brings water to outlets above the pressure that stands there without flow."""
    return _joined(_power(judgement, verdict, station) + _missing_head(judgement, station))


def _joined(words: list[str]) -> str:
    text = "; ".join(words)
    return text[:1].upper() + text[1:]


def _power(judgement: Judgement, verdict: Verdict, station: int) -> list[str]:
    """Power for the boosters that stand still in the case of a verdict; nothing where none does."""
    stopped = _stopped(judgement, verdict, station)
    return [f"feed {' and '.join(stopped)} from emergency power"] if stopped else []


def _missing_head(judgement: Judgement, station: int) -> list[str]:
    """The head that PRS-3 misses; nothing where it is met, or not known."""
    short, asked = float(judgement.measures.frictionless_left[station]), judgement.context.limit("PRS-3").value
    if asked is None or not short < asked:
        return []
    return [f"no pipe size alone helps: {_head(judgement, station, asked - short)}"]


def booster(judgement: Judgement, verdict: Verdict) -> str:
    """PRS-3: the head that is missing, and whether a booster or the setting of a reducing valve gives it."""
    if math.isnan(verdict.value) or math.isnan(verdict.limit):
        return ""
    head = _head(judgement, verdict.station, verdict.limit - verdict.value)
    return _joined([f"{head}, or outlets for less pressure", "no pipe size helps"])


def _head(judgement: Judgement, station: int, short: float) -> str:
    """A booster, or the setting of the reducing valves that would hold back what it adds."""
    if station < 0 or not (names := _reducers(judgement, station)):
        return f"a booster of {_text(judgement, short)} or more"
    measures = judgement.measures
    open_, held = (float(one[station]) for one in (measures.frictionless_unreduced, measures.frictionless_left))
    if not open_ > held + UNTOUCHED:
        return f"a booster of {_text(judgement, short)} or more"
    raised = f"raise the setting of {' and '.join(names)} by {_text(judgement, short)} or more"
    lacking = held + short - open_
    return f"{raised}, and a booster of {_text(judgement, lacking)} or more" if lacking > UNTOUCHED else raised


def _reducers(judgement: Judgement, station: int) -> list[str]:
    """The reducing valves on everything a station depends on, as they are typed."""
    rows = [judgement.context.rows["line_devices"][tag] for tag in _devices(judgement, station)]
    return [str(row.tag).strip() for row in rows if row.kind == REDUCING]


def _devices(judgement: Judgement, station: int) -> Iterator[str]:
    """Keys of the devices on everything a station depends on, each once."""
    runs = judgement.context.depends_on(station, "pipe_runs")
    keys = [tag_key(tag) for run in runs if isinstance(run.devices, tuple) for tag in run.devices]
    return iter(dict.fromkeys(keys))


def _holding(judgement: Judgement, verdict: Verdict, station: int) -> PathStep | None:
    """The last reducing valve on a station's path that holds its setting in the case of a verdict."""
    held = [one for one in _steps(judgement, verdict, station) if one.tag.endswith(SETTING) and one.loss > UNTOUCHED]
    return held[-1] if held else None


def _setting(judgement: Judgement, holding: PathStep, more: float) -> str:
    """By how much to raise a setting. Behind it nothing grows faster than the square of the flow, as in front."""
    name = holding.tag.removesuffix(SETTING)
    if holding.side in ("cold", "hot") or not 0 < more < holding.loss:
        return f"raise the setting of {name}, which holds back {_text(judgement, holding.loss)}"
    return f"raise the setting of {name} by {_text(judgement, more)}"


def _stopped(judgement: Judgement, verdict: Verdict, station: int) -> list[str]:
    """The boosters of a station's path that stand still in the case of a verdict."""
    network = judgement.network
    if verdict.fault != POWER_LOST:
        return []
    keys = [key for key in _devices(judgement, station) if network.booster_power.get(key) == YES]
    return [network.device_names[key].strip() for key in keys]


def _spare(judgement: Judgement, station: int) -> float:
    """Pressure between the greatest static pressure of a station and its weakest rating; endless if not known. [Pa]"""
    static, rating = judgement.measures.weakest
    spare = float(rating[station] - static[station])
    return math.inf if math.isnan(spare) else spare


def _steps(judgement: Judgement, verdict: Verdict, station: int) -> tuple[PathStep, ...]:
    """The worked path of a station in the case of a verdict."""
    key = ("path", verdict.fault, verdict.state, verdict.opening, station)
    if key not in judgement.remembered:
        judgement.remembered[key] = step_by_step(judgement.network, judgement.cases, judgement.results, *key[1:])
    answer: tuple[PathStep, ...] = judgement.remembered[key]
    return answer


def _more_pressure(judgement: Judgement, verdict: Verdict, station: int) -> float:
    """Supply pressure that surely lifts what is measured to its limit. [Pa]

    What stands at the outlet without flow is spent on the way and at the outlet, and neither grows faster than the
    square of the flow: that share more of it is enough for every outlet, in sets and faults too [worked here].
    """
    grows = _growth(judgement, verdict)
    static = max(
        (float(judgement.measures.static.outlet[o]) for o in judgement.context.outlets_of[station]), default=0.0
    )
    static -= _lost_head(judgement, verdict, station)
    without_flow = static - _fall_to_low(judgement, verdict, station)
    return without_flow * (grows - 1) if grows > 1 and without_flow > 0 else 0.0


def _lost_head(judgement: Judgement, verdict: Verdict, station: int) -> float:
    """Head at no flow of the boosters that stand still in the case of a verdict. [Pa]"""
    if not _stopped(judgement, verdict, station):
        return 0.0
    network = judgement.network
    return sum(network.device_head.get(key, 0.0) for key in _devices(judgement, station)
               if network.booster_power.get(key) == YES)  # fmt: skip


def _growth(judgement: Judgement, verdict: Verdict) -> float:
    """How many times the pressure that a case needs is the pressure that it has; not-a-number without any flow."""
    if not verdict.value > (-1 if verdict.check.percent else 0):
        return math.nan
    if verdict.check.id == "PRS-1":
        return verdict.limit / verdict.value
    if not verdict.check.percent:
        return (verdict.limit / verdict.value) ** 2
    by_flow = ((1 + verdict.limit) / (1 + verdict.value)) ** 2
    outlet, part = judgement.context.outlets[verdict.member], judgement.cases.outlets.of(verdict.opening)
    place = part.start + judgement.cases.outlets.member[part].tolist().index(verdict.member)
    pressure = float(judgement.results.fault(verdict.fault).outlet_pressure[verdict.state, place])
    if not outlet.regulated or not pressure > 0:
        return by_flow
    return max(by_flow, outlet.rated_pressure * (1 + verdict.limit) / pressure)  # its margin is one of pressure


def _fall_to_low(judgement: Judgement, verdict: Verdict, station: int) -> float:
    """How far a pressure without flow stands below that of the high state; a held setting does not fall. [Pa]"""
    context = judgement.context
    supplies = context.depends_on(station, "supplies")
    if _holding(judgement, verdict, station) is not None:
        return 0.0
    if STATES[verdict.state][1] == "high" or len(supplies) != 1:
        return 0.0
    high, low = (context.cell("supplies", supplies[0], f"static_{level}") for level in ("high", "low"))
    return 0.0 if math.isnan(high - low) else high - low


def _worst_pipe(judgement: Judgement, verdict: Verdict, station: int) -> tuple[str, float]:
    """The run of a station's path that takes most pressure in the case of a verdict; "" where there is none."""
    pipes = [(step.loss, step.tag) for step in _steps(judgement, verdict, station) if step.kind == "pipe"]
    loss, tag = max(pipes, default=(0.0, ""), key=lambda pipe: pipe[0])
    return tag, loss
