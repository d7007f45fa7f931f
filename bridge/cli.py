"""`tetherlight COMMAND ...`: parse the words, run one command, turn errors into messages and exit codes."""

from __future__ import annotations

import argparse
import importlib
import json
import keyword
import sys
from collections.abc import Sequence
from typing import Any

from bridge import __version__
from bridge.errors import InputError, TetherlightError

COMMANDS = {
    "import": "other people's files into a show: GDTF, MVR, CSV",
    "export": "patch and solved poses for other programs: MVR, CSV",
    "run": "the live bridge: OSC in, sACN out",
    "new": "a commented show to begin with",
    "solve": "poses from sightings",
    "check": "everything that can be known before doors",
    "explain": "what each key of a show's files means",
    "aim": "what every fixture would be sent for one place",
    "listen": "what a tracking input gives: points, rate, jitter, age",
    "replay": "a capture again: are the same packets sent?",
    "panel": "the page from which the bridge is operated",
    "venue": "a simulated venue that hears the bridge, and a view of it",
    "demo": "a made-up venue, the bridge and a performer walking",
}


class _Parser(argparse.ArgumentParser):
    """Raises instead of printing and exiting, so that --json can answer in JSON."""

    def error(self, message: str) -> None:  # type: ignore[override]
        raise InputError(f"{message}; `{self.prog} --help` lists what is allowed")


def _parser(command: str | None) -> argparse.ArgumentParser:
    parser = _Parser(prog="tetherlight", description="Moving lights as follow spots: the live bridge.")
    parser.add_argument("--version", action="version", version=f"tetherlight {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, text in COMMANDS.items():
        sub = commands.add_parser(name, help=text, description=text, allow_abbrev=False)
        if name == command:  # the other commands' modules stay unread: `run` must start fast
            _module(name).add_arguments(sub)
    return parser


def _module(command: str) -> Any:
    """The module of a command; `import_` for one that Python has a word of its own for."""
    return importlib.import_module(f"bridge.commands.{command}{'_' * keyword.iskeyword(command)}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit code of design/interface.md (0, 1, 2, 3 or 4)."""
    words = list(sys.argv[1:] if argv is None else argv)
    command = next((word for word in words if word in COMMANDS), None)
    try:
        args = _parser(command).parse_args(words)
        return int(_module(args.command).run(args))
    except TetherlightError as error:
        _say(error.lines, as_json="--json" in words)
        return error.exit_code
    except BrokenPipeError:
        return 0


def _say(lines: Sequence[str], as_json: bool) -> None:
    if as_json:
        print(json.dumps({"errors": list(lines)}, indent=2))
    else:
        for line in lines:
            print(line, file=sys.stderr)
