"""Shows for exports: Harbour Hall with poses as a test wants them, and what pymvr alone reads of an archive."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pymvr
from hypothesis import strategies as st

import bridge
from bridge.rig.fixture import Pose
from bridge.show import load
from bridge.show.model import Show

AXES_AT = (0.01, -0.02, -0.35)
PLACE = st.floats(-200, 200)
_PART = st.floats(-1, 1)


@st.composite
def poses(draw: st.DrawFn) -> Pose:
    """Any place within 200 m, any rotation."""
    parts = draw(st.tuples(_PART, _PART, _PART, _PART).filter(lambda q: sum(p * p for p in q) > 1e-3))
    norm = math.sqrt(sum(part * part for part in parts))
    x, y, z, w = (part / norm for part in parts)
    return Pose(draw(st.tuples(PLACE, PLACE, PLACE)), (x, y, z, w))


@cache
def harbour_hall() -> Show:
    """Twelve heads, no poses; heads are drawn from a base 35 cm above where their axes meet."""
    show = load(Path(bridge.__file__).parent / "demo_show")
    return replace(show, fixtures=tuple(replace(f, profile=replace(f.profile, axes_at=AXES_AT)) for f in show.fixtures))


def solved(poses: Mapping[str, Pose], **of_fixtures: Mapping[str, Any]) -> Show:
    """Harbour Hall with these poses; `foh_1={...}` changes keys of one fixture."""
    show = harbour_hall()
    fixtures = tuple(replace(f, **of_fixtures.get(f.name.replace("-", "_"), {})) for f in show.fixtures)
    return replace(show, fixtures=fixtures, poses=dict(poses))


def by_pymvr(octets: bytes) -> pymvr.GeneralSceneDescription:
    """What pymvr reads; it wants a file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.mvr"
        path.write_bytes(octets)
        with pymvr.GeneralSceneDescription(str(path)) as scene:
            return scene


def fixtures_by_pymvr(octets: bytes) -> dict[str, Any]:
    """pymvr's fixtures of the only layer of an MVR of ours, by name."""
    (layer,) = by_pymvr(octets).scene.layers
    return {fixture.name: fixture for fixture in layer.child_list.fixtures}


def place_by_pymvr(fixture: Any) -> tuple[np.ndarray, np.ndarray]:
    """(m, (3,)) where the axes meet and stage_from_fixture (3, 3): DIN SPEC 15801's rows u, v, w, origin in mm."""
    rows = np.array(fixture.matrix.matrix, dtype=np.float64)[:, :3]
    rotation = rows[:3].T
    return rows[3] / 1000 + rotation @ AXES_AT, rotation


def turn_between_rad(one: np.ndarray, other: np.ndarray) -> float:
    """The angle of the turn from one rotation to another, good near 0 too."""
    return 2 * math.asin(min(1.0, float(np.linalg.norm(one - other)) / math.sqrt(8)))
