"""The rendered VBA, read as text: what Excel and its editor require of a module."""

import re

import pytest
from pyopenvba.interpreter import parse_module

from drenchbook.hosts.excel_module import (
    LONGEST_TEXT,
    RESERVED,
    argument_help,
    argument_name,
    function_help,
    module_text,
)
from drenchbook.hosts.excel_workbook import xlwings_module
from drenchbook.worksheet_arguments import Argument
from drenchbook.worksheet_functions import FUNCTIONS, TEXT

TEXT_OF_MODULE = module_text()
LINES = TEXT_OF_MODULE.split("\r\n")
STATEMENTS = re.sub(r" _\r\n\s*", " ", TEXT_OF_MODULE).split("\r\n")


def declared(name):
    """The arguments of a function in the module, as (name, optional, any number)."""
    statement = next(line for line in STATEMENTS if line.startswith(f"Public Function {name}("))
    inside = re.fullmatch(r"Public Function \w+\((.*)\) As Variant", statement)[1]
    found = []
    for piece in filter(None, inside.split(", ")):
        match = re.fullmatch(r"(Optional ByVal|ByVal|ParamArray) (\w+)(\(\))? As Variant", piece)
        found.append((match[2], match[1].startswith("Optional"), match[1] == "ParamArray"))
    return found


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.name)
def test_each_function_has_its_arguments_in_the_order_of_the_registry(function):
    expected = [(argument_name(a), a.optional, a.repeats) for a in function.takes]
    assert declared(function.name) == expected


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.name)
def test_each_function_answers_under_its_own_name_with_its_own_arguments(function):
    body = TEXT_OF_MODULE.split(f"Public Function {function.name}(")[1].split("End Function")[0]
    assert f'Answered("{function.name}"' in body
    assert ("InWords(" in body) == (function.gives == TEXT)
    if not any(a.repeats for a in function.takes):
        passed = re.search(r"Array\(([^)]*)\)", re.sub(r" _\r\n\s*", " ", body.split("Answered")[1]))[1]
        assert [name for name in passed.split(", ") if name] == [argument_name(a) for a in function.takes]


def test_no_function_is_public_that_the_registry_does_not_have():
    public = set(re.findall(r"^Public (?:Function|Sub) (\w+)", TEXT_OF_MODULE, re.MULTILINE))
    assert public == {function.name for function in FUNCTIONS} | {"Auto_Open"}


def test_the_module_is_ascii_so_that_no_code_page_changes_it():
    assert TEXT_OF_MODULE.isascii()
    assert "\n" not in TEXT_OF_MODULE.replace("\r\n", "")


def test_no_line_is_longer_than_the_editor_takes():
    assert max(map(len, LINES)) < 1024


def test_no_statement_is_continued_more_often_than_the_editor_takes():
    run = longest = 0
    for line in LINES:
        run = run + 1 if line.endswith(" _") else 0
        longest = max(longest, run)
    assert longest < 25


def test_no_procedure_comes_near_the_size_that_the_editor_takes():
    for body in re.split(r"End (?:Function|Sub)", TEXT_OF_MODULE):
        assert len(body) < 40_000  # compiled, 64 kB


def test_no_name_is_a_word_of_the_language_or_too_long():
    names = {argument_name(a) for function in FUNCTIONS for a in function.takes}
    names |= set(re.findall(r"\b(?:Dim|Const|ByVal|ByRef|Function|Sub|,) (\w+)(?: As|\()", TEXT_OF_MODULE))
    assert not {name for name in names if name.lower() in RESERVED}
    assert all(re.fullmatch(r"[A-Za-z]\w*", name) and len(name) <= 255 for name in names)
    assert any(a.name.lower() in RESERVED for function in FUNCTIONS for a in function.takes)  # or nothing was tried


def test_no_argument_hides_a_name_of_the_module():
    inside = set(re.findall(r"^Private (?:Const |Function |Sub )?(\w+)", TEXT_OF_MODULE, re.MULTILINE))
    inside = {name.lower() for name in inside}
    used = {"answered", "inwords", "given", "more", "place", "array", "isobject"}
    for function in FUNCTIONS:
        assert not {argument_name(a).lower() for a in function.takes} & (inside | used), function.name


def test_blocks_are_balanced():
    for kind in ("Function", "Sub", "Select", "With"):
        opened = len(re.findall(rf"^\s*(?:Public |Private )?{kind}\b", TEXT_OF_MODULE, re.MULTILINE))
        assert opened == len(re.findall(rf"^\s*End {kind}\b", TEXT_OF_MODULE, re.MULTILINE)), kind
    assert len(re.findall(r"^\s*For ", TEXT_OF_MODULE, re.MULTILINE)) == len(
        re.findall(r"^\s*Next ", TEXT_OF_MODULE, re.MULTILINE)
    )
    blocks = [line for line in STATEMENTS if re.match(r"\s*If .* Then\s*$", line)]
    assert len(blocks) == len([line for line in STATEMENTS if line.strip() == "End If"])


def test_another_reader_of_the_language_parses_it():
    parsed = parse_module(TEXT_OF_MODULE.replace("\r\n", "\n"), name="Drenchbook")
    names = {procedure.name for procedure in parsed.procedures}
    assert names >= {function.name for function in FUNCTIONS}


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.name)
def test_no_text_of_the_function_wizard_is_cut(function):
    assert len(function_help(function)) < LONGEST_TEXT
    assert all(len(argument_help(argument)) < LONGEST_TEXT for argument in function.takes)


def test_an_argument_says_its_units_and_what_leaving_it_out_means():
    rise = Argument("rise", "number", "height", "length", optional=True, default=(0.5, 0.15))
    assert argument_help(rise) == "height [ft, in SI units m]; left out: 0.5, in SI units 0.15"


def test_the_module_that_starts_python_is_that_of_xlwings_with_its_licence():
    text = xlwings_module()
    assert "Function XLPy()" in text
    assert "BSD 3-clause license" in text
    assert "Redistributions of source code must retain" in text
