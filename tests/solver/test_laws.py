"""Laws that every site must keep, tried on random ones."""

import copy
import random
from functools import cache

import numpy as np
import pytest

from drenchbook.operating_cases import HOT_LOST, NORMAL, SET, SOURCE_COLD, STATES
from drenchbook.physics.water import density, specific_enthalpy
from drenchbook.solver import solve, step_by_step
from drenchbook.solver_results import NOT_CONVERGED, SOLVED
from drenchbook.units import to_si
from tests.lab_site import solved
from tests.solver.random_sites import COPPER, KPA, RandomSite

SEEDS = (2, 5, 7, 9)


@cache
def base(seed):
    """A random site as it is, solved once."""
    return solved(RandomSite(seed).site())


def by_name(one, fault):
    """Flow of each outlet of each opening in each state by names; not-a-number counts as no flow."""
    network, pairs = one.network, one.cases.outlets
    result = one.results.fault(fault)
    labels = [" + ".join(sorted(label.split(" + "))) for label in one.cases.labels(range(len(one.cases)))]
    found = {}
    for pair, (outlet, opening) in enumerate(zip(pairs.member, pairs.opening, strict=True)):
        name = (labels[opening], network.station_tags[network.outlet_station[outlet]], network.outlet_names[outlet])
        found[name] = np.nan_to_num(result.outlet_flow[:, pair])
    return found


def same(one, other, rel):
    """Both have the same openings and the same flows."""
    assert one.results.names == other.results.names
    for fault in one.results.names:
        mine, theirs = by_name(one, fault), by_name(other, fault)
        assert mine.keys() == theirs.keys()
        for name, flow in mine.items():
            assert theirs[name] == pytest.approx(flow, rel=rel, abs=1e-13), (fault, name)


@pytest.mark.parametrize("seed", SEEDS)
def test_more_supply_never_lowers_a_flow(seed):
    """All supplies and plant mains 30 kPa higher."""
    random_site = RandomSite(seed)
    before = base(seed)
    more = random_site.typed(30 * KPA, "pressure")
    supplies, sources = copy.deepcopy((random_site.rows["supplies"], random_site.rows["hot_water_sources"]))
    for row in supplies:
        for key in row.keys() & {"static_low", "residual_low", "static_high", "residual_high"}:
            row[key] += more
        for key in row.keys() & {"curve_low", "curve_high"}:
            row[key] = tuple((q, p + more) for q, p in row[key])
    for row in sources:
        if "main_pressure" in row:
            row["main_pressure"] += more
    after = solved(random_site.site({"supplies": supplies, "hot_water_sources": sources}))
    for fault in before.results.names:
        rich = by_name(after, fault)
        for name, flow in by_name(before, fault).items():
            assert (rich[name] >= flow * (1 - 1e-9)).all(), (fault, name)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_larger_bypass_never_lowers_its_own_flows(seed):
    """Stations alone, when hot pressure is lost or the source is cold."""
    random_site = RandomSite(seed)
    before = base(seed)
    models = copy.deepcopy(random_site.rows["valve_models"])
    for row in models:
        if "bypass_coefficient" in row:
            row["bypass_coefficient"] *= 1.3
        else:
            row["bypass_curve"] = tuple((q, p / 1.69) for q, p in row["bypass_curve"])
    after = solved(random_site.site({"valve_models": models}))
    for fault in (HOT_LOST, SOURCE_COLD):
        rich = by_name(after, fault)
        for name, flow in by_name(before, fault).items():
            if " + " not in name[0]:
                assert (rich[name] >= flow * (1 - 1e-9)).all(), (fault, name)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_dead_branch_changes_nothing(seed):
    """Bit for bit: runs on which nothing is open take no part."""
    random_site = RandomSite(seed)
    runs = list(random_site.rows["pipe_runs"])
    dead = {**runs[0], "tag": "dead", "fed_from": random_site.rows["mixing_valves"][0]["tag"], "devices": ()}
    one, other = base(seed), solved(random_site.site({"pipe_runs": [*runs, dead]}))
    for mine, theirs in zip(one.results.faults, other.results.faults, strict=True):
        assert np.array_equal(mine.outlet_flow, theirs.outlet_flow, equal_nan=True)
        assert np.array_equal(mine.valve.chamber_pressure, theirs.valve.chamber_pressure, equal_nan=True)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_order_of_rows_does_not_matter(seed):
    """Every table written the other way round, stations as well."""
    random_site = RandomSite(seed)
    keys = ("pipe_runs", "line_devices", "valve_models", "mixing_valves", "hot_water_sources", "outlet_models",
            "supplies", "stations")  # fmt: skip
    turned = random_site.site({key: random_site.rows[key][::-1] for key in keys})
    same(base(seed), solved(turned), rel=1e-11)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_split_run_equals_the_whole(seed):
    """Each run cut in two; fittings and devices stay on the first part."""
    random_site = RandomSite(seed)
    runs = []
    for row in random_site.rows["pipe_runs"]:
        first = {**row, "tag": f"{row['tag']} a", "developed_length": 0.3 * row["developed_length"]}
        second = {**row, "fed_from": first["tag"], "developed_length": 0.7 * row["developed_length"],
                  "fittings": "none", "devices": ()}  # fmt: skip
        runs += [first, second]
    same(base(seed), solved(random_site.site({"pipe_runs": runs})), rel=1e-11)


