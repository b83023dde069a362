"""Openings of one shape condensed to the few stretches that their water takes, and what the network gives at flows.

An opening with m stations behind v valves (and d stations without a valve) has m ends in the tempered forest and
t = 2v + d ends in the forest of supplies and hot water. Ends of a tree split it into at most 2m - 1 (2t - 1) edges,
found by sorting the ends and taking the lowest common ancestor of neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, Network
from drenchbook.operating_cases import HOT_LOST, NORMAL, STATES, Cases
from drenchbook.physics.mixing import hot_mass_fraction_kernel, mixture_of_share_kernel
from drenchbook.physics.pipe_flow import GRAVITY
from drenchbook.physics.supply import SUPPLY_EXPONENT
from drenchbook.physics.water import density_kernel, viscosity_kernel
from drenchbook.solver_paths import Curves, Stretches, stretches
from drenchbook.solver_results import REACHES, TOO_COLD, TOO_HOT
from drenchbook.solver_trees import (
    Held,
    drawing_sources,
    gathered,
    held_between,
    reducers_above,
    settings_at,
    tree_of_ends,
    wide_stations,
)

Numbers: TypeAlias = np.ndarray[Any, Any]

SEASON_OF_STATE = np.array([("cold", "warm").index(season) for season, _ in STATES])
LEVEL_OF_STATE = np.array([("low", "high").index(level) for _, level in STATES])


@dataclass(frozen=True)
class Shape:
    """What openings of one block have in common."""

    stations: int
    valves: int
    direct: int
    wide: bool = False  # a pressure-reducing valve, or other hot demand, counts on a path


@dataclass(frozen=True)
class Block:
    """Openings of one shape for one fault. Axes: S states, B openings, then what the comment names.

    `fault` says what valves do: NORMAL mixes, HOT_LOST passes the bypass only, SOURCE_COLD has valves with a cold
    source (`cold_source`), hot seat and bypass open, beside others that mix.
    """

    fault: str
    shape: Shape
    opening: Numbers  # [B]
    first: Numbers  # openings that differ in more than their outlets: places in the block as it was built
    same: Numbers  # [B] which of `first` an opening is like
    outlet_pair: Numbers  # [B, outlets] place in Cases.outlets, NONE where padded
    station_of_outlet: Numbers  # [B, outlets] place of its station in the opening
    rated_flow: Numbers  # [B, outlets], zero where padded
    rated_pressure: Numbers
    regulated: Numbers
    outlet_height: Numbers  # [S, B, outlets] pressure of its height above the valve or, without one, of nothing
    valve: Numbers  # [B, valves]
    valve_of_station: Numbers  # [B, stations] place of the valve in the opening, NONE without one
    end_of_station: Numbers  # [B, stations] place of its end in the supply forest, for stations without a valve
    supply_lower: Numbers  # [B, 2 edges] nodes of the stretches
    supply_upper: Numbers
    tempered_lower: Numbers  # [B, edges]
    tempered_upper: Numbers
    supply_edges: Numbers  # [B, edges, ends] 1 where the edge feeds the end, 0 elsewhere
    supply_paths: Stretches  # two stretches an edge: the part with cold, then the part with hot water
    supply_density: Numbers  # [S, B, 2 edges]
    supply_viscosity: Numbers
    end_static: Numbers  # [S, B, ends] pressure at no flow, height counted
    tempered_edges: Numbers  # [B, edges, stations]
    tempered_paths: Stretches
    tempered_density: Numbers  # [S, B, edges]
    tempered_viscosity: Numbers
    station_density: Numbers  # [S, B, stations]
    valve_density: Numbers  # [S, B, valves] of the mixture
    hot_density: Numbers  # [S, B, valves] of the water at the hot inlet
    cold_density: Numbers  # [S]
    cold_source: Numbers  # [B, valves] bool: its hot water source gives cold water
    supply_draw: Numbers | None  # [S, B, edges] mass flow of other hot demand, None where there is none
    supply_held: Held | None  # what pressure-reducing valves hold before the ends
    tempered_held: Held | None  # and before the stations
    share_asked: Numbers  # [S, B, valves] hot fraction by mass, unclamped
    share: Numbers  # the same, 0 to 1
    reach: Numbers
    mixed_temperature: Numbers  # [S, B, valves]
    coefficient: Numbers  # [B, valves]
    coefficient_curve: Numbers
    outlet_square: Numbers
    bypass_coefficient: Numbers  # zero where none is fitted
    bypass_curve: Numbers

    def __len__(self) -> int:
        return len(self.opening)

    def take(self, at: Numbers) -> Block:
        """The openings at these places."""
        return replace(self, **{name: _taken(name, value, at) for name, value in self.__dict__.items()})


def _taken(name: str, value: Any, at: Numbers) -> Any:
    """The part of a block's field that belongs to openings."""
    if name in _OF_ALL:
        return value
    if isinstance(value, (Stretches, Held)):
        return value.take(at)
    if value is None:
        return None
    return value.take(at, axis=1 if name in _BY_STATE else 0)


