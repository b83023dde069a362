"""Patch a workbook: put values into its computed cells and leave everything else byte for byte as it is."""

from __future__ import annotations

import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from drenchbook.workbook.chart_caches import chart_changes
from drenchbook.workbook.package import replace_file, sheet_parts, with_parts
from drenchbook.workbook.sheet_text import cached_values, changed_text


@dataclass(frozen=True)
class Patched:
    """What a patch did: how many cells changed, and which values found no cell to stand in."""

    cells: int
    without_place: tuple[tuple[str, str], ...]
    content: bytes | None  # the new package, None where nothing changed


def patched(path: Path, values: Mapping[tuple[str, str], Any]) -> Patched:
    """The package with other values, without writing it.

    Parameters
    ----------
    path : Path
        A workbook.
    values : mapping
        (sheet, cell) to a number, text, True or False, or an error with a `code`. Only computed cells are changed.
    """
    by_sheet: dict[str, dict[str, Any]] = {}
    for (sheet, cell), value in values.items():
        by_sheet.setdefault(sheet, {})[cell] = value
    changed, cells, lost = {}, 0, []
    with zipfile.ZipFile(path) as package:
        parts = sheet_parts(package)
        for sheet, wanted in by_sheet.items():
            if sheet not in parts:
                lost += [(sheet, cell) for cell in wanted]
                continue
            found = changed_text(package.read(parts[sheet]), wanted)
            lost += [(sheet, cell) for cell in found.without_place]
            cells += found.cells
            if found.cells:
                changed[parts[sheet]] = found.text
        changed.update(chart_changes(package, values))
    return Patched(cells, tuple(lost), with_parts(path, changed))


def patch(path: Path, values: Mapping[tuple[str, str], Any], out_path: Path | None = None) -> Patched:
    """Put values into the computed cells of a workbook, or of a copy of it, at one stroke.

    A file whose values are the same already is not written again; a copy of it is the same bytes.
    """
    done = patched(path, values)
    target = out_path or path
    if done.content is not None:
        replace_file(target, done.content)
    elif target != path:
        replace_file(target, path.read_bytes())
    return done


def held_values(path: Path, sheet: str) -> dict[str, Any]:
    """The values that a sheet of the file holds for its formulas, by cell."""
    with zipfile.ZipFile(path) as package:
        part = sheet_parts(package).get(sheet)
        return dict(cached_values(package.read(part))) if part else {}
