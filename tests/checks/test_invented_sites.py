"""Small invented sites whose numbers are worked out beside each test, from the equations and not by the program."""

import re

import pytest

from drenchbook.errors import SiteError
from tests.checks.invented_sites import (
    MODEL,
    OUTLETS,
    OWNERS_LIMITS,
    PROJECT,
    STORAGE,
    SUPPLY,
    VALVE,
    check,
    document,
    limit,
    reported,
    station,
)

DRAWN = 66.0 + 7.0  # L/min, both regulated outlets


def test_the_invented_site_is_in_order():
    """Its pressure is ample and 800 L of usable hot water last 43 minutes: no station check misses."""
    report = reported()
    assert check(report, "F1", "FLW-1")["severity"] == "OK"
    assert {row["severity"] for row in [check(report, "F1", name) for name in ("HOT-1", "TMP-1", "PRS-1")]} == {"OK"}


def test_other_demand_empties_a_supply_once():
    """1500 L at 73 L/min drawn and 50 to others: 1500/123 = 12.195 min in normal use and in both failures alike; 15
    minutes need 123·15 = 1845 L.
    """
    report = reported(supplies=[{**SUPPLY, "volume": 1500.0, "other_demand": 50.0}])
    told = check(report, "F1", "SUP-2")
    assert told["severity"] == "FAIL"
    assert told["value"]["value"] == pytest.approx(1500 / (DRAWN + 50), rel=1e-3)
    assert "1845 L" in told["remedy"] or "1846 L" in told["remedy"]


def test_a_plant_main_is_fed_from_nowhere():
    """A blank "fed from" is no missing input of a plant main."""
    main = {"tag": "WH", "kind": "plant main", "main_pressure": 450.0, "main_temperature": 60.0, "main_elevation": 0.0,
            "loss_per_flow_squared": 0.002, "needs_power": "N", "needs_steam": "N", "other_demand": 0.0}  # fmt: skip
    report = reported(hot_water_sources=[main])
    assert [line for line in report.lines if line.check.id == "DAT-1" and line.word != "OK"] == []
    assert check(report, "F1", "DAT-1")["severity"] == "OK"


# ---- remedies that name what holds pressure back; each is applied and solved again ----


def reducer(setting, tag="P1"):
    return {"tag": tag, "kind": "pressure-reducing valve", "setting": setting, "loss_per_flow_squared": 0.002}


def behind_reducer(setting):
    """F1 behind a reducing valve at the beginning of T1, 1 m above the datum."""
    runs = [row | ({"devices": "P1"} if row["tag"] == "T1" else {}) for row in document()["pipe_runs"]]
    return reported(line_devices=[reducer(setting)], pipe_runs=runs)


def number_before(text, unit, after):
    """The number that stands before a unit, after some words."""
    return float(re.search(rf"{after}.*?([\d.]+) {unit}", text)[1])


def test_too_low_a_setting_is_raised_and_no_booster_is_named():
    """120 kPa at 1 m leave 120 − 1.2·9.771 = 108.3 kPa at the shower without flow, 140 are needed: 31.7 short without
    any friction, whatever a booster adds upstream. At the 55.6 L/min that pass, (60/55.6)² times the pressure without
    flow at the eyewash, 120 kPa, would do: 19.6 more.
    """
    report = behind_reducer(120.0)
    head = check(report, "F1", "PRS-3")
    assert head["value"]["value"] == pytest.approx(120 - 1.2 * 9.771 - 140, abs=0.05)
    assert head["remedy"].startswith("Raise the setting of P1 by 31.8 kPa or more")
    flow = check(report, "F1", "FLW-1")
    passed = flow["value"]["value"]
    more = number_before(flow["remedy"], "kPa", "Raise the setting of P1 by")
    assert more == pytest.approx(120 * ((60 / passed) ** 2 - 1), abs=0.3)
    assert "booster" not in flow["remedy"]
    assert check(behind_reducer(120.0 + more), "F1", "FLW-1")["severity"] == "OK"
    pressure = number_before(check(report, "F1", "PRS-1")["remedy"], "kPa", "by")
    assert check(behind_reducer(120.0 + pressure), "F1", "PRS-1")["severity"] == "OK"
    assert check(behind_reducer(120.0 + 31.8), "F1", "PRS-3")["severity"] == "OK"


