"""CPVC and PEX tubing against quotations of ASTM D2846 and ASTM F876.

CPVC: Table 1 of ASTM D2846 (CPVC 4120, SDR 11) as a tubing manual quotes it,
https://ar.scribd.com/document/323752187/Technical-Information: average outside diameter, the bore that leaves two
minimum walls, minimum wall and its tolerance, all to the plus side [in].
PEX: a tubing chart on the web, which says "as per ASTM requirements": outside diameter, minimum
wall, the bore that leaves two minimum walls [in], volume [US gal per 100 ft].
"""

import math

import pytest

from drenchbook.published.pipes import pipe, sizes
from tests.printed import printed

INCH, FOOT, GALLON = 0.0254, 0.3048, 231 * 0.0254**3
CPVC = """
1/2 0.625 0.489 0.068 0.020
3/4 0.875 0.715 0.080 0.020
1 1.125 0.921 0.102 0.020
1-1/4 1.375 1.125 0.125 0.020
1-1/2 1.625 1.329 0.148 0.020
2 2.125 1.739 0.193 0.023
"""
PEX = """
3/8 0.500 0.070 0.360 0.50
1/2 0.625 0.070 0.485 0.92
5/8 0.750 0.083 0.584 1.34
3/4 0.875 0.097 0.681 1.83
1 1.125 0.125 0.875 3.03
"""
# Average bores as one more chart prints them
PEX_AVERAGE_BORE = {"3/8": "0.350", "1/2": "0.475", "5/8": "0.574"}
SDR_9 = {"1-1/4": "1.375", "1-1/2": "1.625", "2": "2.125"}


def lines(table):
    return [pytest.param(line.split(), id=line.split()[0]) for line in table.strip().splitlines()]


@pytest.mark.parametrize("line", lines(CPVC))
def test_cpvc(line):
    """Outside diameter and minimum wall as printed; our bore has the mean wall, the middle of the printed band."""
    size, outside, widest, wall, tolerance = line
    tube = pipe("CPVC", size)
    assert tube.outside_diameter / INCH == printed(outside)
    assert tube.wall / INCH == printed(wall)
    mean_wall = float(wall) + float(tolerance) / 2
    assert tube.inside_diameter / INCH == pytest.approx(float(outside) - 2 * mean_wall, rel=0, abs=0.00051)
    assert tube.inside_diameter / INCH < float(widest)


@pytest.mark.parametrize("line", lines(PEX))
def test_pex_outside_diameter_and_minimum_wall(line):
    """Printed columns; the bore we use is below the printed one, which leaves no tolerance for the wall."""
    size, outside, wall, widest, _ = line
    tube = pipe("PEX", size)
    assert tube.outside_diameter / INCH == printed(outside)
    assert tube.wall / INCH == printed(wall)
    assert tube.inside_diameter / INCH < float(widest)


@pytest.mark.parametrize("line", lines(PEX))
def test_pex_volume(line):
    """The printed volumes are those of the average bore (that of 3/4 is cut, not rounded: 1.837)."""
    size, *_, volume = line
    content = math.pi / 4 * pipe("PEX", size).inside_diameter ** 2 * 100 * FOOT / GALLON
    assert content == pytest.approx(float(volume), rel=0, abs=0.008 if size == "3/4" else 0.005)


@pytest.mark.parametrize(("size", "bore"), PEX_AVERAGE_BORE.items())
def test_pex_average_bore(size, bore):
    """Printed "Avg. ID"."""
    assert pipe("PEX", size).inside_diameter / INCH == printed(bore)


@pytest.mark.parametrize(("size", "outside"), SDR_9.items())
def test_pex_standard_dimension_ratio(size, outside):
    """ASTM F876: outside diameter 1/8 in over nominal, minimum wall a ninth of it; the wall tolerance is about 10 %."""
    tube = pipe("PEX", size)
    assert tube.outside_diameter / INCH == printed(outside)
    assert tube.wall / INCH == pytest.approx(float(outside) / 9, rel=0, abs=0.00051)
    mean_wall = (tube.outside_diameter - tube.inside_diameter) / 2
    assert 1.04 * tube.wall < mean_wall < 1.06 * tube.wall


def test_pex_large_bores_from_the_wall_tolerance():
    """ASTM F876 (from memory): wall tolerance +0.015, +0.019 and +0.024 in for 1-1/4, 1-1/2 and 2."""
    for size, tolerance in {"1-1/4": 0.015, "1-1/2": 0.019, "2": 0.024}.items():
        tube = pipe("PEX", size)
        mean_wall = tube.wall / INCH + tolerance / 2
        assert tube.inside_diameter / INCH == pytest.approx(tube.outside_diameter / INCH - 2 * mean_wall, abs=0.00051)


def test_every_size_is_tested():
    """No size without an outside number."""
    assert list(sizes("CPVC")) == [line.split()[0] for line in CPVC.strip().splitlines()]
    assert list(sizes("PEX")) == [line.split()[0] for line in PEX.strip().splitlines()] + list(SDR_9)
