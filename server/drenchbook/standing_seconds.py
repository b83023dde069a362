"""When the water that stood in the runs of a station is tepid: how long it is not, and from when on it is.

Each run is flushed by the flow that passes it, so that in a set a run near the valve is gone sooner than its content
says, and one near the station lasts longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np

from drenchbook.network_arrays import NONE, Network
from drenchbook.operating_cases import SET, Cases
from drenchbook.solver_blocks import SEASON_OF_STATE
from drenchbook.solver_trees import gathered, tree_of_ends

Numbers: TypeAlias = np.ndarray[Any, Any]

BLOCK = 4000  # openings worked out together; memory grows with it, answers do not change


@dataclass(frozen=True)
class StandingWater:
    """Water that stood, summed from the root of each tree to its nodes; not-a-number where it is not known."""

    bad: Numbers  # [2 seasons, nodes] content that is not tepid [m³]
    begins: Numbers  # [2 seasons, nodes] content above the first run that is not tepid; infinite: there is none [m³]
    coldest: Numbers  # [2 seasons, stations] [°C]; infinite: no run
    hottest: Numbers  # [2 seasons, stations] [°C]; minus infinite: no run

    def farthest(self, middle: float) -> Numbers:
        """[2 seasons, stations] the temperature farthest from the middle of what is tepid. [°C]"""
        far = np.where(self.hottest - middle > middle - self.coldest, self.hottest, self.coldest)
        return np.where(np.isfinite(far) & np.isfinite(middle), far, np.nan)


def stood_water(network: Network, standing: Numbers, least: float, greatest: float) -> StandingWater:
    """What stands before each station, level by level of the trees.

    Parameters
    ----------
    network : Network
        A site, compiled. [-]
    standing : array
        From `standing_temperatures`: [2, 2 seasons, runs]. [°C]
    least, greatest : float
        Limits of tepid water. [°C]

    Returns
    -------
    StandingWater
        Of every node and station. [m³, °C]

    Notes
    -----
    A run is tepid where both its temperatures are, by night and in the sun or at its two ends [worked here].
    """
    fine = ((standing >= least - 1e-9) & (standing <= greatest + 1e-9)).all(axis=0)
    fine = np.where(np.isnan(standing).any(axis=0), np.nan, fine)  # [seasons, runs]
    count = len(network.parent)
    own, cold, hot = np.zeros((2, count)), np.full((2, count), np.inf), np.full((2, count), -np.inf)
    content = network.purge_sum - network.purge_sum[network.parent]
    own[:, network.run_node] = np.where(content[network.run_node] > 0, 1.0 - fine, 0.0)  # 1 where it is not tepid
    cold[:, network.run_node], hot[:, network.run_node] = standing.min(axis=0), standing.max(axis=0)
    bad, begins = np.zeros(own.shape), np.full(own.shape, np.inf)
    for level in range(1, int(network.depth.max(initial=0)) + 1):
        nodes = np.flatnonzero(network.depth == level)
        parent = network.parent[nodes]
        bad[:, nodes] = bad[:, parent] + own[:, nodes] * content[nodes]
        first = np.where(own[:, nodes] > 0, network.purge_sum[parent], np.inf)
        begins[:, nodes] = np.minimum(begins[:, parent], first)
        cold[:, nodes] = np.minimum(cold[:, parent], cold[:, nodes])
        hot[:, nodes] = np.maximum(hot[:, parent], hot[:, nodes])
    return StandingWater(bad, begins, cold[:, network.station_node], hot[:, network.station_node])


def untepid_seconds(
    network: Network, cases: Cases, water: StandingWater, purge: Numbers, flow: Numbers
) -> tuple[Numbers, Numbers]:
    """How long standing water that is not tepid arrives, and when the last of it has passed.

    Parameters
    ----------
    network, cases : Network, Cases
        A site, compiled. [-]
    water : StandingWater
        What stood in it. [m³]
    purge : array
        Time until all that stood before a station is gone, [S, station pairs]. [s]
    flow : array
        Flow of each station, [S, station pairs]. [m³/s]

    Returns
    -------
    tuple of array
        [S, station pairs]; not-a-number where it is not known. [s]

    Notes
    -----
    ΣV(1 + β)/q over the runs that are not tepid, each with its own flow [worked here]. A station without a valve is
    flushed by its own flow alone.
    """
    node = network.station_node
    whole = network.purge_sum[node]
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(whole > 0, water.bad[:, node] / whole, 0.0)
        end = np.where(whole > 0, np.clip(1.0 - water.begins[:, node] / whole, 0.0, 1.0), 0.0)
    end = np.where(np.isnan(share), np.nan, end)
    member = cases.stations.member
    bad, last = (purge * one[SEASON_OF_STATE][:, member] for one in (share, end))
    partly = ((share > 0) & (share < 1)).any(axis=0) & (network.station_valve != NONE)
    sets = np.zeros(len(cases), dtype=bool)
    sets[cases.stations.opening[partly[member]]] = True  # where all or nothing is tepid the purge says it
    sets &= cases.kind == SET
    for count in np.unique(cases.stations.counts[sets]).tolist():
        openings = np.flatnonzero(sets & (cases.stations.counts == count))
        for start in range(0, len(openings), BLOCK):
            pairs = cases.stations.offsets[openings[start : start + BLOCK]][:, None] + np.arange(count)
            found = _of_sets(network, water, node[member[pairs]], flow[:, pairs])
            direct = network.station_valve[member[pairs]] == NONE
            for out, values in zip((bad, last), found, strict=True):
                out[:, pairs] = np.where(direct | np.isnan(out[:, pairs]), out[:, pairs], values)
    return bad, last


def _of_sets(network: Network, water: StandingWater, ends: Numbers, rate: Numbers) -> tuple[Numbers, Numbers]:
    """The same [S, B, ends] of stations at the ends [B, ends] of some openings."""
    tree = tree_of_ends(network, ends)
    feeds = np.swapaxes(tree.feeds, 1, 2)
    flow = gathered(rate, feeds)  # [S, B, edges]
    bad = water.bad[:, tree.lower] - water.bad[:, tree.upper]  # [seasons, B, edges]
    # content of each edge below the point at which the first water that is not tepid stands, for each end
    top = np.maximum(network.purge_sum[tree.upper][:, None, :], water.begins[:, ends][..., None])
    below = np.clip(network.purge_sum[tree.lower][:, None, :] - top, 0.0, None)  # [seasons, B, ends, edges]
    with np.errstate(divide="ignore", invalid="ignore"):
        seconds = np.where(bad[SEASON_OF_STATE] > 0, bad[SEASON_OF_STATE] / flow, 0.0)
        until = np.where(below[SEASON_OF_STATE] > 0, below[SEASON_OF_STATE] / flow[:, :, None, :], 0.0)
    own = np.where(feeds > 0, seconds[:, :, None, :], 0.0).sum(axis=3)
    return own, np.where(feeds > 0, until, 0.0).sum(axis=3)
