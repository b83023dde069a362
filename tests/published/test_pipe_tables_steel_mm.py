"""Steel and stainless pipe against the millimetre lists of ASME B36.10M and B36.19M in the library fluids 1.3.

github.com/CalebBell/fluids, fluids/piping.py. One line a size: schedule, nominal size, outside diameter and wall [mm].
The metric lists are rounded on their own, the outside diameter to 0.1 mm and the wall to 0.01 mm.
"""

import pytest

from drenchbook.published.pipes import pipe

TABLE = """
40 3/8 17.1 2.31
40 1/2 21.3 2.77
40 3/4 26.7 2.87
40 1 33.4 3.38
40 1-1/4 42.2 3.56
40 1-1/2 48.3 3.68
40 2 60.3 3.91
40 2-1/2 73 5.16
40 3 88.9 5.49
40 3-1/2 101.6 5.74
40 4 114.3 6.02
80 3/8 17.1 3.2
80 1/2 21.3 3.73
80 3/4 26.7 3.91
80 1 33.4 4.55
80 1-1/4 42.2 4.85
80 1-1/2 48.3 5.08
80 2 60.3 5.54
80 2-1/2 73 7.01
80 3 88.9 7.62
80 3-1/2 101.6 8.08
80 4 114.3 8.56
10S 3/8 17.1 1.65
10S 1/2 21.3 2.11
10S 3/4 26.7 2.11
10S 1 33.4 2.77
10S 1-1/4 42.2 2.77
10S 1-1/2 48.3 2.77
10S 2 60.3 2.77
10S 2-1/2 73 3.05
10S 3 88.9 3.05
10S 3-1/2 101.6 3.05
10S 4 114.3 3.05
"""
LINES = [line.split() for line in TABLE.strip().splitlines()]


@pytest.mark.parametrize("line", LINES, ids=lambda line: " ".join(line[:2]))
def test_outside_diameter_and_wall(line):
    """Both columns to their last printed place, and the bore to the sum of both roundings."""
    schedule, size, outside, wall = line
    listed = pipe(f"{'stainless' if schedule == '10S' else 'steel'} {schedule}", size)
    assert listed.outside_diameter * 1000 == pytest.approx(float(outside), rel=0, abs=0.0501)
    assert listed.wall * 1000 == pytest.approx(float(wall), rel=0, abs=0.0101)
    assert listed.inside_diameter * 1000 == pytest.approx(float(outside) - 2 * float(wall), rel=0, abs=0.0701)
