"""What tests do to a workbook file without the code under test: read parts, change the text of one, parse its cells."""

import warnings
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import openpyxl

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


def parts(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name) for name in package.namelist()}


def part_of(path: Path, sheet: str) -> str:
    """Part of a sheet, by its place among the sheets: how XlsxWriter and openpyxl name them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        names = openpyxl.load_workbook(path, read_only=True).sheetnames
    return f"xl/worksheets/sheet{names.index(sheet) + 1}.xml"


def with_text(path: Path, part: str, old: bytes, new: bytes) -> None:
    """Replace one piece of text in one part, once, and leave the rest."""
    content = parts(path)
    assert content[part].count(old) == 1, (part, old, content[part].count(old))
    content[part] = content[part].replace(old, new)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        for name, text in content.items():
            package.writestr(name, text)


def cells(xml: bytes) -> dict[str, ElementTree.Element]:
    return {cell.get("r", ""): cell for cell in ElementTree.fromstring(xml).iter(f"{MAIN}c")}


def loaded(path: Path, **options):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return openpyxl.load_workbook(path, **options)
