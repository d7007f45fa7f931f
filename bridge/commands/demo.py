"""`tetherlight demo`: a made-up venue, the real bridge, a robot that focuses it, and a performer walking."""

from __future__ import annotations

import argparse
import asyncio
import json
import signal
import sys
import tempfile
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.commands.venue import VIEW, parse_place
from bridge.errors import InputError

if TYPE_CHECKING:
    from bridge.venue.demo import Demo

REFRESH_S = 0.25


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Nothing is required."""
    parser.add_argument("--seconds", type=float, metavar="N", help="follow a performer for N seconds, then end")
    parser.add_argument("--seed", type=int, default=1, metavar="S", help="of the venue and of all that happens (1)")
    parser.add_argument("--json", action="store_true", help="the summary as one JSON document")
    view = parser.add_mutually_exclusive_group()
    view.add_argument("--view", metavar="HOST:PORT", help=f"where the page is served (default {VIEW}, or a free port)")
    view.add_argument("--no-view", action="store_true", help="no page")
    parser.add_argument("--no-desk", action="store_true", help="no desk beside the bridge: one colour, one light")
    parser.add_argument("--universe", type=int, default=1, metavar="U", help="the first of its two universes (1)")


def run(args: argparse.Namespace) -> int:
    """Set up, calibrate, follow, summarise. 0; 2 for bad arguments, 3 when the network or the bridge fails."""
    if args.seconds is not None and not 0 < args.seconds < 1e7:
        raise InputError(f"--seconds {args.seconds:g}: expected more than 0")
    if args.seed < 0:
        raise InputError(f"--seed {args.seed}: expected a whole number of 0 or more")
    if not 1 <= args.universe <= 63998:
        raise InputError(f"--universe {args.universe}: expected 1 to 63998")
    with tempfile.TemporaryDirectory(prefix="tetherlight-demo-") as folder:
        summary = asyncio.run(_serve(args, Path(folder)))
    if args.json:
        print(json.dumps(summary, indent=2))
    else:
        _print(summary)
    return 0


async def _serve(args: argparse.Namespace, folder: Path) -> dict[str, Any]:
    from bridge.venue.demo import Demo

    live = not args.json and sys.stdout.isatty()
    out = sys.stderr if args.json else sys.stdout

    def note(text: str) -> None:
        if not live:
            print(text, file=out, flush=True)

    demo = Demo(folder, args.seed, args.universe, _view_place(args), note, not args.no_desk)
    running = asyncio.get_running_loop()
    for which in (signal.SIGINT, signal.SIGTERM):
        running.add_signal_handler(which, demo.stop)
    note(f"{demo.show.name}: {len(demo.show.fixtures)} heads, each hung a little wrong (seed {args.seed})")
    drawing = asyncio.create_task(_draw(demo)) if live else None
    try:
        return await demo.run(args.seconds)
    finally:
        if drawing is not None:
            drawing.cancel()
            with suppress(asyncio.CancelledError):
                await drawing


def _view_place(args: argparse.Namespace) -> tuple[str, int] | None:
    """The place asked for; else the usual one, or a free port where somebody has that."""
    import socket

    if args.no_view:
        return None
    if args.view:
        return parse_place(args.view)
    host, port = parse_place(VIEW)
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            return host, 0
    return host, port


async def _draw(demo: Demo) -> None:
    from rich.live import Live

    with Live(_screen(demo), refresh_per_second=4, transient=True) as live:
        while True:
            live.update(_screen(demo))
            await asyncio.sleep(REFRESH_S)


def _screen(demo: Demo) -> Any:
    from rich.console import Group

    from bridge.venue.tables import live_table, progress_line

    parts: list[Any] = [f"[bold]{demo.show.name}[/bold]: {demo.phase}"]
    if demo.address:
        parts.append(f"view: {demo.address}   (Ctrl-C ends)")
    if demo.panel:
        parts.append(f"panel: {demo.panel}   (`Practise` there hands you the performer)")
    if demo.robot is not None:
        parts.append(progress_line(demo.robot.progress))
    parts.append(live_table(demo.venue, demo.meter))
    return Group(*parts)


def _print(summary: dict[str, Any]) -> None:
    from rich.console import Console

    from bridge.venue.tables import beam_table, demo_lines

    console = Console()
    for name in ("standing", "strolling", "leaving", "dancing", "running"):
        if name in summary:
            console.print(beam_table(summary[name], f"Performer {name}"))
    for line in demo_lines(summary):
        console.print(line, markup=False, highlight=False)
