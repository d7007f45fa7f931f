"""What is allowed but probably not meant; none of it stops anything."""

from __future__ import annotations

import math
from collections.abc import Iterator

from bridge.geometry.areas import Floors
from bridge.geometry.stage import Stage
from bridge.show.problems import Problem
from bridge.show.yaml12 import Node
from bridge.wire.settings import Network

FAR_MARK = 60.0  # metres from the middle of the polygon, beyond its own size
LEVEL_M = 0.05  # a mark so far below its floor is no matter of rounding
DMX_RATE = 44.0  # packets a second that a DMX512 line can carry (E1.11)


def stage_warnings(stage: Stage, node: Node | None) -> list[Problem]:
    """Marks so far from the polygon that a number was probably mistyped."""
    corners = stage.polygon.area.corners
    middle = (sum(x for x, _ in corners) / len(corners), sum(y for _, y in corners) / len(corners))
    size = max(math.dist(middle, corner) for corner in corners)
    lines = node.get("marks") if node else None
    out = []
    for mark in stage.marks.values():
        distance = math.dist(mark.at[:2], middle) if mark.at else 0.0
        if distance > size + FAR_MARK:
            text = f"found a mark {distance:.0f} m from the middle of the polygon; is a digit or the unit wrong?"
            out.append(Problem(lines.line_of(mark.name) if lines else 1, text, ("marks", mark.name)))
    for name, text in _sunk_marks(stage):
        out.append(Problem(lines.line_of(name) if lines else 1, text, ("marks", name)))
    return out


def _sunk_marks(stage: Stage) -> Iterator[tuple[str, str]]:
    """Marks that would lie inside a floor: put down on a riser, but written with the height of the stage."""
    floors = Floors(stage.floors)
    for mark in stage.marks.values():
        if mark.at is None:
            continue
        x, y, z = mark.at
        height = floors.height_of(x, y)
        floor = next((f.name for f in stage.floors if f.height == height), None)
        if floor is not None and z < height - LEVEL_M:
            text = (
                f"mark {mark.name} lies on the {floor} ({height:g} m) but has z {z:g}; write z {height:g}, or move it"
            )
            yield mark.name, text


def network_warnings(network: Network, node: Node | None) -> list[Problem]:
    """A rate that DMX lines behind the nodes cannot follow."""
    if network.sacn.rate <= DMX_RATE:
        return []
    sacn = node.get("sacn") if node else None
    text = f"found {network.sacn.rate:g} packets/s, a DMX line carries {DMX_RATE:g}; can every node take it?"
    return [Problem(sacn.line_of("rate") if sacn else 1, text, ("sacn", "rate"))]
