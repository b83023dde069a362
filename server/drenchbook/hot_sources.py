"""What is asked of each hot water source in each case, and what one without storage gives.

A heater without storage, an exchanger and a plant main give water of one temperature, or of less where the heat drawn
is more than they have. What sources give over time, storage among them, is in `hot_courses.py`.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.operating_cases import HOT_LOST, NORMAL, POWER_LOST, SOURCE_COLD, STATES
from drenchbook.physics.water import (
    HIGHEST,
    LOWEST,
    density_kernel,
    enthalpy_kernel,
    temperature_of_enthalpy_kernel,
)
from drenchbook.site_cells import is_said
from drenchbook.solver_results import FaultResults

Numbers: TypeAlias = np.ndarray[Any, Any]

NAN = float("nan")
STORAGE, STEAM, PLANT_MAIN = "storage", "steam heat exchanger", "plant main"
INSTANTANEOUS = ("instantaneous electric", "instantaneous gas")
HEATED = (*INSTANTANEOUS, STEAM)  # without storage: what is drawn is heated as it passes
STRATIFIED, MIXED = "stratified", "mixed"
COLD_WATER_FAULTS = (HOT_LOST, SOURCE_COLD)


def governing_tank(source: Any) -> str:
    """Which tank model governs a storage: the mixed one, unless the usable fraction cites the maker's draw data."""
    return STRATIFIED if is_said(source.usable_fraction_source) else MIXED


class Heater:
    """The cells of one hot water source in SI; not-a-number where one is missing or out of range."""

    def __init__(self, context: Context, source: Any):
        def cell(column: str) -> float:
            return context.cell("hot_water_sources", source, column)

        self.kind = source.kind if isinstance(source.kind, str) else ""
        self.needs_power = source.needs_power if isinstance(source.needs_power, bool) else None
        self.volume, self.fraction = cell("volume"), cell("usable_fraction")
        self.temperature = liquid(context.source_temperature(source))
        self.power = cell("input_power") * cell("efficiency")
        delay = cell("start_delay")
        # an exchanger at the point of use is data of capacity and tolerance; a typed delay counts all the same
        self.delay = 0.0 if np.isnan(delay) and self.kind in (STEAM, PLANT_MAIN) else delay
        self.other_demand = cell("other_demand")
        self.firing_flow, self.rise = cell("minimum_firing_flow"), cell("maximum_rise")
        self.least_power = cell("minimum_power")
        self.capacity, self.tolerance = cell("capacity"), cell("tolerance")
        self.governs = governing_tank(source) if self.kind == STORAGE else ""

    @property
    def heating_power(self) -> float:
        """Greatest heat that a source without storage gives its water. [W]"""
        return self.capacity if self.kind == STEAM else self.power


def liquid(temperature: float) -> float:
    """A temperature at which water is liquid, or not-a-number. [°C]"""
    return temperature if LOWEST <= temperature <= HIGHEST else NAN


def heaters(context: Context) -> tuple[Heater, ...]:
    """Every hot water source of a site."""
    return tuple(Heater(context, source) for source in context.site.hot_water_sources)


@dataclass(frozen=True)
class Draw:
    """What the valves of an opening, and others, ask of each of its hot water sources; arrays [S, source pairs]."""

    heat: Numbers  # above cold water, while the hot water is hot enough [W]
    greatest: Numbers  # with every valve full hot [kg/s]
    lowest: Numbers  # lowest temperature with which every valve still holds its set temperature [°C]
    loops: Numbers  # that part of the heat which circulated loops lose [W]

    def take(self, columns: Numbers) -> Draw:
        """What is asked in some pairs."""
        return Draw(*(getattr(self, field.name)[:, columns] for field in fields(self)))


def source_pair_of_valves(context: Context) -> Numbers:
    """[valve pairs] place, in the pairs of openings and sources, of the source that feeds a valve."""
    return np.asarray(context.kept(source_pair_of_valves, lambda: _source_pairs(context)))


def _source_pairs(context: Context) -> Numbers:
    cases, network = context.cases, context.network
    wide = len(network.source_tags) + 1
    key = cases.sources.opening * wide + cases.sources.member
    wanted = cases.valves.opening * wide + network.valve_source[cases.valves.member]
    return np.searchsorted(key, wanted)


def cold_enthalpy(context: Context) -> Numbers:
    """[S, 1] enthalpy of the cold water. [J/kg]"""
    cold = np.array([liquid(context.cold_temperature(season)) for season, _ in STATES])
    return enthalpy_kernel(cold)[:, None]


