"""The site as SI arrays: one forest of runs, the paths through it, and what is missing on each path.

Nodes are supplies, hot water sources, valves, runs (a run stands for its far end) and pressure-reducing valves (each
just above the run on which it stands), below one node 0 that feeds all supplies, plant mains and valves; a valve is the
root of its tempered runs. Sums from the root to a node (length of each
pipe class, fittings, devices, wall-weighted volume) turn any stretch of the forest into a difference of two nodes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.published.pipes import Pipe

Numbers: TypeAlias = np.ndarray[Any, Any]

NONE = -1
ROOT, SUPPLY, SOURCE, VALVE, RUN, REDUCER = range(6)  # kinds of node
WITHIN_RUNS = (RUN, REDUCER)  # a pressure-reducing valve stands between two runs and ends no path of water
NO, YES, NOT_SAID = range(3)  # answers to "needs power"


FLOW_COLUMNS = ("coefficient", "curve", "outlet_square", "minimum_flow", "gap_from", "gap_to", "greatest_flow")
ROUNDING = 1e-9  # part of a flow


@dataclass(frozen=True)
class ValveFlow:
    """What one valve, or two in parallel, let through."""

    coefficient: float  # of either seat [m³/s per √Pa], NaN where a curve stands
    curve: int  # index in the curves of the network, NONE
    outlet_square: float  # [Pa/(m³/s)²]
    minimum_flow: float  # under control [m³/s]
    gap_from: float = 0.0  # of two in parallel: between these flows the larger passes less than it controls [m³/s]
    gap_to: float = 0.0
    greatest_flow: float = np.nan  # of two in parallel: beyond it one of them leaves its data [m³/s]


@dataclass(frozen=True)
class Network:
    """Everything that the solver needs of a site, in SI."""

    hazen_williams: bool
    cold_temperature: Numbers  # [season] cold, warm
    # Nodes, parents before children.
    node_kind: Numbers
    node_item: Numbers  # row in supplies, sources, valves or runs; place among the reducers
    node_devices: tuple[tuple[str, ...], ...]  # keys of the devices that lose or add pressure there
    parent: Numbers
    depth: Numbers
    preorder: Numbers  # place of a node when each is written before all that hangs below it
    ancestors: Numbers  # [level, node] the ancestor 2^level above
    narrowest: Numbers  # [level, node] run with the least bore among the 2^level nodes from here upward, NONE if no run
    node_elevation: Numbers
    node_supply: Numbers  # supply above, NONE for hot water of a plant main and for tempered water
    node_source: Numbers  # hot water source at or above, NONE
    node_valve: Numbers  # valve at or above, NONE
    minor_sum: Numbers  # loss = density · this · flow² [1/m⁴]
    square_sum: Numbers  # loss = this · flow² [Pa/(m³/s)²]
    boost_sum: Numbers  # head that boosters add at no flow [Pa]
    last_reducer: Numbers  # node of the nearest pressure-reducing valve at or above, NONE
    purge_sum: Numbers  # water content with its wall, V(1 + β) [m³]
    class_offsets: Numbers  # per node: pipe classes above it, and their length to the root
    class_index: Numbers
    class_length: Numbers
    class_diameter: Numbers
    class_roughness: Numbers
    class_constant: Numbers  # Hazen-Williams C
    class_resistance: Numbers  # Hazen-Williams, Pa/m at 1 m³/s
    last_curve: Numbers  # per node: deepest curve element at or above it, NONE
    element_curve: Numbers
    element_node: Numbers
    element_above: Numbers
    # Curves: flow, loss or pressure; padded with the last line drawn on.
    curve_names: tuple[str, ...]
    curves: tuple[tuple[Numbers, Numbers], ...]
    # Runs.
    run_tags: tuple[str, ...]
    run_node: Numbers
    run_pipe: tuple[Pipe | None, ...]
    run_length: Numbers
    run_resistance: Numbers
    run_area: Numbers
    run_class: Numbers
    run_devices: tuple[tuple[str, ...], ...]
    run_circulated: Numbers  # bool
    run_heated: Numbers  # bool: held at a typed temperature, on no loop of a valve
    # Devices (for worked paths).
    device_names: dict[str, str]
    device_kinds: dict[str, str]
    device_square: dict[str, float]
    device_curve: dict[str, int]
    device_head: dict[str, float]  # head that a booster adds at no flow [Pa]
    booster_power: dict[str, int]  # whether it needs power: NO, YES or NOT_SAID
    booster_still: dict[str, float]  # loss coefficient while it stands still [Pa/(m³/s)²], NaN where not given
    strainer_factor: float  # a fouled strainer's loss over that of a clean one
    # Pressure-reducing valves.
    reducer_tags: tuple[str, ...]
    reducer_node: Numbers
    reducer_setting: Numbers  # [Pa]
    # Supplies.
    supply_tags: tuple[str, ...]
    supply_node: Numbers
    supply_elevation: Numbers
    supply_static: Numbers  # [low, high; supply]
    supply_residual: Numbers
    supply_test_flow: Numbers
    supply_curve: Numbers  # [low, high; supply] index in curves, NONE
    supply_demand: Numbers  # other demand on the main as it was stated [m³/s], NaN where it was not
    supply_demand_gap: tuple[str, ...]  # why it was not
    supply_draw: Numbers  # the part of it that flows now
    # Hot water sources.
    source_tags: tuple[str, ...]
    source_node: Numbers
    source_plant_main: Numbers
    source_temperature: Numbers
    source_pressure: Numbers
    source_demand: Numbers  # other hot demand as it was stated [m³/s], NaN where it was not
    source_demand_gap: tuple[str, ...]  # why it was not
    source_draw: Numbers  # the part of it that flows now
    source_power: Numbers  # whether it needs power: NO, YES or NOT_SAID
    source_stores: Numbers  # bool: a storage, which stays hot while its heat fails
    source_cold: Numbers  # bool: gives cold water now
    source_square: Numbers
    source_curve: Numbers
    # Mixing valves.
    valve_tags: tuple[str, ...]
    valve_node: Numbers
    valve_cold_node: Numbers
    valve_hot_node: Numbers
    valve_source: Numbers
    valve_elevation: Numbers
    valve_set: Numbers
    valve_coefficient: Numbers  # NaN where a curve stands
    valve_curve: Numbers
    valve_outlet_square: Numbers
    valve_minimum_flow: Numbers
    valve_gap_from: Numbers  # flows between which the larger of two in parallel is not under control [m³/s]
    valve_gap_to: Numbers
    valve_greatest_flow: Numbers  # beyond which one of two in parallel leaves its data [m³/s], NaN where there is one
    valve_leakage: Numbers  # what it passes when the cold supply fails [m³/s], NaN where not given
    valve_has_second: Numbers  # bool: a larger valve stands in parallel
    valve_alone: tuple[ValveFlow, ...]  # the smaller of two in parallel by itself, or the valve as it is
    valve_loop_flow: Numbers  # of a circulated loop, where it passes the valve
    valve_loop_needs_power: Numbers  # bool: it has a loop whose pump is not said to run without power
    valve_has_bypass: Numbers
    valve_bypass_coefficient: Numbers
    valve_bypass_curve: Numbers
    valve_fault_missing: tuple[tuple[str, ...], ...]  # only the fault cases need these
    # Stations and outlets.
    station_tags: tuple[str, ...]
    station_node: Numbers
    station_valve: Numbers
    missing: tuple[tuple[str, ...], ...]
    outlet_station: Numbers
    outlet_slot: Numbers
    outlet_kind: tuple[str, ...]
    outlet_names: tuple[str, ...]
    outlet_elevation: Numbers
    outlet_rated_flow: Numbers
    outlet_rated_pressure: Numbers
    outlet_regulated: Numbers

    def controls(self, valve: Numbers, passing: Numbers) -> Numbers:
        """Whether valves of those numbers control those flows, of a loop included: of two in parallel each [m³/s]."""
        control = passing >= self.valve_minimum_flow[valve] * (1 - ROUNDING)
        if not self.valve_gap_to.any():
            return np.asarray(control)
        small = passing <= self.valve_gap_from[valve] * (1 + ROUNDING)
        return np.asarray(control & (small | (passing >= self.valve_gap_to[valve] * (1 - ROUNDING))))

    def lowest_common_ancestor(self, one: Numbers, other: Numbers) -> Numbers:
        """The deepest node above both (or one of them), for arrays of nodes."""
        deep = np.where(self.depth[one] >= self.depth[other], one, other)
        high = np.where(self.depth[one] >= self.depth[other], other, one)
        deep = self.climb(deep, self.depth[deep] - self.depth[high])
        for level in range(len(self.ancestors) - 1, -1, -1):
            up_deep, up_high = self.ancestors[level][deep], self.ancestors[level][high]
            apart = up_deep != up_high
            deep, high = np.where(apart, up_deep, deep), np.where(apart, up_high, high)
        return np.where(deep == high, deep, self.parent[deep])

    def climb(self, node: Numbers, steps: Numbers) -> Numbers:
        """The node so many steps above, for arrays."""
        for level in range(len(self.ancestors)):
            node = np.where((steps >> level) & 1, self.ancestors[level][node], node)
        return node

    def narrowest_run(self, lower: Numbers, upper: Numbers) -> Numbers:
        """The run with the least bore from `lower` up to, not including, `upper`; NONE where there is no run."""
        steps = self.depth[lower] - self.depth[upper]
        area = np.append(self.run_area, np.inf)  # NONE finds infinity at the end
        best = np.full(np.shape(lower), NONE)
        node = lower
        for level in range(len(self.ancestors)):
            here = ((steps >> level) & 1).astype(bool)
            found = np.where(here, self.narrowest[level][node], NONE)
            best = np.where(area[found] < area[best], found, best)
            node = np.where(here, self.ancestors[level][node], node)
        return best
