"""Laws that the courses of every site must keep."""

import copy
from functools import cache

import numpy as np
import pytest

from drenchbook import courses as courses_module
from drenchbook.check_context import Context
from drenchbook.checks import judge
from drenchbook.courses import Courses
from drenchbook.operating_cases import NORMAL, ONE_OUTLET
from tests.checks.sites import added, edited, laboratory
from tests.lab_site import solved
from tests.solver.random_heat import RandomHeat

SEEDS = (2, 3, 8)  # a pump that stops, reducing valves in a loop, several sources, sets of two valves


def courses_of(site):
    """The courses of a site, which is solved."""
    one = solved(site)
    return Courses(Context(one.site, one.network, one.cases, one.results))


@cache
def base(seed):
    """A random site as it is."""
    return courses_of(RandomHeat(seed).site())


def by_name(courses, fault):
    """Each number of each station of each opening, by names, in all states."""
    cases, summary, found = courses.cases, courses.summary(fault), {}
    for pair, (station, opening) in enumerate(zip(cases.stations.member, cases.stations.opening, strict=True)):
        tags = sorted(cases.station_tags[s] for s in cases.stations.member[cases.stations.of(opening)])
        outlet = cases.outlet_names[cases.outlets.member[cases.outlets.of(opening)][0]]
        name = (*tags, outlet if cases.kind[opening] == ONE_OUTLET else "", cases.station_tags[station])
        found[name] = {field: value[:, pair] for field, value in vars(summary).items()}
    return found


def same(one, other, rel):
    """Both know the same, and it is the same, in every fault."""
    assert one.context.results.names == other.context.results.names
    known = 0
    for fault in one.context.results.names:
        mine, theirs = by_name(one, fault), by_name(other, fault)
        assert mine.keys() == theirs.keys()
        for field in ("inside", "first", "purge", "untepid", "tepid_after", "lowest", "highest"):
            value, again = (np.array([one[name][field] for name in mine]) for one in (mine, theirs))
            off = ~np.isclose(again, value, rtol=rel, atol=1e-6, equal_nan=True)
            assert not off.any(), (fault, field, list(mine)[int(np.argwhere(off)[0, 0])])
            known += int((~np.isnan(value)).sum())
    assert known > 100


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_rows_does_not_matter(seed):
    """Every table the other way round."""
    random_site = RandomHeat(seed)
    keys = ("pipe_runs", "line_devices", "valve_models", "mixing_valves", "hot_water_sources", "outlet_models",
            "supplies", "stations")  # fmt: skip
    same(base(seed), courses_of(random_site.site({key: random_site.rows[key][::-1] for key in keys})), rel=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_split_run_equals_the_whole(seed):
    """Each run cut in two; what stands in both stands in the same surroundings."""
    random_site, runs = RandomHeat(seed), []
    for row in random_site.rows["pipe_runs"]:
        first = {**row, "tag": f"{row['tag']} a", "developed_length": 0.3 * row["developed_length"]}
        second = {**row, "fed_from": first["tag"], "developed_length": 0.7 * row["developed_length"],
                  "fittings": "none", "devices": ()}  # fmt: skip
        runs += [first, second]
    same(base(seed), courses_of(random_site.site({"pipe_runs": runs})), rel=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_us_equals_si(seed):
    """The same site typed in either unit system."""
    same(*(courses_of(RandomHeat(seed, units=units).site()) for units in ("US", "SI")), rel=1e-7)


def test_any_block_size_gives_the_same_answer(monkeypatch):
    """Seven pairs at a time, or all at once."""
    whole = base(SEEDS[0])
    monkeypatch.setattr(courses_module, "BLOCK_PAIRS", 7)
    same(whole, Courses(whole.context), rel=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_larger_storage_never_gives_less(seed):
    """Half as much again of every storage, in normal use: minutes inside do not fall, nor does what is left."""
    random_site = RandomHeat(seed)
    sources = copy.deepcopy(random_site.rows["hot_water_sources"])
    for row in sources:
        if row["kind"] == "storage":
            row["volume"] *= 1.5
    before, after = base(seed), courses_of(random_site.site({"hot_water_sources": sources}))
    rich = by_name(after, NORMAL)
    for name, numbers in by_name(before, NORMAL).items():
        more = rich[name]["inside"]
        assert (np.nan_to_num(more) >= np.nan_to_num(numbers["inside"]) - 1e-6).all(), name
    mine, theirs = (np.nan_to_num(one.storage(NORMAL)[0]) for one in (before, after))
    assert (theirs >= mine - 1e-9).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_felt_lies_between_the_waters_there_are(seed):
    """Seconds within the flush, temperatures between all that stands round the site and its hottest source."""
    courses = base(seed)
    around, hot = courses.pipes.surroundings, [one.temperature for one in courses.heaters]
    there = [around.shade, around.sun, around.flowing, np.nan_to_num(courses.pipes.held, nan=20.0),
             courses.network.cold_temperature, courses.network.valve_set]  # fmt: skip
    least, most = min(float(one.min()) for one in there), max(*hot, *(float(one.max()) for one in there))
    for fault in courses.context.results.names:
        one = courses.summary(fault)
        for value in (one.lowest, one.highest, one.first):
            known = value[~np.isnan(value)]
            assert ((known >= least - 1e-6) & (known <= most + 1e-6)).all(), fault
        inside = one.inside[~np.isnan(one.inside)]
        assert ((inside >= 0) & (inside <= courses.flush + 1e-9)).all()
        assert not (one.lowest > one.highest + 1e-9).any()


@pytest.mark.parametrize("run", ["TR-C", "TR-L4", "HW-1"])
def test_a_reducing_valve_that_never_closes_changes_no_course(run):
    """What stands, cools and is flushed above it counts as well: a device within a run ends no path."""
    site = edited(laboratory(), "pipe_runs", "*", exposure="inside", sun=False, insulation=0.0)
    site = edited(site, "project", "", outside_air_cold=10.0, outside_air_warm=105.0)
    site = edited(site, "pipe_runs", "TR-A", exposure="outside")
    site = added(edited(site, "pipe_runs", "HW-1", fed_from="HW-0"), "pipe_runs", tag="HW-0", fed_from="WH-1",
                 material="copper L", size="1", developed_length=30.0, fittings="none", far_end_elevation=0.0,
                 exposure="outside", sun=False, insulation=0.0)  # fmt: skip
    above = added(site, "line_devices", tag="PRV", kind="pressure-reducing valve", loss_per_flow_squared=0.0,
                  setting=300.0)  # fmt: skip  # [psi] more than anywhere
    devices = next(row.devices for row in site.pipe_runs if row.tag == run) or ()
    before, after = (Courses(judge(one).context).summary()
                     for one in (site, edited(above, "pipe_runs", run, devices=(*devices, "PRV"))))  # fmt: skip
    for name, value in vars(before).items():
        assert getattr(after, name) == pytest.approx(value, rel=1e-9, abs=1e-6, nan_ok=True), name
