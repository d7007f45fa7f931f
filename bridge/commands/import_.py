"""`tetherlight import`: a GDTF, MVR or CSV into a show; what would change and what must be asked, first of all."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path

from bridge.errors import InputError
from bridge.exchange.meeting import Meeting, as_json
from bridge.exchange.taking import Options, Taken, look, take

CAUTION = (
    "An imported profile is unproven: first light at low level, nobody in the beams or under the heads. "
    "Heads move without warning."
)
MOST_LINES = 60


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Options of `import`."""
    parser.add_argument("show", help="the show folder; made where there is none")
    parser.add_argument("file", help="a .gdtf, an .mvr or a .csv")
    parser.add_argument("--mode", help="the mode of a GDTF's head")
    parser.add_argument(
        "--profile", action="append", default=[], metavar="[TYPE=]NAME", help="what heads of an unknown type have"
    )
    parser.add_argument(
        "--map", action="append", default=[], metavar="HEADING=KEY", help="what a table's heading means"
    )
    parser.add_argument("--dry-run", action="store_true", help="say what would change, write nothing")
    parser.add_argument("--json", action="store_true", help="one JSON document")


def run(args: argparse.Namespace) -> int:
    """Exit code 0, also where questions are open: they are no fault. A mode that is not there is one."""
    folder = Path(args.show)
    taken = look(folder, Path(args.file), Options(args.mode, _profiles(args.profile), _maps(args.map)))
    wrong = next((ask for ask in taken.meeting.asks if ask.key == "mode" and not ask.about), None)
    if args.mode and wrong is not None:
        raise InputError(f"--mode: {wrong.text}")
    written = () if args.dry_run else take(folder, taken)
    if args.json:
        print(json.dumps(as_json(taken.meeting, written), indent=2))
    else:
        for line in report(taken, args.dry_run):
            print(line)
    return 0


def _profiles(words: Sequence[str]) -> dict[str, str]:
    """NAME for all unknown types, TYPE=NAME for one."""
    split = [word.rpartition("=") for word in words]
    return {kind.strip(): name.strip() for kind, _, name in split}


def _maps(words: Sequence[str]) -> dict[str, str]:
    out = {}
    for word in words:
        heading, sign, key = word.rpartition("=")
        if not sign or not heading.strip() or not key.strip():
            raise InputError(f"--map: found '{word}', allowed is HEADING=KEY, such as --map 'Ch no=number'")
        out[heading.strip()] = key.strip()
    return out


def report(taken: Taken, dry_run: bool) -> Iterator[str]:
    """What a person reads: changes, then questions, then what was left out, then what to know."""
    meeting = taken.meeting
    yield from _part("Would change" if dry_run else "Changed", [change.text for change in meeting.changes])
    if not meeting.changes:
        yield _nothing(meeting)
    asked = {ask.text for ask in meeting.asks}
    yield from _part("Questions", [*_asked(meeting), *(each for each in meeting.questions if each not in asked)])
    yield from _part("Left out", [f"{what}: {why}" for what, why in meeting.skipped])
    yield from _part("To know", meeting.notes)
    if taken.texts:
        files = ", ".join(taken.texts)
        yield f"{'Would write' if dry_run else 'Written'}: {files}"
    if meeting.profiles and not dry_run:
        yield CAUTION


def _nothing(meeting: Meeting) -> str:
    if not meeting.heads and not meeting.profiles:
        return "Nothing is taken over from this file as it stands."
    return "Nothing to change." if meeting.skipped else "Nothing to change: the show has all of it."


def _asked(meeting: Meeting) -> list[str]:
    options = {"mode": "--mode NAME", "profile": "--profile TYPE=NAME", "map": "--map HEADING=KEY"}
    return [f"{ask.text} ({options.get(ask.key, ask.key)}{_choices(ask.choices)})" for ask in meeting.asks]


def _choices(choices: Sequence[str]) -> str:
    return f": {', '.join(choices[:12])}{' ...' if len(choices) > 12 else ''}" if choices else ""


def _part(title: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield f"{title}:"
        yield from (f"  {line}" for line in lines[:MOST_LINES])
    if len(lines) > MOST_LINES:
        yield f"  and {len(lines) - MOST_LINES} more; --json has all"
