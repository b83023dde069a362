"""What people and spreadsheets make of a pipe size, brought back to how a drawing writes it."""

from __future__ import annotations

import functools
import re

FRACTION_GLYPHS = {"¼": "1/4", "½": "1/2", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
LONGEST_REMEMBERED = 40  # characters; a sheet repeats a few sizes in thousands of cells
MONTHS = "jan|feb|mar|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez"


def inches(size: str) -> float:
    """Value of a size written as on drawings.

    Parameters
    ----------
    size : str
        Canonical inch size, such as ``1-1/4``. [in]

    Returns
    -------
    float
        The same as a number. [in]

    >>> inches("1-1/4")
    1.25
    """
    whole, _, fraction = size.rpartition("-")
    top, _, bottom = fraction.partition("/")
    return int(whole or 0) + int(top) / int(bottom or 1)


def tidy(typed: str) -> str:
    """Undo what keyboards and spreadsheets do to a size: glyphs, marks, hard spaces, case.

    Parameters
    ----------
    typed : str
        What stands in the cell. [-]

    Returns
    -------
    str
        The same size with plain characters and without an inch mark. [-]

    >>> tidy("1 ¼”"), tidy(" dn 32 "), tidy("28 × 1,2 mm"), tidy("¾ in.")
    ('1-1/4', 'DN32', '28x1.2', '3/4')
    """
    return _tidied(typed) if len(typed) <= LONGEST_REMEMBERED else _tidied.__wrapped__(typed)


@functools.lru_cache(maxsize=1024)
def _tidied(typed: str) -> str:
    text = typed.replace("⁄", "/").translate(str.maketrans("×‐‑‒–—−", "x------"))
    for glyph, fraction in FRACTION_GLYPHS.items():
        text = re.sub(rf"(\d)[\s-]*{glyph}", rf"\1-{fraction}", text).replace(glyph, fraction)
    text = " ".join(text.split()).casefold()
    text = re.sub(r"\s*(?:[\"”“″„]|''|’’|inches|inch|in\.?)$", "", text).strip()
    text = re.sub(r"(x[\s\d.,]*)mm$", r"\1", text).strip()
    text = re.sub(r"^nps\s*", "", text)
    text = re.sub(r"\s*x\s*", "x", text)
    text = re.sub(r"\s*-\s*", "-", text)
    text = re.sub(r"\s*/\s*", "/", text)
    text = re.sub(r"^dn\s*(\d)", r"DN\1", text)
    return re.sub(r"(\d),(\d)", r"\1.\2", text)


def looks_like_date(text: str) -> bool:
    """Tell a date that a spreadsheet made of a size and saved as text.

    Parameters
    ----------
    text : str
        What ``tidy`` gives. [-]

    Returns
    -------
    bool
        True for a date. [-]

    >>> looks_like_date("2026-03-04"), looks_like_date("4-mar"), looks_like_date("3/4")
    (True, True, False)
    """
    numeric = r"\d{1,4}([-./])\d{1,2}\1\d{1,4}(?:[t ].*)?"
    worded = rf"(?:\d+[-. ]*)?(?:{MONTHS})[a-z]*\.?(?:[-. ]*\d+)?"
    return bool(re.fullmatch(numeric, text) or re.fullmatch(worded, text))
