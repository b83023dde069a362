"""IAPWS SR6-08(2011), Liquid Water at 0.1 MPa, Table 8, p. 11 (http://iapws.org/relguide/LiquidWater.html)."""

import pytest

from drenchbook.errors import InputError
from drenchbook.physics import water
from tests.printed import printed

KELVIN = 273.15


def test_table_8_at_260_kelvin():
    """In kg/m³, kJ/(kg·K), µPa·s, W/(m·K) and m/s: 997.068360, 4.30017472, 3058.36075, 0.515628010, 1324.87258."""
    t = 260 - KELVIN
    assert water.density(t) == printed("997.068360")
    assert water.heat_capacity(t) / 1000 == printed("4.30017472")
    assert water.viscosity(t) * 1e6 == printed("3058.36075")
    assert water.conductivity(t) == printed("0.515628010")
    assert water.sound_speed(t) == printed("1324.87258")


def test_table_8_at_298_15_kelvin():
    """In kg/m³, kJ/(kg·K), µPa·s, W/(m·K) and m/s: 997.047013, 4.18144618, 889.996774, 0.606502308, 1496.69922."""
    t = 298.15 - KELVIN
    assert water.density(t) == printed("997.047013")
    assert water.heat_capacity(t) / 1000 == printed("4.18144618")
    assert water.viscosity(t) * 1e6 == printed("889.996774")
    assert water.conductivity(t) == printed("0.606502308")
    assert water.sound_speed(t) == printed("1496.69922")


def test_r12_08_table_4_viscosity_at_998():
    """R12-08 Table 4: 889.735100 µPa·s at 998 kg/m³ and 298.15 K; that is 2 MPa, where water is 0.03 % thinner."""
    assert water.viscosity(25.0) * 1e6 == printed("889.735100", within=0.0004)


def test_if97_table_5_at_300_kelvin_and_3_megapascal():
    """R7-97 Table 5, p. 9: 0.00100215168 m³/kg and 4.17301218 kJ/(kg·K) at 3 MPa; 30 times our pressure costs 0.2 %."""
    assert 1 / water.density(300 - KELVIN) == printed("0.00100215168", within=0.0015)
    assert water.heat_capacity(300 - KELVIN) / 1000 == printed("4.17301218", within=0.002)


def test_range_of_the_release():
    """SR6-08, section 4: 253.15 K to 383.15 K."""
    assert water.density(-20.0) > water.density(110.0)
    for outside in (-20.1, 110.1):
        with pytest.raises(InputError, match=r"temperature = .* °C: must be from -20 to 110"):
            water.density(outside)
