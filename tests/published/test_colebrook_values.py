"""Friction factors that libraries and textbooks print for a Reynolds number and a relative roughness."""

import pytest

from drenchbook.physics import pipe_flow
from tests.printed import printed


def test_fluids_library_at_1e5():
    """fluids, tests/test_friction.py: 0.018513866077471648 at Re 1e5, ε/D 1e-4."""
    assert pipe_flow.colebrook_friction_factor(1e5, 1e-4) == printed("0.018513866077471648", within=5e-15)


def test_lindeburg_example_17_2():
    """Lindeburg, Civil Engineering Reference Manual, example 17.2, in the R package iemisc: 0.0287 at 4e5, 0.004."""
    assert pipe_flow.colebrook_friction_factor(4e5, 0.004) == printed("0.0287")


def test_hydraulics_package_type_1():
    """R package hydraulics, README: 0.0173031 at Re 248624.7, ε/D 0.0005/(20/12); its root finder stops 4e-4 away."""
    assert pipe_flow.colebrook_friction_factor(248624.7, 0.0005 / (20 / 12)) == printed("0.0173031", within=4e-4)


def test_hydraulics_package_type_2():
    """R package hydraulics, README: 0.0133 at Re 1010337, ε/D 0.000046/0.5."""
    assert pipe_flow.colebrook_friction_factor(1010337, 0.000046 / 0.5) == printed("0.0133")


def test_engineerexcel_goal_seek():
    """engineerexcel.com: 0.0375 at Re 6000, ε/D 0.00005/0.0254, by goal seek that stops 1 % away."""
    assert pipe_flow.colebrook_friction_factor(6000, 0.00005 / 0.0254) == printed("0.0375", within=0.01)


@pytest.mark.parametrize(
    ("roughness", "at_5000", "at_1e4", "at_1e5", "at_1e6", "within"),
    [
        (0.001, "0.0385", "0.0324", "0.0222", "0.0199", 0.0),
        (0.01, "0.0472", "0.0431", "0.0384", "0.0379", 0.005),
        (0.05, "0.0758", "0.0736", "0.0716", "0.0716", 0.005),
    ],
)
def test_engineering_toolbox_d_1031(roughness, at_5000, at_1e4, at_1e5, at_1e6, within):
    """Engineering ToolBox d_1031, quoted in github.com/sshunsuke/MukherjeeBrill tests with 0.5 % for the rough rows."""
    for reynolds, digits in {5e3: at_5000, 1e4: at_1e4, 1e5: at_1e5, 1e6: at_1e6}.items():
        assert pipe_flow.colebrook_friction_factor(reynolds, roughness) == printed(digits, within)


def test_white_example_6_7():
    """White, Fluid Mechanics, example 6.7: 6.4 m/s, Re 128,000, f 0.0225 from the chart (1 %), 117 m in 500 m."""
    q, d, eps, nu, rho = 0.2, 0.2, 0.26e-3, 1e-5, 900.0
    assert pipe_flow.velocity(q, d) == printed("6.4")
    assert pipe_flow.reynolds(q, d, nu * rho, rho) == printed("128000", within=0.006)  # from the rounded 6.4 m/s
    assert pipe_flow.colebrook_friction_factor(128000, eps / d) == printed("0.0225", within=0.01)
    head = pipe_flow.darcy_weisbach_loss(q, d, 500, eps, rho, nu * rho) / (rho * 9.81)
    assert head == printed("117")


def test_hydraulics_package_head_loss():
    """R package hydraulics, README: 5.72 ft in 10560 ft of 20 in at 4 ft³/s, ε 0.0005 ft, Re 248624.7."""
    foot, rho = 0.3048, 1000.0
    q, d = 4 * foot**3, 20 / 12 * foot
    viscosity = pipe_flow.reynolds(q, d, 1.0, rho) / 248624.7
    head = pipe_flow.darcy_weisbach_loss(q, d, 10560 * foot, 0.0005 * foot, rho, viscosity) / (rho * 9.81) / foot
    assert head == printed("5.72")


def test_hydraulics_package_flow_for_a_head_loss():
    """R package hydraulics, README: 0.41 m³/s lose 0.06 m in 10 m of 0.5 m, ε 0.046 mm, at 20 °C with Re 1010337."""
    rho, gradient = 1000.0, 0.006 * 1000.0 * 9.81
    low, high = 0.3, 0.5
    for _ in range(60):
        middle = (low + high) / 2
        viscosity = pipe_flow.reynolds(0.41, 0.5, 1.0, rho) / 1010337
        lost = pipe_flow.darcy_weisbach_loss(middle, 0.5, 1, 0.000046, rho, viscosity)
        low, high = (middle, high) if lost < gradient else (low, middle)
    assert low == printed("0.41", within=0.01)  # the package's flow is unrounded, the viscosity from the rounded one