def valve_numbers(context: Context) -> tuple[Numbers, Numbers]:
    """[valves] enthalpy at set temperature [J/kg], and lowest hot temperature with which a valve holds it [°C]."""
    found: tuple[Numbers, Numbers] = context.kept(valve_numbers, lambda: _valve_numbers(context))
    return found


def _valve_numbers(context: Context) -> tuple[Numbers, Numbers]:
    wanted, lowest = [], []
    for valve in context.site.mixing_valves:
        model = context.model_of(valve)
        set_point = liquid(context.cell("mixing_valves", valve, "set_temperature"))
        approach = context.cell("valve_models", model, "approach_hot") if model is not None else NAN
        wanted.append(set_point)
        lowest.append(set_point + approach)
    return enthalpy_kernel(np.array(wanted, dtype=float)), np.array(lowest, dtype=float)


def valve_mass(context: Context, results: FaultResults) -> Numbers:
    """[S, valve pairs] water that passes each valve. [kg/s]"""
    network, pairs, cold_fault = context.network, context.cases.valves, results.fault in COLD_WATER_FAULTS
    cold = density_kernel(np.array([context.cold_temperature(season) for season, _ in STATES]))[:, None]
    hot = density_kernel(network.source_temperature[network.valve_source[pairs.member]]) if len(pairs.member) else cold
    return results.valve.hot_flow * (cold if cold_fault else hot) + results.valve.cold_flow * cold


def draws(context: Context, results: FaultResults, sources: tuple[Heater, ...], of_loops: Numbers) -> Draw:
    """What is asked of every source in every case of a fault; `of_loops` [S, valves] is what loops lose [W]."""
    cases, network = context.cases, context.network
    shape = (len(STATES), len(cases.sources.member))
    heat, greatest, lost, lowest = np.zeros(shape), np.zeros(shape), np.zeros(shape), np.full(shape[1], -np.inf)
    if not shape[1]:
        return Draw(heat, greatest, np.zeros(shape), lost)
    place, member = source_pair_of_valves(context), cases.valves.member
    wanted, least = valve_numbers(context)
    cold, mass = cold_enthalpy(context), valve_mass(context, results)
    asked = mass * np.maximum(wanted[member] - cold, 0.0)
    for state in range(shape[0]):
        heat[state] = np.bincount(place, weights=asked[state], minlength=shape[1])
        greatest[state] = np.bincount(place, weights=mass[state], minlength=shape[1])
        of_valves = np.where(asked[state] == 0, 0.0, of_loops[state, member])  # a valve full cold takes no hot water
        lost[state] = np.bincount(place, weights=of_valves, minlength=shape[1])
    with np.errstate(invalid="ignore"):  # a blank approach stays not-a-number
        np.maximum.at(lowest, place, least[member])
    warm = enthalpy_kernel(np.array([one.temperature for one in sources], dtype=float))[cases.sources.member] - cold
    demand = np.array([one.other_demand for one in sources])[cases.sources.member]
    others = demand * density_kernel(network.source_temperature[cases.sources.member]) * np.maximum(warm, 0.0) + lost
    with np.errstate(divide="ignore", invalid="ignore"):
        # other draws and loops keep their heat too, and grow as the valves' do
        most = np.where(heat > 0, greatest * (1 + others / heat), np.where(others > 0, others / warm, 0.0))
    whole = heat + others
    return Draw(whole, np.where(np.isnan(whole), np.nan, most), np.broadcast_to(lowest, shape), lost)


def powered(heater: Heater, fault: str) -> float:
    """1 where a heater has its power, 0 where not, not-a-number where nobody says whether it needs any."""
    if fault != POWER_LOST:
        return 1.0
    return {True: 0.0, False: 1.0, None: NAN}[heater.needs_power]


def gives_cold(sources: tuple[Heater, ...], fault: str) -> Numbers:
    """Which sources give cold water in a fault, whatever is drawn: the valves draw no hot water to mix."""
    if fault in COLD_WATER_FAULTS:
        return np.ones(len(sources), dtype=bool)
    return np.array([one.kind != STORAGE and powered(one, fault) == 0 for one in sources], dtype=bool)


