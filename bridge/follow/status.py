"""What clients are told: targets and fixtures as they were at the last frame, in words and degrees."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from bridge.follow.engine import Engine
from bridge.follow.states import WORDS


@dataclass(frozen=True)
class TargetStatus:
    """A target: the point to be lit (m), whether the area test lets it be lit, seconds since its sender was heard."""

    name: str
    x: float
    y: float
    z: float
    inside: bool
    age_s: float


@dataclass(frozen=True)
class FixtureStatus:
    """A fixture: state word, angles as sent (deg), level 0..1."""

    name: str
    state: str
    pan_deg: float
    tilt_deg: float
    level: float


@dataclass(frozen=True)
class Status:
    """Everything that the feed says of the engine. Empty before the first frame."""

    master: float
    dark: bool
    any_still: bool
    targets: tuple[TargetStatus, ...]
    fixtures: tuple[FixtureStatus, ...]


def status(engine: Engine, now_s: float) -> Status:
    """The engine as it stands."""
    controls = engine.controls
    return Status(controls.master, controls.dark, controls.any_still, _targets(engine, now_s), _fixtures(engine))


def _targets(engine: Engine, now_s: float) -> tuple[TargetStatus, ...]:
    rows = []
    for target, allowed in zip(engine.targets, engine.allowed, strict=True):
        x, y, z = target.lit_point(engine.floors).tolist()
        age_s = now_s - target.heard_s if math.isfinite(target.heard_s) else math.inf
        rows.append(TargetStatus(target.spec.name, x, y, z, bool(allowed) and target.has_input, age_s))
    return tuple(rows)


def _fixtures(engine: Engine) -> tuple[FixtureStatus, ...]:
    frame = engine.frame
    if frame is None:
        return ()
    columns = (
        engine.rig.names,
        [WORDS[state] for state in frame.state.tolist()],
        np.degrees(frame.pan_rad).tolist(),
        np.degrees(frame.tilt_rad).tolist(),
        frame.level.tolist(),
    )
    return tuple(FixtureStatus(*row) for row in zip(*columns, strict=True))
