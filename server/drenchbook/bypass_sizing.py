"""Which bypass coefficient would give every outlet its required flow when hot water fails: the case solved again."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_samples import SLACK
from drenchbook.checks import Judgement
from drenchbook.operating_cases import Cases, Pairs
from drenchbook.solver import solve
from drenchbook.solver_results import SOLVED
from drenchbook.units import to_si

Numbers: TypeAlias = np.ndarray[Any, Any]

LARGEST = 1000.0  # [Cv] of a bypass that is next to no resistance in pipes of these sizes
CLOSE = 1.002  # greater over smaller coefficient at which the search ends: printed digits are coarser


def bypass_that_would_do(judgement: Judgement, fault: str, openings: Numbers) -> Numbers:
    """The least bypass coefficient at which each opening stands a fault; not-a-number where none is enough.

    Parameters
    ----------
    judgement : Judgement
        A solved site. [-]
    fault : str
        "hot pressure lost" or "source cold but pressurised". [-]
    openings : array
        Which openings. [-]

    Returns
    -------
    array
        For each of them a coefficient that is given to every valve of it (a valve that has a greater one keeps it).
        At most 0.2 % above the least one. [m³/s/√Pa]

    Notes
    -----
    Halving on a scale of ratios; all openings that need about the same are solved at once, so that many cost little
    more than one [worked here]. A bypass known by a curve is replaced by a coefficient.

    >>> float(np.round(np.sqrt(1.0 * 4.0), 3))  # one halving step between 1 and 4
    2.0
    """
    answer = np.full(len(openings), np.nan)
    largest = float(to_si(LARGEST, "Cv"))
    enough = _passes(judgement, fault, openings, largest)
    todo = [(float(to_si(0.1, "Cv")), largest, np.flatnonzero(enough))]
    while todo:
        low, high, places = todo.pop()
        if not len(places):
            continue
        if high / low <= CLOSE:
            answer[places] = high
            continue
        middle = float(np.sqrt(low * high))
        good = _passes(judgement, fault, openings[places], middle)
        todo += [(low, middle, places[good]), (middle, high, places[~good])]
    return answer


def _passes(judgement: Judgement, fault: str, openings: Numbers, coefficient: float) -> Numbers:
    """[openings] whether every outlet gets its required flow in every state, with that bypass fitted."""
    network = judgement.network
    given = replace(
        network,
        valve_has_bypass=np.ones_like(network.valve_has_bypass),
        valve_bypass_coefficient=np.fmax(network.valve_bypass_coefficient, coefficient),
        valve_bypass_curve=np.full_like(network.valve_bypass_curve, -1),
        valve_fault_missing=tuple(() for _ in network.valve_fault_missing),
    )
    cases = _only(judgement.cases, openings)
    results = solve(given, cases, (fault,)).faults[0]
    need = judgement.context.required_flow[cases.outlets.member]
    short = ~(results.outlet_flow >= need * (1 - SLACK))
    bad = (results.state != SOLVED).any(axis=0)
    bad[cases.outlets.opening[short.any(axis=0)]] = True
    return np.asarray(~bad)


def _only(cases: Cases, openings: Numbers) -> Cases:
    """The same cases with some openings only."""
    names = ("stations", "outlets", "valves", "supplies", "sources", "events")
    parts: dict[str, Any] = {name: _part(getattr(cases, name), openings) for name in names}
    return replace(cases, kind=cases.kind[openings], **parts)


def _part(pairs: Pairs, openings: Numbers) -> Pairs:
    counts = pairs.counts[openings]
    member = [pairs.member[pairs.of(opening)] for opening in openings]
    return Pairs(
        np.concatenate(([0], np.cumsum(counts))),
        np.concatenate(member) if member else np.zeros(0, dtype=int),
        np.repeat(np.arange(len(openings)), counts),
    )
