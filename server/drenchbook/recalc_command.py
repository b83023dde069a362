"""Recalculate: workbooks are evaluated and patched, site files are reported on; the schedule is printed either way."""

from __future__ import annotations

import os
import shutil
import sys
import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeAlias

from drenchbook.check_samples import OUTCOME_WORDS, PASSED
from drenchbook.check_table import CHECK_BY_ID
from drenchbook.check_words import case_text
from drenchbook.convert_command import SITE_SUFFIX, read_any
from drenchbook.errors import ALL_MET, NOT_MET, UNUSABLE, InputError, Problem, SiteError
from drenchbook.json_report import file_report, json_lines, line_object
from drenchbook.quantity_text import percent_text
from drenchbook.report import Report
from drenchbook.result_tables import CAUTIONS, OK, VERDICTS, WARN
from drenchbook.site_lines import SiteLine
from drenchbook.table_results import report_of

Recalculation: TypeAlias = tuple[Report, Sequence[Problem], list[str], list[SiteLine]]


@dataclass(frozen=True)
class Done:
    """What became of one file: its exit code and what to print."""

    code: int
    text: str
    json: dict[str, Any]
    counts: dict[str, int]  # stations by verdict


def run(files: Sequence[Path], output: Path | None, *, check: bool, as_json: bool, jobs: int) -> int:
    """Recalculate the files, several at once in worker processes; the exit code is the worst of them."""
    if output is not None and len(files) > 1:
        raise InputError("--output", output, "takes one FILE; without it each workbook is recalculated in place")
    if output is not None and files[0].suffix.lower() == SITE_SUFFIX:
        raise InputError("--output", output, "a site file is only reported on; convert makes a workbook of it")
    if output is not None:
        output.parent.mkdir(parents=True, exist_ok=True)
    results = []
    for number, done in enumerate(_each(files, output, check, as_json, jobs), start=1):
        if len(files) > 1:
            print(f"{number} of {len(files)}: {files[number - 1]}", file=sys.stderr, flush=True)
        if not as_json:
            stream = sys.stderr if done.code == UNUSABLE else sys.stdout
            print(done.text, file=stream, flush=True)
        results.append(done)
    if as_json:
        for text in json_lines([done.json for done in results]):
            print(text)
    elif len(files) > 1:
        print(_summary(files, results))
    return max(done.code for done in results)


def _summary(files: Sequence[Path], results: Sequence[Done]) -> str:
    """How many stations of each file have which verdict."""
    import pandas  # slow to load, and only needed for several files

    table = pandas.DataFrame([done.counts for done in results], index=[str(path) for path in files], columns=VERDICTS)
    return "\nStations by verdict\n" + table.fillna(0).astype(int).to_string()


def _each(files: Sequence[Path], output: Path | None, check: bool, as_json: bool, jobs: int) -> Iterator[Done]:
    tasks = [(path, output, check, as_json) for path in files]
    workers = min(jobs or os.cpu_count() or 1, len(files))
    if workers <= 1:
        yield from map(_one, tasks)
        return
    with ProcessPoolExecutor(workers) as pool:
        yield from pool.map(_one, tasks)


def _one(task: tuple[Path, Path | None, bool, bool]) -> Done:
    path, output, check, as_json = task
    try:
        report, problems, notes, of_file = _recalculated(path, output, check)
    except InputError as error:  # as an event of more sets than can be solved: this file only
        broken = SiteError(str(path), [Problem("file", "", None, str(error), breaks_file=True)])
        return Done(UNUSABLE, str(broken), file_report(str(path), None, broken.problems, "UNKNOWN"), {})
    except OSError as error:  # a full disk, a folder that has gone: this file only
        sentence = f"{error.filename or path} cannot be used: {error.strerror or error}"
        broken = SiteError(str(path), [Problem("file", "", None, sentence, breaks_file=True)])
        return Done(UNUSABLE, str(broken), file_report(str(path), None, broken.problems, "UNKNOWN"), {})
    except SiteError as error:
        answer = file_report(str(path), None, error.problems, "UNKNOWN")
        return Done(UNUSABLE, str(error), answer, {})
    verdict = min((report.verdict, *(line.word for line in of_file)), key=VERDICTS.index)  # the worst stands first
    code = ALL_MET if verdict in (OK, WARN) else NOT_MET
    answer = file_report(str(path), report, problems, verdict) if as_json else {}
    if as_json:
        answer["site"][:0] = [line_object(line, report.units) for line in of_file]
    counts = Counter(OUTCOME_WORDS[int(outcome)] for outcome in report.judgement.station_outcomes)
    return Done(code, "" if as_json else _text(path, report, verdict, notes, of_file), answer, dict(counts))


