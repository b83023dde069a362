"""How much a case costs, on generated sites of 50, 500 and 5,000 stations, against the EPANET engine in one process.

    python -m tests.benchmarks.solver_benchmark            a table in markdown
    python -m tests.benchmarks.solver_benchmark 500        one size only
    python -m tests.benchmarks.solver_benchmark --whole    the whole load: every fault, opening and set, where time goes

Each station has a shower and an eye/face wash, each opened alone and both together: two seasons, low and high supply,
normal use, in groups of 25 stations with a mixing valve each. The engine gets the same supply main, cold runs and
tempered trees with the same shower open; its valves are left out and it knows neither hot water nor mixing, so its
share of the work is the smaller one. It is charged one hydraulic solution without files, at most 8 trials, by the
faster of its two ways to begin; opening its file and sorting its network are not counted. Two times of ours stand
beside it: "solved" has the same extent, from the condensed paths to every flow and pressure in its place; "all" also
has what comes before, from the compiled network to blocks of paths. All times are processor times of one process, the
least of several rounds on both sides.

The whole load has all that a site may have: other demand, power, a strainer, and events of two among six stations of
each group. Its shares are those of one solution of all faults; what is neither friction, seats nor set-up is the
handling of arrays: gathering flows along trees, steps of Newton, and putting results in their places.
"""

from __future__ import annotations

import functools
import json
import math
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from drenchbook import solver, solver_flows, solver_paths, solver_single, solver_single_paths
from drenchbook.check_context import Context
from drenchbook.courses import Courses
from drenchbook.network import compile_network
from drenchbook.network_arrays import Network
from drenchbook.operating_cases import NORMAL, STATES, Cases, operating_cases
from drenchbook.published.criteria import CRITERIA_SETS
from drenchbook.published.pipes import pipe
from drenchbook.site_model import ROW_MODELS, Site
from drenchbook.site_sheets import default_limit_rows
from drenchbook.solver import BLOCK_OPENINGS, KEPT_BYTES, SINGLES_FOR_SETS, solve
from drenchbook.solver_blocks import shapes
from drenchbook.solver_paths import network_curves
from drenchbook.solver_results import FROM_DATA, SOLVED
from drenchbook.solver_single_roots import solve_single
from drenchbook.solver_single_storing import store_single
from drenchbook.solver_single_ways import ways_of
from drenchbook.solver_storing import blank_results

SIZES = (50, 500, 5000)
METHODS = ("Hazen-Williams", "Darcy-Weisbach")
GROUP = 25
WHOLE_SIZES = (100, 500, 2000, 5000, 8000)
WHOLE_HEADINGS = ("stations", "method", "cases", "cases a station", "answered", "compile, s", "hydraulics, s",
                  "courses, s", "µs a case", "results, MB", "peak, MB", "friction", "two seats", "set-up",
                  "arrays")  # fmt: skip
HEADINGS = ("stations", "friction", "solved, µs a case", "all, µs a case", "engine, µs a case", "engine / solved",
            "engine / all", "compile, s", "all faults, s", "peak memory, MB")  # fmt: skip
STRUCK, USERS = 6, 2  # stations of a group that one event may strike, and casualties at once
ENGINE_RUNS = {50: 80, 500: 30, 5000: 5}  # a round
ROUNDS = 5


