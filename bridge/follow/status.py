"""What clients are told of targets, in words and metres."""

from __future__ import annotations

import math
from typing import NamedTuple

from bridge.follow.engine import Engine


class TargetStatus(NamedTuple):
    """A target: the point to be lit (m), whether the area test lets it be lit, seconds since its sender was heard."""

    name: str
    x: float
    y: float
    z: float
    inside: bool
    age_s: float


def targets(engine: Engine, now_s: float) -> list[TargetStatus]:
    """All targets as they stand; the age of one that was never heard is infinite."""
    rows = []
    for target, allowed in zip(engine.targets, engine.allowed.tolist(), strict=True):
        age_s = now_s - target.heard_s if math.isfinite(target.heard_s) else math.inf
        rows.append(TargetStatus(target.spec.name, *target.lit_point(engine.floors), allowed, age_s))
    return rows
