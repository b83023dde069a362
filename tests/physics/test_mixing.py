"""Mass and heat balance of mixing."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.physics import mixing, water

FLOWS = st.floats(min_value=1e-7, max_value=1e-2)
HOT = st.floats(min_value=45, max_value=95)
COLD = st.floats(min_value=0, max_value=40)
SHARE = st.floats(min_value=0, max_value=1)


@given(FLOWS, HOT, FLOWS, COLD)
def test_mass_and_heat_are_kept(hot_flow, hot, cold_flow, cold):
    mixed = mixing.mixed_temperature(hot_flow, hot, cold_flow, cold)
    masses = hot_flow * water.density(hot), cold_flow * water.density(cold)
    brought = masses[0] * water.specific_enthalpy(hot) + masses[1] * water.specific_enthalpy(cold)
    assert sum(masses) * water.specific_enthalpy(mixed) == pytest.approx(brought, rel=1e-9)
    assert cold <= mixed <= hot


@given(FLOWS, HOT, COLD, SHARE)
def test_splitting_and_mixing_are_inverse(flow, hot, cold, share):
    wanted = cold + share * (hot - cold)
    parts = mixing.hot_flow(flow, wanted, hot, cold), mixing.cold_flow(flow, wanted, hot, cold)
    assume(sum(parts) > 0)
    assert mixing.mixed_temperature(parts[0], hot, parts[1], cold) == pytest.approx(wanted, abs=1e-8)
    mass = parts[0] * water.density(hot) + parts[1] * water.density(cold)
    assert mass == pytest.approx(flow * water.density(wanted), rel=1e-12)


@given(HOT, COLD, SHARE)
def test_swapping_hot_and_cold_gives_the_rest(hot, cold, share):
    wanted = cold + share * (hot - cold)
    x = mixing.hot_mass_fraction(wanted, hot, cold)
    assert mixing.hot_mass_fraction(wanted, cold, hot) == pytest.approx(1 - x, abs=1e-12)


@given(HOT, COLD)
def test_a_fraction_outside_zero_to_one_is_not_clamped(hot, cold):
    assert mixing.hot_mass_fraction(hot + 1, hot, cold) > 1
    assert mixing.hot_mass_fraction(cold - 1, hot, cold) < 0


def test_cases_a_child_could_answer():
    assert mixing.mixed_temperature(1e-3, 20.0, 5e-3, 20.0) == pytest.approx(20, abs=1e-9)
    assert mixing.mixed_temperature(0, 60.0, 1e-3, 12.0) == pytest.approx(12, abs=1e-9)
    assert mixing.mixed_temperature(1e-3, 60.0, 0, 12.0) == pytest.approx(60, abs=1e-9)
    assert mixing.hot_flow(1e-3, 12.0, 60.0, 12.0) == 0
    assert mixing.cold_flow(1e-3, 60.0, 60.0, 12.0) == 0
    assert mixing.hot_flow(0, 30.0, 60.0, 12.0) == 0


def test_an_array_is_its_numbers():
    wanted = np.array([20.0, 30.0, 40.0])
    flows = mixing.hot_flow(1e-3, wanted, 60.0, 10.0)
    assert flows.tolist() == pytest.approx([mixing.hot_flow(1e-3, float(t), 60.0, 10.0) for t in wanted], rel=1e-14)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: mixing.mixed_temperature(0, 60, 0, 10),
            "cold_flow = 0 m³/s: needs water: both flows are zero",
        ),
        (
            lambda: mixing.hot_mass_fraction(30, 20, 20),
            "hot_temperature = 20 °C: must differ from the cold temperature: "
            "any mixture of the two has that temperature",
        ),
        (
            lambda: mixing.hot_flow(1e-3, 70, 60, 10),
            "mixed_temperature = 70 °C: mixing cannot reach it: must be from 10 to 60, the temperatures that are mixed",
        ),
        (
            lambda: mixing.cold_flow(1e-3, 5, 60, 10),
            "mixed_temperature = 5 °C: mixing cannot reach it: must be from 10 to 60, the temperatures that are mixed",
        ),
        (lambda: mixing.hot_flow(-1, 30, 60, 10), "mixed_flow = -1 m³/s: must be zero or more"),
        (
            lambda: mixing.mixed_temperature(1, 200, 1, 10),
            "hot_temperature = 200 °C: must be from -20 to 110",
        ),
    ],
)
def test_errors_are_sentences(call, words):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == words