def generated_rows(stations: int, seed: int = 1) -> dict[str, list[dict[str, Any]]]:
    """A main with groups of stations; behind each valve a random tree with a station on most of its ends."""
    r = random.Random(seed)
    runs: list[dict[str, Any]] = []

    def run(tag: str, above: str, size: str, feet: float, height: float, devices: tuple[str, ...] = ()) -> str:
        runs.append({"tag": tag, "fed_from": above, "material": "copper L", "size": size, "developed_length": feet,
                     "fittings": "2 x 90 elbow", "far_end_elevation": height, "devices": devices})  # fmt: skip
        return tag

    main = run("CM", "S", "4", 60.0, 0.0, ("B",))
    rows: dict[str, list[dict[str, Any]]] = {"hot_water_sources": [], "mixing_valves": [], "stations": []}
    for group in range(math.ceil(stations / GROUP)):
        if group:
            main = run(f"CM{group}", main, "4", r.uniform(5, 15), 0.0)
        name = f"G{group}"
        cold = run(f"{name} C", main, "1-1/2", r.uniform(10, 40), 4.0)
        rows["hot_water_sources"].append({"tag": f"{name} H", "kind": "storage", "fed_from": main,
                                          "start_temperature": 130.0, "loss_per_flow_squared": 0.012})  # fmt: skip
        hot = run(f"{name} HW", f"{name} H", "1-1/4", r.uniform(10, 40), 4.0)
        rows["mixing_valves"].append({"tag": f"{name} V", "model": "M", "cold_run": cold, "hot_run": hot,
                                      "elevation": 4.0, "set_temperature": 85.0, "parallel_bypass": True})  # fmt: skip
        nodes = [run(f"{name} T", f"{name} V", "1-1/2", r.uniform(5, 30), 4.0)]
        for number in range(min(GROUP, stations - group * GROUP)):
            if number % 3 == 0:
                nodes.append(
                    run(f"{name} T{number}", r.choice(nodes), r.choice(("1-1/2", "1-1/4")), r.uniform(5, 25), 4.0)
                )
            end = run(f"{name} E{number}", r.choice(nodes), r.choice(("1", "1-1/4")), r.uniform(5, 30), 7.0)
            rows["stations"].append({"tag": f"{name} L{number}", "fed_from": end, "outlet_1": "O", "outlet_2": "E",
                                     "outlet_1_elevation": 7.0, "outlet_2_elevation": 4.0})  # fmt: skip
    supply = {f"{word}_{level}": value for level, more in (("low", 0.0), ("high", 13.0)) for word, value in
              (("static", 70.0 + more), ("residual", 66.0 + more), ("test_flow", 200.0))}  # fmt: skip
    return {**rows, "pipe_runs": runs, "supplies": [{"tag": "S", "gauge_elevation": 0.0, **supply}],
            "line_devices": [{"tag": "B", "curve": ((0.0, 4.0), (20.0, 4.5), (60.0, 6.0), (200.0, 14.0))}],
            "valve_models": [{"model": "M", "seat_coefficient": 11.0, "minimum_flow": 3.0, "bypass_coefficient": 8.0}],
            "outlet_models": [{"model": "O", "kind": "shower", "type": "orifice", "rated_flow": 20.0,
                               "rated_pressure": 30.0},
                              {"model": "E", "kind": "eye/face wash", "type": "flow-regulated", "rated_flow": 3.2,
                               "rated_pressure": 20.0}], "events": []}  # fmt: skip


def whole_load_rows(stations: int) -> dict[str, list[dict[str, Any]]]:
    """The same sites with all that makes another fault a case, and with events."""
    rows = generated_rows(stations)
    rows["supplies"][0]["other_demand"] = 40.0
    rows["line_devices"].append({"tag": "Y", "kind": "strainer", "loss_per_flow_squared": 0.0002})
    rows["pipe_runs"][0]["devices"] = ("B", "Y")
    for source in rows["hot_water_sources"]:
        source |= {"other_demand": 0.0, "needs_power": True, "volume": 500.0,
                   "set_temperature": 140.0, "efficiency": 0.95, "usable_fraction": 0.7, "input_power": 300000.0, 
                   "start_delay": 60.0}  # fmt: skip
    rows["valve_models"][0] |= {"leakage": 0.3, "shutoff_time": 3.0, "approach_hot": 20.0, "approach_cold": 5.0}
    tags = [row["tag"] for row in rows["stations"]]
    for number in range(0, len(tags), GROUP):
        struck = tuple(tags[number : number + STRUCK])
        rows["events"].append({"tag": f"E{number}", "stations": struck, "users": USERS, "showers": USERS,
                               "reason": "generated"})  # fmt: skip
    return rows


def site_of(rows: dict[str, list[dict[str, Any]]], method: str) -> Site:
    """The rows as a site in US units."""
    project = ROW_MODELS["project"](units="US", friction_method=method, cold_water_cold=42.0, cold_water_warm=74.0)
    return Site(project=project, **{key: tuple(ROW_MODELS[key](**row) for row in many) for key, many in rows.items()})


