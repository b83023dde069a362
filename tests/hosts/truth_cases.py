"""Argument lists for every host: the registry's examples, random valid ones, and invalid ones of every kind."""

import random
from dataclasses import dataclass
from typing import Any

from drenchbook.errors import InputError
from drenchbook.published.pipes import MATERIALS, sizes
from drenchbook.units import SI, US
from drenchbook.worksheet_functions import FUNCTION_BY_NAME, FUNCTIONS

HOW_MANY = 200
SEED = 20260504
BLANK_CELL = object()  # a reference to an empty cell; None is an argument left out between commas
SCALAR = [function for function in FUNCTIONS if function.examples and function.name != "DRENCH_REASON"]
FITTINGS = ("none", 0, 2.5, "4 x 90 elbow", "2 x 90 elbow; 1 x tee, branch; 1 x gate valve")
METHODS = (None, "Darcy-Weisbach", "Hazen-Williams", 120)


@dataclass(frozen=True)
class Case:
    """One call: what kind of case it is, the function and its arguments; `by_cell` says which stand in cells."""

    kind: str
    function: str
    arguments: tuple[Any, ...]
    by_cell: tuple[bool, ...]

    def plain(self):
        """The arguments as the registry takes them."""
        return tuple(None if argument is BLANK_CELL else argument for argument in self.arguments)


def examples():
    return [Case("example", function.name, example.cells, tuple(place % 2 == 1 for place in range(len(example.cells))))
            for function in FUNCTIONS for example in function.examples]  # fmt: skip


def valid(count=HOW_MANY, seed=SEED):
    """Argument lists that give an answer."""
    rng, found = random.Random(seed), []
    while len(found) < count:
        function = rng.choice(SCALAR)
        arguments = around(function, rng)
        try:
            function(*arguments)
        except InputError:
            continue
        found.append(_case("valid", function, arguments, rng))
    return found


def invalid(count=HOW_MANY, seed=SEED + 1):
    """Valid ones with one argument spoiled, so that they are refused."""
    rng, found = random.Random(seed), []
    kinds = list(SPOILED)
    while len(found) < count:
        function = rng.choice([f for f in SCALAR if f.name not in ("DRENCH_ADEQUACY", "DRENCH_STAMP")])
        kind = kinds[len(found) % len(kinds)]
        arguments = list(around(function, rng))
        try:
            function(*arguments)
        except InputError:
            continue
        places = [place for place, argument in enumerate(function.takes) if argument.kind in SPOILED[kind][0]
                  and not (kind.endswith("blank") and argument.optional)]  # fmt: skip
        if not places:
            continue
        place = rng.choice(places)
        arguments += [None] * (place + 1 - len(arguments))
        arguments[place] = SPOILED[kind][1]
        case = _case(kind, function, arguments, rng)
        try:
            function(*case.plain())
        except InputError:
            found.append(case)
    return found


# Kind: which arguments are spoiled, and with what.
SPOILED = {
    "cell blank": (("number", "words"), BLANK_CELL),
    "left blank": (("number", "words"), None),
    "empty text blank": (("number", "words"), ""),
    "decimal comma": (("number",), "2,5"),
    "number as text": (("number",), "12"),
    "words for a number": (("number",), "about ten"),
    "far too large": (("number",), 1e9),
    "negative": (("number",), -1234.5),
    "unknown word": (("words",), "something else"),
    "unknown units": (("units",), "metric"),
    "units too early": (("number", "words"), "SI"),
    "not yes or no": (("yes_no",), "perhaps"),
}


def around(function, rng):
    """The cells of one of the function's examples with other numbers, pipes and words, in its unit system."""
    example = rng.choice(function.examples).cells
    units = SI if SI in example else rng.choice((None, US))
    cells = []
    for place, argument in enumerate(function.takes):
        value = example[place] if place < len(example) else None
        if argument.kind == "units":
            value = units
        elif argument.kind == "number" and isinstance(value, (int, float)) and value:
            value = _typed(value * rng.uniform(0.6, 1.4))
        elif argument.name == "material":
            value = rng.choice(list(MATERIALS))
        elif argument.name == "size":
            value = rng.choice(sizes(cells[-1]))
        elif argument.name == "fittings":
            value = rng.choice(FITTINGS)
        elif argument.name == "method":
            value = rng.choice(METHODS)
        elif argument.kind == "yes_no":
            value = rng.random() < 0.5
        elif argument.kind == "any" and value is not None and not isinstance(value, str):
            value = _typed(value * rng.uniform(0.6, 1.4))
        cells.append(value)
    while cells and cells[-1] is None:
        cells.pop()
    return tuple(cells)


def _typed(number):
    """A number with as many digits as a person types."""
    return float(f"{number:.6g}")


def _case(kind, function, arguments, rng):
    by_cell = tuple(argument is BLANK_CELL or (argument is not None and rng.random() < 0.5) for argument in arguments)
    return Case(kind, function.name, tuple(arguments), by_cell)


def told(case):
    """The sentence of the registry about a case: what DRENCH_REASON gives."""
    try:
        FUNCTION_BY_NAME[case.function](*case.plain())
    except InputError as error:
        return str(error)
    return "OK"
