"""`tetherlight venue SHOW`: a simulated venue that hears sACN, moves virtual heads and measures their beams."""

from __future__ import annotations

import argparse
import asyncio
import json
import signal
import sys
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bridge.errors import InputError

if TYPE_CHECKING:
    from bridge.show.model import Show
    from bridge.venue.desk_file import Desk
    from bridge.venue.desk_sender import DeskSender
    from bridge.venue.runner import VenueRunner
    from bridge.venue.stagehand import Plan
    from bridge.venue.tracking import TrackingSender
    from bridge.venue.tracking_options import Tracking
    from bridge.venue.truth import Truth

TRUTH_FILE = "truth.yaml"
VIEW = "127.0.0.1:8788"
PERFORMER_PORT = 9010


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """SHOW and what to simulate, measure and show."""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("--truth", type=Path, metavar="FILE", help=f"the true hang (default SHOW/{TRUTH_FILE})")
    parser.add_argument(
        "--invent", type=int, metavar="SEED", help="make up a truth from the plot; written to --truth FILE if given"
    )
    parser.add_argument("--measure", type=Path, metavar="FILE", help="write what is measured to a CSV file")
    parser.add_argument("--seconds", type=float, metavar="N", help="end by itself")
    view = parser.add_mutually_exclusive_group()
    view.add_argument("--view", default=VIEW, metavar="HOST:PORT", help=f"where the page is served ({VIEW})")
    view.add_argument("--no-view", action="store_true", help="no page")
    parser.add_argument(
        "--performer-port", type=int, default=PERFORMER_PORT, metavar="PORT",
        help=f"UDP port on loopback for `/performer NAME x y [z]`, the true place of a performer ({PERFORMER_PORT})",
    )  # fmt: skip
    parser.add_argument(
        "--desk", type=Path, action="append", default=[], metavar="CUES.yaml",
        help="a desk that plays these cues as a source of its own; again for a second desk",
    )  # fmt: skip
    parser.add_argument(
        "--tracking", action="append", default=[], metavar="PROTOCOL[,KEY=VALUE...]",
        help="tags on the performers, sent as otp, psn, adm-osc or osc, such as otp,noise=0.02,delay=0.03; again for a "
        "second system (a wrong KEY names all of them)",
    )  # fmt: skip
    parser.add_argument("--json", action="store_true", help="the summary as one JSON document")
    _add_actions(parser)


def _add_actions(parser: argparse.ArgumentParser) -> None:
    from bridge.venue.walks import KINDS

    acts = parser.add_argument_group("what the venue does to the running bridge, by OSC as a person would")
    acts.add_argument("--focus", action="store_true", help="a robot puts every beam on every mark, then solves")
    acts.add_argument("--walk", choices=tuple(KINDS), help="a performer on a walk, told to the bridge")
    acts.add_argument("--target", metavar="NAME", help="the performer's target (default the show's first)")
    acts.add_argument("--rate", type=float, default=60.0, metavar="HZ", help="messages a second, 10 to 120 (60)")
    acts.add_argument("--jitter", type=float, default=0.0, metavar="S", help="each leaves up to S seconds late (0)")
    acts.add_argument("--loss", type=float, default=0.0, metavar="SHARE", help="share of messages lost, 0 to 0.9 (0)")
    acts.add_argument("--hand", type=float, default=0.03, metavar="M", help="the robot's error, sigma per axis (0.03)")
    acts.add_argument("--seed", type=int, default=1, metavar="S", help="of walk and robot (1)")


def _plan(args: argparse.Namespace, show: Show) -> Plan:
    """Raises InputError for what is out of range or not there."""
    from bridge.venue.stagehand import Plan
    from bridge.venue.walks import Link

    for name, low, high in (("rate", 10, 120), ("jitter", 0, 1), ("loss", 0, 0.9), ("hand", 0, 1), ("seed", 0, 2**31)):
        if not low <= getattr(args, name) <= high:
            raise InputError(f"--{name} {getattr(args, name):g}: expected {low} to {high}")
    names = [target.name for target in show.stage.targets]
    target = args.target or names[0]
    if target not in names:
        raise InputError(f"--target '{target}': the show's targets are {', '.join(names)}")
    return Plan(args.focus, args.walk, target, Link(args.rate, args.jitter, args.loss), args.seed, args.hand)


