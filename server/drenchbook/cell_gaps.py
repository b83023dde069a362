"""What keeps a cell of the site from giving a value, in a sentence with sheet, place, column and what was typed."""

from __future__ import annotations

from typing import Any

from drenchbook.site_model import Missing
from drenchbook.site_tables import TABLE_BY_KEY


def has_value(row: Any, column: str) -> bool:
    """Whether a cell holds something that can be used."""
    value = getattr(row, column)
    return value is not None and not isinstance(value, Missing)


def gap(table_key: str, row: Any, column: str) -> str:
    """Why a cell gives no value; "" where it gives one.

    Parameters
    ----------
    table_key : str
        The table, a key of `site_tables.TABLE_BY_KEY`. [-]
    row : row model
        The row. [-]
    column : str
        The column. [-]

    Returns
    -------
    str
        "sheet Stations, K9 (L1): Drain capacity is blank; …", or what was typed and what is accepted. [-]
    """
    if has_value(row, column):
        return ""
    table, value = TABLE_BY_KEY[table_key], getattr(row, column)
    key = f" {str(getattr(row, table.key_column)).strip()}" if table.key_column else ""
    place, heading = f"{table.sheet}{key}", table.column(column).heading
    if value is None:
        return f"{place}: {heading} is blank"
    colon = "" if value.typed is None else ":"
    return f"{value.where or place}: {heading}{colon} {value.reason}"


def first_gap(table_key: str, row: Any, columns: tuple[str, ...]) -> str:
    """The first of some cells that gives no value, as in `gap`; "" where all do."""
    return next((why for column in columns if (why := gap(table_key, row, column))), "")
