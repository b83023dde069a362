"""A workbook while it is drawn: its sheets in order, its look, and what every sheet has in common."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from drenchbook import __version__
from drenchbook.result_tables import VERDICTS
from drenchbook.site_model import Site
from drenchbook.units import US
from drenchbook.workbook.layout import SHEETS, TEMPLATE_VERSION, Layout, cell_name, range_name
from drenchbook.workbook.look import FAIL_FILL, VERDICT_FILLS, Look

LETTER, TABLOID, A3, A4 = 1, 3, 8, 9  # paper numbers of the file format
PROTECTED = {"select_locked_cells": True, "select_unlocked_cells": True, "format_columns": True, "format_rows": True,
             "autofilter": True, "sort": False}  # fmt: skip
BANNER, STATE = "Results_banner", "Results_state"
SAMPLE_ROWS = "Sample_rows"

GAP = " " * 6  # between the parts of a line of words


@dataclass
class Drawing:
    """The XlsxWriter workbook with the site it shows and the places of its tables."""

    book: Any
    site: Site
    layout: Layout
    sheets: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.look = Look(self.book)
        self.units = self.site.units
        for name in SHEETS:
            self.sheets[name] = self.book.add_worksheet(name)

    def page(self, sheet: Any, *, large: bool = False, wide: int = 1, tall: int = 0, scale: int = 0) -> None:
        """Paper, margins, scaling (to pages, or in percent) and the lines at the foot of every printed page."""
        small_paper, large_paper = (LETTER, TABLOID) if self.units == US else (A4, A3)
        sheet.set_paper(large_paper if large else small_paper)
        sheet.set_landscape()
        side = 0.25 if large else 0.45
        sheet.set_margins(left=side, right=side, top=0.4, bottom=0.55)
        if scale:
            sheet.set_print_scale(scale)
        else:
            sheet.fit_to_pages(wide, tall)  # 0: as many as it takes
        size = 10 if large else 9  # some programs draw it smaller with the page
        version = f"Drenchbook {__version__}, template {TEMPLATE_VERSION}"
        sheet.set_footer(f"&L&{size}&F   &A&C&{size}{version}. Design aid: see sheet Cautions.&R&{size}Page &P of &N",
                         {"scale_with_doc": False})  # fmt: skip
        sheet.hide_gridlines(2)

    def sample_words(self, otherwise: str = "", before: str = "") -> str:
        """Expression that says how many rows are SAMPLE data, after `before`; it stands on every printed page."""
        return f'IF({SAMPLE_ROWS}>0,"{before}■ SAMPLE DATA in "&{SAMPLE_ROWS}&" rows: not for issue","{otherwise}")'

    def banner(self, sheet: Any, row: int, column: int = 0, width: int = 8, size: int = 12) -> None:
        """The line that says when results do not belong to the inputs, or were never calculated."""
        style = self.look("stop", font_size=size)
        sheet.write_array_formula(row, column, row, column, f"{{={BANNER}}}", style)
        alarm = self.look.mark(bg_color=FAIL_FILL, font_color="#FFFFFF", bold=True)
        area = range_name(row, column, row, column + width - 1).replace("$", "")
        condition = f"=LEN({cell_name(row, column)})>0"
        sheet.conditional_format(area, {"type": "formula", "criteria": condition, "format": alarm})

    def verdict_marks(self, sheet: Any, area: str) -> None:
        """Fills of the verdict words in a range; the words stand in the cells all the same."""
        for verdict in VERDICTS:
            sheet.conditional_format(
                area.replace("$", ""),
                {"type": "cell", "criteria": "==", "value": f'"{verdict}"', "format": self.mark_of(verdict)},
            )

    def mark_of(self, verdict: str) -> Any:
        """The format of a verdict."""
        return self.look.mark(**VERDICT_FILLS[verdict])

    def define(self, name: str, reference: str) -> None:
        """A name of the whole workbook."""
        self.book.define_name(name, f"={reference}")
