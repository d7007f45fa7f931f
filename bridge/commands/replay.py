"""`tetherlight replay FILE... --show SHOW`: a capture again, in virtual time; are the same packets sent?"""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

from bridge.door.replay import Replay, Verdict
from bridge.errors import CaptureError, InputError
from bridge.show import load
from bridge.show.texts import load_texts, texts
from bridge.wire import capture


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("files", nargs="+", type=Path, metavar="FILE", help="captures, in any order")
    parser.add_argument("--show", type=Path, metavar="SHOW", help="the show folder they were made with")
    parser.add_argument(
        "--changed", action="store_true", help="run SHOW as it is now, not as the capture holds it: what differs?"
    )
    parser.add_argument("--live", action="store_true", help="send what was sent, again, in real time")
    parser.add_argument(
        "--interface", metavar="ADDRESS", help="with --live: where to send (default: this machine only)"
    )
    parser.add_argument("--json", action="store_true", help="one JSON document instead of text")


def run(args: argparse.Namespace) -> int:
    """Exit 0 where every packet was the same, 1 where one was not, 2 for files that cannot be read."""
    files = in_order(args.files)
    if args.live:
        from bridge.daemon.sending_again import send_again

        return send_again(files, args.interface)
    if args.changed and args.show is None:
        raise InputError("--changed needs --show SHOW: which show is to be run?")
    show = load(args.show) if args.show else None
    replay = Replay(load_texts, show if args.changed else None)
    for file in files:
        with file.open("rb") as opened:
            try:
                replay.take(capture.read(opened))
            except CaptureError as error:
                raise InputError(f"{file}: {error}") from None
    now = texts(args.show) if args.show else None
    _say(replay.verdict, differs=now is not None and now != replay.files, args=args)
    return 0 if replay.verdict.equal else 1


def in_order(files: list[Path]) -> list[Path]:
    """By the time at which they begin. Raises InputError for what is no capture of ours."""
    begun: list[tuple[int, Path]] = []
    for file in files:
        try:
            with file.open("rb") as opened:
                first = next(iter(capture.read(opened)), None)
        except OSError as error:
            raise InputError(f"{file}: cannot be read: {error.strerror}") from None
        except CaptureError as error:
            raise InputError(f"{file}: {error}") from None
        if not isinstance(first, capture.Opening):
            raise InputError(f"{file}: found no capture of this program, expected a file that `run --record` wrote")
        begun.append((first.at_us + first.wall_minus_clock_us, file))
    return [file for _, file in sorted(begun)]


def _say(verdict: Verdict, differs: bool, args: argparse.Namespace) -> None:
    if args.json:
        print(json.dumps(_document(verdict, differs), indent=2))
        return
    if differs:
        how = "what differs comes of that" if args.changed else "it is replayed as it was (--changed runs it as it is)"
        print(f"{args.show} is not what it was at the end of the capture: {how}.")
    print(f"{verdict.parts} beginnings, {verdict.messages} messages, {verdict.ticks} frames, {verdict.packets} packets")
    for text in verdict.differences:
        print(f"  {text}")
    if verdict.different > len(verdict.differences):
        print(f"  and {verdict.different - len(verdict.differences)} more")
    if verdict.lost:
        print(f"{verdict.lost} entries were not kept ({verdict.gaps} gaps): nothing is known to the next beginning")
    if verdict.truncated:
        print("a file ends within an entry or a frame: its writer was stopped there")
    if verdict.packets == 0:
        print("NOTHING TO COMPARE: the capture holds no packet that was sent")
    else:
        print("THE SAME, packet by packet" if verdict.equal else f"NOT THE SAME: {verdict.different} differ")


def _document(verdict: Verdict, differs: bool) -> dict[str, Any]:
    counts = {name: getattr(verdict, name) for name in ("packets", "same", "different", "ticks", "messages", "parts")}
    rest = {"lost": verdict.lost, "truncated": verdict.truncated, "show_changed": differs}
    return {"equal": verdict.equal, **counts, **rest, "differences": verdict.differences}
