"""The columns of the Field test: the cells of a line, their headings for outlets and for valves, and their pages."""

from __future__ import annotations

from drenchbook.result_tables import FIELD_LINE, FIELD_SECONDS, FIELD_TIMES

# What is measured on the day, one a row: words and quantity. The first six go to the functions.
DAY = (("Static pressure, first supply, before", "pressure"),
       ("Static pressure after the tests", "pressure"), ("Cold water", "temperature"),
       ("Hot water at the first source", "temperature"), ("Pressure gauge may err ±", "pressure"),
       ("Thermometer may err ±", "temperature difference"), ("Bucket may err ±", "volume"),
       ("Stopwatch may err ±", "seconds"))  # fmt: skip
WHO = ("Date", "Tested by", "Witness", "Pressure gauge no.", "Thermometer no.", "Bucket and watch")
# What stands on a line after the cells that the functions read.
AFTER = ("group", "sheet", "row", "column", "now", "suggested", "unit_of_it", "first", "found", "line")
NAMES = (*FIELD_LINE, *AFTER)
PLACE = {name: number for number, name in enumerate(NAMES)}
EXPECTED = ("need", "flow_least", "flow_most", "pressure_least", "pressure_most", "static_least", "static_most",
            "tepid", "settled", "lasts", "temperature_least", "temperature_most", "limit_least",
            "limit_most")  # fmt: skip
TYPED = ("static", "flowing", "volume", "seconds", *FIELD_TIMES, "pattern", "loss_test")
PAGES = ("tepid", "static_verdict")  # a printed page begins here; station and outlet stand again on each
WIDTHS = {
    "tag": 9.0, "outlet": 13.0, **dict.fromkeys(FIELD_TIMES, 6.0),
    **dict.fromkeys(("tepid", "settled", "lasts", "temperature_least", "temperature_most", "limit_least", "limit_most"),
                    7.4),
    **dict.fromkeys(("static_verdict", "flow_verdict", "pressure_verdict", "temperature_verdict", "result", "group"),
                    9.8),
    "temperature_verdict": 10.6,
    "sheet": 9.5, "row": 9.5, "column": 10.0, "now": 8.0, "suggested": 9.0, "unit_of_it": 5.5, "first": 24.6,
}  # fmt: skip
WIDTH = 8.2  # together with these a page is full at the scale it is printed

Heading = tuple[str, str]  # words, and the quantity whose unit stands below, or the text that stands there
OUTLET_HEADINGS: dict[str, Heading] = {
    "tag": ("Station", ""), "outlet": ("Outlet", ""),
    "need": ("Needed", "flow"), "flow_least": ("Flow, least", "flow"), "flow_most": ("Flow, most", "flow"),
    "pressure_least": ("Flowing least", "pressure"), "pressure_most": ("Flowing most", "pressure"),
    "static_least": ("Static, least", "pressure"), "static_most": ("Static, most", "pressure"),
    "static": ("Static", "pressure"), "flowing": ("Flowing", "pressure"), "volume": ("Volume", "volume"),
    "seconds": ("In", "seconds"), "flow": ("Flow", "flow"), "flow_low": ("May be, least", "flow"),
    "flow_high": ("May be, most", "flow"), "pattern": ("Pattern right", "Y/N"), "loss_test": ("Loss test held", "Y/N"),
    "tepid": ("Tepid within", "seconds"), "settled": ("As set after", "seconds"), "lasts": ("Hot lasts", "minutes"),
    "temperature_least": ("As set, from", "temperature"), "temperature_most": ("As set, to", "temperature"),
    "limit_least": ("Tepid, from", "temperature"), "limit_most": ("Tepid, to", "temperature"),
    **{f"t{s}": (f"{s} s" if s <= 60 else f"{s // 60} min", "temperature") for s in FIELD_SECONDS},
    "static_verdict": ("Static pressure", ""), "flow_verdict": ("Flow", ""),
    "pressure_verdict": ("Flowing pressure", ""),
    "temperature_verdict": ("Temperature", ""), "result": ("Result", ""),
    "group": ("Valve", ""),
    "sheet": ("Sheet", ""), "row": ("Row", ""), "column": ("Column", ""), "now": ("Now", ""),
    "suggested": ("Suggested", ""), "unit_of_it": ("Unit", ""), "first": ("Why, and what to look at before", ""),
    "found": ("Row", ""), "line": ("Line", ""),
}  # fmt: skip
VALVE_HEADINGS: dict[str, Heading] = OUTLET_HEADINGS | {
    "tag": ("Valve", ""), "outlet": ("", ""),
    "flow_least": ("Hot shut, least", "flow"), "flow_most": ("Hot shut, most", "flow"),
    "pressure_least": ("Cold shut, most", "flow"), "pressure_most": ("Shuts within", "seconds"),
    "static_least": ("Open station", "all outlets"), "static_most": ("", ""),
    "static": ("Cold shut: volume", "volume"), "flowing": ("Cold shut: in", "seconds"),
    "volume": ("Hot shut: volume", "volume"), "seconds": ("Hot shut: in", "seconds"),
    "pattern": ("Cold shut: shut after", "seconds"), "loss_test": ("All valves restored", "Y/N"),
    "tepid": ("", ""), "settled": ("", ""), "lasts": ("", ""),
    **dict.fromkeys(FIELD_TIMES, ("", "")), FIELD_TIMES[0]: ("Steady", "temperature"),
    "static_verdict": ("Cold shut", ""), "flow_verdict": ("Hot shut", ""), "pressure_verdict": ("Shut in time", ""),
    "group": ("Stations behind it", ""),
}  # fmt: skip
# Where the windows and what they say stand in the results, for a valve's line.
VALVE_EXPECTED = {"need": "need", "flow_least": "flow_least", "flow_most": "flow_most", "pressure_least": "leak_most",
                  "pressure_most": "shut_most", "static_least": "open", "temperature_least": "temperature_least",
                  "temperature_most": "temperature_most", "limit_least": "limit_least",
                  "limit_most": "limit_most"}  # fmt: skip
VALVE_TYPED = ("static", "flowing", "volume", "seconds", "pattern", "loss_test", FIELD_TIMES[0])
OUTLET_GROUPS = (("tag", "Outlet"), ("need", "Expected today, all outlets of the station open"),
                 ("static", "Measured: write here"), ("flow", "Flow, by volume and time"), ("pattern", "Observed"),
                 ("tepid", "Expected today"), ("t0", "Temperature after opening, at: write here"),
                 ("static_verdict", "Verdicts"), ("group", ""), ("sheet", "Correct this one input first"),
                 ("first", ""))  # fmt: skip
VALVE_GROUPS = (("tag", "Valve group"), ("need", "Expected today, with one side shut"),
                ("static", "Measured: write here"), ("flow", "Flow, hot shut"), ("pattern", "Observed"),
                ("tepid", "Expected today, normal use"), ("t0", "Write here"), ("static_verdict", "Verdicts"),
                ("group", ""), ("sheet", "Correct this one input first"), ("first", ""))  # fmt: skip
