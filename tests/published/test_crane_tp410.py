"""Crane TP-410/TP-410M, chapter 7, worked examples.

Read as the fluids library reproduces them (github.com/CalebBell/fluids, docs/Examples/Crane TP 410 Solved Problems),
which prints the book's answers; each test says which numbers are the book's.
"""

import math

import pytest

from drenchbook.physics import fittings, pipe_flow, water
from tests.printed import printed
from tests.us_units import FOOT, GPM, INCH, MILE, POUND, PSI

GRAVITY = 9.80665
LITRE_PER_MINUTE = 1e-3 / 60


def test_example_7_1_smooth_pipe():
    """200 L/min of water at 30 °C in smooth pipe of 52.48 mm: Re 100,600 and f 0.0179 (book, from a chart, 1.5 %)."""
    q, d = 200 * LITRE_PER_MINUTE, 52.48e-3
    reynolds = pipe_flow.reynolds(q, d, water.viscosity(30.0), water.density(30.0))
    assert reynolds == printed("100600", within=0.006)
    assert pipe_flow.colebrook_friction_factor(reynolds, 0.0) == printed("0.0179", within=0.015)


def test_example_7_2_resistance_of_a_flow_coefficient():
    """Kv 500, bore 0.154 m, f 0.015: K 3.6, L/D 240, L 37.0 m (book)."""
    k = fittings.resistance_of_coefficient(500 / 3600 / math.sqrt(1e5), 0.154)
    assert k == printed("3.6")
    assert k / 0.015 == printed("240")
    assert k / 0.015 * 0.154 == printed("37.0")


def test_example_7_3_angle_valve():
    """L/D 150, fT 0.0165, bore 97.2 mm: K 2.475 and Kv 240.2 (book; its water is 0.04 % denser)."""
    k = fittings.resistance(150, 0.0165)
    assert k == printed("2.475")
    assert fittings.resistance_of_coefficient(240.2 / 3600 / math.sqrt(1e5), 0.0972) == printed("2.475", within=5e-4)


def test_example_7_9_laminar_flow():
    """400 gpm of oil, 130 cP, in 300 ft of 5 in schedule 40, up 50 ft, elbow, gate and angle valve.

    fluids prints 6.41418 ft/s, Re 1675.62, f 0.0381949, K 29.9911 and 26.0640 psi in all.
    """
    rho, mu, d = 62.364 * 0.87 * POUND / FOOT**3, 0.130, 128.2e-3
    q, length = 400 * GPM, 300 * FOOT
    assert pipe_flow.velocity(q, d) / FOOT == printed("6.4142")
    assert pipe_flow.reynolds(q, d, mu, rho) == printed("1675.6", within=1e-4)
    friction = pipe_flow.darcy_weisbach_loss(q, d, length, 0.0018 * INCH, rho, mu)
    head = rho * pipe_flow.velocity(q, d) ** 2 / 2
    assert friction / head / length * d == printed("0.038195", within=1e-4)
    k = fittings.resistance(8 + 150 + 20, 0.01543941)
    assert friction / head + k == printed("29.991", within=1e-4)
    total = friction + pipe_flow.minor_loss(q, d, k, rho) + pipe_flow.elevation_pressure(50 * FOOT, rho)
    assert total / PSI == printed("26.064", within=1e-4)


def test_example_7_13_flow_in_english_units():
    """2 US gal/s of oil (0.815, 2.7 cSt) in 100 ft of 2 in schedule 40: 9.65 psi with f 0.0230 from the chart (book).

    fluids prints 0.022702 and 9.5376 psi with ε 0.0018 in.
    """
    rho = 0.815 * 999.1
    q, d, eps = 120 * GPM, 52.48e-3, 0.0018 * INCH
    reynolds = pipe_flow.reynolds(q, d, 2.7e-6 * rho, rho)
    assert pipe_flow.colebrook_friction_factor(reynolds, eps / d) == printed("0.022702", within=2e-4)
    lost = pipe_flow.darcy_weisbach_loss(q, d, 100 * FOOT, eps, rho, 2.7e-6 * rho)
    assert lost / PSI == printed("9.5376", within=1e-3)
    assert lost / PSI == printed("9.65", within=0.015)


