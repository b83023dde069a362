"""Which openings a site has, and the states of cases that cannot be solved."""

import math
import tomllib
from itertools import combinations

import numpy as np
import pytest

from drenchbook.errors import InputError
from drenchbook.network import compile_network
from drenchbook.operating_cases import HOT_LOST, NORMAL, ONE_OUTLET, SET, SOURCE_COLD, STATION_ALONE, operating_cases
from drenchbook.site_file import site_of_document
from drenchbook.site_model import Missing
from drenchbook.solver import frictionless_margin, static_pressures
from drenchbook.solver_results import BEYOND_CURVE, CANNOT_REACH, MISSING, NO_PATH, SOLVED
from tests.lab_site import SAMPLE, laboratory, solved
from tests.us_units import GPM, PSI


def changed(**tables):
    """The laboratory with other values: changed(pipe_runs={"TR-L2": {"size": None}})."""
    document = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    for key, rows in tables.items():
        for row in document[key] if isinstance(document[key], list) else [document[key]]:
            for name, value in rows.get(row.get("tag", row.get("model", "")), {}).items():
                row.pop(name, None)
                if value is not None:
                    row[name] = value
    return site_of_document(document, "test").site


def state_of(one, fault, *stations, state=0):
    return one.results.fault(fault).state[state, one.cases.find(stations)]


def test_openings_of_the_laboratory():
    """Five stations alone, the two pairs of its events, and each outlet of the two combinations."""
    cases = laboratory().cases
    assert cases.labels(range(len(cases))) == [
        "L1", "L2", "L3", "L4", "L5", "L1 + L2", "L2 + L5", "L1: shower alone", "L1: eye/face wash alone",
        "L4: shower alone", "L4: eye/face wash alone"]  # fmt: skip
    assert [cases.events_of(o) for o in (5, 6)] == [("bench 1",), ("bench 2",)]
    assert cases.kind.tolist() == [STATION_ALONE] * 5 + [SET] * 2 + [ONE_OUTLET] * 4
    assert cases.valves.member.tolist() == [0] * 11
    assert cases.sources.member.tolist() == [0] * 11


def event_site(users, showers):
    document = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    all_of = {"tag": "all", "stations": "L1, L2, L3, L4, L5", "users": users, "showers": showers, "reason": "all"}
    document["events"] = [{**document["events"][0]}, all_of]
    return site_of_document(document, "test").site


@pytest.mark.parametrize(("users", "showers"), [(2, 0), (3, 1), (4, 2), (5, 5)])
def test_sets_of_an_event(users, showers):
    """Every choice within users and showers, each once, also where another event allows it too."""
    site = event_site(users, showers)
    cases = operating_cases(site, compile_network(site))
    with_shower = {0, 3, 4}
    wanted = {chosen for size in range(2, users + 1) for chosen in combinations(range(5), size)
              if len(with_shower & set(chosen)) <= showers} | {(0, 1)}  # fmt: skip
    sets = np.flatnonzero(cases.kind == SET)
    found = [tuple(cases.stations.member[cases.stations.of(o)].tolist()) for o in sets]
    assert set(found) == wanted
    assert len(found) == len(wanted)
    first = sets[found.index((0, 1))]
    assert cases.events_of(first) == (("bench 1", "all") if showers else ("bench 1",))
    assert all(cases.events_of(o) == ("all",) for o in sets if o != first)


def test_too_many_sets_is_a_sentence():
    """More than 200,000 sets of one event: which event, how many, and what to do."""
    document = tomllib.loads(SAMPLE.read_text(encoding="utf-8"))
    station = document["stations"][1]
    document["stations"] = [{**station, "tag": f"E{i}"} for i in range(60)]
    document["events"] = [{"tag": "hall", "stations": ", ".join(f"E{i}" for i in range(60)), "users": 4, "showers": 0,
                           "reason": "all at once"}]  # fmt: skip
    site = site_of_document(document, "test").site
    count = sum(math.comb(60, size) for size in (2, 3, 4))
    with pytest.raises(InputError, match=rf"Events hall: users = 4: gives {count:,} sets.*lower the users"):
        operating_cases(site, compile_network(site))


def test_an_event_with_a_blank_is_not_solved_and_says_so():
    """No sets come from an event whose users are not known."""
    site = changed(events={"bench 1": {"users": None}})
    cases = operating_cases(site, compile_network(site))
    assert "users" in cases.event_missing[0]
    assert "bench 1" in cases.event_missing[0]
    assert cases.event_missing[1] == ""
    assert [cases.label(o) for o in np.flatnonzero(cases.kind == SET)] == ["L2 + L5"]


def test_two_showers_of_one_station_are_told_apart():
    """A second outlet of the same kind is "shower 2"."""
    site = laboratory().site
    last = site.stations[4]
    twice = last.model_copy(update={"outlet_2": last.outlet_1, "outlet_2_elevation": last.outlet_1_elevation})
    site = site.model_copy(update={"stations": (*site.stations[:4], twice)})
    cases = operating_cases(site, compile_network(site))
    assert "L5: shower 2 alone" in cases.labels(range(len(cases)))


