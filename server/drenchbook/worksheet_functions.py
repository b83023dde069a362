"""The registry, one row per worksheet function: hosts, the terminal, the reference page and the tests loop over it.

To add a function: its equation in `physics`, one row here, a printed example among the tests.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from drenchbook import __version__, worksheet_calculations
from drenchbook.errors import InputError, SiteError
from drenchbook.function_spelling import plain_name
from drenchbook.physics import heat_loss, mixing, mixing_valve, supply, water
from drenchbook.published.criteria import CRITERIA_SETS, required_flow
from drenchbook.site_tables import TABLES
from drenchbook.units import SI, US, from_si, unit_of
from drenchbook.worksheet_arguments import Argument, read_arguments, retold, units_of

TEXT, TABLE = "text", "table"  # what a function gives when it gives no number
FREEZING = 0.0  # [°C] colder than this nothing flows; a number below is a slip, often °C typed as °F
FILM = heat_loss.FILM_COEFFICIENT


@dataclass(frozen=True)
class Example:
    """Cells in, printed answer out, and where the answer comes from if not from this program."""

    cells: tuple[Any, ...]
    answer: str
    how: str


@dataclass(frozen=True)
class WorksheetFunction:
    """One function: what it takes, what it gives (a quantity, "text" or "table") and the sources it rests on."""

    name: str
    calls: Callable[..., Any]
    takes: tuple[Argument, ...]
    gives: str
    help: str
    sources: tuple[str, ...]
    examples: tuple[Example, ...]

    @property
    def gives_number(self) -> bool:
        """Whether the answer is one number."""
        return self.gives not in (TEXT, TABLE)

    @property
    def by_columns(self) -> bool:
        """Whether its calculation also takes many rows at once, numbers as arrays and words as lists."""
        return self.gives_number and any(argument.kind == "number" for argument in self.takes)

    def unit(self, cells: Sequence[object] = ()) -> str:
        """The unit of the answer to these cells, or "" for text and plain numbers."""
        unit = unit_of(self.gives, units_of(self.takes, cells)) if self.gives_number else ""
        return "" if unit == "–" else unit

    def __call__(self, *cells: object) -> Any:
        """The answer in the user's unit; InputError tells the argument, the value as typed and what is accepted."""
        values = read_arguments(self.takes, cells)
        try:
            answer = self.calls(**values)
        except InputError as error:
            raise retold(error, self.takes, cells) from None
        if not self.gives_number:
            return answer
        return float(from_si(answer, unit_of(self.gives, units_of(self.takes, cells))))


def reason(function: object, *cells: object) -> str:
    """ "OK", or the sentence that says what is wrong with the arguments of a function.

    >>> reason("DRENCH_PIPE_VELOCITY", -2, "copper L", "1")
    'flow = -2 gpm: must be zero or more'
    """
    name = plain_name(function) if isinstance(function, str) else ""
    row = FUNCTION_BY_NAME.get(name)
    if row is None:
        return str(InputError("function", function, "must be the name of a DRENCH_ function, as text"))
    try:
        row(*cells)
    except (InputError, SiteError) as error:
        return str(error)
    return "OK"


def status() -> str:
    """Program and version."""
    return f"Drenchbook {__version__}"


def site_results(table: str, **given: Any) -> list[list[Any]]:
    """One result table of a whole site.

    Parameters
    ----------
    table : str
        "schedule", "set", "case", "site", "path", "choices", "course", "field" or "correction". [-]
    given : lists of rows, and where the table takes them `station`, `case`, `mixed_fraction` and `rows`
        The eleven tables by key, each with its heading row; only the cases of that station; the rows of the area that
        is filled, 0 for as many as there are. [-]

    Returns
    -------
    list of list
        Rows of equal width, blanks last. [-]
    """
    from drenchbook import table_results  # loads the site model and the solver, which no number function needs

    grids = [given.pop(each.key) for each in TABLES]
    makers: dict[str, Callable[..., list[list[Any]]]] = {
        "schedule": table_results.schedule_rows,
        "set": table_results.set_rows,
        "case": table_results.case_rows,
        "site": table_results.site_rows,
        "path": table_results.path_rows,
        "choices": table_results.choice_rows,
        "field": table_results.field_rows,
        "correction": table_results.correction_rows,
        "course": table_results.course_rows,
    }
    return makers[table](grids, **given)


UNITS = Argument("units", "units", 'unit system, "US" or "SI"', optional=True, default=US)


def _number(name: str, quantity: str, help: str, **more: Any) -> Argument:
    return Argument(name, "number", help, quantity, **more)


