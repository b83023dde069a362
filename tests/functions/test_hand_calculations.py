"""Worksheet functions against arithmetic that a person can do beside them."""

import math

import pytest

from drenchbook.errors import InputError
from drenchbook.worksheet_functions import FUNCTION_BY_NAME
from tests.printed import printed

DIAMETER = 1.025  # in, 1 in copper type L, Copper Tube Handbook, Table 14.2


def drench(name, *cells):
    return FUNCTION_BY_NAME[f"DRENCH_{name}"](*cells)


def colebrook(reynolds, roughness):
    """Colebrook-White by plain repetition."""
    f = 0.02
    for _ in range(60):
        f = (-2 * math.log10(roughness / 3.7 + 2.51 / (reynolds * math.sqrt(f)))) ** -2
    return f


@pytest.mark.parametrize(("flow", "temperature", "density", "viscosity"), [
    (20, 60, 62.3666, 2.3415e-5),  # lb/ft³ and lbf·s/ft², handbook tables of water at 60 and 140 °F
    (20, 140, 61.3789, 0.97333e-5),
    (5, 60, 62.3666, 2.3415e-5),
])  # fmt: skip
def test_darcy_weisbach_in_us_units(flow, temperature, density, viscosity):
    """f·L/D·ρ·v²/2g in feet, pounds and seconds, with drawn tubing of 0.000005 ft."""
    feet = DIAMETER / 12
    velocity = flow / 448.831 / (math.pi / 4 * feet**2)  # 448.831 gpm in a cubic foot per second
    f = colebrook(density / 32.174 * velocity * feet / viscosity, 5e-6 / feet)
    by_hand = f * 100 / feet * density * velocity**2 / (2 * 32.174) / 144
    assert drench("PIPE_LOSS", flow, "copper L", "1", 100, "none", temperature) == pytest.approx(by_hand, rel=2e-3)


@pytest.mark.parametrize(
    ("method", "coefficient"), [("Hazen-Williams", 140), ("hazen williams", 140), (100, 100), (150.0, 150)]
)
def test_hazen_williams_by_the_printed_formula(method, coefficient):
    """psi per foot = 4.52·q^1.85/(C^1.85·d^4.87); a number is C itself."""
    by_hand = 100 * 4.52 * 20**1.85 / (coefficient**1.85 * DIAMETER**4.87)
    assert drench("PIPE_LOSS", 20, "copper L", "1", 100, "none", 60, method) == pytest.approx(by_hand, rel=1e-6)


def test_fittings_add_velocity_heads():
    """K velocity heads of 62.37 lb/ft³ water at 7.776 ft/s: K·ρ·v²/2g/144."""
    bare = drench("PIPE_LOSS", 20, "copper L", "1", 100, "none", 60)
    assert drench("PIPE_LOSS", 20, "copper L", "1", 100, 3, 60) - bare == pytest.approx(
        3 * 62.3666 * 7.77628**2 / 2 / 32.174 / 144, rel=1e-3
    )


def test_a_counted_list_costs_what_its_resistance_costs():
    """30 diameters a standard elbow, fT 0.0223 at 1 in, Crane TP-410: four elbows are K = 4·30·0.0223."""
    listed = drench("PIPE_LOSS", 20, "copper L", "1", 0, "4 x 90 elbow", 60)
    assert listed == pytest.approx(drench("PIPE_LOSS", 20, "copper L", "1", 0, 4 * 30 * 0.0223, 60), rel=5e-3)


def test_longer_pipe_loses_in_proportion():
    one = drench("PIPE_LOSS", 12, "PEX", "3/4", 10, "none", 60)
    assert drench("PIPE_LOSS", 12, "PEX", "3/4", 30, "none", 60) == pytest.approx(3 * one)


def test_no_flow_no_loss():
    assert drench("PIPE_LOSS", 0, "PEX", "3/4", 10, 5, 60) == 0
    assert drench("COEFFICIENT_LOSS", 0, 3) == 0
    assert drench("PIPE_VELOCITY", 0, "PEX", "3/4") == 0


def test_warmer_water_loses_less_in_a_device_by_its_density():
    """61.38 lb/ft³ at 140 °F over 62.37 at 60 °F, handbook table."""
    assert drench("COEFFICIENT_LOSS", 10, 3, 140) / drench("COEFFICIENT_LOSS", 10, 3) == pytest.approx(
        61.38 / 62.37, rel=4e-4
    )


def test_a_fall_gives_pressure_back():
    assert drench("ELEVATION_LOSS", -20) == -drench("ELEVATION_LOSS", 20)


@pytest.mark.parametrize(("hot", "cold", "chamber", "stem"), [
    (50, 50, "45.55", None), (40, 60, "38.20", "0.769"), (35, 60, "33.30", "0.791"),
])  # fmt: skip
def test_two_seats_as_calculated_by_hand(hot, cold, chamber, stem):
    """Coefficient 11, 23.2 gpm, hot share 0.489: x·q/√(ph − pm) + (1 − x)·q/√(pc − pm) = C, solved by hand."""
    assert drench("CHAMBER_PRESSURE", 23.2, 0.489, hot, cold, 11) == printed(chamber)
    if stem:
        assert drench("STEM_POSITION", 23.2, 0.489, hot, cold, 11) == printed(stem)


