"""Faults, boosters, reducing valves and two valves in parallel on sites small enough for a sheet of paper.

Runs are short enough to lose next to nothing, so that each number is a sum of a few pressures. SI site, cold water of
10 °C and 999.7 kg/m³: a metre of height is 9.80 kPa.
"""

import numpy as np
import pytest

from drenchbook.faulted_network import changes_in, fault_gaps, faults_of, why_case_missing
from drenchbook.operating_cases import (
    AFTER_IDLE,
    AFTER_RECOVERY,
    CIRCULATION_OFF,
    COLD_LOST,
    HOT_LOST,
    MAIN_LOST,
    NORMAL,
    OTHER_DEMAND,
    POWER_LOST,
    SOURCE_COLD,
    STRAINER_FOULED,
    VALVE_OUT,
)
from drenchbook.site_model import ROW_MODELS, Site
from drenchbook.solver import static_pressures, step_by_step
from drenchbook.solver_results import CANNOT_REACH, FROM_DATA, MISSING, NO_PATH, NO_WATER, SOLVED
from tests.lab_site import solved

KPA, LPM = 1e3, 1e-3 / 60
ROW = ROW_MODELS
NEXT_TO_NOTHING = {"rel": 2e-4}


def supply(tag="S", static=400.0, **more):
    """A main that keeps its pressure but for what the test says."""
    row = {"tag": tag, "gauge_elevation": 0.0, "other_demand": 0.0}
    for level in ("low", "high"):
        row.update({f"static_{level}": static, f"residual_{level}": static, f"test_flow_{level}": 100.0})
    return ROW["supplies"](**{**row, **more})


def run(tag, fed_from, *devices, height=0.0):
    """A short wide run."""
    return ROW["pipe_runs"](tag=tag, fed_from=fed_from, material="copper L", size="2", developed_length=1e-4,
                            fittings="none", far_end_elevation=height, devices=devices)  # fmt: skip


def device(tag, kind, loss=0.0, **more):
    return ROW["line_devices"](tag=tag, kind=kind, loss_per_flow_squared=loss, **more)


def outlet(model="O", flow=60.0, pressure=200.0, type_="orifice"):
    return ROW["outlet_models"](model=model, kind="shower", type=type_, rated_flow=flow, rated_pressure=pressure)


def station(tag, fed_from, height=0.0, model="O"):
    return ROW["stations"](tag=tag, fed_from=fed_from, outlet_1=model, outlet_1_elevation=height)


def site(*, supplies=None, runs=(), devices=(), stations=(), models=None, limits=(), events=(), **tables):
    """A site of these rows."""
    project = ROW["project"](units="SI", friction_method="Hazen-Williams", cold_water_cold=10.0, cold_water_warm=10.0)
    return Site(project=project, supplies=supplies or (supply(),), pipe_runs=tuple(runs), line_devices=tuple(devices),
                outlet_models=models or (outlet(),), stations=tuple(stations), limits=tuple(limits),
                events=tuple(events), **{key: tuple(rows) for key, rows in tables.items()})  # fmt: skip


def tempered(*, two_mains=False, source=None, valve=None, model=None, more_models=(), hot=(), cold=(), **more):
    """One shower behind a valve; storage on the same main unless the test says otherwise."""
    tank = {"tag": "H", "kind": "storage", "fed_from": "S2" if two_mains else "S", "start_temperature": 60.0,
            "loss_per_flow_squared": 0.0, "needs_power": True, "other_demand": 0.0}  # fmt: skip
    data = {"model": "M", "seat_coefficient": 6.0, "minimum_flow": 5.0, "bypass_coefficient": 4.0, "leakage": 2.0}
    row = {"tag": "V", "model": "M", "cold_run": "C", "hot_run": "W", "elevation": 0.0, "set_temperature": 30.0,
           "parallel_bypass": True}  # fmt: skip
    mains = (supply(), supply("S2")) if two_mains else (supply(),)
    runs = (run("C", "S", *cold), run("W", "H", *hot), *more.pop("runs", ()))
    return site(supplies=more.pop("supplies", mains), runs=runs, stations=more.pop("stations", (station("L", "V"),)),
                hot_water_sources=(ROW["hot_water_sources"](**{**tank, **(source or {})}),),
                valve_models=(ROW["valve_models"](**{**data, **(model or {})}), *more_models),
                mixing_valves=(ROW["mixing_valves"](**{**row, **(valve or {})}),), **more)  # fmt: skip


