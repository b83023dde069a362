"""Every number of a published table says where it comes from, and the place is listed."""

import csv
import re
from pathlib import Path

import pytest

from drenchbook import physics
from drenchbook.published import data_files
from drenchbook.published.data_files import rows
from drenchbook.published.pipes import MATERIALS, pipe, sizes
from drenchbook.published.sources import SOURCES, key_of

TABLES = ("pipes", "materials", "dn_names", "fittings", "turbulent_factors")
HOW_KNOWN = ("read", "from memory", "common practice", "worked here", "typed by the designer")
# A citation is brackets that open with a capital and hold a number; units and type hints do not.
CITATION = re.compile(r"\[([A-ZÇ][^\[\]]*\d[^\[\]]*)\]")


def source_cells():
    for table in TABLES:
        for number, row in enumerate(rows(table), start=2):
            for heading, cell in row.items():
                if heading == "source" or heading.endswith("_source") or (heading == "source_2" and cell):
                    yield f"{table}.csv line {number} {heading}", cell


@pytest.mark.parametrize("table", [*TABLES, "limits", "sources"])
def test_data_files_have_every_cell_under_a_heading(table):
    with open(f"{data_files.FOLDER}/{table}.csv", encoding="utf-8", newline="") as file:
        headings, *lines = list(csv.reader(file))
    assert len(set(headings)) == len(headings)
    assert all(len(line) == len(headings) for line in lines)


def test_every_source_cell_names_a_listed_source():
    assert [f"{place}: {cell}" for place, cell in source_cells() if key_of(cell) not in SOURCES] == []


def test_no_limit_is_without_a_source():
    assert [row["id"] for row in rows("limits") if not row["source"].strip()] == []


@pytest.mark.parametrize("key", SOURCES)
def test_a_source_says_what_it_is_and_how_it_is_known(key):
    assert ":" not in key
    assert SOURCES[key].title
    assert SOURCES[key].how_known.startswith(HOW_KNOWN)
    assert SOURCES[key].where or SOURCES[key].how_known != "read" or key.endswith(("table", "list"))


def test_every_material_has_sizes_and_every_size_a_material():
    assert {row["material"] for row in rows("pipes")} == set(MATERIALS)
    for material in MATERIALS:
        assert [pipe(material, size).source for size in sizes(material)]


def test_no_size_and_no_word_is_listed_twice():
    for table, headings in {"pipes": ("material", "size"), "materials": ("material",), "fittings": ("word",)}.items():
        keys = [tuple(row[heading] for heading in headings) for row in rows(table)]
        assert len(set(keys)) == len(keys)


@pytest.mark.parametrize(("table", "heading"), [("fittings", "word"), ("materials", "material")])
def test_no_alias_means_two_things(table, heading):
    words = [word.strip().casefold() for row in rows(table) for word in (row[heading], *row["aliases"].split(";"))]
    assert sorted({word for word in words if words.count(word) > 1}) == []


@pytest.mark.parametrize("file", sorted(Path(physics.__file__).parent.glob("*.py")), ids=lambda file: file.name)
def test_every_source_a_formula_cites_is_listed(file):
    cited = {" ".join(text.split()) for text in CITATION.findall(file.read_text(encoding="utf-8"))}
    assert sorted(text for text in cited if not any(key in text for key in SOURCES)) == []