def run(args: argparse.Namespace) -> int:
    """Simulate until a signal or for --seconds; then the summary. 0, or 2 for bad files, 3 for the network."""
    from bridge.show.load import load
    from bridge.venue.calibration import other_hang_words
    from bridge.venue.desk_file import load_desk
    from bridge.venue.tracking_options import parse_all

    if args.seconds is not None and not 0 < args.seconds < 1e7:
        raise InputError(f"--seconds {args.seconds}: expected more than 0")
    show = load(args.show)
    truth, origin = find_truth(show, args.truth, args.invent)
    plan = _plan(args, show)
    truth.ordered(show)  # does it fit the rig? before any port is opened
    desks = [load_desk(file, show) for file in args.desk]
    systems = parse_all(args.tracking, show, plan.target)
    out = sys.stderr if args.json else sys.stdout

    def say(text: str) -> None:
        print(text, file=out, flush=True)

    say(f"{show.name}: {len(show.fixtures)} heads, truth {origin}")
    if (other := other_hang_words(show, truth)) is not None:
        say(other)
    summary = asyncio.run(_serve(args, show, truth, plan, desks, systems, say))
    if args.json:
        print(json.dumps({"show": show.name, "truth": origin, **summary}, indent=2))
    else:
        _print(summary)
    return 0


def find_truth(show: Show, file: Path | None, seed: int | None) -> tuple[Truth, str]:
    """The truth asked for and words for where it comes from."""
    from bridge.venue.invent import invent
    from bridge.venue.truth import truth_from_poses
    from bridge.venue.truth_file import load_truth, write_truth

    if seed is not None:
        if seed < 0:
            raise InputError(f"--invent {seed}: expected a whole number of 0 or more")
        truth = invent(show, seed)
        if file is not None:
            write_truth(truth, file)
        return truth, f"invented with seed {seed}" + (f", written to {file}" if file else "")
    beside = show.path / TRUTH_FILE
    if file is not None or beside.is_file():
        file = file or beside
        return load_truth(file), f"from {file}"
    perfect = truth_from_poses(show)
    if perfect is not None:
        return perfect, "taken from poses.yaml: every solved pose is exactly right"
    return invent(show, 1), "invented with seed 1 (no truth file, no poses; see --truth and --invent)"


def parse_place(text: str) -> tuple[str, int]:
    """HOST:PORT. Raises InputError."""
    host, _, port = text.rpartition(":")
    if not host or not port.isdigit() or int(port) > 65535:
        raise InputError(f"--view {text!r}: expected HOST:PORT, such as {VIEW}")
    return host.strip("[]"), int(port)


