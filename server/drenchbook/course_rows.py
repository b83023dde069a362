"""Fifteen minutes of one case as rows: temperatures at the source, behind the valve and at the station, over time."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.courses import SEASON, Courses, Phases
from drenchbook.hot_sources import COLD_WATER_FAULTS, STORAGE, Heater
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import AFTER_RECOVERY
from drenchbook.path_rows import case_of_words, governing_case, least_case, station_number
from drenchbook.physics.layered_tank import LayeredCourse, layered_tank
from drenchbook.physics.water import density_kernel
from drenchbook.pipe_heat import station_flows
from drenchbook.result_tables import COURSE_COLUMNS, NO_RESULT, NOT_KNOWN
from drenchbook.solver_results import SOLVED, STATE_WORDS
from drenchbook.standing_water import standing_temperatures
from drenchbook.units import from_si

Numbers: TypeAlias = np.ndarray[Any, Any]

FIRST_MINUTE = (0.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0)
STEP = 15.0  # [s] from the first minute on


def course_times(flush: float) -> Numbers:
    """Times at which a course is told, to the end of the flush. [s]

    >>> course_times(90.0).tolist()
    [0.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 75.0, 90.0]
    """
    later = np.arange(60.0, flush, STEP)
    first = [time for time in FIRST_MINUTE if time < flush]
    return np.concatenate((first, later, [flush]))


def course_rows(
    site: JudgedSite, station: str = "", case: str = "", mixed_fraction: float | None = None
) -> list[list[Any]]:
    """One row for each time, in the order of COURSE_COLUMNS; the first names the case.

    Parameters
    ----------
    site : JudgedSite
        The judged site. [-]
    station : str
        Tag of a station; the one with the least margin of flow or pressure if blank. [-]
    case : str
        Case as the schedule writes it; the one that governs if blank. [-]
    mixed_fraction : float, optional
        Share of a storage, at its bottom, that is mixed, 0 to 1; by default as the governing tank model has it. [-]

    Returns
    -------
    list of list
        Rows in the units of the site. Where nothing is known, one row that says why. [-]
    """
    number, worst = (station_number(site, station), None) if station else least_case(site)
    if number < 0:
        return [_told(f'"{station}" is no tag of the sheet Stations' if station else "no station is filled in yet")]
    found = case_of_words(site, number, case) if case else worst or governing_case(site, number)
    if found is None:
        return [_told(f'"{case}" is no case of {station or "the station"}; write it as the schedule does')]
    opening, state, fault = found
    label = site.context.case_label(opening, state, fault)
    code = int(site.judgement.results.fault(fault).state[state, opening])
    if code != SOLVED:
        return [_told(f"{label}: {STATE_WORDS[code]}")]
    lines = course_of_case(site, number, found, mixed_fraction)
    return [_row(site, values, label if place == 0 else "") for place, values in enumerate(lines)]


def course_of_case(
    site: JudgedSite, station: int, case: tuple[int, int, str], mixed_fraction: float | None = None
) -> list[dict[str, float]]:
    """The course of one solved case: for each time the columns in SI, not-a-number where not known."""
    opening, state, fault = case
    courses, cases = site.judgement.measures.courses, site.cases
    part = cases.stations.of(opening)
    pair = part.start + cases.stations.member[part].tolist().index(station)
    times = course_times(courses.flush if courses.flush > 0 else math.nan)
    governing, other = (_one(courses.phases(fault, np.array([pair]), model), state) for model in (False, True))
    layers = None
    if mixed_fraction is not None:
        heater = _heater(courses, station)
        if fault == AFTER_RECOVERY:  # in which layers the heat of the recovery would stand nobody can say
            governing = replace(governing, known=np.zeros_like(governing.known))
        elif heater is not None and heater.kind == STORAGE and fault not in COLD_WATER_FAULTS:
            governing, layers = with_mixed_fraction(governing, heater, mixed_fraction, courses.flush)
    standing = standing_temperatures(courses.pipes.surroundings, courses.held(fault))
    flow = station_flows(courses.context, fault)[state, part]
    flows = dict(zip(cases.stations.member[part].tolist(), flow.tolist(), strict=True))
    stood = _standing(courses, station, flows, SEASON[state], standing, times)
    hot, mixed, outlet = _lines(governing, times, layers, stood)
    values = {"time": times, "hot": hot, "mixed": mixed, "outlet": outlet}
    values["outlet_other"] = _lines(other, times, None, stood)[2]
    values["least"], values["greatest"] = np.full(len(times), courses.least), np.full(len(times), courses.greatest)
    return [{name: float(column[row]) for name, column in values.items()} for row in range(len(times))]


def _one(phases: Phases, state: int) -> Phases:
    """One pair in one state, as arrays of one row and one column."""
    parts = {name: value[[state]] for name, value in vars(phases).items() if isinstance(value, np.ndarray)}
    return replace(phases, **parts, source=phases.source.at(state, np.array([0])))


def _heater(courses: Courses, station: int) -> Heater | None:
    valve = int(courses.network.station_valve[station])
    return courses.heaters[int(courses.network.valve_source[valve])] if valve >= 0 else None


def with_mixed_fraction(
    phases: Phases, heater: Heater, fraction: float, until: float
) -> tuple[Phases, LayeredCourse | None]:
    """The same draw on a storage of which a share, at the bottom, is mixed: in layers, or all of it in closed form."""
    source = phases.source
    whole = heater.volume * float(density_kernel(heater.temperature))
    mass = np.full(source.full.shape, whole * (heater.fraction + (1 - heater.fraction) * fraction))
    if fraction == 1:
        mixed = replace(source, mixed=np.ones_like(source.mixed), mass=mass, start=source.full)
        return replace(phases, source=mixed), None
    kg, full, heat, most, power, delay = (
        float(one[0, 0]) for one in (mass, source.full, source.heat, source.greatest, source.power, source.delay)
    )
    if not all(math.isfinite(one) for one in (kg, full, heat, most, power, delay)):
        return replace(phases, known=np.zeros_like(phases.known)), None
    return phases, layered_tank(kg, full, heat, most, power, delay, fraction, until)


def _standing(
    courses: Courses, station: int, flows: dict[int, float], season: int, standing: Numbers, times: Numbers
) -> Numbers:
    """Temperature of the standing water that arrives at times [s], in sun or shade whichever is worse. [°C]"""
    ends, waters = courses.slugs(station, flows, standing)
    if not len(ends):
        return np.full(len(times), np.nan)
    both = waters[:, :, season]
    worst = np.abs(both - courses.pipes.tepid_middle).argmax(axis=1)
    place = np.minimum(np.searchsorted(ends, times, side="right"), len(ends) - 1)
    return np.asarray(np.take_along_axis(both, worst[:, None], axis=1)[place, 0])


def _lines(
    one: Phases, times: Numbers, layers: LayeredCourse | None, stood: Numbers
) -> tuple[Numbers, Numbers, Numbers]:
    """Temperatures at the source, behind the valve and at the station. [°C]"""
    late = times - one.purge[0, 0]  # when the water that arrives now passed the valve
    if layers is None:
        surplus = np.where(times < one.silent[0, 0], 0.0, one.source.surplus(times)[0])
        at_valve = [one.at_valve(moment)[0] for moment in (times, np.maximum(late, 0.0))]
    else:
        surplus = layers.at(times)[0]
        at_valve = [_layered_at_valve(one, moment, layers) for moment in (times, np.maximum(late, 0.0))]
    hot = one.temperature(surplus)[0]
    mixed, passed = (one.temperature(heat)[0] for heat in at_valve)
    passed = np.where(late < 0, stood, one.arriving(passed)[0])
    known = bool(one.known[0, 0])
    blank = np.full(len(times), np.nan)
    outlast = np.where(late < 0, passed, np.nan)  # the water that stood is known whatever the valve does
    return hot, mixed if known else blank, passed if known else outlast


def _layered_at_valve(one: Phases, time: Numbers, layers: LayeredCourse) -> Numbers:
    heat = np.where(time < one.cooled[0, 0], one.stood[0, 0], layers.at(time)[0])
    return one.mixed(heat)[0]


def _row(site: JudgedSite, values: dict[str, float], label: str) -> list[Any]:
    row: list[Any] = []
    for column in COURSE_COLUMNS:
        value = values.get(column.name, math.nan)
        if column.name == "case":
            row.append(label)
        elif math.isnan(value):
            row.append(NOT_KNOWN)
        else:  # to ten digits: what lies beyond differs from one processor to the next
            row.append(float(f"{from_si(value, column.unit(site.units)):.10g}"))
    return row


def _told(sentence: str) -> list[Any]:
    return [sentence if column.name == "case" else NO_RESULT for column in COURSE_COLUMNS]
