"""Show folders for tests of the panel: the demo's venue already solved, and a made-up one with 48 heads.

The truth is thrown from a seed; poses.yaml is the truth with a solver's errors, so that a beam lies near its place and
never exactly on it.
"""

from __future__ import annotations

import math
import re
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bridge.show.load import load
from bridge.show.model import Show
from bridge.venue.bridge_process import DEMO_SHOW
from bridge.venue.invent import invent
from bridge.venue.kinematics import quaternion_product
from bridge.venue.truth import FixtureTruth, Truth
from bridge.venue.truth_file import write_truth

NETWORK = """version: 1
osc: {{listen: "127.0.0.1:{port}", allow: ["127.0.0.0/8"]}}
sacn: {{interface: 127.0.0.1, to: multicast, priority: 110, source_name: Panel test, rate: 44}}
panel: off
"""
POSITION_M, ROTATION_DEG = 0.004, 0.03  # sigma per axis of a pose's errors: 1 cm on the stage from 15 m
# Long names that differ at their ends and in their middles: shortened from either side, some would look alike.
TRUSSES = {
    "truss-east-upper": ((7.5, 1.0, 8.4), (0.0, 0.55, 0.0), 90),
    "truss-east-lower": ((7.0, 1.0, 6.6), (0.0, 0.55, 0.0), 90),
    "truss-west-upper": ((-7.5, 1.0, 8.4), (0.0, 0.55, 0.0), -90),
    "truss-front-upper": ((-6.0, -11.0, 9.0), (1.09, 0.0, 0.0), 0),
}
PER_TRUSS, PER_UNIVERSE, FOOTPRINT = 12, 24, 20
MANY_STAGE = """version: 1
performance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0], margin: 0.15}
more_areas: [{name: thrust, corners: [[-1.5, -2.5], [1.5, -2.5], [1.5, 0], [-1.5, 0]], on: false}]
floors: [{name: riser, corners: [[-2, 5.5], [2, 5.5], [2, 8], [-2, 8]], height: 0.6}]
no_light: [{name: first-rows, corners: [[-7, -6], [7, -6], [7, -4], [-7, -4]], height: [0, 2]}]
marks: {A: [-5.5, 0.5, 0], B: [5.5, 0.5, 0], C: [5, 7.5, 0], D: [-5.5, 7, 0], E: [0, 4, 0], F: [0, 7, 0.6]}
targets:
  lead: {height: 1.3, size: 2.0, source: osc, sizes: {tight: 0.8, half: 1.2}, heights: {seated: 0.9}}
  solo: {height: 1.3, size: 1.6, source: osc}
light: {evenness: off}
"""


@dataclass(frozen=True)
class StagedShow:
    """A show folder that can be run, what is true of its venue, and the daemon's OSC port."""

    folder: Path
    show: Show
    truth: Truth
    port: int


def free_port(kind: socket.SocketKind = socket.SOCK_DGRAM) -> int:
    """A port on loopback that nobody holds at this moment."""
    with socket.socket(socket.AF_INET, kind) as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def demo_show(folder: Path, first_universe: int, solved: bool = True, seed: int = 5) -> StagedShow:
    """Harbour Hall with twelve heads; not `solved`: no poses yet, as before a focus session."""
    folder.mkdir(parents=True)
    (folder / "stage.yaml").write_text((DEMO_SHOW / "stage.yaml").read_text())
    rig = (DEMO_SHOW / "rig.yaml").read_text()
    rig = re.sub(r"(\buniverse: )(\d+)", lambda m: f"{m[1]}{int(m[2]) + first_universe - 1}", rig)
    (folder / "rig.yaml").write_text(rig)
    return _finished(folder, solved, seed)


def many_show(folder: Path, first_universe: int, solved: bool = True, seed: int = 5) -> StagedShow:
    """48 heads on four trusses with long names, two targets, an area to switch, a riser, rows that get no light."""
    folder.mkdir(parents=True)
    (folder / "stage.yaml").write_text(MANY_STAGE)
    lines = ["version: 1", "name: Harbour Hall, large rig", "fixtures:"]
    for truss, (start, step, yaw) in TRUSSES.items():
        for number in range(PER_TRUSS):
            universe, slot = divmod(len(lines) - 3, PER_UNIVERSE)
            x, y, z = (round(a + number * b, 3) for a, b in zip(start, step, strict=True))
            lines.append(
                f"  - {{name: {truss}-{number + 1:02}, profile: spot-16bit, universe: {first_universe + universe},"
                f" address: {1 + slot * FOOTPRINT}, hang: {{yaw: {yaw}}}, at: [{x}, {y}, {z}], at_sigma: 0.2,"
                f" truss: {truss}}}"
            )
    (folder / "rig.yaml").write_text("\n".join(lines) + "\n")
    return _finished(folder, solved, seed)


SHOWS = {"demo": demo_show, "many": many_show}


def _finished(folder: Path, solved: bool, seed: int) -> StagedShow:
    """Network, truth beside the folder, and poses where it is solved."""
    port = free_port()
    (folder / "network.yaml").write_text(NETWORK.format(port=port))
    truth = invent(load(folder), seed)
    write_truth(truth, folder.parent / "truth.yaml")
    if solved:
        (folder / "poses.yaml").write_text(poses_text(truth.fixtures, np.random.default_rng(seed + 1)))
    return StagedShow(folder, load(folder), truth, port)


def poses_text(heads: Mapping[str, FixtureTruth], rng: np.random.Generator) -> str:
    """poses.yaml as a solve leaves it that was off by POSITION_M and ROTATION_DEG."""
    lines = ["version: 1", "fixtures:"]
    for name, head in heads.items():
        position = [round(p + e, 5) for p, e in zip(head.position, rng.normal(0, POSITION_M, 3).tolist(), strict=True)]
        small = (rng.normal(0, math.radians(ROTATION_DEG), 3) / 2).tolist()
        turned = quaternion_product((*small, 1.0), head.rotation)
        rotation = [round(part / math.hypot(*turned), 9) for part in turned]
        mechanics = ", ".join(f"{key}: {value!r}" for key, value in vars(head.mechanics).items())
        lines += [f"  {name}:", f"    position: {position}", f"    rotation: {rotation}"]
        lines += [f"    mechanics: {{{mechanics}}}", "    aim_error: {rms: 0.02, p95: 0.04}"]
    return "\n".join(lines) + "\n"
