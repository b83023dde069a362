"""The data files beside this module, read once each: rows of text, as printed in the source."""

from __future__ import annotations

import csv
import os.path
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType

FOLDER = os.path.join(os.path.dirname(__file__), "data")  # pathlib would cost more than reading the file


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Read every row of one data file, the cells still text.

    Parameters
    ----------
    name : str
        File name without folder and ending, such as ``pipes``. [-]

    Returns
    -------
    tuple of mappings
        Heading to cell, in the order of the file. [-]

    >>> rows("dn_names")[0]["dn"]
    'DN10'
    """
    with open(os.path.join(FOLDER, f"{name}.csv"), encoding="utf-8", newline="") as file:
        return tuple(MappingProxyType(row) for row in csv.DictReader(file))
