"""The columns of each result table: what the array functions give, and what the Schedule, Sets and Cases sheets show.

The arrays, the sheets that look values up in them and the terminal all loop over these rows, so they cannot disagree.
A cell is a number, or a word: "–" does not apply, "not known" (no temperature can be stated), "?" no result.
"""

from __future__ import annotations

from dataclasses import dataclass

from drenchbook.units import unit_of

NOT_APPLICABLE, NOT_KNOWN, NO_RESULT = "–", "not known", "?"
FAIL, UNKNOWN, WARN, OK, NOTE = "FAIL", "UNKNOWN", "WARN", "OK", "NOTE"
VERDICTS = (FAIL, UNKNOWN, WARN, OK)  # worst first; a NOTE does not rank

# One letter a column in the `marks` text: which cell of the row fails, warns or has no answer. The sheets colour by it.
MARK_LOW, MARK_HIGH, MARK_WARN, MARK_UNKNOWN, MARK_NONE = "L", "H", "w", "u", "."


@dataclass(frozen=True)
class ResultColumn:
    """One column of a result table."""

    name: str
    heading: str
    quantity: str = ""
    decimals: int = 1
    group: str = ""
    limit: str = ""  # what stands in the limit row: text, or "{limit id}" with ≥ or ≤ before it
    width: float = 7.5
    hidden: bool = False
    percent: bool = False

    def unit(self, system: str) -> str:
        """The unit under the heading, or "" for words and counts."""
        return unit_of(self.quantity, system) if self.quantity else ""

    @property
    def is_number(self) -> bool:
        """Whether the column holds numbers where it has an answer."""
        return bool(self.quantity) or self.percent


def _in_group(group: str, *columns: ResultColumn) -> tuple[ResultColumn, ...]:
    return tuple(ResultColumn(**{**c.__dict__, "group": group}) for c in columns)


C = ResultColumn
# Hidden columns of the schedule that the chart of margins shows: name, what it says there, and the check it is from.
MARGIN_COLUMNS = (
    ("margin_flow", "Flow", "FLW-1"), ("margin_pressure", "Pressure", "PRS-1"),
    ("margin_hot", "Hot water", "HOT-1"), ("margin_valve", "Least flow of the valve", "VLV-1"),
)  # fmt: skip
SCHEDULE_COLUMNS: tuple[ResultColumn, ...] = (
    *_in_group("Station",
        C("tag", "Tag", width=7.5),
        C("verdict", "Verdict", width=10.3),
        C("area", "Area", width=12.5),
        C("events", "Event", width=8),
        C("users", "At once", "people", 0, width=6),
        C("outlets", "Outlets", width=11.5),
        C("valve", "Valve", width=7)),
    *_in_group("Shower flow",
        C("shower_need", "Need", "flow"), C("shower_least", "Least", "flow", limit="≥ need"),
        C("shower_most", "Most", "flow", limit="≤ {FLW-3} × need")),
    *_in_group("Eyewash, eye/face wash",
        C("eye_need", "Need", "flow"), C("eye_least", "Least", "flow", limit="≥ need"),
        C("eye_most", "Most", "flow", limit="≤ {FLW-3} × need")),
    *_in_group("Drench hose flow",
        C("hose_need", "Need", "flow"), C("hose_least", "Least", "flow", limit="≥ need"),
        C("hose_most", "Most", "flow", limit="≤ {FLW-3} × need")),
    *_in_group("Pressure, worst outlet",
        C("pressure_need", "Need", "pressure"), C("pressure_least", "Least", "pressure", limit="≥ need"),
        C("pressure_static", "Static, high", "pressure", limit="≤ {PRS-2}")),
    *_in_group("Temperature delivered",
        C("temperature_cold", "Cold season", "temperature", limit="≥ {TMP least}"),
        C("temperature_warm", "Warm season", "temperature", limit="≤ {TMP greatest}"),
        C("first_water", "First water, cold", "temperature", limit="")),
    *_in_group("Time",
        C("purge", "Purge", "seconds", 0, limit=""),
        C("tepid", "Not tepid for", "seconds", 0, limit="≤ {DLG-2}"),
        C("minutes", "Hot water lasts", "minutes", 1, limit="≥ {HOT-1}"),
        C("minutes_other", "Other tank model", "minutes", 1, limit="≥ {HOT-2}")),
    *_in_group("Hot pressure lost",
        C("lost_shower", "Shower flow", "flow", limit="≥ need"), C("lost_eye", "Eye, face flow", "flow", limit="≥ need")),
    *_in_group("Why",
        C("check", "By check", width=7),
        C("margin", "Margin", percent=True, decimals=0, limit="of limit", width=7.3),
        C("governing_case", "Governing case", width=16.5),
        C("message", "What it is, and what to do", width=48)),
    *_in_group("Margins", *(C(name, heading, percent=True, hidden=True) for name, heading, _ in MARGIN_COLUMNS)),
    *_in_group("Proof",
        C("checks_made", "Checks made", decimals=0, quantity="number", hidden=True),
        C("checks_met", "Checks met", decimals=0, quantity="number", hidden=True),
        C("marks", "Marks", hidden=True)),
)  # fmt: skip

