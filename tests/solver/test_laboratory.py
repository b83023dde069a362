"""The worked laboratory building: every line of its results table and of its step-by-step column.

Calculated by hand with Hazen-Williams C = 140, 0.4331 psi/ft and 500 Btu/h per gpm and °F everywhere; real water
density explains what is left: 1 % of each flow, 0.4 psi of each pressure, 2 % of each time or volume.
"""

import numpy as np
import pytest

from drenchbook.operating_cases import COLD_LOST, HOT_LOST, MAIN_LOST, NORMAL, SOURCE_COLD, STATES, VALVE_OUT
from drenchbook.solver import frictionless_margin, static_pressures, step_by_step
from drenchbook.solver_results import FROM_DATA, NO_WATER, SOLVED
from tests.lab_site import laboratory
from tests.us_units import GALLON, GPM, PSI

SHOWER, FACE, EYE = "shower", "eye/face wash", "eyewash"

# Set; flows and pressures at the low supply; at the high supply; flows with hot pressure lost, low; gallons in 15 min.
TABLE = [
    (("L1",), {("L1", SHOWER): 22.54, ("L1", FACE): 3.20}, {"L1": 38.1}, {("L1", SHOWER): 25.42, ("L1", FACE): 3.20},
     {"L1": 48.4}, {("L1", SHOWER): 21.65, ("L1", FACE): 3.20}, 210),
    (("L2",), {("L2", FACE): 3.50}, {"L2": 46.5}, {("L2", FACE): 3.50}, {"L2": 59.5}, {("L2", FACE): 3.50}, 25.7),
    (("L3",), {("L3", EYE): 0.50}, {"L3": 47.0}, {("L3", EYE): 0.50}, {"L3": 60.0}, {("L3", EYE): 0.50}, 3.66),
    (("L4",), {("L4", SHOWER): 14.38, ("L4", FACE): 2.82}, {"L4": 15.5}, {("L4", SHOWER): 17.13, ("L4", FACE): 3.20},
     {"L4": 22.0}, {("L4", SHOWER): 13.99, ("L4", FACE): 2.74}, 149),
    (("L5",), {("L5", SHOWER): 22.00}, {"L5": 26.6}, {("L5", SHOWER): 22.00}, {"L5": 40.1},
     {("L5", SHOWER): 21.61}, 161),
    (("L1", "L2"), {("L1", SHOWER): 21.68, ("L1", FACE): 3.20, ("L2", FACE): 3.50}, {"L1": 35.3, "L2": 31.3},
     {("L1", SHOWER): 24.60, ("L1", FACE): 3.20, ("L2", FACE): 3.50}, {"L1": 45.4, "L2": 41.6},
     {("L1", SHOWER): 20.60, ("L1", FACE): 3.20, ("L2", FACE): 3.50}, 229),
    (("L5", "L2"), {("L5", SHOWER): 21.41, ("L2", FACE): 3.50}, {"L5": 23.7, "L2": 33.6},
     {("L5", SHOWER): 22.00, ("L2", FACE): 3.50}, {"L5": 36.5, "L2": 46.6},
     {("L5", SHOWER): 20.38, ("L2", FACE): 3.50}, 187),
]  # fmt: skip
IDS = [" + ".join(row[0]) for row in TABLE]


def flows_agree(case, expected):
    assert {key: q / GPM for key, q in case.outlets("outlet_flow").items()} == pytest.approx(expected, rel=0.01)


def pressures_agree(case, expected):
    for (station, _), pressure in case.outlets("outlet_pressure").items():
        assert pressure / PSI == pytest.approx(expected[station], abs=0.4)


@pytest.mark.parametrize("row", TABLE, ids=IDS)
def test_low_supply(row):
    """Columns "low supply": flows gpm, outlet psi."""
    case = laboratory().case(NORMAL, "cold", "low", *row[0])
    flows_agree(case, row[1])
    pressures_agree(case, row[2])


