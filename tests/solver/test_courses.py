"""Courses of random sites against the exact account with plain floats: every kind of source, fault, set and loop."""

import math
import os
import random
from collections import Counter
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from drenchbook.checks import Judgement
from drenchbook.course_rows import course_of_case, course_times
from drenchbook.hot_sources import COLD_WATER_FAULTS
from drenchbook.judged_site import JudgedSite
from drenchbook.operating_cases import AS_NORMAL, FAULTS, MIXING, NORMAL, SET, STATES
from drenchbook.pipe_heat import station_flows
from drenchbook.solver_results import SOLVED
from tests.lab_site import solved
from tests.oracle.scalar_course import DAY, CaseCourse
from tests.oracle.scalar_solver import Case, Oracle
from tests.solver.random_heat import KINDS, RandomHeat

# A few in the suite; RANDOM_COURSES=1000 asks for more, as each change of the courses should, and 500:1000 for some.
SEEDS = range(*map(int, os.environ.get("RANDOM_COURSES", "20").split(":")))
EACH = 3  # pairs of an opening and a station of each fault, beside as many from sets
SUMMARY = ("inside", "first", "purge", "untepid", "tepid_after", "lowest", "highest")


@lru_cache(maxsize=64)
def judged(seed):
    """A random site, solved once; and the slow account of it."""
    one = solved(RandomHeat(seed).site())
    return Judgement(one.site, one.network, one.cases, one.results), Oracle(one.site)


def places(judgement, fault):
    """Some pairs of an opening and a station whose case is solved and in which the station flows: (state, pair)."""
    pairs, results = judgement.cases.stations, judgement.results.fault(fault)
    flowing = station_flows(judgement.context, fault) > 0
    found = np.argwhere(flowing & (results.state[:, pairs.opening] == SOLVED)).tolist()
    sets = [place for place in found if judgement.cases.kind[pairs.opening[place[1]]] == SET]
    rng = random.Random(f"{judgement.site.project.recovery_time} {fault}")
    return [*rng.sample(found, min(EACH, len(found))), *rng.sample(sets, min(EACH, len(sets)))]


def pair_of(judgement, pair):
    """The opening and the station of a pair."""
    stations = judgement.cases.stations
    return int(stations.opening[pair]), int(stations.member[pair])


def account(judgement, oracle, fault, state, opening):
    """The same case for the slow account: with the flows of its outlets."""
    network, outlets = judgement.network, judgement.cases.outlets
    keys = [(network.station_tags[network.outlet_station[o]], int(network.outlet_slot[o]))
            for o in outlets.member[outlets.of(opening)]]  # fmt: skip
    flows = judgement.results.fault(fault).outlet_flow[state, outlets.of(opening)].tolist()
    flows = {key: flow for key, flow in zip(keys, flows, strict=True) if flow > 0}
    courses = judgement.measures.courses
    case = Case(*STATES[state], fault, tuple(flows))
    return CaseCourse(oracle, case, flows, (courses.least, courses.greatest, courses.flush))