def flow(one, fault, *stations, state=0):
    """Flow of the only outlet of a station [L/min]."""
    result, opening = one.results.fault(fault), one.cases.find(stations)
    return float(result.outlet_flow[state, one.cases.outlets.of(opening)][0] / LPM)


def state(one, fault, *stations):
    return int(one.results.fault(fault).state[0, one.cases.find(stations)])


def why(one, fault):
    """What the first opening lacks in a fault."""
    gaps = fault_gaps(one.network, fault)
    return why_case_missing(one.network, one.cases, fault, gaps, 0)


def orifice(pressure):
    """Flow of the usual outlet at a pressure [kPa]."""
    return 60 * (pressure / 200) ** 0.5


def test_station_on_a_cold_run():
    """Without a valve: 400 kPa less 2 m."""
    one = solved(site(runs=[run("C", "S")], stations=[station("L", "C", 2.0)]))
    assert flow(one, NORMAL, "L") == pytest.approx(orifice(400 - 2 * 9.804), **NEXT_TO_NOTHING)
    for fault in (HOT_LOST, SOURCE_COLD):
        assert state(one, fault, "L") == NO_PATH


def test_station_at_its_valve():
    """Right behind the seats, Kv 6 in m³/h at 1 bar: p = 400 - 100·(q/100)², q in L/min, and q = 60·√(p/200)."""
    one = solved(tempered())
    expected = (400 / (200 / 3600 + 0.01)) ** 0.5
    assert flow(one, NORMAL, "L") == pytest.approx(expected, rel=1e-3)


def test_other_demand_lowers_every_fault_but_not_normal_use():
    """A test of 400 to 300 kPa at 100 L/min, 50 more on the main: p = 400 - 100·((q + 50)/100)^1.85."""
    main = supply(residual_low=300.0, other_demand=50.0)
    one = solved(site(supplies=(main,), runs=[run("C", "S")], stations=[station("L", "C")]))
    assert one.results.names[3] == OTHER_DEMAND
    for fault, more in ((NORMAL, 0.0), (OTHER_DEMAND, 50.0)):
        q = flow(one, fault, "L")
        assert q == pytest.approx(orifice(400 - 100 * ((q + more) / 100) ** 1.85), **NEXT_TO_NOTHING)
        drawn = one.results.fault(fault).supply_flow[0, 0] / LPM
        assert drawn == pytest.approx(q + more)
        assert one.results.fault(fault).supply_beyond_test[0, 0] == (q + more > 100)
    both = solved(tempered(supplies=(main,)))
    for fault in (HOT_LOST, SOURCE_COLD):
        alone = solved(tempered(supplies=(supply(residual_low=300.0),)))
        assert flow(both, fault, "L") < flow(alone, fault, "L")
        assert flow(both, NORMAL, "L") == flow(alone, NORMAL, "L")
    assert changes_in(both.network, HOT_LOST, "SI").endswith("other demand of 50.0 L/min on S")


def test_other_demand_on_a_curve_and_beyond_it():
    """Points 400 at 0, 300 at 100, 100 at 200 L/min; 60 more: 340 - (q) up to 40, then 300 - 2·(q - 40)."""
    points = ((0.0, 400.0), (100.0, 300.0), (200.0, 100.0))
    main = supply(curve_low=points, other_demand=60.0)
    one = solved(site(supplies=(main,), runs=[run("C", "S")], stations=[station("L", "C")]))
    q = flow(one, OTHER_DEMAND, "L")
    assert q > 40
    assert q == pytest.approx(orifice(300 - 2 * (q - 40)), **NEXT_TO_NOTHING)
    beyond = solved(site(supplies=(supply(curve_low=points, other_demand=210.0),), runs=[run("C", "S")],
                         stations=[station("L", "C")]))  # fmt: skip
    assert state(beyond, NORMAL, "L") == SOLVED
    assert state(beyond, OTHER_DEMAND, "L") != SOLVED


