"""Storage tanks and heaters: usable volume, recovery, mixing of hot and cold."""

import math

import pytest

from drenchbook.physics import mixing, storage, water
from tests.printed import printed
from tests.us_units import BTU_PER_HOUR, GALLON, GPH, GPM, POUND, celsius


def test_army_letter_recovery_in_a_short_peak():
    """US Army ETL 1110-3-489, p. 7: Vp 4644 L in 1140 s, 2 tanks of 1893 L, 75 % usable: R = 1.58 L/s for 1140 s."""
    draw = 4.644 / 1140
    assert storage.stratified_seconds(2 * 1.893, 0.75, draw, 1.58e-3) == printed("1140", within=0.003)


def test_ashrae_dormitory_tank():
    """ASHRAE Handbook, service water heating, dormitory: 3600 gal drawn at 70 % usable need 5150 gal (5143)."""
    assert storage.stratified_seconds(5150 * GALLON, 0.7, 3600 * GPH, 0.0) == printed("3600", within=0.002)


def test_ashrae_cafeteria_tank():
    """ASHRAE Handbook: 300 meals of 7 gal at 70 % usable need 3000 gal."""
    assert storage.stratified_seconds(3000 * GALLON, 0.7, 300 * 7 * GPH, 0.0) == printed("3600", within=1e-6)


def test_apartment_building_tank():
    """Sample calculation: 1104 gph · 0.30 = 331 gph, · 1.25 = 414 gal usable, / 0.7 = 591 gal."""
    assert storage.stratified_seconds(591 * GALLON, 0.7, 331 * 1.25 * GPH, 0.0) == printed("3600", within=0.002)


def heated_cold(watts, rise, efficiency=1.0, cold=40.0):
    """Gallons an hour in the way the tables count them: 8.33 lb each."""
    hot = celsius(cold + rise)
    mass = storage.recovery_flow(watts, efficiency, celsius(cold), hot) * water.density(hot)
    return mass / (8.33 * POUND) * 3600


@pytest.mark.parametrize(
    ("watts", "rises"),
    [
        (750, ["5.1", "4.4", "3.8", "3.4", "3.1"]),
        (1500, ["10.2", "8.8", "7.7", "6.8", "6.1"]),
        (2000, ["13.7", "11.7", "10.2", "9.1", "8.2"]),
        (3000, ["20.5", "17.5", "15.4", "13.6", "12.3"]),
        (3800, ["26.0", "22.3", "19.5", "17.3", "15.6"]),
        (4500, ["30.7", "26.3", "23.0", "20.5", "18.4"]),
        (5500, ["37.6", "32.2", "28.2", "25.0", "22.5"]),
        (6000, ["41.0", "35.0", "30.7", "27.3", "24.6"]),
    ],
)
def test_electric_recovery_table(watts, rises):
    """drftps.com, gph at 100 % for rises of 60, 70, 80, 90, 100 °F; cp = 1 Btu/(lb·°F) costs it 0.4 %."""
    for rise, digits in zip((60, 70, 80, 90, 100), rises, strict=True):
        assert heated_cold(watts, rise) == printed(digits, within=0.005)


def test_gas_heater_recovery():
    """calculatorhub.com: 40,000 Btu/h at 80 % from 50 to 120 °F: 54.88 gph (8.33 Btu/(gal·°F), 0.3 %)."""
    assert heated_cold(40_000 * BTU_PER_HOUR, 70, 0.80, 50) == printed("54.88", within=0.003)


def test_county_plan_check():
    """San Joaquin County: 100 gph by 60 °F need 14.95 kW at 98 %."""
    assert heated_cold(14_950, 60, 0.98) == printed("100", within=0.003)


def test_circulation_rule():
    """ETL 1110-3-489, p. 4: 500 Btu/h warm 1 gpm by 1 °F; real water at 110 °F 0.9 % less."""
    heat = 1 * GPM * water.density(celsius(110)) * water.heat_capacity(celsius(110)) / 1.8
    assert heat / BTU_PER_HOUR == printed("500", within=0.01)


def test_ufc_mixing_equation():
    """UFC 3-420-01, A-506.1.3: 2.5 gpm at 110 °F from 140 and 50 °F: 1.667 hot, 0.833 cold; real water is 1.5 % off."""
    temperatures = celsius(110), celsius(140), celsius(50)
    assert mixing.hot_flow(2.5 * GPM, *temperatures) / GPM == printed("1.667", within=0.015)
    assert mixing.cold_flow(2.5 * GPM, *temperatures) / GPM == printed("0.833", within=0.015)


def test_school_mixture():
    """univerkov.com: 0.1 kg at 80 °C and 0.05 kg at 20 °C give 60 °C."""
    assert mixing.hot_mass_fraction(60.0, 80.0, 20.0) == pytest.approx(2 / 3, rel=0.001)
    flows = 0.1 / water.density(80.0), 0.05 / water.density(20.0)
    assert mixing.mixed_temperature(flows[0], 80.0, flows[1], 20.0) == printed("60")


def test_pandapipes_heat_exchanger():
    """pandapipes, heat exchanger: 20 kW taken from 0.2276 m/s in 75 mm at 330 K leave 325.252907 K (ρ 1000, cp 4190).

    Our water at that temperature stores 1.5 % less, which is 0.07 K of the 4.75 K.
    """
    flow = 0.22760187 * math.pi / 4 * 0.075**2
    t = 330 - 273.15
    mass = flow * water.density(t)
    left = water.temperature_of_enthalpy(water.specific_enthalpy(t) - 20_000 / mass) + 273.15
    assert 330 - left == printed("4.747093", within=0.02)