@pytest.mark.parametrize("row", TABLE, ids=IDS)
def test_high_supply(row):
    """Column "high supply"."""
    case = laboratory().case(NORMAL, "cold", "high", *row[0])
    flows_agree(case, row[3])
    pressures_agree(case, row[4])


@pytest.mark.parametrize("row", TABLE, ids=IDS)
def test_hot_pressure_lost(row):
    """Column "hot pressure lost, low supply: flows"."""
    flows_agree(laboratory().case(HOT_LOST, "cold", "low", *row[0]), row[5])


@pytest.mark.parametrize("row", TABLE, ids=IDS)
def test_hot_water_in_fifteen_minutes(row):
    """Column "hot water needed at the high state": gallons."""
    hot = laboratory().case(NORMAL, "cold", "high", *row[0]).valve("hot_flow")
    assert hot * 900 / GALLON == pytest.approx(row[6], rel=0.02)


@pytest.mark.parametrize(("stations", "gpm"), [(("L1",), 28.62), (("L1", "L2"), 31.30)])
def test_flow_through_the_valve(stations, gpm):
    """28.62 gpm and 31.30 gpm at the high state."""
    assert laboratory().case(NORMAL, "cold", "high", *stations).valve("flow") / GPM == pytest.approx(gpm, rel=0.01)


def test_hot_fraction():
    """Hot fraction in the cold season by mass 0.4886."""
    assert laboratory().case(NORMAL, "cold", "low", "L4").valve("hot_fraction") == pytest.approx(0.4886, rel=0.01)


# L4 at low supply, q = 17.200: loss of each thing, or the pressure behind it [psi].
STEPS_LOSS = {
    ("device", "M-1"): 0.473, ("device", "S-1"): 0.266, ("device", "B-1"): 10.312, ("pipe", "CM-1"): 0.199,
    ("rise", "CW-1"): 1.732, ("pipe", "CW-1"): 0.147, ("pipe", "TR-A"): 1.019, ("pipe", "TR-B"): 0.712,
    ("pipe", "TR-C"): 0.712, ("pipe", "TR-D"): 0.712, ("pipe", "TR-L4"): 10.727, ("rise", "TR-L4"): 19.490,
}  # fmt: skip
STEPS_PRESSURE = {("supply", "SUP-1"): 65.108, ("rise", "CW-1"): 51.98, ("rise", "HW-1"): 50.84,
                  ("seats", "MV-1"): 48.88, ("rise", "TR-L4"): 15.51}  # fmt: skip


def steps_of_l4():
    lab = laboratory()
    state, opening = STATES.index(("cold", "low")), lab.cases.find(("L4",))
    return {(s.kind, s.tag): s for s in step_by_step(lab.network, lab.cases, lab.results, NORMAL, state, opening)}


@pytest.mark.parametrize("key", STEPS_LOSS, ids="{0[0]} {0[1]}".format)
def test_step_loss(key):
    """The step-by-step column; each is within 0.4 psi, and pipe and device losses within 2 %."""
    step = steps_of_l4()[key]
    assert step.loss / PSI == pytest.approx(STEPS_LOSS[key], abs=0.4)
    assert step.loss == pytest.approx(STEPS_LOSS[key] * PSI, rel=0.02)


@pytest.mark.parametrize("key", STEPS_PRESSURE, ids="{0[0]} {0[1]}".format)
def test_step_pressure(key):
    """Pressures of the step-by-step column."""
    assert steps_of_l4()[key].pressure / PSI == pytest.approx(STEPS_PRESSURE[key], abs=0.4)


def test_steps_of_the_hot_side():
    """Hot run and heater 1.281 psi."""
    steps = steps_of_l4()
    both = steps["pipe", "HW-1"].loss + steps["hot water source", "WH-1"].loss
    assert both / PSI == pytest.approx(1.281, rel=0.03)


def test_steps_end_at_the_outlets():
    """15.51 psi at both outlets; the shower 14.38 gpm, the eye/face wash 2.82."""
    steps = steps_of_l4()
    for name, gpm in ((SHOWER, 14.38), (FACE, 2.82)):
        assert steps["outlet", name].pressure / PSI == pytest.approx(15.51, abs=0.4)
        assert steps["outlet", name].flow / GPM == pytest.approx(gpm, rel=0.01)