def stale_line(stale: str) -> SiteLine:
    """DAT-5 as a line of the site."""
    check = CHECK_BY_ID["DAT-5"]
    return SiteLine(check, "results", check.severity, stale, remedy=f"{check.remedy}.")


def _recalculated(path: Path, output: Path | None, check: bool) -> Recalculation:
    """The report of a file, its problems, notes, and lines about the file itself: stale results, lost formulas."""
    if path.suffix.lower() == SITE_SUFFIX:
        read = read_any(path)
        return report_of(read, str(path)), read.problems, [], []
    from drenchbook.workbook.recalculating import recalculate

    done = recalculate(path, output, write=not check)
    stale = [stale_line(done.stale)] if check and done.stale else []
    return done.report, done.problems, list(done.notes), [*stale, *done.formula_lines]


# ---- printing ----


def _text(path: Path, report: Report, verdict: str, notes: Sequence[str], of_file: Sequence[SiteLine]) -> str:
    width = max(72, min(shutil.get_terminal_size((110, 40)).columns, 140))
    lines = [f"{path}: {verdict}", ""]
    for line in of_file:
        lines += _wrapped(f"{line.check.id} {line.word}  ", line.text, width)
    for number in range(len(report.judgement.site.stations)):
        lines += _station(report, number, width)
    if not report.judgement.site.stations:
        lines.append("No station in this file: nothing was shown.")
    sets = report.judgement.set_openings()
    shown = [line for line in report.lines if line.outcome != PASSED]
    if sets:
        lines += ["", "Stations used at once"]
        lines += [_set(report, opening) for opening in sets[:40]]
        lines += [f"  and {len(sets) - 40} more sets; --json gives them all"] if len(sets) > 40 else []
    if shown:
        lines += ["", "Site"]
        for line in shown:
            lines += _wrapped(f"  {line.check.id:<6} {line.word:<8} ", line.text, width)
    lines += ["", *(f"note: {note}" for note in notes), *textwrap.wrap("Cautions: " + " ".join(CAUTIONS), width)]
    return "\n".join(lines)


def _station(report: Report, number: int, width: int) -> list[str]:
    judgement = report.judgement
    outcome, governing = int(judgement.station_outcomes[number]), judgement.governing(number)
    tag = str(judgement.site.stations[number].tag).strip()
    head = f"{tag:<10} {OUTCOME_WORDS[outcome]:<8}"
    if outcome == PASSED:
        return _wrapped(f"{head} ", report.message_of(number), width)
    margin = governing.shown_margin
    case = case_text(judgement, governing)
    words = [
        governing.check.id,
        f"margin {percent_text(margin)}" if margin == margin else "margin not known",
        case or "no case",
    ]
    text = report.message_of(number)
    return [f"{head} {'; '.join(words)}", *_wrapped(" " * 20, text, width)]


def _set(report: Report, opening: int) -> str:
    judgement = report.judgement
    outcome, governing = judgement.opening_outcome(opening), judgement.opening_governing(opening)
    label = judgement.cases.label(opening)
    if outcome == PASSED:
        return f"  {label:<18} {OUTCOME_WORDS[outcome]}"
    return f"  {label:<18} {OUTCOME_WORDS[outcome]:<8} {governing.check.id}; {case_text(judgement, governing)}"


def _wrapped(head: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, initial_indent=head, subsequent_indent=" " * len(head)) or [head]
