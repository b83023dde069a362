"""The tables of a site and their columns: one description for the model, the site file and the workbook.

A row below is a column, in the order in which a person fills it. `kind` says what a cell may hold:

text       any text                       number     a number with the unit of its quantity
choice     one word of `choices`          yes_no     Y or N
tag        the name of this row           ref, refs  one tag, or tags with commas, of the tables in `refers_to`
size       a pipe size as on the drawing  fittings   a number, "none" or a counted list
curve      points "0 11.5; 10 10.6"       date       a calendar date

`need` says when a blank is a missing input (DAT-1, UNKNOWN): "always", "never" (a blank has the meaning that the help
states), or "if used": the check or the solver that needs it says so.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass

from drenchbook.units import unit_of

YES, NO = "Y", "N"
COLD, WARM = "cold", "warm"
LOW, HIGH = "low", "high"
UNITS_CHOICES = ("US", "SI")
CRITERIA_SETS = ("ANSI/ISEA Z358.1", "EN 15154")
FRICTION_METHODS = ("Darcy-Weisbach", "Hazen-Williams")
SCHEDULE_ORDERS = ("as in Stations", "worst first")
PLANT_MAIN = "plant main"  # a source with its own pressure: nothing of the site feeds it
SOURCE_KINDS = ("storage", "instantaneous electric", "instantaneous gas", "steam heat exchanger", PLANT_MAIN)
DEVICE_KINDS = ("backflow preventer", "meter", "strainer", "pressure-reducing valve", "check valve", "stop",
                "booster", "other")  # fmt: skip
EXPOSURES = ("inside", "outside", "buried")
OUTLET_KINDS = ("shower", "eyewash", "eye/face wash", "drench hose")
OUTLET_TYPES = ("orifice", "flow-regulated")
LIMIT_BASES = ("read in the source", "secondary source", "from memory", "common practice", "owner", "project")


@dataclass(frozen=True)
class Column:
    """One column of a table: what a cell means and how it is asked for."""

    name: str
    heading: str
    kind: str = "text"
    quantity: str = ""
    need: str = "never"
    help: str = ""
    low: float | None = None
    high: float | None = None
    choices: tuple[str, ...] = ()
    refers_to: tuple[str, ...] = ()
    group: str = ""
    width: float = 12.0
    whole: bool = False  # a count

    def unit(self, system: str) -> str:
        """The unit that stands under the heading, or "" where there is none."""
        if self.kind == "curve":
            flow, loss = self.quantity.split(", ")
            return f"{unit_of(flow, system)}, {unit_of(loss, system)}"
        return unit_of(self.quantity, system) if self.quantity and self.kind == "number" else ""


@dataclass(frozen=True)
class Table:
    """One table: its key in code and site files, its sheet, and its columns."""

    key: str
    sheet: str
    one_row: str
    columns: tuple[Column, ...]
    key_column: str = "tag"
    spare_rows: int = 10
    how: str = ""
    rising: tuple[tuple[str, str], ...] = ()  # columns of which the first is at most the second

    def column(self, name: str) -> Column:
        """The column of that name; KeyError if the table has none."""
        column = self._by_name.get(name)
        if column is None:
            raise KeyError(f"{self.key} has no column {name}")
        return column

    @functools.cached_property
    def _by_name(self) -> dict[str, Column]:
        return {column.name: column for column in self.columns}

    @property
    def range_name(self) -> str:
        """The workbook name of the range from the heading row to the dark end row."""
        return self.sheet.replace(" ", "_") + "_table"


def _grouped(group: str, *columns: Column) -> tuple[Column, ...]:
    return tuple(Column(**{**c.__dict__, "group": group}) for c in columns)


def _number(name: str, heading: str, quantity: str, need: str = "always", help: str = "", **more: float) -> Column:
    bounds = {} if quantity == "temperature" or "low" in more else {"low": 0.0}
    return Column(name, heading, "number", quantity, need, help, **{**bounds, **more})  # type: ignore[arg-type]


def _any_number(name: str, heading: str, quantity: str, need: str = "always", help: str = "") -> Column:
    return Column(name, heading, "number", quantity, need, help)


def _choice(name: str, heading: str, choices: tuple[str, ...], need: str = "always", help: str = "",
            width: float = 14.0) -> Column:  # fmt: skip
    return Column(name, heading, "choice", "", need, help, choices=choices, width=width)


def _yes_no(name: str, heading: str, need: str = "always", help: str = "") -> Column:
    return Column(name, heading, "yes_no", "", need, help, choices=(YES, NO), width=10)


def _tag(help: str, heading: str = "Tag", name: str = "tag", width: float = 11.0) -> Column:
    return Column(name, heading, "tag", "", "always", help, width=width)


def _ref(name: str, heading: str, tables: tuple[str, ...], need: str = "always", help: str = "",
         width: float = 12.0) -> Column:  # fmt: skip
    return Column(name, heading, "ref", "", need, help, refers_to=tables, width=width)


_SAMPLE = _yes_no("sample", "SAMPLE data", "always", "Y marks invented data: replace it before signing (DAT-2)")
_SOURCE = Column("source", "Source", width=24, help="Where the numbers were read: data sheet and page")
_DATED = Column("dated", "Source date", "date", help="Date of the data sheet; undated data is a warning (DAT-2)")

# One setting a row. The Project sheet has columns Setting, Value, Unit and What it means; the value cell is described here.
PROJECT = Table(
    "project", "Project", "one setting", key_column="", spare_rows=0,
    how="Fill the Value column. The unit system was fixed when this workbook was made; only the command convert changes it.",
    rising=(("cold_water_cold", "cold_water_warm"), ("outside_air_cold", "outside_air_warm"),
            ("ground_cold", "ground_warm")),
    columns=(
        *_grouped("Job",
            Column("project", "Project", need="always", help="Name of the job"),
            Column("project_number", "Project number"),
            Column("calculation_date", "Calculation date", "date", need="always", help="Typed, never read from a clock: ages of flow tests and data sheets count from it"),
            Column("revision", "Revision"),
            Column("designer", "Designer"),
            Column("checker", "Checker")),
        *_grouped("Basis",
            _choice("units", "Unit system", UNITS_CHOICES, help="Fixed at creation; only the command convert changes it"),
            _choice("criteria_set", "Criteria set", CRITERIA_SETS, help="Gives the defaults of the sheet Limits; confirm each in the edition you own"),
            _choice("friction_method", "Friction method", FRICTION_METHODS, help="Darcy-Weisbach with Colebrook-White, or Hazen-Williams")),
        *_grouped("Cold season",
            _number("cold_water_cold", "Cold water, cold season", "temperature", help="Lowest temperature of the cold water supply"),
            _number("outside_air_cold", "Outside air, cold season", "temperature", "if used", "Lowest outside air temperature"),
            _number("room_cold", "Room, cold season", "temperature", "if used", "First water of runs inside; blank: not known"),
            _number("ground_cold", "Ground, cold season", "temperature", "if used", "At pipe depth"),
            _yes_no("sun_cold", "Sun on outside pipes, cold season", "if used"),
            _number("irradiance_cold", "Irradiance, cold season", "irradiance", "if used", "Greatest sun on a surface that faces it: beam, sky and ground together")),
        *_grouped("Warm season",
            _number("cold_water_warm", "Cold water, warm season", "temperature", help="Highest temperature of the cold water supply"),
            _number("outside_air_warm", "Outside air, warm season", "temperature", "if used", "Highest outside air temperature"),
            _number("room_warm", "Room, warm season", "temperature", "if used", "First water of runs inside; blank: not known"),
            _number("ground_warm", "Ground, warm season", "temperature", "if used", "At pipe depth"),
            _yes_no("sun_warm", "Sun on outside pipes, warm season", "if used"),
            _number("irradiance_warm", "Irradiance, warm season", "irradiance", "if used", "Greatest sun on a surface that faces it: beam, sky and ground together")),
        *_grouped("Owner's choices",
            _number("recovery_time", "Recovery asked within", "hours", "if used", "Time in which the storage must be ready again (HOT-5)"),
            _number("stations_out_of_service", "Stations out of service at once", "number", "if used", "0 must be typed", whole=True),
            _choice("schedule_order", "Order of the schedule", SCHEDULE_ORDERS, "never", "Blank: as in Stations", width=18)),
    ),
)  # fmt: skip

LIMITS = Table(
    "limits", "Limits", "one limit", key_column="id", spare_rows=4,
    how="Every limit that a check uses. Confirm each in the edition you own. Type a reason when you change one.",
    columns=(
        _tag("Name of the limit; the checks look it up", "Limit", "id", 22),
        Column("meaning", "What it limits", width=46),
        _any_number("value", "Value", "number", "if used", "Blank: not known, and the checks that need it are UNKNOWN"),
        Column("unit", "Unit", need="always", width=9, help="The unit of the value in its source"),
        Column("source", "Source and edition", width=52, need="always"),
        _choice("basis", "Known from", LIMIT_BASES, width=18),
        Column("reason", "Reason if changed", width=30),
    ),
)  # fmt: skip

SUPPLIES = Table(
    "supplies", "Supplies", "a source of water", spare_rows=3,
    how="One row per source. Low and high state of the flow test, or curve points; a gauge elevation above the datum.",
    rising=(("static_low", "static_high"),),
    columns=(
        *_grouped("Identity", _tag("Name of the supply, as on the drawing")),
        *_grouped("Low state",
            _number("static_low", "Static, low", "pressure", "if used", "Gauge pressure without flow, lowest to expect"),
            _number("residual_low", "Residual, low", "pressure", "if used", "Gauge pressure at the test flow"),
            _number("test_flow_low", "Test flow, low", "flow", "if used", "Flow of the test; beyond it SUP-1 warns"),
            Column("curve_low", "Curve, low", "curve", "flow, pressure", width=20, help='Instead of a test: points "0 66; 60 57"')),
        *_grouped("High state",
            _number("static_high", "Static, high", "pressure", "if used", "Highest to expect"),
            _number("residual_high", "Residual, high", "pressure", "if used"),
            _number("test_flow_high", "Test flow, high", "flow", "if used"),
            Column("curve_high", "Curve, high", "curve", "flow, pressure", width=20, help='Instead of a test: points "0 79; 60 73"')),
        *_grouped("Where and when",
            _any_number("gauge_elevation", "Gauge elevation", "length", "always", "Above the site's datum; blank is not zero (DAT-4)"),
            Column("test_date", "Test date", "date", help="Over 12 months old, or blank: DAT-4 warns"),
            Column("test_distance", "Test distance", width=16, help="Where the test was taken, e.g. at the service entrance"),
            _number("volume", "Volume", "volume", "never", "Blank: endless"),
            _number("other_demand", "Other demand", "flow", "if used", "Other draw on the same main during an emergency; 0 must be typed (EVT-2)")),
    ),
)  # fmt: skip

HOT_WATER_SOURCES = Table(
    "hot_water_sources", "Hot water sources", "a source of hot water", spare_rows=3,
    how="One row per heater, tank, exchanger or plant main. Fill the group that belongs to the kind.",
    columns=(
        *_grouped("Identity",
            _tag("Name of the source"),
            _choice("kind", "Kind", SOURCE_KINDS, width=20),
            _ref("fed_from", "Fed from", ("pipe_runs", "supplies"), help="Common run or supply that feeds its cold inlet; none for a plant main")),
        *_grouped("Storage",
            _number("volume", "Volume", "volume", "if used"),
            _number("set_temperature", "Set temperature", "temperature", "if used"),
            _number("start_temperature", "Start temperature", "temperature", "if used", "The thermostat's lower edge: what the draw starts from"),
            _number("usable_fraction", "Usable fraction", "fraction", "if used", "Part of the volume drawn before the temperature falls", high=1.0),
            Column("usable_fraction_source", "Source of the fraction", width=24, help="The maker's draw data; blank: the fully mixed tank governs"),
            _number("input_power", "Input power", "power", "if used"),
            _number("efficiency", "Efficiency", "fraction", "if used", high=1.0),
            _number("start_delay", "Start delay", "minutes", "if used", "From the draw to heat in the water; 0 must be typed")),
        *_grouped("Instantaneous",
            _number("minimum_firing_flow", "Minimum firing flow", "flow", "if used"),
            _number("maximum_rise", "Maximum rise", "temperature difference", "if used"),
            _number("minimum_power", "Minimum power", "power", "if used")),
        *_grouped("Steam",
            _number("capacity", "Capacity", "power", "if used"),
            _number("tolerance", "Outlet tolerance", "temperature difference", "if used")),
        *_grouped("Plant main",
            _number("main_pressure", "Own pressure", "pressure", "if used", "Gauge pressure at the point of connection"),
            _number("main_temperature", "Own temperature", "temperature", "if used"),
            _any_number("main_elevation", "Own elevation", "length", "if used", "Elevation of that gauge above the datum")),
        *_grouped("Hydraulics and utilities",
            Column("loss_curve", "Loss curve", "curve", "flow, pressure", width=18, help='Hot-side loss by points "0 0; 20 4.8"'),
            _number("loss_per_flow_squared", "Loss per flow²", "loss per flow squared", "if used", "Or by a coefficient; 0 must be typed"),
            _yes_no("needs_power", "Needs power", "if used"),
            _yes_no("needs_steam", "Needs steam", "if used"),
            _number("other_demand", "Other hot demand", "flow", "if used", "Other hot draw during an emergency; 0 must be typed (EVT-2)")),
    ),
)  # fmt: skip

LINE_DEVICES = Table(
    "line_devices", "Line devices", "a device on a run", spare_rows=6,
    how="One row per device. Curve points or a coefficient; a curve is straight lines between its points.",
    columns=(
        _tag("Name of the device"),
        _choice("kind", "Kind", DEVICE_KINDS, width=22),
        Column("curve", "Loss curve", "curve", "flow, pressure", width=56, need="if used",
               help='Points "0 11.5; 10 10.6; 20 10.2": straight lines, may dip, the first at zero flow. Of a booster: the head it adds, falling'),
        _number("loss_per_flow_squared", "Loss per flow²", "loss per flow squared", "if used", "Instead of points. Of a booster: its loss while it stands still"),
        _number("setting", "Setting", "pressure", "if used", "Outlet pressure of a pressure-reducing valve, at the upstream end of its run"),
        _yes_no("needs_power", "Needs power", "if used", "Of a booster: whether it stops when power is lost"),
        Column("remarks", "Remarks", width=30),
    ),
)  # fmt: skip

PIPE_RUNS = Table(
    "pipe_runs", "Pipe runs", "one run of one size", spare_rows=15,
    how="One row per run of one size. Developed length, not plan length. Type sizes as on the drawing: 3/4, 1-1/4, DN32. Fill down with copy, not by dragging.",
    columns=(
        *_grouped("Identity",
            _tag("Name of the run; tags of equal length (TR-L01) escape auto-completion"),
            _ref("fed_from", "Fed from", ("supplies", "pipe_runs", "hot_water_sources", "mixing_valves"), help="The one tag upstream")),
        *_grouped("Pipe",
            Column("material", "Material", "choice", need="always", help="A material of the pipe tables", width=15),
            Column("size", "Size", "size", need="always", help="Nominal size as text: 3/4, 1-1/4, DN32, 28x1.2. Do not drag-fill", width=9),
            _number("plan_length", "Plan length", "length", "never", "For comparing only"),
            _number("developed_length", "Developed length", "length", help="Measured along the pipe, drops and risers included"),
            Column("fittings", "Fittings", "fittings", need="always", width=34,
                   help='"none", a total K, or a counted list: 4 x 90 elbow; 1 x tee, branch; 1 x gate valve'),
            _any_number("far_end_elevation", "Far-end elevation", "length", "always", "Of the downstream end, above the datum"),
            _number("roughness", "Roughness", "small length", "never", "Blank: the material's, new"),
            _number("hazen_williams_c", "Hazen-Williams C", "number", "never", "Blank: the material's", high=160.0)),
        *_grouped("On the run", Column("devices", "Devices", "refs", refers_to=("line_devices",), width=18, help="Tags with commas; blank: none")),
        *_grouped("Heat",
            _number("insulation", "Insulation", "small length", "if used", "Thickness; 0 for bare"),
            _choice("exposure", "Exposure", EXPOSURES, "if used", width=10),
            _yes_no("sun", "Sun", "if used"),
            _yes_no("circulated", "Circulated", "if used"),
            _number("held_temperature", "Held temperature", "temperature", "never", "Of a circulated or traced run")),
    ),
)  # fmt: skip

VALVE_MODELS = Table(
    "valve_models", "Valve models", "a maker's data sheet, typed in", key_column="model", spare_rows=4,
    how="One row per data sheet. SAMPLE data is invented: replace it with the maker's dated data.",
    rising=(("set_minimum", "set_maximum"), ("hot_minimum", "hot_maximum"), ("cold_minimum", "cold_maximum"),
            ("minimum_flow", "maximum_flow")),
    columns=(
        *_grouped("Identity", _tag("Name of the model", "Model", "model", 16)),
        *_grouped("Flow",
            _number("seat_coefficient", "Seat coefficient", "flow coefficient", "if used", "Each seat, hot and cold"),
            Column("seat_curve", "Loss curve", "curve", "flow, pressure", width=18, help="Digitised instead, at equal inlets, outlet included: points flow, loss"),
            _number("outlet_coefficient", "Outlet coefficient", "flow coefficient", "never", "Only where given separately; not with a curve"),
            _number("minimum_flow", "Minimum flow under control", "flow"),
            _number("maximum_flow", "Maximum flow", "flow"),
            _number("bypass_coefficient", "Bypass coefficient", "flow coefficient", "if used", "Cold bypass, open when hot pressure is lost"),
            Column("bypass_curve", "Bypass curve", "curve", "flow, pressure", width=18),
            _number("bypass_opening", "Bypass opens at", "pressure", "if used", "Pressure difference over the valve")),
        *_grouped("Temperature",
            _number("set_minimum", "Set, least", "temperature"),
            _number("set_maximum", "Set, greatest", "temperature"),
            _number("approach_hot", "Hot above set", "temperature difference", help="Least difference of hot over set"),
            _number("approach_cold", "Set above cold", "temperature difference", help="Least difference of set over cold"),
            _number("tolerance", "Tolerance ±", "temperature difference", help="Of the outlet temperature, from the listing"),
            _number("hot_minimum", "Hot, least", "temperature"),
            _number("hot_maximum", "Hot, greatest", "temperature"),
            _number("cold_minimum", "Cold, least", "temperature"),
            _number("cold_maximum", "Cold, greatest", "temperature")),
        *_grouped("Pressure",
            _number("maximum_pressure", "Rated pressure", "pressure"),
            _number("maximum_pressure_ratio", "Inlet ratio, greatest", "number"),
            _number("maximum_pressure_difference", "Inlet difference, greatest", "pressure", "if used")),
        *_grouped("Failure",
            _number("leakage", "Leakage, cold lost", "flow", "if used", "Flow that still passes when cold supply fails"),
            _number("shutoff_time", "Shut-off time, cold lost", "seconds", "if used"),
            _number("independent_shutoffs", "Independent shut-offs", "number", "never", "Count, against scalding", whole=True)),
        *_grouped("Listing",
            Column("listing", "Listing", width=18, help="For emergency fixtures; blank fails VLV-7"),
            Column("listing_edition", "Edition"),
            _yes_no("lead_free", "Lead-free listing", "if used")),
        *_grouped("Data",
            Column("hot_connection", "Hot connection", "size", width=11),
            Column("cold_connection", "Cold connection", "size", width=11),
            Column("outlet_connection", "Outlet connection", "size", width=11),
            _number("relative_cost", "Relative cost", "number", "never"),
            _SOURCE, _DATED, _SAMPLE),
    ),
)  # fmt: skip

MIXING_VALVES = Table(
    "mixing_valves", "Mixing valves", "a valve of the project", spare_rows=4,
    how="One row per thermostatic mixing valve of the project.",
    columns=(
        _tag("Name of the valve"),
        _ref("model", "Model", ("valve_models",), width=16),
        _ref("cold_run", "Cold run", ("pipe_runs", "supplies"), help="The run that ends at its cold inlet"),
        _ref("hot_run", "Hot run", ("pipe_runs", "hot_water_sources"), help="The run that ends at its hot inlet"),
        _any_number("elevation", "Elevation", "length", "always", "Above the datum"),
        _number("set_temperature", "Set temperature", "temperature"),
        _yes_no("parallel_bypass", "Parallel bypass", "always", "Y: its model's cold bypass is fitted"),
        _yes_no("check_valves", "Check valves", "always", "On both inlets (VLV-9)"),
        _yes_no("strainers", "Strainers", "always", "On both inlets (VLV-9)"),
        _ref("second_model", "Second model", ("valve_models",), "never", "A larger valve in parallel; blank: none", width=16),
        _number("second_opens_at", "Second opens at", "pressure", "if used", "Pressure difference over the valves at which the larger one begins to pass"),
        _number("loop_flow", "Loop flow", "flow", "never", "That a pump circulates through its runs; blank: no loop"),
        _ref("loop_return_run", "Loop return run", ("pipe_runs",), "never", "The run that brings the loop back to the valve; the runs above it are the loop"),
        _yes_no("loop_returns_to_cold_inlet", "Loop enters cold inlet", "if used", "Y: the loop flow passes the valve and counts in VLV-1"),
        _yes_no("loop_pump_needs_power", "Loop pump needs power", "if used"),
        Column("remarks", "Remarks", width=30),
    ),
)  # fmt: skip

OUTLET_MODELS = Table(
    "outlet_models", "Outlet models", "an outlet", key_column="model", spare_rows=4,
    rising=(("minimum_pressure", "maximum_pressure"), ("rated_pressure", "maximum_pressure")),
    how="One row per outlet model. An orifice flows with the root of pressure; a regulated outlet holds its flow above its minimum pressure.",
    columns=(
        _tag("Name of the model", "Model", "model", 16),
        _choice("kind", "Kind", OUTLET_KINDS),
        _choice("type", "Type", OUTLET_TYPES),
        _number("rated_flow", "Rated flow", "flow", help="Of an orifice at its rated pressure; the held flow of a regulated one"),
        _number("rated_pressure", "Rated pressure", "pressure", help="Flowing pressure; for a regulated outlet its minimum"),
        _number("minimum_pressure", "Least pressure, maker's", "pressure", "never", "Blank: the rated pressure of a regulated outlet, the limit PRS-1 otherwise"),
        _number("maximum_pressure", "Greatest pressure", "pressure", "always"),
        _number("closing_time", "Closing time", "seconds", "never", "Least time in which its valve closes; blank: at once, the upper bound of the surge (PRS-4)"),
        _SOURCE, _DATED, _SAMPLE,
    ),
)  # fmt: skip

EVENTS = Table(
    "events", "Events", "one credible event", spare_rows=4,
    how="One row per event: who may be splashed at once. Each station is also solved alone.",
    columns=(
        _tag("Name of the event", width=14),
        Column("stations", "Stations", "refs", need="always", refers_to=("stations",), width=40, help="Tags with commas"),
        _number("users", "Users at once", "people", help="The most people at once", low=1.0),
        _number("showers", "Showers at once", "number", help="The most showers at once; 0 must be typed"),
        Column("reason", "Reason", width=50, help="Why this event and no larger one is credible (EVT-1)"),
    ),
)  # fmt: skip


def _outlet(number: int, need: str) -> tuple[Column, ...]:
    return _grouped(f"Outlet {number}",
        _ref(f"outlet_{number}", f"Outlet {number}", ("outlet_models",), need, width=14),
        _any_number(f"outlet_{number}_elevation", f"Elevation {number}", "length", "if used", "Of the nozzle above the datum, for the hydraulics"),
        _number(f"outlet_{number}_height", f"Height {number}", "small length", "if used", "Mounting height above the floor (LOC-1)"))  # fmt: skip


STATIONS = Table(
    "stations", "Stations", "one station", spare_rows=12,
    how="One row per emergency station, with up to three outlets.",
    columns=(
        *_grouped("Identity",
            _tag("Name of the station"),
            Column("area", "Area", width=24),
            Column("hazard", "Hazard", width=20)),
        *_outlet(1, "always"), *_outlet(2, "never"), *_outlet(3, "never"),
        *_grouped("Where",
            _ref("fed_from", "Fed from", ("pipe_runs", "mixing_valves"), help="Its last run, or a valve"),
            _any_number("floor_elevation", "Floor elevation", "length", "never"),
            _choice("exposure", "Exposure", EXPOSURES[:2], "if used", width=10),
            _number("travel_time", "Travel time", "seconds", "if used"),
            _yes_no("same_level", "Same level", "if used", "On the same level as the hazard, no obstruction"),
            _number("drain", "Drain capacity", "flow", "if used"),
            _yes_no("potable", "Potable", "if used", "Potable water: lead-free listing asked (VLV-10)")),
        *_grouped("Notes", Column("remarks", "Remarks", width=30)),
    ),
)  # fmt: skip

TABLES: tuple[Table, ...] = (
    PROJECT, LIMITS, SUPPLIES, HOT_WATER_SOURCES, LINE_DEVICES, PIPE_RUNS, MIXING_VALVES, VALVE_MODELS, OUTLET_MODELS,
    EVENTS, STATIONS,
)  # fmt: skip
TABLE_BY_KEY = {table.key: table for table in TABLES}

# Tags that may feed something live in one name space: a run and a valve cannot share a tag.
NETWORK_TABLES = ("supplies", "hot_water_sources", "pipe_runs", "mixing_valves", "stations")


def all_columns() -> Iterator[tuple[Table, Column]]:
    """Each table with each of its columns, in the order of the sheets."""
    for table in TABLES:
        for column in table.columns:
            yield table, column