def test_largest_loss_of_l4_is_its_branch():
    """L4: the largest loss is its 1 in branch."""
    pipes = [step for step in steps_of_l4().values() if step.kind == "pipe"]
    assert max(pipes, key=lambda step: step.loss).tag == "TR-L4"


def test_source_cold_but_pressurised():
    """L4: hot seat 11 in parallel with the bypass 8: 14.76 + 2.89 gpm."""
    case = laboratory().case(SOURCE_COLD, "cold", "low", "L4")
    flows_agree(case, {("L4", SHOWER): 14.76, ("L4", FACE): 2.89})


def test_shower_alone_in_the_warm_season():
    """L1's shower alone, high supply, warm season: 26.37 gpm."""
    case = laboratory().case(NORMAL, "warm", "high", "L1", outlet=SHOWER)
    flows_agree(case, {("L1", SHOWER): 26.37})


def test_shower_and_eye_face_wash_are_alone_below_control():
    """The eye/face wash of L1 alone takes 3.2 gpm against 3.0; L3's 0.5 gpm is below and has no temperature."""
    lab = laboratory()
    alone = lab.case(NORMAL, "cold", "low", "L1", outlet=FACE)
    assert alone.valve("flow") / GPM == pytest.approx(3.2)
    assert alone.valve("under_control")
    small = lab.case(NORMAL, "cold", "low", "L3")
    assert not small.valve("under_control")
    assert np.isnan(small.valve("mixed_temperature"))


@pytest.mark.parametrize(
    ("outlet", "station", "seconds"), [("", "L1", 23), (FACE, "L1", 183), ("", "L3", 21 * 60)],
    ids=["all of L1", "eye/face wash of L1", "L3"],
)  # fmt: skip
def test_purge(outlet, station, seconds):
    """Time to tepid with the wall: L1's eye/face wash alone 183 s, all its outlets at low supply 23 s; L3 21 min."""
    case = laboratory().case(NORMAL, "cold", "low", station, outlet=outlet)
    assert case.station("purge_seconds", station) == pytest.approx(seconds, rel=0.02)


def test_pressure_left_without_friction():
    """PRS-3 of L4: at required flow some 27 psi is left without any pipe friction, and the shower asks for 30."""
    network = laboratory().network
    required = {SHOWER: 20.0, FACE: 3.0, EYE: 0.4}
    flow = np.array([required[kind] for kind in network.outlet_kind]) * GPM
    shower = np.array([kind == SHOWER for kind in network.outlet_kind])
    left = frictionless_margin(network, flow, np.where(shower, 30 * PSI, 0.0))
    assert left[network.station_tags.index("L4")] / PSI + 30 == pytest.approx(27, abs=0.5)


def test_static_pressure():
    """High state 79 psi static at 0 ft: 79 - 0.4331·4 at the valve, 79 - 0.4331·49 at L4, no device credited."""
    network = laboratory().network
    static = static_pressures(network)
    assert static.valve_cold[0] / PSI == pytest.approx(79 - 0.4331 * 4, abs=0.02)
    at_l4 = static.outlet[network.outlet_station == network.station_tags.index("L4")]
    assert at_l4 / PSI == pytest.approx(79 - 0.4331 * 49, abs=0.2)


def test_every_case_has_numbers():
    """Nothing of the laboratory is missing, starved or open ended; what no valve can give is a state of its own."""
    given = {COLD_LOST: FROM_DATA, MAIN_LOST: NO_WATER, VALVE_OUT: NO_WATER}
    for fault in laboratory().results.faults:
        assert (fault.state == given.get(fault.fault, SOLVED)).all()
        if fault.fault in given:
            assert np.isnan(fault.outlet_pressure).all()
            continue
        assert np.nanmax(fault.residual_pressure) < 0.01 * PSI
        assert np.nanmax(fault.residual_flow) < 1e-6
