"""The page of checks, made from the check table: `python -m drenchbook.check_page > server/checks.md`."""

from __future__ import annotations

import sys

from drenchbook.check_samples import OUTCOME_WORDS
from drenchbook.check_table import CHECKS, Check


def checks_markdown() -> str:
    """The page as text: one row for each check, in the order of priority."""
    lines = [
        "# Checks",
        "",
        "Every check, in the order of priority. FAIL > UNKNOWN > WARN > OK; a NOTE does not rank. A missing input or",
        "limit is UNKNOWN, never a pass. Checks of the site as a whole stand on lines of their own and do not rank a",
        "station.",
        "",
        "A check of each case is judged in both seasons and supply states, for every station alone, every set of an",
        "event and every outlet alone, in the faults named.",
        "",
        "| check | what is judged | on | in | limits | a miss is | source |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [f"| {check.id} | {check.what} | {_on(check)} | "
              f"{', '.join(check.faults or check.when) or '–'} | {', '.join(check.limits) or _data(check)} | "
              f"{OUTCOME_WORDS[check.severity]} | {check.source} |" for check in CHECKS]  # fmt: skip
    return "\n".join(lines) + "\n"


def _on(check: Check) -> str:
    return "each case" if check.cases else "each station" if check.station else "the site"


def _data(check: Check) -> str:
    return "its data sheet" if "data sheet" in check.source or "listing" in check.source else "none"


if __name__ == "__main__":
    sys.stdout.write(checks_markdown())
