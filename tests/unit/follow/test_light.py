"""Evenness by the inverse-square law and the level map against scipy."""

from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.interpolate import RegularGridInterpolator

from bridge.follow.lighting.evenness import Evenness, map_factor
from bridge.geometry.stage import LevelMap
from bridge.rig.fixture import Fixture
from bridge.rig.rig import Rig
from tests.conftest import spot_profile

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


CANDELA = 90000.0


def even(profile: object, groups: Sequence[str | None], least: float = 0.5, targets: int = 2) -> Evenness:
    fixtures = [Fixture(f"h{n}", profile, 1, 1, evenness=name) for n, name in enumerate(groups)]  # type: ignore[arg-type]
    return Evenness(Rig.from_fixtures(fixtures, {}), targets, least)


def settle(evenness: Evenness, lux: object, counted: object = None, follows: object = None) -> np.ndarray:
    lux = np.asarray(lux, dtype=float)
    counted = np.ones(len(lux), dtype=bool) if counted is None else np.asarray(counted, dtype=bool)
    follows = np.zeros(len(lux), dtype=int) if follows is None else np.asarray(follows)
    for _ in range(200):
        factor = evenness.factor(lux, counted, follows, 0.05)
    return factor


def test_heads_at_different_distances_give_the_same_illuminance(make_profile) -> None:
    """E = I / r² (inverse-square law; IES Lighting Handbook, from memory)."""
    full = CANDELA / np.array([9.0, 10.0, 12.0]) ** 2
    factor = settle(even(make_profile(), [None] * 3, least=0.1), full)
    assert factor * full == pytest.approx([CANDELA / 144.0] * 3)


def test_no_head_is_dimmed_below_the_floor_however_weak_another_is(make_profile) -> None:
    assert settle(even(make_profile(), [None] * 4), [900.0, 1800.0, 900.0, 9.0]).tolist() == [0.5, 0.5, 0.5, 1.0]
    deep = settle(even(make_profile(), [None] * 4, least=0.2), [900.0, 1800.0, 900.0, 300.0])
    assert deep == pytest.approx([1 / 3, 0.2, 1 / 3, 1.0])


def test_a_head_without_candela_is_left_alone(make_profile) -> None:
    factor = settle(even(make_profile(), [None] * 3, least=0.1), [900.0, np.nan, 400.0])
    assert factor == pytest.approx([400.0 / 900.0, 1.0, 1.0])


def test_heads_are_even_within_their_group_and_target_only(make_profile) -> None:
    """Groups key, key, back, key on targets 0, 0, 0, 1; the group that nobody names is the profile's."""
    lux = [900.0, 600.0, 300.0, 300.0]
    evenness = even(make_profile(name="back"), ["key", "key", None, "key"])
    assert settle(evenness, lux, follows=[0, 0, 0, 1]) == pytest.approx([2 / 3, 1.0, 1.0, 1.0])
    joined = even(make_profile(name="back"), ["back", "back", None, "key"])
    assert settle(joined, lux, follows=[0, 0, 0, 0]) == pytest.approx([0.5, 0.5, 1.0, 1.0])


@given(
    lux=arrays(float, 9, elements=st.floats(1.0, 1e5)),
    out=arrays(bool, 9),
    group=st.lists(st.sampled_from(["a", "b"]), min_size=9, max_size=9),
    least=st.floats(0.0, 1.0),
)
def test_taking_heads_out_never_lowers_another(
    lux: np.ndarray, out: np.ndarray, group: list[str], least: float
) -> None:
    """In no frame on the way either."""
    evenness = even(spot_profile(), group, least)
    before, follows = settle(evenness, lux), np.zeros(9, dtype=int)
    for _ in range(60):
        after = evenness.factor(lux, ~out, follows, 1 / 44)
        assert (after >= before - 1e-12).all()
        before = after


def test_a_head_that_drops_out_changes_the_others_slowly(make_profile) -> None:
    evenness, lux, follows = even(make_profile(), [None] * 2), np.array([900.0, 600.0]), np.zeros(2, dtype=int)
    before, alone = settle(evenness, lux)[0], np.array([True, False])
    steps = [before, *(evenness.factor(lux, alone, follows, 1 / 44)[0] for _ in range(100))]
    assert max(np.diff(steps)) < 0.05
    assert steps[-1] == pytest.approx(1.0, abs=0.01)


def test_where_nobody_counts_all_stay_as_they_were(make_profile) -> None:
    evenness = even(make_profile(), [None] * 2)
    before = settle(evenness, [900.0, 600.0]).tolist()
    assert settle(evenness, [900.0, 600.0], counted=[False, False]).tolist() == before
