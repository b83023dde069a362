"""Heat loss and cooling of pipes as handbooks, guides and exercises print them."""

import math

import pytest

from drenchbook.physics import dead_leg, heat_loss
from tests.printed import printed
from tests.us_units import BTU_PER_HOUR, FOOT, GALLON, GPM, INCH, celsius

PER_FOOT = BTU_PER_HOUR / FOOT * 1.8  # Btu/(h·ft·°F) in W/(m·K)
CONDUCTIVITY = BTU_PER_HOUR * INCH / FOOT**2 * 1.8  # Btu·in/(h·ft²·°F) in W/(m·K)


def with_inside_film(conductance, film, diameter):
    return 1 / (1 / conductance + 1 / (math.pi * diameter * film))


def test_insulated_steel_pipe():
    """Finnish course problem: 106/100 mm, k 17, foam 50 mm, k 0.033, 4500 and 10 W/(m²·K), 130 and -5 °C: 40.2 W/m."""
    u = heat_loss.overall_conductance(0.1, 0.106, 17, 0.05, 0.033, 10)
    assert with_inside_film(u, 4500, 0.1) * 135 == printed("40.2")


def test_glass_fibre_on_a_thin_pipe():
    """bissoy.com 374679: bore 20 mm, wall 2 mm, 20 mm of k 0.05, 10 inside, 5 outside: 2.789 W/(m²·K) on the bore."""
    u = heat_loss.overall_conductance(0.020, 0.024, 1e6, 0.020, 0.05, 5)
    assert with_inside_film(u, 10, 0.020) / (math.pi * 0.020) == printed("2.789", within=0.002)


def test_insulated_steam_pipe():
    """GATE ME 2001: radii 50, 57 and 157 mm, k 43 and 0.1, 570 and 12 W/(m²·K), 500 and 30 °C: 276 W/m by hand."""
    u = heat_loss.overall_conductance(0.100, 0.114, 43, 0.100, 0.1, 12)
    assert with_inside_film(u, 570, 0.1) * 470 == printed("276")


FRANKEL = [
    (1.05, 50, "2.9"),
    (1.66, 50, "4.1"),
    (1.90, 50, "4.8"),
    (2.875, 50, "6.5"),
    (4.50, 50, "9.6"),
    (0.84, 100, "5.2"),
    (1.315, 100, "7.2"),
    (1.90, 100, "9.9"),
    (2.375, 100, "11.5"),
    (3.50, 100, "15.9"),
]


@pytest.mark.parametrize(("outside", "degrees", "watts"), FRANKEL)
def test_frankel_table_5_3(outside, degrees, watts):
    """Facility Piping Systems Handbook, table 5.3, p. 5.15: W/ft with 1/2 in of k 0.25, no film counted.

    The table seems to carry a margin of up to 8.4 %.
    """
    d = outside * INCH
    u = heat_loss.overall_conductance(0.9 * d, d, 50, 0.5 * INCH, 0.25 * CONDUCTIVITY, 1e6)
    assert u * FOOT * degrees / 1.8 == printed(watts, within=0.085)


STEEL = [
    (0.84, 50, "0.455"),
    (0.84, 110, "0.546"),
    (0.84, 140, "0.584"),
    (1.05, 80, "0.605"),
    (1.05, 140, "0.715"),
    (1.315, 50, "0.684"),
    (1.315, 110, "0.819"),
    (1.66, 50, "0.847"),
    (1.66, 80, "0.919"),
    (1.66, 140, "1.086"),
    (1.90, 80, "1.041"),
    (1.90, 110, "1.148"),
    (2.375, 50, "1.18"),
    (2.375, 110, "1.412"),
    (2.375, 140, "1.512"),
]
TARNISHED = [
    (0.625, 80, "0.287"),
    (0.625, 140, "0.321"),
    (0.875, 50, "0.34"),
    (0.875, 110, "0.409"),
    (1.125, 50, "0.44"),
    (1.125, 80, "0.475"),
    (1.125, 140, "0.536"),
    (1.375, 80, "0.559"),
    (1.375, 110, "0.622"),
    (1.625, 80, "0.656"),
]


@pytest.mark.parametrize(("outside", "degrees", "loss"), STEEL)
def test_ashae_guide_1955_bare_steel(outside, degrees, loss):
    """ASHAE Guide 1955, p. 646, table 1: Btu/(h·ft·°F) in still air of 70 °F; emissivity 0.9 gives 3 to 10 % more."""
    d = outside * INCH
    film = heat_loss.still_air_film(d, celsius(70 + degrees), celsius(70), 0.9)
    ours = heat_loss.overall_conductance(0.9 * d, d, 50, film_coefficient=film) / PER_FOOT
    assert 1.0 < ours / float(loss) < 1.10


@pytest.mark.parametrize(("outside", "degrees", "loss"), TARNISHED)
def test_ashae_guide_1955_tarnished_copper(outside, degrees, loss):
    """ASHAE Guide 1955, p. 646, table 2, type K tube: emissivity 0.4 gives 4 to 15 % more."""
    d = outside * INCH
    film = heat_loss.still_air_film(d, celsius(70 + degrees), celsius(70), 0.4)
    ours = heat_loss.overall_conductance(0.9 * d, d, 390, film_coefficient=film) / PER_FOOT
    assert 1.0 < ours / float(loss) < 1.15


