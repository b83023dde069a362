"""Flow coefficients Cv and Kv of control valves."""

import math

from drenchbook.physics import fittings
from tests.printed import printed
from tests.us_units import GPM, PSI

CV = GPM / math.sqrt(PSI)  # 1 gpm at 1 psi
KV = 1 / 3600 / math.sqrt(1e5)  # 1 m³/h at 1 bar


def test_iec_60534_example_1():
    """IEC 60534-2-1, annex, example 1: water at 363 K, 965.4 kg/m³, 680 to 220 kPa, 360 m³/h: Kv 165."""
    lost = fittings.coefficient_loss(360 / 3600, 165 * KV, 965.4)
    assert lost / 1e3 == printed("460", within=0.001)


def test_plain_cv_flow():
    """calcbee.com: Cv 10 at 5 psi passes 22.36 gpm."""
    assert fittings.coefficient_loss(22.36 * GPM, 10 * CV) / PSI == printed("5", within=0.0005)


def test_plain_cv_loss():
    """calculator.academy: 10 gpm through Cv 3 lose 11.111 psi."""
    assert fittings.coefficient_loss(10 * GPM, 3 * CV) / PSI == printed("11.111")


def test_conversion():
    """IEC and ISA: Cv = 1.156 Kv."""
    ratio = KV / CV
    assert ratio == printed("1.156")
    assert fittings.coefficient_loss(1 / 3600, ratio * CV) / 1e5 == printed("1", within=1e-9)
