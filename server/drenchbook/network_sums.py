"""Sums from the root of the forest to each node: what devices lose and boosters add, which curves stand on the way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE

Numbers: TypeAlias = np.ndarray[Any, Any]


@dataclass(frozen=True)
class DeviceLosses:
    """What each line device costs, by its tag key: a coefficient, a curve, or head that a booster adds at no flow."""

    square: dict[str, float]  # [Pa/(m³/s)²]
    curve: dict[str, int]  # index in the curves of the network; of a booster: what it adds less at a flow
    head: dict[str, float]  # [Pa]


def device_sums(parent: Numbers, node_devices: tuple[tuple[str, ...], ...], losses: DeviceLosses,
                source_square: Numbers, source_curve: Numbers) -> dict[str, Numbers]:  # fmt: skip
    """Sums over the devices and hot water sources from the root to each node.

    Parameters
    ----------
    parent : array
        The node above each; parents come before their children. [-]
    node_devices : tuple of tuple of str
        Tag keys of the devices on each node. [-]
    losses : DeviceLosses
        What they cost. [Pa, m³/s]
    source_square, source_curve : array
        Loss of the hot water source that a node is: coefficient, and index of its curve (-1: none). [Pa/(m³/s)², -]

    Returns
    -------
    dict
        Of `Network`: square_sum, boost_sum, last_curve, element_curve, element_node, element_above.

    Notes
    -----
    Positive sums only, so that differences of two nodes lose nothing but rounding [worked here].

    >>> one = DeviceLosses({"m": 2.0}, {}, {"b": 5.0})
    >>> sums = device_sums(np.array([0, 0, 1]), ((), ("m",), ("m", "b")), one, np.zeros(3), np.full(3, -1))
    >>> sums["square_sum"].tolist(), sums["boost_sum"].tolist()
    ([0.0, 2.0, 4.0], [0.0, 0.0, 5.0])
    """
    count = len(parent)
    square, boost = np.zeros(count), np.zeros(count)
    last_curve = np.full(count, NONE)
    elements: list[tuple[int, int, int]] = []  # curve, node, element above
    for node in range(1, count):
        above, devices = parent[node], node_devices[node]
        square[node] = square[above] + source_square[node] + sum(losses.square.get(tag, 0.0) for tag in devices)
        boost[node] = boost[above] + sum(losses.head.get(tag, 0.0) for tag in devices)
        last_curve[node] = last_curve[above]
        own = [losses.curve.get(tag, NONE) for tag in devices] if devices else []
        for curve in [int(source_curve[node]), *own]:
            if curve != NONE:
                elements.append((curve, node, int(last_curve[node])))
                last_curve[node] = len(elements) - 1
    return {"square_sum": square, "boost_sum": boost, "last_curve": last_curve,
            **{f"element_{name}": np.array([one[place] for one in elements], dtype=int)
               for place, name in enumerate(("curve", "node", "above"))}}  # fmt: skip


def preorder(parent: Numbers) -> Numbers:
    """Place of each node when it is written before all that hangs below it.

    Parameters
    ----------
    parent : array
        The node above each; node 0 is the root. [-]

    Returns
    -------
    array
        Places from 0. [-]

    Notes
    -----
    Children follow in the order of their numbers [worked here].

    >>> preorder(np.array([0, 0, 0, 1])).tolist()
    [0, 1, 3, 2]
    """
    below: list[list[int]] = [[] for _ in parent]
    for node in range(1, len(parent)):
        below[parent[node]].append(node)
    place, waiting, count = np.zeros(len(parent), dtype=int), [0], 0
    while waiting:
        node = waiting.pop()
        place[node] = count
        count += 1
        waiting.extend(reversed(below[node]))
    return place
