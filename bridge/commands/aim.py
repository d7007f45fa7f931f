"""`tetherlight aim SHOW --at X Y Z`: what every fixture would be sent, without sending it.

The answer comes from the engine itself, run in virtual time with the target standing at the place until every head
has arrived, with the trims that are in force on this machine, so that it is what `run` would send.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import Any

import numpy as np

from bridge.daemon.state import default_state_folder, kept_trims
from bridge.errors import InputError
from bridge.follow.commands.table import Commands
from bridge.follow.engine import Engine
from bridge.follow.frame import Frame
from bridge.follow.judging.states import WORDS
from bridge.rig.encode import Encoder
from bridge.rig.profile import CHANNEL_NAMES
from bridge.rig.rig import Rig
from bridge.show import load
from bridge.wire.e131 import SLOTS

STEP_S, SETTLE_S = 0.05, 12.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The words of the command."""
    parser.add_argument("show", type=Path, metavar="SHOW", help="the show folder")
    parser.add_argument("--at", nargs="+", required=True, metavar="M", help="X Y or X Y Z in metres, stage frame")
    parser.add_argument("--json", action="store_true", help="one JSON document instead of a table")
    parser.add_argument("--state", type=Path, metavar="DIR", help="state folder of `run`, whose trims are in force")


def run(args: argparse.Namespace) -> int:
    """Print angles, raw values and bytes per fixture."""
    place = _place(args.at)
    show = load(args.show)
    rig = Rig.from_fixtures(show.fixtures, show.poses)
    engine = Engine(rig, show.stage, show.network.lost_input, show.solved_marks)
    trims = engine.crew.trims
    kept, doubt = kept_trims(args.state or default_state_folder(), show.path)
    trims.restore(kept)
    frame = settle(engine, place)
    answer = describe(rig, frame) | {"trims": {"fixture": trims.by_head, "truss": trims.by_truss}}
    if args.json:
        print(json.dumps(answer, indent=2, allow_nan=False))
    else:
        _print_table(answer, list(engine.place.points(SETTLE_S)[0]))
        print(f"Trims in force: {'; '.join(trims.words()) or 'none'}")
    if doubt:
        print(f"without the trims that `run` keeps: {doubt}", file=sys.stderr)
    return 0


def settle(engine: Engine, place: tuple[float, ...]) -> Frame:
    """The frame once all targets have stood at a place (x, y or x, y, z) for long enough."""
    commands = Commands(engine)
    for step in range(round(SETTLE_S / STEP_S)):
        now_s = step * STEP_S
        for name in engine.place.names:
            commands.handle(f"/target/{name}/position", place, "aim", now_s)
        frame = engine.tick(now_s)
    return frame


def describe(rig: Rig, frame: Frame) -> dict[str, Any]:
    """The JSON document of `aim --json` (design/interface.md).

    For a head without a pose nobody knows where its beam would go: pan, tilt, face and distance are None, and what is
    sent (`raw`, `slots`) is its rest position. A distance that is not finite is None too.
    """
    encoder = Encoder(rig)
    slots, raw = encoder.encode(frame), encoder.raw(frame)
    fixtures = {}
    for n, fixture in enumerate(rig.fixtures):
        row, channels = encoder.universes.index(fixture.universe), fixture.profile.channels
        first = fixture.address - 1
        fixtures[fixture.name] = {
            **_aimed(frame, n, bool(rig.has_pose[n])),
            "state": WORDS[frame.state[n]],
            "level": float(frame.level[n]),
            "raw": {name: int(raw[k, n]) for k, name in enumerate(CHANNEL_NAMES) if name in channels},
            "slots": {
                f"{fixture.universe}.{slot + 1}": int(slots[row, slot])
                for slot in range(first, min(first + fixture.profile.footprint, SLOTS))
            },
        }
    return {"fixtures": fixtures}


def _aimed(frame: Frame, n: int, solved: bool) -> dict[str, float | int | None]:
    if not solved:
        return dict.fromkeys(("pan", "tilt", "face", "distance"))
    distance = float(frame.distance[n])
    return {
        "pan": float(np.degrees(frame.pan_rad[n])),
        "tilt": float(np.degrees(frame.tilt_rad[n])),
        "face": int(frame.face[n]),
        "distance": distance if math.isfinite(distance) else None,
    }


def _place(words: list[str]) -> tuple[float, ...]:
    try:
        place = tuple(float(word) for word in words)
    except ValueError:
        raise InputError(f"--at takes numbers in metres, found {' '.join(words)}") from None
    if len(place) not in (2, 3) or not all(math.isfinite(value) for value in place):
        raise InputError(f"--at takes X Y or X Y Z, finite, in metres, found {' '.join(words)}")
    return place


def _print_table(answer: dict[str, Any], place: list[float]) -> None:
    from rich.console import Console
    from rich.table import Table

    table = Table(title="Lighting x {:.2f}, y {:.2f}, z {:.2f} m".format(*place), title_justify="left")
    for heading in ("fixture", "state", "pan", "tilt", "face", "distance", "level", "raw"):
        table.add_column(heading, justify="left" if heading in ("fixture", "state", "raw") else "right")
    for name, row in answer["fixtures"].items():
        raw = "  ".join(f"{channel} {value}" for channel, value in row["raw"].items())
        figures = [
            "-" if row[key] is None else form.format(row[key])
            for key, form in (("pan", "{:.3f}°"), ("tilt", "{:.3f}°"), ("face", "{}"), ("distance", "{:.2f} m"))
        ]
        table.add_row(name, row["state"], *figures, f"{row['level']:.2f}", raw)
    Console(width=None if Console().is_terminal else 140).print(table)