def _water(name: str, help: str, **more: Any) -> Argument:
    return _number(name, "temperature", help, least=FREEZING, most=water.HIGHEST, **more)


FLOW = _number("flow", "flow", "flow")
MATERIAL = Argument("material", "words", 'pipe material, such as "copper L" or "steel 40"')
SIZE = Argument("size", "words", 'size as text, such as "3/4", "1-1/4", "DN32" or "28x1.2"')
LENGTH = _number("length", "length", "length of pipe")
SIXTY_FAHRENHEIT = (60.0, worksheet_calculations.REFERENCE_TEMPERATURE)
WATER_DEFAULT = _water("temperature", "water temperature", optional=True, default=SIXTY_FAHRENHEIT)
HOT_AND_COLD = (_water("hot_temperature", "temperature of the hot water"),
                _water("cold_temperature", "temperature of the cold water"))  # fmt: skip
SPLIT = (_number("mixed_flow", "flow", "flow of the mixture at its own temperature"),
         _water("mixed_temperature", "temperature of the mixture"), *HOT_AND_COLD, UNITS)  # fmt: skip
VALVE = (FLOW,
         _number("hot_fraction", "fraction", "hot share of the flow, 0 to 1"),
         _number("hot_pressure", "pressure", "gauge pressure at the hot inlet"),
         _number("cold_pressure", "pressure", "gauge pressure at the cold inlet"),
         _number("coefficient", "flow coefficient", "flow coefficient of either seat fully open"), UNITS)  # fmt: skip
SITE = tuple(Argument(t.key, "table", f"whole range of the sheet {t.sheet}, with its heading row") for t in TABLES)
ROWS = _number("rows", "number", "rows of the area that is filled, 0 for as many as there are", optional=True,
               default=(0.0, 0.0), least=0, most=1e6)  # fmt: skip
DAY_OF_TEST = (
    _number("static", "pressure", "pressure at the first supply's gauge without flow, before the tests", optional=True),
    _water("cold", "cold water of the day", optional=True),
    _water("hot", "hot water of the day at the first source", optional=True),
    _number("pressure_error", "pressure", "what the gauge may err either way", optional=True, least=0.0),
    _number("temperature_error", "temperature difference", "what the thermometer may err either way", optional=True,
            least=0.0),
    _number("static_after", "pressure", "as static, after the tests; blank: as before", optional=True))  # fmt: skip
PIPE_TABLES = ("ASTM B88", "ASME B36.10M", "ASME B36.19M", "ASTM D2846", "ASTM F876", "EN 1057")
EQUAL_PIPE = "0.4085 q/d² with q in gpm and d in inches, by hand"


def _site_function(table: str, help: str, *more: Argument) -> WorksheetFunction:
    def calls(**values: Any) -> list[list[Any]]:
        return site_results(table, **values)

    name = {"set": "DRENCH_SETS", "case": "DRENCH_CASES"}.get(table, f"DRENCH_{table.upper()}")
    return WorksheetFunction(name, calls, (*SITE, *more), TABLE, help, ("worked here",), ())


