"""What a block of openings gives when its outlets pass given flows: pressures at every outlet and inside every valve.

The same walk serves Newton's method for sets of stations, the numbers that are reported, and the residual of every
case.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE
from drenchbook.operating_cases import HOT_LOST, NORMAL
from drenchbook.physics.mixing_valve import two_seats_kernel
from drenchbook.solver_blocks import Block, splits
from drenchbook.solver_paths import Curves, CurveTable, picked
from drenchbook.solver_trees import Held, gathered

Numbers: TypeAlias = np.ndarray[Any, Any]

WHOLE = 1e-12  # a share this near to none or all is that, but for rounding


@dataclass(frozen=True)
class Flows:
    """The network at given outlet flows. Axes: state, opening, then outlet, station, valve, end or stretch."""

    outlet_flow: Numbers
    outlet_pressure: Numbers  # what the network gives; the outlet itself may need another
    station_flow: Numbers
    valve_flow: Numbers
    hot_share: Numbers
    hot_flow: Numbers  # volume at the temperature of the hot inlet
    cold_flow: Numbers
    hot_pressure: Numbers
    cold_pressure: Numbers
    chamber_pressure: Numbers
    valve_pressure: Numbers  # behind the outlet passage
    stem: Numbers
    imbalance: Numbers  # pressure behind the bypass less that behind the hot seat, where both are open
    supply_stretch_flow: Numbers
    tempered_stretch_flow: Numbers
    slopes: Slopes | None
    looks_hot: Numbers | None  # [S, B, valves] outlets look behind the hot seat, which takes all; None: nowhere
    from_valve: Numbers | None  # [S, B, stations] no pressure-reducing valve holds between; None: nowhere


@dataclass(frozen=True)
class Slopes:
    """Slopes of the outlet pressures and of the imbalance, with outlet flows and with the flows through the hot seats.

    The latter only with a cold source, where outlet pressures are those behind the bypass.
    """

    pressure_flow: Numbers  # [S, B, outlets, outlets]
    pressure_hot: Numbers | None  # [S, B, outlets, valves]
    imbalance_flow: Numbers | None  # [S, B, valves, outlets]
    imbalance_hot: Numbers | None  # [S, B, valves, valves]


@dataclass(frozen=True)
class _Valve:
    """Pressures behind valves; slopes with the flow, the flow through the hot seat and the inlet pressures."""

    chamber: Numbers
    pressure: Numbers
    stem: Numbers
    imbalance: Numbers
    by_flow: Numbers
    by_hot_flow: Numbers
    by_hot: Numbers
    by_cold: Numbers
    imbalance_by_flow: Numbers
    imbalance_by_hot_flow: Numbers


def flows(
    block: Block, curves: Curves, table: CurveTable, outlet_flow: Numbers, hot_flow: Numbers, with_slopes: bool
) -> Flows:
    """Pressures at outlet flows [S, B, outlets], with the loss curves of `table`.

    `hot_flow` [S, B, valves], the volume through the hot seats, counts with a cold source only; elsewhere the
    temperatures give it.
    """
    outlets, stations, valves = _incidence(block)
    station_flow = gathered(outlet_flow, outlets)
    valve_flow = gathered(station_flow, valves)
    share = block.share if block.fault in (NORMAL, HOT_LOST) else _share(block, valve_flow, hot_flow)
    end_mass = _end_mass(block, station_flow, valve_flow, share)
    edges = block.supply_edges
    edge_mass = gathered(end_mass, np.swapaxes(edges, 1, 2))
    if block.supply_draw is not None:
        edge_mass = edge_mass + block.supply_draw
    supply_flow = np.repeat(edge_mass, 2, axis=2) / block.supply_density
    loss, slope = block.supply_paths.losses(supply_flow, block.supply_density, block.supply_viscosity, table)
    edge_loss = loss[..., ::2] + loss[..., 1::2]
    end, lost_on = _least(block.end_static - gathered(edge_loss, edges), edge_loss, block.supply_held, edges)
    count = block.shape.valves
    cold, hot = end[..., 0 : 2 * count : 2], end[..., 1 : 2 * count : 2]
    valve = _valve(block, curves, valve_flow, share, hot, cold, with_slopes)
    looks_hot = None
    if with_slopes and block.tempered_held is not None and block.fault not in (NORMAL, HOT_LOST):
        looks_hot = splits(block) & (share >= 1) & (valve.imbalance <= 0)
        valve = _behind_hot(valve, looks_hot)
    tempered_flow = gathered(station_flow, np.swapaxes(block.tempered_edges, 1, 2))
    tempered_loss, tempered_slope = block.tempered_paths.losses(
        tempered_flow, block.tempered_density, block.tempered_viscosity, table
    )
    before = np.concatenate((valve.pressure, end), axis=2)
    base = picked(before, stations)
    base, tempered_on = _least(base - gathered(tempered_loss, block.tempered_edges), tempered_loss,
                               block.tempered_held, block.tempered_edges)  # fmt: skip
    pressure = picked(base, block.station_of_outlet) - block.outlet_height
    slopes = None
    if with_slopes:
        edge_slope = (slope / block.supply_density).reshape(*edge_mass.shape, 2).sum(axis=3)
        slopes = _slopes(block, valve, edge_slope, tempered_slope, share, lost_on, tempered_on)
    mass = valve_flow * block.valve_density
    return Flows(
        outlet_flow=outlet_flow, outlet_pressure=pressure, station_flow=station_flow, valve_flow=valve_flow,
        hot_share=share, hot_flow=share * mass / block.hot_density,
        cold_flow=(1 - share) * mass / block.cold_density[:, None, None], hot_pressure=hot, cold_pressure=cold,
        chamber_pressure=valve.chamber, valve_pressure=valve.pressure, stem=valve.stem, imbalance=valve.imbalance,
        supply_stretch_flow=supply_flow, tempered_stretch_flow=tempered_flow, slopes=slopes, looks_hot=looks_hot,
        from_valve=tempered_on.from_root,
    )  # fmt: skip


@dataclass(frozen=True)
class _Felt:
    """Which losses an end feels: edges [S or 1, B, edges, ends], and whether its root reaches through [S, B, ends]."""

    edges: Numbers
    from_root: Numbers | None  # None: everywhere


def _least(pressure: Numbers, loss: Numbers, held: Held | None, edges: Numbers) -> tuple[Numbers, _Felt]:
    """The least of a pressure [S, B, ends] and what pressure-reducing valves let through; and which losses count."""
    if held is None:
        return pressure, _Felt(edges[None], None)
    felt = np.broadcast_to(edges[None], (len(pressure), *edges.shape))
    from_root = np.ones(pressure.shape, dtype=bool)
    for k in range(held.pressure.shape[2]):
        through = held.pressure[:, :, k] - gathered(loss, held.edges[:, k])
        less = through < pressure
        pressure = np.where(less, through, pressure)
        felt = np.where(less[:, :, None, :], held.edges[:, k], felt)
        from_root = from_root & ~less
    return pressure, _Felt(felt, from_root)


def _share(block: Block, flow: Numbers, hot_flow: Numbers) -> Numbers:
    """Share of a valve's flow through its hot seat; all of it where there is no bypass."""
    some = flow > 0
    share = np.clip(np.divide(hot_flow, flow, out=np.zeros_like(flow), where=some), 0.0, 1.0)
    share = np.where(share > 1 - WHOLE, 1.0, np.where(share < WHOLE, 0.0, share))
    return np.where(splits(block), share, np.where(block.cold_source, 1.0, block.share))


