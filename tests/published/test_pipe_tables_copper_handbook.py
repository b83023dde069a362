"""Copper K and L against the Copper Tube Handbook, Table 14.2f (Copper Development Association).

https://dev.copper.org/applications/plumbing/cth/technical-data/tables/cth_table2f.php
One line a size: nominal size, type, outside and inside diameter and wall [in], area of the bore [in²], weight of the
tube [lb/ft], volume [ft³/ft]. The table's internal surface is left out: several of its figures fit no diameter there.
"""

import math

import pytest

from drenchbook.published.pipes import pipe
from tests.printed import printed

INCH, FOOT, POUND = 0.0254, 0.3048, 0.45359237
TABLE = """
3/8 K .500 .402 .049 .127 .269 .00088
3/8 L .500 .430 .035 .145 .198 .00101
1/2 K .625 .527 .049 .218 .344 .00151
1/2 L .625 .545 .040 .233 .285 .00162
5/8 K .750 .652 .049 .334 .418 .00232
5/8 L .750 .666 .042 .348 .362 .00242
3/4 K .875 .745 .065 .436 .641 .00303
3/4 L .875 .785 .045 .484 .455 .00336
1 K 1.125 .995 .065 .778 .839 .00540
1 L 1.125 1.025 .050 .825 .655 .00573
1-1/4 K 1.375 1.245 .065 1.222 1.04 .00845
1-1/4 L 1.375 1.265 .055 1.26 .884 .00873
1-1/2 K 1.625 1.481 .072 1.72 1.36 .0120
1-1/2 L 1.625 1.505 .060 1.78 1.14 .0124
2 K 2.125 1.959 .083 3.01 2.06 .0209
2 L 2.125 1.985 .070 3.09 1.75 .0215
2-1/2 K 2.625 2.435 .095 4.66 2.93 .0323
2-1/2 L 2.625 2.465 .080 4.77 2.48 .0331
3 K 3.125 2.907 .109 6.64 4.00 .0461
3 L 3.125 2.945 .090 6.81 3.33 .0473
3-1/2 K 3.625 3.385 .120 9.00 5.12 .0625
3-1/2 L 3.625 3.425 .100 9.21 4.29 .0640
4 K 4.125 3.857 .134 11.7 6.51 .0811
4 L 4.125 3.905 .110 12.0 5.38 .0832
"""
LINES = [line.split() for line in TABLE.strip().splitlines()]
MISPRINTED_AREA = {
    ("1-1/4", "K")
}  # 1.222 in² is printed; 1.245 in gives 1.217, and the printed volume agrees with that


@pytest.fixture(params=LINES, ids=lambda line: f"{line[1]} {line[0]}")
def line(request):
    return request.param


def tube(line):
    return pipe(f"copper {line[1]}", line[0])


def test_diameters_and_wall(line):
    """The printed columns themselves."""
    assert tube(line).outside_diameter / INCH == printed(line[2])
    assert tube(line).inside_diameter / INCH == printed(line[3])
    assert tube(line).wall / INCH == printed(line[4])


def test_area_and_volume_of_the_bore(line):
    """Printed area and volume follow from our bore."""
    area = math.pi / 4 * tube(line).inside_diameter ** 2
    if (line[0], line[1]) not in MISPRINTED_AREA:
        assert area / INCH**2 == printed(line[5])
    assert area / FOOT**2 == printed(line[7])


def test_weight_of_the_tube(line):
    """Printed weight follows from our wall and our density; 1 lb/ft is printed with three digits."""
    metal = math.pi / 4 * (tube(line).outside_diameter ** 2 - tube(line).inside_diameter ** 2)
    weight = metal * tube(line).wall_density / POUND * FOOT
    slack = 1.1 if line[:2] == ["1", "L"] else 1.0  # 0.6545 computed, 0.655 printed
    digits = len(line[6].partition(".")[2])
    assert weight == pytest.approx(float(line[6]), rel=0, abs=slack * 0.5 * 10.0**-digits)
