"""The solver against printed and run values of the EPANET engine on trees of pipes with pressure-dependent outlets."""

import random

import pytest
from wntr.epanet import toolkit

from drenchbook.site_model import ROW_MODELS, Site
from tests.lab_site import solved
from tests.us_units import FOOT_OF_WATER, GPM, PSI

# TREE-A: run, feeds from, length ft, size of copper L, fittings K, far-end elevation ft, emitter of its end.
TREE_A = [
    ("P1", "R", 100.0, "1-1/2", 2.0, 0.0, 0.0), ("P2", "P1", 50.0, "1-1/2", 1.5, 3.0, 0.0),
    ("P3", "P2", 40.0, "1-1/4", 1.2, 3.0, 0.0), ("P4", "P3", 12.0, "1", 3.0, 6.83, 3.6515),
    ("P5", "P2", 20.0, "1/2", 4.0, 3.0, 0.5477), ("P6", "P3", 60.0, "1", 2.5, 6.83, 3.6515),
]  # fmt: skip
RESERVOIR_FEET, WATER = 138.402, 0.4333  # psi per foot in that engine
PRESSURE = {"Hazen-Williams": {"P4": 34.3575, "P5": 43.1801, "P6": 29.7269},
            "Darcy-Weisbach": {"P4": 36.0163, "P5": 44.2541, "P6": 31.7071}}  # fmt: skip
FLOW = {"Hazen-Williams": {"P4": 21.4034, "P5": 3.5990, "P6": 19.9088},
        "Darcy-Weisbach": {"P4": 21.9140, "P5": 3.6435, "P6": 20.5612}}  # fmt: skip
INSIDE = {"1-1/2": 1.505, "1-1/4": 1.265, "1": 1.025, "1/2": 0.545}


def site_of_tree(tree, method, feet=RESERVOIR_FEET):
    """The tree as cold-water stations; the water is at the temperature of the engine's viscosity, 1.1e-5 ft²/s."""
    row = ROW_MODELS
    ends = [pipe for pipe in tree if pipe[6]]
    words = [f"{word}_{level}" for word in ("static", "residual", "test_flow") for level in ("low", "high")]
    supply = {word: 100.0 if word.startswith("test") else feet * WATER for word in words}
    runs = [{"tag": tag, "fed_from": above, "size": size, "developed_length": long, "fittings": str(k),
             "far_end_elevation": height} for tag, above, long, size, k, height, _ in tree]  # fmt: skip
    models = [{"model": f"O {tag}", "rated_flow": emitter, "rated_pressure": 1.0} for tag, *_, emitter in ends]
    stations = [{"tag": f"L {tag}", "fed_from": tag, "outlet_1": f"O {tag}", "outlet_1_elevation": height}
                for tag, *_, height, _emitter in ends]  # fmt: skip
    event = {"tag": "all", "stations": tuple(one["tag"] for one in stations), "users": float(len(ends))}
    return Site(
        project=row["project"](units="US", friction_method=method, cold_water_cold=66.5, cold_water_warm=66.5),
        supplies=(row["supplies"](tag="R", gauge_elevation=0.0, **supply),),
        pipe_runs=tuple(row["pipe_runs"](material="copper L", hazen_williams_c=140.0, **one) for one in runs),
        outlet_models=tuple(row["outlet_models"](kind="shower", type="orifice", **one) for one in models),
        stations=tuple(row["stations"](**one) for one in stations),
        events=(row["events"](**event, showers=event["users"]),),
    )


def together(tree, method, feet=RESERVOIR_FEET):
    """Pressures and flows of all outlets together, by run."""
    one = solved(site_of_tree(tree, method, feet))
    names = [pipe[0] for pipe in tree if pipe[6]]
    opening = one.cases.find(tuple(f"L {name}" for name in names))
    place = one.cases.outlets.of(opening)
    result = one.results.normal
    return (dict(zip(names, result.outlet_pressure[0, place] / PSI, strict=True)),
            dict(zip(names, result.outlet_flow[0, place] / GPM, strict=True)))  # fmt: skip


@pytest.mark.parametrize("method", PRESSURE)
def test_tree_a(method):
    """TREE-A as run: within 0.3 % of the head of 138.4 ft and 0.2 % of flow (other g, density and friction formula)."""
    pressure, flow = together(TREE_A, method)
    head = 0.003 * RESERVOIR_FEET * FOOT_OF_WATER / PSI
    assert pressure == pytest.approx(PRESSURE[method], abs=head)
    assert flow == pytest.approx(FLOW[method], rel=0.002)