def _incidence(block: Block) -> tuple[Numbers, Numbers, Numbers]:
    """Outlets to stations (0 or 1), place of each station's feed among valves and ends, stations to valves."""
    m, v = block.shape.stations, block.shape.valves
    outlets = (block.station_of_outlet[:, :, None] == np.arange(m)).astype(float)
    outlets[block.outlet_pair == NONE] = 0.0
    feed = np.where(block.valve_of_station == NONE, v + block.end_of_station, block.valve_of_station)
    return outlets, feed, (block.valve_of_station[:, :, None] == np.arange(v)).astype(float)


def _end_mass(block: Block, station_flow: Numbers, valve_flow: Numbers, share: Numbers) -> Numbers:
    """Mass flow at the ends of the supply forest [S, B, ends]: inlets of each valve, then direct stations."""
    v, d = block.shape.valves, block.shape.direct
    mass = valve_flow * block.valve_density
    end = np.empty((*valve_flow.shape[:2], 2 * v + d))
    end[..., 0 : 2 * v : 2], end[..., 1 : 2 * v : 2] = (1 - share) * mass, share * mass
    if d:
        straight = (block.end_of_station[:, :, None] == np.arange(2 * v, 2 * v + d)).astype(float)
        end[..., 2 * v :] = gathered(station_flow * block.station_density, straight)
    return end


