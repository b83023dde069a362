"""How much a case costs, on generated sites of 50, 500 and 5,000 stations, against the EPANET engine in one process.

    python -m tests.benchmarks.solver_benchmark            a table in markdown
    python -m tests.benchmarks.solver_benchmark 500        one size only

Each station has a shower and an eye/face wash, each opened alone and both together: two seasons, low and high supply,
normal use, in groups of 25 stations with a mixing valve each. The engine gets the same supply main, cold runs and
tempered trees with the same shower open; its valves are left out and it knows neither hot water nor mixing, so its
share of the work is the smaller one. It is charged one hydraulic solution without files, at most 8 trials, by the
faster of its two ways to begin. All times are processor times of one process.
"""

from __future__ import annotations

import json
import math
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from drenchbook.network import compile_network
from drenchbook.operating_cases import NORMAL, STATES, operating_cases
from drenchbook.published.pipes import pipe
from drenchbook.site_model import ROW_MODELS, Site
from drenchbook.solver import solve

SIZES = (50, 500, 5000)
METHODS = ("Hazen-Williams", "Darcy-Weisbach")
GROUP = 25
ENGINE_RUNS = {50: 400, 500: 150, 5000: 20}


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
        for begin in (0, 10):  # from the last solution's flows, or from the engine's own guess
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
    for _ in range(5 if stations < 5000 else 3):
        start = time.process_time()
        solve(network, cases, faults=(NORMAL,))
        times.append(time.process_time() - start)
    start = time.process_time()
    solve(network, cases)
    all_faults = time.process_time() - start
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    ours = min(times) / (len(cases) * len(STATES))
    return {"ours": ours, "engine": engine_seconds(rows, method, ENGINE_RUNS.get(stations, 50)), "compile": compiled,
            "all": all_faults, "peak": peak / 1024, "grown": (peak - before) / 1024,
            "cases": len(cases) * len(STATES)}  # fmt: skip


def main(arguments: list[str]) -> int:
    """Measure each size and method in a process of its own and print the table."""
    if arguments[:1] == ["--one"]:
        print(json.dumps(measured(int(arguments[1]), arguments[2])))
        return 0
    sizes = [int(argument) for argument in arguments] or list(SIZES)
    print(
        "| stations | friction | µs a case | engine, µs a case | ratio | compile, s | all faults, s | peak memory, MB |"
    )
    print("|---|---|---|---|---|---|---|---|")
    found: dict[str, list[tuple[int, float]]] = {method: [] for method in METHODS}
    for stations in sizes:
        for method in METHODS:
            command = [sys.executable, "-m", "tests.benchmarks.solver_benchmark", "--one", str(stations), method]
            done = subprocess.run(command, check=True, capture_output=True, text=True)
            one = json.loads(done.stdout.splitlines()[-1])
            found[method].append((stations, one["ours"] * one["cases"]))
            print(f"| {stations} | {method} | {one['ours'] * 1e6:.2f} | {one['engine'] * 1e6:.0f} | "
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
