"""A laboratory building calculated by hand: Hazen-Williams C = 140, 0.4331 psi/ft, 500 Btu/h per gpm and °F throughout.

Real water density explains what is left: 1 % of flows, 0.4 psi of pressures, 2 % of times.
"""

import math

import pytest

from drenchbook.physics import dead_leg, mixing, mixing_valve, outlets, pipe_flow, storage, supply
from tests.printed import printed
from tests.us_units import BTU_PER_HOUR, FOOT, GALLON, GPM, INCH, PSI, celsius

SEAT = 11 * GPM / math.sqrt(PSI)
BYPASS = 8 * GPM / math.sqrt(PSI)
COLD, SET, START = celsius(42), celsius(85), celsius(130)


@pytest.mark.parametrize(
    ("hot", "cold", "chamber", "stem"),
    [(50, 50, "45.55", "0.489"), (40, 60, "38.20", "0.769"), (35, 60, "33.30", "0.791")],
)
def test_two_seats_alone(hot, cold, chamber, stem):
    """K 11, 23.2 gpm, hot share 0.489: 45.55 psi; 38.20 and stem 0.769; 33.30 and 0.791."""
    at = 23.2 * GPM, 0.489, hot * PSI, cold * PSI, SEAT
    assert mixing_valve.chamber_pressure(*at) / PSI == printed(chamber)
    assert mixing_valve.stem_position(*at) == printed(stem)


def test_hot_fraction():
    """By mass 0.4886 with a constant heat capacity (43/88); the real one moves the fourth digit."""
    assert mixing.hot_mass_fraction(SET, START, COLD) == printed("0.4886", within=0.0012)


def test_station_4_step_by_step():
    """17.200 gpm, low supply: 65.108 psi; 0.473, 0.266, 10.312, 0.199, 1.732, 0.147; 48.88; 1.019, 0.712, 10.727."""

    def friction(feet, inches, gpm=17.200):
        return pipe_flow.hazen_williams_loss(gpm * GPM, inches * INCH, feet * FOOT, 140) / PSI

    assert supply.supply_pressure(17.2 * GPM, 66 * PSI, 57 * PSI, 60 * GPM) / PSI == printed("65.108")
    assert supply.square_loss(17.2 * GPM, 0.0016 * PSI / GPM**2) / PSI == printed("0.473")
    assert supply.square_loss(17.2 * GPM, 0.0009 * PSI / GPM**2) / PSI == printed("0.266")
    points = [(0, 11.5), (10, 10.6), (20, 10.2), (30, 10.6), (40, 11.4), (60, 14.0), (75, 16.8)]
    preventer = supply.curve_pressure(17.2 * GPM, [q * GPM for q, _ in points], [p * PSI for _, p in points])
    assert preventer / PSI == printed("10.312")
    assert friction(60, 1.985) == printed("0.199")  # its exponents 1.852 and 4.871 read up to 0.4 % less
    assert pipe_flow.elevation_pressure(4 * FOOT, 999.0) / PSI == printed("1.732", within=0.001)
    assert friction(40, 1.505, 17.2 * (1 - 0.4886)) == printed("0.147", within=0.006)
    assert friction(80, 1.505) == printed("1.019", within=0.005)
    assert friction(24, 1.265) == printed("0.712", within=0.005)
    assert friction(130, 1.025) == printed("10.727", within=0.005)
    chamber = mixing_valve.chamber_pressure(17.2 * GPM, 0.4886, 50.84 * PSI, 51.98 * PSI, SEAT)
    assert chamber / PSI == printed("48.88", within=2e-4)  # the printed inlets are rounded


def test_station_4_outlets():
    """At 15.51 psi: the shower 3.6515·√15.51 = 14.38 gpm, the eye/face wash 3.2·√(15.51/20) = 2.82 gpm."""
    assert outlets.outlet_flow(15.51 * PSI, 20 * GPM, 30 * PSI, False) / GPM == printed("14.38")
    assert outlets.outlet_flow(15.51 * PSI, 3.2 * GPM, 20 * PSI, True) / GPM == printed("2.82")


