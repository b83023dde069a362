"""Laws that water's properties keep between the printed points."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.physics import water

TEMPERATURES = st.floats(min_value=-20, max_value=110)
INSIDE = st.floats(min_value=-19, max_value=109)


@given(TEMPERATURES)
def test_enthalpy_and_temperature_are_inverse(t):
    assert water.temperature_of_enthalpy(water.specific_enthalpy(t)) == pytest.approx(t, abs=1e-9)


@given(INSIDE)
def test_heat_capacity_is_the_slope_of_enthalpy(t):
    step = 0.05
    rise = water.specific_enthalpy(t + step) - water.specific_enthalpy(t - step)
    assert rise / (2 * step) == pytest.approx(water.heat_capacity(t), rel=2e-5)


@given(INSIDE, st.floats(min_value=0.01, max_value=1))
def test_warmer_water_is_thinner_and_richer(t, step):
    assert water.viscosity(t + step) < water.viscosity(t)
    assert water.specific_enthalpy(t + step) > water.specific_enthalpy(t)


@given(st.floats(min_value=4.1, max_value=109), st.floats(min_value=0.01, max_value=1))
def test_above_four_degrees_warmer_water_is_lighter(t, step):
    assert water.density(t + step) < water.density(t)


def test_an_array_is_its_numbers():
    temperatures = np.array([-20.0, 4.0, 37.5, 110.0])
    for function in (
        water.density,
        water.viscosity,
        water.heat_capacity,
        water.conductivity,
        water.specific_enthalpy,
        water.sound_speed,
    ):
        assert function(temperatures).tolist() == pytest.approx([function(float(t)) for t in temperatures], rel=1e-15)


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (111, "temperature = 111 °C: must be from -20 to 110"),
        (float("nan"), "temperature = nan °C: must be a finite number"),
        (float("inf"), "temperature = inf °C: must be a finite number"),
        (None, "temperature = blank °C: a number is needed"),
        ("20", 'temperature = "20" °C: a number is needed'),
        (True, "temperature = TRUE °C: a number is needed"),
        (np.array([20.0, -21.0]), "temperature = -21 °C: must be from -20 to 110"),
    ],
)
def test_what_is_no_temperature_is_said(bad, words):
    with pytest.raises(InputError) as error:
        water.density(bad)
    assert str(error.value) == words


def test_an_enthalpy_of_ice_or_steam_is_said():
    with pytest.raises(InputError, match=r"enthalpy = 600000 J/kg: must be the enthalpy of liquid water between -20"):
        water.temperature_of_enthalpy(6e5)
