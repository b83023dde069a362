"""Laws of the two seats on one stem, and the seats solved a second way."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.optimize import brentq

from drenchbook.errors import InputError
from drenchbook.physics import mixing_valve

C = 8.36e-6  # m³/s per √Pa, some 11 gpm per √psi
FLOWS = st.floats(min_value=1e-5, max_value=5e-3)
SHARES = st.floats(min_value=0.001, max_value=0.999)
PRESSURES = st.floats(min_value=5e4, max_value=8e5)


def miss(chamber, q, x, ph, pc):
    """Share of the seat area that is wanted beyond what there is."""
    return x * q / math.sqrt(ph - chamber) / C + (1 - x) * q / math.sqrt(pc - chamber) / C - 1


@given(FLOWS, SHARES, PRESSURES, PRESSURES)
def test_chamber_pressure_by_another_root_finder(q, x, ph, pc):
    """scipy's brentq on the equation as it is written, wherever the two sides are not a hair apart."""
    chamber = mixing_valve.chamber_pressure(q, x, ph, pc, C)
    low = min(ph, pc)
    assume(low - chamber > 1e-3)
    root = brentq(miss, low - 4 * (q / C) ** 2, low - 1e-9 * low, args=(q, x, ph, pc), xtol=1e-9, rtol=1e-14)
    assert chamber == pytest.approx(root, abs=1e-6 + 1e-9 * abs(root))


@given(FLOWS, SHARES, PRESSURES, PRESSURES)
def test_stem_is_the_share_of_the_area(q, x, ph, pc):
    chamber, stem, *_ = (float(v) for v in mixing_valve.two_seats_kernel(q, x, ph, pc, C))
    assert 0 <= stem <= 1
    assume(ph - chamber > 1)
    assert stem == pytest.approx(x * q / (C * math.sqrt(ph - chamber)), rel=1e-6)


@given(FLOWS, st.floats(min_value=0, max_value=1), PRESSURES)
def test_equal_inlets_give_the_catalogue_curve(q, x, p):
    assert mixing_valve.chamber_pressure(q, x, p, p, C) == pytest.approx(p - (q / C) ** 2, abs=1e-8 * p)
    assert mixing_valve.stem_position(q, x, p, p, C) == pytest.approx(x, abs=1e-12)


@given(FLOWS, SHARES, PRESSURES, PRESSURES)
def test_hot_and_cold_can_be_swapped(q, x, ph, pc):
    one = mixing_valve.two_seats_kernel(q, x, ph, pc, C)
    other = mixing_valve.two_seats_kernel(q, 1 - x, pc, ph, C)
    assert float(one[0]) == pytest.approx(float(other[0]), rel=1e-9, abs=1e-6)
    assert float(one[1]) == pytest.approx(1 - float(other[1]), abs=1e-9)


@given(FLOWS, SHARES, PRESSURES, PRESSURES, st.floats(min_value=1.001, max_value=3))
def test_more_flow_lowers_and_a_larger_valve_raises_the_pressure(q, x, ph, pc, factor):
    chamber = mixing_valve.chamber_pressure(q, x, ph, pc, C)
    assert mixing_valve.chamber_pressure(q * factor, x, ph, pc, C) < chamber + 1e-6
    assert mixing_valve.chamber_pressure(q, x, ph, pc, C * factor) > chamber - 1e-6
    assert mixing_valve.chamber_pressure(q, x, ph * factor, pc, C) > chamber - 1e-6


@given(FLOWS, st.floats(min_value=0.05, max_value=0.95), PRESSURES, PRESSURES)
def test_slopes_are_slopes(q, x, ph, pc):
    assume(abs(ph - pc) > 10)
    _, _, by_flow, by_hot, by_cold = (float(v) for v in mixing_valve.two_seats_kernel(q, x, ph, pc, C))
    step = 1e-5 * q

    def chamber(*at):
        return float(mixing_valve.two_seats_kernel(*at, C)[0])

    assert by_flow * q == pytest.approx(
        (chamber(q + step, x, ph, pc) - chamber(q - step, x, ph, pc)) / (2e-5), rel=1e-4, abs=1e-3
    )
    assert by_hot == pytest.approx((chamber(q, x, ph + 1, pc) - chamber(q, x, ph - 1, pc)) / 2, abs=1e-4)
    assert by_cold == pytest.approx((chamber(q, x, ph, pc + 1) - chamber(q, x, ph, pc - 1)) / 2, abs=1e-4)
    assert by_hot + by_cold == pytest.approx(1)


@pytest.mark.parametrize(("ph", "pc"), [(5e5, 3e5), (3e5, 5e5), (3e5, 3e5)])
def test_one_seat_shut_leaves_the_other_alone(ph, pc):
    q = 1e-3
    assert mixing_valve.chamber_pressure(q, 1.0, ph, pc, C) == pytest.approx(ph - (q / C) ** 2)
    assert mixing_valve.chamber_pressure(q, 0.0, ph, pc, C) == pytest.approx(pc - (q / C) ** 2)
    assert mixing_valve.stem_position(q, 1.0, ph, pc, C) == pytest.approx(1)
    assert mixing_valve.stem_position(q, 0.0, ph, pc, C) == pytest.approx(0)


def test_no_flow_leaves_the_lower_inlet_pressure():
    assert mixing_valve.chamber_pressure(0, 0.4, 3e5, 2e5, C) == 2e5


def test_a_share_outside_zero_to_one_is_no_number_in_the_kernel():
    chamber, stem, *slopes = mixing_valve.two_seats_kernel(1e-3, np.array([-0.1, 0.5, 1.1]), 3e5, 2e5, C)
    for answer in (chamber, stem, *slopes):
        assert np.isnan(answer).tolist() == [True, False, True]


