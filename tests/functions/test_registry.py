"""Every row of the registry: its example, its refusals, both unit systems, and the page written from it."""

import datetime
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.published.sources import SOURCES
from drenchbook.units import SI, US, convert, unit_of
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS, reason
from drenchbook.worksheet_reference import example_formula, reference_markdown, signature
from tests.printed import printed

# As the design gives them: names and order are fixed.
SIGNATURES = """
DRENCH_MIXED_TEMPERATURE(hot_flow, hot_temperature, cold_flow, cold_temperature, [units])
DRENCH_HOT_FLOW(mixed_flow, mixed_temperature, hot_temperature, cold_temperature, [units])
DRENCH_COLD_FLOW(mixed_flow, mixed_temperature, hot_temperature, cold_temperature, [units])
DRENCH_INSIDE_DIAMETER(material, size, [units])
DRENCH_PIPE_LOSS(flow, material, size, length, fittings, temperature, [method], [units])
DRENCH_PIPE_VELOCITY(flow, material, size, [units])
DRENCH_PIPE_VOLUME(material, size, length, [units])
DRENCH_ELEVATION_LOSS(rise, [temperature], [units])
DRENCH_SUPPLY_PRESSURE(flow, static, residual, test_flow, [units])
DRENCH_COEFFICIENT_LOSS(flow, coefficient, [temperature], [units])
DRENCH_CHAMBER_PRESSURE(flow, hot_fraction, hot_pressure, cold_pressure, coefficient, [units])
DRENCH_STEM_POSITION(flow, hot_fraction, hot_pressure, cold_pressure, coefficient, [units])
DRENCH_OUTLET_FLOW(pressure, rated_flow, rated_pressure, regulated, [units])
DRENCH_STORAGE_MINUTES(volume, usable_fraction, start_temperature, cold_temperature, mixed_temperature, mixed_flow, \
recovery, model, [approach], [units])
DRENCH_RUN_PURGE_SECONDS(flow, material, size, length, [units])
DRENCH_PIPE_END_TEMPERATURE(flow, inlet_temperature, air_temperature, material, size, length, [insulation], \
[conductivity], [film], [units])
DRENCH_REQUIRED_FLOW(kind, criteria, [units])
DRENCH_ADEQUACY(value, minimum, maximum)
""".strip().splitlines()

EXAMPLES = [(function, example) for function in FUNCTIONS for example in function.examples]
NUMBER_FUNCTIONS = [function for function in FUNCTIONS if function.gives_number and function.takes[-1].kind == "units"]
REQUIRED = [(function, place) for function in FUNCTIONS for place, argument in enumerate(function.takes)
            if not argument.optional and argument.kind not in ("any", "table")]  # fmt: skip
NUMBERS = [(function, place) for function in FUNCTIONS for place, argument in enumerate(function.takes)
           if argument.kind == "number" and function.examples]  # fmt: skip


def name_of(value):
    return getattr(value, "name", None)


def us_cells(function):
    """The cells of the function's US example, optional ones blank, without the unit system."""
    cells = list(function.examples[0].cells)
    return cells + [None] * (len(function.takes) - 1 - len(cells))


@pytest.mark.parametrize("line", SIGNATURES)
def test_names_and_order_are_those_of_the_design(line):
    assert signature(FUNCTION_BY_NAME[line.partition("(")[0]]) == line


@pytest.mark.parametrize(("function", "example"), EXAMPLES, ids=name_of)
def test_each_example_gives_its_printed_answer(function, example):
    answer = function(*example.cells)
    assert answer == (printed(example.answer) if function.gives_number else example.answer)


@pytest.mark.parametrize("function", NUMBER_FUNCTIONS, ids=name_of)
def test_each_number_function_has_an_example_in_both_unit_systems(function):
    systems = {SI if SI in example.cells else US for example in function.examples}
    assert systems == {US, SI}
    assert function.takes[-1].kind == "units"


