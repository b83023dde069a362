"""SIZ-1: nominal sizes are compared from run to run, whatever the material; what cannot be compared says nothing."""

import pytest

from drenchbook.checks import judge
from drenchbook.run_sizes import run_size_lines
from tests.checks.sites import edited, laboratory


def said(site):
    return [line.message for line in run_size_lines(judge(site))]


@pytest.mark.parametrize(
    ("material", "size", "larger"),
    [
        ("PEX", "1-1/4", False),  # the same name and a smaller bore
        ("steel 40", "1-1/4", False),  # the same name and a larger bore
        ("copper EN 1057", "35x1.2", False),  # DN32 is 1-1/4
        ("copper EN 1057", "42x1.2", True),  # DN40 is 1-1/2
        ("copper L", "1-1/2", True),
        ("copper L", "1", False),
        ("copper L", "no such size", False),
        ("copper L", None, False),
    ],
)
def test_a_run_is_compared_by_name_with_the_run_that_feeds_it(material, size, larger):
    """TR-L3 hangs on TR-B of 1-1/4."""
    site = edited(laboratory(), "pipe_runs", "TR-L3", material=material, size=size)
    found = said(site)
    assert (len(found), "TR-L3" in "".join(found)) == ((1, True) if larger else (0, False))


def test_many_runs_are_one_line():
    """TR-A alone made small: CW-1 feeds no run of it; all below TR-A are larger than their feeder, or as large."""
    site = edited(laboratory(), "pipe_runs", "TR-B", size="1/2")
    (words,) = said(site)
    assert words == (
        "Runs are larger than the run that feeds them: TR-C (1-1/4) than TR-B (1/2), TR-L2 (3/4) than TR-B (1/2)."
    )
