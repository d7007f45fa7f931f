"""The geometry of a head in a GDTF file, as ours: where its axes meet, how they turn, where its light starts.

The file's chain is T = M · base · yoke · Rz(pan) · head · Rx(tilt) · beam, every name but the turns a matrix of the
file (DIN SPEC 15800; facts of the standard). Ours is conventions.md's d = R · Rz(pan) · Rx(tilt) · (0, 0, -1).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from bridge.exchange.gdtf_axes import Axes, axes_of, meeting
from bridge.exchange.gdtf_beams import DOWN, Beam, Light, light_of
from bridge.exchange.gdtf_matrix import matrix, placed
from bridge.exchange.gdtf_tree import Node, Tree, tree_of
from bridge.exchange.xml_tree import Element
from bridge.geometry.frames import Array
from bridge.rig.fixture import Vector3

__all__ = ["Beam", "Head", "matrix", "read_head"]

FAR_M = 5.0
MEET_M = LENS_M = 1e-3
SQUARE_DEG = 0.05
YOKES = "axes in one fixture"
UNKNOWN = "?"
"""The geometry of a channel that names none."""
Rows = tuple[Vector3, Vector3, Vector3]
IDENTITY: Rows = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


@dataclass(frozen=True)
class Head:
    """What the geometry of one mode says. Lengths in metres, angles in degrees.

    `pan`, `tilt`: names of the geometries that the channels turn, "" where there is no such channel.
    `yokes`: how many heads of ours it would be, 0 without pan and tilt; all else is of the first.
    `axes_at`: where pan and tilt axes meet, in the frame by which drawings place the fixture (neutral, hanging).
    `pan_sign` · file's pan + `pan_offset_deg` = our pan, tilt likewise, in a fixture frame turned by `base_rotation`
    (rows; the drawing's rotation times this is ours). That is the file's chain exactly where `representable`, else the
    nearest there is, and `questions` say what is odd. `turned`: the file's angles are not ours as they stand.
    `lens`: start of the light beside the optical axis, (x, y) in our head frame: what a solve calls lens_x, lens_y.
    `beams`: the emitters that count as its light, all under the tilt axis. `why`: of axes_at, pan, tilt.
    """

    pan: str = ""
    tilt: str = ""
    yokes: int = 0
    axes_at: Vector3 = (0.0, 0.0, 0.0)
    pan_sign: int = 1
    pan_offset_deg: float = 0.0
    tilt_sign: int = 1
    tilt_offset_deg: float = 0.0
    base_rotation: Rows = IDENTITY
    representable: bool = True
    lens: tuple[float, float] = (0.0, 0.0)
    beams: tuple[Beam, ...] = ()
    why: Mapping[str, str] = field(default_factory=dict)
    questions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def turned(self) -> bool:
        """Anything of the signs, offsets and base is not the identity."""
        signs = (self.pan_sign, self.tilt_sign, self.pan_offset_deg, self.tilt_offset_deg)
        return signs != (1, 1, 0.0, 0.0) or self.base_rotation != IDENTITY


class _Said:
    def __init__(self, notes: list[str]) -> None:
        self.notes, self.questions, self.why = notes, list[str](), dict[str, str]()


def read_head(fixture_type: Element, mode: Element) -> Head:
    """The geometry of one DMXMode of a FixtureType, both elements of description.xml. Never raises on what it holds."""
    tree = tree_of(fixture_type, mode.get("Geometry"))
    said = _Said(list(tree.notes))
    pan_names, tilt_names = _turned_by(mode, "Pan"), _turned_by(mode, "Tilt")
    pans, tilts = _instances(tree, pan_names, "pan", said), _instances(tree, tilt_names, "tilt", said)
    pan = pans[0] if pans else None
    tilt = next((node for node in tilts if pan in [*node.above()]), tilts[0] if tilts else None)
    holder = tilt or pan or tree.root
    light = light_of(holder) if holder else None
    head = Head(
        pan=pan_names[0] if pan_names else "",
        tilt=tilt_names[0] if tilt_names else "",
        yokes=max(len(pans) or len(pan_names), len(tilts) or len(tilt_names)),
        beams=light.beams if light else (),
    )
    if head.yokes > 1:
        said.questions.append(
            f"{len(pans)} pan and {len(tilts)} tilt {YOKES}, and a head of ours has one of each: which are "
            "meant? All that is said here is of the first"
        )
    if pan and tilt:
        head = _measured(head, pan, tilt, light, said)
    said.notes += light.notes if light else []
    return replace(head, why=said.why, questions=tuple(said.questions), notes=tuple(said.notes))


def _turned_by(mode: Element, attribute: str) -> list[str]:
    """The geometries that the channels of this attribute turn."""
    names: dict[str, None] = {}
    for channel in mode.below("DMXChannels", "DMXChannel"):
        for logical in channel.all("LogicalChannel"):
            if attribute in {logical.get("Attribute"), *(f.get("Attribute") for f in logical.all("ChannelFunction"))}:
                names.setdefault(channel.get("Geometry") or UNKNOWN)
    return list(names)


def _instances(tree: Tree, names: list[str], axis: str, said: _Said) -> list[Node]:
    """Where the geometries of these names stand; of several different ones of one name the first."""
    out: list[Node] = []
    for name in names:
        nodes = tree.named(name)
        same = [node for node in nodes if node.element is nodes[0].element]
        if not nodes:
            said.questions.append(
                f"the {axis} channel turns a geometry '{name[:60]}' that this mode has not: where the axes meet and "
                "how they turn is not known from the file; set axes_at, and sight the head"
            )
        elif len(same) < len(nodes):
            said.notes.append(
                f"{len(nodes)} geometries are called '{name[:60]}': the first one is taken as {axis} axis"
            )
        out += same
    return out


def _measured(head: Head, pan: Node, tilt: Node, light: Light | None, said: _Said) -> Head:
    """All that takes both axes: where they meet, how they turn, where the light starts."""
    pan_at, tilt_at = pan.in_frame_of(None), tilt.in_frame_of(None)
    _faults(pan, tilt, said)
    foot, gap = meeting(pan_at, tilt_at)
    head = replace(head, axes_at=_vector(foot))
    said.why["axes_at"] = f"where the axes '{head.pan[:40]}' and '{head.tilt[:40]}' of the file's geometry meet"
    if gap > MEET_M:
        said.questions.append(
            f"the pan and tilt axes of the file pass each other by {gap * 1000:.0f} mm; ours meet: the foot on the pan "
            "axis is taken, and beams start off by up to that much. Is the geometry of the file right?"
        )
    if np.linalg.norm(foot) > FAR_M:
        said.questions.append(
            f"the axes meet {np.linalg.norm(foot):.1f} m from the fixture's origin: are the file's lengths metres?"
        )
    if pan not in tilt.above():
        said.questions.append(
            f"the tilt axis '{head.tilt[:40]}' does not hang from the pan axis '{head.pan[:40]}': pan turns the tilt "
            "axis in every head of ours. Signs and zeros are taken as they stand; aim is wrong until this is settled"
        )
        return replace(head, representable=False)
    if light is None:
        said.notes.append("no Beam geometry under the tilt axis: light is taken to leave along its -z (a mirror head?)")
    axes = axes_of(pan_at.rotation, tilt.in_frame_of(pan).rotation, light.direction if light else DOWN)
    if axes is None:
        said.questions.append(
            "tilt turns about the pan axis, or about the beam itself: no such head can be aimed. Signs and zeros are "
            "taken as they stand; is the geometry of the file right?"
        )
        return replace(head, representable=False)
    head = _turned(head, axes, said)
    if light is None:
        return head
    return _with_lens(head, axes.head_at_neutral().T @ (tilt_at.rotation @ light.start + tilt_at.at - foot), said)


def _faults(pan: Node, tilt: Node, said: _Said) -> None:
    for node in {id(each): each for each in (*tilt.above(), *pan.above())}.values():
        if fault := placed(node.position).fault:
            said.questions.append(f"the Position of geometry '{node.names[0][:60]}' {fault}: is it right?")


def _turned(head: Head, axes: Axes, said: _Said) -> Head:
    """Signs, offsets and base, and what to say of them."""
    for name, sign, offset in (("pan", axes.pan_sign, axes.pan_offset), ("tilt", axes.tilt_sign, axes.tilt_offset)):
        if (sign, offset) != (1, 0.0):
            turned = "the other way, " if sign < 0 else ""
            said.why[name] = f"the file's geometry turns it {turned}with its zero at {offset:g} degrees of ours"
    if abs(axes.tilt_offset) > 90:
        said.questions.append("with all angles at 0 the beam of the file looks up: is its geometry drawn hanging?")
    base = tuple(_vector(row) for row in axes.base)
    if base != IDENTITY:
        said.questions.append(
            "the pan axis of the file is not upright in the fixture's own frame: the drawing's rotation and this turn "
            "of the base both count. Look at where pan 0, tilt 0 points"
        )
    odd = []
    if axes.square_deg > SQUARE_DEG:
        odd.append(f"the tilt axis is {axes.square_deg:.2f} degrees off the right angle to the pan axis")
    if axes.beam_deg > SQUARE_DEG:
        odd.append(f"the beam is {axes.beam_deg:.2f} degrees off the right angle to the tilt axis")
    if odd:
        said.questions.append(
            f"{' and '.join(odd)}; the nearest head with right angles is taken. Is it built so? The solve finds it too"
        )
    return replace(
        head,
        pan_sign=axes.pan_sign,
        pan_offset_deg=axes.pan_offset,
        tilt_sign=axes.tilt_sign,
        tilt_offset_deg=axes.tilt_offset,
        base_rotation=(base[0], base[1], base[2]),
        representable=not odd,
    )


def _with_lens(head: Head, start: Array, said: _Said) -> Head:
    """`start` (3,): of the light in our head frame, from where the axes meet. Along the beam it changes nothing."""
    x, y, _ = _vector(start)
    if np.hypot(x, y) > LENS_M:
        said.notes.append(
            f"light starts {np.hypot(x, y) * 1000:.0f} mm beside the line through the axes (lens_x {x:.4f}, lens_y "
            f"{y:.4f} m): the solve finds that with the mechanics"
        )
    return replace(head, lens=(x, y))


def _vector(numbers: Array) -> Vector3:
    """Plain numbers without the dust of floats; no minus zero."""
    x, y, z = (round(float(number), 9) + 0.0 for number in numbers)
    return x, y, z