def engine_seconds(rows: dict[str, list[dict[str, Any]]], method: str, runs: int) -> float:
    """Seconds of the engine for one hydraulic solution with one emitter open."""
    from wntr.epanet import toolkit  # a test dependency that takes seconds to load

    name = {row["tag"]: f"N{i}" for i, row in enumerate(rows["pipe_runs"])}
    name["S"] = "R"
    cold = {row["tag"]: row["cold_run"] for row in rows["mixing_valves"]}
    mine = [row for row in rows["pipe_runs"] if not row["fed_from"].endswith(" H")]
    lines = ["[JUNCTIONS]", *(f"{name[row['tag']]} {row['far_end_elevation']} 0" for row in mine)]
    lines += ["[RESERVOIRS]", "R 150", "[PIPES]"]
    rough = 140 if method == "Hazen-Williams" else 0.005
    for row in mine:
        above = cold.get(row["fed_from"], row["fed_from"])
        inside = pipe(row["material"], row["size"]).inside_diameter / 0.0254
        lines.append(
            f"P{name[row['tag']]} {name[above]} {name[row['tag']]} {row['developed_length']:.6g} {inside:.4f} {rough} 1"
        )
    lines += ["[OPTIONS]", "UNITS GPM", f"HEADLOSS {method[0]}-W", "ACCURACY 1e-5", "TRIALS 8", "UNBALANCED CONTINUE 0",
              "[END]"]  # fmt: skip
    r = random.Random(2)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "tree.inp"
        path.write_text("\n".join(lines))
        engine = toolkit.ENepanet()
        engine.ENopen(str(path), str(path.with_suffix(".rpt")), str(path.with_suffix(".bin")))
        engine.ENopenH()
        ends = [engine.ENgetnodeindex(name[row["fed_from"]]) for row in rows["stations"]]
        totals = []
        for begin in (0, 10) * ROUNDS:  # from the last solution's flows, or from the engine's own guess
            total = 0.0
            for _ in range(runs):
                end = r.choice(ends)
                engine.ENsetnodevalue(end, 3, 20 / math.sqrt(30))
                start = time.process_time()
                engine.ENinitH(begin)
                engine.ENrunH()
                total += time.process_time() - start
                engine.ENsetnodevalue(end, 3, 0.0)
            totals.append(total)
        engine.ENcloseH()
        engine.ENclose()
    return min(totals) / runs


def solved_seconds(network: Network, cases: Cases) -> float:
    """Seconds from the condensed paths of all openings to their numbers, in normal use."""
    np.empty(KEPT_BYTES, dtype=np.uint8)
    curves, out, blocks = network_curves(network), blank_results(cases, NORMAL), []
    for shape, openings in shapes(network, cases, np.arange(len(cases))):
        ways = ways_of(network, curves, cases, shape, openings, NORMAL)
        blocks += [(ways, *one) for one in ways.blocks(openings, SINGLES_FOR_SETS * BLOCK_OPENINGS)]
    start = time.process_time()
    for ways, some, station in blocks:
        store_single(ways, out, some, station, *solve_single(station))
    return time.process_time() - start


def measured(stations: int, method: str) -> dict[str, float]:
    """Times of one size and method, and the memory it took, in this process."""
    rows = generated_rows(stations)
    site = site_of(rows, method)
    start = time.process_time()
    network = compile_network(site)
    cases = operating_cases(site, network)
    compiled = time.process_time() - start
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    times = []
    for _ in range(ROUNDS if stations >= 5000 else 10 * ROUNDS):
        start = time.process_time()
        solve(network, cases, faults=(NORMAL,))
        times.append(time.process_time() - start)
    start = time.process_time()
    solve(network, cases)
    all_faults = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    count = len(cases) * len(STATES)
    solved = min(solved_seconds(network, cases) for _ in times) / count
    return {"ours": min(times) / count, "solved": solved,
            "engine": engine_seconds(rows, method, ENGINE_RUNS.get(stations, 50)), "compile": compiled,
            "all": all_faults, "peak": peak / 1024, "grown": (peak - before) / 1024, "cases": count}  # fmt: skip


class Shares:
    """Processor times of the parts of a solution, of which none calls another."""

    def __init__(self) -> None:
        self.spent = dict.fromkeys(("friction", "two seats", "set-up"), 0.0)
        self._inside = False

    def timed(self, part: str, work: Callable[..., Any]) -> Callable[..., Any]:
        """The same function, its time counted."""

        @functools.wraps(work)
        def counted(*args: Any, **more: Any) -> Any:
            if self._inside:
                return work(*args, **more)
            self._inside, start = True, time.process_time()
            try:
                return work(*args, **more)
            finally:
                self._inside = False
                self.spent[part] += time.process_time() - start

        return counted

    def of(self, work: Callable[[], Any]) -> dict[str, float]:
        """The share of each part in the time of `work`; the rest is the handling of arrays."""
        places = (
            (solver_paths.Stretches, "losses", "friction"), (solver_single_paths.Paths, "losses", "friction"),
            (solver_single, "two_seats_from_kernel", "two seats"), (solver_flows, "two_seats_kernel", "two seats"),
            (solver, "block_of", "set-up"), (solver, "network_in", "set-up"), (solver, "ways_of", "set-up"),
        )  # fmt: skip
        kept = [getattr(owner, name) for owner, name, _ in places]
        for (owner, name, part), function in zip(places, kept, strict=True):
            setattr(owner, name, self.timed(part, function))
        try:
            start = time.process_time()
            work()
            total = time.process_time() - start
        finally:
            for (owner, name, _), function in zip(places, kept, strict=True):
                setattr(owner, name, function)
        shares = {part: spent / total for part, spent in self.spent.items()}
        return shares | {"arrays": 1 - sum(shares.values())}


