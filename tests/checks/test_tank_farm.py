"""The sample tank farm concludes what the page beside it works out by hand: every number of its tables, every verdict.

The page (`samples/tank_farm.md`) is the truth here, and its tables are read from it. Its tolerances: 1 % of each flow,
3 kPa of each pressure, 2 % of each time, volume and heat, 0.3 K of each temperature.
"""

import functools
import re
from pathlib import Path

import pytest

from drenchbook.check_samples import OUTCOME_WORDS, PASSED, WARNED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.checks import STATION_CHECKS, judge
from drenchbook.operating_cases import HOT_LOST, NORMAL, OTHER_DEMAND, SOURCE_COLD, STRAINER_FOULED
from drenchbook.report import Report
from drenchbook.site_file import read_site_file
from tests.checks.sites import COLD_HIGH, COLD_LOW, WARM_HIGH, edited, limited, lines, station

SAMPLES = Path(__file__).parents[2] / "samples"
PAGE = (SAMPLES / "tank_farm.md").read_text(encoding="utf-8")
FLOW, PRESSURE, TIME = {"rel": 0.01}, {"abs": 3.0}, {"rel": 0.02}
LITRE_PER_MINUTE, KPA = 1e-3 / 60, 1e3
RACK, PUMPS = ("T07", "T08"), ("P01", "P02")


@functools.cache
def site():
    return read_site_file(SAMPLES / "tank_farm.toml").site


@functools.cache
def report():
    return Report(judge(site()))


def verdict(check, tag):
    judgement = report().judgement
    return judgement.verdict(CHECK_BY_ID[check], station(judgement, tag))


def table(first_heading):
    """The rows of the page's table that begins with that heading, as lists of texts."""
    rows = PAGE.split(f"| {first_heading} |", 1)[1].split("\n\n", 1)[0].split("\n")[2:]
    return [[cell.strip(" *") for cell in row.strip("| ").split("|")] for row in rows]


def numbers(text):
    return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", text)]


def case(stations, state, fault=NORMAL, outlet=""):
    """Flows [L/min], pressures [kPa] and the stations of the outlets of one case."""
    judgement = report().judgement
    cases, results = judgement.cases, judgement.results.fault(fault)
    pairs = cases.outlets.of(cases.find(stations, outlet))
    owners = [cases.station_tags[cases.outlet_station[outlet]] for outlet in cases.outlets.member[pairs]]
    return (
        results.outlet_flow[state, pairs] / LITRE_PER_MINUTE,
        results.outlet_pressure[state, pairs] / KPA,
        owners,
    )


def at(stations, owner, state, fault=NORMAL):
    """The pressures at the outlets of one station of a set."""
    _, pressures, owners = case(stations, state, fault)
    return [pressure for pressure, tag in zip(pressures, owners, strict=True) if tag == owner]


SETS = {row[0]: row[1:] for row in table("set")}
COLUMNS = {
    "normal, low": (1, COLD_LOW, NORMAL),
    "other demand": (2, COLD_LOW, OTHER_DEMAND),
    "hot pressure lost": (3, COLD_LOW, HOT_LOST),
    "source cold": (4, COLD_LOW, SOURCE_COLD),
    "normal, high, warm": (5, WARM_HIGH, NORMAL),
}


@pytest.mark.parametrize("column", COLUMNS)
@pytest.mark.parametrize("name", SETS)
def test_pressures_of_each_set(name, column):
    stations = tuple(re.findall(r"[TP]\d\d", name.split(",")[0]))
    place, state, fault = COLUMNS[column]
    wanted = numbers(SETS[name][place - 1])
    assert at(stations, stations[-1], state, fault) == pytest.approx(wanted, **PRESSURE)


