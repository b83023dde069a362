"""Hazen-Williams losses that manuals, codes and tables print."""

import pytest

from drenchbook.physics import pipe_flow
from tests.printed import printed
from tests.us_units import FOOT, FOOT_OF_WATER, GPM, INCH, PSI


def per_100_feet(gpm, inches, coefficient):
    return pipe_flow.hazen_williams_loss(gpm * GPM, inches * INCH, 100 * FOOT, coefficient) / PSI


@pytest.mark.parametrize(
    ("gpm", "inches", "velocity", "head"),
    [
        (1049.81, 12, "2.98", "4.51"),
        (559.25, 12, "1.59", "1.40"),
        (165.56, 8, "1.06", "1.06"),
        (90.56, 8, "0.58", "0.35"),
        (474.81, 10, "1.94", "2.52"),
    ],
)
def test_epanet_tutorial_links(gpm, inches, velocity, head):
    """EPANET 2.2 User Manual, tutorial report at 0:00, C = 100: ft/s and ft per 1000 ft.

    Its exponents are 1.852 and 4.871 and its factor 4.727 ft³/s: up to 0.6 % apart.
    """
    q, d = gpm * GPM, inches * INCH
    assert pipe_flow.velocity(q, d) / FOOT == printed(velocity)
    lost = pipe_flow.hazen_williams_loss(q, d, 1000 * FOOT, 100)
    assert lost / FOOT_OF_WATER == printed(head, within=0.006)


@pytest.mark.parametrize(
    ("head", "elevation", "pressure"),
    [
        (893.19, 0, "387.02"),
        (879.67, 710, "73.52"),
        (874.36, 700, "75.55"),
        (872.62, 695, "76.96"),
        (872.65, 700, "74.81"),
        (855.00, 850, "2.17"),
    ],
)
def test_epanet_tutorial_nodes(head, elevation, pressure):
    """EPANET 2.2 User Manual, tutorial report at 0:00: psi of a head, with 0.4333 psi/ft, 0.05 % above 60 °F."""
    ours = pipe_flow.elevation_pressure((head - elevation) * FOOT, 999.0)
    assert ours / PSI == printed(pressure, within=0.0006)


@pytest.mark.parametrize(
    ("tube", "inches", "gpm", "psi"),
    [
        ("L 3/4", 0.785, 2, "0.57"),
        ("L 3/4", 0.785, 3, "1.20"),
        ("L 3/4", 0.785, 4, "2.05"),
        ("L 3/4", 0.785, 5, "3.09"),
        ("L 1", 1.025, 3, "0.33"),
        ("L 1", 1.025, 4, "0.56"),
        ("K 1-1/4", 1.245, 5, "0.33"),
        ("K 1-1/4", 1.245, 8, "0.78"),
        ("K 1-1/4", 1.245, 10, "1.18"),
        ("K 1-1/4", 1.245, 12, "1.66"),
        ("K 1-1/4", 1.245, 15, "2.51"),
        ("K 1-1/4", 1.245, 18, "3.52"),
        ("K 1-1/4", 1.245, 20, "4.28"),
        ("K 1-1/4", 1.245, 24, "5.99"),
        ("K 1-1/4", 1.245, 26, "6.95"),
    ],
)
def test_irrigation_tutorials_copper_table(tube, inches, gpm, psi):
    """irrigationtutorials.com/copperloss.htm, psi per 100 ft; C = 140 fits its columns within 0.8 %."""
    assert per_100_feet(gpm, inches, 140) == printed(psi, within=0.008)


def test_engineering_toolbox_d_797():
    """200 US gpm, 3.048 in, C = 140: 9 ft per 100 ft, 2.7 ft in 30 ft."""
    q, d = 200 * GPM, 3.048 * INCH
    assert pipe_flow.hazen_williams_loss(q, d, 100 * FOOT, 140) / FOOT_OF_WATER == printed("9")
    assert pipe_flow.hazen_williams_loss(q, d, 30 * FOOT, 140) / FOOT_OF_WATER == printed("2.7")


@pytest.mark.parametrize(
    ("gpm", "inches", "velocity", "loss"),
    [(3, 0.545, "4.2", "8.7"), (20, 1.025, "8.0", "13.6"), (32, 1.505, "5.8", "5.0")],
)
def test_illinois_plumbing_code_table_n(gpm, inches, velocity, loss):
    """Illinois Plumbing Code 890, appendix A, table N, copper: an older chart, between C = 120 and C = 150."""
    assert pipe_flow.velocity(gpm * GPM, inches * INCH) / FOOT == printed(velocity, within=0.04)
    assert per_100_feet(gpm, inches, 150) < float(loss) < per_100_feet(gpm, inches, 120)


def test_plumbing_code_static_head():
    """International Plumbing Code, E103.2: 20 ft of rise are 8.66 psi and 59.8 kPa (0.433 psi/ft, rounded up)."""
    lost = pipe_flow.elevation_pressure(20 * FOOT, 999.0)
    assert lost / PSI == printed("8.66", within=0.0005)
    assert lost / 1000 == printed("59.8", within=0.002)


@pytest.mark.parametrize(
    ("bore", "k"),
    [
        (10.81, "598"),
        (13.61, "195"),
        (20.21, "28.4"),
        (26.21, "8.01"),
        (32.63, "2.75"),
        (39.63, "1.07"),
    ],
)
def test_copper_sprinkler_guide_table_7(bore, k):
    """Sprinkler guide for copper tube to EN 1057, table 7 (scribd 306252913): bar = k·m·(L/min)^1.85, C = 140."""
    litre_per_minute = 1e-3 / 60
    lost = pipe_flow.hazen_williams_loss(litre_per_minute, bore / 1000, 1.0, 140)
    assert lost / 1e5 * 1e6 == printed(k, within=0.008)


def test_sprinkler_branch_line():
    """Design example (scribd 457401227): 76.50 L/min in 27.30 mm at C = 120 lose 0.027 bar/m."""
    lost = pipe_flow.hazen_williams_loss(76.50e-3 / 60, 27.30e-3, 1.0, 120)
    assert lost / 1e5 == printed("0.027")
