"""Which marks can serve which heads: what `check` says of marks before any sighting."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from bridge.commands.findings import Finding, names_of
from bridge.follow.engine import Engine
from bridge.geometry.frames import Array
from bridge.geometry.stage import Point3
from bridge.show.model import Show

FLATTEST_DEG = 10.0  # a beam that meets the floor flatter makes a pool of six times its width: nobody can centre that
RAISED_M = 0.3  # a mark so far above the floor stands on something: a card on a stand
LEAST, LEAST_RAISED = 2, 3  # marks that a head needs; two raised ones leave a standing head half a metre off


class Served(NamedTuple):
    """One head: the floor marks and raised marks that can serve it, and whether any place on the floor could."""

    floor: list[str]
    raised: list[str]
    floor_could: bool


def served(show: Show, engine: Engine) -> dict[str, Served]:
    """Per head that has a pose, solved or by the plot: which marks its beam can be put on."""
    rig, floors = engine.rig, engine.place.floors
    places = _places(show)
    plan = np.array([at[:2] for at in places.values()]).reshape(-1, 2)
    raised = np.array([at[2] for at in places.values()]) > floors.height_at(plan) + RAISED_M
    usable = [_usable(engine, np.array(at), bool(up)) for at, up in zip(places.values(), raised, strict=True)]
    grid = engine.place.zones.polygon.polygon.grid(step=1.0, at_most=60)
    anywhere = np.zeros(len(rig), dtype=bool)
    for x, y in grid:
        anywhere |= _usable(engine, np.array([x, y, floors.height_of(x, y)]), raised=False)
    out = {}
    for n in np.flatnonzero(rig.has_pose):
        floor = [name for name, up, good in zip(places, raised, usable, strict=True) if good[n] and not up]
        high = [name for name, up, good in zip(places, raised, usable, strict=True) if good[n] and up]
        out[rig.names[n]] = Served(floor, high, bool(anywhere[n]) or bool(floor))
    return out


def mark_findings(show: Show, engine: Engine) -> Iterator[Finding]:
    """Heads that no mark on the floor can serve, and heads to be solved that have too few marks as they are."""
    found = served(show, engine)
    flat = [name for name, by in found.items() if not by.floor_could]
    wanting = [name for name in flat if len(found[name].raised) < LEAST_RAISED]
    if wanting:
        level = "note" if all(name in show.poses for name in wanting) else "warning"
        yield Finding(level, "stage.yaml", _raise_words(wanting))
    if fine := [name for name in flat if name not in wanting]:
        marks = sorted({mark for name in fine for mark in found[name].raised})
        text = f"no mark on the floor can serve {names_of(fine)}: sight them on the raised marks {names_of(marks)}"
        yield Finding("note", "stage.yaml", text)
    for name, by in found.items():
        marks = by.floor + by.raised
        if show.stage.marks and name not in show.poses and name not in flat and len(marks) < LEAST:
            only = f"only mark {marks[0]} serves it" if marks else "no mark serves it"
            text = f"{only}, two are needed: out of its reach, too near, or flatter than {FLATTEST_DEG:g} degrees"
            yield Finding("warning", name, text)


def _raise_words(names: list[str]) -> str:
    return (
        f"no mark on the floor can serve {names_of(names)}: their beams meet it flatter than {FLATTEST_DEG:g} degrees "
        f"or not at all. Put up at least {LEAST_RAISED} RAISED marks for them, cards on stands 1.5 to 2 m high and "
        "some metres apart, turned to the head; write their z, and `sighted_by: axis` at the sightings on them"
    )


def _places(show: Show) -> dict[str, Point3]:
    """Marks whose place is known, surveyed or solved."""
    found = {name: mark.at or show.solved_marks.get(name) for name, mark in show.stage.marks.items()}
    return {name: at for name, at in found.items() if at is not None}


def _usable(engine: Engine, point: Array, raised: bool) -> np.ndarray:
    """Whether each head (N,) can be sighted on a point: in reach, not too near, and not too flat on a floor."""
    rig = engine.rig
    aim = engine.reach.aim(np.tile(point, (len(rig), 1)), engine.reach.home.pan)
    down = rig.heads.position[:, 2] - point[2]
    steep = down > math.sin(math.radians(FLATTEST_DEG)) * aim.distance
    return np.asarray(~aim.beyond & ~aim.clamped & (aim.distance >= rig.min_distance) & (raised | steep))
