"""Laws of friction, and friction solved a second way."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.special import wrightomega

from drenchbook.errors import InputError
from drenchbook.physics import pipe_flow

DENSITY, VISCOSITY = 998.2, 1.0016e-3
REYNOLDS = st.floats(min_value=2300, max_value=1e8)
ROUGHNESS = st.one_of(st.just(0.0), st.floats(min_value=1e-7, max_value=0.1))
FLOWS = st.floats(min_value=0, max_value=0.02)
DIAMETERS = st.floats(min_value=0.008, max_value=0.2)


def flow_of(reynolds, diameter=0.05):
    return reynolds * math.pi * diameter * VISCOSITY / (4 * DENSITY)


def gradient(flow, diameter=0.05, roughness=4.6e-5):
    return pipe_flow.darcy_gradient_kernel(flow, diameter, roughness, DENSITY, VISCOSITY)


@given(REYNOLDS, ROUGHNESS)
def test_colebrook_solves_its_own_equation(reynolds, roughness):
    f = pipe_flow.colebrook_friction_factor(reynolds, roughness)
    right = -2 * math.log10(roughness / 3.7 + 2.51 / (reynolds * math.sqrt(f)))
    assert 1 / math.sqrt(f) == pytest.approx(right, rel=2e-14)


@given(REYNOLDS)
def test_smooth_pipe_by_the_omega_function(reynolds):
    """With A = 0 the root of z + ln z = B is Wright's ω(B), which scipy has."""
    z = wrightomega(math.log(reynolds * math.log(10) / 5.02)).real
    assert pipe_flow.colebrook_friction_factor(reynolds, 0.0) == pytest.approx((math.log(10) / 2 / z) ** 2, rel=5e-15)


@given(st.floats(min_value=1e-5, max_value=0.1))
def test_very_fast_flow_reaches_the_rough_limit(roughness):
    """Within the smooth term that is left at Re 1e12."""
    fast = pipe_flow.colebrook_friction_factor(1e12, roughness)
    assert fast == pytest.approx(pipe_flow.turbulent_friction_factor(roughness), rel=1e-4)


@given(REYNOLDS, ROUGHNESS, st.floats(min_value=1.001, max_value=3))
def test_rougher_means_more_and_faster_means_a_smaller_factor(reynolds, roughness, factor):
    f = pipe_flow.colebrook_friction_factor(reynolds, roughness)
    assert pipe_flow.colebrook_friction_factor(reynolds * factor, roughness) <= f
    assume(roughness * factor <= 0.1)
    assert pipe_flow.colebrook_friction_factor(reynolds, roughness * factor) >= f


@given(st.floats(min_value=0, max_value=2e5), st.floats(min_value=1e-4, max_value=0.5), ROUGHNESS)
def test_more_flow_means_more_loss(reynolds, more, roughness):
    low, _ = gradient(flow_of(reynolds), roughness=roughness * 0.05)
    high, _ = gradient(flow_of(reynolds + 1) * (1 + more), roughness=roughness * 0.05)
    assert high > low


@given(st.floats(min_value=10, max_value=1e6), ROUGHNESS)
def test_slope_is_the_slope(reynolds, roughness):
    """Against a central difference; not across the two joints, where the curvature jumps."""
    assume(all(abs(reynolds / joint - 1) > 1e-4 for joint in (2300, 4000)))
    q, eps = flow_of(reynolds), roughness * 0.05
    step = 1e-6 * q
    difference = (gradient(q + step, roughness=eps)[0] - gradient(q - step, roughness=eps)[0]) / (2 * step)
    assert gradient(q, roughness=eps)[1] == pytest.approx(difference, rel=1e-6)


@pytest.mark.parametrize("joint", [2300, 4000])
@pytest.mark.parametrize("roughness", [0.0, 1e-5, 2e-3])
def test_blend_meets_both_laws_in_value_and_slope(joint, roughness):
    below, above = (
        gradient(flow_of(joint * (1 - 1e-9)), roughness=roughness),
        gradient(flow_of(joint * (1 + 1e-9)), roughness=roughness),
    )
    assert below[0] == pytest.approx(above[0], rel=1e-7)
    assert below[1] == pytest.approx(above[1], rel=1e-5)


def test_laminar_loss_is_the_closed_formula():
    """128·μ·L·q/(π·D⁴) [Hagen-Poiseuille]."""
    q = flow_of(1500)
    ours = pipe_flow.darcy_weisbach_loss(q, 0.05, 10, 4.6e-5, DENSITY, VISCOSITY)
    assert ours == pytest.approx(128 * VISCOSITY * 10 * q / (math.pi * 0.05**4), rel=1e-14)