def test_default_film_lies_between_copper_and_steel():
    """The bare rows above mean 9.5 W/(m²·K) for tarnished copper and 12.8 for steel; our default of 10 lies between."""
    mean = {
        name: sum(float(loss) * PER_FOOT / (math.pi * outside * INCH) for outside, _, loss in rows) / len(rows)
        for name, rows in {"copper": TARNISHED, "steel": STEEL}.items()
    }
    assert mean == {"copper": printed("9.5"), "steel": printed("12.8")}
    assert mean["copper"] < heat_loss.FILM_COEFFICIENT < mean["steel"]


def test_cengel_example_9_1():
    """Çengel, example 9-1: 8 cm at 70 °C in air of 20 °C: Nu 17.40, h 5.869 W/(m²·K), 443 W from 6 m."""
    assert heat_loss.horizontal_cylinder_nusselt(1.869e6, 0.7241) == printed("17.40", within=5e-4)
    film = heat_loss.still_air_film(0.08, 70, 20, 0.0)
    assert film == printed("5.869", within=6e-4)  # the book rounds g, β and ν
    assert film * math.pi * 0.08 * 6 * 50 == printed("443", within=0.002)


def test_heat_transfer_library_nusselt():
    """github.com/CalebBell/ht, tests: 139.13493970073597 at Gr 2.63e9, Pr 0.69."""
    nusselt = heat_loss.horizontal_cylinder_nusselt(2.63e9 * 0.69, 0.69)
    assert nusselt == printed("139.13493970073597", within=1e-12)


@pytest.mark.parametrize(
    ("t", "conductivity", "viscosity", "within"),
    [
        (0, "0.02364", "1.338", 0.0009),
        (100, "0.03095", "2.306", 0.0009),
        (20, "0.02514", "1.516", 0.0008),
        (30, "0.02588", "1.608", 0.0005),
        (45, "0.02699", "1.750", 0.0),
        (60, "0.02808", "1.896", 0.0005),
        (80, "0.02953", "2.097", 0.0013),
        (-20, "0.02211", "1.169", 0.005),
        (140, "0.03374", "2.745", 0.006),
    ],
)
def test_cengel_table_a_15(t, conductivity, viscosity, within):
    """Çengel, table A-15 (engineersedge.com 13828): W/(m·K) and 1e-5 m²/s."""
    k, nu = heat_loss.air_properties(float(t))
    assert k == printed(conductivity, within)
    assert nu * 1e5 == printed(viscosity, within if t not in (0, 100) else 0.0025)


def test_radiation_of_a_pipe():
    """mathix.co: 5 cm at 50 °C in a room of 20 °C, emissivity 0.8, radiates 25.1 W/m."""
    both = heat_loss.still_air_film(0.05, 50, 20, 0.8) - heat_loss.still_air_film(0.05, 50, 20, 0.0)
    assert both * math.pi * 0.05 * 30 == printed("25.1")


@pytest.mark.parametrize(("air", "hours"), [(-18, "1.4"), (20, "4.6")])
def test_time_to_freezing(air, hours):
    """warrenforensics.com after ASHRAE Fundamentals, ch. 23: 2 in pipe, 1.5 in of k 0.30, from 42 °F: 1.4 h and 4.6 h.

    The rule counts no wall and no film.
    """
    inside, outside = 2.067 * INCH, 2.375 * INCH
    u = heat_loss.overall_conductance(inside, outside, 1e9, 1.5 * INCH, 0.30 * CONDUCTIVITY, 1e9)
    tau = heat_loss.idle_time_constant(inside, outside, 1e-9, 1.0, u, 5.0)
    assert heat_loss.seconds_to_temperature(celsius(42), celsius(air), 0.0, tau) / 3600 == printed(hours)


def test_jlc_bungalow_wait():
    """jlconline.com: 1-3/4 gal of cold water take 70 s at 1.5 gpm, and 47 s (cut off) at 2.2 gpm."""
    assert dead_leg.purge_seconds(1.5 * GPM, 1.75 * GALLON, 0.0) == printed("70")
    assert math.floor(dead_leg.purge_seconds(2.2 * GPM, 1.75 * GALLON, 0.0)) == 47


def test_flush_of_two_pipes():
    """web2.0calc.fr: 13 ft of 3/4 in and 8 ft of 1/2 in (as bores) hold 0.38 gal: 0.25 min at 1.5 gpm."""
    volume = dead_leg.pipe_volume(0.75 * INCH, 13 * FOOT) + dead_leg.pipe_volume(0.5 * INCH, 8 * FOOT)
    assert volume / GALLON == printed("0.38")
    assert dead_leg.purge_seconds(1.5 * GPM, volume, 0.0) / 60 == printed("0.25")


def test_water_in_50_feet():
    """talkofthevillages.com: 50 ft of a 3/4 in bore hold 265 in³, 1.15 gal."""
    volume = dead_leg.pipe_volume(0.75 * INCH, 50 * FOOT)
    assert volume / INCH**3 == printed("265")
    assert volume / GALLON == printed("1.15")


def test_water_in_90_feet_of_trunk():
    """sextongroup.com: 90 ft of 3/4 in copper L (bore 0.785 in) hold 2.25 gal, 8 oz to every 2.5 ft."""
    assert dead_leg.pipe_volume(0.785 * INCH, 90 * FOOT) / GALLON == printed("2.25", within=0.006)


def test_water_in_ten_feet_of_half_inch():
    """terrylove.com: 10 ft of a 0.545 in bore hold 28 in³, 0.12 gal; a gallon fills 39.76 ft of 0.785 in."""
    volume = dead_leg.pipe_volume(0.545 * INCH, 10 * FOOT)
    assert volume / INCH**3 == printed("28")
    assert volume / GALLON == printed("0.12")
    assert dead_leg.pipe_volume(0.785 * INCH, 39.76 * FOOT) / GALLON == printed("1.00")
