"""Many calls at once: the same digits to the last bit as one by one, and nothing answered that is refused alone."""

import json
import math
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drenchbook.errors import InputError
from drenchbook.hosts import server_batch
from drenchbook.worksheet_columns import FEWEST, column_answers
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS
from tests.hosts.truth_cases import BLANK_CELL, SPOILED, around

BY_COLUMNS = [function for function in FUNCTIONS if function.by_columns]
ODD = [None if spoiled is BLANK_CELL else spoiled for _, spoiled in SPOILED.values()]
ODD += [True, math.inf, math.nan, -0.0, 0.0, 7, [[1.0, 2.0]], 1e300, 1e-300, -1.0, "none", "SI", "us", " "]


def alone(function, cells):
    try:
        with np.errstate(all="ignore"):  # of 1e300 gpm nothing finite comes
            return function(*cells)
    except InputError:
        return None


def bits(number):
    return None if number is None else float(number).hex()


def random_rows(function, how_many, odd, seed=7):
    """Rows around the function's examples, a share of them with one cell spoiled, some with a cell too many."""
    rng, rows = random.Random(seed), []
    for _ in range(how_many):
        cells = list(around(function, rng))
        if rng.random() < odd:
            place = rng.randrange(len(function.takes) + 1)
            cells += [None] * (place + 1 - len(cells))
            cells[place] = rng.choice(ODD)
        rows.append(cells)
    return rows


def test_every_function_of_numbers_works_by_columns():
    assert {f.name for f in FUNCTIONS if f.gives_number} - {f.name for f in BY_COLUMNS} == {
        "DRENCH_INSIDE_DIAMETER", "DRENCH_REQUIRED_FLOW"}  # fmt: skip


@pytest.mark.parametrize("function", BY_COLUMNS, ids=lambda function: function.name)
def test_a_column_gives_the_digits_of_its_rows(function):
    rows = [row for row in random_rows(function, 400, odd=0.0) if alone(function, row) is not None]
    assert len(rows) > 40
    assert list(map(bits, column_answers(function, rows))) == [bits(alone(function, row)) for row in rows]


@pytest.mark.parametrize("function", BY_COLUMNS, ids=lambda function: function.name)
def test_a_column_with_refused_rows_answers_none_of_them_and_nearly_all_others(function):
    rows = random_rows(function, 400, odd=0.05)
    expected = [alone(function, row) for row in rows]
    found = column_answers(function, rows)
    wrong = [(row, one, many) for row, one, many in zip(rows, expected, found, strict=True)
             if many is not None and bits(one) != bits(many)]  # fmt: skip
    assert not wrong
    usable = [row for row, one in zip(rows, expected, strict=True) if one is not None and math.isfinite(one)]
    assert column_answers(function, usable).count(None) < 0.05 * len(usable)  # what overflows leaves its neighbours too


CELLS = st.one_of(
    st.none(), st.booleans(), st.floats(allow_nan=False), st.floats(-300, 300), st.integers(-5, 200),
    st.sampled_from(["", "none", "US", "si", "copper L", "PEX", "1", "3/4", "28x1.2", "4 x 90 elbow", "mixed",
                     "stratified", "Hazen-Williams", "12", "2,5"]),
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.sampled_from(BY_COLUMNS), st.data())
def test_whatever_stands_in_the_cells(function, data):
    """Each cell of an example replaced by anything a cell may hold, in up to twelve rows."""
    rows = []
    for example in data.draw(st.lists(st.sampled_from(function.examples), min_size=FEWEST, max_size=12)):
        cells = list(example.cells)
        for place in data.draw(st.lists(st.integers(0, len(cells) - 1), max_size=2)):
            cells[place] = data.draw(CELLS)
        rows.append(cells)
    for row, many in zip(rows, column_answers(function, rows), strict=True):
        assert many is None or bits(alone(function, row)) == bits(many), row


def test_pipes_methods_and_models_may_differ_from_row_to_row():
    loss, minutes = FUNCTION_BY_NAME["DRENCH_PIPE_LOSS"], FUNCTION_BY_NAME["DRENCH_STORAGE_MINUTES"]
    kinds = [("copper L", "1", "none", None), ("PEX", "1/2", 2.5, "hazen williams"),
             ("steel 40", "2", "2 x gate valve", 120), ("CPVC", "1", "1.5", "Darcy-Weisbach")]  # fmt: skip
    pipes = [(0.3 * n, material, size, 40.0, fittings, 50.0 + n, method)
             for n in range(1, 9) for material, size, fittings, method in kinds]  # fmt: skip
    tanks = [(200.0 + n, 0.7, 140.0, 50.0, 85.0, 20.0, float(n), model) for n in range(9)
             for model in ("mixed", "Stratified")]  # fmt: skip
    for function, rows in ((loss, pipes), (minutes, tanks)):
        assert list(map(bits, column_answers(function, rows))) == [bits(function(*row)) for row in rows]


def test_few_rows_are_left_to_be_asked_one_by_one():
    velocity = FUNCTION_BY_NAME["DRENCH_PIPE_VELOCITY"]
    assert column_answers(velocity, [(20.0, "PEX", "1")] * (FEWEST - 1)) == [None] * (FEWEST - 1)
    assert column_answers(velocity, []) == []


def test_a_batch_answers_as_its_calls_do_alone():
    """Numbers, texts, dates, ranges, refusals and reasons, mixed and asked together."""
    rng, calls = random.Random(11), []
    for function in FUNCTIONS:
        if function.examples and function.name != "DRENCH_REASON":
            for cells in random_rows(function, 12, odd=0.3, seed=rng.random()):
                given_cells = [None if isinstance(c, float) and not math.isfinite(c) else c for c in cells]
                calls.append({"function": function.name, "arguments": given_cells})
                calls.append({"function": "DRENCH_REASON", "arguments": [function.name, *given_cells]})
    calls += [{"function": "DRENCH_PIPE_VELOCITY", "arguments": [{"date": "2026-05-04"}, "PEX", "1"]},
              {"function": "drench.pipe_velocity", "arguments": [10**400, "PEX", "1"]},
              {"function": "DRENCH_STATUS"}, {"function": "NO_SUCH"}]  # fmt: skip
    rng.shuffle(calls)
    calls += [{"function": "DRENCH_STAMP", "arguments": [number]} for number in (1, 2**60, 3, -(10**400), 5.5)]
    server_batch.forget()
    together = json.loads(server_batch.answer_batch(json.dumps({"calls": calls}).encode()))["answers"]
    server_batch.forget()
    one_by_one = [server_batch.answered(json.loads(json.dumps(call))) for call in calls]
    assert together == json.loads(json.dumps(one_by_one))
    assert sum("error" in answer for answer in together) > 20
    assert sum(answer.get("value") == "OK" for answer in together) > 100


def test_a_fault_in_a_column_leaves_each_call_to_itself(monkeypatch):
    def broken(function, rows):
        raise RuntimeError("a fault")

    monkeypatch.setattr(server_batch, "column_answers", broken)
    server_batch.forget()
    calls = [{"function": "DRENCH_ELEVATION_LOSS", "arguments": [float(rise)]} for rise in range(6)]
    answers = json.loads(server_batch.answer_batch(json.dumps({"calls": calls}).encode()))["answers"]
    expected = [FUNCTION_BY_NAME["DRENCH_ELEVATION_LOSS"](float(rise)) for rise in range(6)]
    assert [answer["value"] for answer in answers] == expected