@pytest.mark.parametrize(("function", "place"), REQUIRED, ids=name_of)
@pytest.mark.parametrize("blank", [None, "", "  "])
def test_a_blank_is_named_and_never_a_zero(function, place, blank):
    cells = us_cells(function) if function in NUMBER_FUNCTIONS else [12.5]
    cells[place] = blank
    with pytest.raises(InputError, match=rf"^{function.takes[place].name} = blank: is blank; give the ") as caught:
        function(*cells)
    assert caught.value.name == function.takes[place].name


@pytest.mark.parametrize("function", FUNCTIONS, ids=name_of)
def test_left_out_altogether_is_refused_where_something_is_required(function):
    required = [a for a in function.takes if not a.optional and a.kind != "any" and not a.repeats]
    if not required:
        assert isinstance(function(*[None] * len(function.takes)), str)
        return
    with pytest.raises(InputError, match=f"^{required[0].name} = blank"):
        function()


BAD = [("2,5", r'"2,5".*is text, not a number'), ("20", r'"20".*is text'), (True, "TRUE: is a truth value"),
       (datetime.datetime(2026, 3, 4), '"2026-03-04 00:00:00": is a date'), (float("nan"), "must be a finite number"),
       (float("inf"), "must be a finite number"), ([[1.0, 2.0]], '"1 × 2 cells": must be one number')]  # fmt: skip


@pytest.mark.parametrize(("function", "place"), NUMBERS, ids=name_of)
@pytest.mark.parametrize(("bad", "words"), BAD)
def test_what_is_no_number_is_refused_by_name(function, place, bad, words):
    cells = us_cells(function) if function in NUMBER_FUNCTIONS else [12.5]
    cells[place] = bad
    with pytest.raises(InputError, match=rf"^{function.takes[place].name} = .*{words}"):
        function(*cells)


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if f.name != "DRENCH_REASON"], ids=name_of)
def test_one_argument_too_many_is_refused(function):
    cells = [None] * len(function.takes) + [7]
    with pytest.raises(InputError, match=rf"^argument {len(cells)} = 7: is one too many"):
        function(*cells)


@pytest.mark.parametrize("function", NUMBER_FUNCTIONS, ids=name_of)
def test_an_unknown_unit_system_is_refused(function):
    with pytest.raises(InputError, match=r'^units = "metric": must be "US" or "SI"'):
        function(*us_cells(function), "metric")


