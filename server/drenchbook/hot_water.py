"""How long each hot water source lasts in each case, by both tank models, and what it has to give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.check_samples import SLACK, at_least, at_most
from drenchbook.hot_courses import HotCourse
from drenchbook.hot_sources import (
    HEATED,
    PLANT_MAIN,
    STEAM,
    STORAGE,
    Draw,
    Heater,
    cold_enthalpy,
    draws,
    flow_limits,
    gives_cold,
    governing_tank,
    heaters,
    hot_flow_at_set,
    liquid,
    steady_surplus,
)
from drenchbook.operating_cases import NORMAL, STATES
from drenchbook.physics.storage import draw_seconds_kernel, mixed_seconds_kernel
from drenchbook.physics.water import density, enthalpy_kernel, specific_enthalpy, temperature_of_enthalpy_kernel
from drenchbook.solver_results import SOLVED, TOO_COLD, FaultResults

Numbers: TypeAlias = np.ndarray[Any, Any]

ENDLESS, STORED = "endless", ("stratified", "mixed")
DAY = 86400.0  # [s] what lasts a day is shown as never ending


@dataclass(frozen=True)
class HotWater:
    """For each state and each pair of an opening and a hot water source, in normal use.

    Seconds are infinite where the source keeps up, and not-a-number where they are not known: `unknown` says so.
    `needed` and `there` are volumes of hot water over the flushing time. [m³]
    """

    seconds: Numbers  # by the governing tank model
    seconds_other: Numbers  # by the other one
    hot_flow: Numbers  # of the valves, of others, and of what makes good the loss of loops
    needed: Numbers
    there: Numbers
    unknown: Numbers  # bool: the valve is not under control, or an input is missing
    governs: tuple[str, ...]  # "stratified", "mixed", "endless" or "" for each source of the site
    recovery: Numbers  # [S, sources] hot water made [m³/s]
    heated_flow: Numbers  # of set temperature, through a source without storage
    allowed_flow: Numbers  # the limit of its data that is nearer: firing flow or least power, or greatest power
    flow_margin: Numbers  # of the one to the other; infinite where nothing is asked of the heater
    rise: Numbers  # [K] minus infinity of an exchanger, whose data has no limit of it


def governing_model(source: Any) -> str:
    """Which tank model governs: the mixed tank, unless the usable fraction cites the maker's draw data."""
    if source.kind == "storage":
        return governing_tank(source)
    return ENDLESS if isinstance(source.kind, str) else ""


def hot_water(context: Context, of_loops: Numbers) -> HotWater:
    """Minutes and volumes of hot water in every normal case, all cases of a source at once.

    `of_loops` [S, valves] is the heat that the loop of each valve takes from its source. [W]
    """
    normal, pairs = context.results.normal, context.cases.sources
    other = np.array([context.cell("hot_water_sources", row, "other_demand") for row in context.site.hot_water_sources])
    shape = normal.source_hot_flow.shape
    flow = normal.source_hot_flow + other[pairs.member] if shape[1] else normal.source_hot_flow  # a blank is no zero
    unknown_control = ~_under_control(context, normal)[:, pairs.opening] | (normal.state[:, pairs.opening] != SOLVED)
    sources = heaters(context)
    draw, cold = draws(context, normal, sources, of_loops), cold_enthalpy(context)
    hottest = draw.lowest
    seconds, seconds_other, there, heated, allowed, margin, risen = (np.full(shape, np.nan) for _ in range(7))
    recovery = np.full((len(STATES), len(context.site.hot_water_sources)), np.nan)
    duration = context.limit("HOT-1").value
    for number, source in enumerate(context.site.hot_water_sources):
        columns, heater = np.flatnonzero(pairs.member == number), sources[number]
        if heater.kind in HEATED:
            part = draw.take(columns)
            seconds[:, columns] = _steady_seconds(heater, part, cold)
            heated[:, columns] = hot_flow_at_set(heater, part, cold)
            allowed[:, columns], margin[:, columns] = _flow_within(heater, part, cold)
            risen[:, columns] = _rise(heater, cold) if heater.kind != STEAM else -np.inf
            continue
        for state in range(len(STATES)):
            tank = _Tank(context, source, context.season(state))
            recovery[state, number] = tank.recovery
            if len(columns) == 0:
                continue
            flow[state, columns] += draw.loops[state, columns] / tank.heat_per_volume
            both = tank.seconds(flow[state, columns], hottest[state, columns])
            main, second = (both[0], both[1]) if tank.governs != "mixed" else (both[1], both[0])
            seconds[state, columns], seconds_other[state, columns] = main, second
            there[state, columns] = tank.there(hottest[state, columns], duration)
    short = _never_reached(context, normal)[
        :, pairs.opening
    ]  # hot water colder than set keeps no mix at set temperature
    seconds, seconds_other = (np.where(short & ~np.isnan(one), 0.0, one) for one in (seconds, seconds_other))
    unknown = unknown_control | np.isnan(seconds)
    needed = flow * (np.nan if duration is None else duration)
    governs = tuple(governing_model(source) for source in context.site.hot_water_sources)
    return HotWater(
        np.where(unknown, np.nan, seconds),
        np.where(unknown, np.nan, seconds_other),
        flow,
        needed,
        there,
        unknown,
        governs,
        recovery,
        heated,
        allowed,
        np.where(unknown_control, np.nan, margin),
        risen,
    )