def whole_load(stations: int, method: str) -> dict[str, Any]:
    """Times, memory and shares of the whole load of one size and method, in this process."""
    site = site_of(whole_load_rows(stations), method)
    site = site.model_copy(update={"limits": default_limit_rows(CRITERIA_SETS[0])})
    start = time.process_time()
    network = compile_network(site)
    cases = operating_cases(site, network)
    compiled = time.process_time() - start
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    start = time.process_time()
    results = solve(network, cases)
    hydraulics = time.process_time() - start
    solved = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    states = np.array([one.state for one in results.faults])
    context = Context(site, network, cases, results)
    start = time.process_time()
    courses = Courses(context)
    for fault in results.names:
        courses.summary(fault)
    through = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return {"cases": states.size, "answered": float(np.isin(states, (SOLVED, FROM_DATA)).mean()), "compile": compiled,
            "hydraulics": hydraulics, "courses": through, "grown": (solved - before) / 1024, "peak": peak / 1024,
            **Shares().of(lambda: solve(network, cases))}  # fmt: skip


def print_whole_load(sizes: list[int]) -> None:
    """One line for each size and method, and how the time grows."""
    print("| " + " | ".join(WHOLE_HEADINGS) + " |\n" + "|---" * len(WHOLE_HEADINGS) + "|")
    for method in METHODS:
        found = []
        for stations in sizes:
            one = in_own_process("--whole-one", stations, method)
            found.append((stations, one["hydraulics"]))
            shares = [f"{100 * one[part]:.0f} %" for part in ("friction", "two seats", "set-up", "arrays")]
            line = (stations, method, one["cases"], f"{one['cases'] / stations:.0f}", f"{100 * one['answered']:.0f} %",
                    *(f"{one[name]:.2f}" for name in ("compile", "hydraulics", "courses")),
                    f"{one['hydraulics'] / one['cases'] * 1e6:.2f}", f"{one['grown']:.0f}", f"{one['peak']:.0f}",
                    *shares)  # fmt: skip
            print("| " + " | ".join(map(str, line)) + " |", flush=True)
        growth = [pair for pair in found if pair[0] in (2000, 8000)] or found
        if len(growth) > 1:
            (few, short), (many, long) = growth[0], growth[-1]
            power = math.log(long / short) / math.log(many / few)
            print(f"\n{method}: from {few} to {many} stations the time grows as stations^{power:.2f}.\n")


def in_own_process(what: str, stations: int, method: str) -> dict[str, Any]:
    """What one measurement says that runs alone."""
    command = [sys.executable, "-m", "tests.benchmarks.solver_benchmark", what, str(stations), method]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    answer: dict[str, Any] = json.loads(done.stdout.splitlines()[-1])
    return answer


def main(arguments: list[str]) -> int:
    """Measure each size and method in a process of its own and print the table."""
    if arguments[:1] == ["--one"]:
        print(json.dumps(measured(int(arguments[1]), arguments[2])))
        return 0
    if arguments[:1] == ["--whole-one"]:
        print(json.dumps(whole_load(int(arguments[1]), arguments[2])))
        return 0
    if arguments[:1] == ["--whole"]:
        print_whole_load([int(argument) for argument in arguments[1:]] or list(WHOLE_SIZES))
        return 0
    sizes = [int(argument) for argument in arguments] or list(SIZES)
    print("| " + " | ".join(HEADINGS) + " |\n" + "|---" * len(HEADINGS) + "|")
    found: dict[str, list[tuple[int, float]]] = {method: [] for method in METHODS}
    for stations in sizes:
        for method in METHODS:
            one = in_own_process("--one", stations, method)
            found[method].append((stations, one["ours"] * one["cases"]))
            print(f"| {stations} | {method} | {one['solved'] * 1e6:.2f} | {one['ours'] * 1e6:.2f} | "
                  f"{one['engine'] * 1e6:.0f} | {one['engine'] / one['solved']:.0f} | "
                  f"{one['engine'] / one['ours']:.0f} | {one['compile']:.2f} | {one['all']:.2f} | {one['peak']:.0f} |",
                  flush=True)  # fmt: skip
    for method, points in found.items():
        if len(points) > 1:
            (few, short), (many, long) = points[0], points[-1]
            power = math.log(long / short) / math.log(many / few)
            print(f"\n{method}: time of all cases grows as stations^{power:.2f}; stations times cases as stations^2.")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
