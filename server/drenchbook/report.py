"""The results of one site as rows of the result tables."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence
from typing import Any

from drenchbook import case_rows, course_rows, path_rows, schedule_rows, set_rows
from drenchbook.check_samples import NOT_KNOWN, OUTCOME_WORDS
from drenchbook.checks import worst_word
from drenchbook.field_corrections import correction_rows
from drenchbook.field_day import DayOfTest
from drenchbook.field_windows import field_rows
from drenchbook.judged_site import JudgedSite
from drenchbook.result_tables import NOT_APPLICABLE, SITE_COLUMNS
from drenchbook.site_lines import SiteLine, site_lines


class Report(JudgedSite):
    """One judged site, ready to be shown. Numbers in the site's units; words where there is no number."""

    @functools.cached_property
    def lines(self) -> list[SiteLine]:
        """The site lines."""
        return site_lines(self.judgement, self.problems)

    @property
    def verdict(self) -> str:
        """The verdict of the whole site: its worst station, set or site line; UNKNOWN without any station."""
        if not self.judgement.site.stations:
            return OUTCOME_WORDS[NOT_KNOWN]
        outcomes = [int(o) for o in self.judgement.station_outcomes] + [line.outcome for line in self.lines]
        return worst_word(outcomes)

    def schedule_rows(self) -> list[list[Any]]:
        """One row for each station, in the order of SCHEDULE_COLUMNS."""
        return schedule_rows.schedule_rows(self)

    def set_rows(self) -> list[list[Any]]:
        """One row for each set of stations that an event lets flow at once, in the order of SET_COLUMNS."""
        return set_rows.set_rows(self)

    def case_rows(self, station: str = "") -> list[list[Any]]:
        """One row for each case, of one station if it is named; governing cases only where there are too many."""
        return case_rows.case_rows(self, station)

    def path_rows(self, station: str = "", case: str = "") -> list[list[Any]]:
        """One row for each step from supply to outlet in one case; of the least margin if blank."""
        return path_rows.path_rows(self, station, case)

    def course_rows(self, station: str = "", case: str = "", mixed_fraction: float | None = None) -> list[list[Any]]:
        """One row for each time of fifteen minutes in one case, in the order of COURSE_COLUMNS."""
        return course_rows.course_rows(self, station, case, mixed_fraction)

    def field_rows(self, day: DayOfTest) -> list[list[Any]]:
        """One row for each outlet, then for each valve: what a test on that day should find."""
        return field_rows(self, day)

    def correction_rows(self, day: DayOfTest, lines: Sequence[Sequence[Any]]) -> list[list[Any]]:
        """One row for each line of readings: which input to correct first, and by how much."""
        return correction_rows(self, day, lines)

    def choice_rows(self, station: str = "") -> list[list[Any]]:
        """What may be chosen for the path of a station: what is open, season, supply, fault."""
        return path_rows.choice_rows(self, station)

    def case_list(self) -> Iterator[tuple[str, int, int]]:
        """Every case as fault, state and opening."""
        return case_rows.case_list(self)

    def site_rows(self) -> list[list[Any]]:
        """One row for each site line, the worst first, in the order of SITE_COLUMNS."""
        rows = []
        for line in sorted(self.lines, key=lambda line: -line.outcome):
            values = {
                "check": line.check.id,
                "subject": line.subject,
                "verdict": line.word,
                "case": line.case or NOT_APPLICABLE,
                "message": line.text,
            }
            rows.append([values[column.name] for column in SITE_COLUMNS])
        return rows
