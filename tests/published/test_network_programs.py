"""Pipes and small networks that other programs have solved.

OpenModelica, STANET and analytic results stored in pandapipes (github.com/e2nIEE/pandapipes 5b52494, pandapipes/test);
EPANET 2.2 run through wntr 1.5.0.
"""

import math

import numpy as np
import pytest
from scipy.optimize import root

from drenchbook.physics import heat_loss, outlets, pipe_flow, water
from tests.printed import printed
from tests.us_units import FOOT, GPM, INCH, PSI

STANET_DENSITY, STANET_VISCOSITY = 1000.0, 1.793e-3


def lost(mass_flow, metres, millimetres, density=STANET_DENSITY, viscosity=STANET_VISCOSITY):
    return pipe_flow.darcy_weisbach_loss(mass_flow / density, millimetres / 1e3, metres, 1e-4, density, viscosity) / 1e5


@pytest.mark.parametrize(("mass_flow", "metres", "bar"), [(1.3821, 2000, "0.363305"), (0.56, 3000, "0.106978")])
def test_openmodelica_single_pipe(mass_flow, metres, bar):
    """pipe_1 and pipe_3, 75 mm: its friction law is 0.05 % from Colebrook's."""
    assert lost(mass_flow, metres, 75, 998.2061, 1.0016053e-3) == printed(bar, within=0.001)


def test_openmodelica_tee():
    """5 km of 75 mm into two of the same, 1.33 kg/s at each end, 6 bar: 2.947766 and 2.101285 bar within 2 mbar."""
    water_at_20 = 998.2061, 1.0016053e-3
    middle = 6 - lost(2.66, 5000, 75, *water_at_20)
    assert abs(middle - 2.947766) < 0.002
    assert abs(middle - lost(1.33, 5000, 75, *water_at_20) - 2.101285) < 0.002


def test_stanet_single_pipe():
    """pipe_2: 1.325278 kg/s over 10 km of 75 mm lose 1.8772 bar."""
    assert lost(1.325278, 10000, 75) == printed("1.8772", within=2e-4)


def test_stanet_at_low_reynolds_number():
    """pipe_1: 0.277778 kg/s over 2 km lose 0.0245 bar at Re 2630, by the turbulent formula, which we take here too."""
    q, d = 0.277778 / STANET_DENSITY, 0.075
    factor = pipe_flow.colebrook_friction_factor(pipe_flow.reynolds(q, d, STANET_VISCOSITY, STANET_DENSITY), 1e-4 / d)
    loss = factor * 2000 / d * STANET_DENSITY * pipe_flow.velocity(q, d) ** 2 / 2
    assert loss / 1e5 == printed("0.0245")


def test_stanet_two_pipes_in_series():
    """5 km and 5 km of 75 mm, 1.325278 kg/s, 5 bar: 4.0614 and 3.1228 bar."""
    one = lost(1.325278, 5000, 75)
    assert abs(5 - one - 4.0614) < 3e-4
    assert abs(5 - 2 * one - 3.1228) < 3e-4


def test_stanet_branched_network():
    """strand_net: nine nodes, 4 bar at the source; printed to 0.1 mbar."""
    pipes = [(0, 1, 10, 200), (1, 3, 10000, 75), (1, 2, 20, 150), (2, 4, 5000, 75), (0, 5, 5, 200)]
    pipes += [(5, 6, 8400, 500), (6, 7, 500, 75), (6, 8, 1700, 75)]
    sinks = [0, 1.388889, 2.777778, 0.833333, 0.555556, 2.222222, 1.666667, 0.555556, 0.833333]
    printed_bar = ["4.0", "3.9998", "3.9991", "3.1769", "3.7970", "3.9999", "3.9991", "3.9789", "3.8592"]
    below = list(sinks)
    for upper, lower, _, _ in reversed(pipes):
        below[upper] += below[lower]
    pressure = {0: 4.0}
    for upper, lower, metres, millimetres in pipes:
        pressure[lower] = pressure[upper] - lost(below[lower], metres, millimetres)
    for node, digits in enumerate(printed_bar):
        assert abs(pressure[node] - float(digits)) < 1e-4, f"node {node}"


TREE = {  # pipe: upper node, lower node, ft, in, minor K
    "P1": ("R", "J1", 100, 1.505, 2.0),
    "P2": ("J1", "J2", 50, 1.505, 1.5),
    "P3": ("J2", "J3", 40, 1.265, 1.2),
    "P4": ("J3", "J4", 12, 1.025, 3.0),
    "P5": ("J2", "J5", 20, 0.545, 4.0),
    "P6": ("J3", "J6", 60, 1.025, 2.5),
}
ELEVATION = {"R": 0.0, "J1": 0.0, "J2": 3.0, "J3": 3.0, "J4": 6.83, "J5": 3.0, "J6": 6.83}
EMITTER = {"J4": 3.6515, "J5": 0.5477, "J6": 3.6515}  # gpm per √psi