def test_example_7_15_power_required_for_pumping():
    """100 gpm of water at 70 °F, 500 ft of 3 in schedule 40 up 400 ft: 421 ft and 15.2 hp at 70 % (book)."""
    rho, mu, q, d = 62.298 * POUND / FOOT**3, 0.95e-3, 100 * GPM, 3.068 * INCH
    beta = 2.469 / 3.068  # the lift check valve is one size smaller [Crane, p. A-27, formula 7]
    reduced = beta * (0.5 * (1 - beta**2) + (1 - beta**2) ** 2)
    lift_check = (fittings.resistance(600, 0.018) + reduced) / beta**4
    k = lift_check + fittings.resistance(8 + 4 * 30, 0.017) + 1.0
    lost = pipe_flow.darcy_weisbach_loss(q, d, 500 * FOOT, 0.0022 * INCH, rho, mu) + pipe_flow.minor_loss(q, d, k, rho)
    lost += pipe_flow.elevation_pressure(400 * FOOT, rho)
    assert lost / (rho * GRAVITY) / FOOT == printed("421", within=0.003)
    assert q * lost / 0.7 / 745.7 == printed("15.2")


def test_example_7_17_oil_pipeline():
    """1900 barrels an hour over 50 miles of 12 in schedule 30, up 2000 ft: 3406.5 ft and 1496 hp (book, short cut).

    fluids prints Re 24364.09, f 0.02511026 and 3413.764 ft.
    """
    rho, mu, d = 54.64 * POUND / FOOT**3, 12.5e-3, 307.04e-3
    q = 1900 * 42 * 231 * INCH**3 / 3600
    eps = 0.0022 * INCH
    reynolds = pipe_flow.reynolds(q, d, mu, rho)
    assert reynolds == printed("24364", within=5e-4)
    assert pipe_flow.colebrook_friction_factor(reynolds, eps / d) == printed("0.025110", within=2e-4)
    lost = pipe_flow.darcy_weisbach_loss(q, d, 50 * MILE, eps, rho, mu) + pipe_flow.elevation_pressure(2000 * FOOT, rho)
    assert lost / (rho * GRAVITY) / FOOT == printed("3406.5", within=0.003)
    assert q * lost / 0.67 / 745.7 == printed("1496", within=0.003)


def test_example_7_19_water_from_a_reservoir():
    """11.5 ft, 10 ft of 3 in and 20 ft of 2 in schedule 40, miter bend, gate valve: 137 gpm (book, chart factors)."""
    rho, mu, eps = 62.364 * POUND / FOOT**3, 1.1e-3, 0.0018 * INCH
    wide, narrow = 3.068 * INCH, 2.067 * INCH
    contraction = 0.5 * (1 - (narrow / wide) ** 2)
    k_wide = 0.5 + fittings.resistance(60 + 8, 0.0173)

    def lost(q):
        friction = pipe_flow.darcy_weisbach_loss(q, wide, 10 * FOOT, eps, rho, mu)
        friction += pipe_flow.darcy_weisbach_loss(q, narrow, 20 * FOOT, eps, rho, mu)
        return (
            friction
            + pipe_flow.minor_loss(q, wide, k_wide, rho)
            + pipe_flow.minor_loss(q, narrow, contraction + 1.0, rho)
        )

    head = pipe_flow.elevation_pressure(11.5 * FOOT, rho)
    assert lost(137 * 0.98 * GPM) < head < lost(137 * 1.02 * GPM)


def test_example_7_27_control_valve():
    """250 gpm, 60.998 lb/ft³, 80.6 to 70.8 psia: Cv 79.94 (book, with 1.2 % for the reducers that we leave out)."""
    coefficient = 79.94 * GPM / math.sqrt(PSI)
    rho = 60.998 * POUND / FOOT**3
    lost = fittings.coefficient_loss(250 * GPM, coefficient, rho)
    assert lost / PSI == printed("9.8", within=0.025)


@pytest.mark.parametrize(
    ("bore", "roughness_share", "book"),
    [(2.067, 0.0018 / 2.067, "0.019"), (3.068, 0.0018 / 3.068, "0.017"), (6.065, 0.0018 / 6.065, "0.015")],
)
def test_fully_turbulent_friction_factor(bore, roughness_share, book):
    """Page A-27: fT 0.019, 0.017 and 0.015 for clean steel pipe of 2, 3 and 6 in."""
    assert pipe_flow.turbulent_friction_factor(roughness_share) == printed(book)
