"""Where the light of a head in a GDTF file starts and goes: its Beam geometries, and the middle of several."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bridge.exchange.gdtf_tree import Node
from bridge.exchange.xml_tree import Element
from bridge.geometry.frames import Array

EMITTERS = ("Beam", "Laser")
GLOWS = ("None", "Glow")
"""Beam types that throw no light onto a stage (the standard's words)."""
MOST_BEAMS = 2000
FAN = np.radians(1.0)
DOWN = np.array([0.0, 0.0, -1.0])


@dataclass(frozen=True)
class Beam:
    """One emitter as written; None is what the file leaves to the standard's defaults, which say nothing of this head.

    Angles in degrees (full), `flux` in lumen, `radius` in metres. `kind`: Spot, Wash, Fresnel, PC, Rectangle, ...
    """

    name: str
    kind: str = ""
    beam_angle: float | None = None
    field_angle: float | None = None
    flux: float | None = None
    radius: float | None = None
    throw_ratio: float | None = None


@dataclass(frozen=True)
class Light:
    """`start` (3,), m, and `direction` (3,), the middle of all emitters in the frame asked for."""

    beams: tuple[Beam, ...]
    start: Array
    direction: Array
    notes: tuple[str, ...] = ()


def light_of(node: Node) -> Light | None:
    """The emitters below a geometry, in its frame; those that only glow count where there are no others."""
    found = [each for each in node.below() if each.element.tag in EMITTERS]
    found = [each for each in found if each.element.get("BeamType") not in GLOWS] or found
    if not found:
        return None
    notes = [] if len(found) == 1 else [f"{len(found)} emitters: the middle of them counts as where the light starts"]
    if len(found) > MOST_BEAMS:
        notes.append(f"only the first {MOST_BEAMS} emitters are looked at")
    places = [each.in_frame_of(node) for each in found[:MOST_BEAMS]]
    starts = np.array([place.at for place in places])
    directions = np.array([-place.rotation[:, 2] for place in places])
    mean = directions.mean(axis=0)
    length = float(np.linalg.norm(mean))
    if length < 0.1:
        mean, length = directions[0], 1.0
        notes.append("its emitters look in opposite directions: the first one counts")
    direction = mean / length
    widest = float(np.min(directions @ direction))
    if widest < np.cos(FAN):
        within = -direction[2] >= widest  # a fan about the geometry's own -z, evenly drawn or not
        direction = DOWN if within else direction
        middle = "straight on counts" if within else "the middle of their directions counts"
        notes.append(f"its emitters do not all look the same way: {middle}")
    start = (starts.min(axis=0) + starts.max(axis=0)) / 2
    return Light(tuple(_beam(each.element) for each in found[:MOST_BEAMS]), start, direction, tuple(notes))


def _beam(element: Element) -> Beam:
    return Beam(
        element.get("Name"),
        element.get("BeamType"),
        _within(element.number("BeamAngle"), 0.01, 179.0),
        _within(element.number("FieldAngle"), 0.01, 179.0),
        _within(element.number("LuminousFlux"), 1e-3, 1e7),
        _within(element.number("BeamRadius"), 0.0, 10.0),
        _within(element.number("ThrowRatio"), 0.0, 1000.0),
    )


def _within(value: float | None, low: float, high: float) -> float | None:
    return value if value is not None and low <= value <= high else None
