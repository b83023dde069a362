"""Pressures that need no root: at no flow, and at required flow without pipe friction."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.faulted_network import network_in
from drenchbook.network_arrays import NONE, Network
from drenchbook.operating_cases import OTHER_DEMAND, STATES, stations_alone
from drenchbook.solver_blocks import Block, block_of, shapes
from drenchbook.solver_flows import flows
from drenchbook.solver_paths import Curves, network_curves
from drenchbook.solver_results import StaticPressures
from drenchbook.solver_trees import Held

Numbers: TypeAlias = np.ndarray[Any, Any]

HIGH_STATES = [number for number, (_, level) in enumerate(STATES) if level == "high"]
LOW_STATES = [number for number, (_, level) in enumerate(STATES) if level == "low"]


def _alone(network: Network, curves: Curves) -> Iterator[tuple[Block, Numbers]]:
    """Blocks of the stations that miss nothing, each alone, and the place of each outlet in the network."""
    cases = stations_alone(network)
    stations = np.array([i for i, why in enumerate(network.missing) if not why], dtype=int)
    for shape, openings in shapes(network, cases, stations):
        block = block_of(network, curves, cases, shape, openings)
        yield block, np.where(block.outlet_pair == NONE, NONE, cases.outlets.member[block.outlet_pair])


def static_pressures(network: Network) -> StaticPressures:
    """Pressure at no flow in the high supply state.

    Parameters
    ----------
    network : Network
        The site, compiled. [-]

    Returns
    -------
    StaticPressures
        At each outlet and at both inlets of each valve, the larger of both seasons; not-a-number where an input of the
        path is missing. [Pa]

    Notes
    -----
    No loss of any device is credited: a device that holds pressure back at no flow may leak. A pressure-reducing valve
    holds its setting, a booster adds its head at no flow. Behind a valve the higher of its inlets counts [worked here].
    """
    curves = network_curves(network)
    outlet = np.full(len(network.outlet_station), np.nan)
    cold, hot = (np.full(len(network.valve_tags), np.nan) for _ in range(2))
    for block, place in _alone(network, curves):
        static = _at_rest(block.end_static, block.supply_held)[HIGH_STATES]
        before = np.broadcast_to(static.max(axis=2)[..., None], block.outlet_height[HIGH_STATES].shape)
        if block.tempered_held is not None:
            before = np.minimum(before, block.tempered_held.pressure[HIGH_STATES].min(axis=2))  # one station each
        highest = before - block.outlet_height[HIGH_STATES]
        there = place != NONE
        outlet[place[there]] = highest.max(axis=0)[there]
        if block.shape.valves:
            cold[block.valve[:, 0]], hot[block.valve[:, 0]] = static.max(axis=0).T
    return StaticPressures(outlet, cold, hot)


def _at_rest(pressure: Numbers, held: Held | None) -> Numbers:
    """Pressures at the ends at no flow, no higher than what pressure-reducing valves hold."""
    return pressure if held is None else np.minimum(pressure, held.pressure.min(axis=2))


def frictionless_margin(network: Network, required_flow: Numbers, minimum_pressure: Numbers) -> Numbers:
    """Pressure left at a station at required flow if its pipes had no friction.

    Parameters
    ----------
    network : Network
        The site, compiled. [-]
    required_flow : array
        Of each outlet of the network; all outlets of a station flow together. [m³/s]
    minimum_pressure : array
        Pressure that each outlet needs. [Pa]

    Returns
    -------
    array
        For each station the least that is left at one of its outlets, over both seasons at the low supply state; below
        zero no pipe size helps. Not-a-number where an input is missing or a curve is left. [Pa]

    Notes
    -----
    Supply at the required flow, other demand drawn too, less line devices, mixing valve, rise and the outlet's
    pressure; pipes, fittings and the hot water source count nothing [worked here].
    """
    smooth = _without_friction(network_in(network, OTHER_DEMAND))
    curves = network_curves(smooth)
    margin = np.full(len(network.station_tags), np.nan)
    for block, place in _alone(smooth, curves):
        there = place != NONE
        asked = np.where(there, np.append(required_flow, np.nan)[place], 0.0)
        needed = np.where(there, np.append(minimum_pressure, np.nan)[place], -np.inf)
        flow = np.broadcast_to(asked, (len(STATES), *asked.shape))
        now = flows(block, curves, curves.loss, flow, block.share, with_slopes=False)
        left = (now.outlet_pressure - needed).min(axis=2)
        left = np.where(_left_a_curve(block, curves, now.supply_stretch_flow, now.valve_flow), np.nan, left)
        margin[block.opening] = left[LOW_STATES].min(axis=0)
    return margin


def _left_a_curve(block: Block, curves: Curves, stretch_flow: Numbers, valve_flow: Numbers) -> Numbers:
    """Whether a curve of the path ends before that flow [S, B]."""
    out = np.zeros(stretch_flow.shape[:2], dtype=bool)
    paths = block.supply_paths
    over = stretch_flow.reshape(len(out), -1)[:, paths.element] > curves.loss.last_flow[paths.element_curve]
    state, element = np.nonzero(over)
    out[state, paths.element[element] // paths.power.shape[1]] = True
    last = np.append(curves.coefficient.last_flow, np.inf)[block.coefficient_curve]
    return out | (valve_flow > last).any(axis=2)


def _without_friction(network: Network) -> Network:
    """The same network with devices and valves only."""
    square = network.square_sum
    if len(network.source_tags):
        source = np.append(np.nan_to_num(network.source_square), 0.0)[network.node_source]
        square = np.maximum(square - source, 0.0)
    of_source = np.isin(network.element_curve, network.source_curve[network.source_curve != NONE])
    return replace(
        network, class_length=np.zeros_like(network.class_length), minor_sum=np.zeros_like(network.minor_sum),
        square_sum=square, element_curve=np.where(of_source, len(network.curves), network.element_curve),
    )  # fmt: skip