def test_the_steps_of_the_rack_are_those_of_the_page():
    """pc 350.8, ph 339.1, pm 292.1 kPa and a stem at 0.45."""
    judgement = report().judgement
    valve, pairs = judgement.results.normal.valve, judgement.cases.valves
    (place,) = range(*pairs.of(judgement.cases.find(RACK)).indices(10**9))
    for name, wanted in (("cold_pressure", 350.8), ("hot_pressure", 339.1), ("outlet_pressure", 292.1)):
        assert f"{wanted}" in PAGE
        assert getattr(valve, name)[COLD_LOW, place] / KPA == pytest.approx(wanted, **PRESSURE)
    assert valve.stem[COLD_LOW, place] == pytest.approx(0.45, abs=0.01)


def test_the_orifice_of_p02_gives_what_its_pressure_allows():
    """66.86 L/min in the event, 85.05 by itself at the high state, 75.3 in the event there."""
    assert case(PUMPS, COLD_LOW)[0][2] == pytest.approx(66.86, **FLOW)
    assert case(PUMPS, WARM_HIGH)[0][2] == pytest.approx(75.3, **FLOW)
    assert case(("P02",), WARM_HIGH, outlet="shower")[0][0] == pytest.approx(85.05, **FLOW)
    for printed in ("66.86", "75.3", "85.05"):
        assert printed in PAGE


def test_strainer_fouled_with_other_demand():
    """153.9 kPa at the rack's shower, 62.5 L/min at that of P02."""
    assert at(RACK, "T08", COLD_LOW, STRAINER_FOULED)[0] == pytest.approx(153.9, **PRESSURE)
    assert case(PUMPS, COLD_LOW, STRAINER_FOULED)[0][2] == pytest.approx(62.5, **FLOW)


def test_flow_of_the_supply_with_other_demand():
    """153.1 + 120 = 273.1 of 300 L/min tested."""
    (line,) = lines(report(), "SUP-1", "SUP-1")
    assert (line.outcome, line.value / LITRE_PER_MINUTE) == (PASSED, pytest.approx(273.1, **FLOW))


def test_static_pressure_in_the_pit():
    pit = verdict("PRS-2", "T06")
    assert (pit.word, pit.value / KPA) == ("FAIL", pytest.approx(627.7, **PRESSURE))
    assert pit.limit / KPA == pytest.approx(551.6, abs=0.1)
    others = [row.tag for row in report().judgement.site.stations if row.tag != "T06"]
    assert {verdict("PRS-2", tag).word for tag in others} == {"OK"}


def test_pressure_without_friction_at_the_rack():
    """450 - 20.7 - 53 - 3.5 - 11 - 33 = 329 kPa with the other demand, 189 over what the shower needs."""
    assert verdict("PRS-3", "T08").value / KPA == pytest.approx(189, **PRESSURE)


def test_surge_of_regulated_outlets_that_close_slowly_and_of_one_that_does_not():
    """218 kPa on 498 at the rack or on 520 - 10 at its valve; 1,980 kPa on 510 at P02."""
    rack, pumps = verdict("PRS-4", "T08"), verdict("PRS-4", "P02")
    assert (rack.word, rack.value / KPA) == ("OK", pytest.approx(510 + 218, rel=0.02))
    assert (pumps.word, pumps.value / KPA) == ("WARN", pytest.approx(2490, rel=0.02))


def test_the_drain_of_t03_takes_too_little():
    drain = verdict("DRN-1", "T03")
    assert (drain.word, drain.value / LITRE_PER_MINUTE) == ("WARN", pytest.approx(73, **FLOW))


def test_hot_water_of_both_dosing_pumps_is_the_fastest():
    """73.0 L/min in 35x1.2 runs at 1.46 m/s, limit 1.52."""
    fastest = verdict("VEL-1", "P02")
    assert (fastest.word, fastest.value) == ("OK", pytest.approx(1.46, **FLOW))


def test_two_casualties_at_the_rack_outlast_the_mixed_tank():
    """8.0 min of the mixed tank that governs, 16.6 of the stratified one; 22.6 for one casualty."""
    judgement = report().judgement
    hot, pairs = judgement.measures.hot_water, judgement.cases.sources
    both, alone = (pairs.of(judgement.cases.find(stations)) for stations in (RACK, ("T07",)))
    assert hot.seconds[COLD_HIGH, both] / 60 == pytest.approx([8.0], **TIME)
    assert hot.seconds_other[COLD_HIGH, both] / 60 == pytest.approx([16.6], **TIME)
    assert hot.seconds[COLD_HIGH, alone] / 60 == pytest.approx([22.6], **TIME)
    (recovery,) = lines(report(), "HOT-5", "WH-1")
    assert recovery.value / 3600 == pytest.approx(0.67, **TIME)


