"""Schema of `stage.yaml`: areas, floors, marks, tapes, targets and light."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise
from typing import NamedTuple

from bridge.geometry.stage import Datum, LevelMap, Mark, Stage, Tape, Target, Walk
from bridge.show.areas import areas, floors, performance_polygon
from bridge.show.folder import versioned
from bridge.show.keys import KeyReader
from bridge.show.motion import sources, walk
from bridge.show.names import by_name, words_for
from bridge.show.values import (
    bad,
    choice,
    length,
    list_of,
    name,
    number,
    point3,
    switch,
)
from bridge.show.yaml12 import Node
from bridge.solve.measurements import SIGHTED_BY

ALLOWED_MARK = "[x, y, z], or {at: [x, y, z], sigma: 0.01}, or {at: unknown, height: 0}"
ALLOWED_TARGET = "{height: 1.3, size: 2.0}"
DEFAULT_SIGMA = 0.01
_target_height, _target_size = length(-10, 10), length(0.05, 50)  # as the messages `/target/NAME/height` and `size`
_sigma = length(0, above=True)


class Light(NamedTuple):
    """The key `light`: `least` is what evenness leaves of any head's light, `at_most` a ceiling in lux."""

    evenness: bool = False
    least: float = 0.5
    at_most: float | None = None
    level_map: LevelMap | None = None


def read_stage(node: Node) -> Stage:
    """The whole stage file. Raises Bad with everything that is wrong in it."""
    top = versioned(node)
    light = top.optional("light", _light, Light())
    marks = top.optional("marks", by_name(_mark, f"a mapping of mark names to {ALLOWED_MARK}"), {})
    polygon = top.required("performance_polygon", performance_polygon, None)
    stage = Stage(
        polygon=polygon,  # type: ignore[arg-type]  # None only where done() raises
        more_areas=top.optional("more_areas", areas, ()),
        floors=top.optional("floors", floors, ()),
        no_light=top.optional("no_light", areas, ()),
        marks=marks,
        datum=top.optional("datum", _datum, None),
        tapes=tuple(top.optional("tapes", list_of(_tape, what="a list of tapes"), [])),
        targets=top.optional("targets", _targets, (Target("lead"),)),
        move_in_black_after=top.optional("move_in_black", _move_in_black, 0.6),
        evenness=light.evenness,
        evenness_least=light.least,
        at_most_lux=light.at_most,
        level_map=light.level_map,
        aim_sigma=top.optional("aim_sigma", _sigma, 0.03),
        sighted_by=top.optional("sighted_by", choice(*SIGHTED_BY), "unknown"),
        accept=top.optional("accept", _sigma, 0.3),
        stay_within=top.optional("stay_within", length(0), 5.0),
        seat=top.optional("seat", point3, None),
    )
    if stage.datum is not None and top.good("datum", "marks"):
        _check_datum(top, stage.datum, marks)
    top.done()
    return stage


def _mark(key: str, node: Node) -> Mark:
    if not isinstance(node.value, dict):
        if not isinstance(node.value, list) or len(node.value) != 3:
            raise bad(node, ALLOWED_MARK)
        return Mark(key, point3(node), DEFAULT_SIGMA)
    m = KeyReader(node)
    at_node = node.get("at")
    unknown = at_node is not None and at_node.value == "unknown"
    at = None
    if unknown:
        m.ignore(["at"])
    else:
        at = m.required("at", _place, None)
    mark = Mark(
        key,
        at,
        m.optional("sigma", _sigma, DEFAULT_SIGMA),
        m.optional("height", length(), None),
        m.optional("height_sigma", _sigma, DEFAULT_SIGMA),
    )
    if at is not None and mark.height is not None:
        m.fail("height", "found a height beside a known place, allowed is height for a mark 'at: unknown' only")
    m.done()
    return mark


def _place(node: Node) -> tuple[float, float, float]:
    if not isinstance(node.value, list) or len(node.value) != 3:
        raise bad(node, "[x, y, z] or unknown")
    return point3(node)


