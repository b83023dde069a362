"""Length over diameter of the fittings against printed equivalent lengths and lists of L/D."""

import math

import pytest

from drenchbook.published.fittings_table import FITTINGS, counted

# Datasheet 2706, https://piping-designer.com/index.php/datasheets/piping-layout-information/2706-equivalent-feet-of-straight-pipe
# schedule 40: inside diameter [in], then equivalent feet of each column
PIPING_DESIGNER_COLUMNS = (
    "gate valve", "90 elbow", "45 elbow", "tee, run", "tee, branch", "return bend", "angle valve", "globe valve",
    "check valve, swing", "butterfly valve",
)  # fmt: skip
PIPING_DESIGNER = """
0.622 0.41 1.55 0.83 1.04 3.11 2.59 7.78 17.6 5.18 -
0.824 0.55 2.06 1.1 1.37 4.12 3.43 10.3 23.3 6.86 -
1.049 0.7 2.62 1.4 1.75 5.25 4.37 13.1 29.7 8.74 -
1.38 0.92 3.45 1.84 2.3 6.9 5.75 17.3 39.1 11.5 -
1.61 1.07 4.03 2.15 2.68 8.05 6.71 20.1 45.6 13.4 -
2.067 1.38 5.17 2.76 3.45 10.3 8.61 25.8 58.6 17.2 7.75
2.469 1.65 6.17 3.29 4.12 12.3 10.3 30.9 70 20.6 9.26
3.068 2.04 7.67 4.09 5.11 15.3 12.8 38.4 86.9 25.5 11.5
4.026 2.68 10.1 5.37 6.71 20.1 16.8 50.3 114 33.6 15.1
"""
# Manual of a fire suppression system, after Crane 1957 p. A-30: inside diameter [in], equivalent feet
FIRE_PROTECTION_COLUMNS = ("90 elbow", "tee, run", "tee, branch", "coupling")
FIRE_PROTECTION = """
0.622 1.6 1.0 3.1 0.3
0.824 2.1 1.4 4.1 0.3
1.049 2.6 1.7 5.2 0.4
1.38 3.5 2.3 6.9 0.6
1.61 4.0 2.7 8.1 0.7
2.067 5.2 3.4 10.3 0.9
2.469 6.2 4.1 12.3 1.0
3.068 7.7 5.1 15.3 1.3
4.026 10.1 6.7 20.1 1.7
5.047 12.6 8.4 25.2 2.1
6.065 15.2 10.1 30.3 2.5
7.981 20.0 13.3 39.9 3.3
"""
# Older prints of Crane TP-410 p. A-30, https://www.scribd.com/doc/24752539/Fitting-Equivalent-Length
CRANE_LIST = {
    "90 elbow": 30,
    "45 elbow": 16,
    "90 elbow, long radius": 20,
    "90 elbow, street": 50,
    "45 elbow, street": 26,
    "90 elbow, square corner": 57,
    "ball valve": 3,
    "globe valve": 340,
    "check valve, swing, clearway": 50,
    "plug valve": 18,
}
# Crane TP-410 as the library fluids and a scan of pp. have it: K = value · fT
CRANE_TP_410 = {
    "90 elbow": 30,
    "45 elbow": 16,
    "return bend": 50,
    "gate valve": 8,
    "globe valve": 340,
    "angle valve": 150,
    "check valve, swing": 100,
}


def l_over_d(word):
    ((count, fitting),) = counted(f"1 x {word}")
    assert count == 1
    return fitting.l_over_d


def cells(table, columns):
    found = []
    for line in table.strip().splitlines():
        bore, *lengths = line.split()
        printed_ones = [pair for pair in zip(columns, lengths, strict=True) if pair[1] != "-"]
        found += [pytest.param(word, bore, length, id=f"{word} {bore}") for word, length in printed_ones]
    return found


@pytest.mark.parametrize(("word", "bore", "length"), cells(PIPING_DESIGNER, PIPING_DESIGNER_COLUMNS))
def test_piping_designer_2706(word, bore, length):
    """Equivalent feet of schedule 40 pipe with three digits; some are cut, so one unit of the third, 0.01 at least."""
    unit = max(0.01, 10.0 ** (math.floor(math.log10(float(length))) - 2))
    assert l_over_d(word) * float(bore) / 12 == pytest.approx(float(length), rel=0, abs=unit)


@pytest.mark.parametrize(("word", "bore", "length"), cells(FIRE_PROTECTION, FIRE_PROTECTION_COLUMNS))
def test_fire_protection_list(word, bore, length):
    """Equivalent feet by inside diameter; 3.45 is printed 3.5, which takes a hair of slack."""
    assert l_over_d(word) * float(bore) / 12 == pytest.approx(float(length), rel=0, abs=0.05 + 1e-9)


@pytest.mark.parametrize(("word", "diameters"), CRANE_LIST.items())
def test_crane_list(word, diameters):
    """Whole numbers of diameters, taken as they stand."""
    assert l_over_d(word) == diameters


@pytest.mark.parametrize(("word", "factor"), CRANE_TP_410.items())
def test_crane_tp_410(word, factor):
    """Whole multiples of fT, taken as they stand."""
    assert l_over_d(word) == factor


def test_every_fitting_is_in_one_of_the_lists():
    """No fitting of ours without an outside witness."""
    witnessed = {*PIPING_DESIGNER_COLUMNS, *FIRE_PROTECTION_COLUMNS, *CRANE_LIST, *CRANE_TP_410}
    assert set(FITTINGS) == witnessed