def test_a_reducing_valve_that_holds_nothing_back_is_no_remedy():
    """Set at 900 kPa it passes what comes; a supply of 120 kPa wants a booster."""
    runs = [row | ({"devices": "P1"} if row["tag"] == "T1" else {}) for row in document()["pipe_runs"]]
    supply = {**SUPPLY, "static_low": 120.0, "residual_low": 110.0}
    report = reported(line_devices=[reducer(900.0)], pipe_runs=runs, supplies=[supply])
    for name in ("FLW-1", "PRS-3"):
        assert "setting" not in check(report, "F1", name)["remedy"]
        assert "booster" in check(report, "F1", name)["remedy"].lower()


def boosted(needs_power="Y", more=0.0):
    """A main of 150 kPa with a booster of 250 kPa at no flow."""
    booster = {"tag": "BO", "kind": "booster", "curve": "0 250; 100 230; 200 180", "loss_per_flow_squared": 0.001,
               "needs_power": needs_power}  # fmt: skip
    low = {"static_low": 150.0 + more, "residual_low": 120.0 + more}
    runs = [row | ({"devices": "BO"} if row["tag"] == "CM" else {}) for row in document()["pipe_runs"]]
    return reported(supplies=[{**SUPPLY, **low, "static_high": 400.0, "residual_high": 380.0}], line_devices=[booster],
                    pipe_runs=runs)  # fmt: skip


def test_a_booster_without_power_wants_power_first():
    """Without power 150 − 9.8 kPa stand at the eyewash without flow, not 250 more: (60/53.5)² times that would do."""
    report = boosted()
    flow = check(report, "F1", "FLW-1")
    assert flow["case"].endswith("power lost")
    assert flow["remedy"].startswith("Feed BO from emergency power; ")
    more = number_before(flow["remedy"], "kPa", "takes .*? kPa; ")
    assert more == pytest.approx((150 - 9.78) * ((60 / flow["value"]["value"]) ** 2 - 1), rel=0.01)
    assert check(boosted(more=more), "F1", "FLW-1")["severity"] == "OK"
    assert check(boosted(needs_power="N"), "F1", "FLW-1")["severity"] == "OK"


def test_no_pressure_is_named_that_breaks_a_rating():
    """A shower 32 m up gets a tenth of its flow: by the square 150 kPa more would do, but its rating leaves 100."""
    supply = {**SUPPLY, "static_low": 314.5, "residual_low": 314.0}
    shower = {**OUTLETS[0], "maximum_pressure": 290.0}
    report = reported(supplies=[supply], stations=[station("F1", "T1", shower=32.0, eyewash=None)],
                      outlet_models=[shower, OUTLETS[1]])  # fmt: skip
    remedy = check(report, "F1", "FLW-1")["remedy"]
    assert "booster" in remedy
    assert "more pressure" not in remedy
    assert "larger pipe" not in remedy.lower()


# ---- remedies of heat ----


def test_a_heater_that_does_not_keep_up_is_no_small_storage():
    """30 kW at 90 % into 28.5 L/min from 8 °C do not hold 60 °C: HOT-1 wants another heater and not "more storage"."""
    heater = {**STORAGE, "kind": "instantaneous electric", "set_temperature": 60.0, "input_power": 30.0,
              "minimum_firing_flow": 0.5, "maximum_rise": 60.0, "minimum_power": 0.1}  # fmt: skip
    told = check(reported(hot_water_sources=[heater]), "F1", "HOT-1")
    assert told["severity"] == "FAIL"
    assert "keeps HOT-4" in told["remedy"]
    strong = {**heater, "input_power": 150.0}
    assert check(reported(hot_water_sources=[strong]), "F1", "HOT-1")["severity"] == "OK"