_OF_ALL = frozenset(("fault", "shape", "first", "same", "cold_density"))
_BY_STATE = frozenset(("outlet_height", "supply_draw", "supply_density", "supply_viscosity", "end_static",
                       "tempered_density", "tempered_viscosity", "station_density", "valve_density", "hot_density",
                       "share_asked", "share", "reach", "mixed_temperature"))  # fmt: skip


def splits(block: Block) -> Numbers:
    """Which valves [B, valves] let cold water of their source and of their bypass meet: the split is to be found."""
    return block.cold_source & ((block.bypass_coefficient != 0) | (block.bypass_curve != NONE))


def shapes(network: Network, cases: Cases, openings: Numbers) -> list[tuple[Shape, Numbers]]:
    """Openings grouped by shape."""
    valve = network.station_valve[cases.stations.member] if len(network.station_valve) else np.zeros(0, int)
    direct = np.bincount(cases.stations.opening, weights=valve == NONE, minlength=len(cases)).astype(int)
    base = int(cases.stations.counts.max(initial=0)) + 1  # no opening has more valves than stations
    wide = np.zeros(len(cases), dtype=int)
    wide[cases.stations.opening[wide_stations(network)[cases.stations.member]]] = 1
    key = (((cases.stations.counts * base + cases.valves.counts) * base + direct) * 2 + wide)[openings]
    return [(Shape(one // 2 // base**2, one // 2 // base % base, one // 2 % base, bool(one % 2)), openings[key == one])
            for one in np.unique(key).tolist()]  # fmt: skip


def block_of(
    network: Network, curves: Curves, cases: Cases, shape: Shape, openings: Numbers, fault: str = NORMAL
) -> Block:
    """Openings of one shape, condensed for one fault."""
    rows = np.arange(shape.stations)
    station = cases.stations.member[cases.stations.offsets[openings][:, None] + rows]
    first = same = np.arange(len(openings))
    if shape.stations == 1:  # openings of one station differ in their outlets only: build it once
        _, first, same = np.unique(station[:, 0], return_index=True, return_inverse=True)
    station_of_opening, station = station, station[first]
    valve = cases.valves.member[cases.valves.offsets[openings[first]][:, None] + np.arange(shape.valves)]
    own_valve = network.station_valve[station]
    match = own_valve[:, :, None] == valve[:, None, :]
    valve_of_station = np.where(match.any(axis=2), match.argmax(axis=2) if shape.valves else NONE, NONE)
    direct = valve_of_station == NONE
    end_of_station = np.where(direct, 2 * shape.valves + np.cumsum(direct, axis=1) - 1, NONE)
    water = waters(network, valve, fault)
    parts: dict[str, Any] = {"valve": valve, "valve_of_station": valve_of_station, "end_of_station": end_of_station}
    parts.update({key: water[key] for key in ("valve_density", "hot_density", "cold_density", "share_asked", "share",
                                              "reach", "mixed_temperature")})  # fmt: skip
    parts["cold_source"] = np.append(network.source_cold, False)[network.valve_source[valve]]
    parts.update(supply_side(network, curves, station, direct, valve, shape, water))
    parts.update(tempered_side(network, curves, station, valve_of_station, water))
    parts.update(valve_data(network, valve))
    if shape.stations == 1:
        parts = {name: _taken(name, value, same) for name, value in parts.items()}
    outlets: dict[str, Any] = _outlets(network, cases, openings, station_of_opening, parts["valve_of_station"],
                                       parts["valve"], parts["station_density"])  # fmt: skip
    return Block(fault=fault, shape=shape, opening=openings, first=first, same=same, **parts, **outlets)


def waters(network: Network, valve: Numbers, fault: str) -> dict[str, Numbers]:
    """Temperatures and shares of the valves [S, B, valves], and the properties of all waters."""
    cold = network.cold_temperature[SEASON_OF_STATE]
    wide = (len(cold), len(network.valve_tags))  # every valve of the network once, whatever the openings
    cold_wide = np.broadcast_to(cold[:, None], wide)
    off = network.source_cold | (fault == HOT_LOST)
    hot = np.where(off[network.valve_source], cold_wide, network.source_temperature[network.valve_source])
    wanted = np.broadcast_to(network.valve_set, wide)
    asked = np.asarray(hot_mass_fraction_kernel(wanted, hot, cold_wide))
    with np.errstate(invalid="ignore"):
        reach = np.where((asked >= 0) & (asked <= 1), REACHES,
                         np.where(wanted > np.minimum(hot, cold_wide), TOO_COLD, TOO_HOT))  # fmt: skip
    share = np.where(reach == REACHES, asked, np.where(reach == TOO_COLD, 1.0, 0.0))
    missed = reach != REACHES
    mixed = np.where(missed, mixture_of_share_kernel(share, hot, cold_wide), wanted) if missed.any() else wanted
    if off.any():
        cold_only = np.broadcast_to(off[network.valve_source], wide)
        share, asked = np.where(cold_only, 0.0, share), np.where(cold_only, np.nan, asked)
        reach, mixed = np.where(cold_only, REACHES, reach), np.where(cold_only, cold_wide, mixed)
    of_valves = {"hot_density": density_kernel(hot), "valve_density": density_kernel(mixed),
                 "valve_viscosity": viscosity_kernel(mixed), "share": share, "share_asked": asked, "reach": reach,
                 "mixed_temperature": mixed}  # fmt: skip
    source = np.where(off, cold[:, None], network.source_temperature)
    # Index NONE finds the cold water at the end.
    everywhere = np.concatenate((source, cold[:, None]), axis=1)
    return {"cold_density": density_kernel(cold), "cold_viscosity": viscosity_kernel(cold),
            "source_density": density_kernel(everywhere), "source_viscosity": viscosity_kernel(everywhere),
            **{key: value[:, valve] for key, value in of_valves.items()}}  # fmt: skip


def supply_side(network: Network, curves: Curves, station: Numbers, direct: Numbers, valve: Numbers, shape: Shape,
                 water: dict[str, Numbers]) -> dict[str, Any]:  # fmt: skip
    both = np.stack((network.valve_cold_node[valve], network.valve_hot_node[valve]), axis=2).reshape(len(valve), -1)
    straight = network.station_node[station][direct].reshape(len(valve), shape.direct)
    ends = np.concatenate((both, straight), axis=1)
    count, drawing = ends.shape[1], np.zeros((len(ends), 0), dtype=int)
    reducers = np.full((len(ends), 0, count), NONE)
    tree = tree_of_ends(network, ends)
    if shape.wide:
        reducers, drawing = reducers_above(network, ends), drawing_sources(network, ends)
        drawn_at = np.append(network.source_node, 0)[drawing]
        more = np.concatenate((np.maximum(reducers, 0).reshape(len(ends), -1), drawn_at), axis=1)
        tree = tree_of_ends(network, np.concatenate((ends, more), axis=1))
    # Where an edge crosses a hot water source, its lower part carries hot water and its upper part cold.
    source, above = network.node_source[tree.lower], network.node_source[tree.upper]
    crossing = (source != NONE) & (above != source)
    inlet = np.append(network.parent[network.source_node], 0)[source]
    cold_lower = np.where(source == NONE, tree.lower, np.where(crossing, inlet, tree.upper))
    hot_upper = np.where(source == NONE, tree.lower, np.where(crossing, inlet, tree.upper))
    lower = np.stack((cold_lower, tree.lower), axis=2).reshape(len(valve), -1)
    upper = np.stack((tree.upper, hot_upper), axis=2).reshape(len(valve), -1)
    paths = stretches(network, curves, lower, upper, LEVEL_OF_STATE)
    own = np.stack((np.full_like(source, NONE), source), axis=2).reshape(len(valve), -1)
    properties = {
        "supply_density": water["source_density"][:, own],
        "supply_viscosity": water["source_viscosity"][:, own],
    }
    drawn = None
    if drawing.shape[1]:
        mass = np.append(network.source_draw, 0.0) * np.where(
            np.isnan(water["source_density"]), 0.0, water["source_density"])  # fmt: skip
        drawn = gathered(mass[:, drawing], np.swapaxes(tree.feeds[:, :, -drawing.shape[1] :], 1, 2))
    feeds = tree.feeds[:, :, :count]
    return {"supply_lower": lower, "supply_upper": upper, "supply_edges": feeds, "supply_paths": paths,
            **properties, "supply_draw": drawn,
            "supply_held": _held_before_ends(network, tree.lower, feeds, reducers, ends, valve, water),
            "end_static": _end_static(network, curves, ends, valve, water)}  # fmt: skip


def _held_before_ends(network: Network, lower: Numbers, feeds: Numbers, reducers: Numbers, ends: Numbers,
                      valve: Numbers, water: dict[str, Numbers]) -> Held | None:  # fmt: skip
    """What each reducer lets through to the ends of the supply side."""
    if not reducers.shape[1]:
        return None
    setting = settings_at(network, reducers)
    hot = network.node_source[reducers] != NONE
    start, boosted = network.node_elevation[reducers], network.boost_sum[reducers]
    let = [_pressure_from(network, ends, valve, water, setting[:, k], start[:, k], hot[:, k], boosted[:, k])
           for k in range(reducers.shape[1])]  # fmt: skip
    return held_between(network.depth[lower], feeds, reducers, network.depth, np.stack(let, axis=2))


def _end_static(network: Network, curves: Curves, ends: Numbers, valve: Numbers, water: dict[str, Numbers]) -> Numbers:
    """Pressure at the ends at no flow [S, B, ends], no losses; valve inlets at the valve's height, others at datum."""
    supply, source = network.node_supply[ends], network.node_source[ends]
    static = np.full((2, *ends.shape), np.nan)
    start = np.full(ends.shape, np.nan)
    if len(network.supply_tags):
        curve = network.supply_curve[:, supply]
        given = np.append(curves.pressure_at_no_flow, np.nan)[curve]
        with np.errstate(invalid="ignore"):
            law = (network.supply_static - network.supply_residual) * (
                network.supply_draw / network.supply_test_flow) ** SUPPLY_EXPONENT  # fmt: skip
        static = np.where(curve >= 0, given, (network.supply_static - law)[:, supply])
        start = network.supply_elevation[supply]
    pressure = static[LEVEL_OF_STATE]
    own = np.zeros(ends.shape, dtype=bool)
    if len(network.source_tags):
        own = (source != NONE) & network.source_plant_main[source]
        pressure = np.where(own, network.source_pressure[source], pressure)
        start = np.where(own, network.node_elevation[network.source_node[source]], start)
    return _pressure_from(network, ends, valve, water, pressure, start, own, np.zeros(ends.shape))


def _pressure_from(network: Network, ends: Numbers, valve: Numbers, water: dict[str, Numbers], pressure: Numbers,
                   start: Numbers, hot: Numbers, boosted: Numbers) -> Numbers:  # fmt: skip
    """Pressure at the ends at no flow when it stands at an elevation upstream; `hot`: that lies behind the source."""
    source = network.node_source[ends]
    cold_density = water["cold_density"][:, None, None]
    source_elevation = np.zeros(ends.shape)
    if len(network.source_tags):
        source_elevation = network.node_elevation[network.source_node[source]]
    heights = network.valve_elevation[valve] if valve.size else np.zeros(valve.shape)
    level = np.zeros(ends.shape)
    level[:, : 2 * valve.shape[1]] = np.repeat(heights, 2, axis=1)
    hot_density = np.ones((len(STATES), *ends.shape))
    hot_density[:, :, : 2 * valve.shape[1]] = np.repeat(water["hot_density"], 2, axis=2)
    inlet = np.where(source == NONE, level, np.where(hot, start, source_elevation))
    rise = np.where(hot, 0.0, cold_density * (inlet - start))
    weight = GRAVITY * (rise + np.where(source == NONE, 0.0, hot_density * (level - inlet)))
    return pressure - weight + (network.boost_sum[ends] - boosted)


def tempered_side(network: Network, curves: Curves, station: Numbers, valve_of_station: Numbers,
                   water: dict[str, Numbers]) -> dict[str, Any]:  # fmt: skip
    behind = valve_of_station != NONE
    ends = np.where(behind, network.station_node[station], 0)
    reducers = reducers_above(network, ends)
    tree = tree_of_ends(network, np.concatenate((ends, np.maximum(reducers, 0).reshape(len(ends), -1)), axis=1))
    feeds = tree.feeds[:, :, : ends.shape[1]]
    paths = stretches(network, curves, tree.lower, tree.upper, LEVEL_OF_STATE)
    at = np.broadcast_to(np.maximum(valve_of_station, 0), (len(STATES), *valve_of_station.shape))
    wide = [np.broadcast_to(water[key][:, None, None], at.shape) for key in ("cold_density", "cold_viscosity")]
    own = [np.where(behind, np.take_along_axis(water[key], at, axis=2), flat)
           if water[key].shape[2] else flat.copy()
           for key, flat in zip(("valve_density", "valve_viscosity"), wide, strict=True)]  # fmt: skip
    # All ends below an edge of some length share its valve; take the water of the first.
    first = np.broadcast_to(feeds.argmax(axis=2), (len(STATES), *tree.lower.shape))
    density, viscosity = (np.take_along_axis(one, first, axis=2) for one in own)
    setting = settings_at(network, reducers)
    rise = network.node_elevation[reducers]
    if len(network.valve_tags):
        rise = rise - network.valve_elevation[network.node_valve[ends]][:, None, :]
    let = setting - network.boost_sum[reducers] + GRAVITY * own[0][:, :, None, :] * rise
    held = held_between(network.depth[tree.lower], feeds, reducers, network.depth, let)
    return {"tempered_lower": tree.lower, "tempered_upper": tree.upper, "tempered_edges": feeds,
            "tempered_held": held,
            "tempered_paths": paths, "tempered_density": density, "tempered_viscosity": viscosity,
            "station_density": own[0]}  # fmt: skip


def valve_data(network: Network, valve: Numbers) -> dict[str, Numbers]:
    bypass = np.where(network.valve_has_bypass, network.valve_bypass_coefficient, 0.0)
    bypass = np.where(network.valve_has_bypass & (network.valve_bypass_curve != NONE), np.nan, bypass)
    return {"coefficient": network.valve_coefficient[valve], "coefficient_curve": network.valve_curve[valve],
            "outlet_square": network.valve_outlet_square[valve], "bypass_coefficient": bypass[valve],
            "bypass_curve": np.where(network.valve_has_bypass, network.valve_bypass_curve, NONE)[valve]}  # fmt: skip


def _outlets(network: Network, cases: Cases, openings: Numbers, station: Numbers, valve_of_station: Numbers,
             valve: Numbers, density: Numbers) -> dict[str, Numbers]:  # fmt: skip
    counts = cases.outlets.counts[openings]
    width = int(counts.max(initial=0))
    pair = cases.outlets.offsets[openings][:, None] + np.arange(width)
    there = np.arange(width) < counts[:, None]
    pair = np.where(there, pair, 0)
    outlet = cases.outlets.member[pair]
    place = (network.outlet_station[outlet][:, :, None] == station[:, None, :]).argmax(axis=2)
    own_valve = np.take_along_axis(valve_of_station, place, axis=1)
    start = np.zeros(outlet.shape)
    if valve.shape[1]:
        elevation = network.valve_elevation[np.take_along_axis(valve, np.maximum(own_valve, 0), axis=1)]
        start = np.where(own_valve == NONE, 0.0, elevation)
    wide = np.broadcast_to(place, (len(STATES), *place.shape))
    height = GRAVITY * np.take_along_axis(density, wide, axis=2) * (network.outlet_elevation[outlet] - start)
    node = network.station_node[network.outlet_station[outlet]]
    height = height - np.where(own_valve == NONE, 0.0, network.boost_sum[node])  # boosters behind the valve
    return {"outlet_pair": np.where(there, pair, NONE), "station_of_outlet": place,
            "rated_flow": np.where(there, network.outlet_rated_flow[outlet], 0.0),
            "rated_pressure": np.where(there, network.outlet_rated_pressure[outlet], 1.0),
            "regulated": there & network.outlet_regulated[outlet],
            "outlet_height": np.where(there, height, 0.0)}  # fmt: skip
