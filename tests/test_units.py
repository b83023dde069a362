"""Units: exact factors, against pint, and back again."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.units import QUANTITIES, UNITS, from_si, to_si, unit_system


@pytest.mark.parametrize("unit", [u for u in UNITS if UNITS[u].pint])
def test_each_factor_agrees_with_pint(unit):
    import pint

    registry = pint.UnitRegistry()
    si = {"°F": "degC", "°C": "degC"}.get(unit)
    quantity = registry.Quantity(37.0, UNITS[unit].pint)
    expected = quantity.to(si) if si else quantity.to_base_units()
    assert to_si(37.0, unit) == pytest.approx(expected.magnitude, rel=1e-12)


@given(st.floats(-1e6, 1e6), st.sampled_from(sorted(UNITS)))
def test_to_si_and_back_is_the_same_number(value, unit):
    assert from_si(to_si(value, unit), unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


def test_each_quantity_has_known_units():
    assert {unit for pair in QUANTITIES.values() for unit in pair} <= set(UNITS)


def test_a_unit_outside_the_table_is_read_by_pint():
    assert to_si(2.0, "bar") == pytest.approx(2e5)
    assert from_si(2e5, "bar") == pytest.approx(2.0)


def test_an_unknown_unit_or_system_is_a_sentence():
    with pytest.raises(InputError, match=r'unit = "furlings": is not a unit'):
        to_si(1.0, "furlings")
    with pytest.raises(InputError, match=r'units = "metric": must be "US" or "SI"'):
        unit_system("metric")
