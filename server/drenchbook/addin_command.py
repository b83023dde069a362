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


def _libreoffice(options: argparse.Namespace) -> int:
    from drenchbook.hosts import libreoffice_addin

    return libreoffice_addin.run(Path(options.output))
