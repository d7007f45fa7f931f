"""`tetherlight listen INPUT SHOW`: what a tracking input gives, point by point, once a second. Sends nothing."""

from __future__ import annotations

import argparse
import contextlib
import json
import math
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.commands.listening import Listening, PointRow, wait
from bridge.commands.other_systems import other_systems
from bridge.daemon import clock
from bridge.daemon.interfaces import resolve_address
from bridge.daemon.logs import printable
from bridge.errors import InputError, NetworkError, ShowError
from bridge.geometry.stage import Point3
from bridge.show import Show, load
from bridge.show.damaged import with_advice
from bridge.show.problems import listed, nearest

if TYPE_CHECKING:
    from rich.table import Table

LONGEST_S = 86_400.0
EVERY_S = 1.0
SILENT_S = 3.0
SCAN_S = 1.0
HEADINGS = ("point", "name", "x, y, z of the input", "on the stage", "packets/s", "jitter", "age", "from", "target")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("input", metavar="INPUT", help="an input of network.yaml")
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("--seconds", type=_seconds, default=math.inf, metavar="N", help="so long (until Ctrl-C)")
    parser.add_argument("--json", action="store_true", help="at the end one JSON document instead of text")


def _seconds(text: str) -> float:
    with contextlib.suppress(ValueError):
        if 0.0 < float(text) <= LONGEST_S:
            return float(text)
    raise argparse.ArgumentTypeError(f"found '{text}', allowed is a number above 0 up to {LONGEST_S:g}, in seconds")


def run(args: argparse.Namespace) -> int:
    """Listen until the time is over or Ctrl-C; 2 for an input that is not there, 3 where it cannot be listened to."""
    try:
        show = load(args.show)
    except ShowError as error:
        raise with_advice(error, args.show) from None
    listening = _open(show, args.input)
    began_s = clock.now_s()
    try:
        others = _listen(listening, began_s + args.seconds, args.json)
        now_s = clock.now_s()
        if args.json:
            print(json.dumps(as_data(listening, others, now_s, now_s - began_s), indent=2))
    finally:
        listening.close()
    return 0


def _open(show: Show, name: str) -> Listening:
    inputs = show.network.inputs
    if name not in inputs:
        there = f"allowed: {listed(list(inputs))}" if inputs else "`inputs:` of its network.yaml has none"
        near = nearest(name, inputs)
        raise InputError(
            f"found '{name}', which is no input of this show{f', nearest is {near!r}' if near else ''}; {there}"
        )
    try:
        return Listening(show, name)
    except NetworkError as error:
        raise NetworkError(f"input {name}: {error}") from None


def _listen(listening: Listening, until_s: float, quiet: bool) -> list[str]:
    """Print every second unless `quiet`; other systems that were heard where nothing came on the one that is meant."""
    others: list[str] | None = None
    began_s = next_s = clock.now_s()
    with contextlib.suppress(KeyboardInterrupt), _screen(quiet) as show_now:
        while next_s < until_s:
            next_s = min(next_s + EVERY_S, until_s)
            wait([listening], next_s)
            now_s = clock.now_s()
            due_s = min(began_s + SILENT_S, until_s - SCAN_S - EVERY_S)
            if others is None and now_s >= due_s and not listening.ears.packets:
                others = _others(listening) if now_s + SCAN_S <= until_s else []
            show_now(listening, others, now_s, now_s - began_s)
    return others or []


def _others(listening: Listening) -> list[str]:
    """Of a protocol that has systems."""
    settings = listening.settings
    if settings.protocol != "otp":
        return []
    with contextlib.suppress(NetworkError):
        interface = resolve_address(settings.interface or listening.interface)
        return other_systems(interface, settings.system, SCAN_S)
    return []


@contextlib.contextmanager
def _screen(quiet: bool) -> Any:
    """A function that shows what is heard: a table that stays on a terminal, plain lines elsewhere."""
    if quiet:
        yield lambda *_: None
        return
    from rich.console import Console

    console = Console(highlight=False)
    if not console.is_terminal:
        yield lambda *heard: print(*lines(*heard), sep="\n", flush=True)
        return
    from rich.console import Group
    from rich.live import Live
    from rich.text import Text

    with Live(console=console, auto_refresh=False) as live:

        def show_now(listening: Listening, others: list[str] | None, now_s: float, since_s: float) -> None:
            rows = listening.rows(now_s)
            head = Text(f"input {listening.name}: {listening.settings.protocol} at {listening.at}, {since_s:.0f} s")
            below = listening.remarks(now_s) if rows else _nothing(listening, others, since_s)
            live.update(Group(head, *([_table(rows)] if rows else []), *map(Text, map(printable, below))), refresh=True)

        yield show_now


def _table(rows: list[PointRow]) -> Table:
    from rich.table import Table
    from rich.text import Text  # names come from the network: no markup

    table = Table()
    for heading in HEADINGS:
        table.add_column(heading, justify="right" if heading in ("packets/s", "jitter", "age") else "left")
    for row in rows:
        table.add_row(*map(Text, _cells(row)))
    return table


def _cells(row: PointRow) -> tuple[str, ...]:
    stage = "no frame" if row.stage is None else _metres(row.stage)
    jitter, age = f"{row.jitter_ms:.1f} ms", f"{row.age_ms:.0f} ms"
    targets = ", ".join(row.targets) or "none"
    return row.point, row.name, _metres(row.place), stage, f"{row.rate_hz:.1f}", jitter, age, row.host, targets


def _metres(place: Point3) -> str:
    return " ".join(f"{value:8.3f}" for value in place)


def lines(listening: Listening, others: list[str] | None, now_s: float, since_s: float) -> list[str]:
    """The same without a terminal: a line for each point, or what to look at."""
    rows = listening.rows(now_s)
    clock_words = time.strftime("%H:%M:%S")
    if not rows:
        return [f"{clock_words} {printable(line)}" for line in _nothing(listening, others, since_s)]
    return [f"{clock_words} {_line(row)}" for row in rows] + [f"{clock_words}   {r}" for r in listening.remarks(now_s)]


def _line(row: PointRow) -> str:
    point, name, place, stage, rate, jitter, age, host, targets = _cells(row)
    called = f' "{name}"' if name else ""
    at = f"{' '.join(place.split())}, stage {' '.join(stage.split())}"
    return f"{point}{called}: {at}, {rate}/s, jitter {jitter}, age {age}, from {host}, target {targets}"


def _nothing(listening: Listening, others: list[str] | None, since_s: float) -> list[str]:
    """`others` None: it is too early to say why."""
    said = f"nothing of input {listening.name} heard in {since_s:.0f} s at {listening.at}"
    return [said, *(f"  {text}" for text in ([] if others is None else listening.silence(others)))]


def as_data(listening: Listening, others: list[str], now_s: float, seconds: float) -> dict[str, Any]:
    """For `--json`."""
    rows = listening.rows(now_s)
    return {
        "input": listening.name,
        "protocol": listening.settings.protocol,
        "at": str(listening.at),
        "framed": listening.frame is not None,
        "seconds": round(seconds, 2),
        "counters": dict(sorted(listening.ears.reader.counters.items())),
        "points": [row._asdict() for row in rows],
        "missing": listening.missing(now_s),
        "advice": listening.remarks(now_s) if rows else listening.silence(others),
    }
