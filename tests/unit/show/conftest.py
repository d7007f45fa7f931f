# ruff: noqa: E501 (rows of a table stay rows)
"""A small show that loads, and a way to change one thing in it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from bridge.errors import ShowError
from bridge.show import Show, load

FILES = {
    "rig.yaml": """version: 1
name: Test Hall
fixtures:
  - name: foh-1
    profile: profiles/spot.yaml
    universe: 1
    address: 1
    hang: {yaw: 0, pitch: 0, roll: 0, sigma: 1.0}
    at: [-4.0, -12.0, 9.0]
    at_sigma: [0.3, 0.3, 0.1]
    truss: foh
    unit: A-1043
    follows: lead
    outside: dark
    limits: {pan: [-200, 200], tilt: [-110, 110]}
    rest: [0, 45]
    lag: 0.12
    evenness: key
  - name: foh-2
    profile: spot-16bit
    universe: 1
    address: 101
""",
    "profiles/spot.yaml": """version: 1
name: generic spot
footprint: 16
channels: {pan: [1, 2], tilt: [3, 4], dimmer: [5, 6], zoom: [7, 8], focus: [9, 10]}
fixed: {11: 255, 12: 0}
pan:  {from: -270, to: 270, speed: 180, acceleration: 600}
tilt: {from: -135, to: 135, speed: 150, acceleration: 500}
zoom: {table: [[0, 55.0], [65535, 5.0]], edge: beam}
focus: {table: [[3.0, 60000], [8.0, 31000], [20.0, 12000]]}
dimmer: {curve: linear}
min_distance: 3.0
lag: 0.1
actions: {reset: {slots: {13: 250, 12: 7}, hold: 5, dark: 40}}
backlash: 0.1
sight_fixed: {11: 40, 14: 3}
""",
    "stage.yaml": """version: 1
performance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0], margin: 0.15, fade_out: 0.2, fade_in: 0.3}
more_areas: [{name: thrust, corners: [[-2, -2], [2, -2], [2, 0]], on: false}]
floors: [{name: riser, corners: [[-2, 5], [2, 5], [2, 8], [-2, 8]], height: 0.6}]
no_light: [{name: first-rows, corners: [[-8, -8], [8, -8], [8, -4], [-8, -4]], height: [0, 2]}]
marks:
  A: [-5, 1, 0]
  B: [5, 1, 0]
  C: {at: [5, 7, 0], sigma: 0.02}
  D: {at: unknown, height: 0}
tapes: [{between: [A, B], metres: 10.02, sigma: 0.01}, {between: [A, foh-1], metres: 15}]
targets: {lead: {height: 1.3, size: 2.0, source: osc, sizes: {tight: 0.8, half: 1.2}, heights: {seated: 0.9}}}
move_in_black: {after: 0.6}
light: {evenness: off, least: 0.2, at_most: 800, level_map: {x: [-6, 0, 6], y: [0, 8], factor: [[1, 0.8, 1], [1, 1, 1]]}}
aim_sigma: 0.03
sighted_by: pool
accept: 20 cm
stay_within: 3 m
seat: [0, -18, 7 ft]
""",
    "network.yaml": """version: 1
osc: {listen: "127.0.0.1:9000", allow: ["127.0.0.0/8"]}
sacn: {interface: 127.0.0.1, to: multicast, priority: 110, source_name: Tetherlight, rate: 44, synchronise: off, contested: refuse}
panel: {listen: "127.0.0.1:8787"}
lost_input: {after: 2.0, then: hold, fade: 3.0}
record: {folder: captures, days: 14, megabytes: 2000}
""",
    "sightings.yaml": """version: 1
sightings:
  - {fixture: foh-1, mark: A, pan: -12.345, tilt: 61.002, zoom: 20000, focus: 31000}
  - {fixture: foh-1, mark: A, pan: 167.6, tilt: -61.1, sighted_by: axis}
  - {fixture: foh-2, mark: D, pan: 3, tilt: 50}
""",
    "poses.yaml": """version: 1
trusted: true
solved_at: 2026-11-25T09:00:00+00:00
marks: {D: [-5, 7, 0]}
fixtures:
  foh-1:
    position: [-4.02, -11.98, 9.01]
    rotation: [0, 0, 0, 1]
    faces: [1]
    mechanics: {tilt_zero: 0.1, lens_x: 0.01}
    sigma: {position: [0.02, 0.02, 0.02], rotation: [0.1, 0.1, 0.1]}
    aim_error: {rms: 0.03, p95: 0.05}
    residuals: {A: 0.02, A/2: 0.03}
    optics: {zoom: [[0, 54.0], [65535, 5.2]], focus: [[3.0, 60000], [20.0, 12500]]}
  foh-2: {position: [4, -12, 9], rotation: [0, 0, 0, 1]}
""",
}


class Folder:
    """The files of a show; `edit` replaces one piece of text and remembers its line."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.files = dict(FILES)

    def edit(self, file: str, old: str, new: str) -> int:
        """Replaces the first `old`; gives its 1-based line. An `old` that is not there is a mistake in the test."""
        text = self.files[file]
        assert old in text, f"{old!r} is not in {file}"
        self.files[file] = text.replace(old, new, 1)
        return text[: text.index(old)].count("\n") + 1

    def write(self) -> Path:
        for name, text in self.files.items():
            target = self.path / name
            target.parent.mkdir(exist_ok=True, parents=True)
            target.write_bytes(text.encode() if isinstance(text, str) else text)
        return self.path

    def load(self) -> Show:
        return load(self.write())

    def problems(self) -> list[str]:
        with pytest.raises(ShowError) as caught:
            load(self.write())
        return caught.value.lines


@pytest.fixture
def folder(tmp_path: Path) -> Folder:
    return Folder(tmp_path / "show")


@pytest.fixture
def new_folder(tmp_path: Path) -> Callable[[], Folder]:
    count = iter(range(1_000_000))
    return lambda: Folder(tmp_path / f"show-{next(count)}")
