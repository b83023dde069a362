"""Laws of heat loss, idle cooling and standing water."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.physics import dead_leg, heat_loss, outdoor_pipe, water

FLOWS = st.floats(min_value=1e-6, max_value=5e-3)
INLETS = st.floats(min_value=1, max_value=90)
AIRS = st.floats(min_value=-30, max_value=50)
CONDUCTANCES = st.floats(min_value=0.05, max_value=5)


@given(FLOWS, INLETS, AIRS, CONDUCTANCES, st.floats(min_value=0, max_value=500))
def test_end_lies_between_inlet_and_air(flow, inlet, air, conductance, length):
    end = heat_loss.end_temperature(flow, inlet, air, conductance, length)
    assert min(inlet, air) - 1e-9 <= end <= max(inlet, air) + 1e-9


@given(FLOWS, INLETS, AIRS, CONDUCTANCES, st.floats(min_value=0, max_value=500), st.floats(min_value=0, max_value=1))
def test_a_split_run_is_the_whole_at_one_heat_flow(flow, inlet, air, conductance, length, share):
    rate = flow * 4.18e6
    middle = heat_loss.end_temperature_kernel(rate, inlet, air, conductance * length * share)
    end = heat_loss.end_temperature_kernel(rate, middle, air, conductance * length * (1 - share))
    whole = heat_loss.end_temperature_kernel(rate, inlet, air, conductance * length)
    assert float(end) == pytest.approx(float(whole), abs=1e-9)


def test_cases_a_child_could_answer():
    assert heat_loss.end_temperature(0, 50, 10, 1.0, 5) == 10  # it stands long enough
    assert heat_loss.end_temperature(1e-4, 50, 10, 1.0, 0) == 50
    assert heat_loss.end_temperature(1e-4, 50, 10, 0, 100) == 50
    assert heat_loss.end_temperature(1e-4, 20, 20, 1.0, 100) == 20
    assert heat_loss.idle_temperature(50, 10, 0, 100) == 50
    assert heat_loss.idle_temperature(50, 10, 1e9, 100) == 10
    assert heat_loss.idle_temperature(50, 10, 100 * math.log(2), 100) == pytest.approx(30)


@given(st.floats(min_value=0.001, max_value=0.1), st.floats(min_value=1.01, max_value=3))
def test_thicker_or_better_insulation_holds_more(thickness, factor):
    def conductance(metres, k):
        return heat_loss.overall_conductance(0.026, 0.0286, 390, metres, k)

    # a film of 10 W/(m²·K) and k 0.04 put the critical radius at 4 mm, inside every pipe
    assert conductance(thickness * factor, 0.04) < conductance(thickness, 0.04) < conductance(0, 0.04)
    assert conductance(thickness, 0.04 * factor) > conductance(thickness, 0.04)


def test_bare_pipe_is_its_film():
    ours = heat_loss.overall_conductance(0.026, 0.0286, 1e9, film_coefficient=8)
    assert ours == pytest.approx(8 * math.pi * 0.0286)


@given(
    st.floats(min_value=20, max_value=80),
    st.floats(min_value=-30, max_value=10),
    st.floats(min_value=0.01, max_value=0.99),
)
def test_time_and_temperature_are_inverse(start, air, share):
    wanted = air + share * (start - air)
    time = heat_loss.seconds_to_temperature(start, air, wanted, 7200)
    assert heat_loss.idle_temperature(start, air, time, 7200) == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize(
    ("start", "air", "wanted", "seconds"),
    [
        (10, -15, 12, 0.0),  # passed already
        (10, 5, 0, math.inf),  # the air is warmer than that
        (10, 0, 0, math.inf),  # reached only in the limit
        (10, 10, 5, math.inf),
        (10, 10, 10, 0.0),
        (5, 30, 20, 100 * math.log(25 / 10)),  # warming works alike
        (5, 30, 40, math.inf),
    ],
)
def test_time_to_a_temperature_that_may_never_come(start, air, wanted, seconds):
    assert heat_loss.seconds_to_temperature(start, air, wanted, 100) == pytest.approx(seconds)


def test_time_constant_by_hand():
    """1 m of 20/22 mm: 0.31416 L of water and 65.97 cm³ of wall over 0.5 W/K."""
    store = 3.1416e-4 * water.density(40.0) * water.heat_capacity(40.0) + 6.5973e-5 * 8940 * 386
    ours = heat_loss.idle_time_constant(0.020, 0.022, 8940, 386, 0.5, 40.0)
    assert ours == pytest.approx(store / 0.5, rel=1e-4)


@given(
    st.floats(min_value=1, max_value=150), st.floats(min_value=-20, max_value=50), st.floats(min_value=0, max_value=1)
)
def test_film_is_symmetric_and_rises_with_emissivity(surface, air, emissivity):
    if abs(surface - air) < 0.1:
        return
    film = heat_loss.still_air_film(0.03, surface, air, emissivity)
    assert film == pytest.approx(heat_loss.still_air_film(0.03, air, surface, emissivity))
    assert film >= heat_loss.still_air_film(0.03, surface, air, 0.0)


@given(
    st.floats(min_value=0, max_value=0.1), st.floats(min_value=0, max_value=0.1), st.floats(min_value=0, max_value=1)
)
def test_volumes_purge_one_after_the_other(first, second, ratio):
    whole = dead_leg.purge_seconds(2e-4, first + second, ratio)
    parts = dead_leg.purge_seconds(2e-4, first, ratio) + dead_leg.purge_seconds(2e-4, second, ratio)
    assert whole == pytest.approx(parts, rel=1e-12, abs=1e-12)


def test_wall_of_water_weighs_as_much_as_the_water():
    """A wall with water's density and heat capacity, and the area of the bore, has the ratio 1."""
    t = 30.0
    ours = dead_leg.wall_heat_ratio(0.02, 0.02 * 2**0.5, water.density(t), water.heat_capacity(t), t)
    assert ours == pytest.approx(1)


