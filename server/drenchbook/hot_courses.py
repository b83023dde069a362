"""What each hot water source gives over time in each case: heat of its water above the cold water it replaces.

Storage is a tank that stratifies, and one that mixes; any other source gives water of one temperature.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.hot_sources import (
    COLD_WATER_FAULTS,
    NAN,
    STORAGE,
    STRATIFIED,
    Draw,
    Heater,
    cold_enthalpy,
    draws,
    powered,
    steady_surplus,
)
from drenchbook.physics.storage import draw_seconds_kernel
from drenchbook.physics.tank_course import (
    mixed_seconds_above_kernel,
    mixed_surplus_kernel,
    stepped_seconds_above_kernel,
    stepped_surplus_kernel,
)
from drenchbook.physics.water import density_kernel, enthalpy_kernel
from drenchbook.solver_results import FaultResults

Numbers: TypeAlias = np.ndarray[Any, Any]
_TwoTanks: TypeAlias = tuple[dict[str, Any], dict[str, Any]]

DROP = 1e-9  # [m³] a storage of no volume counts as this, so that it follows what is made and drawn


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
    draw = draws(context, results, sources, of_loops)
    shape = draw.heat.shape
    both = [{field.name: np.full(shape, np.nan) for field in fields(HotCourse)} for _ in range(2)]
    for one in both:
        one["mixed"] = np.zeros(shape, dtype=bool)
        one["heat"], one["greatest"] = draw.heat, draw.greatest
    cold = cold_enthalpy(context)
    for columns, tanks in _of_kinds(context, results.fault, sources, draw, cold, again_after):
        for one, values in zip(both, tanks, strict=True):
            for name, value in values.items():
                one[name][:, columns] = value
    return HotCourse(**both[0]), HotCourse(**both[1])


def _of_kinds(context: Context, fault: str, sources: tuple[Heater, ...], draw: Draw, cold: Numbers,
              again_after: float | None) -> Iterator[tuple[Numbers, _TwoTanks]]:  # fmt: skip
    """Places among the source pairs, and what is given there; all storages together."""
    member = context.cases.sources.member
    if fault in COLD_WATER_FAULTS:
        made = _steady(np.zeros(draw.heat.shape), 0.0)
        yield np.arange(len(member)), (made, made)
        return
    stores = np.array([one.kind == STORAGE for one in sources], dtype=bool)
    columns = np.flatnonzero(stores[member])
    if len(columns):
        yield (
            columns,
            _tanks(_Storages(sources, member[columns], fault), draw.take(columns), cold, context, again_after),
        )
    for number in np.flatnonzero(~stores).tolist():
        columns = np.flatnonzero(member == number)
        made = _steady(steady_surplus(sources[number], draw.take(columns), cold, fault), sources[number].delay)
        yield columns, (made, made)


class _Storages:
    """The data of the storage of each pair, as in `Heater`; power as the fault leaves it."""

    def __init__(self, sources: tuple[Heater, ...], member: Numbers, fault: str):
        def of_pairs(values: list[Any]) -> Numbers:
            return np.array(values)[member]

        self.temperature = of_pairs([one.temperature for one in sources])
        self.volume, self.fraction = (
            of_pairs([one.volume for one in sources]),
            of_pairs([one.fraction for one in sources]),
        )
        self.power = of_pairs([one.power * powered(one, fault) for one in sources])
        self.delay = of_pairs([one.delay for one in sources])
        self.stratified = of_pairs([one.governs == STRATIFIED for one in sources])


def _steady(surplus: Numbers, silent: float) -> dict[str, Any]:
    """Water of one temperature, once the heater gives any."""
    return {"mixed": False, "silent": silent, "lasts": 0.0, "full": surplus, "later": surplus, "delay": 0.0,
            "mass": 1.0, "start": surplus, "power": 0.0, "store": NAN, "most": NAN}  # fmt: skip


def _tanks(storage: _Storages, draw: Draw, cold: Numbers, context: Context, again_after: float | None) -> _TwoTanks:
    """Storages by the governing and by the other tank model."""
    full = enthalpy_kernel(storage.temperature) - cold
    full = np.where(full > 0, full, np.nan)
    weight = density_kernel(storage.temperature)
    flush = context.limit("HOT-1").value
    kept = (NAN if flush is None else flush, again_after)
    stratified = _stratified(storage, draw, full, weight, kept)
    mixed = _mixed(storage, draw, full, cold, weight, kept)
    governs = storage.stratified
    return ({name: np.where(governs, value, mixed[name]) for name, value in stratified.items()},
            {name: np.where(governs, mixed[name], value) for name, value in stratified.items()})  # fmt: skip


def _stratified(storage: _Storages, draw: Draw, full: Numbers, weight: Numbers,
                kept: tuple[float, float | None]) -> dict[str, Any]:  # fmt: skip
    (flush, again_after), power, delay = kept, storage.power, storage.delay
    usable = storage.fraction * storage.volume * weight * full  # [J]
    store = usable
    if again_after is not None:
        left = _layers_left(usable, usable, draw.heat, power, delay, flush)
        store = np.minimum(left + power * again_after, usable)
    lasts = draw_seconds_kernel(store, draw.heat, power, delay)
    lasts = np.where(np.isnan(store + draw.heat + power + delay), np.nan, lasts)
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = np.where(draw.heat <= power, full, np.minimum(power / draw.greatest, full))
    return {"mixed": False, "silent": 0.0, "lasts": lasts, "full": full, "later": alone, "delay": delay,
            "mass": 1.0, "start": full, "power": power, "store": store, "most": usable}  # fmt: skip


def _layers_left(store: Numbers, most: Numbers, heat: Numbers, power: Numbers, delay: Numbers, time: float) -> Numbers:
    """Usable heat that is left in a tank that does not mix; what it could not give is not owed. [J]"""
    at_start = np.maximum(store - heat * np.minimum(time, delay), 0.0)  # of the heater
    return np.clip(at_start + (power - heat) * np.maximum(time - delay, 0.0), 0.0, most)


def _mixed(storage: _Storages, draw: Draw, full: Numbers, cold: Numbers, weight: Numbers,
           kept: tuple[float, float | None]) -> dict[str, Any]:  # fmt: skip
    (flush, again_after), power, delay = kept, storage.power, storage.delay
    mass = np.maximum(storage.volume, DROP) * weight
    lowest, start = enthalpy_kernel(draw.lowest) - cold, full
    if again_after is not None:
        end = mixed_surplus_kernel(flush, mass, full, full, draw.heat, draw.greatest, power, delay)
        start = np.minimum(end + power * again_after / mass, full)
    return {"mixed": True, "silent": 0.0, "lasts": np.nan, "full": full, "later": np.nan, "delay": delay,
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
    layers = _layers_left(course.store, course.most, course.heat, course.power, course.delay, time)
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
