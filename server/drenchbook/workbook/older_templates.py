"""What older template versions had: columns and limits that a workbook of theirs cannot hold, and is not asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from drenchbook.site_model import Missing, Site, tag_key
from drenchbook.site_sheets import default_limit_rows
from drenchbook.site_tables import TABLES


@dataclass(frozen=True)
class OlderTemplate:
    """The tables of a template version as they were when the next one began."""

    columns: Mapping[str, frozenset[str]]  # table key to the names of its columns
    limits: frozenset[str]


# Written once, when a version is raised, and never changed afterwards.
_VERSION_1 = {
    "project":
        "project project_number calculation_date revision designer checker units criteria_set friction_method "
        "cold_water_cold outside_air_cold room_cold ground_cold sun_cold cold_water_warm outside_air_warm "
        "room_warm ground_warm sun_warm recovery_time stations_out_of_service schedule_order",
    "limits":
        "id meaning value unit source basis reason",
    "supplies":
        "tag static_low residual_low test_flow_low curve_low static_high residual_high test_flow_high "
        "curve_high gauge_elevation test_date test_distance volume other_demand",
    "hot_water_sources":
        "tag kind fed_from volume set_temperature start_temperature usable_fraction usable_fraction_source "
        "input_power efficiency start_delay minimum_firing_flow maximum_rise minimum_power capacity tolerance "
        "main_pressure main_temperature main_elevation loss_curve loss_per_flow_squared needs_power "
        "needs_steam other_demand",
    "line_devices":
        "tag kind curve loss_per_flow_squared remarks",
    "pipe_runs":
        "tag fed_from material size plan_length developed_length fittings far_end_elevation roughness "
        "hazen_williams_c devices insulation exposure sun circulated held_temperature",
    "mixing_valves":
        "tag model cold_run hot_run elevation set_temperature parallel_bypass check_valves strainers remarks",
    "valve_models":
        "model seat_coefficient seat_curve outlet_coefficient minimum_flow maximum_flow bypass_coefficient "
        "bypass_curve bypass_opening set_minimum set_maximum approach_hot approach_cold tolerance hot_minimum "
        "hot_maximum cold_minimum cold_maximum maximum_pressure maximum_pressure_ratio "
        "maximum_pressure_difference leakage shutoff_time independent_shutoffs listing listing_edition "
        "lead_free hot_connection cold_connection outlet_connection relative_cost source dated sample",
    "outlet_models":
        "model kind type rated_flow rated_pressure minimum_pressure maximum_pressure source dated sample",
    "events":
        "tag stations users showers reason",
    "stations":
        "tag area hazard outlet_1 outlet_1_elevation outlet_1_height outlet_2 outlet_2_elevation "
        "outlet_2_height outlet_3 outlet_3_elevation outlet_3_height fed_from floor_elevation exposure "
        "travel_time same_level drain potable remarks",
}  # fmt: skip
_LIMITS_1 = (
    "FLW-1 shower; FLW-1 eyewash; FLW-1 eye/face wash; FLW-1 drench hose; FLW-2; FLW-3; FLW-4; PRS-1; "
    "PRS-2; PRS-3; VEL-1 cold; VEL-1 hot; VLV-6 least; VLV-6 greatest; VLV-11; BYP-3 leakage; BYP-3 time; "
    "HOT-1; HOT-2; HOT-3; HOT-6; TMP least; TMP greatest; DLG-2; LOC-1 travel; LOC-1 shower least; LOC-1 "
    "shower greatest; LOC-1 eyewash least; LOC-1 eyewash greatest; DAT-3 pressure; DAT-3 flow; DAT-4"
)
_VERSION_2 = _VERSION_1 | {
    "project":
        "project project_number calculation_date revision designer checker units criteria_set friction_method "
        "cold_water_cold outside_air_cold room_cold ground_cold sun_cold irradiance_cold cold_water_warm "
        "outside_air_warm room_warm ground_warm sun_warm irradiance_warm recovery_time "
        "stations_out_of_service schedule_order",
    "line_devices":
        "tag kind curve loss_per_flow_squared setting needs_power remarks",
    "mixing_valves":
        "tag model cold_run hot_run elevation set_temperature parallel_bypass check_valves strainers "
        "second_model second_opens_at loop_flow loop_return_run loop_returns_to_cold_inlet "
        "loop_pump_needs_power remarks",
    "outlet_models":
        "model kind type rated_flow rated_pressure minimum_pressure maximum_pressure closing_time source "
        "dated sample",
}  # fmt: skip
_LIMITS_2 = (
    "FLW-1 shower; FLW-1 eyewash; FLW-1 eye/face wash; FLW-1 drench hose; FLW-2; FLW-3; FLW-4; PRS-1; "
    "PRS-2; PRS-3; VEL-1 cold; VEL-1 hot; VLV-6 least; VLV-6 greatest; VLV-11; BYP-3 leakage; BYP-3 time; "
    "HOT-1; HOT-2; HOT-3; HOT-6; TMP least; TMP greatest; DLG-2; DLG-1 warning; DLG-1 failure; DLG-5; "
    "DLG-4; FRZ-1; FRZ-2; LOP-1 least; LOP-1 greatest; LOC-1 travel; LOC-1 shower least; LOC-1 shower "
    "greatest; LOC-1 eyewash least; LOC-1 eyewash greatest; STR-1 factor; DAT-3 pressure; DAT-3 flow; "
    "DAT-4"
)
OLDER_TEMPLATES = {
    1: OlderTemplate(
        {key: frozenset(names.split()) for key, names in _VERSION_1.items()}, frozenset(_LIMITS_1.split("; "))
    ),
    2: OlderTemplate(
        {key: frozenset(names.split()) for key, names in _VERSION_2.items()}, frozenset(_LIMITS_2.split("; "))
    ),
}


def columns_it_lacked(version: int) -> frozenset[tuple[str, str]]:
    """Table key and name of each column that came after a template version; none for the version of today.

    >>> ("line_devices", "setting") in columns_it_lacked(1), ("line_devices", "curve") in columns_it_lacked(1)
    (True, False)
    """
    older = OLDER_TEMPLATES.get(version)
    if older is None:
        return frozenset()
    return frozenset((table.key, column.name) for table in TABLES for column in table.columns
                     if column.name not in older.columns.get(table.key, ()))  # fmt: skip


def with_newer_limits(site: Site, version: int) -> tuple[Site, list[str]]:
    """The site with the limits that came after its template version, as a new workbook has them, and their names.

    A limit that the older version had and the workbook lacks was taken out by somebody: it stays out.
    """
    older, criteria = OLDER_TEMPLATES.get(version), site.project.criteria_set
    if older is None or criteria is None or isinstance(criteria, Missing):
        return site, []
    present = {tag_key(row.id) for row in site.limits}
    added = [
        row for row in default_limit_rows(criteria) if row.id not in older.limits and tag_key(row.id) not in present
    ]
    return site.model_copy(update={"limits": (*site.limits, *added)}), [row.id for row in added]


def what_is_new(limits: list[str], version: int) -> list[str]:
    """What a person should look at who made a workbook of an older template anew; `limits` were added."""
    lacked, said = columns_it_lacked(version), []
    blank = [f"{table.sheet}: " + ", ".join(names) for table in TABLES
             if (names := [c.heading for c in table.columns if (table.key, c.name) in lacked])]  # fmt: skip
    if blank:
        said.append(f"blank, as template version {version} did not ask for them: {'; '.join(blank)}")
    if limits:
        said.append(
            f"added to sheet Limits, as template version {version} did not have them: {', '.join(limits)}. "
            "Confirm each in the edition you own"
        )
    return said
