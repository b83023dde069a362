"""Pressure surge of a stopped flow."""

import pytest

from drenchbook.physics import surge
from tests.printed import printed
from tests.us_units import PSI

GRAVITY = 9.81


def test_calculatorlib_surge():
    """calculatorlib.com: 1000 kg/m³, 1200 m/s, 2 m/s: 2,400 kPa, 348.09 psi."""
    pressure = surge.surge_pressure(2.0, 1000.0, 1200.0)
    assert pressure / 1e3 == printed("2400")
    assert pressure / PSI == printed("348.09")


def test_reuven_tools_wave_speed():
    """reuven.tools, water hammer: steel of 200 GPa, water of 2.2 GPa and 1000 kg/m³: 1191.4 m/s.

    Its formula is printed beside; bore and wall (500 and 10 mm) are not, and are those that give its figure.
    """
    speed = surge.wave_speed((2.2e9 / 1000) ** 0.5, 1000.0, 0.5, 0.01, 200e9)
    assert speed == printed("1191.4")


@pytest.mark.parametrize(("time", "head"), [(0.0, "242.9"), (1.6, "242.9"), (5.0, "81.5")])
def test_reuven_tools_closure(time, head):
    """The same page: 1,000 m, 1191.4 m/s, 2L/a = 1.679 s; rapid 242.9 m, in 5 s 81.5 m, 8.00 bar."""
    pressure = surge.closing_pressure(2.0, 1000.0, 1191.4, 1000.0, time)
    assert pressure / 1000 / GRAVITY == printed(head)
    if time > 1.679:
        assert pressure / 1e5 == printed("8.00")
