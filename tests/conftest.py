"""Rigs in plain data for tests. Nothing here is the bridge's own arithmetic, lest tests check it with itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import settings
from scipy.spatial.transform import Rotation

from bridge.geometry.stage import Area, Mark, PerformancePolygon, Stage
from bridge.rig.fixture import Fixture, Hang, Pose
from bridge.rig.profile import Axis, Profile, ZoomTable

settings.register_profile("shared", deadline=None)  # a busy machine is no fault: speed is measured in tools/bench
settings.load_profile("shared")

# facts/solver.md: four heads each at y = -12, 3 and 9 m, z = 9, 8 and 7.5 m, over a polygon of 12 m x 8 m
TRUSSES = (("foh", -12.0, 9.0), ("mid", 3.0, 8.0), ("back", 9.0, 7.5))
ACROSS = (-4.5, -1.5, 1.5, 4.5)
CORNERS = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))


@dataclass(frozen=True)
class Rig:
    """Fixtures, their true poses by name, and the place; printed, with its seed, when a test fails."""

    seed: int
    fixtures: tuple[Fixture, ...]
    poses: dict[str, Pose]
    stage: Stage


def spot_profile(**changes: object) -> Profile:
    """A made-up 16-bit head, 540 by 270 degrees, with zoom and focus; `changes` replaces fields."""
    fields: dict[str, object] = {
        "name": "test spot",
        "footprint": 16,
        "channels": {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5, 6), "zoom": (7, 8), "focus": (9, 10)},
        "pan": Axis(-270.0, 270.0, 180.0, 600.0),
        "tilt": Axis(-135.0, 135.0, 150.0, 500.0),
        "fixed": {11: 255},
        "zoom": ZoomTable(((0.0, 55.0, None), (65535.0, 5.0, None))),
        "focus": ((3.0, 60000.0), (8.0, 31000.0), (20.0, 12000.0)),
        "min_distance": 2.0,
        "lag": 0.1,
    }
    return Profile(**{**fields, **changes})  # type: ignore[arg-type]


def flat_stage(**changes: object) -> Stage:
    """A level stage of 12 m x 8 m with five marks; `changes` replaces fields."""
    places = {
        "A": (-6.0, 0.0, 0.0),
        "B": (6.0, 0.0, 0.0),
        "C": (6.0, 8.0, 0.0),
        "D": (-6.0, 8.0, 0.0),
        "E": (0.5, 4.0, 0.0),
    }
    polygon = PerformancePolygon(Area("performance_polygon", CORNERS, (-0.5, 4.0)))
    fields: dict[str, object] = {"polygon": polygon, "marks": {n: Mark(n, p) for n, p in places.items()}}
    return Stage(**{**fields, **changes})  # type: ignore[arg-type]


def build_rig(
    seed: int = 1,
    level_deg: float = 1.0,
    yaw_deg: float = 180.0,
    profile: Profile | None = None,
    stage: Stage | None = None,
) -> Rig:
    """Twelve hanging heads: base level within `level_deg` (one sigma), any yaw within +-`yaw_deg`, seeded."""
    rng, profile = np.random.default_rng(seed), profile or spot_profile()
    fixtures, poses = [], {}
    for truss, y, z in TRUSSES:
        for number, x in enumerate(ACROSS, start=1):
            name, place = f"{truss}-{number}", (x, y, z)
            address = 1 + profile.footprint * len(fixtures)
            hang = Hang(sigma=max(level_deg, 0.1))
            fixtures.append(Fixture(name, profile, 1, address, hang=hang, at=place, truss=truss))
            angles = [rng.uniform(-yaw_deg, yaw_deg), *(level_deg * rng.standard_normal(2))]
            turn = Rotation.from_euler("ZYX", angles, degrees=True).as_quat()
            position = np.asarray(place) + 0.1 * rng.standard_normal(3)
            poses[name] = Pose(_triple(position), tuple(float(v) for v in turn))  # type: ignore[arg-type]
    return Rig(seed, tuple(fixtures), poses, stage or flat_stage())


def _triple(values: np.ndarray) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in values)
    return x, y, z


@pytest.fixture
def make_profile() -> Callable[..., Profile]:
    """`make_profile(lag=0.0, ...)`: a made-up 16-bit spot with some fields replaced."""
    return spot_profile


@pytest.fixture
def make_stage() -> Callable[..., Stage]:
    """`make_stage(evenness=True, ...)`: a level stage of 12 m x 8 m with marks A to E."""
    return flat_stage


@pytest.fixture
def make_rig() -> Callable[..., Rig]:
    """`make_rig(seed=7, level_deg=0.0, ...)`: twelve heads on three trusses with seeded true poses."""
    return build_rig


@pytest.fixture
def rig() -> Rig:
    """Twelve heads, base level within a degree, any yaw."""
    return build_rig()