def test_a_blank_other_demand_leaves_the_faults_unknown():
    """Not a zero: the sentence names the supply; normal use is known."""
    one = solved(tempered(supplies=(supply(other_demand=None),)))
    assert state(one, NORMAL, "L") == SOLVED
    for fault in (HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST):
        assert state(one, fault, "L") == MISSING
        assert why(one, fault) == ("Supplies S: Other demand is blank",)


def test_other_hot_demand_flows_through_what_feeds_its_source():
    """A strainer of 100 kPa at 100 L/min before cold and hot: 30 L/min of hot water more lower the valve's inlets."""
    common = [run("K", "S", "D")]
    rows = {"runs": common, "devices": [device("D", "strainer", 0.01)], "valve": {"cold_run": "K"}}
    one = solved(tempered(source={"fed_from": "K", "other_demand": 30.0}, **rows))
    for fault, more in ((NORMAL, 0.0), (OTHER_DEMAND, 30 * 983.2 / 999.7)):
        q = flow(one, fault, "L") * 995.6 / 999.7
        behind = 400 - 0.01 * (q + more) ** 2
        result = one.results.fault(fault)
        assert result.valve.cold_pressure[0, 0] / KPA == pytest.approx(behind, rel=1e-3)
        assert result.supply_flow[0, 0] / LPM == pytest.approx(q + more, rel=1e-3)
    assert result.source_hot_flow[0, 0] / LPM == pytest.approx(0.4 * q * 999.7 / 983.2, rel=2e-3)  # (30 - 10)/(60 - 10)


def test_fouled_strainer():
    """0.01 kPa per (L/min)² becomes 0.03: q = 60·√((400 - 0.03·q²)/200)."""
    factor = ROW["limits"](id="STR-1 factor", value=3.0, unit="–")
    rows = {"runs": [run("C", "S", "D")], "stations": [station("L", "C")]}
    one = solved(site(devices=[device("D", "strainer", 0.01)], limits=[factor], **rows))
    for fault, loss in ((NORMAL, 0.01), (STRAINER_FOULED, 0.03)):
        assert flow(one, fault, "L") == pytest.approx((400 / (200 / 3600 + loss)) ** 0.5, **NEXT_TO_NOTHING)
    curve = solved(site(devices=[device("D", "strainer", curve=((0.0, 0.0), (100.0, 100.0)))], limits=[factor], **rows))
    q = flow(curve, STRAINER_FOULED, "L")
    assert q == pytest.approx(orifice(400 - 3 * q), **NEXT_TO_NOTHING)
    unknown = solved(site(devices=[device("D", "strainer", 0.01)], **rows))
    assert state(unknown, STRAINER_FOULED, "L") == MISSING
    assert "STR-1 factor" in why(unknown, STRAINER_FOULED)[0]
    assert STRAINER_FOULED not in faults_of(solved(site(devices=[device("D", "meter", 0.01)], **rows)).network)


def booster(**more):
    """150 kPa at no flow, 100 at 50 and 0 at 150 L/min."""
    return device("B", "booster", curve=((0.0, 150.0), (50.0, 100.0), (150.0, 0.0)), **{"loss": None, **more})


def test_booster_adds_its_head_and_stops_without_power():
    """100 kPa main: 100 + (150 - q) with power; 100 - 0.02·q² through the one that stands still."""
    rows = {"supplies": (supply(static=100.0),), "runs": [run("C", "S", "B")], "stations": [station("L", "C")]}
    one = solved(site(devices=[booster(needs_power=True, loss=0.02)], **rows))
    q = flow(one, NORMAL, "L")
    assert q == pytest.approx(orifice(100 + 150 - q), **NEXT_TO_NOTHING)
    assert flow(one, POWER_LOST, "L") == pytest.approx((100 / (200 / 3600 + 0.02)) ** 0.5, **NEXT_TO_NOTHING)
    assert static_pressures(one.network).outlet[0] / KPA == pytest.approx(250, abs=0.01)
    assert "booster B stands still" in changes_in(one.network, POWER_LOST, "SI")
    steps = step_by_step(one.network, one.cases, one.results, NORMAL, 0, 0)
    assert next(step.loss for step in steps if step.tag == "B") / KPA == pytest.approx(q - 150, **NEXT_TO_NOTHING)
    diesel = solved(site(devices=[booster(needs_power=False)], **rows))
    assert POWER_LOST not in diesel.results.names