SET_COLUMNS: tuple[ResultColumn, ...] = (
    C("set", "Set", width=22),
    C("verdict", "Verdict", width=10.5),
    C("events", "Event", width=16),
    C("users", "At once", "people", 0),
    C("flow_low", "Flow, low supply", "flow"),
    C("flow_high", "Flow, high supply", "flow"),
    C("pressure_least", "Least pressure", "pressure"),
    C("hot_needed", "Hot water needed", "volume", 0),
    C("hot_there", "Hot water there", "volume", 0),
    C("minutes", "Hot water lasts", "minutes"),
    C("minutes_other", "Other tank model", "minutes"),
    C("flow_lost", "Flow, hot pressure lost", "flow"),
    C("check", "By check", width=9),
    C("margin", "Margin", percent=True, decimals=0),
    C("governing_case", "Governing case", width=30),
    C("message", "What it is, and what to do", width=60),
    C("marks", "Marks", hidden=True),
)

CASE_COLUMNS: tuple[ResultColumn, ...] = (
    C("stations", "Stations", width=14),
    C("outlets", "Open outlets", width=32),
    C("season", "Season", width=8),
    C("supply", "Supply", width=8),
    C("fault", "Fault", width=21),
    C("state", "State", width=13),
    C("flow", "Flow", "flow", 2),
    C("worst_outlet", "Worst outlet", width=18),
    C("worst_flow", "Its flow", "flow", 2),
    C("worst_pressure", "Its pressure", "pressure", 1),
    C("valve", "Valve", width=9),
    C("hot_pressure", "Hot pressure", "pressure", 1),
    C("cold_pressure", "Cold pressure", "pressure", 1),
    C("chamber_pressure", "Chamber pressure", "pressure", 1),
    C("stem_position", "Stem position", "fraction", 3),
    C("hot_fraction", "Hot fraction", "fraction", 3),
    C("mixed_temperature", "Mixed temperature", "temperature", 1),
    C("minutes", "Hot water lasts", "minutes", 1),
    C("changed", "What the fault changes", width=32),
)

SITE_COLUMNS: tuple[ResultColumn, ...] = (
    C("check", "Check", width=9),
    C("subject", "Subject", width=16),
    C("verdict", "Verdict", width=10.5),
    C("case", "Case", width=30),
    C("message", "What it is, and what to do", width=100),
)

# Fifteen minutes of one case. The other tank model stands beside the one that governs; limits as straight lines.
COURSE_COLUMNS: tuple[ResultColumn, ...] = (
    C("time", "Time", "seconds", 0),
    C("hot", "Hot water at the source", "temperature", 1),
    C("mixed", "Mixed, at the valve", "temperature", 1),
    C("outlet", "At the station", "temperature", 1),
    C("outlet_other", "At the station, other tank model", "temperature", 1),
    C("least", "Least", "temperature", 1),
    C("greatest", "Greatest", "temperature", 1),
    C("case", "Case", width=40),  # in the first row: which case it is, or why nothing is known
)

PATH_COLUMNS: tuple[ResultColumn, ...] = (
    C("part", "Part", width=13),
    C("kind", "Kind", width=16),
    C("tag", "Tag", width=12),
    C("step", "Step", width=34),
    C("after", "Begins after line", "number", 0),
    C("other_after", "Other inlet after line", "number", 0),
    C("flow", "Flow", "flow", 3),
    C("temperature", "Water", "temperature", 1),
    C("material", "Material", width=12),
    C("size", "Size"),
    C("length", "Length or rise", "length", 2),
    C("fittings", "Fittings", width=24),
    C("coefficient", "Coefficient", "number", 6),
    C("coefficient_unit", "Its unit", width=10),
    C("constant", "Hazen-Williams C", "number", 0),
    C("roughness", "Roughness", "small length", 5),
    C("start_pressure", "Pressure at the start", "pressure", 3),
    C("flow_1", "First flow", "flow", 3),
    C("pressure_1", "First pressure", "pressure", 3),
    C("flow_2", "Second flow", "flow", 3),
    C("pressure_2", "Second pressure", "pressure", 3),
    C("fraction", "Share", "fraction", 4),
    C("cold_temperature", "Cold water", "temperature", 1),
    C("mixed_temperature", "Set temperature", "temperature", 1),
    C("volume", "Volume", "volume", 1),
    C("approach", "Hot above set", "temperature difference", 1),
    C("loss", "Loss", "pressure", 3),
    C("pressure", "Pressure after", "pressure", 3),
    C("result", "Result by the solver", "number", 4),
    C("result_unit", "Its unit"),
    C("tolerance", "Printed to", "number", 5),
    C("formula", "Formula", width=40),
    C("numbers", "Numbers put in", width=40),
    C("source", "Source", width=24),
    C("bar", "Bar of the chart", width=14),
    C("asked", "Station and case asked for", width=24),
)

