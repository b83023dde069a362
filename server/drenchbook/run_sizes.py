"""SIZ-1: pipe runs of a larger nominal size than the run that feeds them, as a size dragged downward leaves them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from drenchbook.checks import Judgement
from drenchbook.errors import InputError
from drenchbook.published.pipes import pipe
from drenchbook.site_line import SiteLine, line, name_of
from drenchbook.site_model import tag_key

NAMED = 4  # runs that the sentence names


def run_size_lines(judgement: Judgement) -> Iterator[SiteLine]:
    """SIZ-1 in one line for all runs; none where every run is at most as large as the run that feeds it.

    Nominal sizes are compared, so that two materials of one size are alike. A run whose size cannot be used is told by
    DAT-1, and no run is compared through a valve or a source.
    """
    rows = {tag_key(run.tag): run for run in judgement.site.pipe_runs}
    larger = []
    for run in rows.values():
        feeder = rows.get(tag_key(run.fed_from))
        own, before = _nominal(run), _nominal(feeder)
        if own is not None and before is not None and own > before:
            assert feeder is not None
            larger.append(f"{name_of(run)} ({run.size}) than {name_of(feeder)} ({feeder.size})")
    if larger:
        more = f" and {len(larger) - NAMED} more" if len(larger) > NAMED else ""
        what = f"Runs are larger than the run that feeds them: {', '.join(larger[:NAMED])}{more}"
        yield line(judgement, "SIZ-1", "sizes", -1.0, what=what)


def _nominal(run: Any) -> float | None:
    """Nominal size of a run [in]; None where there is none."""
    if run is None or not isinstance(run.material, str) or not isinstance(run.size, str):
        return None
    try:
        return pipe(run.material, run.size).nominal_inches
    except InputError:
        return None