def same(value, other):
    """To a millionth; nobody knows is nobody knows."""
    return (
        other is None if math.isnan(value) else other is not None and value == pytest.approx(other, rel=1e-6, abs=1e-6)
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_what_a_course_comes_to(seed):
    """Minutes inside, first water, purge, time to tepid, lowest and highest felt, to a millionth, in every fault."""
    judgement, oracle = judged(seed)
    for fault in judgement.results.names:
        summary = judgement.measures.courses.summary(fault)
        for state, pair in places(judgement, fault):
            opening, station = pair_of(judgement, pair)
            told = account(judgement, oracle, fault, state, opening).told(judgement.network.station_tags[station])
            for name in SUMMARY:
                value = float(getattr(summary, name)[state, pair])
                assert same(value, getattr(told, name)), (fault, state, pair, name, value, told)


@pytest.mark.parametrize("seed", SEEDS[:10])
def test_a_course_from_nothing_but_the_rows(seed):
    """Flows by the slow solver as well: both accounts end to end, in a case of each fault."""
    judgement, oracle = judged(seed)
    for fault in judgement.results.names:
        summary = judgement.measures.courses.summary(fault)
        assert np.isnan(
            summary.inside[judgement.results.fault(fault).state[:, judgement.cases.stations.opening] != SOLVED]
        ).all()
        for state, pair in places(judgement, fault)[:1]:
            opening, station = pair_of(judgement, pair)
            one = account(judgement, oracle, fault, state, opening)
            answer = oracle.solve(replace(one.case, fault=NORMAL) if fault in AS_NORMAL else one.case)
            slow = CaseCourse(oracle, one.case, answer.flow, (one.least, one.greatest, one.flush))
            told = slow.told(judgement.network.station_tags[station])
            for name in ("purge", "untepid", "lowest", "highest", "inside"):
                value, other = float(getattr(summary, name)[state, pair]), getattr(told, name)
                assert math.isnan(value) if other is None else value == pytest.approx(other, rel=1e-5, abs=1e-4), name


@pytest.mark.parametrize("seed", SEEDS)
def test_what_storages_have_left(seed):
    """Hot water left after the flush, time until a storage is ready again, and seconds of hot water."""
    judgement, oracle = judged(seed)
    sources = judgement.cases.sources
    for fault in judgement.results.names:
        left, ready = judgement.measures.courses.storage(fault)
        minutes = judgement.measures.hot_seconds(fault)
        flow = station_flows(judgement.context, fault)
        for state, pair in places(judgement, fault):
            opening = int(judgement.cases.stations.opening[pair])
            one = account(judgement, oracle, fault, state, opening)
            for place in range(*sources.of(opening).indices(len(sources.member))):
                source = oracle.t["hot_water_sources"][judgement.site.hot_water_sources[sources.member[place]].tag]
                if not any(one.source(valve) is source for valve in one.mass):
                    continue  # its stations are starved
                if fault in MIXING and flow[state, judgement.cases.stations.of(opening)].min() > 0:
                    other = one.seconds_of_hot_water(source)
                    assert same(minutes[state, place], other), (fault, state, opening, minutes[state, place], other)
                if source["kind"] == "storage" and fault not in COLD_WATER_FAULTS:
                    both = float(left[state, place]), float(ready[state, place])
                    for value, other in zip(both, one.left(source), strict=True):
                        assert value == pytest.approx(other, rel=1e-6, abs=1e-9), (fault, state, opening)


@pytest.mark.parametrize("seed", SEEDS)
def test_temperatures_at_the_times_that_are_told(seed):
    """At the source, behind the valve and at the station, by both tank models, but for moments at a front."""
    judgement, oracle = judged(seed)
    site, compared = JudgedSite(judgement), 0
    times = course_times(judgement.measures.courses.flush).tolist()
    for fault in random.Random(seed).sample(judgement.results.names, 3):
        for state, pair in places(judgement, fault)[::EACH]:
            opening, station = pair_of(judgement, pair)
            lines = course_of_case(site, station, (opening, state, fault))
            one, tag = account(judgement, oracle, fault, state, opening), judgement.network.station_tags[station]
            mine = [[line[name] for line in lines] for name in ("hot", "mixed", "outlet")]
            theirs = list(zip(*one.at_times(tag, times), strict=True))
            if station_flows(judgement.context, fault)[state, pair] > 0 and one.valve[tag]:
                mine.append([line["outlet_other"] for line in lines])
                theirs.append(tuple(row[2] for row in one.at_times(tag, times, other_model=True)))
            for values, others in zip(mine, theirs, strict=True):
                for time, value, other in zip(times, values, others, strict=True):
                    if other is not None:
                        assert value == pytest.approx(other, rel=1e-6, abs=1e-6), (fault, state, pair, time)
                        compared += 1
    assert compared > 100


@pytest.mark.parametrize("seed", SEEDS)
def test_temperatures_with_a_share_of_the_tank_mixed(seed):
    """The layered tank between the two models, at the times that are told, in normal use."""
    judgement, oracle = judged(seed)
    site, rng = JudgedSite(judgement), random.Random(seed)
    times = course_times(judgement.measures.courses.flush).tolist()
    for state, pair in places(judgement, NORMAL):
        opening, station = pair_of(judgement, pair)
        one, tag = account(judgement, oracle, NORMAL, state, opening), judgement.network.station_tags[station]
        if one.valve[tag] is None or one.source(one.valve[tag])["kind"] != "storage":
            continue
        fraction = rng.choice((0.0, rng.uniform(0.0, 0.97)))
        lines = course_of_case(site, station, (opening, state, NORMAL), fraction)
        for line, other in zip(lines, one.at_times(tag, times, fraction=fraction), strict=True):
            for name, value in zip(("hot", "mixed", "outlet"), other, strict=True):
                if value is not None:
                    assert line[name] == pytest.approx(value, rel=1e-6, abs=1e-6), (state, pair, fraction, line)


def test_the_random_sites_ask_for_everything():
    """Every kind of source, every fault, sets, several valves on one source, loops, held runs, weather and sun."""
    found = Counter()
    for seed in SEEDS:
        judgement, _ = judged(seed)
        site, cases = judgement.site, judgement.cases
        found.update(judgement.results.names)
        found.update(row.kind for row in site.hot_water_sources)
        found.update(row.exposure for row in site.pipe_runs)
        found["loop"] += sum(row.loop_flow is not None for row in site.mixing_valves)
        found["held"] += sum(row.held_temperature is not None for row in site.pipe_runs)
        found["sun"] += sum(row.exposure == "outside" and row.sun for row in site.pipe_runs)
        found["two valves on one source"] += len(site.mixing_valves) > len(site.hot_water_sources)
        found["set of two valves"] += int((cases.valves.counts > 1).any())
        found["set"] += int((cases.kind == SET).any())
        found["parallel"] += sum(row.second_model is not None for row in site.mixing_valves)
        found["without a valve"] += len(judgement.context.without_valve.nonzero()[0])
        summary = judgement.measures.courses.summary()
        found["never tepid"] += int(np.isinf(summary.tepid_after).sum())
        found["known"] += int((~np.isnan(summary.inside)).sum()) // 100
        found["compared"] += sum(len(places(judgement, fault)) for fault in judgement.results.names)
        found["tank"] += sum(row.kind == "storage" for row in site.hot_water_sources)
        found["long purge"] += int((summary.purge > 900).sum())
        found["runs out"] += int((judgement.measures.hot_seconds("normal") < DAY / 100).sum())
    more = ("inside", "outside", "buried", "loop", "held", "sun", "two valves on one source", "set",
            "set of two valves", "parallel", "without a valve", "never tepid", "known", "tank", "long purge",
            "runs out")  # fmt: skip
    assert {name: found[name] for name in (*FAULTS, *KINDS, *more) if found[name] < 2} == {}
    assert found["compared"] > 500