def test_near_nothing_through_one_seat_still_settles():
    """A share of 1e-9 at a difference near (q/C)² is the slowest case."""
    q = 1e-3
    gap = (q / C) ** 2
    for x in (1e-9, 1 - 1e-9):
        for ph, pc in ((3e5 + gap, 3e5), (3e5, 3e5 + gap)):
            chamber = float(mixing_valve.two_seats_kernel(q, x, ph, pc, C)[0])
            low = min(ph, pc)
            assert low - 4 * gap < chamber < low
            assert abs(miss(chamber, q, x, ph, pc)) < 1e-6


@given(FLOWS, PRESSURES, PRESSURES, st.floats(min_value=0, max_value=2), st.floats(min_value=0, max_value=2))
def test_seats_in_parallel_pass_the_flow(q, ph, pc, hot, bypass):
    assume(hot + bypass > 0.01)
    share, chamber = mixing_valve.seats_in_parallel(q, ph, pc, hot * C, bypass * C)
    passed_hot = hot * C * math.sqrt(max(ph - chamber, 0))
    passed = passed_hot + bypass * C * math.sqrt(max(pc - chamber, 0))
    assert passed == pytest.approx(q, rel=1e-5)
    assert share == pytest.approx(passed_hot / q, abs=1e-5)


@given(FLOWS, PRESSURES, PRESSURES, st.floats(min_value=1.01, max_value=3))
def test_a_larger_bypass_raises_the_chamber_pressure(q, ph, pc, factor):
    _, chamber = mixing_valve.seats_in_parallel(q, ph, pc, C, 0.7 * C)
    _, larger = mixing_valve.seats_in_parallel(q, ph, pc, C, 0.7 * C * factor)
    assert larger >= chamber - 1e-6


@given(FLOWS, PRESSURES, PRESSURES)
def test_parallel_slopes_are_slopes(q, ph, pc):
    assume(abs(q - C * math.sqrt(abs(ph - pc))) > 1e-3 * q)
    assume(abs(q - 0.7 * C * math.sqrt(abs(ph - pc))) > 1e-3 * q)

    def chamber(*at):
        return float(mixing_valve.seats_in_parallel_kernel(*at, C, 0.7 * C)[1])

    _, _, by_flow, by_hot, by_cold = (float(v) for v in mixing_valve.seats_in_parallel_kernel(q, ph, pc, C, 0.7 * C))
    step = 1e-5 * q
    difference = (chamber(q + step, ph, pc) - chamber(q - step, ph, pc)) / 2e-5
    assert by_flow * q == pytest.approx(difference, rel=1e-3, abs=1e-2)
    assert by_hot + by_cold == pytest.approx(1)


def test_a_curve_gives_back_its_points_and_rises_between():
    flows, losses = [2e-4, 5e-4, 1e-3, 2e-3], [5e3, 2e4, 9e4, 4e5]
    for q, loss in zip(flows, losses, strict=True):
        assert (q / mixing_valve.curve_coefficient(q, flows, losses)) ** 2 == pytest.approx(loss)
    fine = np.linspace(1e-5, 2e-3, 500)
    lost = (fine / mixing_valve.curve_coefficient(fine, flows, losses)) ** 2
    assert (np.diff(lost) > 0).all()
    assert mixing_valve.curve_coefficient(1e-5, flows, losses) == mixing_valve.curve_coefficient(2e-4, flows, losses)


def test_slope_of_a_curve_is_its_slope():
    flows, coefficients = mixing_valve.checked_valve_curve([0, 2e-4, 5e-4], [0, 5e3, 2e4])
    _, slope, beyond = mixing_valve.curve_coefficient_kernel(np.array([1e-4, 3e-4, 6e-4]), flows, coefficients)
    assert slope.tolist() == pytest.approx([0, (coefficients[1] - coefficients[0]) / 3e-4, 0])
    assert beyond.tolist() == [False, False, True]


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: mixing_valve.chamber_pressure(1e-3, 1.5, 3e5, 3e5, C), "hot_fraction = 1.5: must be from 0 to 1"),
        (
            lambda: mixing_valve.stem_position(1e-3, 0.5, 3e5, 3e5, 0),
            "coefficient = 0 m³/s per √Pa: must be more than zero",
        ),
        (
            lambda: mixing_valve.seats_in_parallel(1e-3, 3e5, 3e5, 0, 0),
            "bypass_coefficient = 0 m³/s per √Pa: needs a way for the water: hot seat and bypass are both shut",
        ),
        (
            lambda: mixing_valve.curve_coefficient(3e-3, [1e-3, 2e-3], [1e4, 4e4]),
            "flow = 0.003 m³/s: must be at most 0.002, the last point of the curve",
        ),
        (
            lambda: mixing_valve.curve_coefficient(1e-3, [1e-3, 2e-3], [4e4, 1e4]),
            "curve_losses = 10000 Pa: must not fall while the flow rises",
        ),
        (
            lambda: mixing_valve.curve_coefficient(1e-3, [2e-3, 1e-3], [1e4, 4e4]),
            "curve_flows = 0.001 m³/s: flows must rise from point to point",
        ),
        (
            lambda: mixing_valve.curve_coefficient(1e-3, [1e-3], [1e4, 4e4]),
            'curve_flows = "1 flows, 2 losses": one point or more is needed, each with a flow and a loss',
        ),
    ],
)
def test_errors_are_sentences(call, words):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == words
