"""Schema of `sightings.yaml`. Whether fixture and mark exist is checked across files (cross.py)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from bridge.show.folder import versioned
from bridge.show.keys import KeyReader
from bridge.show.problems import Bad, Problem
from bridge.show.values import choice, list_of, name, number, whole
from bridge.show.yaml12 import Node
from bridge.solve.measurements import SIGHTED_BY, Sighting

MOST_RAW = 256**4 - 1
_MOST_DEG = 36_000.0


@dataclass(frozen=True)
class SightingEntry:
    """A sighting and where the file says it; `good(KEY, ...)` tells whether these keys were read without a problem."""

    sighting: Sighting
    node: Node
    good: Callable[..., bool]


def read_sightings(node: Node, file: str) -> tuple[list[SightingEntry], list[Problem]]:
    """What could be read of the sightings, and everything that is wrong in the file."""
    kept: list[SightingEntry] = []

    def one(child: Node) -> None:
        m = KeyReader(child, "a mapping with fixture, mark, pan and tilt")
        kept.append(SightingEntry(_sighting(m, file), child, m.good))
        m.done()

    def every(child: Node) -> None:
        list_of(one, what="a list of sightings {fixture, mark, pan, tilt}")(child)

    try:
        top = versioned(node)
        top.required("sightings", every, None)
        top.done()
    except Bad as error:
        return kept, error.problems
    return kept, []


def _sighting(m: KeyReader, file: str) -> Sighting:
    degrees = number(-_MOST_DEG, _MOST_DEG, unit="degrees")
    return Sighting(
        fixture=m.required("fixture", name, "?"),
        mark=m.required("mark", name, "?"),
        pan=m.required("pan", degrees, 0.0),
        tilt=m.required("tilt", degrees, 0.0),
        zoom=m.optional("zoom", whole(0, MOST_RAW), None),
        focus=m.optional("focus", whole(0, MOST_RAW), None),
        sighted_by=m.optional("sighted_by", choice(*SIGHTED_BY), None),
        where=f"{file}:{m.node.line}",
    )
