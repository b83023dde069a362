"""Pressure surge of a stopped flow."""

from drenchbook.physics import pipe_flow
from tests.printed import printed
from tests.us_units import PSI


def test_calculatorlib_surge():
    """calculatorlib.com: 1000 kg/m³, 1200 m/s, 2 m/s: 2,400 kPa, 348.09 psi."""
    surge = pipe_flow.surge_pressure(2.0, 1000.0, 1200.0)
    assert surge / 1e3 == printed("2400")
    assert surge / PSI == printed("348.09")
