"""Every case of a site at once: which outlets flow how much, what every valve does, and what had no answer.

Openings of one shape are solved together in blocks, so that memory stays flat; there is no loop over single cases.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.faulted_network import fault_gaps, faults_of, network_in
from drenchbook.network_arrays import Network
from drenchbook.operating_cases import (
    COLD_LOST,
    HOT_LOST,
    MAIN_LOST,
    NORMAL,
    SOURCE_COLD,
    VALVE_OUT,
    Cases,
)
from drenchbook.solver_blocks import block_of, shapes
from drenchbook.solver_leakage import by_leakage
from drenchbook.solver_paths import network_curves
from drenchbook.solver_results import (
    MISSING,
    NO_PATH,
    NO_WATER,
    SOLVED,
    FaultResults,
    Results,
)
from drenchbook.solver_sets import solve_sets
from drenchbook.solver_single_roots import solve_single
from drenchbook.solver_single_storing import store_single
from drenchbook.solver_single_ways import ways_of
from drenchbook.solver_statics import frictionless_margin, static_pressures
from drenchbook.solver_steps import step_by_step
from drenchbook.solver_storing import blank_results, store, store_beyond_test

__all__ = ["frictionless_margin", "solve", "static_pressures", "step_by_step"]

Numbers: TypeAlias = np.ndarray[Any, Any]

BLOCK_OPENINGS = 2000
SINGLES_FOR_SETS = 2  # openings of one station take less room than sets
# The GNU C library gives memory of a few hundred kB back to the system at each free and fetches it again, until it has
# seen a larger block freed (mallopt(3), M_MMAP_THRESHOLD); one that is never touched saves a fifth of the time.
KEPT_BYTES = 16 * 2**20


def solve(
    network: Network, cases: Cases, faults: tuple[str, ...] | None = None, block_openings: int = BLOCK_OPENINGS
) -> Results:
    """Solve every case.

    Parameters
    ----------
    network, cases : Network, Cases
        The same site, compiled. [-]
    faults : tuple of str
        Which faults, of `operating_cases.FAULTS`; all that can happen on the site if not given. [-]
    block_openings : int
        Openings solved together; memory grows with it, answers do not change. [-]

    Returns
    -------
    Results
        Arrays over states and openings, in SI. [-]

    Notes
    -----
    Steady flow in a tree with pressure-dependent outlets [worked here, from the equations in `physics`]. A case without
    a root, with a missing input, or beyond the points of a curve has a state and no numbers. Where a dipping curve
    gives several roots the smallest flow is taken. Outlets do not suck and idle valves do not pass water round (check
    valves).
    """
    np.empty(KEPT_BYTES, dtype=np.uint8)  # freed at once, see KEPT_BYTES
    done: list[tuple[tuple[Any, ...], FaultResults]] = []
    found = []
    for fault in faults_of(network) if faults is None else faults:
        now = network if fault in (COLD_LOST, MAIN_LOST) else network_in(network, fault)
        mine = _what_matters(network, now, fault)
        found.append(_like_another(mine, fault, done) or _fault(network, now, cases, fault, block_openings))
        done.append((mine, found[-1]))
    return Results(tuple(found))


def _like_another(mine: tuple[Any, ...], fault: str, done: list[tuple[tuple[Any, ...], FaultResults]]
                  ) -> FaultResults | None:  # fmt: skip
    """Results of a fault that changes nothing against one that is solved already: the same arrays."""
    same = [one for what, one in done if mine and what and all(a is b for a, b in zip(what, mine, strict=True))]
    return replace(same[0], fault=fault) if same else None


def _what_matters(network: Network, now: Network, fault: str) -> tuple[Any, ...]:
    """What the flows of a fault rest on, to tell faults that are alike; () where it stands by itself."""
    if fault in (HOT_LOST, SOURCE_COLD, COLD_LOST, MAIN_LOST, VALVE_OUT) or any(fault_gaps(network, fault).values()):
        return ()
    return (now.supply_draw, now.source_draw, now.source_cold, now.device_square, now.device_curve, now.device_head,
            now.valve_loop_flow)  # fmt: skip


def _fault(network: Network, now: Network, cases: Cases, fault: str, block_openings: int) -> FaultResults:
    if fault in (COLD_LOST, MAIN_LOST):
        return by_leakage(network, cases, blank_results(cases, fault, solved=False))
    before = _state_before(network, cases, fault)
    out = blank_results(cases, fault, solved=bool((before == SOLVED).any()))
    out.state[:] = before
    if not (before == SOLVED).any():
        return out
    curves = network_curves(now)
    open_now = np.flatnonzero(out.state[0] == SOLVED)
    for mode, of_mode in _by_mode(now, cases, fault, open_now):
        for shape, openings in shapes(now, cases, of_mode):
            if shape.stations == 1 and not shape.wide:
                ways = ways_of(now, curves, cases, shape, openings, mode)
                for some, station in ways.blocks(openings, SINGLES_FOR_SETS * block_openings):
                    store_single(ways, out, some, station, *solve_single(station))
                continue
            for start in range(0, len(openings), block_openings):
                block = block_of(now, curves, cases, shape, openings[start : start + block_openings], mode)
                store(now, curves, cases, out, block, *solve_sets(block, curves))
    store_beyond_test(now, cases, out)
    return out


def _by_mode(network: Network, cases: Cases, fault: str, openings: Numbers) -> list[tuple[str, Numbers]]:
    """What the valves of openings do: mix, pass the bypass only, or (some of them) pass the water of a cold source."""
    if fault == HOT_LOST:
        return [(HOT_LOST, openings)]
    cold = np.zeros(len(cases), dtype=bool)
    if network.source_cold.any():
        cold[cases.valves.opening[network.source_cold[network.valve_source[cases.valves.member]]]] = True
    return [(NORMAL, openings[~cold[openings]]), (SOURCE_COLD, openings[cold[openings]])]


def _state_before(network: Network, cases: Cases, fault: str) -> Numbers:
    """The state of openings that cannot be tried: something is missing, or the fault leaves no way for water."""
    stations, valves = cases.stations, cases.valves
    missing = np.array([bool(why) for why in network.missing], dtype=bool)
    state = np.full(len(cases), SOLVED)
    if fault in (HOT_LOST, SOURCE_COLD):
        without = np.bincount(valves.opening, minlength=len(cases)) == 0
        state[without] = NO_PATH
    if fault == HOT_LOST:
        state[valves.opening[~network.valve_has_bypass[valves.member]]] = NO_PATH
    gaps = fault_gaps(network, fault)
    for pairs, rows in ((cases.supplies, "supplies"), (cases.sources, "sources"), (valves, "valves"),
                        (stations, "stations")):  # fmt: skip
        if gaps[rows]:
            state[pairs.opening[np.isin(pairs.member, list(gaps[rows]))]] = MISSING
    if fault == VALVE_OUT:
        state[valves.opening[~network.valve_has_second[valves.member]]] = NO_WATER
    state[stations.opening[missing[stations.member]]] = MISSING
    state[cases.outlets.counts == 0] = MISSING
    return state
