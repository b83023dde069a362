"""What people and spreadsheets make of a pipe size or a list of fittings, and what we answer."""

import contextlib
import datetime
import math
from itertools import pairwise

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.published.fittings_table import FITTINGS, counted, fittings_resistance, turbulent_factor
from drenchbook.published.pipes import MATERIALS, canonical_size, material_name, pipe, sizes
from drenchbook.published.size_text import inches

READ_AS = {
    "3/4": ["3/4", "¾", " 3/4 ", "\u00a03/4\u00a0", '3/4"', "3/4”", "¾″", "3/4''", "3/4 in", "3/4 in.", "0.75", "0,75",
            "3⁄4", "3 / 4", "NPS 3/4", "DN20", "dn 20", 0.75, numpy.float64(0.75)],
    "1-1/4": ["1-1/4", "1 1/4", "1¼", "1 ¼", "1-¼", "1 ¼ ”", "1‑1/4", "1–1/4", "1 - 1/4", "1\u00a01/4", "DN32", "dn32",
              "Dn 32", "1.25", 1.25],
    "1": ["1", '1"', "1 inch", "DN25", 1, 1.0, numpy.int64(1)],
    "2-1/2": ["2½", "2 1/2", 2.5, "DN65"],
    "5/8": ["⅝", 0.625],
    "3/8": ["⅜", "DN10"],
    "28x1.2": ["28x1.2", "28 x 1.2", "28×1.2", "28X1.2", "28 x 1,2", "28x1.20", "28 × 1.2 mm", "28.0x1.2"],
    "15x1": ["15x1", "15 x 1.0", "15x1,0"],
    "66.7x1.2": ["66,7 x 1,2"],
}  # fmt: skip
DATES = [datetime.date(2026, 3, 4), datetime.datetime(2026, 3, 4, 0, 0), datetime.time(3, 4), 45750, 46085.0, "46085",
         "2026-03-04", "2026-03-04 00:00:00", "2026-03-04T00:00:00", "03/04/2026", "3.4.2026", "4-Mar", "Mar 4",
         "3. Apr", "04-Mar-26"]  # fmt: skip


@pytest.mark.parametrize(
    ("typed", "size"), [(typed, size) for size, ways in READ_AS.items() for typed in ways], ids=repr
)
def test_ways_to_write_a_size(typed, size):
    assert canonical_size(typed) == size


@pytest.mark.parametrize("typed", DATES, ids=repr)
def test_a_date_is_refused_with_its_reason(typed):
    with pytest.raises(
        InputError, match=r"size = .*: is a date: a spreadsheet turned 3/4 into one\. Format the cell as text"
    ):
        canonical_size(typed)


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("3/5", r'size = "3/5": is not in the tables \(filling down turns 3/4 into 3/5\); the nearest are 1/2 and 5/8'),
        ("5/4", r'size = "5/4": is not in the tables; the nearest are 1 and 1-1/4'),
        ("11/4", r'size = "11/4": is not in the tables; the nearest are 2-1/2 and 3'),
        ("DN33", r'size = "DN33": is not in the tables, which have DN10, DN15, .* DN100'),
        ("28x1.3", r'size = "28x1.3": is not in the tables; for 28 mm they have 28x0.9, 28x1, 28x1.2, 28x1.5'),
        ("29x1", r'size = "29x1": is not in the tables; they have 12x0.6 to 108x2.5'),
        (28, r"size = 28: lacks the wall; the tables have 28x0.9, 28x1, 28x1.2, 28x1.5"),
        (32, r'size = 32: is no inch size in the tables; type "DN32" if that is meant'),
        (7, r"size = 7: is not in the tables; the nearest are 3-1/2 and 4"),
        (0, r"size = 0: is not in the tables; the nearest are 3/8 and 1/2"),
        ("3/0", r'size = "3/0": is not a pipe size; write it as 3/4, 1-1/4, DN32 or 28x1.2'),
        ("large", r'size = "large": is not a pipe size; write it as 3/4, 1-1/4, DN32 or 28x1.2'),
        ("3 mm", r'size = "3 mm": is not a pipe size; write it as'),
        (None, r"size = blank: needs a pipe size as text"),
        ("", r"size = blank: needs a pipe size as text"),
        (" \u00a0", r"size = .*: needs a pipe size as text"),
        (True, r"size = TRUE: must be a pipe size as text"),
        (math.nan, r"size = nan: must be a pipe size as text"),
        (math.inf, r"size = inf: must be a pipe size as text"),
    ],
    ids=repr,
)  # fmt: skip
def test_sizes_that_cannot_be_used(typed, sentence):
    with pytest.raises(InputError, match=sentence):
        canonical_size(typed)