def _datum(node: Node) -> Datum:
    m = KeyReader(node, "a mapping with origin and along_x")
    datum = Datum(m.required("origin", name, "?"), m.required("along_x", name, "?"))
    if m.good("origin", "along_x") and datum.origin == datum.along_x:
        m.fail("along_x", f"found '{datum.along_x}', the same as origin; allowed is another mark")
    m.done()
    return datum


def _check_datum(top: KeyReader, datum: Datum, marks: Mapping[str, Mark]) -> None:
    """A datum gives a frame to a show without a survey; a surveyed mark has one already."""
    for mark in (datum.origin, datum.along_x):
        if mark in marks and marks[mark].at is not None:
            top.fail("datum", f"found '{mark}', a mark with known coordinates; allowed are two marks 'at: unknown'")


def _tape(node: Node) -> Tape:
    m = KeyReader(node, "a mapping with between and metres")
    between = m.required("between", list_of(name, 2, 2, "two names of marks or fixtures, a list"), ["?", "?"])
    tape = Tape(
        (between[0], between[1]),
        m.required("metres", length(0, above=True), 1.0),
        m.optional("sigma", _sigma, DEFAULT_SIGMA),
    )
    if m.good("between") and between[0] == between[1]:
        m.fail("between", f"found '{between[0]}' at both ends, allowed are two different ones")
    m.done()
    return tape


def _targets(node: Node) -> tuple[Target, ...]:
    targets = by_name(_target, f"a mapping of target names to {ALLOWED_TARGET}")(node)
    if not targets:
        raise bad(node, "at least one target")
    return tuple(targets.values())


def _target(key: str, node: Node) -> Target:
    if node.value is None:
        return Target(key)
    m = KeyReader(node, f"a mapping such as {ALLOWED_TARGET}")
    target = Target(
        key,
        m.optional("height", _target_height, 1.3),
        m.optional("size", _target_size, 2.0),
        m.optional("source", sources, ()),
        m.optional("sizes", words_for(_target_size, "a mapping of names to diameters such as {tight: 0.8}"), {}),
        m.optional("heights", words_for(_target_height, "a mapping of names to heights such as {seated: 0.9}"), {}),
        m.optional("motion", walk, Walk()),
    )
    m.done()
    return target


def _move_in_black(node: Node) -> float:
    m = KeyReader(node, "a mapping with the key 'after'")
    after = m.required("after", number(0, math.inf, above=True, unit="s"), 0.6)
    m.done()
    return after


def _light(node: Node) -> Light:
    m = KeyReader(node)
    light = Light(
        evenness=m.optional("evenness", switch, False),
        least=m.optional("least", number(0, 1), 0.5),
        at_most=m.optional("at_most", number(0, math.inf, above=True, unit="lux"), None),
        level_map=m.optional("level_map", _level_map, None),
    )
    m.done()
    return light


def _level_map(node: Node) -> LevelMap:
    m = KeyReader(node, "a mapping with x, y and factor")
    grid = list_of(length(), 2, what="a rising list of lengths, a list")
    rows = list_of(list_of(number(0, 100)), 1, what="a list of rows, one for each y, a list")
    x: list[float] = m.required("x", grid, [])
    y: list[float] = m.required("y", grid, [])
    factor: list[list[float]] = m.required("factor", rows, [])
    for key, values in (("x", x), ("y", y)):
        if m.good(key) and any(second <= first for first, second in pairwise(values)):
            m.fail(key, f"found {values}, allowed is a list that rises")
    if m.good("x", "y", "factor"):
        shape = [len(row) for row in factor]
        if shape != [len(x)] * len(y):
            text = f"found {len(factor)} rows of lengths {shape[:12]}, allowed is {len(y)} rows of {len(x)}"
            m.fail("factor", f"{text} (one row for each y, one factor for each x)")
    m.done()
    return LevelMap(tuple(x), tuple(y), tuple(tuple(row) for row in factor))
