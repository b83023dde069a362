"""The array solver against the slow scalar one on random sites, and the smallest root where curves dip."""

import os
import random
from functools import lru_cache

import numpy as np
import pytest

from drenchbook.operating_cases import AS_NORMAL, COLD_LOST, HOT_LOST, MAIN_LOST, NORMAL, SET, SOURCE_COLD, STATES
from drenchbook.solver_results import CANNOT_REACH, FROM_DATA, MISSING, NO_PATH, NO_WATER, NOT_CONVERGED, SOLVED
from tests.lab_site import solved
from tests.oracle.scalar_solver import Case, Oracle
from tests.solver.random_heat import RandomHeat
from tests.solver.random_sites import RandomSite

# A few in the suite; RANDOM_SITES=1000 asks for more, as each change of the solver should, and 500:1000 for some.
SEEDS = range(*map(int, os.environ.get("RANDOM_SITES", "24").split(":")))
HARD = (457, 691, 835, 919)  # a cold source beside reducing valves, where a first guess leads nowhere; none in reach


@lru_cache(maxsize=64)
def random_site(seed):
    """A random site, solved once."""
    return solved(RandomSite(seed).site())


def case_of(one, fault, state, opening):
    """The same case for the slow solver."""
    network, outlets = one.network, one.cases.outlets
    place = [(network.station_tags[network.outlet_station[o]], int(network.outlet_slot[o]))
             for o in outlets.member[outlets.of(opening)]]  # fmt: skip
    return Case(*STATES[state], fault, tuple(place))


def compare(one, fault, state, opening, answer):
    """State, every outlet flow and pressure, and the valves' inlets."""
    got = one.results.fault(fault)
    if not answer.reached:
        assert got.state[state, opening] == CANNOT_REACH
        return
    assert got.state[state, opening] == SOLVED
    case, pairs = case_of(one, fault, state, opening), one.cases.outlets.of(opening)
    flows = np.array([answer.flow[key] for key in case.open])
    assert got.outlet_flow[state, pairs] == pytest.approx(flows, rel=1e-6, abs=1e-11)
    pressures = np.array([answer.pressure[key] for key in case.open])
    assert got.outlet_pressure[state, pairs] == pytest.approx(pressures, rel=1e-6, abs=0.1)
    valves = one.cases.valves
    for pair in range(*valves.of(opening).indices(len(valves.member))):
        there = answer.valves[one.network.valve_tags[valves.member[pair]]]
        for name in ("flow", "hot_flow", "cold_pressure", *(() if fault == HOT_LOST else ("hot_pressure",))):
            mine = getattr(got.valve, name)[state, pair]
            assert mine == pytest.approx(there[name], rel=1e-6, abs=0.1 if "pressure" in name else 1e-11)


@pytest.mark.parametrize("seed", [*SEEDS, *HARD])
def test_random_site(seed):
    """Trees, several valves, shared and own supplies, both friction methods, all faults, sets of up to four."""
    one = random_site(seed)
    oracle, rng = Oracle(one.site), random.Random(seed)
    for fault in one.results.names:
        if fault in AS_NORMAL:
            continue
        result = one.results.fault(fault)
        assert not (result.state == NOT_CONVERGED).any()
        places = np.argwhere(~np.isin(result.state, (NO_PATH, NO_WATER, FROM_DATA, MISSING))).tolist()
        sets = [place for place in places if one.cases.kind[place[1]] == SET]
        for state, opening in [*rng.sample(places, min(2, len(places))), *rng.sample(sets, min(2, len(sets)))]:
            case = case_of(one, fault, state, opening)
            compare(one, fault, state, opening, oracle.solve(case))


@pytest.mark.parametrize("seed", range(12))
def test_what_leaks_when_cold_water_fails(seed):
    """Cold supply failure and a lost main, every opening: the leakage of data sheets where there is hot pressure."""
    one = solved(RandomHeat(seed).site(), faults=(COLD_LOST, MAIN_LOST))
    oracle = Oracle(one.site)
    for fault in (COLD_LOST, MAIN_LOST):
        result = one.results.fault(fault)
        for opening in range(len(one.cases)):
            case = case_of(one, fault, opening % len(STATES), opening)
            flow, some = oracle.leaks(case)
            assert (result.state[:, opening] == (FROM_DATA if some else NO_WATER)).all()
            got = result.outlet_flow[:, one.cases.outlets.of(opening)]
            wanted = [flow[key] if some else np.nan for key in case.open]
            assert got == pytest.approx(np.array([wanted] * len(STATES)), rel=1e-9, abs=1e-15, nan_ok=True)


@pytest.mark.parametrize("seed", range(10))
def test_smallest_root(seed):
    """With dipping curves the smallest of several roots is taken."""
    one = solved(RandomSite(seed, dips=True, more=False).site(), faults=(NORMAL, HOT_LOST))
    oracle, rng = Oracle(one.site), random.Random(seed)
    places = [(fault.fault, state, opening) for fault in one.results.faults for state, opening in np.argwhere(
        (fault.state != NO_PATH) & (one.cases.kind != SET)).tolist()]  # fmt: skip
    for fault, state, opening in rng.sample(places, min(2, len(places))):
        compare(one, fault, state, opening, oracle.smallest(case_of(one, fault, state, opening), points=150))


def test_the_slow_solver_is_asked_hard_questions():
    """Among the random sites some outlets starve, some sites cannot be reached, and some hot seats take all."""
    starved = unreached = all_hot = several_valves = 0
    for seed in SEEDS:
        one = random_site(seed)
        for fault in one.results.faults:
            starved += int((fault.outlet_flow == 0).sum())
            unreached += int((fault.state == CANNOT_REACH).sum())
        cold = one.results.fault(SOURCE_COLD).valve
        all_hot += int(((cold.cold_flow == 0) & (cold.hot_flow > 0)).sum())
        several_valves += int((one.cases.valves.counts > 1).sum())
    assert min(starved, unreached, all_hot, several_valves) > 10
