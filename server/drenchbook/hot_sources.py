"""What each hot water source gives over time in each case: heat of its water above the cold water it replaces.

Storage is a tank that stratifies, and one that mixes; a heater without storage, an exchanger and a plant main give
water of one temperature, or of less where the heat drawn is more than they have.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.operating_cases import HOT_LOST, NORMAL, POWER_LOST, SOURCE_COLD, STATES
from drenchbook.physics.storage import draw_seconds_kernel
from drenchbook.physics.tank_course import (
    mixed_seconds_above_kernel,
    mixed_surplus_kernel,
    stepped_seconds_above_kernel,
    stepped_surplus_kernel,
)
from drenchbook.physics.water import (
    HIGHEST,
    LOWEST,
    density_kernel,
    enthalpy_kernel,
    temperature_of_enthalpy_kernel,
)
from drenchbook.solver_results import FaultResults

Numbers: TypeAlias = np.ndarray[Any, Any]

NAN = float("nan")
DROP = 1e-9  # [m³] a storage of no volume counts as this, so that it follows what is made and drawn
STORAGE, STEAM, PLANT_MAIN = "storage", "steam heat exchanger", "plant main"
INSTANTANEOUS = ("instantaneous electric", "instantaneous gas")
HEATED = (*INSTANTANEOUS, STEAM)  # without storage: what is drawn is heated as it passes
STRATIFIED, MIXED = "stratified", "mixed"
COLD_WATER_FAULTS = (HOT_LOST, SOURCE_COLD)


def governing_tank(source: Any) -> str:
    """Which tank model governs a storage: the mixed one, unless the usable fraction cites the maker's draw data."""
    cited = source.usable_fraction_source
    return STRATIFIED if isinstance(cited, str) and cited.strip() else MIXED


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
    np.maximum.at(lowest, place, least[member])
    warm = np.array([enthalpy_kernel(one.temperature) for one in sources])[cases.sources.member] - cold
    demand = np.array([one.other_demand for one in sources])[cases.sources.member]
    others = demand * density_kernel(network.source_temperature[cases.sources.member]) * np.maximum(warm, 0.0) + lost
    with np.errstate(divide="ignore", invalid="ignore"):
        # other draws and loops keep their heat too, and grow as the valves' do
        most = np.where(heat > 0, greatest * (1 + others / heat), np.where(others > 0, others / warm, 0.0))
    whole = heat + others
    return Draw(whole, np.where(np.isnan(whole), np.nan, most), np.broadcast_to(lowest, shape), lost)


@dataclass(frozen=True)
class HotCourse:
    """Heat of the water that sources give over time; arrays of one shape, [S, source pairs] or part of it.

    `silent` are the seconds before a heater without storage gives any heat. `lasts`, `later` and `full` are those of
    water that changes in steps, the rest those of a mixed tank.
    """

    mixed: Numbers  # bool: a mixed tank
    silent: Numbers  # [s]
    lasts: Numbers  # [s]
    full: Numbers  # [J/kg]
    later: Numbers  # [J/kg]
    delay: Numbers  # [s]
    mass: Numbers  # [kg]
    start: Numbers  # [J/kg]
    heat: Numbers  # [W]
    greatest: Numbers  # [kg/s]
    power: Numbers  # [W]
    store: Numbers  # [J] heat of a storage at the beginning that can be used; not-a-number without storage
    most: Numbers  # [J] the same of a full one

    def take(self, columns: Numbers) -> HotCourse:
        """The courses of some pairs."""
        return replace(self, **{field.name: getattr(self, field.name)[:, columns] for field in fields(self)})

    def at(self, state: int, columns: Numbers) -> HotCourse:
        """The courses of some pairs in one state, as one row."""
        return replace(self, **{field.name: getattr(self, field.name)[[state]][:, columns] for field in fields(self)})

    @property
    def _tank(self) -> tuple[Numbers, ...]:
        return self.mass, self.start, self.full, self.heat, self.greatest, self.power, self.delay

    @property
    def _steps(self) -> tuple[Numbers, ...]:
        return self.lasts, self.full, self.later, self.delay

    def surplus(self, time: Numbers) -> Numbers:
        """Heat of the water at times [s] after a source began to give any. [J/kg]"""
        if not self.mixed.any():
            return self._known(stepped_surplus_kernel(time, *self._steps))
        tank = mixed_surplus_kernel(time, *self._tank)
        return self._known(np.where(self.mixed, tank, stepped_surplus_kernel(time, *self._steps)))

    def seconds_above(self, least: Numbers, time: Numbers) -> Numbers:
        """Seconds, up to a time [s], in which the water has at least some heat [J/kg]."""
        if not self.mixed.any():
            return self._known(stepped_seconds_above_kernel(least, time, *self._steps))
        tank = mixed_seconds_above_kernel(least, time, *self._tank)
        return self._known(np.where(self.mixed, tank, stepped_seconds_above_kernel(least, time, *self._steps)))

    def _known(self, answer: Any) -> Numbers:
        unknown = np.isnan(self.full + self.silent + np.where(self.mixed, self.mass + self.power + self.delay, 0.0)
                           + np.where(self.mixed, self.heat, self.later + self.lasts + self.delay))  # fmt: skip
        return np.where(unknown, np.nan, answer)


