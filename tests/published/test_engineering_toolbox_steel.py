"""Engineering ToolBox, Steel Pipes Schedule 40 - Pressure Loss, d_307.

Darcy-Weisbach at 20 °C, 998.3 kg/m³, 1.004e-6 m²/s, roughness 0.045 mm. Its friction factor is not Colebrook's: the
table reads 2 to 6 % more, so it bounds our loss from above. It uses the turbulent formula at every Reynolds number; so
do these tests.
"""

import pytest

from drenchbook.physics import pipe_flow
from tests.printed import printed

DENSITY, KINEMATIC, ROUGHNESS = 998.3, 1.004e-6, 4.5e-5


@pytest.mark.parametrize(
    ("bore", "flow", "velocity", "loss"),
    [
        (0.0125, 3e-5, "0.24", 11455),
        (0.0125, 4e-5, "0.33", 19091),
        (0.0125, 5e-5, "0.41", 28504),
        (0.0125, 6e-5, "0.49", 39137),
        (0.0125, 8e-5, "0.65", 66183),
        (0.0125, 1e-4, "0.81", 98108),
        (0.0125, 1.2e-4, "0.98", 137457),
        (0.0125, 1.4e-4, "1.14", 181897),
        (0.0158, 5e-5, "0.26", 9040),
        (0.0158, 6e-5, "0.31", 12426),
        (0.0158, 8e-5, "0.41", 21038),
        (0.0158, 1e-4, "0.51", 31228),
        (0.0158, 1.2e-4, "0.61", 43785),
    ],
)
def test_row(bore, flow, velocity, loss):
    assert pipe_flow.velocity(flow, bore) == printed(velocity, within=0.01)  # its flows are rounded
    reynolds = pipe_flow.reynolds(flow, bore, KINEMATIC * DENSITY, DENSITY)
    factor = pipe_flow.colebrook_friction_factor(reynolds, ROUGHNESS / bore)
    ours = factor * 100 / bore * DENSITY * pipe_flow.velocity(flow, bore) ** 2 / 2
    assert 0.94 * loss < ours < loss
    if reynolds > 4000:
        whole = pipe_flow.darcy_weisbach_loss(flow, bore, 100.0, ROUGHNESS, DENSITY, KINEMATIC * DENSITY)
        assert whole == pytest.approx(ours, rel=1e-12)
