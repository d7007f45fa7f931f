"""First poses: the closed form is exact, and mounts that the plot has wrong are found and told."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.rig.fixture import Hang
from bridge.solve.calibrate import calibrate
from bridge.solve.case import build_case
from bridge.solve.fit import fit_case
from bridge.solve.heads import PoseBatch
from bridge.solve.mounts import BASE_AXIS
from bridge.solve.start import closed_form, wahba
from tests.unit.solve import rigs_for_solve as rigs

FIVE = rigs.FIVE
RISERS = [(-6, 0, 0), (6, 0, 1.2), (6, 8, 2.0), (-6, 8, 0.6), (-1, 4.5, 0)]


@pytest.mark.parametrize(("places", "within"), [(FIVE, 1e-6), (RISERS, 0.03)])
def test_the_closed_form_needs_no_guess(places, within: float) -> None:
    """Level heads without noise: exact on a flat floor; marks at several heights by iteration, each a tenth as far."""
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 6, level_deg=0.0)
    case = build_case(rigs.fixtures(heads), rigs.stage(places), rigs.sight(rng, heads, places, hand=0.0))
    poses, good = closed_form(case.heads, case.hang)
    assert np.all(good)
    assert poses.p == pytest.approx(np.array([h.p for h in heads]), abs=within)
    assert pytest.approx(np.array([h.R for h in heads]), abs=within) == poses.R


def test_the_closed_form_knows_what_it_cannot_start() -> None:
    """A beam near the horizontal, and two sightings of one mark."""
    rng = np.random.default_rng(1)
    heads = rigs.rig(rng, 3, level_deg=0.0)
    seen = rigs.sight(rng, heads, FIVE, hand=0.0)
    flat = next(k for k, s in enumerate(seen) if s.fixture == "h1")
    seen[flat] = replace(seen[flat], tilt=88.0)
    seen = [s for s in seen if s.fixture != "h2" or s.mark == "A"]
    case = build_case(rigs.fixtures(heads), rigs.stage(FIVE), seen)
    assert list(closed_form(case.heads, case.hang)[1]) == [True, False, False]


@pytest.mark.parametrize("mount", ["hanging", "standing", "side"])
def test_the_rotation_from_a_known_place_is_exact_and_proper(mount: str) -> None:
    rng = np.random.default_rng(2)
    heads = rigs.rig(rng, 8, mount, level_deg=0.0)
    case = build_case(rigs.fixtures(heads, mount), rigs.stage(RISERS), rigs.sight(rng, heads, RISERS, hand=0.0))
    R = wahba(case.heads, np.array([h.p for h in heads]))
    assert np.linalg.det(R) == pytest.approx(np.ones(8))
    assert pytest.approx(np.array([h.R for h in heads]), abs=1e-9) == R


def test_two_directions_and_up_give_a_rotation_and_never_a_mirror() -> None:
    """With nothing but two beams in one plane the third axis is free: the determinant decides."""
    rng = np.random.default_rng(3)
    heads = rigs.rig(rng, 40, level_deg=0.0)
    case = build_case(rigs.fixtures(heads), rigs.stage(FIVE[:2]), rigs.sight(rng, heads, FIVE[:2], hand=0.0))
    loose = replace(case.heads, level_weight=np.zeros(40))
    places = rng.uniform([-8, -8, 1], [8, 8, 12], (40, 3))
    assert np.linalg.det(wahba(loose, places)) == pytest.approx(np.ones(40))


def turned(pitch: float, roll: float) -> np.ndarray:
    return rigs.ry(np.radians(pitch)) @ rigs.rx(np.radians(roll))


@pytest.mark.parametrize(
    ("hang", "truth", "mount"),
    [
        ((0, 0), turned(0, 180), "other way up"),
        ((0, 180), turned(0, 0), "other way up"),
        ((0, 0), turned(90, 0), "pitch 90"),
        ((0, 0), turned(-90, 0), "pitch -90"),
        ((0, 0), turned(0, 90), "roll 90"),
        ((0, 0), turned(0, -90), "roll -90"),
    ],
)
def test_another_common_mount_is_found_and_named(hang, truth: np.ndarray, mount: str) -> None:
    rng = np.random.default_rng(4)
    heads = [replace(h, R=rigs.rz(0.8 * i) @ truth) for i, h in enumerate(rigs.rig(rng, 3))]
    fixtures = [replace(f, hang=Hang(0, *hang, 1.0)) for f in rigs.fixtures(heads)]
    place = rigs.stage(FIVE)
    fit = fit_case(build_case(fixtures, place, rigs.sight(rng, heads, FIVE, hand=0.01)), place)
    assert fit.mounts == dict.fromkeys(range(3), mount)
    assert not np.any(fit.doubtful)
    for i, head in enumerate(heads):
        assert np.linalg.norm(fit.poses.p[i] - head.p) < 0.1
        assert np.allclose(fit.case.hang[i][2], truth[2], atol=1e-9)


def test_a_base_turned_about_its_own_axis_is_found_and_told() -> None:
    """On a side arm, the base axis as the plot says and the base turned by 40 deg about it: no common mount fits."""
    rng = np.random.default_rng(5)
    arm = rigs.rz(np.radians(30)) @ turned(90, 0)
    heads = [replace(h, R=arm @ rigs.rz(np.radians(40))) for h in rigs.rig(rng, 3)]
    fixtures = [replace(f, hang=Hang(30, 90, 0, 1.0)) for f in rigs.fixtures(heads)]
    seen = rigs.sight(rng, heads, FIVE, hand=0.01)
    place = rigs.stage(FIVE)
    fit = fit_case(build_case(fixtures, place, seen), place)
    assert fit.mounts == dict.fromkeys(range(3), BASE_AXIS)
    answer = calibrate(fixtures, place, seen)
    for i, head in enumerate(heads):
        assert np.sqrt(np.mean(rigs.aim_misses(head, answer.fixtures[f"h{i}"]) ** 2)) < 0.05
    assert sum("turned about the axis of its base" in note for note in answer.notes) == 3


def test_three_marks_that_fit_another_mount_are_a_doubt_and_five_a_note() -> None:
    rng = np.random.default_rng(6)
    heads = rigs.rig(rng, 3, "standing")
    for marks, told in ((3, ["h0", "h1", "h2"]), (5, [])):
        seen = rigs.sight(rng, heads, FIVE[:marks], hand=0.01)
        answer = calibrate(rigs.fixtures(heads), rigs.stage(FIVE[:marks]), seen)
        assert [s.fixture for s in answer.suspects] == told
        assert not any(s.sure for s in answer.suspects)


def test_poses_are_put_in_their_rows_and_the_first_ones_stay_as_they_were() -> None:
    first = PoseBatch.at(np.zeros((3, 3)), np.tile(np.eye(3), (3, 1, 1)))
    other = PoseBatch(np.ones((1, 3)), 2 * np.eye(3)[None], np.full((1, 6), 7.0))
    for rows in (np.array([1]), np.array([False, True, False])):
        both = first.put(rows, other)
        assert (both.p[:, 0].tolist(), both.R[:, 0, 0].tolist()) == ([0, 1, 0], [1, 2, 1])
        assert both.terms[:, 0].tolist() == [0, 7, 0]
        assert not np.any(first.p)
