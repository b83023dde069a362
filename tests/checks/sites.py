"""Variants of the sample laboratory: one cell, one row or one limit changed, everything else as it is."""

from __future__ import annotations

import functools
from pathlib import Path
from typing import Any

from drenchbook.checks import Judgement, judge
from drenchbook.network import compile_network
from drenchbook.network_arrays import Network
from drenchbook.network_devices import STRAINER_LIMIT
from drenchbook.operating_cases import NORMAL, STATES, Cases, operating_cases
from drenchbook.report import Report
from drenchbook.site_cells import BLANK
from drenchbook.site_file import read_site_file
from drenchbook.site_lines import SiteLine
from drenchbook.site_model import ROW_MODELS, Missing, Site, tag_key
from drenchbook.site_tables import TABLE_BY_KEY
from drenchbook.solver import solve
from drenchbook.solver_results import Results

LABORATORY = Path(__file__).parents[2] / "samples" / "laboratory.toml"
BLANKED = Missing(BLANK)
COLD_LOW, COLD_HIGH, WARM_LOW, WARM_HIGH = range(len(STATES))


@functools.cache
def laboratory() -> Site:
    """The sample as it is filed."""
    return read_site_file(LABORATORY).site


def edited(site: Site, table: str, tag: str, **cells: Any) -> Site:
    """Other values in the cells of one row ("" names the project, "*" every row)."""
    if table == "project":
        return site.model_copy(update={"project": site.project.model_copy(update=cells)})
    key = TABLE_BY_KEY[table].key_column
    rows = getattr(site, table)
    wanted = [tag in ("*", str(getattr(row, key))) for row in rows]
    assert any(wanted), f"{table} has no row {tag}"
    assert set(cells) <= set(ROW_MODELS[table].model_fields), cells
    changed = tuple(row.model_copy(update=cells) if hit else row for row, hit in zip(rows, wanted, strict=True))
    return site.model_copy(update={table: changed})


def lab(table: str, tag: str, **cells: Any) -> Site:
    """The laboratory with other values in one row."""
    return edited(laboratory(), table, tag, **cells)


def heater(**cells: Any) -> Site:
    """The laboratory with a gas heater in place of its storage."""
    data = {"kind": "instantaneous gas", "set_temperature": 130.0, "input_power": 1e6, "efficiency": 0.9,
            "minimum_firing_flow": 0.5, "maximum_rise": 100.0, "minimum_power": 1e4, **cells}  # fmt: skip
    return lab("hot_water_sources", "WH-1", **data)


def added(site: Site, table: str, **cells: Any) -> Site:
    """One more row."""
    return site.model_copy(update={table: (*getattr(site, table), ROW_MODELS[table](**cells))})


def without(site: Site, table: str, *tags: str) -> Site:
    """Without some rows."""
    key = TABLE_BY_KEY[table].key_column
    rows = tuple(row for row in getattr(site, table) if str(getattr(row, key)) not in tags)
    assert len(rows) == len(getattr(site, table)) - len(tags)
    return site.model_copy(update={table: rows})


def only(site: Site, *tags: str) -> Site:
    """Only some stations, and no event."""
    rows = tuple(row for row in site.stations if row.tag in tags)
    assert len(rows) == len(tags)
    return site.model_copy(update={"stations": rows, "events": ()})


def limited(site: Site, limit: str, value: Any, **cells: Any) -> Site:
    """Another value in a row of Limits."""
    return edited(site, "limits", limit, value=value, **cells)


def station(judgement: Judgement, tag: str) -> int:
    """The number of a station."""
    return [tag_key(row.tag) for row in judgement.site.stations].index(tag_key(tag))


def strainer_limit(site: Site) -> tuple[Any, ...]:
    """The row of Limits that enters the flows: how much more a fouled strainer loses."""
    return tuple(row for row in site.limits if tag_key(row.id) == tag_key(STRAINER_LIMIT))


_SOLVED: dict[Site, tuple[Network, Cases, Results]] = {}


def judge_again(site: Site) -> Judgement:
    """A site judged; the same water under other limits is solved once, for only one limit enters the flows."""
    same = site.model_copy(update={"limits": strainer_limit(site)})
    if same not in _SOLVED:
        network = compile_network(same)
        cases = operating_cases(same, network)
        _SOLVED[same] = network, cases, solve(network, cases)
    return Judgement(site, *_SOLVED[same])


def report(site: Site) -> Report:
    """A site judged."""
    return Report(judge(site))


def lines(site_report: Report, check: str, subject: str = "") -> list[SiteLine]:
    """The site lines of a check, of one subject if it is named."""
    return [line for line in site_report.lines if line.check.id == check and subject in ("", line.subject)]


def flow(judgement: Judgement, opening: int, state: int, fault: str = NORMAL) -> list[float]:
    """Flows of the outlets of an opening [m³/s]."""
    return judgement.results.fault(fault).outlet_flow[state, judgement.cases.outlets.of(opening)].tolist()
