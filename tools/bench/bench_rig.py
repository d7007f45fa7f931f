"""The rig of the live figures, once as a show folder for the daemon and once as plain numbers for the peer.

Twelve level heads, four each at y = -12, 3 and 9 m, z = 9, 8 and 7.5 m (facts/solver.md), over a polygon of
12 m x 8 m. More heads repeat the same places; 30 heads to a universe, so that 512 heads need 18 universes and
4,096 need 137. `install` writes the folder; nothing here imports the bridge.
"""

from __future__ import annotations

from pathlib import Path

TRUSSES = ((-12.0, 9.0), (3.0, 8.0), (9.0, 7.5))
ACROSS = (-4.5, -1.5, 1.5, 4.5)
FOOTPRINT = 17
HEADS_PER_UNIVERSE = 30
PAN_FROM, PAN_TO = -270.0, 270.0
TILT_FROM, TILT_TO = -135.0, 135.0
TARGET_Z = 1.3
FIXED = {11: 255}

PROFILE = f"""version: 1
name: bench head
footprint: {FOOTPRINT}
channels: {{pan: [1, 2], tilt: [3, 4], dimmer: [5, 6], zoom: [7, 8], focus: [9, 10]}}
fixed: {{11: 255}}
pan:  {{from: {PAN_FROM}, to: {PAN_TO}, speed: 180, acceleration: 600}}
tilt: {{from: {TILT_FROM}, to: {TILT_TO}, speed: 150, acceleration: 500}}
zoom: {{table: [[0, 55.0], [65535, 5.0]], edge: beam}}
focus: {{table: [[3.0, 60000], [8.0, 31000], [20.0, 12000]]}}
dimmer: {{curve: linear}}
min_distance: 2.0
lag: 0.1
"""

STAGE = f"""version: 1
performance_polygon: {{corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0], margin: 0.15}}
targets: {{lead: {{height: {TARGET_Z}, size: 2.0, source: osc}}}}
"""


def place(head: int) -> tuple[float, float, float]:
    """Where head 0, 1, 2 ... hangs, metres; heads beyond twelve hang beside the first ones."""
    y, z = TRUSSES[head // 4 % 3]
    return ACROSS[head % 4] + 0.01 * (head // 12 % 40), y, z


def patch(head: int, first_universe: int) -> tuple[int, int]:
    """Universe and address of a head."""
    universe, slot = divmod(head, HEADS_PER_UNIVERSE)
    return first_universe + universe, 1 + slot * FOOTPRINT


def universes(heads: int, first_universe: int) -> list[int]:
    """The universes that so many heads need."""
    return [first_universe + n for n in range(-(-heads // HEADS_PER_UNIVERSE))]


def install(folder: Path, heads: int, first_universe: int, osc_port: int) -> Path:
    """Write the show folder: all heads solved, hanging level with yaw 0; multicast on loopback. Returns it."""
    (folder / "profiles").mkdir(parents=True, exist_ok=True)
    (folder / "profiles" / "head.yaml").write_text(PROFILE)
    (folder / "stage.yaml").write_text(STAGE)
    (folder / "network.yaml").write_text(
        f'version: 1\nosc: {{listen: "127.0.0.1:{osc_port}", allow: ["127.0.0.0/8"]}}\n'
        "sacn: {interface: 127.0.0.1, to: multicast, priority: 110, source_name: Bench, rate: 44}\n"
        f'panel: {{listen: "127.0.0.1:{osc_port + 1}"}}\n'
    )
    rig, poses = ["version: 1", "name: bench", "fixtures:"], ["version: 1", "fixtures:"]
    for head in range(heads):
        x, y, z = place(head)
        universe, address = patch(head, first_universe)
        row = f"name: h-{head}, profile: profiles/head.yaml, universe: {universe}, address: {address}"
        rig.append(f"  - {{{row}, at: [{x:.3f}, {y}, {z}]}}")
        poses.append(f"  h-{head}: {{position: [{x:.3f}, {y}, {z}], rotation: [0, 0, 0, 1]}}")
    (folder / "rig.yaml").write_text("\n".join(rig) + "\n")
    (folder / "poses.yaml").write_text("\n".join(poses) + "\n")
    return folder
