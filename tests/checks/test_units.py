"""The same site in the other unit system gives the same verdicts, the same governing cases and the same numbers."""

import functools
import math
import random
import re

import numpy as np
import pytest

from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import message
from drenchbook.checks import STATION_CHECKS, judge
from drenchbook.convert_command import in_units
from drenchbook.published.pipes import pipe
from drenchbook.quantity_text import rounded
from drenchbook.report import Report
from drenchbook.result_tables import SCHEDULE_COLUMNS
from drenchbook.site_sheets import default_limit_rows
from tests.checks.sites import edited, lab, laboratory, limited, lines
from tests.solver.random_sites import RandomSite

VARIANTS = {
    "laboratory": laboratory,
    "cold air": lambda: lab("project", "", room_cold=50.0),
    "small bypass": lambda: lab("valve_models", "SAMPLE TMV 45", bypass_coefficient=5.3),
    "weak supply": lambda: lab("supplies", "SUP-1", static_low=55.0, residual_low=47.0),
    "rough pipe": lambda: edited(
        lab("project", "", friction_method="Darcy-Weisbach"), "pipe_runs", "*", roughness=0.006
    ),
    "other limits": lambda: limited(
        limited(laboratory(), "FLW-1 shower", 60.0, unit="L/min"), "PRS-1", 2.0, unit="bar"
    ),
    "mixed tank": lambda: lab("hot_water_sources", "WH-1", usable_fraction_source=None),
}


def random_variants():
    """Some cells of the laboratory moved by a few per cent."""
    drawn = random.Random(7)
    for number in range(4):
        site = laboratory()
        for table, tag, column, value in (
            ("supplies", "SUP-1", "residual_low", 57.0), ("hot_water_sources", "WH-1", "volume", 200.0),
            ("pipe_runs", "TR-A", "developed_length", 80.0), ("mixing_valves", "MV-1", "set_temperature", 85.0),
            ("outlet_models", "SH-ORIFICE", "rated_flow", 20.0), ("valve_models", "SAMPLE TMV 45", "minimum_flow", 3.0),
        ):  # fmt: skip
            site = edited(site, table, tag, **{column: value * drawn.uniform(0.93, 1.07)})
        yield f"random {number}", site


SIZES_EN_1057 = {"1/2": "15x1", "3/4": "22x1", "1": "28x1.2", "1-1/4": "35x1.5", "1-1/2": "42x1.5", "2": "54x2"}
SIZES_DN = {"1/2": "DN15", "3/4": "DN20", "1": "DN25", "1-1/4": "DN32", "1-1/2": "DN40", "2": "DN50"}


def random_network(seed, criteria="ANSI/ISEA Z358.1", units="US"):
    """A random network with the limits of a criteria set, in copper of both continents and steel by DN."""
    site = RandomSite(seed, units=units).site()
    project = site.project.model_copy(update={"criteria_set": criteria, "stations_out_of_service": 1.0})
    kinds = (("copper L", None), ("copper EN 1057", SIZES_EN_1057), ("steel 40", SIZES_DN))
    runs = []
    for number, run in enumerate(site.pipe_runs):
        material, names = kinds[(seed + number) % len(kinds)]
        size = names[run.size] if names else run.size
        assert pipe(material, size).material == material
        runs.append(run.model_copy(update={"material": material, "size": size}))
    rows = {"project": project, "limits": default_limit_rows(criteria), "pipe_runs": tuple(runs)}
    return site.model_copy(update=rows)


VARIANTS.update({f"network {seed}": functools.partial(random_network, seed) for seed in (4, 5, 9)})
VARIANTS.update(
    {
        f"network {seed}, EN 15154": functools.partial(random_network, seed, "EN 15154", ("SI", "US")[seed % 2])
        for seed in (1, 2, 3, 6)
    }
)


@pytest.mark.parametrize("name", [*VARIANTS, *(name for name, _ in random_variants())])
def test_both_unit_systems_judge_alike(name):
    site = VARIANTS[name]() if name in VARIANTS else dict(random_variants())[name]
    one, other = (judge(in_units(site, units)) for units in ("US", "SI"))
    assert (one.station_outcomes == other.station_outcomes).all()
    assert (one.governing_checks == other.governing_checks).all()
    for check in STATION_CHECKS:
        for number in range(len(site.stations)):
            mine, theirs = one.verdict(check, number), other.verdict(check, number)
            assert (mine.outcome, mine.about) == (theirs.outcome, theirs.about), check.id
            assert mine.fault == theirs.fault or check.id == "DAT-3"  # residuals are the noise of the arithmetic
            for name_of in ("value", "limit"):
                values = getattr(mine, name_of), getattr(theirs, name_of)
                assert values[1] == pytest.approx(values[0], rel=1e-9, abs=1e-9, nan_ok=True), (check.id, number)
    for number in range(len(site.stations)):
        mine, theirs = one.governing(number), other.governing(number)
        assert (mine.opening, mine.state, mine.fault) == (theirs.opening, theirs.state, theirs.fault)
    told = [
        [(line.check.id, line.subject, line.outcome, line.case) for line in Report(each).lines] for each in (one, other)
    ]
    assert told[0] == told[1]