def seconds_in(context: Context, fault: str, of_loops: Numbers, course: HotCourse) -> Numbers:
    """Seconds of hot water by the governing tank model in any fault in which valves mix, as HOT-1 counts them.

    Parameters
    ----------
    context : Context
        A solved site. [-]
    fault : str
        One of `operating_cases.MIXING`. [-]
    of_loops : array
        Heat that the loop of each valve takes from its source in that fault, [S, valves]. [W]
    course : HotCourse
        Of every source in that fault, by the governing tank model: what is stored, made and drawn. [J, W]

    Returns
    -------
    array
        [S, pairs of an opening and a source]; infinite where the source keeps up, zero where it never holds the set
        temperature, not-a-number where a valve is not under control or an input is missing. [s]

    Notes
    -----
    t = S/P, or (S − Q·delay)/(P − Q) after the delay, with what is stored and made in that fault [worked here].
    """
    results, pairs = context.results.fault(fault), context.cases.sources
    sources = heaters(context)
    draw, cold = draws(context, results, sources, of_loops), cold_enthalpy(context)
    seconds = np.full(draw.heat.shape, np.nan)
    for number, heater in enumerate(sources):
        columns = np.flatnonzero(pairs.member == number)
        part, own = draw.take(columns), course.take(columns)
        if heater.kind in HEATED:
            seconds[:, columns] = _steady_seconds(heater, part, cold, fault)
        elif heater.kind == STORAGE:
            made = part.heat + own.store + own.power + own.delay
            lasts = draw_seconds_kernel(own.store, part.heat, own.power, own.delay)
            seconds[:, columns] = np.where(np.isnan(made), np.nan, lasts)
        elif heater.kind == PLANT_MAIN:
            cold_there = (own.full <= 0) & (part.heat > 0)
            seconds[:, columns] = np.where(np.isnan(own.full + part.heat), np.nan, np.where(cold_there, 0.0, np.inf))
    cold_sources = gives_cold(sources, fault)
    mixes = ~cold_sources[context.network.valve_source[context.cases.valves.member]]
    short = _any_valve(context, results, mixes & (results.valve.reach == TOO_COLD))
    seconds = np.where(short[:, pairs.opening] & ~np.isnan(seconds), 0.0, seconds)
    cold_source = cold_sources[pairs.member] & (draw.heat > 0)
    loose = _any_valve(context, results, mixes & (~results.valve.under_control | results.valve.beyond_model))
    known = ~loose[:, pairs.opening] | cold_source
    return np.where(known & (results.state[:, pairs.opening] == SOLVED), np.where(cold_source, 0.0, seconds), np.nan)


