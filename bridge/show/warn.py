"""What is allowed but probably not meant; none of it stops anything."""

from __future__ import annotations

import math

from bridge.geometry.stage import Stage
from bridge.show.problems import Problem
from bridge.show.yaml12 import Node
from bridge.wire.settings import Network

FAR_MARK = 60.0  # metres from the middle of the polygon, beyond its own size
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
    return out


def network_warnings(network: Network, node: Node | None) -> list[Problem]:
    """A rate that DMX lines behind the nodes cannot follow."""
    if network.sacn.rate <= DMX_RATE:
        return []
    sacn = node.get("sacn") if node else None
    text = f"found {network.sacn.rate:g} packets/s, a DMX line carries {DMX_RATE:g}; can every node take it?"
    return [Problem(sacn.line_of("rate") if sacn else 1, text, ("sacn", "rate"))]