def engine(tree, method, folder, feet=RESERVOIR_FEET):
    """The same tree in the EPANET engine: pressure [psi] and flow [gpm] of each emitter."""
    lines = [
        "[JUNCTIONS]",
        *(f"{tag} {height} 0" for tag, *_, height, _k in tree),
        "[RESERVOIRS]",
        f"R {feet}",
        "[PIPES]",
    ]
    rough = 140 if method == "Hazen-Williams" else 0.005  # thousandths of a foot
    lines += [f"{tag} {above} {tag} {long} {INSIDE[size]} {rough} {k}" for tag, above, long, size, k, *_ in tree]
    lines += ["[EMITTERS]", *(f"{pipe[0]} {pipe[6]}" for pipe in tree if pipe[6]), "[OPTIONS]", "UNITS GPM"]
    lines += [f"HEADLOSS {method[0]}-W", "ACCURACY 1e-8", "TRIALS 200", "[END]"]
    (folder / "tree.inp").write_text("\n".join(lines))
    run = toolkit.ENepanet()
    run.ENopen(str(folder / "tree.inp"), str(folder / "tree.rpt"), str(folder / "tree.bin"))
    run.ENopenH()
    run.ENinitH(0)
    run.ENrunH()
    found = {pipe[0]: run.ENgetnodevalue(run.ENgetnodeindex(pipe[0]), 11) for pipe in tree if pipe[6]}
    run.ENcloseH()
    run.ENclose()
    return found, {pipe[0]: pipe[6] * found[pipe[0]] ** 0.5 for pipe in tree if pipe[6]}


@pytest.mark.parametrize("method", PRESSURE)
def test_deep_tree_in_the_engine(method, tmp_path):
    """Nine runs deep with five outlets: 0.3 % of the head and 0.4 % of flow, for the same reasons."""
    tree = [("A", "R", 80.0, "1-1/2", 0.0, 2.0, 0.0)]
    for number in range(1, 9):
        tree.append((f"T{number}", tree[-1][0] if number > 1 else "A", 15.0, "1-1/4", 0.5, 3.0 + number, 0.0))
    for number in (1, 3, 5, 7, 8):
        tree.append((f"E{number}", f"T{number}", 25.0, "1", 2.0, 5.0 + number, 1.5))
    pressure, flow = together(tree, method)
    theirs = engine(tree, method, tmp_path)
    assert pressure == pytest.approx(theirs[0], abs=0.003 * RESERVOIR_FEET * FOOT_OF_WATER / PSI)
    assert flow == pytest.approx(theirs[1], rel=0.004)


def random_tree(seed):
    """A tree of 4 to 14 runs in which every emitter has pressure, and the head of its reservoir."""
    drawn = random.Random(seed)
    tree = [("R0", "R", drawn.uniform(20, 100), "1-1/2", drawn.uniform(0, 4), drawn.uniform(0, 5), 0.0)]
    for number in range(1, drawn.randint(4, 14)):
        above = drawn.choice(tree)
        size = drawn.choice(("1-1/2", "1-1/4", "1") if above[3] == "1-1/2" else ("1-1/4", "1", "1/2"))
        height = above[5] + drawn.uniform(-4, 6)
        emitter = drawn.choice((0.0, drawn.uniform(0.3, 1.5))) if size != "1/2" else drawn.uniform(0.1, 0.4)
        tree.append((f"R{number}", above[0], drawn.uniform(5, 80), size, drawn.uniform(0, 5), height, emitter))
    tree.append(("E", tree[-1][0], 10.0, "1", 1.0, tree[-1][5], 1.0))
    tree.append(("F", tree[1][0], 15.0, "1", 0.5, tree[1][5] + 2.0, 0.8))
    return tree, drawn.uniform(130.0, 230.0)


@pytest.mark.parametrize("method", PRESSURE)
@pytest.mark.parametrize("seed", range(12))
def test_random_trees_in_the_engine(method, seed, tmp_path):
    """0.15 % of the head and of each flow: its g, density, exponent 1.852 and, for Darcy, its explicit friction factor.

    No emitter of these trees starves: its emitters would suck, ours do not.
    """
    tree, feet = random_tree(seed)
    theirs = engine(tree, method, tmp_path, feet)
    assert min(theirs[0].values()) > 0.01 * feet
    pressure, flow = together(tree, method, feet)
    assert len(flow) >= 2
    assert pressure == pytest.approx(theirs[0], abs=0.0015 * feet * FOOT_OF_WATER / PSI)
    assert flow == pytest.approx(theirs[1], rel=0.0015)
