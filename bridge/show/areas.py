"""Schema of the plan areas of `stage.yaml`: the performance polygon, areas joined to it, floors, no-light areas."""

from __future__ import annotations

import math
from collections.abc import Sequence

from shapely import LineString, MultiPoint, Polygon, STRtree

from bridge.geometry.stage import Area, Floor, PerformancePolygon, Point2
from bridge.show.keys import KeyReader
from bridge.show.problems import Bad, Problem, shown
from bridge.show.values import bad, length, list_of, name, number, place, rising, switch, vector2
from bridge.show.yaml12 import Node

LONGEST_FADE = 60.0  # seconds
_SMALLEST = 1e-6  # square metres
_EVERY_HEIGHT = (-math.inf, math.inf)
_corner = vector2(length(), "a corner [x, y], a list")
_height = rising(length(), "[lowest, highest] in metres, a list")


def corners(node: Node) -> tuple[Point2, ...]:
    """A simple polygon in plan, either way round, closed by itself. A repeated first corner at the end is dropped."""
    points = list_of(_corner, 3, what="a list of corners [x, y], a list")(node)
    if len(points) > 3 and points[0] == points[-1]:
        points.pop()
    if MultiPoint(points).convex_hull.area < _SMALLEST:
        raise bad(node, "a polygon with an area; these corners lie in one line")
    polygon = Polygon(points)
    if not polygon.is_valid:
        raise Bad([Problem(node.line, f"found a polygon that {_fault(points)}, allowed is one that does not")])
    return tuple(points)


def _fault(points: Sequence[Point2]) -> str:
    """Where a polygon meets itself, in words: the first two sides (corner numbers from 1) that do."""
    count = len(points)
    sides = [(index, points[index], points[(index + 1) % count]) for index in range(count)]
    for index, start, end in sides:
        if start == end:
            return f"has corner {index + 1} twice in a row"
    lines = [LineString([start, end]) for _, start, end in sides]
    met = sorted(zip(*STRtree(lines).query(lines, predicate="intersects").tolist(), strict=True))
    for first, second in met:
        if second - first >= 2 and (first, second) != (0, count - 1):
            sides_met = f"the side after corner {first + 1} meets the side after corner {second + 1}"
            return f"crosses or touches itself ({sides_met})"
    return "folds back on itself"


def performance_polygon(node: Node) -> PerformancePolygon:
    """Where the target may be lit, and how the light goes and comes at its edge."""
    m = KeyReader(node, "a mapping with the key 'corners'")
    fade = number(0, LONGEST_FADE, unit="s")
    polygon = PerformancePolygon(
        Area("performance_polygon", m.required("corners", corners, ()), m.optional("height", _height, _EVERY_HEIGHT)),
        margin=m.optional("margin", length(0), 0.15),
        fade_out=m.optional("fade_out", fade, 0.2),
        fade_in=m.optional("fade_in", fade, 0.3),
    )
    m.done()
    return polygon


def _area(node: Node) -> Area:
    m = KeyReader(node, "a mapping with name and corners")
    area = Area(
        m.required("name", name, "?"),
        m.required("corners", corners, ()),
        m.optional("height", _height, _EVERY_HEIGHT),
        m.optional("on", switch, True),
    )
    m.done()
    return area


def _floor(node: Node) -> Floor:
    m = KeyReader(node, "a mapping with name, corners and height")
    floor = Floor(
        m.required("name", name, "?"), m.required("corners", corners, ()), m.required("height", length(), 0.0)
    )
    m.done()
    return floor


def areas(node: Node) -> tuple[Area, ...]:
    """A list of areas with names that differ."""
    out = tuple(list_of(_area, what="a list of areas")(node))
    _check_names(node)
    return out


def floors(node: Node) -> tuple[Floor, ...]:
    """A list of floors with names that differ."""
    out = tuple(list_of(_floor, what="a list of floors")(node))
    _check_names(node)
    return out


def _check_names(node: Node) -> None:
    """Names are how areas and floors are switched live, so each is there once."""
    first: dict[str, int] = {}
    problems = []
    for index, child in enumerate(node.value if isinstance(node.value, list) else [], 1):
        named = child.get("name")
        if named is None:
            continue
        if named.text in first:
            text = f"found the name '{shown(named.text)}' a second time (first in line {first[named.text]})"
            problems.append(Problem(named.line, f"{text}, allowed is once", (place(child, index),)))
        first.setdefault(named.text, named.line)
    if problems:
        raise Bad(problems)
