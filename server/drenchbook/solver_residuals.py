"""What a solution leaves open: by how much each outlet's law, and the ways through a valve, disagree with the paths."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.physics.outlets import outlet_flow_kernel

Numbers: TypeAlias = np.ndarray[Any, Any]

# Beyond these a case is not solved.
RESIDUAL_PRESSURE = 1.0  # [Pa] under a fiftieth of what the check DAT-3 asks
RESIDUAL_FLOW = 1e-5  # of an outlet's flow
DRIP = 1e-3  # of the rated flow: an outlet that gives less is compared with that


def outlet_residuals(
    flow: Numbers, gets: Numbers, rated_flow: Numbers, rated_pressure: Numbers, regulated: Numbers, there: Numbers
) -> tuple[Numbers, Numbers]:
    """Pressure [Pa] and share of the flow [-] by which each outlet's law disagrees with what it gets; nothing checked.

    Parameters
    ----------
    flow, gets : array
        Flow of each outlet, and the pressure that the paths give it. [m³/s, Pa]
    rated_flow, rated_pressure, regulated : array
        Data of the outlets. [m³/s, Pa, -]
    there : array
        False where an outlet only fills a place: it leaves nothing open. [-]

    Notes
    -----
    A regulator that holds takes any pressure above its need, a shut outlet any below. At the very end of its reach the
    pressure of an outlet is rounding, and its flow a drip: that is held to a share of the rated flow [worked here].

    >>> half = [np.array(one) for one in (5e-4, 2.1e5, 1e-3, 8e5, False, True)]  # an orifice, 5 % over its pressure
    >>> [round(float(one), 4) for one in outlet_residuals(*half)]
    [10000.0, 0.0247]
    """
    rated = np.where(there, rated_flow, 1.0)
    part = flow / rated
    miss = rated_pressure * (part * part) - gets
    held = regulated & (flow >= rated)
    miss = np.where(held, np.maximum(miss, 0.0), np.where(flow > 0, np.abs(miss), np.maximum(-miss, 0.0)))
    given, _ = outlet_flow_kernel(gets, rated_flow, rated_pressure, regulated)
    off = np.abs(given - flow) / np.where(flow > 0, np.maximum(flow, DRIP * rated), rated)
    return np.where(there, miss, 0.0), np.where(there, off, 0.0)


def split_residual(imbalance: Numbers, share: Numbers) -> Numbers:
    """Pressure [Pa] that a split leaves open: a side that passes nothing may have the lower pressure behind it."""
    alone_hot, alone_cold = np.maximum(imbalance, 0.0), np.maximum(-imbalance, 0.0)
    return np.where(share >= 1, alone_hot, np.where(share <= 0, alone_cold, np.abs(imbalance)))
