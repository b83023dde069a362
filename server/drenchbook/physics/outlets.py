"""Flow that leaves a shower head or an eyewash at a pressure."""

from __future__ import annotations

import numpy as np

from drenchbook.physics.inputs import Numbers, number, same_kind


def outlet_flow(pressure: Numbers, rated_flow: Numbers, rated_pressure: Numbers, regulated: Numbers) -> Numbers:
    """Flow of one open outlet.

    Parameters
    ----------
    pressure : float or array
        Gauge pressure at the outlet; zero or less gives no flow. [Pa]
    rated_flow : float or array
        Flow at the rated pressure; of a regulated outlet, the flow it holds. [m³/s]
    rated_pressure : float or array
        Pressure of the rated flow; of a regulated outlet, its minimum pressure. [Pa]
    regulated : bool or array of bool
        Whether a flow regulator holds the flow above the minimum pressure.

    Returns
    -------
    float or array
        Flow. [m³/s]

    Notes
    -----
    q = k·√p with k = q_rated/√p_rated [NFPA 13, K-factor formula]; a regulated outlet follows it below its minimum
    pressure and holds its flow above (common practice; makers state the held flow within 10 %).

    >>> round(outlet_flow(pressure=100e3, rated_flow=1.2e-3, rated_pressure=200e3, regulated=False) * 1e3, 4)
    0.8485
    >>> outlet_flow(pressure=300e3, rated_flow=1.2e-3, rated_pressure=200e3, regulated=True)
    0.0012
    """
    p = number("pressure", pressure, "Pa")
    q = number("rated_flow", rated_flow, "m³/s", above=0.0)
    p0 = number("rated_pressure", rated_pressure, "Pa", above=0.0)
    return same_kind(outlet_flow_kernel(p, q, p0, np.asarray(regulated, dtype=bool))[0])


def outlet_flow_kernel(
    pressure: Numbers, rated_flow: Numbers, rated_pressure: Numbers, regulated: Numbers
) -> tuple[Numbers, Numbers]:
    """Flow [m³/s] of an outlet and its slope with pressure [m³/s per Pa], nothing checked.

    Notes
    -----
    The slope is 0 at and below zero pressure and where a regulator holds the flow; it grows without limit just above
    zero. Source and error as in `outlet_flow`.

    >>> flow, slope = outlet_flow_kernel(100e3, 1e-3, 400e3, False)
    >>> float(flow), float(slope)
    (0.0005, 2.5e-09)
    """
    share = np.divide(pressure, rated_pressure)
    most = np.where(regulated, 1.0, np.inf)
    moves = np.logical_and(share > 0, share < most)
    root = np.sqrt(np.clip(share, 0.0, most))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = rated_flow / (2 * root * rated_pressure)
    return rated_flow * root, np.where(moves, slope, 0.0)


def orifice_pressure(flow: Numbers, rated_flow: Numbers, rated_pressure: Numbers) -> Numbers:
    """Pressure at which an outlet without a regulator passes a flow.

    Parameters
    ----------
    flow : float or array
        Flow, zero or more. [m³/s]
    rated_flow : float or array
        Flow at the rated pressure. [m³/s]
    rated_pressure : float or array
        Pressure of the rated flow. [Pa]

    Returns
    -------
    float or array
        Gauge pressure at the outlet. [Pa]

    Notes
    -----
    p = (q/k)² [NFPA 13, K-factor formula].

    >>> orifice_pressure(flow=0.5e-3, rated_flow=1e-3, rated_pressure=400e3)
    100000.0
    """
    q = number("flow", flow, "m³/s", at_least=0.0)
    q0 = number("rated_flow", rated_flow, "m³/s", above=0.0)
    return same_kind(number("rated_pressure", rated_pressure, "Pa", above=0.0) * (q / q0) ** 2)
