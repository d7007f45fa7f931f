"""Checks of tracking inputs across files: points that steer targets, and frames of inputs and marks that are there."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping

from bridge.show.frames import FRAMES, FramesFile, is_mirrored
from bridge.show.motion import point_name
from bridge.show.problems import Bad, Problem, Problems, unknown
from bridge.show.yaml12 import Node
from bridge.wire.settings import InputSettings

MOST_GROUP = 60_000  # E1.59: group numbers
MOST_POINT = 2**32 - 1
MOST_TRACKER = 65_535
MARKS_TELL = 3  # so many marks tell a mirrored system from one that is not
_ALLOWED = {
    "otp": f"GROUP/POINT such as 1/7, the group from 1 to {MOST_GROUP}, the point from 1 to {MOST_POINT}",
    "psn": f"the number of a tracker from 0 to {MOST_TRACKER}",
    "adm-osc": "the number of an object from 1 on",
}


def is_point(protocol: str, point: str) -> bool:
    """Whether an input of this protocol can have a point of this name (as `point_name` gives it)."""
    numbers = [int(part) for part in point.split("/")]
    if protocol == "otp":
        return len(numbers) == 2 and 1 <= numbers[0] <= MOST_GROUP and 1 <= numbers[1] <= MOST_POINT
    if len(numbers) != 1:
        return False
    return numbers[0] <= MOST_TRACKER if protocol == "psn" else numbers[0] >= 1


def check_sources(stage: Node, inputs: Mapping[str, InputSettings], names: Collection[str] | None) -> Iterator[Problem]:
    """Unknown inputs, points that their protocol does not have, and points that steer two targets.

    Works on the tree, so that it also speaks where the stage has other problems. `inputs` are those that could be read,
    `names` those that network.yaml says; None where it could not be read.
    """
    steered: dict[tuple[str, str], tuple[str, int]] = {}
    for target, path, node in _sources(stage):
        read = _input_and_point(node)
        if read is None:
            continue
        name, point = read
        if names is not None and name not in names:
            yield Problem(node.line_of("input"), unknown("input", name, names), (*path, "input"))
        elif name in inputs and not is_point(inputs[name].protocol, point):
            protocol = inputs[name].protocol
            text = f"found {point} of '{name}', allowed is {_ALLOWED[protocol]} ({protocol})"
            yield Problem(node.line_of("point"), text, (*path, "point"))
        other, line = steered.setdefault(read, (target, node.line))
        if other != target:
            text = f"found {point} of '{name}', which steers {other} already (line {line})"
            yield Problem(node.line_of("point"), f"{text}, allowed is each point for one target", (*path, "point"))


def _sources(stage: Node) -> Iterator[tuple[str, tuple[str, ...], Node]]:
    """(target, path, mapping) of everything that a target's `source` names."""
    targets = stage.get("targets")
    for target, node in (targets.value if targets and isinstance(targets.value, dict) else {}).items():
        source = node.get("source")
        path = ("targets", target, "source")
        if source is not None and isinstance(source.value, dict):
            yield target, path, source
        elif source is not None and isinstance(source.value, list):
            yield from ((target, (*path, str(n)), item) for n, item in enumerate(source.value, 1))


def _input_and_point(node: Node) -> tuple[str, str] | None:
    name, point = node.get("input"), node.get("point")
    if name is None or point is None or isinstance(name.value, list | dict | None):
        return None
    try:
        return name.text, point_name(point)
    except Bad:  # said where it was read
        return None


def check_frames(
    file: FramesFile,
    settings: Mapping[str, InputSettings],
    inputs: Collection[str] | None,
    marks: Collection[str] | None,
    warnings: Problems,
) -> None:
    """Frames of inputs that are not there (any more), marks that the stage does not have, axes that mirror.

    `settings` are the inputs that could be read. A mirrored frame is right where the marks said so, and with PSN, whose
    own axes are left-handed.
    """
    for name, node in file.nodes.items():
        line = file.lines[name]
        if inputs is not None and name not in inputs:
            warnings.add(FRAMES, line, f"frames: {unknown('input', name, inputs)}; this frame is not used")
        frame = file.frames.get(name)
        known = frame is not None and len(frame.recorded) >= MARKS_TELL
        left_handed = known or (name in settings and settings[name].protocol == "psn")
        if frame is not None and is_mirrored(frame) and not left_handed:
            axes = ", ".join(frame.axes)
            text = f"frames.{name}.axes: [{axes}] is mirrored: left and right are exchanged; is one sign wrong?"
            warnings.add(FRAMES, node.line_of("axes"), text)
        for key in ("solved_from", "recorded"):
            listed = node.get(key)
            for item in listed.value if listed is not None and isinstance(listed.value, list) else []:
                mark = item.get("mark")
                if mark is not None and marks is not None and mark.text not in marks:
                    warnings.add(FRAMES, mark.line, f"frames.{name}.{key}: {unknown('mark', mark.text, marks)}")
