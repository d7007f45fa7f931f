"""Schema of `frames.yaml`: how the axes of tracking inputs lie on the stage, and what was recorded on marks for it."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from bridge.errors import ShowError
from bridge.geometry.input_frame import AXES, InputFrame, Recorded
from bridge.show.folder import read_tree, versioned
from bridge.show.keys import KeyReader
from bridge.show.motion import point_name
from bridge.show.names import each, named
from bridge.show.poses import quaternion
from bridge.show.problems import Bad, Problem
from bridge.show.values import bad, choice, length, list_of, name, number, vector3
from bridge.show.yaml12 import Node

FRAMES = "frames.yaml"
FRAME_KEYS = ("axes", "turn", "rotation", "origin", "scale", "sigma", "solved_from")
FARTHEST = 100_000.0  # metres: some systems count from a corner of the town
MOST_SCALE = 1000.0
_place = vector3(length(-FARTHEST, FARTHEST), "[x, y, z] in metres, a list")
_error = length(0)
_what = "a list of {mark: A, point: 1/7, at: [x, y, z]}, a list"


@dataclass(frozen=True)
class FramesFile:
    """What could be read of `frames.yaml`, by input: its frame, and what was recorded since and is not solved yet.

    `nodes` are for messages.
    """

    frames: dict[str, InputFrame] = field(default_factory=dict)
    recorded: dict[str, tuple[Recorded, ...]] = field(default_factory=dict)
    nodes: dict[str, Node] = field(default_factory=dict)
    lines: dict[str, int] = field(default_factory=dict)


def read_frames(node: Node) -> tuple[FramesFile, list[Problem]]:
    """What could be read of the frames, and everything that is wrong in the file."""
    found = FramesFile()

    def every(frames: Node) -> None:
        def one(key: str, child: Node) -> None:
            m = KeyReader(child, "a mapping such as {axes: [x, y, z], turn: 0, origin: [0, 0, 0]}")
            frame, recorded = _frame(m)
            m.done()
            found.nodes[key], found.lines[key] = child, frames.line_of(key)
            if recorded:
                found.recorded[key] = recorded
            if not recorded or any(name in m for name in FRAME_KEYS):
                found.frames[key] = frame

        each(named(frames, "a mapping of inputs to frames"), one)

    try:
        top = versioned(node)
        top.optional("frames", every, None)
        top.done()
    except Bad as error:
        return found, error.problems
    return found, []


def load_frames(folder: str | os.PathLike[str]) -> FramesFile:
    """frames.yaml of a show folder, by itself; empty where there is none. Raises ShowError with all its problems."""
    path = Path(folder) / FRAMES
    if not os.path.lexists(path):
        return FramesFile()
    try:
        node, problems = read_tree(path)
        found, wrong = read_frames(node)
    except Bad as error:
        found, problems, wrong = FramesFile(), error.problems, []
    if problems or wrong:
        raise ShowError([f"{FRAMES}:{problem.line}: {problem}" for problem in [*problems, *wrong]])
    return found


def _frame(m: KeyReader) -> tuple[InputFrame, tuple[Recorded, ...]]:
    frame = InputFrame(
        axes=m.optional("axes", _axes, ("x", "y", "z")),
        turn=m.optional("turn", number(-360, 360, unit="degrees"), 0.0),
        rotation=m.optional("rotation", quaternion, None),
        origin=m.optional("origin", _place, (0.0, 0.0, 0.0)),
        scale=m.optional("scale", number(0, MOST_SCALE, above=True), 1.0),
        sigma=m.optional("sigma", _error, 0.0),
        recorded=tuple(m.optional("solved_from", list_of(_recorded, what=_what), [])),
    )
    if "turn" in m and "rotation" in m:
        m.fail("turn", "found turn beside rotation, allowed is one of them: turn is about z alone, in degrees")
    return frame, tuple(m.optional("recorded", list_of(_recorded, what=_what), []))


def is_mirrored(frame: InputFrame) -> bool:
    """Whether left and right are exchanged: no turn of a room does that, but a left-handed system needs it."""
    return float(np.linalg.det(frame.matrix)) < 0


def _axes(node: Node) -> tuple[str, str, str]:
    """Which axis of the input is the stage's x, y and z."""
    x, y, z = list_of(choice(*AXES), 3, 3, "three axes such as [x, -z, y], a list")(node)
    if len({axis[-1] for axis in (x, y, z)}) < 3:
        raise bad(node, "each of x, y and z once, with or without -")
    return x, y, z


def _recorded(node: Node) -> Recorded:
    m = KeyReader(node, "a mapping with mark, point and at")
    recorded = Recorded(
        m.required("mark", name, "?"),
        m.required("point", point_name, "?"),
        m.required("at", _place, (0.0, 0.0, 0.0)),
        m.optional("sigma", _error, 0.0),
    )
    m.done()
    return recorded


def frames_document(frames: Mapping[str, InputFrame], recorded: Mapping[str, Sequence[Recorded]]) -> dict[str, object]:
    """The plain data of `frames:` as `read_frames` reads it."""
    names = [*frames, *(name for name in recorded if name not in frames)]
    return {
        name: (_entry(frames[name]) if name in frames else {})
        | ({"recorded": _rows(recorded[name])} if recorded.get(name) else {})
        for name in names
        if name in frames or recorded.get(name)
    }


def _entry(frame: InputFrame) -> dict[str, object]:
    turned = {"turn": frame.turn} if frame.rotation is None else {"rotation": list(frame.rotation)}
    rest = {"origin": list(frame.origin), "scale": frame.scale, "sigma": frame.sigma}
    solved = {"solved_from": _rows(frame.recorded)} if frame.recorded else {}
    return {"axes": list(frame.axes), **turned, **rest, **solved}


def _rows(recorded: Sequence[Recorded]) -> list[dict[str, object]]:
    return [{"mark": r.mark, "point": r.point, "at": list(r.at), "sigma": r.sigma} for r in recorded]