def test_cold_water_above_the_set_temperature_is_cooled():
    """39 °C of cold water is delivered as it is, at whatever set temperature; the stem stands at 0."""
    report = reported(project={**PROJECT, "cold_water_warm": 39.0})
    delivered = check(report, "F1", "TMP-2")
    assert delivered["value"]["value"] == pytest.approx(39.0, abs=0.1)
    assert delivered["remedy"].startswith("Cool or bury the cold water supply, to 37 °C")
    assert check(report, "F1", "VLV-6")["remedy"].startswith("A set temperature above the cold water")
    assert check(reported(project={**PROJECT, "cold_water_warm": 24.0}), "F1", "TMP-2")["severity"] == "OK"


def test_no_hot_water_colder_than_the_mix_is_named():
    """A plant main of 600 kPa against cold water of 440: no hot water makes up for it, nearer pressures do."""
    main = {"tag": "WH", "kind": "plant main", "main_pressure": 600.0, "main_temperature": 70.0, "main_elevation": 0.0,
            "loss_per_flow_squared": 0.002, "needs_power": "N", "needs_steam": "N", "other_demand": 0.0}  # fmt: skip
    stem = check(reported(hot_water_sources=[main]), "F1", "VLV-6")
    assert stem["severity"] == "WARN"
    assert "Hot water of at most" not in stem["remedy"]
    assert check(reported(), "F1", "VLV-6")["severity"] == "OK"


def from_two_mains(hot_main, start=60.0):
    """Hot water from a main of another pressure; an eyewash alone."""
    second = {**SUPPLY, "tag": "S2", "static_low": hot_main, "residual_low": hot_main - 1}
    heater = {**STORAGE, "fed_from": "S2", "start_temperature": start, "set_temperature": 80.0}
    return check(reported(supplies=[SUPPLY, second], hot_water_sources=[heater],
                          stations=[station("F1", "T1", shower=None)]), "F1", "VLV-6")  # fmt: skip


def test_the_hot_water_that_is_named_brings_the_stem_inside():
    """45 kPa less on the hot side: (1 − x)·0.42/8 = (1 − s)·√0.45 gives s = 0.952 at x = 0.385; 0.95 is met where
    0.95·√y + 0.05·√(0.45 + y) = 0.0525, y = 0.0004 bar, x = 0.36: hot water of 8 + 20/0.36 = 63 °C (Kv 8, 7 L/min).
    """
    stem = from_two_mains(405.0)
    assert stem["severity"] == "WARN"
    asked = number_before(stem["remedy"], "°C", "Hot water of at least")
    assert asked == pytest.approx(63.5, abs=1)
    assert from_two_mains(405.0, asked)["severity"] == "OK"
    assert from_two_mains(405.0, asked - 3)["severity"] == "WARN"


# ---- words that stopped the program ----


@pytest.mark.parametrize("fault", ["strainer", "other demand"])
def test_beyond_a_curve_that_only_a_fault_has(fault):
    """A fouled strainer and a supply with other demand have curves of their own; what leaves them is named."""
    if fault == "strainer":
        strainer = {"tag": "ST", "kind": "strainer", "curve": "0 0; 20 5"}
        runs = [row | ({"devices": "ST"} if row["tag"] == "CM" else {}) for row in document()["pipe_runs"]]
        told = check(reported(line_devices=[strainer], pipe_runs=runs), "F1", "STR-1")
        name = "ST, fouled"
    else:
        points = {"curve_low": "0 450; 100 440", "curve_high": "0 520; 100 510", "other_demand": 60.0}
        blank = {key: None for key in SUPPLY if key.startswith(("residual", "test_flow", "static"))}
        supply = {key: value for key, value in {**SUPPLY, **blank, **points}.items() if value is not None}
        told = check(reported(supplies=[supply]), "F1", "FLW-1")
        name = "S, low state"
    assert told["severity"] == "UNKNOWN"
    assert f"beyond the points of {name}" in told["message"]