def test_limits_keep_the_unit_of_their_source():
    report = Report(judge(in_units(laboratory(), "SI")))
    assert report.judgement.context.limit("FLW-1 shower").unit == "gpm"
    assert lines(report, "LIM-1") == []
    assert "of 75.8 L/min" in report.message_of(3)  # 20 gpm, 75.71 rounded up


# ---- EN 15154 ----


def european(units):
    site = in_units(laboratory(), units)
    rows = [*default_limit_rows("EN 15154")]
    owner = [row for row in site.limits if row.id.startswith("BYP-3")]
    kept = [row for row in rows if not row.id.startswith("BYP-3")]
    site = site.model_copy(update={"limits": (*kept, *owner)})
    return edited(site, "project", "", criteria_set="EN 15154")


@pytest.mark.parametrize("units", ["US", "SI"])
def test_en_15154_judges_by_its_own_limits(units):
    """60 L/min of a shower, 6 L/min of an eyewash, 15 to 37 °C; kinds and heights without a figure are UNKNOWN."""
    report = Report(judge(edited(european(units), "events", "*", users=1.0)))
    judgement = report.judgement
    assert judgement.verdict(CHECK_BY_ID["FLW-1"], 4).limit * 60000 == pytest.approx(60.0)
    eyewash = judgement.verdict(CHECK_BY_ID["FLW-1"], 2)
    assert (eyewash.limit * 60000, eyewash.word) == (pytest.approx(6.0), "FAIL")  # 0.5 gpm is 1.9 L/min
    for check, limit in (("TMP-1", 15.0), ("TMP-2", 37.0)):
        assert judgement.verdict(CHECK_BY_ID[check], 4).limit == pytest.approx(limit)
    for number in (0, 1, 3):  # with an eye/face wash
        assert judgement.verdict(CHECK_BY_ID["FLW-1"], number).word in ("UNKNOWN", "FAIL")
        assert judgement.verdict(CHECK_BY_ID["LOC-1"], number).word == "UNKNOWN"
    assert any("limit FLW-1 eye/face wash is blank" in sentence for sentence in _unknown(report, 1))
    assert lines(report, "LIM-1") == []


def _unknown(report, number):
    judgement = report.judgement
    return [
        message(judgement, judgement.verdict(check, number), number)
        for check in STATION_CHECKS
        if judgement.verdict(check, number).word == "UNKNOWN"
    ]


# ---- printed numbers ----


@pytest.mark.parametrize("units", ["US", "SI"])
def test_printed_numbers_never_look_better_than_they_are(units):
    """Schedule: least values are not above, most values not below the exact number, and less than a digit away."""
    report = Report(judge(in_units(laboratory(), units)))
    judgement, names = report.judgement, [column.name for column in SCHEDULE_COLUMNS]
    normal, cases = judgement.results.normal, judgement.cases
    factor = {"US": 231 * 0.0254**3 / 60, "SI": 1e-3 / 60}[units]
    for number, row in enumerate(report.schedule_rows()):
        for prefix, kinds in (("shower", ("shower",)), ("eye", ("eyewash", "eye/face wash"))):
            outlets = [n for n in judgement.context.outlets_of[number] if judgement.context.outlets[n].kind in kinds]
            if not outlets:
                continue
            flow = normal.outlet_flow[:, np.isin(cases.outlets.member, outlets)] / factor
            least, most = row[names.index(f"{prefix}_least")], row[names.index(f"{prefix}_most")]
            assert flow.min() - 0.1 < least <= flow.min() * (1 + 1e-9)
            assert flow.max() * (1 - 1e-9) <= most < flow.max() + 0.1
    for check in ("HOT-1", "FLW-1", "PRS-1"):
        found = judgement.verdict(CHECK_BY_ID[check], 3)
        assert not math.isnan(found.value)


def test_a_number_short_of_its_limit_is_never_printed_as_equal_to_it():
    """19.99 gpm of 20.0, and 20.01 at most 20.0."""
    assert rounded(19.99, 1, "least") == 19.9
    assert rounded(20.01, 1, "most") == 20.1
    site = edited(lab("outlet_models", "SH-REG22", rated_flow=19.9999), "events", "*", users=1.0)
    words = Report(judge(site)).message_of(4)
    assert re.match(r"Shower of L5 gets 19\.9 gpm of 20\.0 gpm", words)
