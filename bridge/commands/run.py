"""`tetherlight run SHOW`: the live bridge."""

from __future__ import annotations

import argparse
from pathlib import Path


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SHOW [--armed] [--state DIR] [--record FOLDER] [--no-panel] [--log-level LEVEL]"""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("--armed", action="store_true", help="send from the start: heads move without warning")
    parser.add_argument("--state", type=Path, metavar="DIR", help="state folder (default $XDG_STATE_HOME/tetherlight)")
    parser.add_argument("--record", type=Path, metavar="FOLDER", help="keep captures there (see `replay`)")
    parser.add_argument("--no-panel", action="store_true", help="start no panel beside it")
    parser.add_argument(
        "--log-level", choices=("debug", "info", "warning", "error"), default="info", help="what is logged (info)"
    )


def run(args: argparse.Namespace) -> int:
    """Serve until a signal; 0 after a clean stop, 2 for bad files, 3 when the network cannot be opened."""
    from bridge.daemon.options import Options
    from bridge.daemon.start import serve
    from bridge.errors import ShowError
    from bridge.show.damaged import with_advice

    try:
        serve(args.show, Options(args.armed, args.state, args.record, args.log_level, not args.no_panel))
    except ShowError as error:
        raise with_advice(error, args.show) from None
    return 0