def courses_of_sources(
    context: Context,
    results: FaultResults,
    sources: tuple[Heater, ...],
    of_loops: Numbers,
    again_after: float | None = None,
) -> tuple[HotCourse, HotCourse]:
    """The course of every source in every case of a fault, by the governing tank model and by the other.

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
    again_after : float, optional
        Time from the end of one flush to the next: then the second is told; by default the first. [s]

    Returns
    -------
    tuple of HotCourse
        Arrays [S, source pairs]; the same twice for a source without storage.

    Notes
    -----
    With cold water on the hot side nothing is warm; without power a source that needs it makes no heat [worked here].
    """
    pairs, draw = context.cases.sources, draws(context, results, sources, of_loops)
    shape = draw.heat.shape
    both = [{field.name: np.full(shape, np.nan) for field in fields(HotCourse)} for _ in range(2)]
    for one in both:
        one["mixed"] = np.zeros(shape, dtype=bool)
        one["heat"], one["greatest"] = draw.heat, draw.greatest
    cold = cold_enthalpy(context)
    for number, heater in enumerate(sources):
        columns = np.flatnonzero(pairs.member == number)
        if not len(columns):
            continue
        part = draw.take(columns)
        if results.fault in COLD_WATER_FAULTS:
            made = _steady(np.zeros(part.heat.shape), 0.0)
            tanks = (made, made)
        elif heater.kind == STORAGE:
            tanks = _tanks(heater, part, cold, results.fault, context, again_after)
        else:
            made = _steady(steady_surplus(heater, part, cold, results.fault), heater.delay)
            tanks = (made, made)
        for one, values in zip(both, tanks, strict=True):
            for name, value in values.items():
                one[name][:, columns] = value
    return HotCourse(**both[0]), HotCourse(**both[1])


def _steady(surplus: Numbers, silent: float) -> dict[str, Any]:
    """Water of one temperature, once the heater gives any."""
    return {"mixed": False, "silent": silent, "lasts": 0.0, "full": surplus, "later": surplus, "delay": 0.0,
            "mass": 1.0, "start": surplus, "power": 0.0, "store": NAN, "most": NAN}  # fmt: skip


def _powered(heater: Heater, fault: str) -> float:
    """1 where a heater has its power, 0 where not, not-a-number where nobody says whether it needs any."""
    if fault != POWER_LOST:
        return 1.0
    return {True: 0.0, False: 1.0, None: NAN}[heater.needs_power]


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
    on = _powered(heater, fault)
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


