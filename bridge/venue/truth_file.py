"""`truth.yaml`: how a simulated venue is read from and written to a file."""

from __future__ import annotations

from pathlib import Path

from bridge.errors import InputError, ShowError
from bridge.geometry.stage import Point3
from bridge.rig.fixture import Mechanics
from bridge.show.folder import read_tree
from bridge.show.keys import KeyReader
from bridge.show.names import MOST_SLOTS, by_name
from bridge.show.poses import mechanics_of
from bridge.show.problems import Bad, Problem
from bridge.show.values import bad, number, point3, whole
from bridge.show.values import list_of as _list_of
from bridge.show.yaml12 import Node
from bridge.venue.truth import FixtureTruth, Quaternion, Truth

PLAIN = (
    *("backlash_deg", "dead_time_s", "smoothing_s", "zoom_travel_s", "focus_travel_s", "dimmer_s"),
    *("zoom_scale", "focus_off"),
)
"""Terms of a head that are one number each, as they are written."""
_angle = number(-30, 30, unit="degrees")
_offset = number(-1, 1, unit="metres")
_seconds = number(0, 10, unit="seconds")
# Longer delays than the heads' memory of commands could not be played.
_dead_time = number(0, 1, unit="seconds")
_three = _list_of(whole(1, MOST_SLOTS), 3, 3, "the offsets of red, green and blue from the fixture's address, a list")
_four = _list_of(number(), 4, 4, "a quaternion [x, y, z, w], a list")


def load_truth(path: Path) -> Truth:
    """Read a truth file. Raises ShowError with one `file:line: text` for everything that is wrong in it."""
    try:
        return _truth(*read_tree(path))
    except Bad as error:
        lines = sorted(error.problems, key=lambda p: p.line)
        raise ShowError([f"{path}:{problem.line}: {problem}" for problem in lines]) from None


def _truth(root: Node, doubled: list[Problem]) -> Truth:
    top = KeyReader(root, "a mapping that begins with 'version: 1'")
    for problem in doubled:
        top.problem(problem)
    top.required("version", whole(1, 1), 1)
    seed = top.optional("seed", whole(0, 2**63 - 1), None)
    none: dict[str, FixtureTruth] = {}
    fixtures = top.required("fixtures", by_name(_fixture, "fixtures by name"), none)
    marks: dict[str, Point3] = top.optional("marks", by_name(lambda _, at: point3(at), "marks by name"), {})
    top.done()
    return Truth(fixtures, marks, seed)


def _quaternion(node: Node) -> Quaternion:
    x, y, z, w = _four(node)
    size = (x * x + y * y + z * z + w * w) ** 0.5
    if not 0.99 < size < 1.01:
        raise bad(node, "a quaternion [x, y, z, w] of length 1")
    return (x / size, y / size, z / size, w / size)


def _fixture(_name: str, node: Node) -> FixtureTruth:
    keys = KeyReader(node, "a mapping with position and rotation")
    origin, none = (0.0, 0.0, 0.0), (0.0, 0.0, 0.0, 1.0)
    truth = FixtureTruth(
        position=keys.required("position", point3, origin),
        rotation=keys.required("rotation", _quaternion, none),
        mechanics=keys.optional("mechanics", _mechanics, Mechanics()),
        backlash_deg=keys.optional("backlash_deg", number(0, 5, unit="degrees"), 0.0),
        dead_time_s=keys.optional("dead_time_s", _dead_time, 0.0),
        smoothing_s=keys.optional("smoothing_s", _seconds, 0.0),
        zoom_travel_s=keys.optional("zoom_travel_s", _seconds, 0.0),
        focus_travel_s=keys.optional("focus_travel_s", _seconds, 0.0),
        dimmer_s=keys.optional("dimmer_s", _seconds, 0.0),
        zoom_scale=keys.optional("zoom_scale", number(0.5, 2.0), 1.0),
        focus_off=keys.optional("focus_off", number(-0.5, 0.5), 0.0),
        colour=keys.optional("colour", _colour, None),
    )
    keys.done()
    return truth


def _colour(node: Node) -> tuple[int, int, int]:
    red, green, blue = _three(node)
    if len({red, green, blue}) < 3:
        raise bad(node, "three offsets that differ: of red, green and blue")
    return red, green, blue


def _mechanics(node: Node) -> Mechanics:
    return mechanics_of(KeyReader(node, "a mapping of mechanical terms"), _angle, _offset, number(-0.2, 0.2))


def write_truth(truth: Truth, path: Path) -> None:
    """Write a truth file whole or not at all. Raises InputError where the place cannot be written."""
    beside = path.with_name(path.name + ".new")
    try:
        beside.write_text(dump_truth(truth), encoding="utf-8")
        beside.replace(path)
    except OSError as error:
        raise InputError(f"cannot write the truth file {path}: {error.strerror or error}") from None


def dump_truth(truth: Truth) -> str:
    """The text of a truth file; `load_truth` reads the same truth back."""
    lines = ["version: 1"]
    if truth.seed is not None:
        lines.append(f"seed: {truth.seed}   # of `tetherlight venue SHOW --invent {truth.seed}`")
    lines.append("fixtures:")
    for fixture, head in truth.fixtures.items():
        lines += [f"  {fixture}:", f"    position: {_flow(head.position)}", f"    rotation: {_flow(head.rotation)}"]
        terms = ", ".join(f"{key}: {float(value)!r}" for key, value in vars(head.mechanics).items())
        lines.append(f"    mechanics: {{{terms}}}")
        for key in PLAIN:
            lines.append(f"    {key}: {float(getattr(head, key))!r}")
        if head.colour is not None:
            lines.append(f"    colour: {list(head.colour)}")
    if truth.marks:
        lines.append("marks:")
        lines += [f"  {mark}: {_flow(place)}" for mark, place in truth.marks.items()]
    return "\n".join(lines) + "\n"


def _flow(values: tuple[float, ...]) -> str:
    return "[" + ", ".join(repr(float(value)) for value in values) + "]"