async def _serve(
    args: argparse.Namespace, show: Show, truth: Truth, plan: Plan, desks: list[Desk], systems: list[Tracking], say: Any
) -> dict[str, Any]:
    from bridge.daemon.interfaces import resolve_address
    from bridge.venue.measure import Meter
    from bridge.venue.performers import PerformerInput, open_performer_socket
    from bridge.venue.picture import PosesWatch, scene
    from bridge.venue.practice import Practice
    from bridge.venue.receiver import SacnReceiver, open_sockets
    from bridge.venue.runner import VenueRunner
    from bridge.venue.simulation import Venue
    from bridge.venue.stagehand import Stagehand
    from bridge.venue.talk import Talk
    from bridge.venue.view import View

    with ExitStack() as stack:
        venue = Venue(show, truth)
        receiver = SacnReceiver(venue.heads.universes, say)
        interface = resolve_address(show.network.sacn.interface)
        sockets = open_sockets(venue.heads.universes, interface)
        told = open_performer_socket(args.performer_port)
        for one in (*sockets, told):
            stack.callback(one.close)
        csv = _open_csv(args.measure, stack)
        meter = Meter(venue, csv)
        practice = Practice(venue, plan.target, plan.seed)
        view = None if args.no_view else View(*parse_place(args.view), scene(show, truth), practice.asked)
        solved = PosesWatch(show)
        runner = VenueRunner(
            venue, receiver, sockets, meter, view.publish if view else None, solved.now,
            (PerformerInput(venue), told),
        )  # fmt: skip
        osc = replace(show.network.osc, host=resolve_address(show.network.osc.host))
        playing = _open_desks(desks, show, stack, say)
        seeing = _open_tracking(systems, stack, say)
        talk = stack.enter_context(Talk(osc)).say

        def tell(address: str, *words: Any) -> None:
            if not (address.startswith("/target/") and any(plan.target in one.points for one in systems)):
                talk(address, *words)  # a target with a tag is told by its tag alone

        hand = Stagehand(venue, plan, tell, say, solved.written)

        def step(now_s: float) -> None:
            if not practice.tick(now_s):
                hand.tick(now_s)
            for desk in playing:
                desk.tick(now_s)
            for system in seeing:
                system.tick(now_s, venue.performers)

        runner.each_step = step
        listening = ", ".join(map(str, venue.heads.universes))
        say(f"hearing universes {listening} on {interface}; performers on UDP {args.performer_port}")
        if view is not None:
            say(f"view: {await view.start()}")
        _stop_on_signals(runner)
        try:
            await runner.run(args.seconds)
        finally:
            if view is not None:
                await view.stop()
        summary = {**meter.summary(), **_network(receiver, runner)}
        summary["desks"] = [desk.summary() for desk in playing]
        summary["tracking"] = [system.summary() for system in seeing]
        return summary


def _open_desks(desks: list[Desk], show: Show, stack: ExitStack, say: Any) -> list[DeskSender]:
    """Sources of their own, on the interface where the bridge hears a desk."""
    from bridge.daemon.interfaces import resolve_address
    from bridge.venue.desk_sender import DeskSender

    settings = show.network.desk
    heard = settings.interface if settings is not None else None
    interface = resolve_address(heard or show.network.sacn.interface)
    playing = []
    for desk in desks:
        playing.append(DeskSender(desk, interface))
        stack.callback(playing[-1].close)
        say(playing[-1].words)
    return playing


def _open_tracking(systems: list[Tracking], stack: ExitStack, say: Any) -> list[TrackingSender]:
    from bridge.daemon.interfaces import resolve_address
    from bridge.venue.tracking import TrackingSender

    opened = []
    for system in systems:
        opened.append(TrackingSender(system, resolve_address(system.interface)))
        stack.callback(opened[-1].close)
        say(system.words)
    return opened


def _open_csv(file: Path | None, stack: ExitStack) -> Any:
    if file is None:
        return None
    try:
        return stack.enter_context(file.open("w", newline="", encoding="utf-8"))
    except OSError as error:
        raise InputError(f"--measure {file}: cannot be written: {error.strerror or error}") from None


def _stop_on_signals(runner: VenueRunner) -> None:
    running = asyncio.get_running_loop()
    for which in (signal.SIGINT, signal.SIGTERM):
        running.add_signal_handler(which, runner.stop)


def _network(receiver: Any, runner: VenueRunner) -> dict[str, Any]:
    return {
        "packets": dict(sorted(receiver.counters.items())),
        "never_heard": receiver.never_heard(),
        "silent": receiver.silent(),
        "steps": runner.steps,
        "skipped_s": round(runner.skipped_s, 2),
    }


def _print(summary: dict[str, Any]) -> None:
    from rich.console import Console

    from bridge.venue.tables import beam_table, network_lines

    console = Console()
    console.print(beam_table(summary))
    for line in network_lines(summary):
        console.print(line, markup=False, highlight=False)