def coefficient_at(curves: Curves, flat: Numbers, curve: Numbers, flow: Numbers) -> tuple[Numbers, Numbers]:
    """Flow coefficient [B, valves] at flows [S, B, valves], and its slope; from the curve where one stands."""
    value, slope = np.broadcast_to(flat, flow.shape), np.zeros(flow.shape)
    at = np.flatnonzero(curve.ravel() != NONE)
    if not len(at):
        return value, slope
    value = value.copy()
    wide = [array.reshape(len(flow), -1) for array in (value, slope, flow)]
    wide[0][:, at], wide[1][:, at] = curves.coefficient(
        np.broadcast_to(curve.ravel()[at], (len(flow), len(at))), wide[2][:, at]
    )
    return wide[0].reshape(flow.shape), wide[1].reshape(flow.shape)


def square_law(curves: Curves, flat: Numbers, curve: Numbers, flow: Numbers) -> tuple[Numbers, Numbers]:
    """Loss (q/C)² with a coefficient or a curve, and its slope; infinite where the coefficient is zero."""
    coefficient, slope = coefficient_at(curves, flat, curve, flow)
    with np.errstate(divide="ignore", invalid="ignore"):
        loss = (flow / coefficient) ** 2
        return loss, 2 * flow / coefficient**2 * (1 - flow * slope / coefficient)


def _valve(block: Block, curves: Curves, flow: Numbers, share: Numbers, hot: Numbers, cold: Numbers,
           for_steps: bool) -> _Valve:  # fmt: skip
    zero, one, blank = np.zeros(flow.shape), np.ones(flow.shape), np.full(flow.shape, np.nan)
    if block.fault == NORMAL:
        return _mixing(block, curves, flow, share, hot, cold)
    if block.fault == HOT_LOST:
        loss, slope = square_law(curves, block.bypass_coefficient, block.bypass_curve, flow)
        pressure = cold - loss
        return _Valve(pressure, pressure, blank, zero, -slope, zero, zero, one, zero, zero)
    wide_open = _wide_open(block, curves, flow, share, hot, cold, for_steps)
    if block.cold_source.all():
        return wide_open
    mixing = _mixing(block, curves, flow, share, hot, cold)
    return _Valve(*(np.where(block.cold_source, one, other) for one, other in zip(
        wide_open.__dict__.values(), mixing.__dict__.values(), strict=True)))  # fmt: skip


def _mixing(block: Block, curves: Curves, flow: Numbers, share: Numbers, hot: Numbers, cold: Numbers) -> _Valve:
    """Both seats on one stem, then the outlet passage."""
    zero = np.zeros(flow.shape)
    coefficient, slope = coefficient_at(curves, block.coefficient, block.coefficient_curve, flow)
    chamber, stem, by_flow, by_hot, by_cold = two_seats_kernel(flow, share, hot, cold, coefficient)
    outlet = block.outlet_square * flow
    by_flow = by_flow * (1 - flow * slope / coefficient) - 2 * outlet
    return _Valve(chamber, chamber - outlet * flow, stem, zero, by_flow, zero, by_hot, by_cold, zero, zero)


def _wide_open(block: Block, curves: Curves, flow: Numbers, share: Numbers, hot: Numbers, cold: Numbers,
               for_steps: bool) -> _Valve:  # fmt: skip
    """The hot seat fully open beside the bypass, both with cold water."""
    blank = np.full(flow.shape, np.nan)
    hot_flow, cold_flow = share * flow, (1 - share) * flow
    seat, seat_slope = square_law(curves, block.coefficient, block.coefficient_curve, hot_flow)
    behind_seat = hot - seat
    behind_hot = behind_seat - block.outlet_square * hot_flow**2
    seat_slope = seat_slope + 2 * block.outlet_square * hot_flow
    fitted = np.broadcast_to(splits(block), flow.shape)
    loss, slope = square_law(curves, np.where(fitted[0], block.bypass_coefficient, 1.0), block.bypass_curve, cold_flow)
    behind_bypass = cold - loss
    # Steps look behind the bypass where there is one; what is told is the pressure behind a way that passes water.
    idle = (flow <= 0) & (behind_bypass > behind_hot)
    pressure = np.where(fitted & (for_steps | (cold_flow > 0) | idle), behind_bypass, behind_hot)
    return _Valve(
        behind_seat, pressure, blank, np.where(fitted, behind_bypass - behind_hot, 0.0),
        -np.where(fitted, slope, seat_slope), np.where(fitted, slope, 0.0), np.where(fitted, 0.0, 1.0),
        np.where(fitted, 1.0, 0.0), -np.where(fitted, slope, 0.0), np.where(fitted, slope + seat_slope, 1.0),
    )  # fmt: skip


