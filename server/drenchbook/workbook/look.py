"""The look of a workbook: every colour, font and border, named by what it is for."""

from __future__ import annotations

from typing import Any

from drenchbook.result_tables import FAIL, OK, UNKNOWN, WARN

FONT, SIZE = "Calibri", 10
SLATE, BAND, INK, RULE = "#22384C", "#DCE6EE", "#14212E", "#8FA3B5"
SAND, SAND_RULE, NAVY, QUIET = "#FFF9E8", "#B9A06A", "#0B1F66", "#3D4C5A"
# Darker is worse, so that the order survives grey printing; the words stand in every cell all the same.
FAIL_FILL, UNKNOWN_FILL, WARN_FILL = "#7F1414", "#B9C0C8", "#FFD978"

STYLES: dict[str, dict[str, Any]] = {
    "plain": {"font_color": INK, "valign": "vcenter"},
    "wrapped": {"font_color": INK, "valign": "top", "text_wrap": True},
    "title": {"bold": True, "font_size": 16, "font_color": SLATE, "valign": "vcenter"},
    "subtitle": {"bold": True, "font_size": 12, "font_color": SLATE, "valign": "vcenter"},
    "how": {"italic": True, "font_color": QUIET, "valign": "vcenter"},
    "strong": {"bold": True, "font_color": INK, "valign": "vcenter"},
    "stop": {"bold": True, "font_color": FAIL_FILL, "valign": "vcenter"},
    "band": {"bold": True, "font_color": SLATE, "bg_color": BAND, "valign": "vcenter"},
    "heading": {"bold": True, "font_color": "#FFFFFF", "bg_color": SLATE, "text_wrap": True, "valign": "top",
                "indent": 1, "border": 1, "border_color": "#FFFFFF"},
    "bar": {"bold": True, "font_color": "#FFFFFF", "bg_color": SLATE, "valign": "vcenter"},
    "unit": {"italic": True, "font_color": QUIET, "align": "center", "valign": "vcenter"},
    "limit": {"font_color": INK, "align": "center", "valign": "vcenter", "bottom": 2, "bottom_color": SLATE,
              "text_wrap": True},
    "end": {"bg_color": SLATE},
    "note": {"italic": True, "font_color": QUIET, "font_size": 9},
    "input": {"font_color": NAVY, "bg_color": SAND, "border": 1, "border_color": SAND_RULE, "valign": "vcenter",
              "indent": 1},
    "computed": {"font_color": INK, "border": 4, "border_color": RULE, "valign": "vcenter"},
    "row": {"font_color": INK, "valign": "vcenter", "bottom": 1, "bottom_color": RULE},
    "label": {"italic": True, "font_color": QUIET, "valign": "vcenter"},
    "filled": {"font_color": INK, "valign": "vcenter", "bottom": 1, "bottom_color": RULE},
    "signature": {"bottom": 1, "bottom_color": INK},
    "link": {"font_color": NAVY, "underline": 1, "valign": "vcenter"},
    "masthead": {"bold": True, "font_size": 20, "font_color": "#FFFFFF", "bg_color": SLATE, "valign": "vcenter",
                 "indent": 1},
    "under masthead": {"font_size": 11, "font_color": "#FFFFFF", "bg_color": SLATE, "valign": "vcenter", "indent": 1},
}  # fmt: skip

VERDICT_FILLS: dict[str, dict[str, Any]] = {
    FAIL: {"bg_color": FAIL_FILL, "font_color": "#FFFFFF", "bold": True},
    UNKNOWN: {"bg_color": UNKNOWN_FILL, "font_color": "#000000", "bold": True},
    WARN: {"bg_color": WARN_FILL, "font_color": "#000000", "bold": True},
    OK: {"bold": True},
}


class Look:
    """The formats of one workbook: asked for by name and changes, made once."""

    def __init__(self, book: Any):
        self._book = book
        self._made: dict[tuple[Any, ...], Any] = {}

    def __call__(self, style: str, **changes: Any) -> Any:
        """The format of a style, with changes."""
        key = (style, *sorted(changes.items()))
        if key not in self._made:
            self._made[key] = self._book.add_format({"font_name": FONT, "font_size": SIZE, **STYLES[style], **changes})
        return self._made[key]

    def mark(self, **changes: Any) -> Any:
        """A format for a condition: only what it changes."""
        key = ("mark", *sorted(changes.items()))
        if key not in self._made:
            self._made[key] = self._book.add_format(changes)
        return self._made[key]


def lines_needed(text: str, width: float, fits: float = 1.08) -> int:
    """Lines that a wrapped text takes in a column of that width, by words.

    >>> lines_needed("Minimum flow under control", 12), lines_needed("", 12)
    (3, 1)
    """
    room, lines = max(width * fits, 1.0), 0
    for paragraph in text.split("\n"):
        used = 0.0
        lines += 1
        for word in paragraph.split():
            if used and used + 1 + len(word) > room:
                lines, used = lines + 1, 0.0
            used += len(word) + (1 if used else 0)
            while used > room:
                lines, used = lines + 1, used - room
    return max(lines, 1)
