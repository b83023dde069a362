"""The rows of the table of cases: every case of a station or a site, or the governing ones where there are too many."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from drenchbook.judged_site import JudgedSite, whole_extremes
from drenchbook.operating_cases import MIXING, STATES
from drenchbook.result_tables import CASE_COLUMNS, CASES_SHOWN, NOT_APPLICABLE, ResultColumn
from drenchbook.result_tables import NOT_KNOWN as NOT_KNOWN_WORD
from drenchbook.solver_results import SOLVED, STATE_WORDS, FaultResults
from drenchbook.units import from_si


def case_list(site: JudgedSite) -> Iterator[tuple[str, int, int]]:
    """Every case as fault, state and opening."""
    for fault in site.judgement.results.faults:
        for state in range(len(STATES)):
            for opening in range(len(site.cases)):
                yield fault.fault, state, opening


def case_rows(site: JudgedSite, station: str = "") -> list[list[Any]]:
    """One row for each case, of one station if it is named; governing cases only where there are too many."""
    wanted = set(range(len(site.cases)))
    if station:
        tags = [tag.strip().casefold() for tag in site.cases.station_tags]
        numbers = [number for number, tag in enumerate(tags) if tag == station.strip().casefold()]
        wanted = {int(opening) for number in numbers for opening in site.openings_of(number)}
    if len(wanted) * len(STATES) * len(site.judgement.results.faults) > CASES_SHOWN:
        chosen = _governing_cases(site, wanted)
    else:
        chosen = [case for case in case_list(site) if case[2] in wanted]
    return [_row(site, *case) for case in chosen]


def _governing_cases(site: JudgedSite, wanted: set[int]) -> list[tuple[str, int, int]]:
    chosen = set()
    for number in range(len(site.judgement.site.stations)):
        verdict = site.judgement.governing(number)
        if verdict.opening in wanted and verdict.state >= 0:
            chosen.add((verdict.fault, verdict.state, verdict.opening))
    return sorted(chosen, key=lambda case: (case[2], case[0], case[1]))


def _row(site: JudgedSite, fault: str, state: int, opening: int) -> list[Any]:
    values: dict[str, Any] = dict.fromkeys((column.name for column in CASE_COLUMNS), NOT_APPLICABLE)
    results, cases = site.judgement.results.fault(fault), site.cases
    outlets = cases.outlets.of(opening)
    values.update(
        stations=" + ".join(str(cases.station_tags[s]).strip() for s in site.context.stations_of(opening)),
        outlets=", ".join(cases.outlet_names[int(m)] for m in cases.outlets.member[outlets]),
        season=STATES[state][0],
        supply=STATES[state][1],
        fault=fault,
        changed=site.changed(fault) or NOT_APPLICABLE,
        state=STATE_WORDS[int(results.state[state, opening])],
    )
    if results.state[state, opening] == SOLVED:
        flow, pressure = results.outlet_flow[state, outlets], results.outlet_pressure[state, outlets]
        need = site.context.required_flow[cases.outlets.member[outlets]]
        worst = int(np.argmin(np.where(np.isnan(need), np.inf, flow / need)))
        member = int(cases.outlets.member[outlets][worst])
        station = cases.station_tags[int(cases.outlet_station[member])]
        values.update(
            flow=float(flow.sum()),
            worst_outlet=f"{str(station).strip()} {cases.outlet_names[member]}",
            worst_flow=float(flow[worst]),
            worst_pressure=float(pressure[worst]),
        )
        valves = cases.valves.of(opening)
        if valves.stop > valves.start:
            _valve(site, results, fault, state, opening, values)
    return [_plain(site, column, values[column.name]) for column in CASE_COLUMNS]


def _valve(
    site: JudgedSite, results: FaultResults, fault: str, state: int, opening: int, values: dict[str, Any]
) -> None:
    """The numbers of the first valve of the case; the tags of all."""
    part, valve = site.cases.valves.of(opening), results.valve
    rows = site.judgement.site.mixing_valves
    values["valve"] = ", ".join(str(rows[int(m)].tag).strip() for m in site.cases.valves.member[part])
    for name in ("hot_pressure", "cold_pressure", "chamber_pressure"):
        values[name] = float(getattr(valve, name)[state, part.start])
    if fault in MIXING:
        values["stem_position"] = float(valve.stem[state, part.start])
        values["hot_fraction"] = float(valve.hot_fraction[state, part.start])
        mixed = float(site.judgement.measures.mixed_temperature_in(fault)[state, part.start])
        values["mixed_temperature"] = NOT_KNOWN_WORD if math.isnan(mixed) else mixed
        seconds = site.judgement.measures.hot_seconds(fault)[state, site.cases.sources.of(opening)]
        least = whole_extremes(seconds)[0]
        values["minutes"] = NOT_KNOWN_WORD if math.isnan(least) else least


def _plain(site: JudgedSite, column: ResultColumn, value: Any) -> Any:
    """A value for a cell, to ten digits: what lies beyond differs from one processor to the next."""
    if isinstance(value, str):
        return value
    if math.isnan(value):
        return NOT_APPLICABLE
    number = from_si(value, column.unit(site.units)) if column.quantity else value
    return float(f"{number:.10g}")
