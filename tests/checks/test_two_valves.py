"""Two valves in parallel are judged by both data sheets: sums of flows, the worse of limits, the small one's least."""

import pytest

from drenchbook.checks import judge
from drenchbook.site_model import Missing
from tests.checks.sites import BLANKED, edited, lab, laboratory, station
from tests.us_units import GPM

SMALL = "SAMPLE TMV 45"


def two(**cells):
    """The laboratory with a larger valve beside the one it has."""
    site = laboratory()
    first = next(row for row in site.valve_models if row.model == SMALL)
    large = first.model_copy(update={"model": "LARGE", "minimum_flow": 20.0, "seat_coefficient": 15.0, **cells})
    site = site.model_copy(update={"valve_models": (*site.valve_models, large)})
    return edited(site, "mixing_valves", "MV-1", second_model="LARGE", second_opens_at=1.0)


def model(site):
    """The data sheet that MV-1 is judged by."""
    judgement = judge(site)
    return judgement.context.model_of(judgement.site.mixing_valves[0])


def test_flows_add_and_limits_are_the_worse():
    own = model(laboratory())
    both = model(two(maximum_flow=80.0, tolerance=9.0, maximum_pressure=90.0, leakage=1.5, set_maximum=88.0))
    # Cv 11 reaches its 45 gpm at (45/11)² psi, where Cv 15 passes 15·45/11 of its 80.
    assert both.maximum_flow == pytest.approx(45.0 + 15 * 45 / 11)
    assert both.minimum_flow == own.minimum_flow
    assert (both.tolerance, both.maximum_pressure, both.set_maximum) == (9.0, 90.0, 88.0)
    assert both.leakage == pytest.approx(own.leakage + 1.5)
    assert both.model == f"{SMALL} with LARGE"


@pytest.mark.parametrize(("cells", "check"), [({"listing": None}, "VLV-7"), ({"lead_free": False}, "VLV-10")])
def test_what_the_second_lacks_fails(cells, check):
    def word(site):
        judgement = judge(site)
        return judgement.findings[check][station(judgement, "L5")].outcome

    assert word(two(**cells)) > word(two())


def test_a_number_that_the_second_lacks_is_lacking():
    assert isinstance(model(two(maximum_flow=BLANKED)).maximum_flow, Missing)


def test_the_small_one_keeps_its_least_flow_and_both_pass_more():
    """L2 alone, 3.5 gpm, stays under control; L4 gets more than through the small valve alone."""
    one, other = judge(lab("mixing_valves", "MV-1")), judge(two())
    for judgement in (one, other):
        valve, opening = judgement.results.normal.valve, judgement.cases.find(("L2",))
        assert valve.under_control[0, judgement.cases.valves.of(opening)].all()
    flows = [float(each.results.normal.valve.flow[0, each.cases.valves.of(each.cases.find(("L4",)))][0]) / GPM
             for each in (one, other)]  # fmt: skip
    assert flows[1] > flows[0]
