"""Cases that are not solved but read from data sheets: cold supply failure, and a common main that is lost."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np

from drenchbook.faulted_network import on_one_main
from drenchbook.network_arrays import NONE, Network
from drenchbook.operating_cases import MAIN_LOST, Cases
from drenchbook.solver_results import FROM_DATA, MISSING, NO_WATER, FaultResults

Numbers: TypeAlias = np.ndarray[Any, Any]


def by_leakage(network: Network, cases: Cases, out: FaultResults) -> FaultResults:
    """Cold supply failure, or a main lost: valves with hot pressure pass their leakage, all others nothing."""
    stations, valves, outlets = cases.stations, cases.valves, cases.outlets
    lost = on_one_main(network) if out.fault == MAIN_LOST else np.zeros(len(network.valve_tags), dtype=bool)
    leakage = np.where(lost, 0.0, network.valve_leakage)[valves.member] if len(lost) else np.zeros(0)
    flow = np.broadcast_to(leakage, out.valve.flow.shape)
    share = _shared_out(network, cases, leakage)
    missing = np.array([bool(why) for why in network.missing], dtype=bool)
    unknown = np.zeros(len(cases), dtype=bool)
    unknown[valves.opening[np.isnan(leakage)]] = True
    unknown[stations.opening[missing[stations.member]]] = True
    unknown |= outlets.counts == 0
    some = np.zeros(len(cases), dtype=bool)
    some[valves.opening[~lost[valves.member]]] = True
    out.state[:] = np.where(unknown, MISSING, np.where(some, FROM_DATA, NO_WATER))
    out.outlet_flow[:] = np.where(out.state[:, outlets.opening] == FROM_DATA, share, np.nan)
    known = out.state[:, valves.opening] == FROM_DATA
    out.valve.flow[:] = np.where(known, flow, np.nan)
    out.valve.hot_flow[:] = np.where(known, flow, np.nan)
    out.valve.cold_flow[:] = np.where(known, 0.0, np.nan)
    return out


def _shared_out(network: Network, cases: Cases, leakage: Numbers) -> Numbers:
    """[outlet pairs] the leakage of each valve, shared among its open outlets by rated flow; none without a valve."""
    outlets, valves = cases.outlets, cases.valves
    if not len(network.valve_tags):
        return np.zeros(len(outlets.member))
    own = network.station_valve[network.outlet_station[outlets.member]]
    count = len(network.valve_tags)
    key = valves.opening * count + valves.member  # rising
    place = np.searchsorted(key, outlets.opening * count + np.maximum(own, 0))
    place = np.where(own == NONE, 0, np.minimum(place, len(key) - 1))
    rated = network.outlet_rated_flow[outlets.member]
    total = np.bincount(place[own != NONE], weights=rated[own != NONE], minlength=len(key))
    if not len(key):
        return np.zeros(len(own))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(own == NONE, 0.0, leakage[place] * rated / total[place]))
