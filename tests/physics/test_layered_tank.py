"""A tank in layers between its two limits, the closed courses, and the heat that must be somewhere."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.physics.layered_tank import layered_tank
from drenchbook.physics.storage import draw_seconds_kernel
from drenchbook.physics.tank_course import (
    mixed_seconds_above_kernel,
    mixed_surplus_kernel,
    stepped_seconds_above_kernel,
    stepped_surplus_kernel,
)

MASS, FULL = 700.0, 2e5  # 700 kg, 48 K above cold water
HEATS = st.floats(min_value=2e4, max_value=4e5)
POWERS = st.floats(min_value=0, max_value=1.2e5)
DELAYS = st.floats(min_value=0, max_value=400)
FRACTIONS = st.floats(min_value=0.02, max_value=0.95)
FLUSH = 900.0


def layered(heat, power=0.0, delay=0.0, fraction=0.0, knee=0.6, mass=MASS, **more):
    """A valve that can hold its heat down to a share `knee` of the full surplus."""
    return layered_tank(mass, FULL, heat, heat / (knee * FULL), power, delay, fraction, FLUSH, **more)


def lasting(course, least):
    """Time until less than some heat leaves, of one tank."""
    low = np.flatnonzero(course.surplus[0] < least * (1 - 1e-12))
    return float(course.begins[0, low[0]]) if len(low) else math.inf


@given(HEATS, POWERS, DELAYS, st.integers(min_value=1, max_value=60))
def test_without_mixing_it_is_the_stratified_tank_whatever_the_number_of_layers(heat, power, delay, layers):
    """m/(q − r), heater after its delay."""
    wanted = float(draw_seconds_kernel(MASS, heat / FULL, power / FULL, delay))
    found = lasting(layered(heat, power, delay, layers=layers), FULL)
    if wanted > FLUSH:
        assert found > FLUSH * (1 - 1e-12)
    else:
        assert found == pytest.approx(wanted, rel=1e-12)


@given(HEATS, POWERS, DELAYS)
def test_nearly_all_mixed_comes_near_the_mixed_tank(heat, power, delay):
    """The error is the content of the layers that are left, a fortieth of the tank."""
    times = np.linspace(0.0, FLUSH, 37)
    knee = 0.6
    course = layered(heat, power, delay, fraction=0.975, knee=knee).at(times)[0]
    mixed = mixed_surplus_kernel(times, MASS, FULL, FULL, heat, heat / (knee * FULL), power, delay)
    # one layer of 1/40 keeps the water for its own travel time, in which the heat falls by at most this
    travel = 0.025 * MASS / (heat / FULL)
    bound = np.minimum(heat * travel / (0.975 * MASS), FULL) + 0.03 * FULL
    assert np.all(np.abs(course - mixed) <= bound)


@pytest.mark.parametrize("layers", [20, 40, 80, 160])
def test_the_more_layers_the_nearer_to_the_mixed_tank(layers):
    fraction, heat = 1 - 1 / layers, 1.2e5
    course = layered(heat, 3e4, 60.0, fraction=fraction, layers=layers)
    times = np.linspace(0.0, FLUSH, 91)
    mixed = mixed_surplus_kernel(times, MASS, FULL, FULL, heat, heat / (0.6 * FULL), 3e4, 60.0)
    assert np.abs(course.at(times)[0] - mixed).max() < 2 * FULL / layers  # its travel, and one step


@settings(max_examples=30)
@given(HEATS, POWERS, DELAYS, FRACTIONS)
def test_heat_that_leaves_was_stored_or_made(heat, power, delay, fraction):
    """Never more, and exactly as long as neither thermostat holds: top never asked beyond full, bottom below full."""
    course = layered(heat, power, delay, fraction)
    begins, leaves, stored = course.begins[0], course.surplus[0], course.stored[0]
    finite = np.isfinite(begins)
    lasts = np.diff(begins[finite])
    greatest = heat / (0.6 * FULL)
    drawn = np.cumsum(np.minimum(heat, greatest * leaves[: len(lasts)]) * lasts)
    made = power * np.clip(begins[finite][1:] - delay, 0.0, None)
    gone = stored[0] - stored[finite][1:]
    assert np.all(gone + made >= drawn - 1e-9 * np.maximum(stored[0], drawn))
    if power == 0:
        assert gone == pytest.approx(drawn, rel=1e-9, abs=1e-3)


def test_heat_balance_with_a_heater_to_the_last_joule():
    heat, power = 1.5e5, 4e4
    course = layered(heat, power, 0.0, 0.5)
    begins, leaves, stored = course.begins[0], course.surplus[0], course.stored[0]
    drawn = np.minimum(heat, heat / (0.6 * FULL) * leaves[:-1]) * np.diff(begins)
    assert stored[0] - stored[-1] + power * begins[-1] == pytest.approx(drawn.sum(), rel=1e-12)


@settings(max_examples=30)
@given(HEATS, FRACTIONS, st.floats(min_value=1.1, max_value=3))
def test_minutes_fall_with_mixing_and_rise_with_volume(heat, fraction, factor):
    least = 0.6 * FULL
    times = [lasting(layered(heat, fraction=f), least) for f in (0.0, fraction)]
    assert times[1] <= times[0] + 1e-9 or min(times) > FLUSH
    more = lasting(layered(heat, fraction=fraction, mass=factor * MASS), least)
    assert more >= times[1] * (1 - 1e-9) or more > FLUSH


def test_minutes_fall_step_by_step_with_the_mixed_fraction():
    minutes = [lasting(layered(3e5, fraction=f / 40), 0.6 * FULL) for f in range(40)]
    assert all(later <= earlier + MASS / 40 / 1.5 for earlier, later in itertools.pairwise(minutes))
    assert minutes[-1] < 0.5 * minutes[0]


@given(HEATS, POWERS, DELAYS, st.floats(min_value=0.2, max_value=1.0))
def test_mixed_tank_by_small_steps(heat, power, delay, knee):
    """Euler with the heat balance; what is drawn is the heat asked for, or all that the greatest flow carries."""
    greatest, step, surplus = heat / (knee * FULL), 0.5, FULL
    times, seen = np.arange(0.0, FLUSH, step), []
    for time in times:
        seen.append(surplus)
        gain = power if time >= delay else 0.0
        surplus = min(surplus + step / MASS * (gain - min(heat, greatest * surplus)), FULL)
    exact = mixed_surplus_kernel(times, MASS, FULL, FULL, heat, greatest, power, delay)
    assert np.abs(exact - seen).max() < 2e-3 * FULL


@given(HEATS, POWERS, DELAYS, st.floats(min_value=0.05, max_value=1.0), st.floats(min_value=0.5, max_value=1.0),
       st.floats(min_value=1, max_value=FLUSH))  # fmt: skip
def test_seconds_above_agree_with_a_fine_count(heat, power, delay, share, start, until):
    tank = (MASS, start * FULL, FULL, heat, heat / (0.6 * FULL), power, delay)
    times = (np.arange(20_000) + 0.5) * until / 20_000
    counted = np.mean(mixed_surplus_kernel(times, *tank) >= share * FULL) * until
    assert float(mixed_seconds_above_kernel(share * FULL, until, *tank)) == pytest.approx(counted, abs=0.1)


def test_a_mixed_tank_at_rest_stays_and_a_strong_heater_fills_it():
    assert float(mixed_surplus_kernel(500.0, MASS, FULL, FULL, 0.0, 0.0, 0.0, 0.0)) == FULL
    assert float(mixed_surplus_kernel(9000.0, MASS, 0.1 * FULL, FULL, 1e4, 1e4 / FULL / 0.6, 9e4, 0.0)) == FULL
    assert float(mixed_surplus_kernel(100.0, MASS, 0.5 * FULL, FULL, 0.0, 0.0, 7e4, 0.0)) == pytest.approx(1.1e5)


def test_stepped_water_by_hand():
    """Full for 100 s, nothing until the heater starts at 150 s, then half."""
    times = np.array([0.0, 99.9, 100.0, 149.9, 150.0, 800.0])
    assert stepped_surplus_kernel(times, 100.0, 2.0, 1.0, 150.0).tolist() == [2.0, 2.0, 0.0, 0.0, 1.0, 1.0]
    assert [float(stepped_seconds_above_kernel(least, 400.0, 100.0, 2.0, 1.0, 150.0)) for least in (0.0, 1.0, 1.5)] == [
        400.0, 350.0, 100.0]  # fmt: skip


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mass": 0.0}, "mass = 0 kg: must be more than zero"),
        (
            {"mixed_fraction": 1.0},
            "mixed_fraction = 1: must be less than 1; a mixed tank has its course in closed form",
        ),
        ({"power": -1.0}, "power = -1 W: must be zero or more"),
    ],
)
def test_errors_are_sentences(change, words):
    given_ = {"mass": 1.0, "full": 1.0, "heat_drawn": 1.0, "greatest_draw": 1.0, "power": 0.0, "delay": 0.0,
              "mixed_fraction": 0.5, "until": 1.0, **change}  # fmt: skip
    with pytest.raises(InputError) as error:
        layered_tank(**given_)
    assert str(error.value).startswith(words)
