"""The table of checks: one row each, in the order of their priority.

Everything that judges loops over these rows: the verdicts, the JSON report, the reference page and the tests. A row says
what is measured, against which limits, how hard a miss weighs, and in which words it is told. A row without `cases` and
`station` judges a supply, a source, a valve group or an event as a whole: it stands on a line of the site.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drenchbook.check_idle import heated_in_frost, idle_in_frost, loop_range
from drenchbook.check_measures import Measures
from drenchbook.check_pressures import frictionless, static_pressure
from drenchbook.check_samples import FAILED, NOT_KNOWN, NOTED, WARNED, Samples
from drenchbook.check_static import inputs, other_demand, place
from drenchbook.check_valves import (
    approach,
    checks_and_strainers,
    cold_failure,
    lead_free,
    listing,
    ratings,
    set_and_tolerance,
)
from drenchbook.findings import Finding
from drenchbook.operating_cases import (
    HOT_LOST,
    NORMAL,
    OTHER_DEMAND,
    POWER_LOST,
    SOURCE_COLD,
    STRAINER_FOULED,
)
from drenchbook.quantity_text import LEAST, MOST

EITHER = "either"  # a quantity with a limit on each side: a miss says which way it is rounded
REQUIRED = ("FLW-1 shower", "FLW-1 eyewash", "FLW-1 eye/face wash", "FLW-1 drench hose")
TEPID = ("TMP least", "TMP greatest")


@dataclass(frozen=True)
class Check:
    """One check. `cases` measures solved cases; `station` judges a property of a station; a site line has neither."""

    id: str
    what: str
    quantity: str  # of the value: a key of units.QUANTITIES, or "" for words
    limits: tuple[str, ...]  # every row of Limits that it needs
    severity: int
    message: str  # with {value}, {limit}, {what} (the outlet, valve or source) and {case}
    remedy: str
    cases: Callable[[Measures], Samples] | None = None
    station: Callable[[Measures, int], Finding] | None = None
    toward: str = LEAST  # which way the value is rounded when printed: toward the unsafe side; the limit the other way
    percent: bool = False
    shows_value_as_margin: bool = False
    second: tuple[str, str] = ("", "")  # quantity and message where the second of two things is measured
    source: str = "common practice"
    when: tuple[str, ...] = ()  # the faults that it is judged in, or the states; of cases normal use unless it says so

    @property
    def faults(self) -> tuple[str, ...]:
        """The faults in which its cases are judged, all seasons, supply states and openings; none without cases."""
        return (self.when or (NORMAL,)) if self.cases else ()


CHECKS: tuple[Check, ...] = (
    Check("FLW-1", "flow of each outlet", "flow",
          REQUIRED, FAILED,
          "{what} gets {value} of {limit}", "Larger pipe where the path loses most, or more pressure",
          cases=lambda m: m.own_required_flow(), when=(NORMAL, OTHER_DEMAND, POWER_LOST), source="Z358.1 or EN 15154, by the criteria set"),
    Check("FLW-2", "smallest margin of flow", "fraction", ("FLW-2", *REQUIRED), WARNED,
          "{what} has a margin of {value}, {limit} asked", "A little more pressure or pipe, or accept and record",
          cases=lambda m: m.flow_margin(), when=(NORMAL, HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST), percent=True, shows_value_as_margin=True),
    Check("FLW-4", "greatest flow over required", "number", ("FLW-4", *REQUIRED), FAILED,
          "{what} gets {value} times its required flow, limit {limit}", "A flow-regulated outlet that gives at most {limit} times its required flow",
          cases=lambda m: m.greatest_flow("FLW-4"), toward=MOST),
    Check("FLW-3", "greatest flow over required", "number", ("FLW-3", *REQUIRED), WARNED,
          "{what} gets {value} times its required flow, limit {limit}", "A flow-regulated outlet that gives at most {limit} times its required flow",
          cases=lambda m: m.greatest_flow("FLW-3"), toward=MOST),
    Check("PRS-1", "pressure at the outlet", "pressure", ("PRS-1",), FAILED,
          "{what} has {value} of {limit}", "Larger pipe where the path loses most, more pressure, or an outlet for less",
          cases=lambda m: m.outlet_pressure()),
    Check("PRS-2", "greatest static pressure", "pressure", ("PRS-2",), FAILED,
          "{what} stands at {value} without flow, limit {limit}", "A pressure-reducing valve upstream",
          station=static_pressure, when=("no flow, high supply",), toward=MOST, source="UPC 608.2, and the ratings"),
    Check("PRS-3", "pressure left at required flow without pipe friction", "pressure", ("PRS-3", "PRS-1", *REQUIRED), FAILED,
          "At required flow {value} is left without any pipe friction, limit {limit}",
          "No pipe size helps: a booster, or outlets for less pressure", station=frictionless, when=("required flow with other demand, low supply",), source="worked here"),
    Check("PRS-4", "closing surge", "pressure", (), WARNED,
          "A closing valve can raise the pressure at {what} to {value}, weakest rating {limit}",
          "Outlets that close slowly, a surge arrester, or larger pipe", cases=lambda m: m.closing_surge(), toward=MOST,
          source="the ratings; Joukowsky 1898, Michaud 1878"),
    Check("VEL-1", "velocity", "velocity", ("VEL-1 cold", "VEL-1 hot"), WARNED,
          "Water runs at {value} in {what}, limit {limit}", "Larger pipe in that run", cases=lambda m: m.velocity(), toward=MOST,
          second=("velocity", "Hot water runs at {value} in {what}, limit {limit}")),
    Check("SUP-1", "flow beyond the tested flow", "flow", (), WARNED,
          "{what} gives {value}, tested to {limit}", "Test at {value} or more, the flow that is needed", toward=MOST, when=(NORMAL, OTHER_DEMAND)),
    Check("SUP-2", "minutes that a supply's volume lasts", "minutes", ("HOT-1",), FAILED,
          "The volume of {what} lasts {value} of {limit}", "A larger volume, or flow-regulated outlets",
          cases=lambda m: m.supply_minutes(), when=(NORMAL, HOT_LOST, SOURCE_COLD), source="Z358.1: fifteen minutes"),
    Check("VLV-1", "smallest flow of one outlet alone", "flow", (), FAILED,
          "One outlet alone draws {value}; valve {what} controls from {limit}",
          "Fit a small valve of its own at the station, which shortens the purge too, or one that controls from {value} "
          "or less",
          cases=lambda m: m.own_outlet_flow(), source="the valve's data sheet",
          second=("flow", "One outlet alone and the loop pass {value}; valve {what} controls from {limit}")),
    Check("VLV-11", "margin of the smallest flow over the minimum under control", "fraction", ("VLV-11",), WARNED,
          "One outlet alone through valve {what} has a margin of {value}, {limit} asked", "A valve that controls from less",
          cases=lambda m: m.own_outlet_margin(), percent=True, shows_value_as_margin=True),
    Check("VLV-2", "greatest flow through the valve", "flow", (), FAILED,
          "Valve {what} passes {value}; its data ends at {limit}", "A larger valve, whose data reach {value}, or two in parallel",
          cases=lambda m: m.valve_flow(), toward=MOST, source="the valve's data sheet"),
    Check("VLV-3", "hot above set, set above cold", "temperature difference", (), FAILED,
          "{what} is {value}, the model needs {limit}", "Hotter storage, or a lower set temperature",
          station=approach, when=("start of the draw, and at the valve",), source="the valve's data sheet"),
    Check("VLV-4", "inlet pressure ratio and difference", "number", (), FAILED,
          "Inlet pressures of valve {what} stand {value} to 1; the model takes {limit} to 1",
          "Balance both sides: a pressure-reducing valve on the higher, or larger pipe on the lower, "
          "or a valve that takes {value}",
          cases=lambda m: m.inlet_pressures(), toward=MOST, source="the valve's data sheet",
          second=("pressure", "Inlet pressures of valve {what} differ by {value}; the model takes {limit}")),
    Check("VLV-5", "set temperature with its tolerance", "temperature", TEPID, FAILED,
          "{what} is {value}, limit {limit}", "Move the set temperature, or choose a valve of closer tolerance",
          station=set_and_tolerance, toward=EITHER, source="the valve's listing"),
    Check("VLV-6", "stem position", "fraction", ("VLV-6 least", "VLV-6 greatest"), WARNED,
          "The stem of valve {what} stands at {value}, limit {limit}", "Another valve size, or closer inlet pressures",
          cases=lambda m: m.stem_position(), toward=EITHER),
    Check("VLV-7", "listing for emergency fixtures", "", (), FAILED,
          "{what} has no listing for emergency fixtures", "Choose a listed valve", station=listing),
    Check("VLV-10", "lead-free listing where potable", "", (), FAILED,
          "{what} has no lead-free listing", "Choose a valve with a lead-free listing", station=lead_free),
    Check("VLV-8", "hot and cold temperature against the ratings", "temperature", (), FAILED,
          "{what} is {value}, rating {limit}", "Bring the water inside the rating, or choose a valve rated for {value}",
          station=ratings, when=("both seasons; no flow, high supply",), toward=EITHER, source="the valve's data sheet"),
    Check("VLV-9", "check valves and strainers on both inlets", "", (), FAILED,
          "{what} are not stated as present", "Fit them on both inlets", station=checks_and_strainers),
    Check("BYP-1", "hot pressure lost: flow of each outlet", "flow",
          REQUIRED, FAILED,
          "With hot pressure lost {what} gets {value} of {limit}", "A larger bypass or larger cold and tempered pipe",
          cases=lambda m: m.required_flow(HOT_LOST), when=(HOT_LOST,)),
    Check("BYP-2", "source cold but pressurised: flow of each outlet", "flow",
          REQUIRED, FAILED,
          "With the source cold {what} gets {value} of {limit}", "A larger bypass or larger cold and tempered pipe",
          cases=lambda m: m.required_flow(SOURCE_COLD), when=(SOURCE_COLD,)),
    Check("BYP-3", "cold supply failure: leakage and time", "", ("BYP-3 leakage", "BYP-3 time"), FAILED,
          "{what} is {value}, limit {limit}", "Choose a valve that shuts off better, with at most {limit}; without data ask its maker",
          station=cold_failure, when=("cold supply failure",), toward=MOST, source="the valve's data sheet"),
    Check("BYP-4", "hot and cold fed by one main", "", (), WARNED,
          "Hot and cold of {what} come from one main, {value}: losing it loses both",
          "State in the emergency plan what stations do then, or feed one side from another main"),
    Check("BYP-5", "pressure difference over the valve in normal use", "pressure", (), WARNED,
          "Over valve {what} stand {value} in normal use; its bypass opens at {limit} and dilutes the mix",
          "A larger valve, or a bypass that opens at {value} or later", cases=lambda m: m.bypass_opening(), toward=MOST,
          source="the valve's data sheet"),
    Check("HOT-4", "hot flow and rise of a heater without storage", "flow", (), FAILED,
          "{what} has to heat {value} of hot water; by its data the limit is {limit}",
          "A heater for that flow, or storage", cases=lambda m: m.heating(), toward=EITHER, source="the heater's data sheet",
          second=("temperature difference", "{what} has to warm water by {value}; by its data the limit is {limit}")),
    Check("HOT-1", "minutes of hot water, governing tank model", "minutes", ("HOT-1",), FAILED,
          "Hot water of {what} lasts {value} of {limit}", "More storage, a flow-regulated shower, or a lower set temperature",
          cases=lambda m: m.minutes(), source="Z358.1: fifteen minutes"),
    Check("HOT-2", "minutes by the other tank model", "minutes", ("HOT-2",), WARNED,
          "If the tank of {what} mixes, hot water lasts {value} of {limit}", "Keep the draw data with the schedule", when=(NORMAL,)),
    Check("HOT-3", "margin of the minutes of hot water", "fraction", ("HOT-3", "HOT-1"), WARNED,
          "Hot water of {what} has a margin of {value}, {limit} asked", "A little more storage, or accept and record",
          cases=lambda m: m.minutes_margin(), percent=True, shows_value_as_margin=True),
    Check("HOT-5", "recovery of the worst set", "hours", (), WARNED,
          "{what} is ready again after {value}, asked within {limit}", "More input power", toward=MOST, when=(NORMAL,)),
    Check("HOT-6", "storage set temperature", "temperature", ("HOT-6",), WARNED,
          "{what} is set to {value}, least {limit}", "Raise it to {limit}, and follow the water management plan"),
    Check("TMP-1", "least delivered temperature", "temperature", TEPID, FAILED,
          "{what} gets {value}, least {limit}", "Mix it: feed the station through a mixing valve, and raise its set temperature",
          cases=lambda m: m.temperature_least()),
    Check("TMP-2", "greatest delivered temperature", "temperature", TEPID, FAILED,
          "{what} gets {value}, greatest {limit}", "Cool or bury the cold water supply, or lower the set temperature",
          cases=lambda m: m.temperature_greatest(), toward=MOST),
    Check("DLG-1", "temperature of the first water", "temperature", ("DLG-1 warning", "DLG-1 failure", *TEPID), FAILED,
          "The first water of {what} stood at {value}, limit {limit}",
          "Run it inside or buried, shade it, or hold it at temperature; insulation only delays",
          cases=lambda m: m.hot_first_water(), toward=MOST),
    Check("DLG-5", "time outside the temperature limits from opening, failure", "seconds", ("DLG-5", *TEPID), FAILED,
          "Not tepid for {value} after opening, limit {limit}", "Shorter or smaller tempered runs, or hold them at temperature",
          cases=lambda m: m.untepid_seconds("DLG-5"), toward=MOST),
    Check("DLG-2", "time outside the temperature limits from opening", "seconds", ("DLG-2", *TEPID), WARNED,
          "Not tepid for {value} after opening, limit {limit}", "Shorter or smaller tempered runs, or hold them at temperature",
          cases=lambda m: m.untepid_seconds("DLG-2"), toward=MOST),
    Check("DLG-3", "purge against the flushing time, first water tepid", "seconds", ("HOT-1", *TEPID), NOTED,
          "The purge takes {value} and outlasts the flush of {limit}; the water that stood is tepid",
          "Shorter or smaller tempered runs", cases=lambda m: m.purge_outlasts(), toward=MOST),
    Check("DLG-4", "cooled hot run", "seconds", ("DLG-4",), NOTED,
          "Water that stood in the hot run of valve {what} takes {value} to pass, limit {limit}: meanwhile the valve runs full "
          "hot, then it overshoots", "Circulate or shorten the hot run", cases=lambda m: m.cooled_hot_run(), toward=MOST),
    Check("FRZ-1", "idle temperature in frost", "temperature", ("FRZ-1",), FAILED,
          "{what} stands at {value} in the cold season, least {limit}",
          "Trace, circulate, bury or drain it; insulation only delays", station=idle_in_frost, when=("cold season, no flow",)),
    Check("FRZ-2", "time to freezing without heat", "hours", ("FRZ-2",), WARNED,
          "{what} freezes {value} after its heating or circulation stops, least {limit}",
          "Power that does not fail with the site's, or drain it when its heating is lost", station=heated_in_frost, when=("cold season, no flow, heating lost",)),
    Check("LOP-1", "temperatures of the circulated loop", "temperature", ("LOP-1 least", "LOP-1 greatest"), FAILED,
          "{what} is {value}, limit {limit}", "More loop flow, or thicker insulation", station=loop_range, when=("both seasons, nothing drawn",), toward=EITHER),
    Check("LOP-2", "circulation off", "", (), WARNED, "{what}",
          "An alarm when the pump stops, a standby pump, or valves at the stations", when=("circulation off",)),
    Check("EVT-1", "event reason", "", (), FAILED, "Event {what} has no written reason", "Write why it is credible"),
    Check("EVT-2", "other demand stated", "", (), NOT_KNOWN,
          "{what}", "Type it; 0 must be typed", station=other_demand),
    Check("DRN-1", "drain capacity", "flow", (), WARNED,
          "{what} gives up to {value}; its drain takes {limit}", "A drain for {value}, or flow-regulated outlets",
          cases=lambda m: m.drained_flow(), toward=MOST),
    Check("STR-1", "strainer fouled: flow of each outlet", "flow", ("STR-1 factor", *REQUIRED), WARNED,
          "With strainers fouled {what} gets {value} of {limit}", "Larger strainers, cleaned on a schedule, or larger pipe",
          cases=lambda m: m.fouled_flow(), when=(STRAINER_FOULED,)),
    Check("PWR-1", "power lost: what still works", "", (), WARNED,
          "{what}", "Feed it from emergency power, and state in the emergency plan what stations do without it", when=(POWER_LOST,)),
    Check("OUT-1", "stations left when some are out of service", "number", (), WARNED,
          "{what}", "A second station for that hazard, behind another valve"),
    Check("LOC-1", "travel, level and heights", "", ("LOC-1 travel", "LOC-1 shower least", "LOC-1 shower greatest",
          "LOC-1 eyewash least", "LOC-1 eyewash greatest"), WARNED,
          "{what} is {value}, limit {limit}", "Move or remount the station", station=place, toward=EITHER,
          source="Z358.1, by the sources in Limits"),
    Check("LIM-1", "limits changed from those published", "", (), WARNED, "{what}",
          "Type the reason in Limits, and confirm it in the edition you own"),
    Check("DAT-1", "inputs that are blank or cannot be used", "", (), NOT_KNOWN,
          "{what}", "Fill the cell", station=inputs),
    Check("DAT-2", "SAMPLE or undated data", "", (), WARNED, "{what}", "Replace it with the maker's dated data before signing"),
    Check("DAT-3", "residual of the solver", "", ("DAT-3 pressure", "DAT-3 flow"), NOT_KNOWN,
          "The solver did not close on {what}", "Report it with the file; no number is shown",
          cases=lambda m: m.residual(), when=(NORMAL, HOT_LOST, SOURCE_COLD, OTHER_DEMAND, POWER_LOST, STRAINER_FOULED)),
    Check("DAT-4", "age of the flow test, gauge elevation", "", ("DAT-4",), WARNED, "{what}", "Test again, and type date and elevation"),
    Check("SIZ-1", "run larger than the run that feeds it", "", (), WARNED, "{what}",
          "Compare both sizes with the drawing; fill sizes down by copying, not by dragging", source="common practice"),
    Check("DAT-5", "stale result", "", (), FAILED, "{what}", "Recalculate the file"),
    Check("DAT-6", "number where a formula belongs", "", (), FAILED, "{what}",
          "Undo it, or draw the sheets anew: drenchbook convert OLD.xlsx NEW.xlsx"),
)  # fmt: skip

CHECK_BY_ID = {check.id: check for check in CHECKS}