def test_a_missing_input_stops_only_its_own_stations():
    """L2's branch without a size: L2 and its sets have no answer, everyone else has."""
    one = solved(changed(pipe_runs={"TR-L2": {"size": None}}))
    assert state_of(one, NORMAL, "L2") == MISSING
    assert state_of(one, NORMAL, "L1", "L2") == MISSING
    assert state_of(one, NORMAL, "L1") == SOLVED
    assert np.isnan(one.results.normal.outlet_flow[:, one.cases.outlets.of(1)]).all()
    assert len(one.network.missing[1]) == 1
    assert "pipe_runs" in one.network.missing[1][0]
    assert "size" in one.network.missing[1][0]
    assert one.network.missing[0] == ()


@pytest.mark.parametrize(
    "change",
    [{"supplies": {"SUP-1": {"residual_low": None}}}, {"hot_water_sources": {"WH-1": {"start_temperature": None}}},
     {"line_devices": {"B-1": {"curve": "10 10; 5 9"}}}, {"pipe_runs": {"HW-1": {"developed_length": "2,5"}}},
     {"mixing_valves": {"MV-1": {"set_temperature": None}}}, {"pipe_runs": {"CM-1": {"fittings": None}}}],
    ids=lambda change: "{} {}".format(*next((key, *rows) for key, rows in change.items())),
)  # fmt: skip
def test_what_every_path_needs(change):
    """Supply, heater, device, hot run, valve and common run stand on every path of the laboratory."""
    one = solved(changed(**change))
    assert (one.results.normal.state == MISSING).all()
    assert all(len(why) == 1 for why in one.network.missing)


def test_what_hydraulics_do_not_need():
    """A blank drain, travel time, rating, usable fraction or test date leaves every case solved."""
    one = solved(changed(stations={"L1": {"drain": None, "travel_time": None, "floor_elevation": None}},
                         hot_water_sources={"WH-1": {"usable_fraction": None, "volume": None, "other_demand": None}},
                         supplies={"SUP-1": {"test_date": None, "other_demand": None}}))  # fmt: skip
    assert (one.results.normal.state == SOLVED).all()


def test_an_unknown_bypass_stops_only_the_faults():
    """Without a bypass coefficient normal use is solved and both faults are missing an input."""
    site = laboratory().site
    model = site.valve_models[0].model_copy(update={"bypass_coefficient": Missing("is blank", None, "Valve models")})
    one = solved(site.model_copy(update={"valve_models": (model,)}))
    assert (one.results.normal.state == SOLVED).all()
    for fault in (HOT_LOST, SOURCE_COLD):
        assert (one.results.fault(fault).state == MISSING).all()


def test_no_bypass_leaves_no_way():
    """Hot pressure lost has no flow path; a cold source still comes through the hot seat alone."""
    one = solved(changed(mixing_valves={"MV-1": {"parallel_bypass": "N"}}))
    assert (one.results.fault(HOT_LOST).state == NO_PATH).all()
    cold = one.results.fault(SOURCE_COLD)
    assert (cold.state == SOLVED).all()
    assert (cold.valve.cold_flow == 0).all()


def test_out_of_reach_is_a_state():
    """A supply of 15 psi cannot lift water to 49 ft, nor open the preventer's 11.5 psi at 35 ft; numbers are none."""
    low = {"static_low": 15, "residual_low": 10}
    one = solved(changed(supplies={"SUP-1": low}))
    for station in ("L4", "L5"):
        assert state_of(one, NORMAL, station) == CANNOT_REACH
        assert state_of(one, NORMAL, station, state=1) == SOLVED
    assert np.isnan(one.results.normal.outlet_flow[0, one.cases.outlets.of(3)]).all()
    assert np.isnan(one.results.normal.valve.flow[0, one.cases.valves.of(3)]).all()


def test_beyond_a_curve_is_refused():
    """A preventer whose curve ends at 20 gpm: L1's 26 gpm has no numbers and names the curve, 3.5 gpm is fine."""
    one = solved(changed(line_devices={"B-1": {"curve": "0 11.5; 10 10.6; 20 10.2"}}))
    result = one.results.normal
    assert state_of(one, NORMAL, "L1") == BEYOND_CURVE
    assert one.network.curve_names[result.beyond_item[0, 0]] == "B-1"
    assert np.isnan(result.outlet_flow[0, one.cases.outlets.of(0)]).all()
    assert state_of(one, NORMAL, "L2") == SOLVED
    assert result.beyond_item[0, 1] == -1


