"""A workbook file with its formulas spelled for another spreadsheet program; every other byte stays."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

from drenchbook.errors import Problem, SiteError
from drenchbook.hosts.spelling import PLAIN, respelled_xml
from drenchbook.workbook.package import replace_file, with_parts

# What holds formulas: cells, conditional formats, list validations (also their later form), and defined names.
_SHEET = re.compile(r"xl/(?:worksheets|macrosheets|charts|tables|chartsheets)/[^/]+\.xml")
_BOOK = "xl/workbook.xml"
_SKIPPED = r"<!--.*?-->|<!\[CDATA\[.*?\]\]>"
_FORMULA = re.compile(
    rf"{_SKIPPED}|(<((?:[\w.-]+:)?(?:f|formula|formula1|formula2|definedName|calculatedColumnFormula|totalsRowFormula))"
    r"(?:\s[^<>]*)?(?<!/)>)([^<]*)(</\2\s*>)",
    re.DOTALL,
)
_CALCULATION = re.compile(r"<((?:[\w.-]+:)?)calcPr(?=[\s/>])(?![^>]*\scalcId=)")
CALCULATION = "191029"  # what we write: without it a program trusts no stored value and calculates all of them again


def respell(source: Path, target: Path, host: str) -> int:
    """Write a workbook for a host.

    Parameters
    ----------
    source, target : Path
        Workbooks; they may be the same file. [-]
    host : str
        "plain", "libreoffice" or "web". [-]

    Returns
    -------
    int
        Number of formulas that changed. With none, the target is the same bytes. [-]
    """
    changed: dict[str, bytes] = {}
    count = 0
    try:
        with zipfile.ZipFile(source) as package:
            for name in package.namelist():
                if name != _BOOK and not _SHEET.fullmatch(name):
                    continue
                text = package.read(name).decode("utf-8")
                made, formulas = respelled_part(text, host)
                if formulas:
                    changed[name] = made.encode("utf-8")
                    count += formulas
            if count and host == PLAIN and _BOOK in package.namelist():
                text = changed.get(_BOOK, package.read(_BOOK)).decode("utf-8")
                changed[_BOOK] = _CALCULATION.sub(rf'<\1calcPr calcId="{CALCULATION}"', text).encode("utf-8")
    except (zipfile.BadZipFile, UnicodeDecodeError):
        problem = Problem("file", "", source.name, "is not a workbook (.xlsx, .xlsm)", breaks_file=True)
        raise SiteError(str(source), [problem]) from None
    made_bytes = with_parts(source, changed)
    replace_file(target, source.read_bytes() if made_bytes is None else made_bytes)
    return count


def respelled_part(text: str, host: str) -> tuple[str, int]:
    """The XML text of a sheet or of the workbook part, and how many of its formulas changed."""
    count = 0

    def changed(found: re.Match[str]) -> str:
        nonlocal count
        if not found.group(1):
            return found.group()
        made = respelled_xml(found.group(3), host)
        count += made != found.group(3)
        return f"{found.group(1)}{made}{found.group(4)}"

    made = _FORMULA.sub(changed, text)
    return made, count
