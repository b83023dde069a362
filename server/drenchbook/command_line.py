"""The command line: arguments and exit codes. 0: OK or WARN; 1: FAIL or UNKNOWN; 2: a file cannot be used."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from drenchbook import __version__, addin_command, server_command
from drenchbook.errors import ALL_MET, NOT_MET, UNUSABLE, InputError, SiteError
from drenchbook.published.criteria import CRITERIA_SETS


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give back its exit code."""
    arguments = list(sys.argv[1:] if arguments is None else arguments)
    if arguments[:1] == [
        "evaluate"
    ]:  # starts without argparse, site model or spreadsheet libraries: it is used in loops
        from drenchbook import evaluate_command

        return evaluate_command.run(arguments[1:])
    options = _parser().parse_args(arguments)
    try:
        return int(options.run(options))
    except SiteError as error:
        print(error, file=sys.stderr)
        return UNUSABLE
    except InputError as error:
        print(error, file=sys.stderr)
        return UNUSABLE
    except BrokenPipeError:  # the reader of our output has gone; nothing is lost
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return NOT_MET
    except OSError as error:  # a folder that is not there, a full disk, no right to write
        print(f"{error.filename or 'a file'}: cannot be used: {error.strerror}", file=sys.stderr)
        return UNUSABLE


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="drenchbook", description="Tepid water for every emergency shower and eyewash."
    )
    parser.add_argument("--version", action="version", version=f"drenchbook {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")

    recalc = commands.add_parser("recalc", help="recalculate workbooks, or report on site files (TOML)")
    recalc.add_argument("files", nargs="+", metavar="FILE")
    recalc.add_argument("--output", metavar="PATH", help="write the recalculated workbook here and leave FILE as it is")
    recalc.add_argument(
        "--check", action="store_true", help="write nothing; stored results that are stale are a FAIL (DAT-5)"
    )
    recalc.add_argument("--json", action="store_true", help="print one JSON object with every check and every case")
    recalc.add_argument("--jobs", type=int, default=0, metavar="N", help="worker processes for several files")
    recalc.set_defaults(run=_recalc)

    convert = commands.add_parser("convert", help="workbook to site file or back, or another unit system")
    convert.add_argument("input", metavar="IN")
    convert.add_argument("output", metavar="OUT")
    convert.add_argument("--units", choices=("US", "SI"), help="unit system of OUT; left out: that of IN")
    convert.add_argument("--spare", type=int, metavar="ROWS", help="spare rows on each input sheet of a workbook")
    convert.add_argument(
        "--host",
        choices=("plain", "libreoffice", "web"),
        help="spell our functions in a workbook as that program stores them; every other byte stays",
    )
    convert.set_defaults(run=_convert)

    start = commands.add_parser("start", help="make a new blank workbook or site file")
    start.add_argument("output", metavar="OUT")
    start.add_argument("--units", choices=("US", "SI"), default="US")
    start.add_argument("--criteria", choices=CRITERIA_SETS, default=CRITERIA_SETS[0])
    start.set_defaults(run=_start)

    templates = commands.add_parser("templates", help="regenerate workbook_templates/ and samples/")
    templates.add_argument("--check", action="store_true", help="write nothing; exit 1 when a committed file differs")
    templates.add_argument(
        "--root", default=".", metavar="DIR", help="folder that holds workbook_templates and samples"
    )
    templates.set_defaults(run=_templates)

    addin = commands.add_parser("addin", help="write what a spreadsheet program installs")
    addin_command.add_arguments(addin)

    server = commands.add_parser("server", help="run the calculation server that spreadsheet programs ask")
    server_command.add_arguments(server)
    server.set_defaults(run=server_command.run)

    doctor = commands.add_parser("doctor", help="find what keeps functions from computing, and say the cure")
    doctor.add_argument("file", nargs="?", metavar="FILE", help="a workbook to look at as well")
    doctor.add_argument("--json", action="store_true", help="print one JSON object with every finding")
    doctor.set_defaults(run=_doctor)

    commands.add_parser(
        "evaluate",
        help='evaluate formulas: evaluate \'=DRENCH_PIPE_LOSS(20,"copper L","1",100,"none",60)\'; - reads one a line',
    )
    return parser


def _recalc(options: argparse.Namespace) -> int:
    from drenchbook import recalc_command

    return recalc_command.run(
        [Path(name) for name in options.files],
        Path(options.output) if options.output else None,
        check=options.check,
        as_json=options.json,
        jobs=options.jobs,
    )


def _convert(options: argparse.Namespace) -> int:
    if options.host:
        return _respell(options)
    from drenchbook.convert_command import convert

    if options.spare is not None and options.spare < 0:
        raise InputError("--spare", options.spare, "must be zero or more rows")
    for note in convert(Path(options.input), Path(options.output), options.units, options.spare):
        print(note, file=sys.stderr)
    print(f"{options.output} written")
    return ALL_MET


def _respell(options: argparse.Namespace) -> int:
    from drenchbook.hosts.respelled_workbook import respell

    if options.units or options.spare is not None:
        raise InputError("--host", options.host, "changes only how our functions are spelled; convert units before")
    count = respell(Path(options.input), Path(options.output), options.host)
    print(f"{options.output} written: {count} formulas spelled anew")
    return ALL_MET


def _start(options: argparse.Namespace) -> int:
    from drenchbook.convert_command import write_site
    from drenchbook.site_sheets import blank_site

    output = Path(options.output)
    if output.exists():
        raise InputError("OUT", options.output, "exists already; name a new file, nothing was written")
    write_site(blank_site(options.units, options.criteria), output)
    print(f"{output} written: {options.units} units, {options.criteria}")
    return ALL_MET


def _doctor(options: argparse.Namespace) -> int:
    from drenchbook.hosts import doctor

    return doctor.run(Path(options.file) if options.file else None, as_json=options.json)


def _templates(options: argparse.Namespace) -> int:
    from drenchbook.workbook.templates import regenerate

    differences = regenerate(Path(options.root), check=options.check)
    for difference in differences:
        print(difference)
    if options.check and differences:
        print("regenerate them with: drenchbook templates", file=sys.stderr)
        return NOT_MET
    print("templates and samples are as their generator makes them" if options.check or not differences else "written")
    return ALL_MET


if __name__ == "__main__":
    sys.exit(main())