@pytest.mark.parametrize(
    ("cells", "words"),
    [({"needs_power": None, "loss": 0.02}, "whether booster B needs power is blank"),
     ({"needs_power": True, "loss": None}, "the loss of booster B while it stands still is blank")],
)  # fmt: skip
def test_what_a_booster_does_not_say_is_unknown(cells, words):
    """Normal use is solved; the case without power is not."""
    one = solved(site(runs=[run("C", "S", "B")], stations=[station("L", "C")], devices=[booster(**cells)]))
    assert state(one, NORMAL, "L") == SOLVED
    assert state(one, POWER_LOST, "L") == MISSING
    assert why(one, POWER_LOST) == (words,)


@pytest.mark.parametrize(
    ("curve", "words"), [(None, "needs the points"), (((0.0, 100.0), (50.0, 120.0)), "may not rise with flow")]
)
def test_a_booster_without_a_falling_curve_is_missing(curve, words):
    """A sentence on every station behind it."""
    one = solved(site(runs=[run("C", "S", "B")], stations=[station("L", "C")], devices=[
        device("B", "booster", needs_power=True, curve=curve)]))  # fmt: skip
    assert state(one, NORMAL, "L") == MISSING
    assert words in " ".join(one.network.missing[0])


def test_booster_on_a_tempered_run():
    """It lifts the outlet's static pressure, and the flow, behind the valve."""
    extra = {"runs": [run("T", "V", "B")], "devices": [booster(needs_power=True, loss=0.02)]}
    one = solved(tempered(stations=[station("L", "T")], **extra))
    assert static_pressures(one.network).outlet[0] / KPA == pytest.approx(550, abs=0.01)
    assert static_pressures(one.network).valve_cold[0] / KPA == pytest.approx(400, abs=0.01)
    q = flow(one, NORMAL, "L")
    seats = 100 * (q / 100) ** 2
    assert q == pytest.approx(orifice(400 - seats + 150 - q), rel=1e-3)


def reducer(setting=150.0, loss=0.0):
    return device("P", "pressure-reducing valve", loss, setting=setting)


def test_reducing_valve_holds_or_passes():
    """At 150 kPa it holds; 1 m up and at 90 % its own loss of 0.1 kPa per (L/min)² governs."""
    rows = {"runs": [run("K", "S", height=1.0), run("C", "K", "P", height=3.0)], "stations": [station("L", "C", 3.0)]}
    held = solved(site(devices=[reducer()], **rows))
    assert flow(held, NORMAL, "L") == pytest.approx(orifice(150 - 2 * 9.804), **NEXT_TO_NOTHING)
    assert static_pressures(held.network).outlet[0] / KPA == pytest.approx(150 - 2 * 9.804, abs=0.01)
    passes = solved(site(devices=[reducer(380.0, 0.1)], **rows))
    assert flow(passes, NORMAL, "L") == pytest.approx(
        ((400 - 3 * 9.804) / (200 / 3600 + 0.1)) ** 0.5, **NEXT_TO_NOTHING)  # fmt: skip
    assert static_pressures(passes.network).outlet[0] / KPA == pytest.approx(380 - 2 * 9.804, abs=0.01)
    too_low = solved(site(devices=[reducer(15.0)], **rows))
    assert state(too_low, NORMAL, "L") == CANNOT_REACH
    blank = solved(site(devices=[reducer(None)], **rows))
    assert state(blank, NORMAL, "L") == MISSING
    assert "Setting is blank" in " ".join(blank.network.missing[0])


def test_reducing_valve_counts_devices_before_and_after_it():
    """A loss before it is made up; one behind it is not: 150 - 0.02·q²."""
    devices = [reducer(), device("A", "meter", 0.02)]
    before, after = (solved(site(devices=devices, runs=[run("C", "S", *order)], stations=[station("L", "C")]))
                     for order in (("A", "P"), ("P", "A")))  # fmt: skip
    assert flow(before, NORMAL, "L") == pytest.approx(orifice(150), **NEXT_TO_NOTHING)
    assert flow(after, NORMAL, "L") == pytest.approx((150 / (200 / 3600 + 0.02)) ** 0.5, **NEXT_TO_NOTHING)


