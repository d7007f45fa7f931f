"""What the feed tells of the door, in rows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from bridge.door.door import Door
from bridge.follow.judging.states import WORDS
from bridge.follow.where.place import TargetStatus
from bridge.geometry.frames import Array

FixtureRow = tuple[str, str, float, float, float]
UniverseRow = tuple[int, str, str, int]
TrimRow = tuple[str, str, float, float]
BehindRow = tuple[str, float]


class DeskRow(NamedTuple):
    """A universe of the desk: its strongest source ("" before any was heard), and seconds since its last packet."""

    universe: int
    source: str
    priority: int
    alive: bool
    age_s: float


class Pointing(NamedTuple):
    """Where a head is sent: pan and tilt in degrees, the raw zoom in force, and the raw focus if a hand has set it."""

    pan: float
    tilt: float
    zoom: int | None
    focus: int | None


class Hand(NamedTuple):
    """Whose hand is on a target ("" for nobody's, or one that was lost), and what it has set: 0..1, m, m."""

    target: str
    sender: str
    level: float
    size: float
    height: float


class Ahead(NamedTuple):
    """The farthest point, m, at which a head aims ahead of a target; `led` False: the place of the target itself."""

    target: str
    led: bool
    x: float
    y: float
    z: float


class Rows(NamedTuple):
    """One picture of the state: see feed.py for what each row holds."""

    targets: Iterable[TargetStatus]
    fixtures: Iterable[FixtureRow]
    universes: Iterable[UniverseRow]
    trims: Iterable[TrimRow]
    desk: Iterable[DeskRow] = ()
    behind: Iterable[BehindRow] = ()


def rows(door: Door, now_s: float, desk: Iterable[DeskRow] = ()) -> Rows:
    """Everything but the counters of the daemon; the rows of the `desk` are its ears'."""
    engine, trims = door.engine, door.engine.crew.trims
    shifts = [("fixture", name, *shift) for name, shift in trims.by_head.items()]
    shifts += [("truss", name, *shift) for name, shift in trims.by_truss.items()]
    targets, universes = engine.place.status(now_s), door.transmission.rows()
    return Rows(targets, _fixtures(door), universes, shifts, desk, _behind(door))


def switches(door: Door, now_s: float) -> tuple[bool, bool, bool, float]:
    """Armed, dark, anything still, master."""
    engine = door.engine
    master = float(engine.lighting.master.at(now_s)[0])
    return door.transmission.armed, engine.crew.dark, engine.crew.still.any, master


def _fixtures(door: Door) -> Iterable[FixtureRow]:
    frame = door.engine.frame
    if frame is None:
        return ()
    return zip(
        door.engine.rig.names,
        [WORDS[state] for state in frame.state.tolist()],
        np.degrees(frame.pan_rad).tolist(),
        np.degrees(frame.tilt_rad).tolist(),
        frame.level.tolist(),
        strict=True,
    )


def _behind(door: Door) -> list[BehindRow]:
    """Heads whose motors do not keep up, and how far off their light is, m."""
    frame = door.engine.frame
    if frame is None or frame.behind is None:
        return []
    names, off = door.engine.rig.names, frame.behind
    return [(names[n], float(off[n])) for n in np.flatnonzero(off > 0.0).tolist()]


def pointing(door: Door, name: str) -> Pointing:
    """Where a fixture of the rig is sent now, by hand or by itself."""
    engine = door.engine
    number = engine.rig.names.index(name)
    pan, tilt = np.degrees(engine.sent_angles(number)).tolist()
    zoom, focus = engine.lens_of(number)
    return Pointing(pan, tilt, _raw(zoom), _raw(focus))


def _raw(value: float) -> int | None:
    return None if np.isnan(value) else round(float(value))


# What only those are told who ask for all (feed_details.py)


def hands(door: Door, now_s: float) -> list[Hand]:
    """One for each target."""
    place = door.engine.place
    columns = (ramps.at(now_s).tolist() for ramps in (place.level, place.size, place.height))
    rows = zip(place.targets, *columns, strict=False)  # one more column: of the target that is nobody's
    return [Hand(t.spec.name, "" if t.lost(now_s) else t.sender or "", *values) for t, *values in rows]


def aheads(door: Door) -> list[Ahead]:
    """One for each target, as of the last frame."""
    place, found = door.engine.place, []
    for n, name in enumerate(place.names):
        ahead = place.ahead_of(n)
        found.append(Ahead(name, ahead is not None, *(ahead or place.stood(n))))
    return found


def head_switches(door: Door, now_s: float) -> Array:
    """(6, N): number of the target that each head follows, out, held, still, aimed by hand (0 or 1), its level.

    Beside a desk (7, N): and whether it is given into the desk's hands (0 or 1).
    """
    engine = door.engine
    crew = engine.crew
    given = () if crew.desk is None else (crew.desk.wanted,)
    return np.stack([crew.follows, *crew.switches, engine.lighting.levels.at(now_s), *given])


def places(door: Door) -> dict[tuple[str, str], bool | float]:
    """What can be switched or moved on the stage, by address of its row and name."""
    engine = door.engine
    judge, floors = engine.judge, engine.place.floors
    rows: dict[tuple[str, str], bool | float] = {
        ("/feed/area", name): prism.on for name, prism in engine.place.zones.more.items()
    }
    rows |= {("/feed/no-light", name): on for name, on in judge.state().items()}
    return rows | {("/feed/floor", name): m for name, m in zip(floors.names, floors.heights, strict=True)}


def stills(door: Door) -> dict[tuple[str, str], str]:
    """Who made still what, by kind and name."""
    by_kind = door.engine.crew.still.by_kind
    return {(kind, name): ", ".join(who) for kind, owners in by_kind.items() for name, who in owners.items()}