@given(st.one_of(st.text(max_size=12), st.integers(), st.floats(), st.none(), st.dates(), st.booleans()))
def test_any_cell_gives_a_listed_size_or_a_sentence(cell):
    """Never another error, and never a size that no material has."""
    with contextlib.suppress(InputError):
        size = canonical_size(cell)
        assert any(size in sizes(material) for material in MATERIALS)


def test_a_canonical_size_stays_as_it_is():
    for material in MATERIALS:
        for size in sizes(material):
            assert canonical_size(size) == size


@pytest.mark.parametrize("material", MATERIALS)
def test_a_larger_size_has_a_larger_bore(material):
    """The order of a material's list is the order of its outside diameters; bores grow with inch sizes."""
    listed = [pipe(material, size) for size in sizes(material)]
    outside = [tube.outside_diameter for tube in listed]
    assert outside == sorted(outside)
    if "x" not in sizes(material)[0]:
        assert [inches(tube.size) for tube in listed] == [tube.nominal_inches for tube in listed]
        assert all(one.inside_diameter < two.inside_diameter for one, two in pairwise(listed))


@pytest.mark.parametrize("material", [name for name in MATERIALS if name not in ("CPVC", "PEX")])
def test_metal_bore_is_outside_diameter_less_two_walls(material):
    for size in sizes(material):
        tube = pipe(material, size)
        assert tube.inside_diameter == pytest.approx(tube.outside_diameter - 2 * tube.wall, rel=0, abs=1e-9)


@pytest.mark.parametrize("material", ["CPVC", "PEX"])
def test_plastic_bore_is_below_outside_diameter_less_two_least_walls(material):
    for size in sizes(material):
        tube = pipe(material, size)
        assert 0 < tube.outside_diameter - 2 * tube.wall - tube.inside_diameter < tube.wall


def test_copper_k_has_the_thickest_wall_and_m_the_thinnest():
    for size in sizes("copper M"):
        assert pipe("copper K", size).wall > pipe("copper L", size).wall > pipe("copper M", size).wall


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("copper L", "copper L"),
        ("  COPPER   l ", "copper L"),
        ("copper\u00a0L", "copper L"),
        ("Type L copper", "copper L"),
        ("steel schedule 40", "steel 40"),
        ("Stainless steel 10s", "stainless 10S"),
        ("cpvc", "CPVC"),
        ("PE-X", "PEX"),
        ("EN 1057", "copper EN 1057"),
    ],
)
def test_ways_to_write_a_material(typed, name):
    assert material_name(typed) == name


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("coper L", r'material = "coper L": is not in the tables, which have copper K, .*; did you mean copper L\?'),
        ("copper", r"did you mean copper K or copper L or copper M or copper EN 1057\?"),
        ("lead", r'material = "lead": is not in the tables, which have copper K'),
        (40, r"material = 40: is not in the tables"),
        (None, r"material = blank: needs one of copper K, copper L"),
        (" ", r"material = .*: needs one of copper K, copper L"),
    ],
)
def test_materials_that_cannot_be_used(typed, sentence):
    with pytest.raises(InputError, match=sentence):
        material_name(typed)


@pytest.mark.parametrize(
    ("material", "size", "sentence"),
    [
        ("copper M", "5/8", r'size = "5/8": copper M does not come in this size, only in 3/8, 1/2, 3/4'),
        ("CPVC", 3, r"size = 3: CPVC does not come in this size, only in 1/2, 3/4, 1, 1-1/4, 1-1/2, 2"),
        ("copper EN 1057", "DN25", r"is named by outside diameter and wall, such as 28x0.9, 28x1, 28x1.2, 28x1.5"),
        ("copper L", "28x1.2", r"copper L is named by inch or DN size; only copper EN 1057 is named by"),
    ],
)
def test_sizes_a_material_does_not_have(material, size, sentence):
    with pytest.raises(InputError, match=sentence):
        pipe(material, size)