# Function, cells, what the user reads: the argument, the value in the user's unit, what is accepted in that unit.
WRONG = [
    ("PIPE_VELOCITY", (-2, "copper L", "1"), "flow = -2 gpm: must be zero or more"),
    ("PIPE_VELOCITY", (-2, "copper L", "1", "SI"), "flow = -2 L/min: must be zero or more"),
    ("PIPE_VELOCITY", (2, "copper X", "1"), 'material = "copper X": is not in the tables'),
    ("PIPE_VELOCITY", (2, "PEX", datetime.datetime(2026, 3, 4)), 'size = "2026.*a spreadsheet turned 3/4 into one'),
    ("PIPE_VELOCITY", (2, "copper L", 1.3), "size = 1.3: is not in the tables; the nearest are 1-1/4 and 1-1/2"),
    ("MIXED_TEMPERATURE", (10, 140, 10, 15), "cold_temperature = 15 °F: must be from 32 to 230"),
    ("MIXED_TEMPERATURE", (10, 140, 10, 15, "SI"), "hot_temperature = 140 °C: must be from 0 to 110"),
    ("MIXED_TEMPERATURE", (0, 140, 0, 50), "cold_flow = 0 gpm: needs water: both flows are zero"),
    ("HOT_FLOW", (20, 150, 140, 50), "mixed_temperature = 150 °F: mixing cannot reach it: must be from 50 to 140"),
    ("COLD_FLOW", (20, 70, 60, 5, "SI"), "mixed_temperature = 70 °C: mixing cannot reach it: must be from 5 to 60"),
    ("PIPE_LOSS", (20, "copper L", "1", 100, "4 elbows", 60), 'fittings = "4 elbows": has "4 elbows"'),
    ("PIPE_LOSS", (20, "copper L", "1", 100, -1, 60), "fittings = -1: must be a total K from 0"),
    ("PIPE_LOSS", (20, "copper L", "1", -100, 0, 60), "length = -100 ft: must be zero or more"),
    ("PIPE_LOSS", (20, "copper L", "1", 100, 0, 60, "Manning"), 'method = "Manning": must be "Darcy-Weisbach"'),
    ("PIPE_LOSS", (20, "copper L", "1", 100, 0, 60, 2000), "method = 2000: must be .* from 20 to 170"),
    ("ROUGH_PIPE_LOSS", (20, "steel 40", "1", 100, "none", 60, -0.1), "roughness = -0.1 in: must be zero or more"),
    ("ELEVATION_LOSS", (10, "SI"), 'temperature = "SI": is a unit system, which comes last'),
    ("PIPE_LOSS", (20, "copper L", "1", 100, 0, 60, "SI"), 'method = "SI": is a unit system, which comes last'),
    ("PIPE_LOSS", (20, "PEX", "1", 100, [[0], [1]], 60), 'fittings = "2 × 1 cells": must be one value'),
    ("SUPPLY_PRESSURE", (10, 60, 70, 50), "residual = 70 psi: must be at most the static pressure"),
    ("SUPPLY_PRESSURE", (10, 70, 60, 0), "test_flow = 0 gpm: must be more than zero"),
    ("COEFFICIENT_LOSS", (10, 0), "coefficient = 0 Cv: must be more than zero"),
    ("COEFFICIENT_LOSS", (10, 0, "", "SI"), "coefficient = 0 Kv: must be more than zero"),
    ("CHAMBER_PRESSURE", (10, 1.2, 50, 50, 11), "hot_fraction = 1.2: must be from 0 to 1"),
    ("STEM_POSITION", (10, -0.1, 50, 50, 11), "hot_fraction = -0.1: must be from 0 to 1"),
    ("OUTLET_FLOW", (50, 20, 30, "perhaps"), 'regulated = "perhaps": must be TRUE or FALSE'),
    ("OUTLET_FLOW", (50, 0, 30, True), "rated_flow = 0 gpm: must be more than zero"),
    ("STORAGE_MINUTES", (200, 0.75, 130, 42, 135, 28, 2, "mixed"),
     "mixed_temperature = 135 °F: .* cold temperature 42 °F and the start temperature 130 °F"),
    ("STORAGE_MINUTES", (200, 1.75, 130, 42, 85, 28, 2, "mixed"), "usable_fraction = 1.75: must be more than 0"),
    ("STORAGE_MINUTES", (200, 0.75, 130, 42, 85, 28, 2, "layered"), 'model = "layered": must be "stratified"'),
    ("RUN_PURGE_SECONDS", (0, "copper L", "1", 50), "flow = 0 gpm: must be more than zero"),
    ("PIPE_END_TEMPERATURE", (5, 120, 70, "copper L", "1", 100, -1), "insulation = -1 in: must be zero or more"),
    ("PIPE_END_TEMPERATURE", (5, 120, 70, "copper L", "1", 100, 1, 0), "conductivity = 0 Btu·in.*: must be more than"),
    ("PIPE_END_TEMPERATURE", (5, 50, 20, "copper L", "1", 100, 1, 0.3, -1, "SI"), "film = -1 W/"),
    ("REQUIRED_FLOW", ("bath", "EN 15154"), 'kind = "bath": must be one of "shower"'),
    ("REQUIRED_FLOW", ("drench hose", "EN 15154"), 'kind = "drench hose": has no figure in EN 15154'),
    ("REQUIRED_FLOW", ("shower", "OSHA"), 'criteria = "OSHA": must be one of'),
    ("STAMP", ("",), "fingerprint = blank"),
    ("SCHEDULE", (1,), "project = 1: must be the whole range of the sheet Project, with its heading row"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "cells", "words"), WRONG)
