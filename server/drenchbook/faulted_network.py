"""The network as a fault leaves it: what flows besides, which sources go cold, which devices stop or foul.

A fault changes data, not equations. Which faults a site can have at all is told here too, and why one cannot be solved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import FLOW_COLUMNS, NO, NONE, NOT_SAID, YES, Network
from drenchbook.network_sums import DeviceLosses, device_sums
from drenchbook.operating_cases import (
    AFTER_IDLE,
    AFTER_RECOVERY,
    AS_NORMAL,
    CIRCULATION_OFF,
    COLD_LOST,
    FAULTS,
    HOT_LOST,
    MAIN_LOST,
    NORMAL,
    OTHER_DEMAND,
    POWER_LOST,
    SOURCE_COLD,
    STRAINER_FOULED,
    VALVE_OUT,
    Cases,
)
from drenchbook.quantity_text import MOST, quantity_text

Numbers: TypeAlias = np.ndarray[Any, Any]

STRAINER = "strainer"
MOST_NAMES = 8
SHORTEST = 1e-12  # [m³/s] where a curve ends before the other demand: any flow lies beyond it


def faults_of(network: Network) -> tuple[str, ...]:
    """The faults that can happen on a site, in the order of FAULTS.

    Parameters
    ----------
    network : Network
        The site, compiled. [-]

    Returns
    -------
    tuple of str
        Always "normal", "hot pressure lost" and "source cold but pressurised" first. [-]
    """
    return tuple(fault for fault in FAULTS if _HAPPENS.get(fault, _always)(network))


def network_in(network: Network, fault: str) -> Network:
    """The network as a fault leaves it.

    Parameters
    ----------
    network : Network
        The site, compiled, as it is in normal use. [-]
    fault : str
        One of `operating_cases.FAULTS`. [-]

    Returns
    -------
    Network
        The same object where nothing changes. [-]

    Notes
    -----
    Every fault is stood with the usual other demand flowing; normal use is without it. Without power a storage stays
    hot, any other source that needs power gives cold water, and a stopped booster adds no head.
    """
    if fault in (CIRCULATION_OFF, AFTER_IDLE):
        return _without_loops(network, np.ones(len(network.valve_tags), dtype=bool))
    if fault == NORMAL or fault in AS_NORMAL:
        return network
    changed = _with_demand(network)
    if fault == POWER_LOST:
        changed = _without_loops(changed, network.valve_loop_needs_power)
        cold = ~network.source_stores & (network.source_power == YES)
        changed = replace(changed, source_cold=cold) if cold.any() else changed
        stopped = [key for key, power in network.booster_power.items() if power == YES]
        return _without_boosters(changed, stopped) if stopped else changed
    if fault == STRAINER_FOULED:
        return _fouled(changed)
    if fault == SOURCE_COLD:
        return replace(changed, source_cold=np.ones(len(network.source_tags), dtype=bool))
    return _one_valve(changed) if fault == VALVE_OUT and network.valve_has_second.any() else changed


def _without_loops(network: Network, stopped: Numbers) -> Network:
    """The network where the pumps of some loops stand still: their valves pass only what is drawn."""
    if not (network.valve_loop_flow[stopped] > 0).any():
        return network
    return replace(network, valve_loop_flow=np.where(stopped, 0.0, network.valve_loop_flow))


def _always(_: Network) -> bool:
    return True


def _draws(network: Network) -> bool:
    return bool((network.supply_demand != 0).any() or (network.source_demand != 0).any())  # not-a-number is not zero


def _needs_power(network: Network) -> bool:
    if network.valve_loop_needs_power.any() or network.run_heated.any():
        return True
    return bool((network.source_power != NO).any()) or any(power != NO for power in network.booster_power.values())


_HAPPENS: dict[str, Callable[[Network], bool]] = {
    OTHER_DEMAND: _draws,
    POWER_LOST: _needs_power,
    STRAINER_FOULED: lambda network: any(_strainers(network, keys) for keys in network.run_devices),
    COLD_LOST: lambda network: bool(network.valve_tags),
    MAIN_LOST: lambda network: bool(on_one_main(network).any() or (network.station_valve == NONE).any()),
    VALVE_OUT: lambda network: bool(network.valve_tags),
    CIRCULATION_OFF: lambda network: bool(network.run_circulated.any()),
    AFTER_IDLE: _always,
    AFTER_RECOVERY: lambda network: bool(network.source_stores.any()),
}


def on_one_main(network: Network) -> Numbers:
    """[valves] whether hot and cold of a valve come from one supply."""
    if not network.valve_tags:
        return np.zeros(0, dtype=bool)
    cold, hot = network.node_supply[network.valve_cold_node], network.node_supply[network.valve_hot_node]
    return np.asarray((cold == hot) & (cold != NONE))


def _strainers(network: Network, keys: tuple[str, ...]) -> list[str]:
    return [key for key in keys if network.device_kinds.get(key) == STRAINER]


# ---- what changes ----


def _with_demand(network: Network) -> Network:
    """Other demand flows: a curve is moved by it, a flow test's law counts it beside the flow."""
    if not _draws(network):
        return network
    names, curves, moved = list(network.curve_names), list(network.curves), network.supply_curve.copy()
    for level, supply in np.argwhere(network.supply_curve != NONE):
        demand, old = float(network.supply_demand[supply]), int(network.supply_curve[level, supply])
        if demand == 0:
            continue
        names.append(names[old])
        curves.append(_moved(*curves[old], demand) if np.isfinite(demand) else curves[old])
        moved[level, supply] = len(curves) - 1
    return replace(network, supply_draw=network.supply_demand, source_draw=network.source_demand,
                   curve_names=tuple(names), curves=tuple(curves), supply_curve=moved)  # fmt: skip