@pytest.mark.parametrize("typed", [[], {"a": 1}, ["storage"]])
def test_a_kind_that_is_a_list_is_unknown(typed):
    report = reported(hot_water_sources=[{**STORAGE, "kind": typed}])
    assert check(report, "F1", "HOT-1")["severity"] == "UNKNOWN"


def test_others_that_draw_all_hot_water_leave_no_lower_set_temperature():
    """1,000 L/min to others empty 800 L in less than a minute: no set temperature mends it."""
    told = check(reported(hot_water_sources=[{**STORAGE, "other_demand": 1000.0}]), "F1", "HOT-1")
    assert told["severity"] == "FAIL"
    assert "set " not in told["remedy"]


# ---- what a site states ----


def lines_of(report, name):
    return [(line.subject, line.word, line.text) for line in report.lines if line.check.id == name]


TWO = [station("F1", "T1"), station("F2", "T1")]


def event(users, showers, stations="F1, F2"):
    return {"tag": "rack", "stations": stations, "users": users, "showers": showers, "reason": "two at one pump"}


def test_several_stations_without_an_event_are_told():
    """One station needs no event; two of which nobody says whether they are used at once do."""
    assert lines_of(reported(), "EVT-1") == []
    ((subject, word, text),) = lines_of(reported(stations=TWO), "EVT-1")
    assert (subject, word) == ("events", "WARN")
    assert "no two of them at once" in text
    alone = lines_of(reported(stations=TWO, events=[event(1, 1)]), "EVT-1")
    assert [word for _, word, _ in alone] == ["OK"]


@pytest.mark.parametrize(("users", "showers", "told"), [(2, 1, True), (2, 0, True), (2, 2, False), (1, 1, False)])
def test_users_for_whom_no_set_is_solved_are_told(users, showers, told):
    """Two users at two stations with showers, but one shower at once: the pair is in no set."""
    report = reported(stations=TWO, events=[event(users, showers)])
    words = [text for _, word, text in lines_of(report, "EVT-1") if word == "WARN"]
    assert bool(words) == told
    assert len(report.set_rows()) == (1 if users == showers == 2 else 0)
    if told:
        assert f"has {users} users and {showers} showers at once: no two of its stations were solved" in words[0]


def test_an_eyewash_station_needs_no_shower_at_once():
    stations = [station("F1", "T1"), station("F2", "T1", shower=None)]
    report = reported(stations=stations, events=[event(2, 1)])
    assert [word for _, word, _ in lines_of(report, "EVT-1")] == ["OK"]
    assert len(report.set_rows()) == 1


def test_a_station_that_an_event_names_twice_is_refused():
    with pytest.raises(SiteError, match=r"events\[1\].stations \(rack\): \"F1, f1\": names f1 twice"):
        reported(stations=TWO, events=[event(2, 2, "F1, f1")])


def test_a_limit_that_stands_twice_is_refused():
    """Fifteen minutes in one row and five in another: nobody knows which one holds."""
    with pytest.raises(SiteError, match=r"limits\[9\].id: \"hot-1\": this limit stands already in limits\[8\].id"):
        reported(limits=[*OWNERS_LIMITS, limit("HOT-1", 15.0, "min"), limit("hot-1", 5.0, "min")])


def test_a_limit_that_no_check_asks_for_is_told():
    """HOT1 with 20 minutes changes nothing: the 15 of HOT-1 hold."""
    report = reported(limits=[*OWNERS_LIMITS, limit("HOT1", 20.0, "min")])
    assert ("HOT1", "WARN", "No check asks for limit HOT1; did you mean HOT-1.") in [
        (subject, word, text.split(". ")[0] + ("" if text.split(". ")[0].endswith(".") else "."))
        for subject, word, text in lines_of(report, "LIM-1")
    ]


