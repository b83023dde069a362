"""Heat that water gains and loses in pipes on its way, in steady flow: every opening, both seasons, all at once.

A path is walked upward from its end. Runs in a row with the same surroundings count as one, by a difference of sums
from the root, so that a long path costs no more than a short one; where paths of a set meet, the flows add up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.check_context import Context
from drenchbook.network_arrays import RUN, WITHIN_RUNS, Network
from drenchbook.operating_cases import NORMAL, STATES
from drenchbook.physics.water import density, heat_capacity
from drenchbook.solver_blocks import SEASON_OF_STATE
from drenchbook.solver_trees import gathered, tree_of_ends
from drenchbook.surroundings import Surroundings

Numbers: TypeAlias = np.ndarray[Any, Any]

BLOCK = 4000  # openings walked together; memory grows with it, answers do not change
ANYWHERE = 20.0  # [°C] stands for surroundings that are not known; where they matter the answer is not-a-number
WIDEST = 60.0  # [K] greatest difference of water and surroundings that an unknown temperature is taken for
BELOW_PRINT = 0.05  # [K] what moves a temperature by less is not waited for


@dataclass(frozen=True)
class Passage:
    """What pipes do to the water that passes them: it arrives at `kept · start + gained`. Arrays [S, pairs].

    `unknown` is the share of the answer that hangs on surroundings or insulation that nobody stated.
    """

    kept: Numbers
    gained: Numbers  # [°C]
    unknown: Numbers

    def arriving(self, start: Numbers) -> Numbers:
        """Temperatures at the ends of the paths; not-a-number where what is not stated would show.

        Parameters
        ----------
        start : array
            Temperatures at the beginning of the paths, [S, pairs]. [°C]

        Returns
        -------
        array
            Temperatures at the ends. [°C]

        Notes
        -----
        T = Ta + (T0 - Ta)·exp(-U′L/ṁc) for one run after the other [Incropera, eq. 8.45a]: linear in T0.

        >>> Passage(np.array([0.5]), np.array([10.0]), np.array([0.0])).arriving(np.array([40.0])).tolist()
        [30.0]
        """
        return np.where(self.unknown * WIDEST < BELOW_PRINT, self.kept * start + self.gained, np.nan)


@dataclass(frozen=True)
class _Sums:
    """Along the forest: conductance from the root, and the top of the stretch of one surroundings above each node."""

    conductance: Numbers  # [nodes] [W/K]
    top: Numbers  # [nodes]
    around: Numbers  # [2, nodes] [°C]
    unknown: Numbers  # [2, nodes] bool


def tempered_passage(context: Context, around: Surroundings, station_flow: Numbers | None = None) -> Passage:
    """What the runs from a valve to each of its stations do to the water, in every opening.

    Parameters
    ----------
    context : Context
        A solved site. [-]
    around : Surroundings
        Of the same site. [W/K, °C]
    station_flow : array, optional
        Flow of each pair of an opening and a station, [S, pairs]; by default that of the normal state. [m³/s]

    Returns
    -------
    Passage
        For each pair of `cases.stations`. A station without a valve is taken from its supply, with the flow of
        stations alone: what valves draw from a common run is not counted there. [°C]

    Notes
    -----
    With it a temperature at the valve becomes one at the station: `tempered_passage(...).arriving(mixed)`. The heat
    capacity of the water is taken at the valve's set temperature.
    """
    network, cases = context.network, context.cases
    flow = station_flows(context) if station_flow is None else station_flow
    valve = network.station_valve[cases.stations.member]
    cold = network.cold_temperature[SEASON_OF_STATE][:, None]
    wanted = np.append(network.valve_set, np.nan)[valve]
    rate = flow * _heat_per_volume(np.where(valve >= 0, wanted, cold))
    return _passages(
        network, _sums_of(context, around), cases.stations.offsets, network.station_node[cases.stations.member], rate
    )


def inlet_passage(context: Context, around: Surroundings, side: str) -> Passage:
    """What the runs from a hot water source, or from the supply, do to the water that a valve draws.

    Parameters
    ----------
    context : Context
        A solved site. [-]
    around : Surroundings
        Of the same site. [W/K, °C]
    side : str
        "hot" or "cold". [-]

    Returns
    -------
    Passage
        For each pair of `cases.valves`, in the normal state. [°C]

    Notes
    -----
    Only the flow to that side of the valves of an opening is counted in runs that they share: less than flows there.
    """
    network, cases = context.network, context.cases
    valve, results = cases.valves.member, context.results.normal.valve
    if side == "hot":
        node, flow = network.valve_hot_node[valve], results.hot_flow
        water = np.broadcast_to(network.source_temperature[network.valve_source[valve]], flow.shape)
    else:
        node, flow = network.valve_cold_node[valve], results.cold_flow
        water = np.broadcast_to(network.cold_temperature[SEASON_OF_STATE][:, None], flow.shape)
    return _passages(network, _sums_of(context, around), cases.valves.offsets, node, flow * _heat_per_volume(water))


def station_flows(context: Context, fault: str = NORMAL) -> Numbers:
    """[S, station pairs] flow of all open outlets of each station in a fault. [m³/s]"""
    cases, outlet_flow = context.cases, context.results.fault(fault).outlet_flow
    if outlet_flow.shape[1] == 0:
        return np.zeros((len(STATES), len(cases.stations.member)))
    place = station_pair_of_outlets(context)
    count = len(cases.stations.member)
    return np.stack([np.bincount(place, weights=one, minlength=count) for one in outlet_flow])


def station_pair_of_outlets(context: Context) -> Numbers:
    """[outlet pairs] the pair of the same opening and the outlet's station."""
    cases = context.cases
    wide = len(context.site.stations) + 1
    keys = cases.stations.opening * wide + cases.stations.member  # stations of an opening stand in the site's order
    return np.searchsorted(keys, cases.outlets.opening * wide + cases.outlet_station[cases.outlets.member])


