"""Copper M against two trade charts of ASTM B88.

One chart on the web prints every size but 3/8 and 3-1/2; another prints those too. Size, outside diameter, wall and
inside diameter [in].
"""

import pytest

from drenchbook.published.pipes import pipe, sizes
from tests.printed import printed

INCH = 0.0254
CHART = """
3/8 0.500 0.025 0.450
1/2 0.625 0.028 0.569
3/4 0.875 0.032 0.811
1 1.125 0.035 1.055
1-1/4 1.375 0.042 1.291
1-1/2 1.625 0.049 1.527
2 2.125 0.058 2.009
2-1/2 2.625 0.065 2.495
3 3.125 0.072 2.981
3-1/2 3.625 0.083 3.459
4 4.125 0.095 3.935
"""
LINES = [line.split() for line in CHART.strip().splitlines()]


@pytest.mark.parametrize("line", LINES, ids=lambda line: line[0])
def test_diameters_and_wall(line):
    """The three printed columns."""
    size, outside, wall, inside = line
    tube = pipe("copper M", size)
    assert tube.outside_diameter / INCH == printed(outside)
    assert tube.wall / INCH == printed(wall)
    assert tube.inside_diameter / INCH == printed(inside)


def test_every_size_is_in_the_charts():
    """No size without an outside number; 5/8 is made in K and L only."""
    assert list(sizes("copper M")) == [line[0] for line in LINES]
