"""Laws of tanks, and a mixed tank stepped through time."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.physics import storage, water

VOLUMES = st.floats(min_value=0.05, max_value=5)
FLOWS = st.floats(min_value=1e-5, max_value=5e-3)
TANK = {"start_temperature": 55.0, "cold_temperature": 6.0, "mixed_temperature": 29.0}


def seconds(volume=0.75, flow=1.5e-3, recovery=1e-4, model="stratified", fraction=0.75, **more):
    return storage.storage_seconds(
        volume, fraction, mixed_flow=flow, recovery=recovery, model=model, **{**TANK, **more}
    )


@given(VOLUMES, FLOWS, st.sampled_from(storage.MODELS), st.floats(min_value=1.01, max_value=3))
def test_time_rises_with_volume_and_falls_with_flow(volume, flow, model, factor):
    time = seconds(volume, flow, model=model)
    assume(math.isfinite(time))
    assert seconds(volume * factor, flow, model=model) == pytest.approx(time * factor)
    assert seconds(volume, flow * factor, model=model) < time
    assert seconds(volume, flow, recovery=2e-4, model=model) > time
    assert seconds(volume, flow, recovery=0, model=model) < time


def test_a_heater_that_keeps_up_never_ends():
    for model in storage.MODELS:
        assert seconds(flow=1e-4, recovery=1e-3, model=model) == math.inf
        assert seconds(flow=0, recovery=0, model=model) == math.inf


def test_no_recovery_is_volume_over_draw():
    """A mixed temperature equal to the tank's draws the tank itself."""
    assert seconds(0.6, 1e-3, 0, mixed_temperature=55.0) == pytest.approx(0.75 * 0.6 / 1e-3)


def test_delay_by_hand():
    """450 L usable, 1 L/s out, 0.5 L/s back after 100 s: 100 L are gone, 350 more at 0.5 L/s take 700 s."""
    assert storage.stratified_seconds(0.6, 0.75, 1e-3, 5e-4, 100) == pytest.approx(800)
    assert storage.stratified_seconds(0.6, 0.75, 1e-3, 5e-4, 1000) == pytest.approx(450)
    assert storage.stratified_seconds(0.6, 0.75, 1e-3, 2e-3, 100) == math.inf


def test_mixed_tank_stepped_through_time():
    """An explicit heat balance with small steps: draw from the tank's own temperature, refill with cold water."""
    volume, flow, recovery = 0.757, 1.46e-3, 1.7e-4
    mass = volume * water.density(55.0)
    hot_heat = water.density(55.0) * (water.specific_enthalpy(55.0) - water.specific_enthalpy(6.0))
    drawn = flow * water.density(29.0) * (water.specific_enthalpy(29.0) - water.specific_enthalpy(6.0))
    h, step, time = water.specific_enthalpy(55.0), 0.05, 0.0
    lowest = water.specific_enthalpy(29.0 + 11.0)
    while h > lowest:
        out = drawn / (h - water.specific_enthalpy(6.0))  # kg/s, more as the tank cools
        h += step / mass * (recovery * hot_heat - out * (h - water.specific_enthalpy(6.0)))
        time += step
    assert seconds(volume, flow, recovery, "mixed", approach=11.0) == pytest.approx(time, abs=2 * step)


def test_mixed_tank_that_starts_too_cold_lasts_no_time():
    assert seconds(model="mixed", start_temperature=38.0, approach=10.0) == 0


def test_approach_and_fraction_matter_only_to_their_model():
    assert seconds(approach=5.0) == seconds(approach=20.0)
    assert seconds(model="mixed", fraction=0.5) == seconds(model="mixed", fraction=0.9)
    assert seconds(model="mixed", approach=5.0) > seconds(model="mixed", approach=20.0)


@given(st.floats(min_value=5, max_value=20), st.floats(min_value=45, max_value=90))
def test_recovered_water_carries_the_power(cold, hot):
    made = storage.recovery_flow(20_000, 0.8, cold, hot)
    heat = made * water.density(hot) * (water.specific_enthalpy(hot) - water.specific_enthalpy(cold))
    assert heat == pytest.approx(16_000)


def test_an_array_is_its_numbers():
    flows = np.array([0.0, 5e-4, 2e-3])
    for model in storage.MODELS:
        assert seconds(flow=flows, model=model).tolist() == [seconds(flow=float(q), model=model) for q in flows]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: seconds(model="layered"), 'model = "layered": must be "stratified" or "mixed"'),
        (lambda: seconds(volume=0), "volume = 0 m³: must be more than zero"),
        (lambda: seconds(fraction=1.2), "usable_fraction = 1.2: must be more than 0 and at most 1"),
        (
            lambda: seconds(mixed_temperature=60.0),
            "mixed_temperature = 60 °C: the tank cannot reach it: must lie between the cold temperature 6 °C and the "
            "start temperature 55 °C",
        ),
        (
            lambda: storage.recovery_flow(1, 1, 50, 50),
            "hot_temperature = 50 °C: must be above the cold temperature",
        ),
    ],
)
def test_errors_are_sentences(call, words):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == words