def _behind_hot(valve: _Valve, looks: Numbers) -> _Valve:
    """The same valves, some of them seen from behind the hot seat.

    Behind a pressure-reducing valve on a tempered run the difference of both ways does not reach the outlets in full,
    so that a hot seat that takes all cannot be told from the bypass and that difference.
    """
    changed = {"pressure": valve.pressure - valve.imbalance, "by_flow": valve.by_flow - valve.imbalance_by_flow,
               "by_hot_flow": valve.by_hot_flow - valve.imbalance_by_hot_flow,
               "by_hot": np.ones_like(valve.by_hot), "by_cold": np.zeros_like(valve.by_cold)}  # fmt: skip
    return replace(valve, **{name: np.where(looks, value, getattr(valve, name)) for name, value in changed.items()})


def _slopes(block: Block, valve: _Valve, edge_slope: Numbers, tempered_slope: Numbers, share: Numbers,
            lost_on: _Felt, tempered_on: _Felt) -> Slopes:  # fmt: skip
    """Slopes by the chain rule: outlet and hot flows → mass at the ends → pressure there → valves → outlets."""
    outlets, feed, valves = _incidence(block)
    m, v, d = block.shape.stations, block.shape.valves, block.shape.direct
    edges = block.supply_edges
    # Pressure at the ends with mass at the ends [S, B, ends, ends].
    end_by_mass = -np.matmul(np.swapaxes(lost_on.edges, 2, 3) * edge_slope[:, :, None, :], edges)
    # Mass at the ends with station flow [S, B, ends, stations]; with a cold source the hot flows stand apart.
    on_hot = share if block.fault in (NORMAL, HOT_LOST) else np.where(splits(block), 0.0, share)
    mass_by_station = np.zeros((*share.shape[:2], 2 * v + d, m))
    to_valve = np.swapaxes(valves, 1, 2) * block.valve_density[..., None]
    mass_by_station[:, :, 0 : 2 * v : 2] = (1 - on_hot)[..., None] * to_valve
    mass_by_station[:, :, 1 : 2 * v : 2] = on_hot[..., None] * to_valve
    if d:
        straight = block.end_of_station[:, None, :] == np.arange(2 * v, 2 * v + d)[:, None]
        mass_by_station[:, :, 2 * v :] = straight * block.station_density[:, :, None, :]
    end_by_station = np.matmul(end_by_mass, mass_by_station)
    own = np.swapaxes(valves, 1, 2)[None]
    valve_by_station = (valve.by_cold[..., None] * end_by_station[:, :, 0 : 2 * v : 2]
                        + valve.by_hot[..., None] * end_by_station[:, :, 1 : 2 * v : 2]
                        + valve.by_flow[..., None] * own)  # fmt: skip
    feeds = np.broadcast_to(feed[:, :, None], (len(share), *feed.shape, m))
    base = np.take_along_axis(np.concatenate((valve_by_station, end_by_station), axis=2), feeds, axis=2)
    if tempered_on.from_root is not None:
        base = base * tempered_on.from_root[..., None]
    base = base - np.matmul(np.swapaxes(tempered_on.edges, 2, 3) * tempered_slope[:, :, None, :], block.tempered_edges)
    to_stations = np.swapaxes(outlets, 1, 2)
    pressure_flow = np.matmul(np.matmul(outlets, base), to_stations)
    if block.fault in (NORMAL, HOT_LOST):
        return Slopes(pressure_flow, None, None, None)
    fitted = np.where(splits(block), 1.0, 0.0)
    moved = block.valve_density * fitted  # mass that changes sides with a hot flow
    end_by_hot = (end_by_mass[..., 1 : 2 * v : 2] - end_by_mass[..., 0 : 2 * v : 2]) * moved[:, :, None, :]
    cold, hot = end_by_hot[:, :, 0 : 2 * v : 2], end_by_hot[:, :, 1 : 2 * v : 2]
    unit = np.eye(v)
    valve_by_hot = valve.by_cold[..., None] * cold + valve.by_hot[..., None] * hot + valve.by_hot_flow[..., None] * unit
    feeds = np.broadcast_to(feed[:, :, None], (len(share), *feed.shape, v))
    base = np.take_along_axis(np.concatenate((valve_by_hot, end_by_hot), axis=2), feeds, axis=2)
    if tempered_on.from_root is not None:
        base = base * tempered_on.from_root[..., None]
    gap = end_by_station[:, :, 0 : 2 * v : 2] - end_by_station[:, :, 1 : 2 * v : 2]
    gap_by_station = fitted[..., None] * gap + valve.imbalance_by_flow[..., None] * own
    gap_by_hot = fitted[..., None] * (cold - hot) + valve.imbalance_by_hot_flow[..., None] * unit
    return Slopes(pressure_flow, np.matmul(outlets, base), np.matmul(gap_by_station, to_stations), gap_by_hot)
