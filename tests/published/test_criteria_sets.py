"""Default limits of the criteria sets against what regulations, handbooks and pages print of them.

WAC: Washington Administrative Code 296-800-15030 and -15040, which quote Z358.1. Every figure is checked in the unit
of its source and, where the source gives one, in the other unit system.
"""

import pytest

from drenchbook.errors import InputError
from drenchbook.published.criteria import CRITERIA_SETS, default_limits, required_flow
from drenchbook.units import from_si, to_si
from tests.printed import printed

US, EN = CRITERIA_SETS
# set, limit, printed figure, its unit, printed in the other system, its unit, where
PRINTED = [
    (US, "FLW-1 shower", "20", "gpm", "75.7", "L/min", "WAC 296-800-15030"),
    (US, "FLW-1 eyewash", "0.4", "gpm", "1.5", "L/min", "WAC 296-800-15030"),
    (US, "FLW-1 eye/face wash", "3.0", "gpm", "11.4", "L/min", "secondary page; confirm in the standard"),
    (US, "FLW-1 drench hose", "3.0", "gpm", "11.4", "L/min", "WAC 296-800-15040"),
    (US, "PRS-1", "30", "psi", "207", "kPa", "Z358.1-2014, from memory and secondary pages"),
    (US, "PRS-2", "80", "psi", "552", "kPa", "IAPMO code spotlight, 2015 UPC 608.2"),
    (US, "VEL-1 cold", "8", "ft/s", "2.4", "m/s", "Engineering ToolBox d_930; Chicago Plumbing Code 18-29-604.10.1"),
    (US, "VEL-1 hot", "5", "ft/s", "1.5", "m/s", "Engineering ToolBox d_930"),
    (US, "HOT-1", "15", "min", "900", "s", "WAC 296-800-15030"),
    (US, "HOT-6", "140", "°F", "60", "°C", "OSHA Technical Manual, section III chapter 7"),
    (US, "TMP least", "60", "°F", "16", "°C", "text quoting Z358.1-2009"),
    (US, "TMP greatest", "100", "°F", "38", "°C", "text quoting Z358.1-2009"),
    (US, "LOC-1 travel", "10", "s", "10", "s", "WAC 296-800-15030"),
    (US, "LOC-1 shower least", "82", "in", "2083", "mm", "NOAA SEFSC citing Z358.1-1998"),
    (US, "LOC-1 shower greatest", "96", "in", "2438", "mm", "NOAA SEFSC citing Z358.1-1998"),
    (US, "LOC-1 eyewash least", "33", "in", "838", "mm", "secondary page; confirm in the standard"),
    (US, "LOC-1 eyewash greatest", "53", "in", "1346", "mm", "secondary page; confirm in the standard"),
    (EN, "FLW-1 shower", "60", "L/min", "60", "L/min", "sicheresarbeitenimlabor.de, EN 15154-1"),
    (EN, "FLW-1 eyewash", "6", "L/min", "6", "L/min", "University of Bayreuth, DGUV 213-850"),
    (EN, "HOT-1", "15", "min", "900", "s", "University of Bayreuth, DGUV 213-850"),
    (EN, "TMP least", "15", "°C", "15", "°C", "EN 15154-5, from memory"),
    (EN, "TMP greatest", "37", "°C", "37", "°C", "EN 15154-5, from memory"),
]


def limit(criteria, name):
    (found,) = [one for one in default_limits(criteria) if one.id == name]
    return found


@pytest.mark.parametrize("line", PRINTED, ids=lambda line: f"{line[0]} {line[1]}")
def test_limit_as_printed(line):
    """The figure in its own unit exactly, and its exact conversion to the printed digits of the other."""
    criteria, name, figure, unit, other, other_unit, _ = line
    assert limit(criteria, name).value == float(figure)
    assert limit(criteria, name).unit == unit
    in_other_unit = from_si(to_si(limit(criteria, name).value, limit(criteria, name).unit), other_unit)
    assert in_other_unit == printed(other)


@pytest.mark.parametrize(("kind", "flow"), [("shower", "75.7"), ("eyewash", "1.5"), ("Drench hose ", "11.4")])
def test_required_flow(kind, flow):
    """WAC 296-800-15030 and -15040: 75.7, 1.5 and 11.4 L/min."""
    assert from_si(required_flow(kind, "ansi/isea z358.1"), "L/min") == printed(flow)


@pytest.mark.parametrize("kind", ["eye/face wash", "drench hose"])
def test_a_kind_without_a_figure_is_not_known(kind):
    """EN 15154 has no figure that was read: not known, and never a pass."""
    with pytest.raises(InputError, match=rf'kind = "{kind}": has no figure in EN 15154 that we have read'):
        required_flow(kind, EN)


def test_a_kind_or_set_that_does_not_exist():
    with pytest.raises(InputError, match=r'kind = "bidet": must be one of "shower", "eyewash"'):
        required_flow("bidet", US)
    with pytest.raises(InputError, match=r'criteria = "ISO 1": must be one of "ANSI/ISEA Z358\.1", "EN 15154"'):
        required_flow("shower", "ISO 1")


def test_both_sets_have_the_same_limits():
    """A limit that one set leaves open stands there without a value, so that nothing is checked against nothing."""
    assert [one.id for one in default_limits(US)] == [one.id for one in default_limits(EN)]


@pytest.mark.parametrize("criteria", CRITERIA_SETS)
def test_what_was_recalled_or_is_the_owners_is_tagged(criteria):
    """A figure without a basis, or a missing figure that is not left to the owner, would hide that nobody read it."""
    bases = {"read in the source", "secondary source", "common practice", "from memory", "owner"}
    for one in default_limits(criteria):
        assert one.source
        assert one.basis in bases
        assert (one.value is None) == (one.basis == "owner")