class _Tank:
    """One hot water source in one season; a number that is missing or out of range makes its answers not-a-number."""

    def __init__(self, context: Context, source: Any, season: str):
        def cell(column: str) -> float:
            return context.cell("hot_water_sources", source, column)

        self.governs = governing_model(source)
        self.volume, self.fraction, self.delay = cell("volume"), cell("usable_fraction"), cell("start_delay")
        self.start = liquid(context.source_temperature(source))
        self.cold = liquid(context.cold_temperature(season))
        self.power = cell("input_power") * cell("efficiency")
        self.recovery = self.power / self.heat_per_volume if self.start > self.cold else float("nan")

    @property
    def heat_per_volume(self) -> float:
        """Heat in a volume of hot water over the cold water that replaces it. [J/m³]"""
        if np.isnan(self.start + self.cold):
            return float("nan")
        return float(density(self.start) * (specific_enthalpy(self.start) - specific_enthalpy(self.cold)))

    def seconds(self, hot_flow: Numbers, lowest: Numbers) -> tuple[Numbers, Numbers]:
        """Seconds by the stratified and by the mixed model."""
        unknown = np.full(hot_flow.shape, np.nan)
        if self.governs == ENDLESS:
            return np.where(np.isnan(hot_flow), np.nan, np.inf), unknown
        if self.governs == "" or np.isnan([self.recovery, self.delay, self.volume]).any():
            return unknown, unknown
        known = ~np.isnan(hot_flow) & ~np.isnan(lowest)
        usable = self.fraction * self.volume
        stratified = np.where(known, draw_seconds_kernel(usable, hot_flow, self.recovery, self.delay), np.nan)
        stratified = np.where(np.isnan(usable), np.nan, stratified)
        mixed = np.where(known, 0.0, np.nan)  # a tank that begins below what the valve needs gives no time at all
        warm = known & (lowest < self.start)
        draw = hot_flow[warm] * self.heat_per_volume
        mixed[warm] = mixed_seconds_kernel(self.volume, self.start, lowest[warm], draw, self.power, self.delay)
        return stratified, mixed

    def there(self, lowest: Numbers, duration: float | None) -> Numbers:
        """Hot water that the governing model can give over the flushing time, recovery included. [m³]"""
        if duration is None or self.governs in ("", ENDLESS):
            return np.full(lowest.shape, np.nan)
        made = self.recovery * max(duration - self.delay, 0.0)
        if self.governs == "stratified":
            return np.full(lowest.shape, self.fraction * self.volume + made)
        return self.volume * np.clip((self.start - lowest) / (self.start - self.cold), 0, None) + made


def _under_control(context: Context, results: FaultResults) -> Numbers:
    """[S, O] whether every valve of an opening is above its minimum flow under control, and inside its model's data."""
    valves = results.valve
    return ~_any_valve(context, results, ~valves.under_control | valves.beyond_model)


def _never_reached(context: Context, results: FaultResults) -> Numbers:
    """[S, O] whether a valve of an opening runs full hot and still stays below its set temperature."""
    return _any_valve(context, results, results.valve.reach == TOO_COLD)


def _any_valve(context: Context, results: FaultResults, flagged: Numbers) -> Numbers:
    found = np.zeros(results.state.shape, dtype=bool)
    for state in range(len(found)):
        found[state, context.cases.valves.opening[flagged[state]]] = True
    return found


def _steady_seconds(heater: Heater, draw: Draw, cold: Numbers, fault: str = NORMAL) -> Numbers:
    """Endless where a source without storage holds its temperature within its data, else none at all. [s]"""
    surplus, asked = steady_surplus(heater, draw, cold, fault), enthalpy_kernel(draw.lowest) - cold
    met = (surplus >= asked * (1 - SLACK)) & (_flow_within(heater, draw, cold)[1] >= -SLACK)
    if heater.kind != STEAM:
        met = met & (at_most(_rise(heater, cold), heater.rise) >= -SLACK)
    none = draw.heat <= 0  # the cold water is as warm as set
    return np.where(np.isnan(surplus + asked), np.nan, np.where(none | met, np.inf, 0.0))


def _rise(heater: Heater, cold: Numbers) -> Numbers:
    """[S, 1] by how much a heater has to warm the cold water. [K]"""
    return heater.temperature - temperature_of_enthalpy_kernel(cold)


def _flow_within(heater: Heater, draw: Draw, cold: Numbers) -> tuple[Numbers, Numbers]:
    """The limit of a hot flow that is nearer, its least or its greatest [m³/s], and the margin to it."""
    flow, (least, greatest) = hot_flow_at_set(heater, draw, cold), flow_limits(heater, cold)
    margins = at_least(hot_flow_at_set(heater, draw, cold, loops=False), least), at_most(flow, greatest)
    nearer = np.where(margins[0] < margins[1], least, greatest)
    return np.where(np.isnan(least + greatest), np.nan, nearer), np.where(draw.heat <= 0, np.inf, np.minimum(*margins))
