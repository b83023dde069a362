"""Circulated loops: a pump keeps tempered water moving from a valve through its runs and a return run back to it.

The temperature along a loop is computed from the valve's set temperature, the loop flow, and what stands around each
run. Where circulation is off the runs of a loop are idle runs like any other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.cell_gaps import gap
from drenchbook.check_context import Context
from drenchbook.operating_cases import AFTER_IDLE, CIRCULATION_OFF, NORMAL, POWER_LOST, STATES
from drenchbook.physics.water import HIGHEST, LOWEST, density, heat_capacity
from drenchbook.site_model import Missing, tag_key
from drenchbook.surroundings import SEASONS, Surroundings, runs_above, why_heat_unknown

Numbers: TypeAlias = np.ndarray[Any, Any]


@dataclass(frozen=True)
class Loop:
    """One loop. `temperatures` [2 seasons, runs + 1] are those at the valve and behind each run."""

    valve: int
    runs: tuple[int, ...]  # from the valve round to the end of the return run
    flow: float  # [m³/s]
    heat_flow: float  # ṁ·c [W/K]
    temperatures: Numbers  # [°C]
    why_unknown: str = ""

    @property
    def loss(self) -> Numbers:
        """Heat that the loop gives off in each season; negative where it gains heat. [W]"""
        return np.asarray(self.heat_flow * (self.temperatures[:, 0] - self.temperatures[:, -1]))


def has_loop(valve: Any) -> bool:
    """Whether something about a loop is said in the row of a valve."""
    return any(
        (value := getattr(valve, name)) is not None and not (isinstance(value, Missing) and value.typed is None)
        for name in ("loop_flow", "loop_return_run")
    )


def loops(context: Context, around: Surroundings) -> dict[int, Loop]:
    """Every loop of a site by the number of its valve.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    around : Surroundings
        Of the same site. [W/K, °C]

    Returns
    -------
    dict of Loop
        Valves without a loop are not in it. [-]

    Notes
    -----
    T = Ta + (T0 − Ta)·exp(−U′L/ṁc) from run to run [Incropera, eq. 8.45a]. The pump's own heat is left out.
    """
    numbers = {tag_key(run.tag): number for number, run in enumerate(context.site.pipe_runs)}
    found = {}
    for number, valve in enumerate(context.site.mixing_valves):
        if not has_loop(valve):
            continue
        flow = context.cell("mixing_valves", valve, "loop_flow")
        start = context.cell("mixing_valves", valve, "set_temperature")
        back = numbers.get(tag_key(valve.loop_return_run))
        name = str(valve.tag).strip()
        if back is None:
            why = gap("mixing_valves", valve, "loop_return_run")
        elif not flow > 0:
            why = gap("mixing_valves", valve, "loop_flow") or f"the loop flow of {name} is zero"
        elif not LOWEST <= start <= HIGHEST:
            why = gap("mixing_valves", valve, "set_temperature") or f"at its set temperature {name} has no liquid water"
        else:
            runs = tuple(runs_above(context, int(context.network.run_node[back]))[::-1])
            found[number] = _computed(context, around, number, runs, flow, start)
            continue
        found[number] = Loop(number, (), flow, math.nan, np.full((2, 1), np.nan), why)
    return found


def _computed(
    context: Context, around: Surroundings, valve: int, runs: tuple[int, ...], flow: float, start: float
) -> Loop:
    rate = flow * float(density(start) * heat_capacity(start))
    why = next((why for run in runs for season in SEASONS
                if (why := why_heat_unknown(context, context.site.pipe_runs[run], season))), "")  # fmt: skip
    temperatures = loop_temperatures(rate, start, around.flowing[:, list(runs)], around.conductance[list(runs)])
    return Loop(valve, runs, flow, rate, temperatures if not why else temperatures * np.nan, why)


def loop_temperatures(heat_flow: float, start: float, outside: Numbers, conductance: Numbers) -> Numbers:
    """Temperatures along a chain of runs.

    Parameters
    ----------
    heat_flow : float
        ṁ·c of the loop, more than zero. [W/K]
    start : float
        Temperature at its beginning. [°C]
    outside : array
        Temperature around each run, [seasons, runs]. [°C]
    conductance : array
        U′·L of each run. [W/K]

    Returns
    -------
    array
        [seasons, runs + 1], the beginning first. [°C]

    Notes
    -----
    [Incropera, eq. 8.45a] run by run.

    >>> loop_temperatures(100.0, 30.0, np.array([[10.0, 10.0]]), np.array([50.0, 50.0])).round(2).tolist()
    [[30.0, 22.13, 17.36]]
    """
    found = [np.full(len(outside), start)]
    for run, units in enumerate(np.asarray(conductance) / heat_flow):
        found.append(outside[:, run] + (found[-1] - outside[:, run]) * np.exp(-units))
    return np.stack(found, axis=1)


def loop_heat(context: Context, of_loops: dict[int, Loop], fault: str = NORMAL) -> Numbers:
    """Heat that the loop of each valve takes from its hot water source.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    of_loops : dict of Loop
        Of the same site. [-]
    fault : str
        The fault. [-]

    Returns
    -------
    array
        [S, valves]; zero without a loop and while its pump stands still, not-a-number where it is not known. [W]

    Notes
    -----
    The loss of the loop while nothing is drawn; what a loop gains is not credited. A pump of which nobody says that it
    stops without power runs on [worked here].
    """
    found = np.zeros((len(STATES), len(context.network.valve_tags)))
    if fault in (CIRCULATION_OFF, AFTER_IDLE):
        return found
    season = [SEASONS.index(name) for name, _ in STATES]
    for valve, loop in of_loops.items():
        stops = context.site.mixing_valves[valve].loop_pump_needs_power is True
        if not (fault == POWER_LOST and stops):
            loss = loop.loss if len(loop.runs) else np.full(len(SEASONS), np.nan)
            found[:, valve] = np.maximum(loss, 0.0)[season]
    return found


def loop_flow_that_holds(loop: Loop, around: Surroundings, least: float, greatest: float) -> float:
    """The least loop flow at which the whole loop stays between two temperatures.

    Parameters
    ----------
    loop : Loop
        As it is. [-]
    around : Surroundings
        Of the same site. [W/K, °C]
    least, greatest : float
        Limits of its temperatures. [°C]

    Returns
    -------
    float
        Flow; not-a-number where no flow does, or something is not known. [m³/s]

    Notes
    -----
    Halving of the interval: more flow holds every point nearer to the set temperature [worked here].
    """
    outside, conductance = around.flowing[:, list(loop.runs)], around.conductance[list(loop.runs)]
    start = float(loop.temperatures[0, 0])
    if math.isnan(float(loop.temperatures.sum())) or not least < start < greatest:
        return math.nan

    def holds(factor: float) -> bool:
        found = loop_temperatures(loop.heat_flow * factor, start, outside, conductance)
        return bool(found.min() >= least and found.max() <= greatest)

    high = 1.0
    while not holds(high):
        high *= 2
    low = 0.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (low, middle) if middle > 0 and holds(middle) else (middle, high)
    return loop.flow * high


def held_temperatures(
    context: Context, around: Surroundings, of_loops: dict[int, Loop], circulating: bool = True
) -> Numbers:
    """Temperatures at which heating or circulation holds each run, at its beginning and its end.

    Parameters
    ----------
    context : Context
        A site, compiled. [-]
    around : Surroundings
        Of the same site. [°C]
    of_loops : dict of Loop
        Of the same site. [-]
    circulating : bool
        Whether pumps run. [-]

    Returns
    -------
    array
        [2 (beginning, end), 2 seasons, runs]; not-a-number where nothing holds a run. [°C]

    Notes
    -----
    Of a run on a loop its computed temperatures stand, else what was typed [worked here]. A held temperature that is
    typed for a run marked as circulated ends with circulation.
    """
    circulated = np.array([run.circulated is True for run in context.site.pipe_runs], dtype=bool)
    typed = np.where(~circulated | circulating, around.held, np.nan)
    held = np.broadcast_to(typed, (2, 2, len(typed))).copy()
    if circulating:
        for loop in of_loops.values():
            runs = list(loop.runs)
            held[0][:, runs], held[1][:, runs] = loop.temperatures[:, :-1], loop.temperatures[:, 1:]
    return held
