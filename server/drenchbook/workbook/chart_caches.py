"""The values that a chart keeps of the cells it shows, so that it reads right where nothing recalculates."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Mapping
from typing import Any

from openpyxl.utils.cell import get_column_letter, range_boundaries

from drenchbook.workbook.layout import CHART_DATA
from drenchbook.workbook.sheet_text import number_text

_CHARTS = re.compile(r"xl/charts/chart\d+\.xml")
_REFERENCE = re.compile(
    rb"<c:(num|str)Ref><c:f>([^<]*)</c:f><c:\1Cache>(<c:formatCode>[^<]*</c:formatCode>)?.*?</c:\1Cache></c:\1Ref>",
    re.DOTALL,
)
_FORMULA = re.compile(rb"<c:f>([^<]*)</c:f>")
_ESCAPES = {"&amp;": "&", "&lt;": "<", "&gt;": ">", "&apos;": "'", "&quot;": '"'}


def chart_changes(package: zipfile.ZipFile, values: Mapping[tuple[str, str], Any]) -> dict[str, bytes]:
    """New text of the charts that show other values than they keep.

    Parameters
    ----------
    package : zipfile.ZipFile
        A workbook. [-]
    values : mapping
        (sheet, cell) to the value of each computed cell. [-]

    Returns
    -------
    dict
        Part to text, only of charts that show the sheet Chart data and nothing else: a person's own stay as they are.
    """
    changed = {}
    for name in package.namelist():
        if not _CHARTS.fullmatch(name):
            continue
        text = package.read(name)
        shown = [_plain(formula) for formula in _FORMULA.findall(text)]
        if shown and all(_place(formula) for formula in shown):
            new = _REFERENCE.sub(lambda found: _kept(found, values), text)
            if new != text:
                changed[name] = new
    return changed


def _plain(formula: bytes) -> str:
    text = formula.decode("utf-8")
    for escape, letter in _ESCAPES.items():
        text = text.replace(escape, letter)
    return text


def _place(formula: str) -> str:
    """The range on the sheet Chart data, or "" for any other."""
    sheet, _, reference = formula.rpartition("!")
    return reference.replace("$", "") if sheet.strip("'") == CHART_DATA else ""


def _cells(reference: str) -> Iterator[str]:
    left, top, right, bottom = range_boundaries(reference)
    for row in range(top, bottom + 1):
        for column in range(left, right + 1):
            yield f"{get_column_letter(column)}{row}"


def _kept(found: re.Match[bytes], values: Mapping[tuple[str, str], Any]) -> bytes:
    """The reference with the values of its cells; as it stands where one of them is typed and not computed."""
    kind, formula, shape = found.group(1), found.group(2), found.group(3) or b""
    cells = list(_cells(_place(_plain(formula))))
    if any((CHART_DATA, cell) not in values for cell in cells):
        return found.group(0)
    points = []
    for number, cell in enumerate(cells):
        value = values[CHART_DATA, cell]
        if kind == b"num" and not (isinstance(value, (int, float)) and not isinstance(value, bool)):
            continue  # a blank place has no point
        shown = number_text(value) if kind == b"num" else _escaped(str(value))
        points.append(f'<c:pt idx="{number}"><c:v>{shown}</c:v></c:pt>')
    inside = f'<c:ptCount val="{len(cells)}"/>{"".join(points)}'.encode()
    return b"<c:%sRef><c:f>%s</c:f><c:%sCache>%s%s</c:%sCache></c:%sRef>" % (
        kind, formula, kind, shape, inside, kind, kind)  # fmt: skip


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
