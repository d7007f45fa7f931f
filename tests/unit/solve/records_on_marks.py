"""Made-up records of a tracking input on the marks of a hall, and frames to try."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bridge.geometry.frames import quaternion_from_rotation, rotation_x, rotation_z
from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.solve.input_frame import Place

MARKS = {
    "A": (-5.5, 0.5, 0.0),
    "B": (5.5, 0.5, 0.0),
    "C": (5.0, 7.5, 0.0),
    "D": (-5.5, 7.0, 0.0),
    "E": (0.0, 4.0, 0.0),
    "F": (2.0, 2.0, 0.0),
    "R": (-2.0, 6.0, 0.8),
}
PLACES = {name: Place(at, 0.005) for name, at in MARKS.items()}
CORNERS = np.array([[-6, 0, 1.3], [6, 0, 1.3], [6, 8, 1.3], [-6, 8, 1.3]])


def input_of(frame: InputFrame, stage) -> np.ndarray:
    """Where the input says that a place of the stage is."""
    return np.linalg.inv(frame.matrix) @ (np.asarray(stage, float) - frame.origin)


def records(
    frame: InputFrame,
    names: Sequence[str],
    noise: float = 0.0,
    stood: Mapping[str, str] | None = None,
    shifted: Mapping[str, Sequence[float]] | None = None,
    seed: int = 1,
    said: float | None = None,
) -> list[Recorded]:
    """One record a mark; `stood`: on which mark it really was, `shifted`: how far beside; noise in metres a axis, of
    which the records say `said`."""
    rng, out = np.random.default_rng(seed), []
    for name in names:
        at = np.array(MARKS[(stood or {}).get(name, name)]) + (shifted or {}).get(name, (0.0, 0.0, 0.0))
        at = at + rng.normal(0.0, noise, 3) if noise else at
        x, y, z = (float(v) for v in input_of(frame, at))
        sigma = noise if said is None else said
        out.append(Recorded(name, "1/7", (x, y, z), sigma / frame.scale))
    return out


def leaning(degrees: float, turn: float = 0.4, **more) -> InputFrame:
    """A frame whose vertical axis leans."""
    q = quaternion_from_rotation(rotation_x(np.radians(degrees)) @ rotation_z(turn))
    return InputFrame(rotation=(float(q[0]), float(q[1]), float(q[2]), float(q[3])), **more)


def farthest_off(found: InputFrame, true: InputFrame, axes: int = 3) -> float:
    """At which distance, m, the two put one place of an input, at the worst corner of the hall."""
    off = [np.array(found.place(tuple(input_of(true, at)))) - at for at in CORNERS]
    return float(np.max(np.linalg.norm(np.array(off)[:, :axes], axis=1)))
