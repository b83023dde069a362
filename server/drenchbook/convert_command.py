"""Convert: a workbook to a site file or back, and a site from one unit system to the other."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Any

from drenchbook.errors import Problem, SiteError
from drenchbook.site_file import read_site_file, site_text
from drenchbook.site_model import ROW_MODELS, Missing, Site
from drenchbook.site_rules import structural_problems
from drenchbook.site_sheets import ReadSite
from drenchbook.site_tables import LIMITS, PROJECT, TABLES, Column
from drenchbook.units import convert as convert_number
from drenchbook.units import unit_of

if TYPE_CHECKING:
    from drenchbook.workbook.carried_over import Carried

SITE_SUFFIX, WORKBOOK_SUFFIXES = ".toml", (".xlsx", ".xlsm")


def read_any(path: Path) -> ReadSite:
    """The site of a workbook or of a site file, by the ending of its name."""
    if path.suffix.lower() == SITE_SUFFIX:
        return read_site_file(path)
    if path.suffix.lower() in WORKBOOK_SUFFIXES:
        from drenchbook.workbook.reading import read_workbook

        return read_workbook(path).read
    raise SiteError(
        str(path),
        [
            Problem(
                "file", "", path.suffix or None, "is neither a workbook (.xlsx, .xlsm) nor a site file (.toml)", True
            )
        ],
    )


def write_site(site: Site, path: Path, spare: int | None = None, carried: Carried | None = None) -> list[str]:
    """Write a site as a workbook or a site file, by its ending; the old file is whole until the new one is.

    Gives a sentence for what was typed beside the site in another workbook, `carried`, and has no place in this one.
    """
    if path.suffix.lower() == SITE_SUFFIX:
        _replace(path, site_text(site).encode("utf-8"))
        return []
    if path.suffix.lower() in WORKBOOK_SUFFIXES[:1]:
        from drenchbook.workbook.building import write_workbook

        return write_workbook(site, path, spare_rows=spare, carried=carried)
    if path.suffix.lower() in WORKBOOK_SUFFIXES:
        from drenchbook.hosts.excel_workbook import as_macro_workbook
        from drenchbook.workbook.building import write_workbook

        with tempfile.TemporaryDirectory() as folder:
            plain = Path(folder) / f"{path.stem}.xlsx"
            said = write_workbook(site, plain, spare_rows=spare, carried=carried)
            as_macro_workbook(plain, path)
        return said
    raise SiteError(str(path), [Problem("file", "", path.suffix or None, "must end in .xlsx, .xlsm or .toml", True)])


def _replace(path: Path, contents: bytes) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent or ".", prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(contents)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        os.unlink(name)
        raise


def convert(source: Path, target: Path, units: str | None = None, spare: int | None = None) -> list[str]:
    """Write the site of one file as another; gives a sentence for each unusable cell that was kept as typed.

    A workbook of an older template is read too. What a person typed beside the site is taken along from workbook to
    workbook; what stays behind is said.
    """
    if target.exists() and source.exists() and target.samefile(source):
        sentence = "is the same file as IN; name another one, so that what is not carried over is not lost"
        raise SiteError(str(target), [Problem("file", "", None, sentence, breaks_file=True)])
    if target.suffix.lower() in WORKBOOK_SUFFIXES:
        from drenchbook.workbook.package import refuse_open_elsewhere

        refuse_open_elsewhere(target)
    read, book, version_notes = _read_whole(source)
    broken = [problem for problem in read.problems if problem.breaks_file] or structural_problems(read)
    if broken:
        raise SiteError(str(source), broken)
    site = read.site if units is None else in_units(read.site, units)
    kept = [f"kept as typed: {problem}" for problem in read.problems if problem.value is not None]
    if book is None:
        return kept + write_site(site, target, spare)
    from drenchbook.workbook.carried_over import Carried, carried_from
    from drenchbook.workbook.left_behind import left_behind

    carried = carried_from(book, read, site.units) if target.suffix.lower() in WORKBOOK_SUFFIXES else Carried()
    said = write_site(site, target, spare, carried)
    return kept + left_behind(book, carried.cells) + carried.said + said + version_notes


def _read_whole(path: Path) -> tuple[ReadSite, Any, list[str]]:
    """The site of a file of this or an older version, the workbook it stood in, and what its version lacked."""
    if path.suffix.lower() not in WORKBOOK_SUFFIXES:
        return read_any(path), None, []
    from drenchbook.workbook.older_templates import what_is_new, with_newer_limits
    from drenchbook.workbook.reading import read_workbook

    done = read_workbook(path, older=True)
    site, added = with_newer_limits(done.site, done.version)
    return ReadSite(site, done.problems, done.read.places), done.book, what_is_new(added, done.version)


LARGEST = 1e300  # a number that no conversion makes endless


def in_units(site: Site, units: str) -> Site:
    """The same site in another unit system: every number converted, everything else as it was.

    Limits keep the unit of their source. A number that could not be used is converted too, so that it stays unusable;
    whatever else cannot be used is kept as typed.
    """
    if units == site.units:
        return site
    tables: dict[str, Any] = {}
    for table in TABLES:
        if table is LIMITS:
            tables[table.key] = site.limits
            continue
        rows = tuple(
            ROW_MODELS[table.key](
                **{c.name: _converted(c, getattr(row, c.name), site.units, units) for c in table.columns}
            )
            for row in site.rows(table)
        )
        tables[table.key] = rows[0].model_copy(update={"units": units}) if table is PROJECT else rows
    return Site(**tables)


def _converted(column: Column, value: Any, old: str, new: str) -> Any:
    if isinstance(value, Missing):
        number = column.kind == "number" and isinstance(value.typed, (int, float)) and not isinstance(value.typed, bool)
        if not number or not column.quantity or not abs(value.typed) < LARGEST:
            return value
        return Missing(value.reason, _number(value.typed, column.quantity, old, new), value.where)
    if value is None:
        return value
    if column.kind == "number" and column.quantity:
        return _number(value, column.quantity, old, new)
    if column.kind == "curve":
        flow, loss = column.quantity.split(", ")
        return tuple((_number(a, flow, old, new), _number(b, loss, old, new)) for a, b in value)
    return value


def _number(value: float, quantity: str, old: str, new: str) -> float:
    converted = convert_number(value, unit_of(quantity, old), unit_of(quantity, new))
    # Fifteen digits hold the number; the sixteenth is noise of the conversion, and there and back must be the same.
    return float(f"{converted:.15g}")