def _moved(flows: Numbers, values: Numbers, demand: float) -> tuple[Numbers, Numbers]:
    """A curve seen from a flow onward."""
    later = flows > demand
    if not later.any():
        slope = (values[-1] - values[-2]) / (flows[-1] - flows[-2])
        start = values[-1] + slope * (demand - flows[-1])
        return np.array([0.0, SHORTEST]), np.array([start, start + slope * SHORTEST])
    return np.append(0.0, flows[later] - demand), np.append(np.interp(demand, flows, values), values[later])


def _fouled(network: Network) -> Network:
    """Every strainer on a run loses more by the factor of its row of Limits."""
    factor, dirty = network.strainer_factor, set(_strainers(network, tuple(network.device_kinds)))
    square = {key: value * factor if key in dirty else value for key, value in network.device_square.items()}
    names, curves, curve = list(network.curve_names), list(network.curves), dict(network.device_curve)
    for key in dirty & curve.keys():
        flows, values = curves[curve[key]]
        names.append(f"{names[curve[key]]}, fouled")
        curves.append((flows, values * factor))
        curve[key] = len(curves) - 1
    return _with_devices(replace(network, curve_names=tuple(names), curves=tuple(curves)), square, curve,
                         network.device_head)  # fmt: skip


def _without_boosters(network: Network, stopped: list[str]) -> Network:
    """Stopped boosters add nothing and lose what their coefficient says."""
    square = {**network.device_square, **{key: network.booster_still[key] for key in stopped}}
    curve = {key: index for key, index in network.device_curve.items() if key not in stopped}
    head = {key: value for key, value in network.device_head.items() if key not in stopped}
    return _with_devices(network, square, curve, head)


def _with_devices(network: Network, square: dict[str, float], curve: dict[str, int], head: dict[str, float]
                  ) -> Network:  # fmt: skip
    of_source, curve_of_source = np.zeros(len(network.parent)), np.full(len(network.parent), NONE)
    of_source[network.source_node] = network.source_square
    curve_of_source[network.source_node] = network.source_curve
    sums: dict[str, Any] = device_sums(network.parent, network.node_devices, DeviceLosses(square, curve, head),
                                       of_source, curve_of_source)  # fmt: skip
    return replace(network, device_square=square, device_curve=curve, device_head=head, **sums)


