"""The worked laboratory, read from its sample file, compiled and solved once for every test that asks."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from drenchbook.network import Network, compile_network
from drenchbook.operating_cases import STATES, Cases, operating_cases
from drenchbook.site_file import read_site_file
from drenchbook.site_model import Site
from drenchbook.solver import solve
from drenchbook.solver_results import SOLVED, FaultResults, Results

SAMPLE = Path(__file__).parents[1] / "samples" / "laboratory.toml"


@dataclass(frozen=True)
class Solved:
    """A site with its network, its cases and their results."""

    site: Site
    network: Network
    cases: Cases
    results: Results

    def case(self, fault: str, season: str, level: str, *stations: str, outlet: str = "") -> CaseNumbers:
        """One solved case; an assertion fails if it has no numbers."""
        opening, state = self.cases.find(stations, outlet), STATES.index((season, level))
        one = self.results.fault(fault)
        assert one.state[state, opening] == SOLVED
        return CaseNumbers(self, one, state, opening)


@dataclass(frozen=True)
class CaseNumbers:
    """The numbers of one case by name."""

    solved: Solved
    fault: FaultResults
    state: int
    opening: int

    def outlets(self, name: str) -> dict[tuple[str, str], float]:
        """A number of each outlet by station and outlet name."""
        pairs, network = self.solved.cases.outlets, self.solved.network
        values = getattr(self.fault, name)[self.state, pairs.of(self.opening)]
        places = [(network.station_tags[network.outlet_station[o]], network.outlet_names[o])
                  for o in pairs.member[pairs.of(self.opening)]]  # fmt: skip
        return dict(zip(places, map(float, values), strict=True))

    def valve(self, name: str) -> float:
        """A number of the only valve."""
        return float(getattr(self.fault.valve, name)[self.state, self.solved.cases.valves.of(self.opening)][0])

    def station(self, name: str, station: str) -> Any:
        """A number of one station."""
        pairs, tags = self.solved.cases.stations, self.solved.network.station_tags
        place = [tags[s] for s in pairs.member[pairs.of(self.opening)]].index(station)
        return getattr(self.fault.station, name)[self.state, pairs.of(self.opening)][place]


def solved(site: Site, **more: Any) -> Solved:
    """Compile and solve a site."""
    network = compile_network(site)
    cases = operating_cases(site, network)
    return Solved(site, network, cases, solve(network, cases, **more))


@cache
def laboratory() -> Solved:
    """The sample laboratory, solved."""
    return solved(read_site_file(SAMPLE).site)