def _tanks(
    heater: Heater, draw: Draw, cold: Numbers, fault: str, context: Context, again_after: float | None
) -> tuple[dict[str, Any], dict[str, Any]]:
    """A storage by the governing and by the other tank model."""
    full = enthalpy_kernel(heater.temperature) - cold
    full = np.broadcast_to(np.where(full > 0, full, np.nan), draw.heat.shape)
    power = heater.power * _powered(heater, fault)
    weight = float(density_kernel(heater.temperature))
    flush = context.limit("HOT-1").value
    kept = (NAN if flush is None else flush, again_after)
    stratified = _stratified(heater, draw, full, power, weight, kept)
    mixed = _mixed(heater, draw, full, cold, power, weight, kept)
    return (stratified, mixed) if heater.governs == STRATIFIED else (mixed, stratified)


def _stratified(heater: Heater, draw: Draw, full: Numbers, power: float, weight: float,
                kept: tuple[float, float | None]) -> dict[str, Any]:  # fmt: skip
    flush, again_after = kept
    usable = heater.fraction * heater.volume * weight * full  # [J]
    store = usable
    if again_after is not None:
        left = stratified_left(heater, draw, usable, power, flush)
        store = np.minimum(left + power * again_after, usable)
    lasts = draw_seconds_kernel(store, draw.heat, power, heater.delay)
    lasts = np.where(np.isnan(store + draw.heat + power + heater.delay), np.nan, lasts)
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = np.where(draw.heat <= power, full, np.minimum(power / draw.greatest, full))
    return {"mixed": False, "silent": 0.0, "lasts": lasts, "full": full, "later": alone, "delay": heater.delay,
            "mass": 1.0, "start": full, "power": power, "store": store, "most": usable}  # fmt: skip


def stratified_left(heater: Heater, draw: Draw, usable: Numbers, power: float, time: float) -> Numbers:
    """Usable heat that is left in a tank that does not mix. [J]"""
    return np.clip(usable - draw.heat * time + power * np.maximum(time - heater.delay, 0.0), 0.0, usable)


def _mixed(heater: Heater, draw: Draw, full: Numbers, cold: Numbers, power: float, weight: float,
           kept: tuple[float, float | None]) -> dict[str, Any]:  # fmt: skip
    flush, again_after = kept
    mass = float(np.maximum(heater.volume, DROP)) * weight
    lowest, start = enthalpy_kernel(draw.lowest) - cold, full
    if again_after is not None:
        end = mixed_surplus_kernel(flush, mass, full, full, draw.heat, draw.greatest, power, heater.delay)
        start = np.minimum(end + power * again_after / mass, full)
    return {"mixed": True, "silent": 0.0, "lasts": np.nan, "full": full, "later": np.nan, "delay": heater.delay,
            "mass": mass, "start": start, "power": power, "store": mass * np.maximum(start - lowest, 0.0),
            "most": mass * np.maximum(full - lowest, 0.0)}  # fmt: skip


def left_after(course: HotCourse, time: float) -> Numbers:
    """Usable heat that is left in storages after a time of draw.

    Parameters
    ----------
    course : HotCourse
        The courses of sources. [-]
    time : float
        Time. [s]

    Returns
    -------
    array
        [S, source pairs]; not-a-number without storage. [J]

    Notes
    -----
    By the balance of what was stored, drawn and made; of a mixed tank above the lowest temperature that serves, by its
    temperature then [worked here].
    """
    made = course.power * np.maximum(time - course.delay, 0.0)
    layers = np.clip(course.store - course.heat * time + made, 0.0, course.most)
    lowest = course.full - course.most / course.mass
    tank = np.maximum(course.surplus(np.full(course.full.shape, time)) - lowest, 0.0) * course.mass
    return np.where(course.mixed, np.where(course.most > 0, tank, 0.0 * course.most), layers)


def recovery_seconds(course: HotCourse, time: float) -> Numbers:
    """Time in which storages make again what they gave during a time of draw.

    Parameters
    ----------
    course : HotCourse
        The courses of sources. [-]
    time : float
        Time of draw. [s]

    Returns
    -------
    array
        [S, source pairs]; not-a-number without storage. [s]

    Notes
    -----
    The smaller of the heat drawn and the heat there, over the power, as HOT-5 counts it [worked here].
    """
    there = course.store + course.power * np.maximum(time - course.delay, 0.0)
    drawn = np.minimum(course.heat * time, there)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(drawn == 0, 0.0, drawn / course.power)


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
