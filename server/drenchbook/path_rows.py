"""The rows of a worked path: which station and case, and each of its lines as cells in the units of the site."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from drenchbook.checks import STATION_CHECKS
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import NORMAL, STATES
from drenchbook.path_lines import FORMULAS, PURGE_SHARE, TOLERANCES, Line, path_lines
from drenchbook.result_tables import CHOICE_COLUMNS, NOT_APPLICABLE, PATH_COLUMNS, UNKNOWN
from drenchbook.solver_results import STATE_WORDS
from drenchbook.units import from_si, unit_of

SEPARATOR = " | "  # between station and case in the cell that says what was asked for


def path_rows(site: JudgedSite, station: str = "", case: str = "") -> list[list[Any]]:
    """One row for each line of a path, in the order of PATH_COLUMNS; the first names the case.

    Parameters
    ----------
    site : JudgedSite
        The judged site. [-]
    station : str
        Tag of a station; the one with the least margin of flow or pressure if blank. [-]
    case : str
        Case as the schedule writes it; if blank the one that governs, or that of the least margin. [-]
    """
    asked = f"{station}{SEPARATOR}{case}"
    number, worst = (station_number(site, station), None) if station else least_case(site)
    if number < 0:
        word = f'"{station}" is no tag of the sheet Stations' if station else "no station is filled in yet"
        return [_row(site, Line("Case", UNKNOWN, "", word), asked)]
    found = case_of_words(site, number, case) if case else worst or governing_case(site, number)
    tag = site.cases.station_tags[number].strip()
    if found is None:
        word = f'"{case}" is no case of {tag}; write it as the schedule does, such as "{_label(site, number)}"'
        return [_row(site, Line("Case", UNKNOWN, tag, word), asked)]
    opening, state, fault = found
    label = site.context.case_label(opening, state, fault)
    lines = path_lines(site, number, opening, state, fault)
    if not lines:
        word = STATE_WORDS[int(site.judgement.results.fault(fault).state[state, opening])]
        return [_row(site, Line("Case", UNKNOWN, tag, f"{label}: {word}"), asked)]
    return [_row(site, line, asked) for line in (Line("Case", "case", tag, label), *lines)]


def choice_rows(site: JudgedSite, station: str = "") -> list[list[Any]]:
    """One row for each choice, in the order of CHOICE_COLUMNS; columns end at different rows."""
    number = station_number(site, station) if station else least_case(site)[0]
    openings = site.cases.labels(site.openings_of(number)) if number >= 0 else []
    columns = {
        "open": openings,
        "season": list(dict.fromkeys(season for season, _ in STATES)),
        "supply": list(dict.fromkeys(level for _, level in STATES)),
        "fault": [one.fault for one in site.judgement.results.faults],
    }
    height = max(len(words) for words in columns.values())
    filled = [columns[c.name] + [""] * (height - len(columns[c.name])) for c in CHOICE_COLUMNS]
    return [list(row) for row in zip(*filled, strict=True)]


def station_number(site: JudgedSite, station: str) -> int:
    """Number of a station by its tag, -1 if there is none."""
    tags = [tag.strip().casefold() for tag in site.cases.station_tags]
    return tags.index(station.casefold()) if station.casefold() in tags else -1


def least_case(site: JudgedSite) -> tuple[int, tuple[int, int, str] | None]:
    """The station with the least margin of flow or pressure, and the case of it; the first one where none is known."""
    best = math.inf
    found: tuple[int, tuple[int, int, str] | None] = (0 if site.cases.station_tags else -1, None)
    for check in STATION_CHECKS:
        if check.id not in ("FLW-1", "PRS-1"):
            continue
        margins = site.judgement.stations[check.id].margin
        for number in np.flatnonzero(margins < best):
            verdict = site.judgement.verdict(check, int(number))
            if verdict.margin < best and verdict.opening >= 0 and verdict.state >= 0:
                best, found = verdict.margin, (int(number), (verdict.opening, verdict.state, verdict.fault))
    return found


def governing_case(site: JudgedSite, number: int) -> tuple[int, int, str]:
    """The case that governs a station; alone, cold season and low supply where its verdict hangs on no case."""
    verdict = site.judgement.governing(number)
    if verdict.opening >= 0 and verdict.state >= 0:
        return verdict.opening, verdict.state, verdict.fault
    return int(site.openings_of(number)[0]), 0, NORMAL


def _label(site: JudgedSite, number: int) -> str:
    return site.context.case_label(*governing_case(site, number))


def case_of_words(site: JudgedSite, number: int, case: str) -> tuple[int, int, str] | None:
    """A case by its words: what is open, then season, supply, fault; left out: alone, cold, low, normal."""
    what, _, words = case.rpartition(": ")
    if " season" not in words and " supply" not in words:
        what, words = case, ""
    what, words = _plain(what).rstrip(":"), _plain(words)
    openings = site.openings_of(number)
    labels = [_plain(label) for label in site.cases.labels(openings)]
    if what and what not in labels:
        return None
    opening = int(openings[labels.index(what)]) if what else int(openings[0])
    parts = [part.strip() for part in words.split(",") if part.strip()]
    season = next((part.removesuffix(" season") for part in parts if part.endswith(" season")), STATES[0][0])
    levels = [part.removesuffix(" supply") for part in parts if part.endswith(("low supply", "high supply"))]
    level = levels[0] if levels else STATES[0][1]
    rest = [part for part in parts if part not in (f"{season} season", f"{level} supply")]
    fault = rest[0] if rest else NORMAL
    known = [one.fault for one in site.judgement.results.faults]
    if len(rest) > 1 or fault not in known or (season, level) not in STATES:
        return None
    return opening, STATES.index((season, level)), fault


def _plain(words: str) -> str:
    return " ".join(words.split()).casefold()


def _row(site: JudgedSite, line: Line, asked: str) -> list[Any]:
    values: dict[str, Any] = {name: value for name, value in line.values.items() if name != "coefficient_quantity"}
    quantity = line.values.get("coefficient_quantity", "")
    if quantity:
        unit = unit_of(quantity, site.units)
        values.update(coefficient=from_si(values["coefficient"], unit), coefficient_unit=unit)
    unit = unit_of(line.quantity, site.units)
    formula, source = FORMULAS.get(line.kind, ("", ""))
    values.update(part=line.part, kind=line.kind, tag=line.tag, step=line.step, formula=formula, source=source,
                  asked=asked)  # fmt: skip
    if not math.isnan(line.result):
        shown = from_si(line.result, unit)
        share = PURGE_SHARE * abs(shown) if line.kind.startswith("purge") else 0.0
        values.update(result=shown, result_unit=unit, tolerance=TOLERANCES[unit] + share)
    cells = [_cell(site, column.name, column.unit(site.units), values) for column in PATH_COLUMNS]
    cells[[column.name for column in PATH_COLUMNS].index("numbers")] = _numbers(line.kind, dict(zip(
        (column.name for column in PATH_COLUMNS), cells, strict=True)))  # fmt: skip
    return cells


def _cell(site: JudgedSite, name: str, unit: str, values: dict[str, Any]) -> Any:
    """A value for a cell, to ten digits: what lies beyond differs from one processor to the next."""
    value = values.get(name, NOT_APPLICABLE)
    if isinstance(value, str):
        return value
    if math.isnan(value):
        return NOT_APPLICABLE
    number = value if name in ("coefficient", "result", "tolerance") or not unit else from_si(value, unit)
    return float(f"{number:.10g}") + 0.0


_PUT_IN = {
    "supply by test": "{start_pressure} − ({start_pressure} − {pressure_2})·({flow}/{flow_2})^1.85",
    "supply by points": "{pressure_1} + ({flow} − {flow_1})·({pressure_2} − {pressure_1})/({flow_2} − {flow_1})",
    "loss by points": "{pressure_1} + ({flow} − {flow_1})·({pressure_2} − {pressure_1})/({flow_2} − {flow_1})",
    "plant main": "{start_pressure} − {coefficient}·{flow}²",
    "plant main by points": "{start_pressure}; {pressure_1} to {pressure_2} from {flow_1} to {flow_2}",
    "booster": "{start_pressure} at no flow; {pressure_1} to {pressure_2} less, {flow_1} to {flow_2}",
    "setting": "{start_pressure}",
    "loss by square": "{coefficient}·{flow}²",
    "pipe": "q {flow}, {material} {size}, L {length}, {fittings}",
    "rough pipe": "q {flow}, {material} {size}, L {length}, {fittings}, ε {roughness}",
    "rise": "h {length}, water of {temperature}°",
    "seats, cold lower": "q {flow}, x {fraction}, C {coefficient}, ph and pc above",
    "seats, hot lower": "q {flow}, x {fraction}, C {coefficient}, ph and pc above",
    "coefficient": "({flow}/{coefficient})²",
    "orifice outlet": "{flow_1}·√(p/{pressure_1})",
    "regulated outlet": "qr {flow_1}, pr {pressure_1}",
    "flow total": "the outlets above",
    "hot flow": "q {flow}, set {mixed_temperature}°, hot {temperature}°, cold {cold_temperature}°",
    "cold flow": "q {flow}, set {mixed_temperature}°, hot {temperature}°, cold {cold_temperature}°",
    "hot fraction": "hot flow above, q {flow}, densities at {temperature}° and {mixed_temperature}°",
    "stem": "q {flow}, x {fraction}, C {coefficient}, ph {pressure_1}, pc {pressure_2}",
    "purge": "q {flow}, {material} {size}, L {length}",
    "purge total": "the runs above",
    "stratified tank": "V {volume}, f {fraction}, q {flow}, r {flow_1}, {temperature}° / {cold_temperature}°",
    "mixed tank": "V {volume}, q {flow}, r {flow_1}, {temperature}° / {cold_temperature}°, approach {approach}",
}


def _numbers(kind: str, cells: dict[str, Any]) -> str:
    """The formula with its numbers, as a person would write them."""
    shown = {name: f"{value:.5g}" if isinstance(value, float) else value for name, value in cells.items()}
    return _PUT_IN.get(kind, "").format(**shown)
