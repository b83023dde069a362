"""Friction factor in full turbulence and the resistance of lists of fittings, Crane TP-410."""

import math

import pytest

from drenchbook.published.fittings_table import fittings_resistance, turbulent_factor
from tests.printed import printed

# nominal size [in]: fT of clean commercial steel by ft_Crane of the library fluids, and as Crane TP-410 prints it
FACTORS = {
    0.5: ("0.0256", "0.026"),
    0.75: ("0.0237", "0.024"),
    1: ("0.0223", "0.022"),
    1.25: ("0.0208", "0.021"),
    1.5: ("0.0200", "0.020"),
    2: ("0.0189", "0.019"),
    2.5: ("0.0181", "0.018"),
    3: ("0.0172", "0.017"),
    4: ("0.0162", "0.016"),
}
SCHEDULE_40 = {0.375: 0.493, 0.5: 0.622, 0.75: 0.824, 1: 1.049, 1.25: 1.380, 1.5: 1.610, 2: 2.067, 2.5: 2.469,
               3: 3.068, 3.5: 3.548, 4: 4.026}  # fmt: skip
# EPANET 2.2 User Manual, Table 3.3: one K for every size
EPANET = {
    "90 elbow": 0.9,
    "90 elbow, long radius": 0.6,
    "45 elbow": 0.4,
    "return bend": 2.2,
    "tee, run": 0.6,
    "tee, branch": 1.8,
    "gate valve": 0.2,
    "globe valve": 10.0,
    "angle valve": 5.0,
    "check valve, swing": 2.5,
}
# HVAC Pump Handbook 2006, Tables 3.10 and 3.11, screwed: nominal size, K of tee (branch), globe and gate valve
PUMP_HANDBOOK = {
    0.5: (2.40, 14.0, 0.32),
    0.75: (2.10, 10.0, 0.28),
    1: (1.90, 8.7, 0.24),
    1.25: (1.70, 8.0, 0.22),
    1.5: (1.60, 7.5, 0.20),
    2: (1.40, 6.9, 0.17),
    2.5: (1.30, 6.5, 0.15),
    3: (1.20, 6.0, 0.14),
    4: (1.10, 5.8, 0.12),
}


@pytest.mark.parametrize("size", FACTORS)
def test_turbulent_factor(size):
    """Four digits of the library, three of the book."""
    tabulated, in_the_book = FACTORS[size]
    assert turbulent_factor(size) == printed(tabulated)
    assert turbulent_factor(size) == printed(in_the_book)


def fully_rough(size):
    """f = 0.25 / log10(ε / 3.7 D)² with the roughness of commercial steel, 0.0018 in, and the schedule 40 bore."""
    return 0.25 / math.log10(0.0018 / SCHEDULE_40[size] / 3.7) ** 2


@pytest.mark.parametrize("size", SCHEDULE_40)
def test_turbulent_factor_is_near_the_fully_rough_one(size):
    """The book's factors are up to 1.3 % below the formula; so is 3-1/2, which lies between listed sizes."""
    assert turbulent_factor(size) == pytest.approx(fully_rough(size), rel=0.013)


def test_turbulent_factor_of_three_eighths_is_the_formula():
    """Below the smallest size in the book."""
    assert round(fully_rough(0.375), 4) == turbulent_factor(0.375)


@pytest.mark.parametrize("size", [0.625, 0.875, 1.125, 2.25, 3.75])
def test_between_listed_sizes_the_factor_lies_between(size):
    """Straight lines: monotone, so never outside the neighbours."""
    below = max(listed for listed in SCHEDULE_40 if listed < size)
    above = min(listed for listed in SCHEDULE_40 if listed > size)
    assert turbulent_factor(above) < turbulent_factor(size) < turbulent_factor(below)


def test_elbow_of_two_inches():
    """30 · 0.019 = 0.57 with the book's rounded factor; 0.567 with four digits."""
    assert fittings_resistance("90 elbow", 2) == printed("0.57")


def test_a_counted_list_by_hand():
    """Four elbows, a tee and a gate valve: 4·30 + 60 + 8 = 188 diameters; at 1 in 188 · 0.0223 = 4.19."""
    assert fittings_resistance("4 x 90 elbow; 1 x tee, branch; 1 x gate valve", 1) == printed("4.19")


@pytest.mark.parametrize("word", EPANET)
def test_epanet_lies_within_the_spread_of_the_lists(word):
    """EPANET's single K against ours from 1/2 to 4 in: 0.35 to 1.05 of it. It is on the high side of the lists."""
    for size in FACTORS:
        assert 0.35 < fittings_resistance(word, size) / EPANET[word] < 1.05


@pytest.mark.parametrize("size", PUMP_HANDBOOK)
def test_screwed_fittings_lie_within_the_spread_of_the_lists(size):
    """Screwed fittings of the handbook against ours: ours is 0.6 to 1.1 of it, lowest in the small sizes."""
    words = ("tee, branch", "globe valve", "gate valve")
    for word, resistance in zip(words, PUMP_HANDBOOK[size], strict=True):
        assert 0.6 < fittings_resistance(word, size) / resistance < 1.1
