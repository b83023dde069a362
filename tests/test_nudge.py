"""Every physics constant and every column of the pipe tables, nudged by 1 %, must turn a published test red.

The published tests run in this process: the constant is replaced in its module, the test functions of the files named
below are called with every one of their parameters, and the first that fails ends the search. Without the nudge the
same call must pass, so it is the nudge that was seen. `OUT_OF_REACH` lists what no published number holds, and why.
"""

import importlib
import inspect
import itertools
from types import FunctionType, MappingProxyType, SimpleNamespace

import pytest

from drenchbook.physics import (
    dead_leg,
    fittings,
    heat_loss,
    inputs,
    mixing,
    mixing_valve,
    outdoor_pipe,
    outlets,
    pipe_flow,
    storage,
    supply,
    surge,
    water,
)
from drenchbook.published import data_files, fittings_table, pipes

PHYSICS = (inputs, water, pipe_flow, fittings, mixing, mixing_valve, outlets, supply, storage, dead_leg, heat_loss,
           surge, outdoor_pipe)  # fmt: skip
FILES = {  # where a module's constants are looked for, the likeliest first
    inputs: ("iapws", "heat_loss_handbooks"),
    water: ("iapws", "water_tables", "coolprop"),
    pipe_flow: (
        "colebrook_values",
        "hazen_williams_tables",
        "crane_tp410",
        "network_programs",
        "hand_calculated_laboratory",
    ),
    fittings: ("valve_coefficients", "crane_tp410"),
    mixing_valve: ("hand_calculated_laboratory",),
    supply: ("fire_protection", "hand_calculated_laboratory"),
    storage: ("storage_handbooks", "hand_calculated_laboratory"),
    heat_loss: ("heat_loss_handbooks",),
}
TABLE_FILES = {
    "pipes": (
        "pipe_tables_copper_handbook",
        "pipe_tables_en1057",
        "pipe_tables_hydraulic_institute",
        "pipe_tables_plastics",
        "pipe_tables_steel_mm",
    ),
    "materials": ("pipe_tables_walls", "pipe_tables_hydraulic_institute", "pipe_tables_copper_handbook"),
    "fittings": ("fittings_equivalent_lengths", "fittings_crane_factors"),
    "turbulent_factors": ("fittings_crane_factors", "fittings_equivalent_lengths"),
}
COLUMNS = {
    "pipes": ("outside_diameter", "wall", "inside_diameter"),
    "materials": (
        "roughness_mm",
        "hazen_williams_c",
        "wall_density",
        "wall_heat_capacity",
        "wall_conductivity",
        "wall_elasticity_gpa",
    ),
    "fittings": ("l_over_d",),
    "turbulent_factors": ("turbulent_factor",),
}
OUT_OF_REACH = {
    "pipe_flow.LAMINAR_LIMIT": "a convention: no printed loss lies between Re 2300 and the blend's other end",
    "pipe_flow.TURBULENT_LIMIT": "a convention: printed losses above Re 2300 use the turbulent formula throughout",
    "mixing_valve.SMALLEST_FLOW": "a guard against 0/0; no result depends on it",
    "mixing_valve.LARGEST_STEPS": "a limit of an iteration that ends long before",
    "mixing_valve.USUAL_STEPS": "steps of an iteration before it is first asked whether it has ended",
    "mixing_valve.SETTLED": "the step at which an iteration ends",
    "storage.STANDARD_APPROACH": "a default of common practice; makers' data replace it",
    "heat_loss.FILM_COEFFICIENT": "a default chosen between two rows of the guide, whose test only brackets it",
}


