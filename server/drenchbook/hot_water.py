"""How long each hot water source lasts in each case, by both tank models, and what it has to give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.operating_cases import STATES
from drenchbook.physics.storage import mixed_seconds, recovery_flow, stratified_seconds
from drenchbook.physics.water import density, specific_enthalpy
from drenchbook.solver_results import SOLVED

Numbers: TypeAlias = np.ndarray[Any, Any]


@dataclass(frozen=True)
class HotWater:
    """For each state and each pair of an opening and a hot water source, in normal use.

    Seconds are infinite where the source keeps up, and not-a-number where they are not known: `unknown` says so.
    `needed` and `there` are volumes of hot water over the flushing time. [m³]
    """

    seconds: Numbers  # by the governing tank model
    seconds_other: Numbers  # by the other one
    hot_flow: Numbers
    needed: Numbers
    there: Numbers
    unknown: Numbers  # bool: the valve is not under control, or an input is missing
    governs: tuple[str, ...]  # "stratified", "mixed", "endless" or "" for each source of the site
    recovery: Numbers  # [S, sources] hot water made [m³/s]


def governing_model(source: Any) -> str:
    """Which tank model governs: the mixed tank, unless the usable fraction cites the maker's draw data."""
    if source.kind == "plant main":
        return "endless"
    if source.kind != "storage":
        return ""
    cited = source.usable_fraction_source
    return "stratified" if isinstance(cited, str) and cited.strip() else "mixed"


def hot_water(context: Context) -> HotWater:
    """Minutes and volumes of hot water in every normal case, all cases of a source at once."""
    normal, pairs = context.results.normal, context.cases.sources
    other = np.array([context.cell("hot_water_sources", row, "other_demand") for row in context.site.hot_water_sources])
    shape = normal.source_hot_flow.shape
    flow = normal.source_hot_flow + np.nan_to_num(other)[pairs.member] if shape[1] else normal.source_hot_flow
    unknown = ~_under_control(context)[:, pairs.opening] | (normal.state[:, pairs.opening] != SOLVED)
    hottest = _lowest_hot(context)
    seconds, seconds_other, there = (np.full(shape, np.nan) for _ in range(3))
    recovery = np.full((len(STATES), len(context.site.hot_water_sources)), np.nan)
    duration = context.limit("HOT-1").value
    for number, source in enumerate(context.site.hot_water_sources):
        columns = np.flatnonzero(pairs.member == number)
        for state in range(len(STATES)):
            tank = _Tank(context, source, context.season(state))
            recovery[state, number] = tank.recovery
            if len(columns) == 0:
                continue
            both = tank.seconds(flow[state, columns], hottest[state, columns])
            main, second = (both[0], both[1]) if tank.governs != "mixed" else (both[1], both[0])
            seconds[state, columns], seconds_other[state, columns] = main, second
            there[state, columns] = tank.there(hottest[state, columns], duration)
    unknown = unknown | np.isnan(seconds)
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
    )


class _Tank:
    """One hot water source in one season."""

    def __init__(self, context: Context, source: Any, season: str):
        def cell(column: str) -> float:
            return context.cell("hot_water_sources", source, column)

        self.governs = governing_model(source)
        self.volume, self.fraction = cell("volume"), cell("usable_fraction")
        self.delay = cell("start_delay")
        self.start, self.cold = context.source_temperature(source), context.cold_temperature(season)
        self.power = cell("input_power") * cell("efficiency")
        self.recovery = float("nan")
        if self.power >= 0 and self.start > self.cold:
            self.recovery = float(recovery_flow(cell("input_power"), cell("efficiency"), self.cold, self.start))

    @property
    def heat_per_volume(self) -> float:
        """Heat in a volume of hot water over the cold water that replaces it. [J/m³]"""
        return float(density(self.start) * (specific_enthalpy(self.start) - specific_enthalpy(self.cold)))

    def seconds(self, hot_flow: Numbers, lowest: Numbers) -> tuple[Numbers, Numbers]:
        """Seconds by the stratified and by the mixed model."""
        unknown = np.full(hot_flow.shape, np.nan)
        if self.governs == "endless":
            return np.where(np.isnan(hot_flow), np.nan, np.inf), unknown
        if (
            self.governs == ""
            or not (self.start > self.cold)
            or np.isnan([self.recovery, self.delay, self.volume]).any()
        ):
            return unknown, unknown
        known = ~np.isnan(hot_flow) & ~np.isnan(lowest)
        stratified, mixed = unknown.copy(), unknown.copy()
        if self.fraction > 0:
            stratified[known] = stratified_seconds(
                self.volume, self.fraction, hot_flow[known], self.recovery, self.delay
            )
        warm = known & (lowest < self.start)
        mixed[known] = 0.0  # a tank that begins below what the valve needs gives no time at all
        mixed[warm] = mixed_seconds(
            self.volume, self.start, lowest[warm], hot_flow[warm] * self.heat_per_volume, self.power, self.delay
        )
        return stratified, mixed

    def there(self, lowest: Numbers, duration: float | None) -> Numbers:
        """Hot water that the governing model can give over the flushing time, recovery included. [m³]"""
        if duration is None or self.governs in ("", "endless"):
            return np.full(lowest.shape, np.nan)
        made = self.recovery * max(duration - self.delay, 0.0)
        if self.governs == "stratified":
            return np.full(lowest.shape, self.fraction * self.volume + made)
        return self.volume * np.clip((self.start - lowest) / (self.start - self.cold), 0, None) + made


def _under_control(context: Context) -> Numbers:
    """[S, O] whether every valve of an opening is above its minimum flow under control and can reach its set point."""
    valves, pairs = context.results.normal.valve, context.cases.valves
    good = np.ones(context.results.normal.state.shape, dtype=bool)
    bad = ~valves.under_control | valves.beyond_model
    for state in range(good.shape[0]):
        good[state, pairs.opening[bad[state]]] = False
    return good


def _lowest_hot(context: Context) -> Numbers:
    """[S, source pairs] lowest hot temperature that every valve of the opening can still use: set + approach. [°C]"""
    valves, sources = context.cases.valves, context.cases.sources
    need = []
    for valve in context.site.mixing_valves:
        model = context.model_of(valve)
        approach = context.cell("valve_models", model, "approach_hot") if model is not None else float("nan")
        need.append(context.cell("mixing_valves", valve, "set_temperature") + approach)
    by_opening = np.full(len(context.cases), -np.inf)
    if len(valves.member):
        np.maximum.at(by_opening, valves.opening, np.array(need, dtype=float)[valves.member])
    return np.broadcast_to(by_opening[sources.opening], (len(STATES), len(sources.opening)))
