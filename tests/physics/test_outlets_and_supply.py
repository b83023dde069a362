"""Outlets, supplies and devices: laws, and the ways a curve can be wrong."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.physics import fittings, outlets, supply

PRESSURES = st.floats(min_value=1, max_value=1e6)
Q, P = 1.26e-3, 2e5


@given(PRESSURES, st.floats(min_value=1.001, max_value=3), st.booleans())
def test_more_pressure_never_means_less_flow(pressure, factor, regulated):
    low, high = (outlets.outlet_flow(p, Q, P, regulated) for p in (pressure, pressure * factor))
    assert high >= low
    if not regulated:
        assert high == pytest.approx(low * factor**0.5)


@given(PRESSURES)
def test_a_regulator_never_passes_more_than_it_holds(pressure):
    assert outlets.outlet_flow(pressure, Q, P, True) <= Q
    assert (
        outlets.outlet_flow(pressure, Q, P, True) <= outlets.outlet_flow(pressure, Q, P, False) + 1e-18 or pressure > P
    )


@pytest.mark.parametrize("pressure", [0, -1, -1e5])
def test_no_pressure_no_flow(pressure):
    assert outlets.outlet_flow(pressure, Q, P, False) == 0
    assert [float(x) for x in outlets.outlet_flow_kernel(pressure, Q, P, True)] == [0, 0]


def test_at_its_minimum_a_regulated_outlet_gives_its_flow():
    assert outlets.outlet_flow(P, Q, P, True) == Q
    assert outlets.outlet_flow(P, Q, P, False) == Q


@given(PRESSURES)
def test_pressure_of_an_orifice_is_the_inverse(pressure):
    assert outlets.orifice_pressure(outlets.outlet_flow(pressure, Q, P, False), Q, P) == pytest.approx(pressure)


@given(PRESSURES, st.booleans())
def test_slope_is_the_slope(pressure, regulated):
    step = 1e-6 * pressure
    if abs(pressure - P) < 10 * step:
        return
    flow = [float(outlets.outlet_flow_kernel(p, Q, P, regulated)[0]) for p in (pressure - step, pressure + step)]
    assert float(outlets.outlet_flow_kernel(pressure, Q, P, regulated)[1]) == pytest.approx(
        (flow[1] - flow[0]) / (2 * step), rel=1e-5
    )


def test_mixed_kinds_in_one_array():
    flows = outlets.outlet_flow(np.array([1e5, 4e5, 4e5]), Q, P, np.array([True, True, False]))
    assert flows.tolist() == pytest.approx([Q * 0.5**0.5, Q, Q * 2**0.5])


@given(st.floats(min_value=0, max_value=5e-3), st.floats(min_value=1.001, max_value=3))
def test_more_draw_never_raises_the_supply(flow, factor):
    left = supply.supply_pressure(flow, 5e5, 4e5, 2e-3)
    assert supply.supply_pressure(flow * factor, 5e5, 4e5, 2e-3) <= left
    assert left <= 5e5


def test_a_supply_gives_back_its_test():
    assert supply.supply_pressure(0, 5e5, 4e5, 2e-3) == 5e5
    assert supply.supply_pressure(2e-3, 5e5, 4e5, 2e-3) == 4e5


@given(st.floats(min_value=1e-6, max_value=5e-3))
def test_supply_slope_is_the_slope(flow):
    step = 1e-6 * flow
    ends = [float(supply.supply_pressure_kernel(q, 5e5, 4e5, 2e-3)[0]) for q in (flow - step, flow + step)]
    slope = float(supply.supply_pressure_kernel(flow, 5e5, 4e5, 2e-3)[1])
    assert slope * flow == pytest.approx((ends[1] - ends[0]) / 2e-6, rel=1e-3, abs=1e-3)


def test_a_dipping_curve_keeps_its_points_and_middles():
    flows, values = [0, 1e-3, 2e-3], [8e4, 7e4, 7.4e4]
    assert supply.curve_pressure(np.array([0, 5e-4, 1e-3, 1.5e-3, 2e-3]), flows, values).tolist() == pytest.approx(
        [8e4, 7.5e4, 7e4, 7.2e4, 7.4e4]
    )


def test_beyond_the_curve_the_kernel_draws_on_and_says_so():
    value, slope, beyond = supply.curve_pressure_kernel(
        np.array([2e-3, 3e-3]), np.array([0, 1e-3, 2e-3]), np.array([8e4, 7e4, 7.4e4])
    )
    assert value.tolist() == pytest.approx([7.4e4, 7.8e4])
    assert slope.tolist() == pytest.approx([4e6, 4e6])
    assert beyond.tolist() == [False, True]


@given(st.floats(min_value=0, max_value=1e-2), st.floats(min_value=1e-7, max_value=1e-4))
def test_a_coefficient_passes_its_flow_at_its_loss(flow, coefficient):
    lost, slope = fittings.coefficient_loss_kernel(flow, coefficient, fittings.REFERENCE_DENSITY)
    assert coefficient * lost**0.5 == pytest.approx(flow, rel=1e-12, abs=1e-18)
    assert slope * flow == pytest.approx(2 * lost)


def test_fittings_add_up():
    assert fittings.resistance(30 + 60, 0.02) == pytest.approx(
        fittings.resistance(30, 0.02) + fittings.resistance(60, 0.02)
    )
    assert fittings.resistance(0, 0.02) == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (
            lambda: supply.supply_pressure(1e-3, 4e5, 5e5, 2e-3),
            "residual = 500000 Pa: must be at most the static pressure: a main does not gain pressure by giving water",
        ),
        (lambda: supply.supply_pressure(1e-3, 4e5, 3e5, 0), "test_flow = 0 m³/s: must be more than zero"),
        (
            lambda: supply.curve_pressure(3e-3, [0, 2e-3], [1, 2]),
            "flow = 0.003 m³/s: must be at most 0.002, the last point of the curve",
        ),
        (
            lambda: supply.curve_pressure(1e-3, [1e-3, 2e-3], [1, 2]),
            "curve_flows = 0.001 m³/s: the first point must be at zero flow",
        ),
        (
            lambda: supply.curve_pressure(1e-3, [0, 2e-3, 2e-3], [1, 2, 3]),
            "curve_flows = 0.002 m³/s: flows must rise from point to point",
        ),
        (
            lambda: supply.curve_pressure(1e-3, [0], [1]),
            'curve_flows = "1 flows, 1 values": two points or more are needed, each with a flow and a value',
        ),
        (lambda: outlets.outlet_flow(1e5, 0, P, True), "rated_flow = 0 m³/s: must be more than zero"),
        (lambda: fittings.coefficient_loss(1, -1), "coefficient = -1 m³/s per √Pa: must be more than zero"),
    ],
)
def test_errors_are_sentences(call, words):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == words