def numbers_in(value, path=()):
    """Paths to the numbers in a constant: () for a number itself, (2, 0) for a coefficient in a table."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path
    elif isinstance(value, tuple):
        for place, part in enumerate(value):
            yield from numbers_in(part, (*path, place))


def nudged(value, path):
    """The constant with one number 1 % larger; a whole power one larger."""
    if path:
        place, *rest = path
        return tuple(nudged(part, rest) if i == place else part for i, part in enumerate(value))
    return value + 1 if isinstance(value, int) else value * 1.01


def constants():
    for module in PHYSICS:
        for name, value in vars(module).items():
            if name.isupper() and not is_borrowed(module, name):
                for path in numbers_in(value):
                    yield module, name, path


def is_borrowed(module, name):
    """Whether a constant came by import from an earlier module."""
    earlier = PHYSICS[: PHYSICS.index(module)]
    return any(name in vars(other) and vars(other)[name] is vars(module)[name] for other in earlier)


def label(module, name):
    return f"{module.__name__.rpartition('.')[2]}.{name}"


def calls(file):
    """Every test of a file with every set of its arguments."""
    module = importlib.import_module(f"tests.published.test_{file}")
    for name, found in vars(module).items():
        if name.startswith("test_") and isinstance(found, FunctionType):
            yield from calls_of(module, found, parameters(found))
        elif name.startswith("Test") and isinstance(found, type):
            for method, function in vars(found).items():
                if method.startswith("test_"):
                    bound = getattr(found(), method)
                    yield from calls_of(module, bound, parameters(found) + parameters(function))


def parameters(marked):
    """For each parametrize mark the sets of arguments it gives."""
    return [
        [dict(zip(*named(mark.args[0], row), strict=True)) for row in mark.args[1]]
        for mark in getattr(marked, "pytestmark", [])
        if mark.name == "parametrize"
    ]


def calls_of(module, function, sets):
    given = {name for options in sets for name in options[0]}
    for name in (name for name in inspect.signature(function).parameters if name not in given):
        fixture = vars(module)[name]  # a fixture of the same file, with parameters
        make, marker = fixture._get_wrapped_function(), fixture._fixture_function_marker
        sets = [*sets, [{name: make(SimpleNamespace(param=param))} for param in marker.params]]
    for choice in itertools.product(*sets):
        arguments = {name: value for part in choice for name, value in part.items()}
        yield lambda arguments=arguments: function(**arguments)


def named(names, row):
    """Names and values of one set of arguments, however parametrize was told them."""
    split = [name.strip() for name in names.split(",")] if isinstance(names, str) else names
    if hasattr(row, "marks"):  # pytest.param
        return split, row.values
    return split, [row] if isinstance(names, str) and len(split) == 1 else row


def fails(call):
    try:
        call()
    except (Exception, pytest.fail.Exception):
        return True
    return False


def first_red(files):
    return next((call for file in files for call in calls(file) if fails(call)), None)


@pytest.mark.parametrize(
    ("module", "name", "path"),
    [
        pytest.param(*constant, id=label(*constant[:2]) + "".join(f"[{i}]" for i in constant[2]))
        for constant in constants()
        if label(*constant[:2]) not in OUT_OF_REACH
    ],
)
def test_a_published_test_sees_the_constant(module, name, path, monkeypatch):
    original = vars(module)[name]
    changed = nudged(original, path)
    with monkeypatch.context() as patch:
        for other in PHYSICS:
            if vars(other).get(name) is original:
                patch.setattr(other, name, changed)
        red = first_red(FILES[module])
    assert red is not None, f"{label(module, name)}{path}: no published test noticed 1 %"
    assert not fails(red), "the test fails without the nudge too"


def test_what_is_out_of_reach_exists():
    known = {label(module, name) for module, name, _ in constants()}
    assert set(OUT_OF_REACH) <= known


def groups():
    """One material, or one row, at a time: (file, column, heading that names the row, its name)."""
    for file, columns in COLUMNS.items():
        heading = {"fittings": "word", "turbulent_factors": "size"}.get(file, "material")
        names = dict.fromkeys(row[heading] for row in data_files.rows(file))
        for column, name in itertools.product(columns, names):
            yield file, column, heading, name


def forget_tables():
    for module in (pipes, fittings_table):
        for value in list(vars(module).values()):
            if hasattr(value, "cache_clear") and value is not data_files.rows:
                value.cache_clear()


@pytest.fixture
def nudge_rows(monkeypatch):
    """Replaces the tables with nudged ones until the end of the test, and forgets what was read from them."""
    forget_tables()
    yield lambda reader: [monkeypatch.setattr(module, "rows", reader) for module in (pipes, fittings_table)]
    monkeypatch.undo()
    forget_tables()


@pytest.mark.parametrize(
    ("file", "column", "heading", "name"), [pytest.param(*g, id=f"{g[0]}.{g[1]}[{g[3]}]") for g in groups()]
)
def test_a_published_test_sees_the_column(file, column, heading, name, nudge_rows, monkeypatch):
    def reader(asked):
        if asked != file:
            return data_files.rows(asked)
        return tuple(
            MappingProxyType({**row, column: repr(float(row[column]) * 1.01)}) if row[heading] == name else row
            for row in data_files.rows(asked)
        )

    nudge_rows(reader)
    red = first_red(TABLE_FILES[file])
    monkeypatch.undo()
    forget_tables()
    assert red is not None, f"{file}.csv, {column} of {name}: no published test noticed 1 %"
    assert not fails(red), "the test fails without the nudge too"