def _one_valve(network: Network) -> Network:
    """Of two valves in parallel the larger is out."""
    alone = network.valve_alone
    columns: dict[str, Any] = {
        f"valve_{name}": np.array([getattr(one, name) for one in alone], dtype=int if name == "curve" else float)
        for name in FLOW_COLUMNS
    }
    return replace(network, **columns)


# ---- what is missing ----


def fault_gaps(network: Network, fault: str) -> dict[str, dict[int, str]]:
    """Why a fault cannot be solved: a sentence for rows of "supplies", "sources", "valves" and "stations"."""
    gaps: dict[str, dict[int, str]] = {"supplies": {}, "sources": {}, "valves": {}, "stations": {}}
    if fault == NORMAL or fault in AS_NORMAL or fault in (COLD_LOST, MAIN_LOST):
        return gaps
    for supply in np.flatnonzero(np.isnan(network.supply_demand)):
        gaps["supplies"][int(supply)] = network.supply_demand_gap[supply]
    for source in np.flatnonzero(np.isnan(network.source_demand)):
        above = int(network.node_supply[network.source_node[source]])
        place = ("supplies", above) if above != NONE else ("sources", int(source))
        gaps[place[0]].setdefault(place[1], network.source_demand_gap[source])
    if fault in (HOT_LOST, SOURCE_COLD):
        gaps["valves"] = {i: why[0] for i, why in enumerate(network.valve_fault_missing) if why}
    if fault == POWER_LOST:
        _power_gaps(network, gaps)
    if fault == STRAINER_FOULED and np.isnan(network.strainer_factor):
        text = "the limit STR-1 factor, the loss of a fouled strainer over that of a clean one, is blank or below 1"
        gaps["stations"] = dict.fromkeys(_stations_with(network, {STRAINER}), text)
    return gaps


def why_case_missing(
    network: Network, cases: Cases, fault: str, gaps: dict[str, dict[int, str]], opening: int
) -> tuple[str, ...]:
    """The sentences about what a fault, with its `fault_gaps`, needs and an opening lacks, beside normal use."""
    found: list[str] = []
    for pairs, rows in ((cases.supplies, "supplies"), (cases.sources, "sources"), (cases.valves, "valves"),
                        (cases.stations, "stations")):  # fmt: skip
        found += [gaps[rows][member] for member in pairs.member[pairs.of(opening)].tolist() if member in gaps[rows]]
    if fault in (COLD_LOST, MAIN_LOST):
        members = cases.valves.member[cases.valves.of(opening)].tolist()
        found += [f"the leakage of {network.valve_tags[valve].strip()} when cold supply fails is blank"
                  for valve in members if np.isnan(network.valve_leakage[valve])]  # fmt: skip
    return tuple(found)


def _power_gaps(network: Network, gaps: dict[str, dict[int, str]]) -> None:
    for i in np.flatnonzero((network.source_power == NOT_SAID) & ~network.source_stores).tolist():
        gaps["sources"][i] = f"whether {network.source_tags[i].strip()} needs power is blank"
    cold = ~network.source_stores & (network.source_power == YES)
    for number, source in enumerate(network.valve_source.tolist()):
        if cold[source] and network.valve_fault_missing[number]:
            gaps["valves"][number] = network.valve_fault_missing[number][0]
    for key, power in network.booster_power.items():
        name = network.device_names[key].strip()
        if power == NOT_SAID:
            text = f"whether booster {name} needs power is blank"
        elif power == YES and np.isnan(network.booster_still[key]):
            text = f"the loss of booster {name} while it stands still is blank"
        else:
            continue
        for station in _stations_with(network, keys={key}):
            gaps["stations"].setdefault(station, text)


