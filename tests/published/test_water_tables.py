"""Tables of water that handbooks and laboratories print."""

import pytest

from drenchbook.physics import water
from tests.printed import printed
from tests.us_units import FOOT, GALLON, INCH, POUND, celsius

POUND_FORCE = POUND * 9.80665


@pytest.mark.parametrize(
    ("degrees", "per_cubic_foot", "per_gallon"),
    [(40, "62.43", "8.3451"), (60, "62.37", "8.3378"), (100, "62.00", "8.2877"), (140, "61.38", "8.2048")],
)
def test_engineering_toolbox_specific_weight(degrees, per_cubic_foot, per_gallon):
    """Engineering ToolBox d_595, lb/ft³ and lb/gal; its rounding is 0.02 % (its 90 °F row breaks its own order)."""
    rho = water.density(celsius(degrees))
    assert rho * FOOT**3 / POUND == printed(per_cubic_foot, within=0.0002)
    assert rho * GALLON / POUND == printed(per_gallon, within=0.0002)


@pytest.mark.parametrize(
    ("degrees", "dynamic", "kinematic"),
    [(40, "3.228", "1.664"), (60, "2.344", "1.210"), (100, "1.423", "0.738"), (140, "0.974", "0.511")],
)
def test_engineers_edge_viscosity(degrees, dynamic, kinematic):
    """engineersedge.com 13146: 1e-5 lbf·s/ft² and 1e-5 ft²/s, from an older formulation, 0.2 %."""
    t = celsius(degrees)
    assert water.viscosity(t) / (POUND_FORCE / FOOT**2) * 1e5 == printed(dynamic, within=0.002)
    assert water.viscosity(t) / water.density(t) / FOOT**2 * 1e5 == printed(kinematic, within=0.002)


@pytest.mark.parametrize(
    ("kelvin", "density", "heat_capacity", "viscosity"),
    [
        (290, "55.440", "0.075429", "1084.0"),
        (310, "55.139", "0.075294", "693.54"),
        (330, "54.662", "0.075373", "489.49"),
    ],
)
def test_perry_table_2_135(kelvin, density, heat_capacity, viscosity):
    """Perry's Chemical Engineers' Handbook, 9th edition, saturated liquid: mol/dm³, kJ/(mol·K), µPa·s (older, 0.1 %).

    A bar more than saturation makes water 0.0045 % denser and its heat capacity 0.007 % smaller.
    """
    molar_mass = 18.015268
    t = kelvin - 273.15
    assert water.density(t) / molar_mass == printed(density, within=5e-5)
    assert water.heat_capacity(t) * molar_mass / 1e6 == printed(heat_capacity, within=7e-5)
    assert water.viscosity(t) * 1e6 == printed(viscosity, within=0.001)


@pytest.mark.parametrize(
    ("t", "enthalpy"),
    [
        (5, "21.0"),
        (15, "63.0"),
        (20, "83.9"),
        (30, "125.7"),
        (40, "167.5"),
        (50, "209.3"),
        (60, "251.2"),
        (80, "335.0"),
    ],
)
def test_ohio_university_saturated_liquid(t, enthalpy):
    """people.ohio.edu/trembly H2O_TempSat1, kJ/kg at saturation, up to 0.1 below the enthalpy at 1 bar."""
    assert abs(water.specific_enthalpy(float(t)) / 1000 - float(enthalpy)) < 0.15


@pytest.mark.parametrize(
    ("t", "enthalpy"),
    [
        (5, "21.020"),
        (10, "42.021"),
        (15, "62.981"),
        (20, "83.914"),
        (25, "104.83"),
        (30, "125.73"),
        (35, "146.63"),
        (40, "167.53"),
        (45, "188.43"),
        (50, "209.34"),
    ],
)
def test_nist_steam_tables(t, enthalpy):
    """NIST saturated water by temperature, kJ/kg; add v·Δp from saturation to 0.1 MPa, at most 0.1 kJ/kg."""
    pressure = {5: 873, 10: 1228, 15: 1706, 20: 2339, 25: 3170, 30: 4247, 35: 5629, 40: 7385, 45: 9595, 50: 12352}[t]
    rise = (100_000 - pressure) / water.density(float(t)) * (1 - (t + 273.15) * 2.5e-4)  # (∂h/∂p) = v·(1 − T·α)
    assert abs(water.specific_enthalpy(float(t)) - rise - 1000 * float(enthalpy)) < 20


@pytest.mark.parametrize(
    ("t", "density"),
    [
        (0, "0.999841"),
        (4, "0.999973"),
        (5, "0.999965"),
        (8, "0.999849"),
        (10, "0.999700"),
        (12, "0.999498"),
        (15, "0.999099"),
    ],
)
def test_crc_handbook_density(t, density):
    """Handbook of Chemistry and Physics, 53rd edition, p. F4, g/mL at 1 atm on the scale of 1968: 4e-6."""
    assert water.density(float(t)) / 1000 == printed(density, within=4e-6)


@pytest.mark.parametrize(
    ("t", "density"),
    [
        (4, "999.9720"),
        (10, "999.7026"),
        (15, "999.1026"),
        (20, "998.2071"),
        (22, "997.7735"),
        (25, "997.0479"),
        (30, "995.6502"),
    ],
)
def test_maximum_density_table(t, density):
    """Density at 1 atm as thoughtco.com 609413 prints it (Tanaka's formula rounded), kg/m³; ours is at 1 bar: 4e-6."""
    assert water.density(float(t)) == printed(density, within=4e-6)


@pytest.mark.parametrize(
    ("t", "viscosity", "sound"),
    [
        (0, "1.792", "1402"),
        (10, "1.307", "1448"),
        (20, "1.002", "1483"),
        (30, "0.797", "1510"),
        (40, "0.653", "1530"),
        (50, "0.547", "1543"),
        (60, "0.467", "1551"),
    ],
)
def test_london_south_bank_water_data(t, viscosity, sound):
    """lsbu.ac.uk/water/data1, mPa·s and m/s at 1 atm, from older measurements: 0.25 % and 0.08 %."""
    assert water.viscosity(float(t)) * 1000 == printed(viscosity, within=0.0025)
    assert water.sound_speed(float(t)) == printed(sound, within=0.0008)


@pytest.mark.parametrize(
    ("t", "capacity"), [(20, "75.38"), (30, "75.30"), (40, "75.29"), (50, "75.33"), (60, "75.39"), (80, "75.61")]
)
def test_london_south_bank_heat_capacity(t, capacity):
    """lsbu.ac.uk/water/data1, cp in J/(mol·K)."""
    assert water.heat_capacity(float(t)) * 0.018015268 == printed(capacity, within=1e-4)


def test_inch_of_the_tables_is_ours():
    """A gallon is 231 cubic inches and a cubic foot 1728."""
    assert pytest.approx(1728 / 231) == FOOT**3 / GALLON
    assert pytest.approx(12 * INCH) == FOOT