def test_an_outlet_gives_nothing_below_zero_pressure():
    assert drench("OUTLET_FLOW", -3, 20, 30, False) == 0


@pytest.mark.parametrize(("pressure", "flow"), [(80, 22.0), (25, 22.0), (16, 22 * 0.8)])
def test_a_regulated_outlet_holds_its_flow_down_to_its_minimum(pressure, flow):
    assert drench("OUTLET_FLOW", pressure, 22, 25, True) == pytest.approx(flow)


def test_a_store_without_an_end_shows_a_day():
    assert drench("STORAGE_MINUTES", 200, 0.75, 140, 50, 85, 20, 9, "stratified") == 1440
    assert drench("STORAGE_MINUTES", 200, 0.75, 140, 50, 85, 0, 0, "mixed") == 1440


def test_recovery_lengthens_a_stratified_store():
    """150 gal over 7.882 gpm less 2 gpm made meanwhile."""
    assert drench("STORAGE_MINUTES", 200, 0.75, 140, 50, 85, 20, 2, "Stratified") == printed("25.50")


def test_a_mixed_store_ends_at_set_plus_approach():
    """Heat down to 85 + 20 °F over the heat drawn: 200·(140 − 105)/(20·(85 − 50)) = 10 min, constant properties."""
    assert drench("STORAGE_MINUTES", 200, 0.75, 140, 50, 85, 20, 0, "mixed") == pytest.approx(10.0, rel=0.02)
    assert drench("STORAGE_MINUTES", 200, 0.75, 140, 50, 85, 20, 0, "mixed", 37.5) == pytest.approx(5.0, rel=0.02)


def test_insulation_keeps_water_warmer_and_no_flow_reaches_the_air():
    bare = drench("PIPE_END_TEMPERATURE", 1, 120, 70, "copper L", "1", 100)
    wrapped = drench("PIPE_END_TEMPERATURE", 1, 120, 70, "copper L", "1", 100, 1)
    assert 70 < bare < wrapped < 120
    assert drench("PIPE_END_TEMPERATURE", 0, 120, 70, "copper L", "1", 100) == pytest.approx(70)


def test_insulated_pipe_by_hand():
    """1/U′ = ln(Ds/Do)/2πk + 1/(π·Ds·h): Do 28.575 mm, 25 mm of 0.04 W/(m·K), film 10, L 100 m, q 0.1 L/s at 50 °C."""
    surface = 0.028575 + 0.05
    conductance = 1 / (math.log(surface / 0.028575) / (2 * math.pi * 0.04) + 1 / (math.pi * surface * 10))
    by_hand = 10 + 40 * math.exp(-conductance * 100 / (0.1 * 0.988 * 4181))
    assert drench("PIPE_END_TEMPERATURE", 6, 50, 10, "copper L", "1", 100, 25, 0.04, 10, "SI") == pytest.approx(
        by_hand, abs=0.02
    )


def test_thicker_wall_purges_later():
    """Type K holds less water than type L but more copper: β = 0.8225·(Do²/Di² − 1), by hand for 1 in."""
    for material, inside in (("copper K", 0.995), ("copper L", 1.025)):
        water = math.pi / 4 * (inside / 12) ** 2 * 50 * 7.48052  # gal
        ratio = 8940 * 385 / (999.0 * 4189) * (1.125**2 / inside**2 - 1)
        assert drench("RUN_PURGE_SECONDS", 3, material, "1", 50) == pytest.approx(
            water * (1 + ratio) / 3 * 60, rel=2e-3
        )


ADEQUACY = [
    (20, 20, "none", "OK"), (19.99, 20, "none", "LOW"), (25, "none", 25, "OK"), (25.01, "none", 25, "HIGH"),
    (20 * (1 - 5e-10), 20, 25, "OK"), (20 * (1 - 5e-9), 20, 25, "LOW"), (25 * (1 + 5e-10), 20, 25, "OK"),
    (None, 20, 25, "UNKNOWN"), ("", 20, 25, "UNKNOWN"), (20, None, 25, "UNKNOWN"), (20, 20, "", "UNKNOWN"),
    ("20", 20, 25, "UNKNOWN"), (True, 0, 2, "UNKNOWN"), (20, "20", 25, "UNKNOWN"), (float("nan"), 0, 1, "UNKNOWN"),
    (5, 6, 4, "UNKNOWN"), (-1, 0, " None ", "LOW"), (0, 0, "none", "OK"), (1, "none", "none", "OK"),
]  # fmt: skip


@pytest.mark.parametrize(("value", "least", "most", "word"), ADEQUACY)
def test_adequacy_is_never_ok_where_something_is_missing(value, least, most, word):
    assert drench("ADEQUACY", value, least, most) == word


def test_a_negative_supply_pressure_is_told_not_hidden():
    """66 − 9·(300/60)^1.85 = −110.7 psi: the supply cannot give 300 gpm."""
    assert drench("SUPPLY_PRESSURE", 300, 66, 57, 60) == printed("-110.7")


def test_required_flow_of_each_set():
    assert drench("REQUIRED_FLOW", " Eyewash ", "ansi/isea z358.1") == printed("0.4")
    assert drench("REQUIRED_FLOW", "eyewash", "EN 15154", "SI") == printed("6.0")
    with pytest.raises(InputError, match="that we have read"):
        drench("REQUIRED_FLOW", "eye/face wash", "EN 15154")