def test_two_reducing_valves_in_series():
    """The lower of 250 and 150 kPa holds, in either order and on one run or two."""
    second = device("Q", "pressure-reducing valve", 0.0, setting=250.0)
    for runs in ([run("C", "S", "P", "Q")], [run("C", "S", "Q", "P")], [run("K", "S", "Q"), run("C", "K", "P")]):
        one = solved(site(devices=[reducer(), second], runs=runs, stations=[station("L", "C")]))
        assert flow(one, NORMAL, "L") == pytest.approx(orifice(150), **NEXT_TO_NOTHING)


@pytest.mark.parametrize("side", ["cold", "hot", "both", "tempered"])
def test_reducing_valve_on_each_side_of_a_mixing_valve(side):
    """250 kPa on the cold, the hot, both or the tempered side; inlets and outlet see it."""
    cells = {"cold": {"cold": ("P",)}, "hot": {"hot": ("P",)}, "both": {"cold": ("P",), "hot": ("P",)},
             "tempered": {"runs": [run("T", "V", "P")], "stations": [station("L", "T")]}}[side]  # fmt: skip
    one = solved(tempered(devices=[reducer(250.0 if side != "tempered" else 100.0)], **cells))
    valve = one.results.normal.valve
    assert valve.cold_pressure[0, 0] / KPA == pytest.approx(250 if side in ("cold", "both") else 400, abs=0.1)
    assert valve.hot_pressure[0, 0] / KPA == pytest.approx(250 if side in ("hot", "both") else 400, abs=0.1)
    q = flow(one, NORMAL, "L")
    if side == "both":
        assert q == pytest.approx((250 / (200 / 3600 + 0.01)) ** 0.5, rel=1e-3)
    if side == "tempered":
        assert q == pytest.approx(orifice(100), **NEXT_TO_NOTHING)
        for fault in (HOT_LOST, SOURCE_COLD):
            assert flow(one, fault, "L") == pytest.approx(orifice(100), **NEXT_TO_NOTHING)


def test_two_stations_behind_one_reducing_valve_do_not_rob_each_other():
    """On wide runs behind it both have its 150 kPa, alone and together."""
    event = ROW["events"](tag="both", stations=("L", "M"), users=2.0, showers=2.0, reason="test")
    one = solved(site(devices=[reducer()], runs=[run("C", "S", "P")], events=[event],
                      stations=[station("L", "C"), station("M", "C")]))  # fmt: skip
    opening = one.cases.find(("L", "M"))
    flows = one.results.normal.outlet_flow[0, one.cases.outlets.of(opening)] / LPM
    assert flows == pytest.approx([orifice(150)] * 2, **NEXT_TO_NOTHING)


def test_the_paths_are_written_out_through_every_new_thing():
    """Loss by loss each path ends at the pressure that the solver reports; a reducer's own row tells what it holds."""
    one = solved(tempered(cold=("P",), hot=("B",), devices=[reducer(250.0), booster(needs_power=True, loss=0.02)],
                          source={"other_demand": 20.0}))  # fmt: skip
    walked = 0
    for fault in one.results.faults:
        for where in np.argwhere(fault.state == SOLVED).tolist():
            steps = step_by_step(one.network, one.cases, one.results, fault.fault, *where)
            end = [step.pressure for step in steps if step.kind == "outlet"]
            assert end == pytest.approx(fault.outlet_pressure[where[0], :1], rel=1e-9, abs=1e-3)
            walked += 1
    assert walked == 4 * 7
    steps = step_by_step(one.network, one.cases, one.results, NORMAL, 0, 0)
    assert next(step.loss for step in steps if step.tag == "P setting") / KPA == pytest.approx(150, abs=0.1)


TWO = {"valve": {"second_model": "N", "second_opens_at": 25.0},
       "more_models": (ROW["valve_models"](model="N", seat_coefficient=12.0, minimum_flow=30.0),)}  # fmt: skip


@pytest.mark.parametrize(
    ("rated", "expected"),
    [(10.0, "small"), (60.0, "between"), (400.0, "both")],
)
def test_two_valves_in_parallel(rated, expected):
    """Kv 6 alone passes 50 L/min at its 25 kPa; both, Kv 18, 150; between the difference stays at 25 kPa."""
    one = solved(tempered(models=(outlet(flow=rated, pressure=200.0),), **TWO))
    q = flow(one, NORMAL, "L")
    lost = {"small": 100 * (q / 100) ** 2, "between": 25.0, "both": 100 * (q / 300) ** 2}[expected]
    assert {"small": q < 50, "between": 50 < q < 150, "both": q > 150}[expected]
    assert q == pytest.approx(rated * ((400 - lost) / 200) ** 0.5, rel=1e-3)
    assert bool(one.results.normal.valve.under_control[0, 0]) == (q >= 5)


