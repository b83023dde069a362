"""Templates and samples are made again from their sources and compared byte for byte."""

import shutil

import pytest

from drenchbook.workbook import templates
from tests.workbook.conftest import SAMPLE

COMMITTED = [
    "workbook_templates/drenchbook_us.xlsx",
    "workbook_templates/drenchbook_si.xlsx",
    "samples/laboratory.xlsx",
]


@pytest.fixture
def root(tmp_path, monkeypatch):
    """A repository with one sample; what a workbook holds is another test's matter, here it is one line."""

    def write(site, path):
        path.write_bytes(f"{site.units}, {len(site.stations)} stations, {len(site.limits)} limits".encode())

    monkeypatch.setattr(templates, "write_workbook", write)
    (tmp_path / "samples").mkdir()
    shutil.copy(SAMPLE, tmp_path / "samples" / SAMPLE.name)
    return tmp_path


def test_what_is_missing_is_made_and_then_agrees(root):
    missing = [f"{name}: is missing" for name in COMMITTED]
    assert templates.regenerate(root, check=True) == missing
    assert not list(root.rglob("*.xlsx")), "a check writes nothing"
    assert templates.regenerate(root) == missing
    assert templates.regenerate(root, check=True) == []
    assert (root / COMMITTED[1]).read_bytes().startswith(b"SI, 0 stations")
    assert (root / COMMITTED[2]).read_bytes().startswith(b"US, 5 stations")


def test_one_other_byte_is_told(root):
    templates.regenerate(root)
    sample = root / COMMITTED[2]
    sample.write_bytes(sample.read_bytes() + b" ")
    said = ["samples/laboratory.xlsx: differs from what its source gives"]
    assert templates.regenerate(root, check=True) == said
    assert sample.read_bytes().endswith(b" "), "a check writes nothing"
    assert templates.regenerate(root) == said
    assert templates.regenerate(root, check=True) == []


def test_a_workbook_without_a_source_is_told(root):
    templates.regenerate(root)
    (root / "samples" / "stray.xlsx").write_bytes(b"")
    said = "samples/stray.xlsx: has no source; remove it, or add its .toml file"
    assert templates.regenerate(root, check=True) == [said]