def test_arrays_keep_their_shape():
    lengths = np.array([0.0, 10.0, 1000.0])
    ends = heat_loss.end_temperature(1e-4, 50.0, 10.0, 1.0, lengths)
    assert ends.shape == (3,)
    assert (np.diff(ends) < 0).all()
    assert heat_loss.seconds_to_temperature(10.0, -15.0, np.array([0.0, 12.0]), 100.0).tolist() == pytest.approx(
        [100 * math.log(25 / 15), 0]
    )


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: dead_leg.purge_seconds(0, 1, 0), "flow = 0 m³/s: must be more than zero"),
        (
            lambda: dead_leg.wall_heat_ratio(0.03, 0.02, 8940, 386, 20),
            "outside_diameter = 0.02 m: must be more than the inside diameter",
        ),
        (
            lambda: heat_loss.overall_conductance(0.02, 0.022, 390, -1),
            "insulation_thickness = -1 m: must be zero or more",
        ),
        (
            lambda: heat_loss.still_air_film(0.02, 20, 20, 0.9),
            "surface_temperature = 20 °C: must differ from the air temperature: no heat flows between equals",
        ),
        (
            lambda: heat_loss.idle_temperature(50, 10, -1, 100),
            "seconds = -1 s: must be zero or more",
        ),
    ],
)
def test_errors_are_sentences(call, words):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == words


@given(AIRS, st.floats(min_value=0, max_value=1200), st.floats(min_value=5, max_value=40))
def test_the_sun_only_warms_and_wind_takes_it_away(air, irradiance, film):
    still = outdoor_pipe.pipe_sol_air_temperature(air, irradiance, 0.9, film)
    assert air <= outdoor_pipe.pipe_sol_air_temperature(air, irradiance, 0.9, 2 * film) <= still
    assert outdoor_pipe.pipe_sol_air_temperature(air, 0, 0.9, film) == air


@given(st.floats(min_value=0.02, max_value=0.3), st.floats(min_value=0.2, max_value=5))
def test_deeper_is_warmer(diameter, depth):
    shallow = outdoor_pipe.soil_conductance(diameter, depth, 1.5)
    assert outdoor_pipe.soil_conductance(diameter, depth + 0.5, 1.5) < shallow


def test_a_pipe_that_breaks_the_surface_is_not_buried():
    with pytest.raises(InputError, match=r"depth = 0\.05 m: must be more than half the diameter"):
        outdoor_pipe.soil_conductance(0.1, 0.05, 1.0)