def test_beyond_a_valve_curve_is_refused():
    """A model's curve that ends at 10 gpm."""
    site = laboratory().site
    model = site.valve_models[0].model_copy(update={"seat_coefficient": None, "seat_curve": ((5.0, 0.2), (10.0, 0.8))})
    one = solved(site.model_copy(update={"valve_models": (model,)}))
    assert state_of(one, NORMAL, "L1") == BEYOND_CURVE
    assert one.results.normal.valve.beyond_model[0, one.cases.valves.of(0)].all()
    assert one.network.curve_names[one.results.normal.beyond_item[0, 0]] == site.valve_models[0].model
    assert state_of(one, NORMAL, "L2") == SOLVED
    assert not one.results.normal.valve.beyond_model[0, one.cases.valves.of(1)].any()


def test_beyond_the_tested_flow_is_only_said():
    """A test flow of 20 gpm: L1's 26 gpm are solved and flagged."""
    one = solved(changed(supplies={"SUP-1": {"test_flow_low": 20}}))
    assert state_of(one, NORMAL, "L1") == SOLVED
    flags = one.results.normal.supply_beyond_test
    assert flags[0, 0]
    assert not flags[0, 1]
    assert not flags[1].any()


@pytest.mark.parametrize(("set_to", "start", "reach", "share"), [(85, 80, -1, 1.0), (70, 130, 1, 0.0)])
def test_a_set_temperature_out_of_reach(set_to, start, reach, share):
    """Tank at 80 °F and set at 85: full hot, too cold. Cold water at 74 and set at 70: full cold, too hot."""
    one = solved(changed(mixing_valves={"MV-1": {"set_temperature": set_to}},
                         hot_water_sources={"WH-1": {"start_temperature": start}}))  # fmt: skip
    state = 0 if reach < 0 else 2
    pair, valve = one.cases.valves.of(0), one.results.normal.valve
    assert valve.reach[state, pair] == reach
    fraction = valve.hot_fraction[state, pair]
    assert (fraction > 1) if reach < 0 else (fraction < 0)
    assert (valve.cold_flow if share else valve.hot_flow)[state, pair] == 0
    assert valve.stem[state, pair] == share
    mixed = {-1: (80 - 32) / 1.8, 1: (74 - 32) / 1.8}[reach]
    assert valve.mixed_temperature[state, pair] == pytest.approx(mixed)


def test_velocity_names_its_run():
    """L4 at low supply: the fastest cold or tempered run is its 1 in branch, v = q/(π/4·d²)."""
    case = laboratory().case(NORMAL, "cold", "low", "L4")
    area = math.pi / 4 * (1.025 * 0.0254) ** 2
    total = sum(case.outlets("outlet_flow").values())
    assert case.station("velocity_cold", "L4") == pytest.approx(total / area)
    assert laboratory().network.run_tags[case.station("velocity_cold_run", "L4")] == "TR-L4"
    hot = math.pi / 4 * (1.265 * 0.0254) ** 2
    assert case.station("velocity_hot", "L4") == pytest.approx(case.valve("hot_flow") / hot)
    assert laboratory().network.run_tags[case.station("velocity_hot_run", "L4")] == "HW-1"


def test_supply_and_heater_give_what_the_valve_takes():
    """Water drawn from the supply is the mass of all outlets at the supply's temperature."""
    lab = laboratory()
    result, cases = lab.results.normal, lab.cases
    for opening in range(len(cases)):
        hot = result.source_hot_flow[:, cases.sources.of(opening)]
        assert hot == pytest.approx(result.valve.hot_flow[:, cases.valves.of(opening)])
        mixed = result.outlet_flow[:, cases.outlets.of(opening)].sum(axis=1)
        drawn = result.supply_flow[:, cases.supplies.of(opening)][:, 0]
        assert drawn == pytest.approx(mixed, rel=0.006)  # water of 85 °F takes 0.4 % more room than at 42 °F
        assert (drawn < mixed).all()


def test_margins_of_a_missing_station_are_unknown():
    """Neither static pressure nor the margin without friction is guessed."""
    network = compile_network(changed(pipe_runs={"TR-L2": {"size": None}}))
    flow = np.full(len(network.outlet_station), GPM)
    left = frictionless_margin(network, flow, np.zeros(len(flow)))
    static = static_pressures(network).outlet
    of_l2 = network.outlet_station == 1
    assert np.isnan(left[1])
    assert np.isnan(static[of_l2]).all()
    assert np.isfinite(np.delete(left, 1)).all()
    assert np.isfinite(static[~of_l2]).all()


def test_margin_without_friction_by_hand():
    """L2 at 3.5 gpm: 66 less devices, two seats and rise; what is left over 20 psi is some 26.5 psi."""
    network = laboratory().network
    left = frictionless_margin(network, np.full(len(network.outlet_station), 3.5 * GPM), np.full(7, 20 * PSI))
    supply = 66 - 9 * (3.5 / 60) ** 1.85
    devices = (0.0016 + 0.0009) * 3.5**2 + 11.5 - 0.9 * 0.35
    seats, rise = (3.5 / 11) ** 2, 0.4331 * 17.3
    assert left[1] / PSI == pytest.approx(supply - devices - seats - rise - 20, abs=0.1)