def _heat_per_volume(temperature: Numbers) -> Numbers:
    """ρ·c of water; not-a-number where the temperature is. [J/(m³·K)]"""
    found = np.full(temperature.shape, np.nan)
    known = ~np.isnan(temperature)
    values, inverse = np.unique(temperature[known], return_inverse=True)
    if len(values):
        found[known] = (density(values) * heat_capacity(values))[inverse]
    return found


def _passages(network: Network, sums: _Sums, offsets: Numbers, node: Numbers, rate: Numbers) -> Passage:
    """Passages of all pairs: openings of as many ends together, block by block."""
    counts = np.diff(offsets)
    kept, gained, unknown = np.ones(rate.shape), np.zeros(rate.shape), np.zeros(rate.shape)
    for count in np.unique(counts[counts > 0]).tolist():
        openings = np.flatnonzero(counts == count)
        for start in range(0, len(openings), BLOCK):
            pairs = offsets[openings[start : start + BLOCK]][:, None] + np.arange(count)
            for out, part in zip(
                (kept, gained, unknown), _walk(network, sums, node[pairs], rate[:, pairs]), strict=True
            ):
                out[:, pairs] = part
    return Passage(kept, gained, unknown)


def _sums_of(context: Context, around: Surroundings) -> _Sums:
    """The sums of these surroundings, worked out once."""
    found: _Sums = context.kept((_sums_of, around), lambda: _sums(context.network, around))
    return found


def _sums(network: Network, around: Surroundings) -> _Sums:
    """Prefix sums over the nodes; parents stand before children."""
    count = len(network.node_kind)
    is_run, item = network.node_kind == RUN, network.node_item
    own, outside = np.zeros(count), np.full((2, count), ANYWHERE)
    unknown = np.zeros((2, count), dtype=bool)
    own[is_run] = np.nan_to_num(around.conductance)[item[is_run]]
    outside[:, is_run] = np.where(np.isnan(around.flowing), ANYWHERE, around.flowing)[:, item[is_run]]
    unknown[:, is_run] = (np.isnan(around.flowing) | around.bare_by_blank | np.isnan(around.conductance))[
        :, item[is_run]
    ]
    total, top = own.copy(), network.parent.copy()
    _, alike = np.unique(np.vstack((outside, unknown, is_run)), axis=1, return_inverse=True)
    for node, above, same in zip(range(1, count), network.parent[1:].tolist(), alike[network.parent[1:]] == alike[1:],
                                 strict=True):  # fmt: skip
        total[node] += total[above]
        if same and is_run[node]:
            top[node] = top[above]
    return _Sums(total, top, outside, unknown)


def _walk(network: Network, sums: _Sums, ends: Numbers, rate: Numbers) -> tuple[Numbers, Numbers, Numbers]:
    """Kept, gained and unknown [S, B, ends] of the ends [B, ends] of some openings."""
    tree = tree_of_ends(network, ends)
    edge_rate = gathered(rate, np.swapaxes(tree.feeds, 1, 2))
    depth = np.where(tree.feeds > 0, network.depth[tree.lower][:, :, None], -1)  # [B, edges, ends]
    order = np.argsort(-depth, axis=1, kind="stable")
    kept, gained, unknown = np.ones(rate.shape), np.zeros(rate.shape), np.zeros(rate.shape)
    rows = np.arange(len(ends))[:, None]
    ended = np.zeros(ends.shape, dtype=bool)  # the walk has come to a valve, a source or a supply
    for step in range(int((depth >= 0).sum(axis=1).max(initial=0))):
        edge = order[:, step]  # [B, ends]
        here = np.take_along_axis(depth, edge[:, None], axis=1)[:, 0] >= 0
        node, stop = tree.lower[rows, edge], tree.upper[rows, edge]
        flow = edge_rate[:, rows, edge]
        while True:
            ended |= here & ~np.isin(network.node_kind[node], WITHIN_RUNS) & (node != stop)
            going = here & ~ended & (network.depth[node] > network.depth[stop])
            if not going.any():
                break
            top = sums.top[node]
            above = np.where(going, np.where(network.depth[top] > network.depth[stop], top, stop), node)
            with np.errstate(divide="ignore", invalid="ignore"):
                units = (sums.conductance[node] - sums.conductance[above]) / flow
            left = np.where(going, np.exp(-np.where(np.isnan(units), 0.0, units)), 1.0)
            share = kept * (1 - left)
            gained += share * sums.around[SEASON_OF_STATE][:, node]
            unknown += np.where(sums.unknown[SEASON_OF_STATE][:, node], share, 0.0)
            kept *= left
            node = above
    return kept, gained, unknown
