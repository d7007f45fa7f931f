"""What the feed tells of the door, in rows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

import numpy as np

from bridge.door.door import Door
from bridge.follow.judging.states import WORDS
from bridge.follow.where.place import TargetStatus

FixtureRow = tuple[str, str, float, float, float]
UniverseRow = tuple[int, str, str, int]
TrimRow = tuple[str, str, float, float]


class Pointing(NamedTuple):
    """Where a head is sent: pan and tilt in degrees, the raw zoom in force, and the raw focus if a hand has set it."""

    pan: float
    tilt: float
    zoom: int | None
    focus: int | None


class Rows(NamedTuple):
    """One picture of the state: see feed.py for what each row holds."""

    targets: Iterable[TargetStatus]
    fixtures: Iterable[FixtureRow]
    universes: Iterable[UniverseRow]
    trims: Iterable[TrimRow]


def rows(door: Door, now_s: float) -> Rows:
    """Everything but the counters of the daemon."""
    engine, trims = door.engine, door.engine.crew.trims
    shifts = [("fixture", name, *shift) for name, shift in trims.by_head.items()]
    shifts += [("truss", name, *shift) for name, shift in trims.by_truss.items()]
    return Rows(engine.place.status(now_s), _fixtures(door), door.transmission.rows(), shifts)


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


def pointing(door: Door, name: str) -> Pointing:
    """Where a fixture of the rig is sent now, by hand or by itself."""
    engine = door.engine
    number = engine.rig.names.index(name)
    pan, tilt = np.degrees(engine.sent_angles(number)).tolist()
    zoom, focus = engine.lens_of(number)
    return Pointing(pan, tilt, _raw(zoom), _raw(focus))


def _raw(value: float) -> int | None:
    return None if np.isnan(value) else round(float(value))
