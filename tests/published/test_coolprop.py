"""CoolProp 8.0.0, HEOS::Water (IAPWS-95, R12-08, R15-11; github.com/CoolProp/CoolProp), run apart from this package.

Another formulation than ours; SR6-08 differs from it by up to 0.004 % in heat capacity, viscosity and conductivity.
"""

import pytest

from drenchbook.physics import mixing, water
from tests.printed import printed
from tests.us_units import BTU, GPM, POUND, celsius, fahrenheit


@pytest.mark.parametrize(
    ("degrees", "density", "heat_capacity", "viscosity", "conductivity"),
    [
        (40, "999.9725", "4206.390", "1545.153", "0.56651"),
        (85, "995.8153", "4179.939", "806.743", "0.61355"),
        (120, "988.5330", "4181.041", "556.869", "0.63936"),
        (180, "970.3923", "4198.474", "344.453", "0.66840"),
    ],
)
def test_water_at_one_bar(degrees, density, heat_capacity, viscosity, conductivity):
    t = celsius(degrees)
    assert water.density(t) == printed(density)
    assert water.heat_capacity(t) == printed(heat_capacity, within=4e-5)
    assert water.viscosity(t) * 1e6 == printed(viscosity, within=3e-5)
    assert water.conductivity(t) == printed(conductivity, within=4e-5)


@pytest.mark.parametrize(
    ("degrees", "enthalpy"), [(40, "8.0323"), (85, "53.0574"), (120, "88.0031"), (180, "148.0413")]
)
def test_saturated_enthalpy(degrees, enthalpy):
    """Btu/lb; at saturation pressure, where the enthalpy is up to 0.1 kJ/kg (0.04 Btu/lb) below ours."""
    ours = water.specific_enthalpy(celsius(degrees)) * POUND / BTU
    assert abs(ours - float(enthalpy)) < 0.05


@pytest.mark.parametrize(
    ("hot", "hot_degrees", "cold", "cold_degrees", "mixed_degrees", "total"),
    [(7.5, 140, 12.5, 50, "83.377", "19.949"), (10, 140, 10, 60, "99.680", "19.960")],
)
def test_mixture_of_two_volume_flows(hot, hot_degrees, cold, cold_degrees, mixed_degrees, total):
    """At 60 psig: within 0.02 °F and 0.05 % of flow. The plain volume rule gives 83.75 °F and 100.0 °F."""
    t = mixing.mixed_temperature(hot * GPM, celsius(hot_degrees), cold * GPM, celsius(cold_degrees))
    assert abs(fahrenheit(t) - float(mixed_degrees)) < 0.02
    masses = hot * water.density(celsius(hot_degrees)) + cold * water.density(celsius(cold_degrees))
    assert masses / water.density(t) == printed(total, within=0.0005)


@pytest.mark.parametrize(
    ("mixed_degrees", "hot_degrees", "cold_degrees", "share", "hot", "cold"),
    [(85, 140, 50, ".389125", "7.8824", "12.1698"), (90, 120, 60, ".500148", "10.0680", "9.9563")],
)
def test_split_for_a_wanted_temperature(mixed_degrees, hot_degrees, cold_degrees, share, hot, cold):
    """20 gpm at 60 psig; the pressure moves the fifth digit, 0.02 %."""
    temperatures = celsius(mixed_degrees), celsius(hot_degrees), celsius(cold_degrees)
    assert mixing.hot_mass_fraction(*temperatures) == printed(share, within=2e-4)
    assert mixing.hot_flow(20 * GPM, *temperatures) / GPM == printed(hot, within=2e-4)
    assert mixing.cold_flow(20 * GPM, *temperatures) / GPM == printed(cold, within=2e-4)