DELIVERED = {row[0]: [float(cell) for cell in row[1:]] for row in table("an outlet of")}
TEMPERATURE = {"abs": 0.3}


@pytest.mark.parametrize("tag", DELIVERED)
def test_purge_of_the_smallest_outlet_of_each_station(tag):
    judgement = report().judgement
    outlet = "" if judgement.site.stations[station(judgement, tag)].outlet_2 is None else "eyewash"
    pairs = judgement.cases.stations.of(judgement.cases.find((tag,), outlet))
    (purge,) = judgement.results.normal.station.purge_seconds[COLD_LOW, pairs]
    assert purge / 60 == pytest.approx(DELIVERED[tag][3], **TIME)


@pytest.mark.parametrize("tag", PUMPS)
def test_the_steam_exchanger_falls_short_in_the_event(tag):
    """235.6 kW of 180: no minute counts, and the mix comes to 24.8 °C."""
    heating, coldest = verdict("HOT-4", tag), verdict("TMP-1", tag)
    assert heating.word == "FAIL"
    assert heating.value / heating.limit == pytest.approx(235.6 / 180, **TIME)
    assert (verdict("HOT-1", tag).word, verdict("HOT-1", tag).value) == ("FAIL", 0.0)
    assert (coldest.word, coldest.value) == ("OK", pytest.approx(24.8, **TEMPERATURE))


@pytest.mark.parametrize("tag", [tag for tag in DELIVERED if tag not in PUMPS])
def test_delivered_temperature_of_the_smallest_outlet_of_each_station(tag):
    coldest, warmest = verdict("TMP-1", tag), verdict("TMP-2", tag)
    assert (coldest.word, coldest.value) == ("OK", pytest.approx(DELIVERED[tag][0], **TEMPERATURE))
    assert (warmest.word, warmest.value) == ("OK", pytest.approx(DELIVERED[tag][1], **TEMPERATURE))


def test_first_water_of_the_bare_branches():
    """-12 °C by night in both, 69.2 °C in the sun and 42 °C in the shade."""
    first, dead_leg, shaded = (report().judgement.measures.first_water, *(
        station(report().judgement, tag) for tag in ("T04", "T05")))  # fmt: skip
    assert first[COLD_LOW, [dead_leg, shaded]] == pytest.approx([-12, -12])
    assert first[WARM_HIGH, dead_leg] == pytest.approx(69.2, **TEMPERATURE)
    assert first[WARM_HIGH, shaded] == pytest.approx(42, **TEMPERATURE)


@pytest.mark.parametrize(("tag", "word", "value"), [("T04", "FAIL", 69.2), ("T05", "WARN", 42)])
def test_first_water_of_the_bare_branches_is_too_hot(tag, word, value):
    hot = verdict("DLG-1", tag)
    assert (hot.word, hot.value) == (word, pytest.approx(value, **TEMPERATURE))


@pytest.mark.parametrize(("tag", "seconds"), [("T02", 48.5), ("P03", 32.4)])
def test_hot_runs_that_stood_are_noted(tag, seconds):
    stood = verdict("DLG-4", tag)
    assert (stood.word, stood.value) == ("NOTE", pytest.approx(seconds, **TIME))
    assert stood.state in (COLD_LOW, COLD_HIGH)


def test_a_hot_run_that_a_greater_flow_clears_in_time_is_not():
    stood = verdict("DLG-4", "T09")
    assert (stood.word, stood.value) == ("OK", pytest.approx(24.3, **TIME))


