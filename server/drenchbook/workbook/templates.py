"""The committed workbooks: blank templates and filled samples, made again from their sources and compared."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

from drenchbook.published.criteria import CRITERIA_SETS
from drenchbook.site_file import read_site_file
from drenchbook.site_model import Site
from drenchbook.site_sheets import blank_site
from drenchbook.units import SYSTEMS
from drenchbook.workbook.building import write_workbook
from drenchbook.workbook.package import replace_file

TEMPLATES, SAMPLES = "workbook_templates", "samples"


def sources(root: Path) -> Iterator[tuple[Path, Site]]:
    """Each committed workbook with the site that it is made from."""
    for units in SYSTEMS:
        yield root / TEMPLATES / f"drenchbook_{units.lower()}.xlsx", blank_site(units, CRITERIA_SETS[0])
    for path in sorted((root / SAMPLES).glob("*.toml")):
        yield path.with_suffix(".xlsx"), read_site_file(path).site


def regenerate(root: Path, check: bool = False) -> list[str]:
    """Make every committed workbook again.

    Parameters
    ----------
    root : Path
        Folder that holds `workbook_templates` and `samples`.
    check : bool
        True only compares and writes nothing.

    Returns
    -------
    list of str
        A sentence for each file that was missing or differed, and for each workbook that has no source.
    """
    differences, known = [], set()
    with tempfile.TemporaryDirectory() as folder:
        for path, site in sources(root):
            known.add(path)
            made = Path(folder) / path.name
            write_workbook(site, made)
            content = made.read_bytes()
            if path.exists() and path.read_bytes() == content:
                continue
            state = "differs from what its source gives" if path.exists() else "is missing"
            differences.append(f"{path.relative_to(root)}: {state}")
            if not check:
                path.parent.mkdir(parents=True, exist_ok=True)
                replace_file(path, content)
    for folder_name in (TEMPLATES, SAMPLES):
        for path in sorted((root / folder_name).glob("*.xlsx")):
            if path not in known and not path.name.startswith(("~$", ".~lock")):
                differences.append(f"{path.relative_to(root)}: has no source; remove it, or add its .toml file")
    return differences
