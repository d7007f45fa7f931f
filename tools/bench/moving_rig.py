"""The rig of the figures for moving performers: four targets, twelve heads around the stage on each, true poses.

All heads answer `LAG_S` late and have motors of 200 deg/s and 700 deg/s²; the poses that the bridge has are the truth.
"""

from __future__ import annotations

import math
from pathlib import Path

from bench_rig import PROFILE

LAG_S = 0.12
TARGETS = ("stand", "stroll", "dance", "run")
HEIGHT_M = 1.3
FOOTPRINT, PER_UNIVERSE = 17, 24
CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))
HANGS = (
    *((x, -12.0, 9.0, 0.0) for x in (-6.0, -2.0, 2.0, 6.0)),
    *((x, 3.0, 8.0, -90.0) for x in (-8.5, -7.2)),
    *((x, 3.0, 8.0, 90.0) for x in (7.2, 8.5)),
    *((x, 9.0, 7.5, 180.0) for x in (-5.5, -2.0, 2.0, 5.5)),
)
"""x, y, z in metres and yaw in degrees of the twelve: pan 0 looks over the stage."""


def profile() -> str:
    """The bench's head with the motors and the lag that are asked for."""
    text = PROFILE
    for old, new in (
        ("speed: 180, acceleration: 600", "speed: 200, acceleration: 700"),
        ("speed: 150, acceleration: 500", "speed: 200, acceleration: 700"),
        ("lag: 0.1", f"lag: {LAG_S}"),
    ):
        assert old in text, f"bench_rig.PROFILE has no `{old}` any more"
        text = text.replace(old, new)
    return text


def install(folder: Path, first_universe: int, osc_port: int, motion: str) -> Path:
    """Write the show folder; `motion` is what stage.yaml says of every target's. Returns the folder."""
    (folder / "profiles").mkdir(parents=True)
    (folder / "profiles" / "head.yaml").write_text(profile())
    targets = ", ".join(f"{name}: {{height: {HEIGHT_M}, size: 2.0, {motion}}}" for name in TARGETS)
    corners = [list(corner) for corner in CORNERS]
    (folder / "stage.yaml").write_text(
        f"version: 1\nperformance_polygon: {{corners: {corners}, height: [-0.5, 4.0], margin: 0.15}}\n"
        f"targets: {{{targets}}}\n"
    )
    (folder / "network.yaml").write_text(
        f'version: 1\nosc: {{listen: "127.0.0.1:{osc_port}", allow: ["127.0.0.0/8"]}}\n'
        "sacn: {interface: 127.0.0.1, to: multicast, priority: 110, source_name: Moving bench, rate: 44}\n"
    )
    rig, poses = ["version: 1", "name: Moving bench", "fixtures:"], ["version: 1", "fixtures:"]
    for number in range(len(TARGETS) * len(HANGS)):
        target, (x, y, z, yaw) = TARGETS[number // len(HANGS)], HANGS[number % len(HANGS)]
        half = math.radians(yaw) / 2
        name = f"{target}-{number % len(HANGS) + 1}"
        rig.append(
            f"  - {{name: {name}, profile: profiles/head.yaml, universe: {first_universe + number // PER_UNIVERSE}, "
            f"address: {1 + number % PER_UNIVERSE * FOOTPRINT}, at: [{x}, {y}, {z}], hang: {{yaw: {yaw}}}, "
            f"follows: {target}}}"
        )
        poses.append(
            f"  {name}: {{position: [{x}, {y}, {z}], rotation: [0, 0, {math.sin(half):.12f}, {math.cos(half):.12f}]}}"
        )
    (folder / "rig.yaml").write_text("\n".join(rig) + "\n")
    (folder / "poses.yaml").write_text("\n".join(poses) + "\n")
    return folder


def universes(first: int) -> tuple[int, ...]:
    """The universes of the rig."""
    return tuple(range(first, first - (-len(TARGETS) * len(HANGS) // PER_UNIVERSE)))
