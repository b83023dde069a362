"""Laws that the courses of every site must keep."""

import pytest

from drenchbook.checks import judge
from drenchbook.courses import Courses
from tests.checks.sites import added, edited, laboratory


@pytest.mark.parametrize("run", ["TR-C", "TR-L4", "HW-1"])
def test_a_reducing_valve_that_never_closes_changes_no_course(run):
    """What stands, cools and is flushed above it counts as well: a device within a run ends no path."""
    site = edited(laboratory(), "pipe_runs", "*", exposure="inside", sun=False, insulation=0.0)
    site = edited(site, "project", "", outside_air_cold=10.0, outside_air_warm=105.0)
    site = edited(site, "pipe_runs", "TR-A", exposure="outside")
    site = added(edited(site, "pipe_runs", "HW-1", fed_from="HW-0"), "pipe_runs", tag="HW-0", fed_from="WH-1",
                 material="copper L", size="1", developed_length=30.0, fittings="none", far_end_elevation=0.0,
                 exposure="outside", sun=False, insulation=0.0)  # fmt: skip
    above = added(site, "line_devices", tag="PRV", kind="pressure-reducing valve", loss_per_flow_squared=0.0,
                  setting=300.0)  # fmt: skip  # [psi] more than anywhere
    devices = next(row.devices for row in site.pipe_runs if row.tag == run) or ()
    before, after = (Courses(judge(one).context).summary()
                     for one in (site, edited(above, "pipe_runs", run, devices=(*devices, "PRV"))))  # fmt: skip
    for name, value in vars(before).items():
        assert getattr(after, name) == pytest.approx(value, rel=1e-9, abs=1e-6, nan_ok=True), name