def test_one_of_two_valves_out_of_service():
    """The smaller stays: its 6 Kv as if it were alone; a valve without a second gives nothing."""
    two, alone = solved(tempered(models=(outlet(flow=400.0),), **TWO)), solved(tempered(models=(outlet(flow=400.0),)))
    assert flow(two, VALVE_OUT, "L") == pytest.approx(flow(alone, NORMAL, "L"), rel=1e-9)
    assert flow(two, VALVE_OUT, "L") < flow(two, NORMAL, "L")
    assert state(alone, VALVE_OUT, "L") == NO_WATER
    turned = solved(tempered(models=(outlet(flow=400.0),), model={"seat_coefficient": 12.0}, valve=TWO["valve"],
                             more_models=(ROW["valve_models"](model="N", seat_coefficient=6.0),)))  # fmt: skip
    assert flow(turned, VALVE_OUT, "L") == pytest.approx(flow(alone, NORMAL, "L"), rel=1e-9)


def test_two_valves_by_curves():
    """Two equal curves that open together at next to no difference pass twice the flow at the same loss."""
    points = ((20.0, 4.0), (60.0, 30.0), (200.0, 400.0))
    models = {"model": {"seat_coefficient": None, "seat_curve": points},
              "more_models": (ROW["valve_models"](model="N", seat_curve=points),),
              "valve": {"second_model": "N", "second_opens_at": 1e-6}}  # fmt: skip
    both = solved(tempered(models=(outlet(flow=120.0),), **models))
    one = solved(tempered(model=models["model"]))
    assert flow(both, NORMAL, "L") == pytest.approx(2 * flow(one, NORMAL, "L"), rel=1e-3)
    late = solved(tempered(**{**models, "valve": {"second_model": "N", "second_opens_at": 500.0}}))
    assert state(late, NORMAL, "L") == MISSING
    assert "beyond the points" in " ".join(late.network.missing[0])


def test_power_lost_by_kind_of_source():
    """Storage stays hot; an electric heater gives cold water as in "source cold"; one that says nothing is unknown."""
    storage = solved(tempered())
    assert np.array_equal(storage.results.fault(POWER_LOST).outlet_flow, storage.results.normal.outlet_flow)
    assert "H is not heated" in changes_in(storage.network, POWER_LOST, "SI")
    electric = {"kind": "instantaneous electric", "set_temperature": 60.0}
    heater = solved(tempered(source=electric))
    assert flow(heater, POWER_LOST, "L") == pytest.approx(flow(heater, SOURCE_COLD, "L"), rel=1e-12)
    assert heater.results.fault(POWER_LOST).valve.mixed_temperature[0, 0] == pytest.approx(10.0)
    unknown = solved(tempered(source={**electric, "needs_power": None}))
    assert state(unknown, POWER_LOST, "L") == MISSING
    assert why(unknown, POWER_LOST) == ("whether H needs power is blank",)
    gas = solved(tempered(source={**electric, "needs_power": False}))
    assert POWER_LOST not in gas.results.names


