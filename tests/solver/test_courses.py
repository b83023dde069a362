"""Courses against a slow step-by-step account of a thousand random cases, hand calculations, and laws."""

import math
import random

import pytest

from drenchbook.checks import judge
from drenchbook.courses import Courses
from drenchbook.hot_sources import valve_mass
from drenchbook.operating_cases import NORMAL, POWER_LOST, STATES
from drenchbook.site_model import Site
from tests.checks.sites import edited, lab
from tests.oracle.scalar_course import Course

STEP = 0.5  # [s] of the account in steps


def random_site(seed: int) -> Site:
    """The laboratory with other tanks, waters, rooms and pipes; every valve under control."""
    r = random.Random(seed)
    site = lab("hot_water_sources", "WH-1", volume=r.uniform(40, 300), start_temperature=r.uniform(112, 140),
               usable_fraction=r.uniform(0.5, 1.0), usable_fraction_source=r.choice(("SAMPLE draw test", None)),
               input_power=r.uniform(0, 6e5), efficiency=r.uniform(0.7, 1.0), start_delay=r.choice((0.0, 1.5, 6.0)),
               other_demand=r.choice((0.0, 2.0)))  # fmt: skip
    room = r.uniform(45, 105)
    site = edited(site, "project", "", cold_water_cold=r.uniform(35, 58), cold_water_warm=r.uniform(50, 84),
                  room_cold=room, room_warm=room, recovery_time=2.0)  # fmt: skip
    # runs of long standing neither gain nor lose: the account in steps leaves that out, so the pipes are well insulated
    site = edited(site, "pipe_runs", "*", insulation=500.0)
    site = edited(site, "pipe_runs", "HW-1", developed_length=r.uniform(1, 150))
    site = edited(site, "valve_models", "*", minimum_flow=0.1)
    return edited(site, "mixing_valves", "MV-1", set_temperature=r.uniform(72, 88))


def account(site: Site, judgement, pair: int, state: int, governing: str, fault: str = NORMAL):
    """The same pair in small steps."""
    cases = judgement.cases
    opening, number = int(cases.stations.opening[pair]), int(cases.stations.member[pair])
    results = judgement.results.fault(fault)
    valves = cases.valves.of(opening)
    mass = float(valve_mass(judgement.context, results)[state, valves][0])
    limits = [judgement.context.limit(name).value for name in ("TMP least", "TMP greatest")]
    course = Course(site, STATES[state][0], str(site.stations[number].tag), mass, limits, fault)
    own = results.outlet_flow[state, cases.outlets.of(opening)]
    mine = cases.outlet_station[cases.outlets.member[cases.outlets.of(opening)]] == number
    return course, float(own[mine].sum()), governing


@pytest.mark.parametrize("seed", range(40))
def test_a_station_alone_agrees_with_small_steps(seed):
    """Some 18 cases a seed: five stations alone and in parts, two seasons, both tank models."""
    agree(random_site(seed), NORMAL)


@pytest.mark.parametrize("seed", range(100, 120))
def test_a_station_agrees_with_small_steps_when_power_is_lost(seed):
    site = edited(random_site(seed), "hot_water_sources", "WH-1", needs_power=True)
    agree(edited(site, "supplies", "SUP-1", other_demand=0.0), POWER_LOST)


def agree(site, fault):
    """Every known case of a station alone against the account in steps."""
    judgement = judge(site)
    courses = Courses(judgement.context)
    governs = judgement.measures.hot_water.governs[0]
    summary = courses.summary(fault)
    seen = 0
    for pair in range(len(judgement.cases.stations.member)):
        opening = int(judgement.cases.stations.opening[pair])
        if judgement.cases.stations.counts[opening] != 1:
            continue
        for state in (0, 3):
            if math.isnan(summary.inside[state, pair]):
                continue
            course, _, model = account(site, judgement, pair, state, governs, fault)
            felt = course.felt(model, STEP)
            seen += 1
            near = {"rel": 0, "abs": 3 * STEP}
            assert summary.inside[state, pair] == pytest.approx(felt.inside, **near), (pair, state)
            assert min(summary.untepid[state, pair], 900) == pytest.approx(felt.untepid, **near), (pair, state)
            assert summary.lowest[state, pair] == pytest.approx(felt.lowest, abs=0.15), (pair, state)
            assert summary.highest[state, pair] == pytest.approx(felt.highest, abs=0.15), (pair, state)
    assert seen >= 15