@given(st.floats(min_value=2300, max_value=4000))
def test_blend_lies_between_the_laws(reynolds):
    q = flow_of(reynolds)
    laminar = 128 * VISCOSITY * q / (math.pi * 0.05**4)
    f = pipe_flow.colebrook_friction_factor(reynolds, 4.6e-5 / 0.05)
    turbulent = f / 0.05 * DENSITY / 2 * (4 * q / (math.pi * 0.05**2)) ** 2
    assert laminar * (1 - 1e-12) <= gradient(q)[0] <= turbulent * (1 + 1e-12)


@given(FLOWS, DIAMETERS, st.floats(min_value=0, max_value=100), st.floats(min_value=0, max_value=1))
def test_a_split_pipe_is_the_whole(flow, diameter, length, share):
    def both(metres):
        return (
            pipe_flow.darcy_weisbach_loss(flow, diameter, metres, 1.5e-6, DENSITY, VISCOSITY),
            pipe_flow.hazen_williams_loss(flow, diameter, metres, 140),
        )

    for part, rest, whole in zip(both(length * share), both(length * (1 - share)), both(length), strict=True):
        assert part + rest == pytest.approx(whole, rel=1e-12, abs=1e-12)


@given(FLOWS, DIAMETERS, st.floats(min_value=50, max_value=160))
def test_hazen_williams_slope_and_powers(flow, diameter, coefficient):
    lost, slope = pipe_flow.hazen_williams_gradient_kernel(flow, diameter, coefficient)
    assert slope * flow == pytest.approx(1.85 * lost, rel=1e-12)
    assert pipe_flow.hazen_williams_loss(2 * flow, diameter, 1, coefficient) == pytest.approx(2**1.85 * lost, rel=1e-12)
    assert pipe_flow.hazen_williams_loss(flow, 2 * diameter, 1, coefficient) == pytest.approx(lost / 2**4.87, rel=1e-12)


def test_no_flow_loses_nothing():
    assert pipe_flow.darcy_weisbach_loss(0, 0.05, 10, 4.6e-5, DENSITY, VISCOSITY) == 0
    assert pipe_flow.hazen_williams_loss(0, 0.05, 10, 140) == 0
    assert pipe_flow.minor_loss(0, 0.05, 3, DENSITY) == 0
    assert [float(x) for x in pipe_flow.hazen_williams_gradient_kernel(0.0, 0.05, 140)] == [0, 0]


@given(st.floats(min_value=-100, max_value=100))
def test_what_climbs_comes_down(rise):
    assert pipe_flow.elevation_pressure(rise, DENSITY) == -pipe_flow.elevation_pressure(-rise, DENSITY)


def test_an_array_is_its_numbers():
    flows = np.array([0.0, flow_of(1000), flow_of(3000), flow_of(5000), flow_of(1e5)])
    whole = pipe_flow.darcy_weisbach_loss(flows, 0.05, 7.0, 4.6e-5, DENSITY, VISCOSITY)
    single = [pipe_flow.darcy_weisbach_loss(float(q), 0.05, 7.0, 4.6e-5, DENSITY, VISCOSITY) for q in flows]
    assert whole.tolist() == pytest.approx(single, rel=1e-14)
    assert all(isinstance(loss, float) for loss in single)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: pipe_flow.velocity(-2, 0.05), "flow = -2 m³/s: must be zero or more"),
        (lambda: pipe_flow.velocity(1, 0), "diameter = 0 m: must be more than zero"),
        (
            lambda: pipe_flow.hazen_williams_loss(1, 0.05, 1, 0),
            "coefficient = 0: must be more than zero",
        ),
        (
            lambda: pipe_flow.darcy_weisbach_loss(1, 0.05, math.inf, 0, 998, 1e-3),
            "length = inf m: must be a finite number",
        ),
        (
            lambda: pipe_flow.darcy_weisbach_loss(1, 0.01, 1, 0.005, 998, 1e-3),
            "roughness / diameter = 0.5: must be at most 0.1",
        ),
        (
            lambda: pipe_flow.colebrook_friction_factor(2000, 0.001),
            "reynolds = 2000: must be 2300 or more",
        ),
        (
            lambda: pipe_flow.colebrook_friction_factor(1e5, 0.2),
            "relative_roughness = 0.2: must be from 0 to 0.1",
        ),
        (
            lambda: pipe_flow.turbulent_friction_factor(0),
            "relative_roughness = 0: must be more than 0 and at most 0.1",
        ),
    ],
)
def test_errors_are_sentences(call, words):
    with pytest.raises(InputError) as error:
        call()
    assert str(error.value) == words