def steady_surplus(heater: Heater, draw: Draw, cold: Numbers, fault: str = NORMAL) -> Numbers:
    """Heat of the water of a source without storage, in steady draw. [J/kg]

    Parameters
    ----------
    heater : Heater
        The source. [-]
    draw : Draw
        What is asked of it. [W, kg/s, °C]
    cold : array
        Enthalpy of the cold water, [S, 1]. [J/kg]
    fault : str
        The fault. [-]

    Returns
    -------
    array
        [S, pairs]; not-a-number where its data is blank. [J/kg]

    Notes
    -----
    Below its firing flow or least power a heater gives cold water; where more heat is asked for than it has, every
    valve stands full hot and shares what there is; the rise is limited [worked here from the first law].
    """
    on = powered(heater, fault)
    if heater.kind == PLANT_MAIN:
        return np.broadcast_to((enthalpy_kernel(heater.temperature) - cold) * on, draw.heat.shape)
    if heater.kind == STEAM:
        top = enthalpy_kernel(heater.temperature - heater.tolerance) - cold
        given = np.ones(draw.heat.shape, dtype=bool)
    elif heater.kind in INSTANTANEOUS:
        temperature = np.minimum(heater.temperature, temperature_of_enthalpy_kernel(cold) + heater.rise)
        top = enthalpy_kernel(temperature) - cold
        least, _ = flow_limits(heater, cold)
        given = hot_flow_at_set(heater, draw, cold, loops=False) >= least * (1 - 1e-9)
    else:
        return np.full(draw.heat.shape, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        shared = np.where(draw.heat <= heater.heating_power * (1 + 1e-9), np.inf,
                          heater.heating_power / draw.greatest)  # fmt: skip
    known = top + heater.heating_power + (heater.firing_flow + heater.least_power if heater.kind != STEAM else 0.0)
    surplus = np.where(given, np.minimum(np.maximum(top, 0.0), shared), 0.0) * on
    return np.where(np.isnan(known + draw.heat), np.nan, surplus)


def hot_flow_at_set(heater: Heater, draw: Draw, cold: Numbers, loops: bool = True) -> Numbers:
    """[S, pairs] hot water of set temperature that carries the heat asked for, or without what loops lose. [m³/s]

    No heater is relied on to fire for a loss, which may be less.
    """
    return (draw.heat if loops else draw.heat - draw.loops) / _heat_per_volume(heater, cold)


def flow_limits(heater: Heater, cold: Numbers) -> tuple[Numbers, Numbers]:
    """[S, 1] least and greatest flow of hot water of set temperature that the data of a heater allows. [m³/s]"""
    per_volume = _heat_per_volume(heater, cold)
    greatest = heater.heating_power / per_volume
    if heater.kind == STEAM:
        return np.zeros(greatest.shape), greatest
    return np.maximum(heater.firing_flow, heater.least_power / per_volume), greatest


def _heat_per_volume(heater: Heater, cold: Numbers) -> Numbers:
    rise = enthalpy_kernel(heater.temperature) - cold
    return np.where(rise > 0, density_kernel(heater.temperature) * rise, np.nan)


def held_temperature(
    context: Context, results: FaultResults, sources: tuple[Heater, ...], of_loops: Numbers
) -> Numbers:
    """Greatest mixed temperature that the sources without storage hold in steady draw.

    Parameters
    ----------
    context : Context
        A solved site. [-]
    results : FaultResults
        The fault. [-]
    sources : tuple of Heater
        Every hot water source. [-]
    of_loops : array
        Heat that the loop of each valve loses, [S, valves]. [W]

    Returns
    -------
    array
        [S, valve pairs]; infinite behind storage and plant mains, not-a-number where data is blank. [°C]

    Notes
    -----
    The set temperature, or what a valve that stands full hot gives with the water there is [worked here].
    """
    pairs = context.cases.valves
    found = np.full((len(STATES), len(pairs.member)), np.inf)
    kinds = np.array([one.kind for one in sources])
    if not len(pairs.member) or not np.isin(kinds, HEATED).any():
        return found
    draw, cold = draws(context, results, sources, of_loops), cold_enthalpy(context)
    place = source_pair_of_valves(context)
    surplus = np.full(draw.heat.shape, np.inf)
    for number, heater in enumerate(sources):
        if heater.kind in HEATED:
            columns = np.flatnonzero(context.cases.sources.member == number)
            part = draw.take(columns)
            surplus[:, columns] = steady_surplus(heater, part, cold, results.fault)
    at = np.flatnonzero(~np.isposinf(surplus[0, place]))
    wanted = valve_numbers(context)[0][pairs.member[at]]
    mixed = cold + np.minimum(np.maximum(wanted - cold, 0.0), surplus[:, place[at]])
    found[:, at] = temperature_of_enthalpy_kernel(mixed)
    return found