def tree_pressures(flows, friction, density):
    below = {"J4": flows[0], "J5": flows[1], "J6": flows[2]}
    below["J3"] = below["J4"] + below["J6"]
    below["J1"] = below["J2"] = below["J3"] + below["J5"]
    head = {"R": 138.402}
    for upper, lower, feet, inches, resistance in TREE.values():
        q, d = below[lower] * GPM, inches * INCH
        loss = friction(q, d, feet * FOOT) + pipe_flow.minor_loss(q, d, resistance, density)
        head[lower] = head[upper] - loss / (density * pipe_flow.GRAVITY) / FOOT
    return {node: (head[node] - ELEVATION[node]) * density * pipe_flow.GRAVITY * FOOT / PSI for node in ELEVATION}


def solve_tree(friction, density=999.0):
    """Flows of the three outlets and the pressures, by scipy's root finder."""

    def miss(flows):
        pressure = tree_pressures(flows, friction, density)
        return [
            outlets.outlet_flow(pressure[node] * PSI, EMITTER[node] * GPM, PSI, False) / GPM - flow
            for node, flow in zip(EMITTER, flows, strict=True)
        ]

    found = root(miss, [20.0, 3.5, 20.0], tol=1e-12)
    assert found.success
    return found.x, tree_pressures(found.x, friction, density)


def test_epanet_tree_with_hazen_williams():
    """TREE-A: within 0.3 % of the head and 0.2 % of the flows, for the other constants of the formula."""
    flows, pressure = solve_tree(lambda q, d, length: pipe_flow.hazen_williams_loss(q, d, length, 140))
    assert flows == pytest.approx([21.4034, 3.5990, 19.9088], rel=0.002)
    expected = [51.5505, 45.8204, 38.9034, 34.3575, 43.1801, 29.7269]
    for node, psi in zip(["J1", "J2", "J3", "J4", "J5", "J6"], expected, strict=True):
        assert abs(pressure[node] - psi) < 0.003 * 59.97, node


def test_epanet_tree_with_darcy_weisbach():
    """TREE-A with 5e-6 ft and 1.1e-5 ft²/s; EPANET uses Swamee-Jain: 0.3 % of the head, 0.2 % of the flows."""
    density = 999.0
    viscosity = 1.1e-5 * FOOT**2 * density

    def friction(q, d, length):
        return pipe_flow.darcy_weisbach_loss(q, d, length, 5e-6 * FOOT, density, viscosity)

    flows, pressure = solve_tree(friction)
    assert flows == pytest.approx([21.9140, 3.6435, 20.5612], rel=0.002)
    expected = [52.2482, 46.8548, 40.4991, 36.0163, 44.2541, 31.7071]
    for node, psi in zip(["J1", "J2", "J3", "J4", "J5", "J6"], expected, strict=True):
        assert abs(pressure[node] - psi) < 0.003 * 59.97, node


@pytest.mark.parametrize(
    ("mass_flow", "inlet", "metres", "kelvin"),
    [
        (1.0, 330, 1000, "320.9163141"),
        (1.0, 330, 3000, "308.8917155"),
        (0.5, 350, 2500, "306.9365931"),
        (2.0, 350, 2500, "333.0816228"),
    ],
)
def test_cooling_along_a_pipe(mass_flow, inlet, metres, kelvin):
    """pandapipes, analytic heat transfer: 5 W/(m²·K) on 75 mm, cp 4182 J/(kg·K), 293 K around; within 1 mK."""
    conductance = 5 * math.pi * 0.075 * metres
    ours = heat_loss.end_temperature_kernel(mass_flow * 4182, inlet - 273.15, 293 - 273.15, conductance) + 273.15
    assert abs(float(ours) - float(kelvin)) < 1e-3
    # our own water has another heat capacity at the inlet; asked by volume it must differ by that alone
    t = inlet - 273.15
    flow = mass_flow * 4182 / (water.density(t) * water.heat_capacity(t))
    by_volume = heat_loss.end_temperature(flow, t, 293 - 273.15, conductance / metres, metres)
    assert by_volume + 273.15 == pytest.approx(float(ours), abs=1e-9)
    assert np.isfinite(by_volume)