@pytest.mark.parametrize(("name", "unit"), [("HOT-1", "min"), ("FLW-1 shower", "L/min"), ("FLW-2", "%")])
def test_a_negative_limit_is_no_limit(name, unit):
    """Everything is more than −5 minutes: that is no pass."""
    told = check(reported(limits=[*OWNERS_LIMITS, limit(name, -5.0, unit)]), "F1", name.split()[0])
    assert told["severity"] == "UNKNOWN"
    assert f"limit {name} is -5 {unit}; 0 or more is wanted" in told["message"]


@pytest.mark.parametrize("nothing", ["none", "N/A", " - ", "tbd", "No", "?", "not known", "Y"])
def test_words_for_nothing_are_no_source_no_listing_and_no_reason(nothing):
    """800 L at 28.5 L/min less 10.1 last 43.5 min by draw data; a tank that mixes falls from 60 to 38 °C in 23.0."""
    heater = {**STORAGE, "usable_fraction_source": nothing}
    report = reported(hot_water_sources=[heater], valve_models=[{**MODEL, "listing": nothing}], stations=TWO,
                      events=[{**event(1, 1), "reason": nothing}])  # fmt: skip
    assert check(report, "F1", "HOT-1")["value"]["value"] == pytest.approx(23.0, abs=0.3)
    assert check(reported(), "F1", "HOT-1")["value"]["value"] == pytest.approx(43.5, abs=0.5)
    assert check(report, "F1", "VLV-7")["severity"] == "FAIL"
    assert [word for _, word, _ in lines_of(report, "EVT-1")] == ["FAIL"]


# ---- remedies of runs that are held, and of outlets that get nothing ----


def held(temperature):
    runs = [row | ({"held_temperature": temperature} if row["tag"] == "T1" else {}) for row in document()["pipe_runs"]]
    return reported(pipe_runs=runs)


def test_a_run_that_is_held_too_hot_or_too_cold_is_held_otherwise():
    """First water of 50 °C scalds and of −1 °C is ice: held at 37 °C, or at 2, it is neither."""
    hot = check(held(50.0), "F1", "DLG-1")
    assert (hot["severity"], hot["remedy"]) == ("FAIL", "Hold run T1 at 37 °C or less.")
    assert check(held(37.0), "F1", "DLG-1")["severity"] == "OK"
    cold = check(held(-1.0), "F1", "FRZ-1")
    assert (cold["severity"], cold["remedy"]) == ("FAIL", "Hold it at 2 °C or more, or drain it.")
    assert check(held(2.0), "F1", "FRZ-1")["severity"] == "OK"


def test_outlets_out_of_reach_want_a_booster():
    """60 m above the datum stand 450 kPa less 587: no pipe brings water there, 304 kPa more do (PRS-3)."""
    report = reported(stations=[station("F1", "T1", shower=60.0, eyewash=59.0)])
    head = number_before(check(report, "F1", "PRS-3")["remedy"], "kPa", "A booster of")
    flow = check(report, "F1", "FLW-1")
    assert "supply cannot reach" in flow["message"]
    assert flow["remedy"] == f"No pipe size alone helps: a booster of {head} kPa or more."


def test_a_valve_without_a_way_wants_a_bypass():
    """Nothing passes a valve without a bypass when hot pressure is lost: a little more pressure is no remedy."""
    report = reported(mixing_valves=[{**VALVE, "parallel_bypass": "N"}])
    assert check(report, "F1", "FLW-2")["remedy"].startswith("Bring water to the outlets first (BYP-1)")
    remedy = check(report, "F1", "BYP-1")["remedy"]
    coefficient = number_before(remedy, "Kv", "Fit a parallel bypass: a bypass of")
    fitted = {**MODEL, "bypass_coefficient": coefficient}
    assert check(reported(valve_models=[fitted]), "F1", "BYP-1")["severity"] == "OK"
