"""Evenness by the inverse-square law and the level map against scipy."""

import numpy as np
import pytest
from scipy.interpolate import RegularGridInterpolator

from bridge.follow.lighting.evenness import WEAKEST_SHARE, Evenness, map_factor
from bridge.geometry.stage import LevelMap
from bridge.rig.fixture import Fixture
from bridge.rig.optics import Optics
from bridge.rig.profile import ZoomTable

LEVEL_MAP = LevelMap(x=(-6.0, 0.0, 6.0), y=(0.0, 8.0), factor=((1.0, 0.8, 1.0), (0.5, 0.25, 0.0)))


def test_level_map_is_bilinear_as_scipy_has_it() -> None:
    """scipy's RegularGridInterpolator (linear) is the reference."""
    reference = RegularGridInterpolator((LEVEL_MAP.y, LEVEL_MAP.x), np.array(LEVEL_MAP.factor))
    points = np.random.default_rng(5).uniform((-6, 0), (6, 8), (500, 2))
    assert map_factor(LEVEL_MAP, points) == pytest.approx(reference(points[:, ::-1]), abs=1e-12)


def test_level_map_is_held_at_its_edges() -> None:
    places = np.array([[-9.0, -3.0], [9.0, 20.0], [0.0, -1.0]])
    assert map_factor(LEVEL_MAP, places).tolist() == [1.0, 0.0, 0.8]


def test_without_a_map_nothing_changes() -> None:
    assert map_factor(None, np.zeros((3, 2))).tolist() == [1.0, 1.0, 1.0]


def heads(make_profile, candelas: list[float | None]) -> Optics:
    profiles = [make_profile(zoom=ZoomTable(((0.0, 50.0, c), (65535.0, 5.0, c)))) for c in candelas]
    return Optics([Fixture(f"h{n}", profile, 1, 1) for n, profile in enumerate(profiles)])


def settle(evenness: Evenness, *args: object) -> np.ndarray:
    for _ in range(200):
        factor = evenness.factor(*args, 0.05)  # type: ignore[arg-type]
    return factor


def test_heads_at_different_distances_give_the_same_illuminance(make_profile) -> None:
    """E = I / r² (inverse-square law; IES Lighting Handbook, from memory)."""
    optics, distance = heads(make_profile, [90000.0] * 3), np.array([9.0, 10.0, 12.0])
    factor = settle(
        Evenness(optics, 1), np.radians([10.0] * 3), distance, np.ones(3, dtype=bool), np.zeros(3, dtype=int)
    )
    lux = factor * 90000.0 / distance**2
    assert lux == pytest.approx([lux[2]] * 3)
    assert factor[2] == pytest.approx(1.0)


def test_one_bad_head_cannot_darken_the_rest(make_profile) -> None:
    optics, distance = heads(make_profile, [90000.0, 90000.0, 90000.0, 900.0]), np.full(4, 10.0)
    factor = settle(
        Evenness(optics, 1), np.radians([10.0] * 4), distance, np.ones(4, dtype=bool), np.zeros(4, dtype=int)
    )
    assert factor.tolist() == pytest.approx([WEAKEST_SHARE] * 3 + [1.0])


def test_a_head_without_candela_is_left_alone(make_profile) -> None:
    optics, distance = heads(make_profile, [90000.0, None, 40000.0]), np.full(3, 10.0)
    factor = settle(
        Evenness(optics, 1), np.radians([10.0] * 3), distance, np.ones(3, dtype=bool), np.zeros(3, dtype=int)
    )
    assert factor.tolist() == pytest.approx([40000.0 / 90000.0, 1.0, 1.0])


def test_a_head_that_drops_out_changes_the_others_slowly(make_profile) -> None:
    optics, distance = heads(make_profile, [90000.0, 60000.0]), np.full(2, 10.0)
    evenness, angle, follows = Evenness(optics, 1), np.radians([10.0] * 2), np.zeros(2, dtype=int)
    both, alone = np.array([True, True]), np.array([True, False])
    before = settle(evenness, angle, distance, both, follows)[0]
    steps = [before, *(evenness.factor(angle, distance, alone, follows, 1 / 44)[0] for _ in range(100))]
    assert max(np.diff(steps)) < 0.05
    assert steps[-1] == pytest.approx(1.0, abs=0.01)
