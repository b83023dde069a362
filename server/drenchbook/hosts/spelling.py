"""Our functions in a formula as each spreadsheet program stores them, everything else left as it stands.

"plain" is how we write every file: DRENCH_PIPE_LOSS(…). LibreOffice saves DRENCH.PIPE_LOSS(…), a web add-in
_xldudf_DRENCH_PIPE_LOSS(…).
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator

from drenchbook.errors import InputError
from drenchbook.function_spelling import PREFIX, SERVICE, plain_name
from drenchbook.worksheet_functions import FUNCTION_BY_NAME

PLAIN, LIBREOFFICE, WEB = HOSTS = ("plain", "libreoffice", "web")
WEB_PREFIX = "_xldudf_"
_CHARACTER = re.compile(r"&#?\w+;|.", re.DOTALL)  # of XML text: one sign, whether escaped or not
# What is stepped over: text literals, and names of sheets and files in quotes unless one of our functions follows.
_PIECE = re.compile(
    r"""
      (?P<text>"(?:[^"]|"")*"?)
    | (?P<call>(?:'(?:[^']|'')*'!|\[[^\[\]]*\]!)?[A-Za-z_\\][\w.\\]*)(?=\s*\()
    | (?P<quoted>'(?:[^']|'')*'?!?)
    | (?P<word>[^\W\d][\w.\\]*!?)
    | (?P<number>\d[\w.]*)
    | (?P<table>\[(?:[^\[\]]|\[[^\[\]]*\])*\])
    """,
    re.VERBOSE,
)


def spelled(name: str, host: str) -> str:
    """The name of one of our functions as a host stores it.

    >>> [spelled("DRENCH_STATUS", host) for host in HOSTS]
    ['DRENCH_STATUS', 'DRENCH.STATUS', '_xldudf_DRENCH_STATUS']
    """
    if host == LIBREOFFICE:
        return SERVICE + name.removeprefix(PREFIX)
    return WEB_PREFIX + name if host == WEB else name


def respelled(formula: str, host: str) -> str:
    """A formula with our functions spelled for a host.

    Parameters
    ----------
    formula : str
        Formula as a workbook file holds it, with or without the equals sign. [-]
    host : str
        "plain", "libreoffice" or "web". [-]

    Returns
    -------
    str
        The formula; the very same text where none of our functions is in it, or all are spelled so already. [-]

    >>> respelled('IF(DRENCH.STATUS()="DRENCH.STATUS()",MY_DRENCH_STATUS(),[1]!drench_status())', "plain")
    'IF(DRENCH_STATUS()="DRENCH.STATUS()",MY_DRENCH_STATUS(),DRENCH_STATUS())'
    """
    made, end = [], 0
    for start, stop, name in _changes(formula, host):
        made += [formula[end:start], name]
        end = stop
    return "".join([*made, formula[end:]]) if made else formula


def respelled_xml(text: str, host: str) -> str:
    """The same for a formula inside XML: signs that are escaped stay escaped as they are.

    >>> respelled_xml("A1&amp;&quot;DRENCH.X&quot;&amp;DRENCH.STATUS()", "plain")
    'A1&amp;&quot;DRENCH.X&quot;&amp;DRENCH_STATUS()'
    """
    signs = _CHARACTER.findall(text)
    plain = "".join(html.unescape(sign) if len(sign) > 1 else sign for sign in signs)
    if len(plain) != len(signs):  # an escape that stands for several signs is none that XML knows
        return text
    made: list[str] = []
    end = 0
    for start, stop, name in _changes(plain, host):
        made += [*signs[end:start], name]
        end = stop
    return "".join([*made, *signs[end:]]) if made else text


def _changes(formula: str, host: str) -> Iterator[tuple[int, int, str]]:
    """Start and end of each name to change, and the new name."""
    if host not in HOSTS:
        raise InputError("host", host, "must be " + " or ".join(f'"{each}"' for each in HOSTS))
    for found in _PIECE.finditer(formula):
        typed = found.group("call")
        name = plain_name(typed) if typed else ""
        if name not in FUNCTION_BY_NAME:
            continue
        wanted = spelled(name, host)
        if typed.upper() != wanted.upper():
            yield found.start("call"), found.end("call"), wanted