FUNCTIONS: tuple[WorksheetFunction, ...] = (
    WorksheetFunction(
        "DRENCH_MIXED_TEMPERATURE", mixing.mixed_temperature,
        (_number("hot_flow", "flow", "flow of the hot stream at its own temperature"),
         HOT_AND_COLD[0],
         _number("cold_flow", "flow", "flow of the cold stream at its own temperature"),
         HOT_AND_COLD[1], UNITS),
        "temperature", "Temperature of two water streams after they have mixed", ("SR6-08", "worked here"),
        (Example((10, 140, 10, 60), "99.68", "enthalpy balance with another property library"),
         Example((10, 60, 10, 15.5556, SI), "37.60", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_HOT_FLOW", mixing.hot_flow, SPLIT,
        "flow", "Hot water flow, at its own temperature, in a mixture of a wanted one", ("SR6-08", "worked here"),
        (Example((20, 85, 140, 50), "7.88", "enthalpy balance with another property library"),
         Example((75.708, 29.4444, 60, 10, SI), "29.84", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_COLD_FLOW", mixing.cold_flow, SPLIT,
        "flow", "Cold water flow, at its own temperature, in a mixture of a wanted one", ("SR6-08", "worked here"),
        (Example((20, 85, 140, 50), "12.17", "enthalpy balance with another property library"),
         Example((75.708, 29.4444, 60, 10, SI), "46.07", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_INSIDE_DIAMETER", worksheet_calculations.inside_diameter, (MATERIAL, SIZE, UNITS),
        "small length", "Inside diameter of a pipe", PIPE_TABLES,
        (Example(("copper L", "1"), "1.025", "Copper Tube Handbook, Table 14.2"),
         Example(("copper L", "1", SI), "26.035", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_PIPE_LOSS", worksheet_calculations.pipe_loss,
        (FLOW, MATERIAL, SIZE, LENGTH,
         Argument("fittings", "words", 'total K, "none", or a list such as "4 x 90 elbow; 1 x tee, branch"'),
         _water("temperature", "water temperature"),
         Argument("method", "words", '"Darcy-Weisbach", "Hazen-Williams" or a Hazen-Williams C', optional=True,
                  default=worksheet_calculations.DARCY_WEISBACH),
         UNITS),
        "pressure", "Friction and fittings loss of a run of pipe, no elevation",
        ("Darcy-Weisbach", "Colebrook 1939", "Hazen-Williams", "Crane TP-410"),
        (Example((20, "copper L", "1", 100, "none", 60), "9.9", "Colebrook-White solved by hand, f = 0.0207"),
         Example((2, "copper L", "3/4", 100, "none", 60, "Hazen-Williams"), "0.57", "a printed loss table, C = 140"),
         Example((75.708, "copper L", "1", 30.48, "none", 15.5556, "", SI), "68", "the first in SI units"))),
    WorksheetFunction(
        "DRENCH_ROUGH_PIPE_LOSS", worksheet_calculations.rough_pipe_loss,
        (FLOW, MATERIAL, SIZE, LENGTH,
         Argument("fittings", "words", 'total K, "none", or a list such as "4 x 90 elbow; 1 x tee, branch"'),
         _water("temperature", "water temperature"),
         _number("roughness", "small length", "roughness of the wall, instead of the material's"), UNITS),
        "pressure", "Friction and fittings loss of a run of pipe of its own roughness, no elevation",
        ("Darcy-Weisbach", "Colebrook 1939", "Crane TP-410"),
        (Example((20, "copper L", "1", 100, "none", 60, 0.00006), "9.9", "Colebrook-White solved by hand, f = 0.0207"),
         Example((75.708, "copper L", "1", 30.48, "none", 15.5556, 0.0015, SI), "68", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_PIPE_VELOCITY", worksheet_calculations.pipe_velocity, (FLOW, MATERIAL, SIZE, UNITS),
        "velocity", "Mean velocity in a pipe", ("worked here",),
        (Example((20, "copper L", "1"), "7.78", EQUAL_PIPE),
         Example((75.708, "copper L", "1", SI), "2.370", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_PIPE_VOLUME", worksheet_calculations.pipe_volume, (MATERIAL, SIZE, LENGTH, UNITS),
        "volume", "Water content of a run of pipe", ("worked here",),
        (Example(("copper L", "1", 100), "4.29", "0.0429 gal/ft in trade tables of copper tube"),
         Example(("copper L", "1", 30.48, SI), "16.23", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_ELEVATION_LOSS", worksheet_calculations.elevation_loss,
        (_number("rise", "length", "height of the end above the start"), WATER_DEFAULT, UNITS),
        "pressure", "Static pressure that a rise takes; negative for a fall", ("SR6-08",),
        (Example((20,), "8.66", "International Plumbing Code, Appendix E, example"),
         Example((10, 15.5556, SI), "97.97", "999.0 kg/m³ × 9.80665 m/s² × 10 m, by hand"))),
    WorksheetFunction(
        "DRENCH_SUPPLY_PRESSURE", supply.supply_pressure,
        (FLOW,
         _number("static", "pressure", "gauge pressure at no flow"),
         _number("residual", "pressure", "gauge pressure during the flow test"),
         _number("test_flow", "flow", "flow during the test"), UNITS),
        "pressure", "Pressure that a supply has left at a flow; below zero it cannot give that flow", ("NFPA 291",),
        (Example((17.2, 66, 57, 60), "65.108", "66 − 9·(17.2/60)^1.85, by hand"),
         Example((50, 500, 400, 100, SI), "472.26", "500 − 100·0.5^1.85, by hand"))),
    WorksheetFunction(
        "DRENCH_COEFFICIENT_LOSS", worksheet_calculations.coefficient_loss,
        (FLOW, _number("coefficient", "flow coefficient", "flow coefficient"), WATER_DEFAULT, UNITS),
        "pressure", "Loss through a valve or device of known flow coefficient (Cv, in SI units Kv)", ("IEC 60534-2-1",),
        (Example((10, 3), "11.111", "(10/3)² psi, the definition of Cv"),
         Example((16.666667, 1, "", SI), "100.00", "1 m³/h through Kv 1 loses 1 bar, the definition of Kv"))),
    WorksheetFunction(
        "DRENCH_CHAMBER_PRESSURE", mixing_valve.chamber_pressure, VALVE,
        "pressure", "Pressure in the mixing chamber of a valve with two seats on one stem", ("worked here",),
        (Example((23.2, 0.489, 40, 60, 11), "38.20", "two-seat equation solved by hand"),
         Example((16.666667, 0.5, 300, 300, 1, SI), "200.00", "equal inlets: p − (q/Kv)², by hand"))),
    WorksheetFunction(
        "DRENCH_STEM_POSITION", mixing_valve.stem_position, VALVE,
        "fraction", "Opening of the hot seat, 0 shut to 1 fully open", ("worked here",),
        (Example((23.2, 0.489, 40, 60, 11), "0.769", "two-seat equation solved by hand"),
         Example((16.666667, 0.5, 300, 300, 1, SI), "0.500", "equal inlets: the hot share itself"))),
    WorksheetFunction(
        "DRENCH_OUTLET_FLOW", worksheet_calculations.outlet_flow,
        (_number("pressure", "pressure", "gauge pressure at the outlet"),
         _number("rated_flow", "flow", "flow at the rated pressure, or the flow that a regulator holds"),
         _number("rated_pressure", "pressure", "rated pressure; of a regulated outlet its minimum"),
         Argument("regulated", "yes_no", "answer whether a regulator holds the flow, TRUE or FALSE"), UNITS),
        "flow", "Flow of an open outlet at a pressure", ("NFPA 13",),
        (Example((18.37, 5.6, 1, False), "24.0", "a printed sprinkler example, K 5.6"),
         Example((400, 80, 100, False, SI), "160.0", "80·√4, by hand"))),
    WorksheetFunction(
        "DRENCH_STORAGE_MINUTES", worksheet_calculations.storage_lasts,
        (_number("volume", "volume", "volume of the store"),
         _number("usable_fraction", "fraction", "share that can be drawn hot; the mixed model does not use it"),
         _water("start_temperature", "temperature of the store at the start, the thermostat's lower edge"),
         HOT_AND_COLD[1],
         _water("mixed_temperature", "set temperature of the mixing valve"),
         _number("mixed_flow", "flow", "flow that leaves the mixing valve"),
         _number("recovery", "flow", "hot water that the heater makes meanwhile"),
         Argument("model", "words", 'tank model, "stratified" or "mixed"'),
         _number("approach", "temperature difference", "temperature above the set one that the valve needs; for the "
                 "mixed model", optional=True, default=(20.0, 11.0)),
         UNITS),
        "minutes", "Minutes for which a store holds the set temperature; 1440 means a day or longer",
        ("UFC 3-420-01", "SR6-08"),
        (Example((200, 0.75, 140, 50, 85, 20, 0, "stratified"), "19.03", "150 gal over 7.882 gpm of hot water"),
         Example((757, 0.75, 60, 10, 29.4444, 75.708, 0, "stratified", "", SI), "19.03", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_RUN_PURGE_SECONDS", worksheet_calculations.run_purge, (FLOW, MATERIAL, SIZE, LENGTH, UNITS),
        "seconds", "Time until new water and its heat have passed one run, pipe wall included", ("worked here",),
        (Example((3, "copper L", "1", 50), "50.1", "2.143 gal × (1 + 0.168) over 3 gpm, by hand"),
         Example((11.3562, "copper L", "1", 15.24, SI), "50.1", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_PIPE_END_TEMPERATURE", worksheet_calculations.pipe_end_temperature,
        (FLOW,
         _water("inlet_temperature", "water temperature at the inlet"),
         _number("air_temperature", "temperature", "temperature around the pipe"),
         MATERIAL, SIZE, LENGTH,
         _number("insulation", "small length", "thickness of insulation", optional=True, default=(0.0, 0.0)),
         _number("conductivity", "insulation conductivity", "conductivity of the insulation (default: the upper end of "
                 "ASHRAE 90.1-2016 for pipes of 105–140 °F)", optional=True, default=(0.28, 0.0404)),
         _number("film", "film coefficient", "coefficient from surface to air, radiation included (default: still air, "
                 "ASHAE Guide 1955, bare pipe)", optional=True,
                 default=(from_si(FILM, unit_of("film coefficient", US)), FILM)),
         UNITS),
        "temperature", "Temperature at the far end of a run, long after the flow began; bare pipe by default",
        ("Incropera", "ASHRAE", "ASHRAE 90.1"),
        (Example((5, 120, 70, "copper L", "1", 100), "119.0", "70 + 50·exp(−27.4/1304), by hand"),
         Example((18.927, 48.8889, 21.1111, "copper L", "1", 30.48, "", "", "", SI), "48.3", "the same in SI units"))),
    WorksheetFunction(
        "DRENCH_REQUIRED_FLOW", required_flow,
        (Argument("kind", "words", 'outlet kind: "shower", "eyewash", "eye/face wash" or "drench hose"'),
         Argument("criteria", "words", "criteria set: " + " or ".join(f'"{name}"' for name in CRITERIA_SETS)), UNITS),
        "flow", "Published required flow of an outlet kind; confirm it in the edition you own", CRITERIA_SETS,
        (Example(("shower", "ANSI/ISEA Z358.1"), "20.0", "WAC 296-800-15030"),
         Example(("shower", "EN 15154", SI), "60.0", "EN 15154-1 as quoted"))),
    WorksheetFunction(
        "DRENCH_ADEQUACY", worksheet_calculations.adequacy,
        (Argument("value", "any", "value to judge"),
         Argument("minimum", "any", 'least allowed, or "none"'),
         Argument("maximum", "any", 'most allowed, or "none"')),
        TEXT, '"OK", "LOW", "HIGH", or "UNKNOWN" where a value or a limit is missing', ("worked here",),
        (Example((22.5, 20, "none"), "OK", "more than 20"), Example((None, 20, "none"), "UNKNOWN", "a blank value"))),
    WorksheetFunction(
        "DRENCH_REASON", lambda function, arguments: reason(function, *arguments),
        (Argument("function", "any", "name of a function, as text"),
         Argument("arguments", "any", "its arguments", repeats=True)),
        TEXT, '"OK", or the sentence that says what is wrong with the arguments of a function', ("worked here",),
        (Example(("DRENCH_PIPE_VELOCITY", -2, "copper L", "1"), "flow = -2 gpm: must be zero or more", "as written"),)),
    WorksheetFunction(
        "DRENCH_STATUS", status, (), TEXT, "Program and version, or what is wrong", ("worked here",), ()),
    WorksheetFunction(
        "DRENCH_STAMP", lambda fingerprint: fingerprint,
        (_number("fingerprint", "number", "fingerprint of the inputs"),),
        "number", "The fingerprint of the inputs at the last calculation: it changes only where something calculates",
        ("worked here",), (Example((12.5,), "12.5", "gives back what it gets"),)),
    _site_function("schedule", "Governing results, one row for each row of Stations, blanks last"),
    _site_function("set", "Governing results, one row per set of stations in use at once", ROWS),
    _site_function("case", "Every operating case, or those of one station",
                   Argument("station", "any", "tag of a station; blank for all", optional=True), ROWS),
    _site_function("path", "Every step from supply to outlet in one case, with the numbers that its formula takes",
                   Argument("station", "any", "tag of a station; blank for the least margin", optional=True),
                   Argument("case", "any", 'case as in the schedule, such as "L1: cold season, low supply"; blank for '
                            "the one that governs", optional=True), ROWS),
    _site_function("course", "Temperatures over fifteen minutes in one case: at the source, the valve and the station",
                   Argument("station", "any", "tag of a station; blank for the least margin", optional=True),
                   Argument("case", "any", 'case as in the schedule, such as "L1: cold season, low supply"; blank for '
                            "the one that governs", optional=True),
                   _number("mixed_fraction", "fraction", "share of a storage, at its bottom, that is mixed, 0 to 1; "
                           "blank for the tank model that governs", optional=True, least=0.0, most=1.0), ROWS),
    _site_function("choices", "What may be chosen for the path of a station: what is open, season, supply and fault",
                   Argument("station", "any", "tag of a station; blank for the least margin", optional=True), ROWS),
    _site_function("field", "What a test on a day should find at each outlet, each station alone, and at each valve",
                   *DAY_OF_TEST, ROWS, UNITS),
    _site_function("correction", "Which one input to correct first after a test, and to which value; it changes none",
                   *DAY_OF_TEST, Argument("readings", "table", "lines of the sheet Field test from station to result, "
                                          "with the row of units above them", optional=True), ROWS, UNITS),
    _site_function("site", "Checks of supplies, hot water sources, valves and events as a whole", ROWS),
)  # fmt: skip
FUNCTION_BY_NAME = {function.name: function for function in FUNCTIONS}
