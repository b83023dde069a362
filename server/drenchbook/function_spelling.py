"""How one worksheet function is spelled by different spreadsheet programs, brought back to the plain name."""

from __future__ import annotations

import re

PREFIX, SERVICE = "DRENCH_", "DRENCH."
# A web add-in stores _xldudf_NAME, newer functions _xlfn.NAME or _xludf.NAME, a separate add-in file [1]!NAME.
_WRAPPING = re.compile(r"^(?:\[[^\]]*\]!|'[^']*'!|_xlfn\.|_xlws\.|_xludf\.|_xldudf_)+", re.IGNORECASE)


def plain_name(typed: str) -> str:
    """The plain spelling of a function's name, in upper case.

    Parameters
    ----------
    typed : str
        Name as a file or a person writes it, without parenthesis. [-]

    Returns
    -------
    str
        Plain name. [-]

    >>> [plain_name(name) for name in ("_xldudf_DRENCH_STATUS", "[1]!drench_status", "DRENCH.STATUS", "_xlfn.IFNA")]
    ['DRENCH_STATUS', 'DRENCH_STATUS', 'DRENCH_STATUS', 'IFNA']
    """
    name = _WRAPPING.sub("", typed.strip()).upper()
    return PREFIX + name.removeprefix(SERVICE) if name.startswith(SERVICE) else name
