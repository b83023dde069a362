"""Every equation's docstring is its data sheet: arguments with units, range and error, source, one example."""

import importlib
import inspect
import pkgutil
import re

import pytest

import drenchbook.physics as package

FUNCTIONS = [
    pytest.param(function, id=f"{info.name}.{name}")
    for info in pkgutil.iter_modules(package.__path__)
    for name, function in vars(importlib.import_module(f"{package.__name__}.{info.name}")).items()
    if inspect.isfunction(function) and function.__module__.endswith(info.name) and not name.startswith("_")
]


def section(text, title):
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\w[^\n]*\n-+\n|\Z)", text, flags=re.MULTILINE | re.DOTALL)
    return found[1] if found else ""


@pytest.mark.parametrize("function", FUNCTIONS)
def test_notes_and_an_example(function):
    text = inspect.getdoc(function)
    assert section(text, "Notes").strip(), "Notes: source, range, error"
    assert text.count(">>> ") >= 1


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if not f.values[0].__name__.endswith("_kernel")])
def test_arguments_and_answer_are_described(function):
    """A kernel's first line names its units; its checked twin describes the arguments."""
    text = inspect.getdoc(function)
    described = {
        name.strip()
        for line in section(text, "Parameters").splitlines()
        if (head := re.match(r"(\w[\w, ]*) : ", line))
        for name in head[1].split(",")
    }
    assert described == set(inspect.signature(function).parameters)
    assert section(text, "Returns").strip()


@pytest.mark.parametrize("function", [f for f in FUNCTIONS if f.values[0].__name__.endswith("_kernel")])
def test_kernels_say_that_nothing_is_checked(function):
    first = inspect.getdoc(function.__wrapped__ if hasattr(function, "__wrapped__") else function).split("\n\n")[0]
    assert re.search(r"(nothing checked|unchecked)", first)