def _stations_with(network: Network, kinds: set[str] | None = None, keys: set[str] | None = None) -> list[int]:
    """Stations with such a device anywhere on their paths."""
    own = [any((kinds is not None and network.device_kinds.get(key) in kinds) or (keys is not None and key in keys)
               for key in devices) for devices in network.node_devices]  # fmt: skip
    below = np.array(own, dtype=bool)
    for node in range(1, len(below)):
        below[node] |= below[network.parent[node]]
    valve = network.station_valve
    found = below[network.station_node]
    if len(network.valve_tags):
        sides = below[network.valve_cold_node] | below[network.valve_hot_node]
        found = found | ((valve != NONE) & sides[valve])
    return [int(station) for station in np.flatnonzero(found)]


# ---- what is told ----


def changes_in(network: Network, fault: str, units: str) -> str:
    """What a fault changes against normal use, in words and with its numbers.

    Parameters
    ----------
    network : Network
        The site, compiled. [-]
    fault : str
        One of `operating_cases.FAULTS`. [-]
    units : str
        "US" or "SI", for the numbers. [-]

    Returns
    -------
    str
        One line; "" for normal use. [-]
    """
    if fault == NORMAL:
        return ""
    words = list(_CHANGED[fault](network)) if fault in _CHANGED else []
    if fault not in AS_NORMAL and fault not in (COLD_LOST, MAIN_LOST):
        for tags, demands, what in ((network.supply_tags, network.supply_demand, "other demand"),
                                    (network.source_tags, network.source_demand, "other hot demand")):  # fmt: skip
            for tag, demand in zip(tags, demands, strict=True):
                if demand > 0:
                    words.append(f"{what} of {quantity_text(float(demand), 'flow', units, MOST)} on {tag.strip()}")
                elif np.isnan(demand):
                    words.append(f"{what} on {tag.strip()} not stated")
    return "; ".join(words)


def _of_power(network: Network) -> Iterator[str]:
    for tag, power, stores in zip(network.source_tags, network.source_power, network.source_stores, strict=True):
        if power == YES:
            yield f"{tag.strip()} {'is not heated' if stores else 'gives cold water'}"
        elif power == NOT_SAID:
            yield f"whether {tag.strip()} needs power is blank"
    for key, power in network.booster_power.items():
        if power != NO:
            name = network.device_names[key].strip()
            yield f"booster {name} stands still" if power == YES else f"whether booster {name} needs power is blank"
    for valve in np.flatnonzero(network.valve_loop_needs_power).tolist():
        yield f"the loop of {network.valve_tags[valve].strip()} stands still"
    if network.run_heated.any():
        tags = [network.run_tags[run] for run in np.flatnonzero(network.run_heated)]
        yield f"nothing holds the temperature of {_some(tags)}"


def _some(tags: list[str]) -> str:
    more = len(tags) - MOST_NAMES
    return ", ".join(tag.strip() for tag in tags[:MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


def _of_strainers(network: Network) -> Iterator[str]:
    used = dict.fromkeys(key for keys in network.run_devices for key in _strainers(network, keys))
    names = ", ".join(network.device_names[key].strip() for key in used)
    yield f"loss of {names} times {network.strainer_factor:g}"


def _of_valves(network: Network) -> Iterator[str]:
    two = [tag.strip() for tag, second in zip(network.valve_tags, network.valve_has_second, strict=True) if second]
    yield "no mixing valve passes water" + (f", but for the smaller of the two of {', '.join(two)}" if two else "")


_CHANGED: dict[str, Callable[[Network], Iterator[str]]] = {
    HOT_LOST: lambda network: iter(("no pressure at the hot inlets; bypasses open",)),
    SOURCE_COLD: lambda network: iter(("every hot water source gives cold water; hot seats and bypasses open",)),
    POWER_LOST: _of_power,
    STRAINER_FOULED: _of_strainers,
    COLD_LOST: lambda network: iter(("no pressure at the cold inlets; valves shut but for their leakage",)),
    MAIN_LOST: lambda network: iter(("no pressure in the mains that feed cold water",)),
    VALVE_OUT: _of_valves,
    CIRCULATION_OFF: lambda network: iter(("the pump of every circulated run stands still",)),
    AFTER_IDLE: lambda network: iter(("every run has the temperature around it",)),
    AFTER_RECOVERY: lambda network: iter(("drawn again after the recovery time",)),
}