def test_regulated_outlets_hold_their_flow():
    """L2 3.50 gpm at 46.5 psi from 20 psi on; L5 21.41 gpm at 23.7 psi, below its 25."""
    assert outlets.outlet_flow(46.5 * PSI, 3.5 * GPM, 20 * PSI, True) / GPM == printed("3.50")
    assert outlets.outlet_flow(23.7 * PSI, 22 * GPM, 25 * PSI, True) / GPM == printed("21.41", within=0.001)


@pytest.mark.parametrize(("gpm", "minutes"), [(28.62, "13.3"), (22.00, "18.7"), (31.30, "11.9"), (25.50, "15.4")])
def test_stratified_tank(gpm, minutes):
    """200 gal, 75 % usable, 130 °F: L1 13.3, L5 18.7, L1 + L2 11.9, L5 + L2 15.4 min."""
    recovery = storage.recovery_flow(150_000 * BTU_PER_HOUR, 0.8, COLD, START)
    at = 200 * GALLON, 0.75, START, COLD, SET, gpm * GPM, recovery, "stratified"
    assert storage.storage_seconds(*at) / 60 == printed(minutes, within=0.02)


def test_recovery():
    """150 kBtu/h at 80 % make 2.727 gpm of 130 °F from 42 °F; hot water counted at its own density is 1.4 % more."""
    recovery = storage.recovery_flow(150_000 * BTU_PER_HOUR, 0.8, COLD, START)
    assert recovery / GPM == printed("2.727", within=0.02)


def test_mixed_tank():
    """200 gal mixed at 23.2 gpm, approach 20 °F, last 6.6 min."""
    at = 200 * GALLON, 0.75, START, COLD, SET, 23.2 * GPM, 2.727 * GPM, "mixed", 20 / 1.8
    assert storage.storage_seconds(*at) / 60 == printed("6.6", within=0.02)


COPPER_L = {"1-1/2": (1.505, 1.625), "1-1/4": (1.265, 1.375), "3/4": (0.785, 0.875), "1/2": (0.545, 0.625)}


def purge(size, feet, gpm):
    inside, outside = (inches * INCH for inches in COPPER_L[size])
    ratio = dead_leg.wall_heat_ratio(inside, outside, 8940, 386, SET)
    return dead_leg.purge_seconds(gpm * GPM, dead_leg.pipe_volume(inside, feet * FOOT), ratio)


def test_purge_of_the_eyewash():
    """L3 at 0.5 gpm: 80 ft of 1-1/2, 24 of 1-1/4 and 30 of 1/2 in take 21 min with the wall."""
    seconds = purge("1-1/2", 80, 0.5) + purge("1-1/4", 24, 0.5) + purge("1/2", 30, 0.5)
    assert seconds / 60 == printed("21")


def test_purge_of_the_eye_face_wash():
    """L1 at 3.2 gpm: 80 ft of 1-1/2 and 18 of 1-1/4 in take about 183 s with the wall."""
    assert purge("1-1/2", 80, 3.2) + purge("1-1/4", 18, 3.2) == printed("183", within=0.02)


def test_purge_of_both_outlets():
    """L1 with all its outlets at the low supply, 25.74 gpm: about 23 s."""
    assert purge("1-1/2", 80, 25.74) + purge("1-1/4", 18, 25.74) == printed("23", within=0.02)


def test_hot_seat_beside_the_bypass():
    """L4 when the source is cold but pressurised: seat 11 and bypass 8 side by side are 19 together at equal inlets."""
    share, chamber = mixing_valve.seats_in_parallel(17.65 * GPM, 50 * PSI, 50 * PSI, SEAT, BYPASS)
    assert share == pytest.approx(11 / 19)
    assert (50 * PSI - chamber) / PSI == pytest.approx((17.65 / 19) ** 2)