# The bars of a path: what stands where the water begins, what it loses on the way, what is left and what is needed.
PATH_BARS = ("Supply at this flow", "Devices", "Pipe", "Rise to the valve", "Mixing valve", "Rise to the outlet",
             "At the outlet", "Needed there")  # fmt: skip

CHOICE_COLUMNS: tuple[ResultColumn, ...] = (
    C("open", "Open", width=24),
    C("season", "Season", width=8),
    C("supply", "Supply", width=8),
    C("fault", "Fault", width=26),
)

# What a test should find at each outlet, then at each valve; the first column names station and outlet.
VALVE_GROUP = "valve group"  # stands for the outlet in the line of a valve
FIELD_COLUMNS: tuple[ResultColumn, ...] = (
    C("key", "Station and outlet", width=26),
    C("valve", "Valve", width=9),
    C("need", "Required", "flow", 2),
    C("flow_least", "Least", "flow", 2),
    C("flow_most", "Most", "flow", 2),
    C("pressure_least", "Least pressure", "pressure", 1),
    C("pressure_most", "Most pressure", "pressure", 1),
    C("static_least", "Least static", "pressure", 1),
    C("static_most", "Most static", "pressure", 1),
    C("tepid", "Tepid within", "seconds", 0),
    C("settled", "As set after", "seconds", 0),
    C("lasts", "Hot water lasts", "minutes", 1),
    C("temperature_least", "From", "temperature", 1),
    C("temperature_most", "To", "temperature", 1),
    C("limit_least", "Limit, least", "temperature", 1),
    C("limit_most", "Limit, greatest", "temperature", 1),
    C("leak_most", "Most with cold shut", "flow", 2),
    C("shut_most", "Shut within", "seconds", 0),
    C("open", "Open for the loss tests", width=12),
    C("state", "State", width=30),
)
# The seconds after opening at which temperatures are read, and the cells of one line of the Field test in their order.
FIELD_SECONDS = (0, 5, 10, 15, 20, 30, 45, 60, 120, 180, 300, 600, 900)
FIELD_TIMES = tuple(f"t{seconds}" for seconds in FIELD_SECONDS)
FIELD_LINE = (
    "tag", "outlet", "need", "flow_least", "flow_most", "pressure_least", "pressure_most", "static_least",
    "static_most", "static", "flowing", "volume", "seconds", "flow", "flow_low", "flow_high", "pattern", "loss_test",
    "tepid", "settled", "lasts", "temperature_least", "temperature_most", "limit_least", "limit_most", *FIELD_TIMES,
    "static_verdict", "flow_verdict", "pressure_verdict", "temperature_verdict", "result",
)  # fmt: skip
FIELD_READINGS = ("static", "flowing", "volume", "seconds", "pattern", "loss_test", *FIELD_TIMES)
# Which one input to correct first, one row for each line of readings.
CORRECTION_COLUMNS: tuple[ResultColumn, ...] = (
    C("key", "Station and outlet", width=26),
    C("asked", "Sum of its readings", "number", 6),
    C("sheet", "Sheet", width=14),
    C("row", "Row", width=12),
    C("column", "Column", width=18),
    C("now", "Now", "number", 3),
    C("suggested", "Suggested", "number", 3),
    C("unit", "Unit"),
    C("sentence", "Why", width=60),
)

RESULT_TABLES: dict[str, tuple[ResultColumn, ...]] = {
    "DRENCH_SCHEDULE": SCHEDULE_COLUMNS,
    "DRENCH_SETS": SET_COLUMNS,
    "DRENCH_CASES": CASE_COLUMNS,
    "DRENCH_SITE": SITE_COLUMNS,
    "DRENCH_PATH": PATH_COLUMNS,
    "DRENCH_CHOICES": CHOICE_COLUMNS,
    "DRENCH_FIELD": FIELD_COLUMNS,
    "DRENCH_CORRECTION": CORRECTION_COLUMNS,
    "DRENCH_COURSE": COURSE_COLUMNS,
}
CASES_SHOWN = 600  # a site with more cases shows the governing ones on the sheet; the JSON report holds them all

CAUTIONS = (
    "Design aid. The adopted local code, the authority having jurisdiction and a licensed professional decide.",
    "Limits are entered by the user: confirm each in the edition you own.",
    "SAMPLE data is invented; replace it with the maker's dated data.",
    "Water temperature only: medical and chemical suitability is the owner's decision, with medical advice.",
    "Delivered temperature assumes that the valve holds what its listing says; start-up and switching transients of the "
    "valve are not computed.",
    "Passing on paper is not commissioning.",
    "Absence of a warning is not safety.",
    "Tempered and stagnant water: follow the water management plan.",
    "Supply-failure tests can scald: nobody in the stream.",
)