@pytest.mark.parametrize("change", ["larger", "shorter"])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_larger_pipe_or_a_shorter_run_never_lowers_a_lone_outlet(seed, change):
    """Two runs of each site, one at a time; one outlet open, in every fault."""
    random_site, before = RandomSite(seed), base(seed)
    rows = random_site.rows["pipe_runs"]
    for place in (0, len(rows) // 2):
        if change == "larger":
            new = {**rows[place], "size": [*COPPER, "2-1/2"][COPPER.index(rows[place]["size"]) + 1]}
        else:
            new = {**rows[place], "developed_length": 0.4 * rows[place]["developed_length"]}
        after = solved(random_site.site({"pipe_runs": [*rows[:place], new, *rows[place + 1 :]]}))
        lone = np.isin(before.cases.outlets.opening, np.flatnonzero(before.cases.outlets.counts == 1))
        assert lone.any()
        for mine, theirs in zip(before.results.faults, after.results.faults, strict=True):
            old, now = (np.nan_to_num(one.outlet_flow[:, lone]) for one in (mine, theirs))
            assert (now >= old * (1 - 1e-9)).all(), (mine.fault, rows[place]["tag"])


@pytest.mark.parametrize("seed", SEEDS)
def test_an_event_with_more_users_never_gives_an_outlet_more(seed):
    """The least flow of each outlet over the openings of one user, two and four."""
    random_site = RandomSite(seed)
    tags = tuple(row["tag"] for row in random_site.rows["stations"])
    before: dict[str, np.ndarray] = {}
    for users in (1.0, 2.0, 4.0):
        event = {"tag": "all", "stations": tags, "users": users, "showers": users, "reason": "random"}
        one = solved(random_site.site({"events": [event]}))
        pairs = one.cases.outlets
        for fault in one.results.faults:
            least = np.full(len(one.network.outlet_station), np.inf)
            np.minimum.at(least, pairs.member, np.nan_to_num(fault.outlet_flow).min(axis=0))
            assert (least <= before.get(fault.fault, np.inf) * (1 + 1e-9)).all()
            before[fault.fault] = least


@pytest.mark.parametrize("seed", SEEDS)
def test_us_equals_si(seed):
    """The same site typed in either unit system."""
    same(solved(RandomSite(seed, units="US").site()), solved(RandomSite(seed, units="SI").site()), rel=1e-9)


@pytest.mark.parametrize("dips", [False, True])
def test_any_block_size_gives_the_same_answer(dips):
    """Openings solved three at a time, or all at once."""
    one = solved(RandomSite(5, dips=dips).site())
    small = solve(one.network, one.cases, block_openings=3)
    for mine, theirs in zip(one.results.faults, small.faults, strict=True):
        assert np.array_equal(mine.state, theirs.state)
        assert theirs.outlet_flow == pytest.approx(mine.outlet_flow, rel=1e-9, abs=1e-13, nan_ok=True)


@pytest.mark.parametrize("seed", SEEDS)
def test_mass_and_heat_are_kept(seed):
    """Hot and cold mass make the mixed mass, their enthalpy its enthalpy, and supplies give what outlets pass."""
    one = base(seed)
    network, valves, now = one.network, one.cases.valves, one.results.normal.valve
    for state, (season, _) in enumerate(STATES):
        some = ~np.isnan(now.flow[state]) & (now.flow[state] > 0) & (now.reach[state] == 0)
        cold = float(network.cold_temperature[("cold", "warm").index(season)])
        hot = network.source_temperature[network.valve_source[valves.member[some]]]
        wanted = network.valve_set[valves.member[some]]
        hot_mass = now.hot_flow[state, some] * density(hot)
        cold_mass = now.cold_flow[state, some] * density(cold)
        assert hot_mass + cold_mass == pytest.approx(now.flow[state, some] * density(wanted))
        heat = hot_mass * specific_enthalpy(hot) + cold_mass * specific_enthalpy(cold)
        assert heat == pytest.approx((hot_mass + cold_mass) * specific_enthalpy(wanted))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_starved_member_changes_nothing_for_the_others(seed):
    """A set of two with a station that gets nothing equals the other station alone."""
    random_site = RandomSite(seed)
    stations = [*random_site.rows["stations"]]
    high = {**stations[0], "tag": "high"}
    for slot in (1, 2, 3):
        if f"outlet_{slot}" in high:
            high[f"outlet_{slot}_elevation"] = random_site.typed(200.0, "length")
    event = {"tag": "pair", "stations": (stations[-1]["tag"], "high"), "users": 2.0, "showers": 2.0}
    one = solved(random_site.site({"stations": [*stations, high], "events": [event]}))
    both, alone = one.cases.find((stations[-1]["tag"], "high")), one.cases.find((stations[-1]["tag"],))
    for fault in one.results.faults[:1]:
        members = one.cases.outlets
        for state in range(len(STATES)):
            if fault.state[state, alone] != SOLVED:
                continue
            assert fault.state[state, both] == SOLVED
            got = fault.outlet_flow[state, members.of(both)]
            up = one.network.outlet_station[members.member[members.of(both)]] == len(stations)
            assert (got[up] == 0).all()
            assert (fault.outlet_pressure[state, members.of(both)][up] < 0).all()
            assert got[~up] == pytest.approx(fault.outlet_flow[state, members.of(alone)], rel=1e-9, abs=1e-13)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_independent_walk_ends_at_the_outlets_pressure(seed):
    """Loss by loss from the physics, the path of a station arrives at the pressure that the solver reports."""
    one = base(seed)
    network, outlets = one.network, one.cases.outlets
    walked = 0
    for fault in one.results.faults:
        for state, opening in np.argwhere(fault.state == SOLVED)[::7]:
            for station in one.cases.stations.member[one.cases.stations.of(opening)]:
                steps = step_by_step(network, one.cases, one.results, fault.fault, state, opening, int(station))
                ends = [step.pressure for step in steps if step.kind == "outlet"]
                pairs = [pair for pair in range(*outlets.of(opening).indices(len(outlets.member)))
                         if network.outlet_station[outlets.member[pair]] == station]  # fmt: skip
                assert ends == pytest.approx(fault.outlet_pressure[state, pairs], rel=1e-9, abs=1e-3)
                walked += 1
    assert walked > 0


def test_equal_shares_of_equal_showers():
    """Two equal stations on equal branches flow the same."""
    random_site = RandomSite(3, valves=1)
    first = {**random_site.rows["stations"][0]}
    twins = [{**first, "tag": "A"}, {**first, "tag": "B"}]
    event = {"tag": "pair", "stations": ("A", "B"), "users": 2.0, "showers": 2.0}
    one = solved(random_site.site({"stations": twins, "events": [event]}))
    both = one.cases.find(("A", "B"))
    for fault in (NORMAL, HOT_LOST):
        result = one.results.fault(fault)
        flows = result.outlet_flow[:, one.cases.outlets.of(both)]
        half = flows.shape[1] // 2
        assert flows[:, :half] == pytest.approx(flows[:, half:], rel=1e-9, nan_ok=True)


@pytest.mark.parametrize("seed", SEEDS)
def test_time_to_tepid_is_volume_over_flow(seed):
    """A station alone: the purge times its flow is the wall-weighted content of the runs behind the valve."""
    one = base(seed)
    result, network, stations = one.results.normal, one.network, one.cases.stations
    for state, opening in np.argwhere(result.state == SOLVED):
        if one.cases.kind[opening] == SET:
            continue
        station = stations.member[stations.of(opening)][0]
        if network.station_valve[station] < 0:
            continue
        flow = np.nansum(result.outlet_flow[state, one.cases.outlets.of(opening)])
        content = result.station.purge_seconds[state, stations.of(opening)][0] * flow
        assert content == pytest.approx(network.purge_sum[network.station_node[station]])


def test_pressure_is_typed_in_the_units_of_the_site():
    """A shower at the gauge's height, on a short run without friction worth naming, gets the supply's pressure."""
    random_site = RandomSite(0, units="US", method="Hazen-Williams", supplies=1, valves=1)
    supply = {"tag": "S0", "gauge_elevation": 0.0, "static_low": 60.0, "residual_low": 60.0, "test_flow_low": 50.0,
              "static_high": 70.0, "residual_high": 70.0, "test_flow_high": 50.0}  # fmt: skip
    run = {"tag": "R", "fed_from": "S0", "material": "copper L", "size": "2", "developed_length": 1e-6,
           "fittings": "none", "far_end_elevation": 10.0, "devices": ()}  # fmt: skip
    outlet = {"model": "O", "kind": "shower", "type": "orifice", "rated_flow": 20.0, "rated_pressure": 30.0}
    station = {"tag": "L", "fed_from": "R", "outlet_1": "O", "outlet_1_elevation": 0.0}
    none = dict.fromkeys(("hot_water_sources", "line_devices", "mixing_valves", "valve_models", "events"), ())
    one = solved(random_site.site({**none, "supplies": [supply], "pipe_runs": [run], "outlet_models": [outlet],
                                   "stations": [station]}))  # fmt: skip
    low, high = one.results.normal.outlet_pressure[:2, 0]
    assert low == pytest.approx(to_si(60.0, "psi"))
    assert high == pytest.approx(to_si(70.0, "psi"))
    assert one.results.normal.outlet_flow[0, 0] == pytest.approx(to_si(20 * 2**0.5, "gpm"))


def reduced_tempered_runs(seed):
    """A random site with pressure-reducing valves on some of its tempered runs."""
    built, draw = RandomSite(seed, more=True), random.Random(f"red {seed}")
    tempered = {row["tag"] for row in built.rows["mixing_valves"]}
    for row in built.rows["pipe_runs"]:
        if row["fed_from"] in tempered:
            tempered.add(row["tag"])
            if draw.random() < 0.4:
                device = {"tag": f"R{row['tag']}", "kind": "pressure-reducing valve",
                          "loss_per_flow_squared": built.typed(draw.uniform(0, 2e9), "loss per flow squared"),
                          "setting": built.typed(draw.uniform(60, 400) * KPA, "pressure")}  # fmt: skip
                built.rows["line_devices"].append(device)
                row["devices"] = (*row["devices"], device["tag"])
    return built.site()


@pytest.mark.parametrize("seed", [20, 7])
def test_reducing_valves_on_tempered_runs_leave_no_case_open(seed):
    """The first has an outlet at the very end of its reach: 0.006 mL/min at 0 Pa, where pressure is rounding."""
    results = solved(reduced_tempered_runs(seed)).results
    assert all((fault.state != NOT_CONVERGED).all() for fault in results.faults)