def test_power_lost_with_one_valve_hot_and_one_cold():
    """Two valves at once, one on storage, one on an electric heater, own mains: each as in its own case."""
    tank = {"loss_per_flow_squared": 0.0, "needs_power": True, "other_demand": 0.0}
    sources = (ROW["hot_water_sources"](tag="H", kind="storage", fed_from="S", start_temperature=60.0, **tank),
               ROW["hot_water_sources"](tag="E", kind="instantaneous electric", fed_from="S2", set_temperature=60.0,
                                        **tank))  # fmt: skip
    valve = {"model": "M", "elevation": 0.0, "set_temperature": 30.0, "parallel_bypass": True}
    rows = site(supplies=(supply(), supply("S2", 350.0)), hot_water_sources=sources,
                runs=[run("C", "S"), run("W", "H"), run("D", "S2"), run("X", "E")],
                valve_models=(ROW["valve_models"](model="M", seat_coefficient=6.0, bypass_coefficient=4.0,
                                                  minimum_flow=5.0),),
                mixing_valves=(ROW["mixing_valves"](tag="V", cold_run="C", hot_run="W", **valve),
                               ROW["mixing_valves"](tag="U", cold_run="D", hot_run="X", **valve)),
                stations=[station("L", "V"), station("M", "U")],
                events=[ROW["events"](tag="e", stations=("L", "M"), users=2.0, showers=2.0, reason="t")])  # fmt: skip
    one = solved(rows)
    opening = one.cases.find(("L", "M"))
    flows = one.results.fault(POWER_LOST).outlet_flow[0, one.cases.outlets.of(opening)] / LPM
    assert flows == pytest.approx([flow(one, NORMAL, "L"), flow(one, SOURCE_COLD, "M")], rel=1e-9)
    mixed = one.results.fault(POWER_LOST).valve.mixed_temperature[0, one.cases.valves.of(opening)]
    assert mixed == pytest.approx([30.0, 10.0])


def test_cold_supply_failure_passes_the_leakage_of_the_data_sheet():
    """2 L/min of hot water at its only outlet, no temperature and no pressure stated; without data unknown."""
    one = solved(tempered(two_mains=True))
    assert state(one, COLD_LOST, "L") == FROM_DATA
    assert flow(one, COLD_LOST, "L") == pytest.approx(2.0)
    valve = one.results.fault(COLD_LOST).valve
    assert valve.hot_flow[0, 0] / LPM == pytest.approx(2.0)
    assert valve.cold_flow[0, 0] == 0
    assert np.isnan(valve.mixed_temperature).all()
    assert MAIN_LOST not in one.results.names
    unknown = solved(tempered(model={"leakage": None}))
    assert state(unknown, COLD_LOST, "L") == MISSING
    assert "leakage of V" in why(unknown, COLD_LOST)[0]


def test_leakage_is_shared_out_by_rated_flow():
    """60 and 20 L/min rated share 2 L/min as 1.5 and 0.5."""
    both = ROW["stations"](tag="L", fed_from="V", outlet_1="O", outlet_1_elevation=0.0, outlet_2="E",
                           outlet_2_elevation=0.0)  # fmt: skip
    one = solved(tempered(stations=[both], models=(outlet(), outlet("E", 20.0))))
    flows = one.results.fault(COLD_LOST).outlet_flow[0, one.cases.outlets.of(0)] / LPM
    assert flows == pytest.approx([1.5, 0.5])


def test_main_lost():
    """Hot and cold from one main: no water. Hot of its own: the leakage. Without a valve: no water."""
    one = solved(tempered(stations=[station("L", "V"), station("M", "C")]))
    assert state(one, MAIN_LOST, "L") == NO_WATER
    assert state(one, MAIN_LOST, "M") == NO_WATER
    assert np.isnan(flow(one, MAIN_LOST, "L"))
    own = solved(tempered(two_mains=True, stations=[station("L", "V"), station("M", "C")]))
    assert state(own, MAIN_LOST, "L") == FROM_DATA
    assert state(own, MAIN_LOST, "M") == NO_WATER


def test_which_cases_a_site_has():
    """What cannot happen is not listed; what changes no flow shares the numbers of normal use."""
    plain = site(runs=[run("C", "S")], stations=[station("L", "C")])
    assert solved(plain).results.names == (NORMAL, HOT_LOST, SOURCE_COLD, MAIN_LOST, AFTER_IDLE)
    loop = ROW["pipe_runs"](**{**run("T", "V").model_dump(), "circulated": True})
    one = solved(tempered(runs=[loop]))
    assert one.results.names == (NORMAL, HOT_LOST, SOURCE_COLD, POWER_LOST, COLD_LOST, MAIN_LOST, VALVE_OUT,
                                 CIRCULATION_OFF, AFTER_IDLE, AFTER_RECOVERY)  # fmt: skip
    for fault in (CIRCULATION_OFF, AFTER_IDLE, AFTER_RECOVERY):
        assert one.results.fault(fault).outlet_flow is one.results.normal.outlet_flow
        assert changes_in(one.network, fault, "US")