def test_a_wrong_argument_is_told_in_the_users_words(name, cells, words):
    with pytest.raises(InputError, match="^" + words) as caught:
        FUNCTION_BY_NAME[f"DRENCH_{name}"](*cells)
    assert reason(f"DRENCH_{name}", *cells) == str(caught.value)


def test_each_number_function_has_a_wrong_argument_above():
    assert {f"DRENCH_{name}" for name, _, _ in WRONG} >= {f.name for f in NUMBER_FUNCTIONS} - {"DRENCH_INSIDE_DIAMETER",
        "DRENCH_PIPE_VOLUME"}  # fmt: skip


@pytest.mark.parametrize("function", NUMBER_FUNCTIONS, ids=name_of)
@given(data=st.data())
def test_us_and_si_give_the_same(function, data):
    """The same case in the other units gives the same answer, converted."""
    us, si = us_cells(function), []
    for place, (argument, cell) in enumerate(zip(function.takes[:-1], us, strict=True)):
        if argument.kind != "number":
            si.append(cell)
            continue
        value = cell if cell is not None else argument.default_in(US)
        spread = 1.0 if argument.quantity == "fraction" else 1.01 if argument.quantity == "temperature" else 1.5
        us[place] = value * data.draw(st.floats(1.0, spread), argument.name)
        si.append(convert(us[place], argument.unit(US), argument.unit(SI)))
    try:
        answer = function(*us, US)
    except InputError as refusal:
        with pytest.raises(InputError, match=f"^{refusal.name} = "):
            function(*si, SI)
        return
    assert function(*si, SI) == pytest.approx(
        convert(answer, unit_of(function.gives, US), unit_of(function.gives, SI)), rel=1e-9, abs=1e-9
    )


def test_reason_is_ok_for_good_arguments_and_a_sentence_for_an_unknown_function():
    assert reason("drench_pipe_velocity", 20, "copper L", "1") == "OK"
    assert reason("DRENCH.PIPE_VELOCITY", 20, "copper L", "1") == "OK"
    assert reason("SUM", 1) == 'function = "SUM": must be the name of a DRENCH_ function, as text'
    assert reason(None) == "function = blank: must be the name of a DRENCH_ function, as text"


def test_status_tells_the_version():
    assert re.fullmatch(r"Drenchbook \d+\.\d+\.\d+", FUNCTION_BY_NAME["DRENCH_STATUS"]())


@pytest.mark.parametrize(
    ("typed", "answer"), [(True, 22.0), (1.0, 22.0), ("Y", 22.0), (False, 44.0), (0, 44.0), ("no", 44.0)]
)
def test_a_truth_value_may_arrive_as_a_number_or_a_word(typed, answer):
    """At four times the rated pressure an orifice gives twice its flow, a regulated outlet holds it."""
    assert FUNCTION_BY_NAME["DRENCH_OUTLET_FLOW"](100, 22, 25, typed) == pytest.approx(answer)


@pytest.mark.parametrize(("function", "example"), EXAMPLES, ids=name_of)
def test_no_name_looks_like_a_cell(function, example):
    assert not re.fullmatch(r"[A-Z]{1,3}\d+", function.name.replace("_", ""))
    assert example_formula(function, example.cells).startswith("=DRENCH_")


@pytest.mark.parametrize("function", FUNCTIONS, ids=name_of)
def test_each_source_is_known(function):
    assert function.sources
    assert set(function.sources) <= set(SOURCES)


def test_the_page_of_the_functions_is_the_one_that_the_registry_writes():
    page = Path(__file__).parents[2] / "server" / "functions.md"
    assert page.read_text(encoding="utf-8") == reference_markdown(), (
        "write it again: python -m drenchbook.worksheet_reference > server/functions.md"
    )


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("number", [1e-300, 1e-160, 1e160, 1e300])
@pytest.mark.parametrize(("function", "place"), NUMBERS, ids=name_of)
def test_no_number_however_large_or_small_is_a_fault_of_the_program(function, place, number):
    cells = us_cells(function)
    cells[place] = number
    try:
        answer = function(*cells, "US")
    except InputError:  # anything else is a fault
        return
    assert isinstance(answer, float)
