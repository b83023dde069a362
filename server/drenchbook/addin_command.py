"""The command `addin`: what a spreadsheet program installs, written to a file."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """One subcommand for each kind of program."""
    programs = parser.add_subparsers(required=True, metavar="PROGRAM")
    libreoffice = programs.add_parser("libreoffice", help="the extension of LibreOffice Calc (.oxt)")
    libreoffice.add_argument("output", nargs="?", default="drenchbook.oxt", metavar="OUT.oxt")
    libreoffice.set_defaults(run=_libreoffice)
    excel = programs.add_parser("excel", help="a workbook with the functions of Excel on Windows in it (.xlsm)")
    excel.add_argument("input", nargs="?", metavar="IN.xlsx", help="left out: an example of every function")
    excel.add_argument("output", metavar="OUT.xlsm")
    excel.add_argument("--python", metavar="PATH", help="the Python that has Drenchbook, where it is not this one")
    excel.set_defaults(run=_excel)
    web = programs.add_parser("web", help="the add-in of Excel on the web, on Mac and on Windows: a folder of files")
    web.add_argument("output", metavar="OUT_DIR")
    web.add_argument("--port", type=int, default=8714, metavar="N", help="port at which the server answers over https")
    web.set_defaults(run=_web)


def _libreoffice(options: argparse.Namespace) -> int:
    from drenchbook.hosts import libreoffice_addin

    return libreoffice_addin.run(Path(options.output))


def _excel(options: argparse.Namespace) -> int:
    from drenchbook.hosts import excel_workbook

    source = Path(options.input) if options.input else None
    return excel_workbook.run(source, Path(options.output), options.python)


def _web(options: argparse.Namespace) -> int:
    from drenchbook.hosts import web_addin

    return web_addin.run(Path(options.output), options.port)
