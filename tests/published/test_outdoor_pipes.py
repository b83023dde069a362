"""Pipes in the ground and in the sun as textbooks print them."""

import math

from drenchbook import surroundings
from drenchbook.physics import outdoor_pipe
from tests.printed import printed


def test_holman_example_3_1():
    """Holman, Heat Transfer, example 3-1 (from memory): 15 cm, 4 m, 20 cm deep, k 0.8, 75 and 5 °C: 15.35 m, 859.6 W.

    The book multiplies the rounded shape factor.
    """
    per_metre = outdoor_pipe.soil_conductance(0.15, depth=0.20, soil_conductivity=0.8)
    assert per_metre * 4 / 0.8 == printed("15.35")
    assert per_metre * 4 * 70 == printed("859.6", within=4e-4)


def test_cengel_example_3_13():
    """Çengel, example 3-13 (from memory): 10 cm, 30 m, 50 cm deep, k 0.9, 80 and 10 °C: shape factor 62.9 m.

    The book takes ln(4z/D) for arcosh(2z/D), 0.1 % more.
    """
    per_metre = outdoor_pipe.soil_conductance(0.10, depth=0.50, soil_conductivity=0.9)
    assert per_metre * 30 / 0.9 == printed("62.9", within=1.2e-3)


def test_the_film_of_the_wind_is_that_of_winter_tables():
    """0.17 h·ft²·°F/Btu in 15 mph of wind [ASHRAE Fundamentals 2021, ch. 26, table 10; WAC 51-11-0526].

    The SI table prints 34.0 W/(m²·K) at 6.7 m/s (from memory), 6.00 Btu/(h·ft²·°F) in older editions (from memory).
    """
    btu = 5.678263  # W/(m²·K) in a Btu/(h·ft²·°F)
    assert btu / surroundings.WIND_FILM == printed("0.17")
    wind = surroundings.WIND_FILM
    assert wind == printed("34.0")
    assert surroundings.WIND_FILM / btu == printed("6.00", within=0.0025)


def test_the_film_of_a_room_is_the_highest_of_bare_pipes():
    """Steel loses most of the bare pipes of the ASHAE Guide 1955, p. 646: 12.8 W/(m²·K)."""
    room = surroundings.INSIDE_FILM
    assert room == printed("12.8")


def test_sol_air_of_a_dark_surface():
    """ASHRAE Fundamentals (from memory): α/h 0.052 m²·K/W, dark; 1000 W/m² then adds 52 K to a flat surface."""
    rise = outdoor_pipe.pipe_sol_air_temperature(0.0, irradiance=1000, absorptivity=0.052 * 17, film_coefficient=17)
    assert rise * math.pi == printed("52")  # a pipe gives off heat over π times its width
