"""Small invented sites in SI with EN 15154: every cell filled, so that nothing is unknown but what a test blanks."""

from __future__ import annotations

import copy
import datetime
from typing import Any

from drenchbook.convert_command import in_units
from drenchbook.json_report import file_report
from drenchbook.report import Report
from drenchbook.site_file import site_of_document
from drenchbook.site_sheets import full_grids, read_grids
from drenchbook.table_results import report_of

Row = dict[str, Any]
DAY = datetime.date(2026, 1, 15)
DATA = {"source": "data sheet", "dated": DAY, "sample": "N"}


def limit(name: str, value: float, unit: str) -> Row:
    """A limit that the criteria set leaves to the owner."""
    return {
        "id": name,
        "meaning": name,
        "value": value,
        "unit": unit,
        "source": "owner",
        "basis": "owner",
        "reason": "-",
    }


OWNERS_LIMITS = [
    limit("BYP-3 leakage", 2.0, "L/min"), limit("BYP-3 time", 5.0, "s"), limit("FRZ-2", 2.0, "h"),
    limit("LOC-1 shower least", 2100.0, "mm"), limit("LOC-1 shower greatest", 2400.0, "mm"),
    limit("LOC-1 eyewash least", 800.0, "mm"), limit("LOC-1 eyewash greatest", 1300.0, "mm"),
]  # fmt: skip
PROJECT = {
    "project": "invented", "calculation_date": DAY, "units": "SI", "criteria_set": "EN 15154",
    "friction_method": "Hazen-Williams", "cold_water_cold": 8.0, "outside_air_cold": 5.0, "room_cold": 20.0,
    "ground_cold": 8.0, "sun_cold": "N", "cold_water_warm": 22.0, "outside_air_warm": 30.0, "room_warm": 25.0,
    "ground_warm": 18.0, "sun_warm": "N", "recovery_time": 4.0, "stations_out_of_service": 0,
}  # fmt: skip
STORAGE = {
    "tag": "WH", "kind": "storage", "fed_from": "CM", "volume": 1000.0, "set_temperature": 65.0,
    "start_temperature": 60.0, "usable_fraction": 0.8, "usable_fraction_source": "draw test", "input_power": 40.0,
    "efficiency": 0.9, "start_delay": 0.0, "loss_per_flow_squared": 0.002, "needs_power": "Y", "needs_steam": "N",
    "other_demand": 0.0,
}  # fmt: skip
MODEL = {
    "model": "M", "seat_coefficient": 8.0, "minimum_flow": 5.0, "maximum_flow": 150.0, "bypass_coefficient": 6.0,
    "bypass_opening": 200.0, "set_minimum": 15.0, "set_maximum": 37.0, "approach_hot": 10.0, "approach_cold": 3.0,
    "tolerance": 2.0, "hot_minimum": 45.0, "hot_maximum": 80.0, "cold_minimum": 3.0, "cold_maximum": 30.0,
    "maximum_pressure": 1000.0, "maximum_pressure_ratio": 2.0, "maximum_pressure_difference": 200.0, "leakage": 1.0,
    "shutoff_time": 4.0, "listing": "listing", "listing_edition": "1", "lead_free": "Y", **DATA,
}  # fmt: skip
VALVE = {
    "tag": "MV", "model": "M", "cold_run": "CW", "hot_run": "HW", "elevation": 1.0, "set_temperature": 28.0,
    "parallel_bypass": "Y", "check_valves": "Y", "strainers": "Y",
}  # fmt: skip
SUPPLY = {
    "tag": "S", "static_low": 450.0, "residual_low": 400.0, "test_flow_low": 300.0, "static_high": 520.0,
    "residual_high": 480.0, "test_flow_high": 300.0, "gauge_elevation": 0.0, "test_date": DAY,
    "test_distance": "at the meter", "other_demand": 0.0,
}  # fmt: skip
OUTLETS = [
    {"model": "SH", "kind": "shower", "type": "flow-regulated", "rated_flow": 66.0, "rated_pressure": 140.0,
     "maximum_pressure": 1000.0, "closing_time": 4.0, **DATA},
    {"model": "EW", "kind": "eyewash", "type": "flow-regulated", "rated_flow": 7.0, "rated_pressure": 100.0,
     "maximum_pressure": 1000.0, "closing_time": 4.0, **DATA},
]  # fmt: skip


def run(tag: str, fed_from: str, length: float, far: float = 0.0, **more: Any) -> Row:
    """A run of copper 35x1.2 (inside 32.6 mm) without fittings, inside, 20 mm insulated."""
    return {"tag": tag, "fed_from": fed_from, "material": "copper EN 1057", "size": "35x1.2",
            "developed_length": length, "fittings": "none", "far_end_elevation": far, "insulation": 20.0,
            "exposure": "inside", "sun": "N", "circulated": "N", **more}  # fmt: skip


def station(tag: str, fed_from: str, shower: float | None = 2.2, eyewash: float | None = 1.0, **more: Any) -> Row:
    """A station with a shower and an eyewash at their elevations; None leaves one out."""
    row = {"tag": tag, "area": tag, "hazard": "acid", "fed_from": fed_from, "exposure": "inside", "travel_time": 8.0,
           "same_level": "Y", "drain": 300.0, "potable": "Y"}  # fmt: skip
    fitted = [("SH", shower, 2200.0), ("EW", eyewash, 1000.0)]
    for number, (model, elevation, height) in enumerate((one for one in fitted if one[1] is not None), start=1):
        row |= {f"outlet_{number}": model, f"outlet_{number}_elevation": elevation, f"outlet_{number}_height": height}
    return row | more


def document(**tables: Any) -> dict[str, Any]:
    """A site file's tables: one valve, storage, one station F1 at the end of 15 m; named tables stand for the whole."""
    rows: dict[str, Any] = {
        "project": PROJECT, "limits": OWNERS_LIMITS, "supplies": [SUPPLY], "hot_water_sources": [STORAGE],
        "pipe_runs": [run("CM", "S", 20.0, size="54x1.5"), run("CW", "CM", 4.0, 1.0), run("HW", "WH", 4.0, 1.0),
                      run("T1", "MV", 15.0, 2.0)],
        "mixing_valves": [VALVE], "valve_models": [MODEL], "outlet_models": OUTLETS, "stations": [station("F1", "T1")],
    }  # fmt: skip
    return copy.deepcopy({**rows, **tables})


def reported(**tables: Any) -> Report:
    """Such a site, read and judged."""
    return report_of(site_of_document(document(**tables), "invented"), "invented")


def check(report: Report, tag: str, name: str) -> dict[str, Any]:
    """What the report tells of a check at a station, as its JSON does."""
    (row,) = [one for one in file_report("invented", report, (), report.verdict)["stations"] if one["tag"] == tag]
    (told,) = [one for one in row["checks"] if one["id"] == name]
    return dict(told)


def in_system(tables: dict[str, Any], units: str) -> Report:
    """The site of those tables, converted to a unit system and judged there."""
    site = in_units(site_of_document(tables, "invented").site, units)
    return report_of(read_grids(full_grids(site)), "invented")
