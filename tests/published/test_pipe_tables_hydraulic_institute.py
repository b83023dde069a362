"""Steel, stainless and copper against the Engineering Data Library of the Hydraulic Institute, section IV.

github.com/hydraulic-institute/edb, files sp-stee_pipe…, ssp-stai_stee_pipe… and npat-copp_wate_tube…, in inches.
Its copper file prints an outside diameter of 6.625 for 3-1/2: those cells are left out here.
"""

import pytest

from drenchbook.published.pipes import canonical_size, pipe
from tests.printed import printed

INCH, FOOT = 0.0254, 0.3048
# size, DN, outside diameter, schedule, wall, inside diameter
STEEL = """
3/8 10 .675 40 0.091 0.493
3/8 10 .675 80 0.126 0.423
1/2 15 .840 40 0.109 0.622
1/2 15 .840 80 0.147 0.546
3/4 20 1.050 40 0.113 0.824
3/4 20 1.050 80 0.154 0.742
1 25 1.315 40 0.133 1.049
1 25 1.315 80 0.179 0.957
1-1/4 32 1.660 40 0.140 1.380
1-1/4 32 1.660 80 0.191 1.278
1-1/2 40 1.900 40 0.145 1.610
1-1/2 40 1.900 80 0.200 1.500
2 50 2.375 40 0.154 2.067
2 50 2.375 80 0.218 1.939
2-1/2 65 2.875 40 0.203 2.469
2-1/2 65 2.875 80 0.276 2.323
3 80 3.500 40 0.216 3.068
3 80 3.500 80 0.300 2.900
3-1/2 90 4.000 40 0.226 3.548
3-1/2 90 4.000 80 0.318 3.364
4 100 4.500 40 0.237 4.026
4 100 4.500 80 0.337 3.826
"""
# size, outside diameter, wall, inside diameter of schedule 10S
STAINLESS = """
3/8 0.675 0.065 0.545
1/2 0.840 0.083 0.674
3/4 1.050 0.083 0.884
1 1.315 0.109 1.097
1-1/4 1.660 0.109 1.442
1-1/2 1.900 0.109 1.682
2 2.375 0.109 2.157
2-1/2 2.875 0.120 2.635
3 3.500 0.120 3.260
3-1/2 4.000 0.120 3.760
4 4.500 0.120 4.260
"""
# size, outside diameter, then wall and inside diameter of M, L, K
COPPER = """
3/8 0.500 0.025 0.450 0.035 0.430 0.049 0.402
1/2 0.625 0.028 0.569 0.040 0.545 0.049 0.527
5/8 0.750 - - 0.042 0.666 0.049 0.652
3/4 0.875 0.032 0.811 0.045 0.785 0.065 0.745
1 1.125 0.035 1.055 0.050 1.025 0.065 0.995
1-1/4 1.375 0.042 1.291 0.055 1.265 0.065 1.245
1-1/2 1.625 0.049 1.527 0.060 1.505 0.072 1.481
2 2.125 0.058 2.009 0.070 1.985 0.083 1.959
2-1/2 2.625 0.065 2.495 0.080 2.465 0.095 2.435
3 3.125 0.072 2.981 0.090 2.945 0.109 2.907
3-1/2 - 0.083 - 0.100 - 0.120 -
4 4.125 0.095 3.935 0.110 3.905 0.134 3.857
"""


def lines(table):
    return [pytest.param(line.split(), id=" ".join(line.split()[:4])) for line in table.strip().splitlines()]


@pytest.mark.parametrize("line", lines(STEEL))
def test_wrought_steel_pipe(line):
    """Nominal size, DN, outside diameter, wall and inside diameter."""
    size, dn, outside, schedule, wall, inside = line
    listed = pipe(f"steel {schedule}", size)
    assert listed.outside_diameter / INCH == printed(outside)
    assert listed.wall / INCH == printed(wall)
    assert listed.inside_diameter / INCH == printed(inside)
    assert canonical_size(f"DN{dn}") == size


@pytest.mark.parametrize("line", lines(STAINLESS))
def test_stainless_pipe_10s(line):
    """Outside diameter, wall and inside diameter."""
    size, outside, wall, inside = line
    listed = pipe("stainless 10S", size)
    assert listed.outside_diameter / INCH == printed(outside)
    assert listed.wall / INCH == printed(wall)
    assert listed.inside_diameter / INCH == printed(inside)


@pytest.mark.parametrize("line", lines(COPPER))
def test_copper_water_tube(line):
    """Outside diameter, walls and inside diameters of types M, L and K; a dash is no cell, or one left out."""
    size, outside, *cells = line
    for kind, wall, inside in zip("MLK", cells[::2], cells[1::2], strict=True):
        if wall == "-":
            continue
        listed = pipe(f"copper {kind}", size)
        assert listed.wall / INCH == printed(wall)
        if inside != "-":
            assert listed.outside_diameter / INCH == printed(outside)
            assert listed.inside_diameter / INCH == printed(inside)


@pytest.mark.parametrize("material", ["copper K", "copper L", "copper M", "copper EN 1057"])
def test_roughness_of_copper(material):
    """Printed: absolute roughness 0.000005 ft."""
    assert pipe(material, "28x1.2" if "EN" in material else "1").roughness / FOOT == pytest.approx(0.000005, rel=1e-6)


@pytest.mark.parametrize("material", ["steel 40", "steel 80"])
def test_roughness_of_steel(material):
    """Printed: absolute roughness 0.000150 ft."""
    assert pipe(material, "1").roughness / FOOT == pytest.approx(0.000150, rel=1e-6)


def test_roughness_of_stainless_is_not_below_what_is_printed():
    """Printed: 0.00005 ft; we take that of commercial steel, the roughest published, because it costs pressure."""
    assert pipe("stainless 10S", "1").roughness / FOOT > 0.00005