@pytest.mark.parametrize(
    ("typed", "total"),
    [(0, 0.0), (2.5, 2.5), ("2.5", 2.5), (" 3 ", 3.0), ("none", 0.0), (" None ", 0.0), (numpy.float64(1.5), 1.5)],
)
def test_a_total_or_none(typed, total):
    assert fittings_resistance(typed, 1) == total


@pytest.mark.parametrize(
    ("typed", "counts"),
    [
        ("4 x 90 elbow; 1 x tee, branch; 1 x gate valve", [(4, "90 elbow"), (1, "tee, branch"), (1, "gate valve")]),
        ("4×90 Elbows ;2X tees, run;", [(4, "90 elbow"), (2, "tee, run")]),
        ("90° elbow; 45 deg elbow; street elbow", [(1, "90 elbow"), (1, "45 elbow"), (1, "90 elbow, street")]),
        ("3 * 90 ell; union", [(3, "90 elbow"), (1, "coupling")]),
        ("swing check; branch tee", [(1, "check valve, swing"), (1, "tee, branch")]),
    ],
)
def test_ways_to_write_a_list(typed, counts):
    assert [(count, fitting.word) for count, fitting in counted(typed)] == counts


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        (None, r'fittings = blank: needs a total K, "none", or a list such as "4 x 90 elbow; 1 x tee, branch"'),
        ("", r"fittings = blank: needs a total K"),
        (" ", r"fittings = .*: needs a total K"),
        (";", r"fittings = .*: has an item without a fitting"),
        ("4 x", r"has an item without a fitting"),
        ("4 x 90 elbow;; 1 x tee, run", r"has an item without a fitting"),
        ("4 x elbow", r'has "elbow", which is not in the list; nearest: "90 elbow", "45 elbow"'),
        ("2 x tee", r'has "tee", which is not in the list; nearest: "tee, run", "tee, branch"'),
        ("glob valve", r'has "glob valve", which is not in the list; nearest: "globe valve"'),
        ("4 gate valve", r'has "4 gate valve"; put an x between the count and the fitting'),
        ("4 x 90 elbow, 1 x gate valve", r"put semicolons between the items"),
        ("included", r'If the length includes the fittings, type "none"'),
        ("2,5", r"is read as text; type the total K with a point, 2\.5"),
        (-1, r"fittings = -1: must be a total K from 0"),
        ("-1", r'fittings = "-1": must be a total K from 0'),
        (math.nan, r"fittings = nan: must be a total K from 0"),
        (45750, r"fittings = 45750: must be a total K from 0 to 10000"),
        (datetime.date(2026, 3, 4), r"fittings = .*: is a date"),
        (True, r"fittings = TRUE: needs a total K"),
    ],
    ids=repr,
)
def test_fittings_that_cannot_be_used(typed, sentence):
    with pytest.raises(InputError, match=sentence):
        fittings_resistance(typed, 1)


@pytest.mark.parametrize("nominal", [0.25, 4.5, math.nan])
def test_nominal_sizes_without_a_factor(nominal):
    with pytest.raises(InputError, match=r"nominal_inches = .* in: must be 0.375 to 4"):
        turbulent_factor(nominal)


@given(st.lists(st.tuples(st.integers(0, 20), st.sampled_from(FITTINGS)), min_size=1, max_size=6),
       st.sampled_from([0.375, 0.5, 1, 2, 4]))  # fmt: skip
def test_a_list_is_the_sum_of_its_items(items, nominal):
    """More fittings, more loss; the order of the list does not matter."""
    together = fittings_resistance("; ".join(f"{count} x {word}" for count, word in items), nominal)
    one_by_one = sum(count * fittings_resistance(word, nominal) for count, word in items)
    assert together == pytest.approx(one_by_one, rel=1e-9)


@given(st.one_of(st.text(max_size=20), st.integers(), st.floats(), st.none(), st.dates(), st.booleans()))
def test_any_cell_gives_a_resistance_or_a_sentence(cell):
    """Never another error, and never a resistance below zero or without end."""
    with contextlib.suppress(InputError):
        assert 0 <= fittings_resistance(cell, 1.0) < math.inf
