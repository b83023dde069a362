"""Every source the numbers and formulas come from, by the key that tables and functions cite."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from drenchbook.published.data_files import rows


@dataclass(frozen=True)
class Source:
    """One source: what it is, where it is found, how we know what it says."""

    title: str
    where: str
    how_known: str


def key_of(cell: str) -> str:
    """Key of a source cell, which may go on with a colon and the place in the source.

    Parameters
    ----------
    cell : str
        Cell of a source column. [-]

    Returns
    -------
    str
        Key in ``SOURCES``. [-]

    >>> key_of("Crane TP-410: eq. 2-8")
    'Crane TP-410'
    """
    return cell.partition(":")[0].strip()


SOURCES: Mapping[str, Source] = MappingProxyType(
    {row["key"]: Source(row["title"], row["where"], row["how_known"]) for row in rows("sources")}
)
