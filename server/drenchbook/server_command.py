"""The command `server`: run the calculation server, stop the running one, or make the web add-in's certificate."""

from __future__ import annotations

import argparse

from drenchbook.errors import ALL_MET


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The options of the command."""
    parser.add_argument("--port", type=int, metavar="N", default=8713, help="port on this computer; 0 picks a free one")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--stop", action="store_true", help="stop the running server")
    what.add_argument(
        "--certificate",
        action="store_true",
        help="make the certificate that the web add-in needs, and say how to trust it",
    )


def run(options: argparse.Namespace) -> int:
    """Run the command and give back its exit code."""
    if options.certificate:
        from drenchbook.hosts.server_certificate import how_to_trust, make_certificate

        authority, is_new = make_certificate()
        print(how_to_trust(authority) if is_new else f"renewed; {authority} is trusted as before")
        return ALL_MET
    from drenchbook.hosts import server_running

    if options.stop:
        print(server_running.stop_running())
    else:
        server_running.serve(options.port, say=lambda words: print(words, flush=True))
    return ALL_MET