def test_the_loop_is_tepid_all_round():
    """28.2 °C come back in the cold season, 30.6 °C in the warm one; it loses 3.1 kW."""
    (loop,) = report().judgement.measures.loops.values()
    assert loop.temperatures.min() == pytest.approx(28.2, **TEMPERATURE)
    assert loop.temperatures.max() == pytest.approx(30.6, **TEMPERATURE)
    assert loop.loss[0] / 1e3 == pytest.approx(3.1, rel=0.02)
    assert {verdict("LOP-1", row[0]).word for row in table("an outlet of") if row[0].startswith("T")} == {"OK"}
    (line,) = lines(report(), "LOP-2", "MV-1")
    assert line.outcome == WARNED


@pytest.mark.parametrize(("tag", "word", "hours"), [("T01", "OK", 4.6), ("T03", "WARN", 3.1)])
def test_hours_to_freezing(tag, word, hours):
    """BR-3 after 3.1 h; of T01's runs the return of the loop, LR-1, is the first."""
    freezing = verdict("FRZ-2", tag)
    assert (freezing.word, freezing.value / 3600) == (word, pytest.approx(hours, rel=0.03))


@pytest.mark.parametrize("tag", ["T04", "T05"])
def test_bare_branches_freeze(tag):
    frost = verdict("FRZ-1", tag)
    assert (frost.word, frost.value) == ("FAIL", pytest.approx(-12))


CONCLUSIONS = {row[0].split()[0]: row[1:4] for row in table("station")}


def not_met(text):
    """'FAIL HOT-1; WARN HOT-3, FLW-2' as the verdict of each check."""
    found = {}
    for part in text.split("; "):
        word, checks = part.split(" ", 1)
        found |= dict.fromkeys(checks.split(", "), word)
    return found


@pytest.mark.parametrize("tag", CONCLUSIONS)
def test_exactly_these_checks_are_not_met(tag):
    judgement = report().judgement
    number = station(judgement, tag)
    found = {check.id: judgement.verdict(check, number).word for check in STATION_CHECKS}
    assert {check: word for check, word in found.items() if word not in ("OK", "–")} == not_met(CONCLUSIONS[tag][2])


@pytest.mark.parametrize("tag", CONCLUSIONS)
def test_each_station_has_its_verdict_and_governing_check(tag):
    judgement, (word, check, _) = report().judgement, CONCLUSIONS[tag]
    number = station(judgement, tag)
    assert OUTCOME_WORDS[int(judgement.station_outcomes[number])] == word
    if word != "OK":
        assert judgement.governing(number).check.id == check


REMEDIES = {
    "draw test": ("T07", "OK", lambda site: edited(site, "hot_water_sources", "WH-1", usable_fraction_source="a test")),
    "insulation and drain": ("T03", "OK", lambda site: edited(
        edited(site, "pipe_runs", "BR-3", insulation=15.5), "stations", "T03", drain=73.0)),
    "tracing of BR-4": ("T04", "OK", lambda site: edited(
        site, "pipe_runs", "BR-4", held_temperature=28.0, insulation=60.0)),
    "tracing of BR-5": ("T05", "OK", lambda site: edited(
        site, "pipe_runs", "BR-5", held_temperature=28.0, insulation=40.0)),
    "limit": ("T09", "OK", lambda site: limited(site, "FLW-1 eye/face wash", 12.0)),
    "more steam": ("P02", "WARN", lambda site: edited(site, "hot_water_sources", "ST-1", capacity=238.0)),
}  # fmt: skip


@pytest.mark.parametrize("name", REMEDIES)
def test_what_the_page_advises_puts_it_right(name):
    tag, word, change = REMEDIES[name]
    judgement = judge(change(site()))
    assert OUTCOME_WORDS[int(judgement.station_outcomes[station(judgement, tag)])] == word


@pytest.mark.parametrize(("litres", "word"), [(1863.0, "FAIL"), (1901.0, "OK")])
def test_how_much_storage_would_do_for_the_rack(litres, word):
    """1,882 L, within the 2 % of a volume."""
    judgement = judge(edited(site(), "hot_water_sources", "WH-1", volume=litres))
    assert judgement.verdict(CHECK_BY_ID["HOT-1"], station(judgement, "T07")).word == word
