"""Invented sites worked out by hand: minutes, flows and pressures from the equations, water from other formulas."""

import math

import pytest

from drenchbook.json_report import file_report
from tests.checks.invented_sites import (
    OUTLETS,
    PROJECT,
    STORAGE,
    SUPPLY,
    check,
    document,
    in_system,
    reported,
    run,
    station,
)

# ---- storage: 73 L/min of 28 °C from water of 8 and 60 °C take 28.475 L/min of hot water ----

HOT = 28.475  # L/min: 73·(28 − 8)/(60 − 8) by mass, 0.9963 to 0.9832 kg/L
MADE = 36 / (4.182 * 0.9832 * 52) * 60  # L/min: 40 kW at 90 % from 8 to 60 °C


@pytest.mark.parametrize(
    ("cells", "minutes"),
    [({}, 800 / (HOT - MADE)),
     ({"volume": 500.0, "start_delay": 5.0}, 5 + (400 - 5 * HOT) / (HOT - MADE)),
     ({"volume": 400.0, "start_delay": 20.0}, 320 / HOT),
     ({"other_demand": 10.0}, 800 / (HOT + 10 - MADE)),
     ({"volume": 300.0, "input_power": 5.0}, 240 / (HOT - MADE / 8))],
    ids=["plain", "starts late", "starts too late", "others draw", "little power"],
)  # fmt: skip
def test_minutes_of_a_tank_that_stratifies(cells, minutes):
    """t = fV/(xq − r), after the start delay without r."""
    told = check(reported(hot_water_sources=[{**STORAGE, **cells}]), "F1", "HOT-1")
    assert told["value"]["value"] == pytest.approx(minutes, rel=5e-3)


@pytest.mark.parametrize(
    ("cells", "kilowatts"), [({}, 101.5 - 36.0), ({"input_power": 0.0}, 101.5), ({"other_demand": 10.0}, 137.1 - 36.0)],
    ids=["plain", "no power", "others draw"],
)  # fmt: skip
def test_minutes_of_a_tank_that_mixes(cells, kilowatts):
    """1,000 L fall from 60 to 38 °C, 983.2·4.182·22 kJ, under 73 L/min lifted by 20 K, and 10 L/min by 52 K."""
    heater = {**STORAGE, "usable_fraction_source": "", **cells}
    told = check(reported(hot_water_sources=[heater]), "F1", "HOT-1")
    assert told["value"]["value"] == pytest.approx(983.2 * 4.182 * 22 / kilowatts / 60, rel=0.01)


# ---- a preventer that dips: the smallest of three roots ----


def test_the_smallest_root_of_a_dipping_preventer_counts():
    """1 kPa is left before 10 L/min, 41 behind 20: 66·√(1/140) = 5.578 L/min flow, though 30 would flow as well."""
    rise = 9.80665 * 0.99985 * 2.2
    dips = {"tag": "B", "kind": "backflow preventer", "curve": "0 60; 10 60; 20 20; 200 40"}
    supply = {**SUPPLY, "static_low": 61 + rise, "residual_low": 60.999 + rise}
    runs = [run("CM", "S", 0.5, size="54x1.5", devices="B"), run("CW", "CM", 4.0, 1.0), run("HW", "WH", 4.0, 1.0)]
    report = reported(supplies=[supply], line_devices=[dips], pipe_runs=runs,
                      stations=[station("F1", "CM", eyewash=None)])  # fmt: skip
    assert check(report, "F1", "FLW-1")["value"]["value"] == pytest.approx(66 * math.sqrt(1 / 140), rel=2e-3)
    # PRS-3 at 60 L/min: 20 + 40/180·20 = 24.44 kPa in the preventer.
    left = 61 - (20 + 40 / 180 * 20) - 140
    assert check(report, "F1", "PRS-3")["value"]["value"] == pytest.approx(left, abs=0.02)


# ---- every material, Darcy-Weisbach, by formulas of water that the program does not use ----


def density(t):
    """Kell 1975, eq. 16, as many handbooks print it. [kg/m³]"""
    over = 999.83952 + 16.945176 * t - 7.9870401e-3 * t**2 - 46.170461e-6 * t**3 + 105.56302e-9 * t**4
    return over / (1 + 16.879850e-3 * t)


def viscosity(t):
    """2.414e-5·10^(247.8/(T − 140)), from memory; within 1 % up to 60 °C. [Pa·s]"""
    return 2.414e-5 * 10 ** (247.8 / (t + 133.15))


def pipe_loss(flow, bore, length, roughness, t):
    """Darcy-Weisbach with Colebrook-White by plain iteration. [kPa], flow in L/min, mm, m"""
    d = bore / 1000
    v = flow / 60000 / (math.pi / 4 * d * d)
    reynolds, f = density(t) * v * d / viscosity(t), 0.02
    for _ in range(60):
        f = (-2 * math.log10(roughness / bore / 3.7 + 2.51 / (reynolds * math.sqrt(f)))) ** -2
    return f * length / d * density(t) * v * v / 2000


@pytest.mark.parametrize(
    ("material", "size", "bore", "roughness"),
    [("copper K", "1-1/4", 1.245 * 25.4, 0.0015), ("copper L", "1-1/4", 1.265 * 25.4, 0.0015),
     ("copper M", "1-1/4", 1.291 * 25.4, 0.0015), ("copper EN 1057", "35x1.2", 32.6, 0.0015),
     ("steel 40", "1-1/4", 35.05, 0.046), ("steel 80", "1-1/4", 32.46, 0.046),
     ("stainless 10S", "DN32", 36.63, 0.046), ("CPVC", "1-1/4", 1.105 * 25.4, 0.0015),
     ("PEX", "1-1/4", 1.054 * 25.4, 0.0015)],
)  # fmt: skip
@pytest.mark.parametrize("units", ["SI", "US"])
def test_a_direct_station_on_each_material(material, size, bore, roughness, units):
    """40 m of one pipe from the supply to an eyewash of 30 L/min, cold water of 8 °C: what is left is static less the
    supply's drop, friction and 1 m of height; bores from trade tables, 1.5 % of the friction for the viscosity.
    """
    outlet = {**OUTLETS[1], "rated_flow": 30.0}
    tables = document(pipe_runs=[run("CM", "S", 40.0, material=material, size=size), run("CW", "CM", 4.0, 1.0),
                                 run("HW", "WH", 4.0, 1.0)], outlet_models=[OUTLETS[0], outlet],
                      stations=[station("F1", "CM", shower=None)],
                      project={**PROJECT, "friction_method": "Darcy-Weisbach"})  # fmt: skip
    report = in_system(tables, units)
    case = next(one for one in file_report("hand", report, (), report.verdict)["cases"] if one["fault"] == "normal")
    pressure = case["outlets"][0]["pressure"]["value"] * (1.0 if units == "SI" else 6.894757)
    friction = pipe_loss(30, bore, 40, roughness, 8.0)
    supply = 450 - 50 * (30 / 300) ** 1.85
    assert pressure == pytest.approx(supply - friction - density(8.0) * 9.80665e-3, abs=0.015 * friction + 0.02)
