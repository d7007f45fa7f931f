"""What a solve writes: poses.yaml with its covariances, what stays of earlier solves, and learned optics."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.rig.fixture import Mechanics, Pose
from bridge.rig.profile import Profile
from bridge.solve.calibrate import calibrate
from bridge.solve.document import covariance_from, poses_document
from bridge.solve.optics import focus_table, learned_optics
from tests.unit.solve import rigs_for_solve as rigs

FULL = 65535
TABLE = ((3.0, 60000.0), (8.0, 31000.0), (20.0, 12000.0))


@pytest.fixture(scope="module")
def solved():
    rng = np.random.default_rng(16)
    heads = rigs.rig(rng, 3)
    sightings = [s for s in rigs.sight(rng, heads, rigs.FIVE) if s.fixture != "h2"]
    return heads, sightings, calibrate(rigs.fixtures(heads), rigs.stage(rigs.FIVE), sightings)


def written(answer, fixtures, previous=None, marks=None, optics=None):
    return poses_document(answer, fixtures, previous or {}, marks or {}, optics or {}, "hash", "now")


def test_the_covariance_is_the_lower_triangle_by_rows_and_comes_back(solved) -> None:
    heads, _, answer = solved
    cov = answer.fixtures["h0"].covariance
    values = written(answer, rigs.fixtures(heads))["fixtures"]["h0"]["covariance"]
    assert values == pytest.approx([cov[i, j] for i in range(6) for j in range(i + 1)], rel=1e-8)
    assert np.array(covariance_from(values)) == pytest.approx(cov, rel=1e-6, abs=1e-18)


def test_new_places_replace_old_ones_and_old_ones_stay_where_nothing_is_new(solved) -> None:
    heads, _, answer = solved
    mechanics = Mechanics(tilt_zero=0.25)
    old = Pose(
        (1.0, 2.0, 3.0), (0.0, 0.0, 0.0, 1.0), (1, 2), mechanics=mechanics, trusted=False, aim_error_rms=0.04,
        aim_error_p95=0.07, position_sigma=(0.1, 0.2, 0.3), rotation_sigma=(0.4, 0.5, 0.6), solved_from="before",
        residuals={"A": 0.02},
    )  # fmt: skip
    document = written(
        answer, rigs.fixtures(heads), {"h0": old, "h2": old}, {"A": (9.0, 9.0, 9.0), "Z": (1.0, 2.0, 3.0)}
    )
    assert document["marks"]["A"] == pytest.approx(answer.marks["A"], abs=1e-6)
    assert document["marks"]["Z"] == [1.0, 2.0, 3.0]
    assert (document["solved_from"], document["solved_at"], document["version"]) == ("hash", "now", 1)
    fresh, kept = document["fixtures"]["h0"], document["fixtures"]["h2"]
    assert fresh["position"] == pytest.approx(answer.fixtures["h0"].position, abs=1e-6)
    assert "mechanics" not in fresh
    assert kept == {
        "position": [1.0, 2.0, 3.0], "rotation": [0.0, 0.0, 0.0, 1.0], "faces": [1, 2], "trusted": False,
        "verified": old.verified, "mechanics": {"tilt_zero": 0.25, "squareness": 0, "collimation": 0, "lens_x": 0,
        "lens_y": 0, "pan_scale": 0}, "sigma": {"position": [0.1, 0.2, 0.3], "rotation": [0.4, 0.5, 0.6]},
        "aim_error": {"rms": 0.04, "p95": 0.07}, "residuals": {"A": 0.02}, "solved_from": "before",
        "notes": "kept from an earlier solve",
    }  # fmt: skip


def test_a_persons_yes_holds_for_the_pose_it_was_said_to_and_for_no_other(solved) -> None:
    heads, _, answer = solved
    old = Pose((1.0, 2.0, 3.0), (0.0, 0.0, 0.0, 1.0), trusted=False, accepted="Ann@10.0.0.7", unit="A-1")
    fixtures, previous = rigs.fixtures(heads), {"h0": old, "h2": old}
    entries = written(answer, fixtures, previous)["fixtures"]
    assert "accepted" not in entries["h0"], "it has a new pose"
    assert entries["h2"]["accepted"] == "Ann@10.0.0.7"
    exchanged = [replace(f, unit="A-2") if f.name == "h2" else f for f in fixtures]
    assert "accepted" not in written(answer, exchanged, previous)["fixtures"]["h2"], "another unit hangs there now"


def test_tables_of_earlier_solves_stay_until_new_ones_are_learned(solved) -> None:
    heads, _, answer = solved
    fixtures = [replace(f, focus_table=((3.0, 1.0), (9.0, 2.0))) for f in rigs.fixtures(heads)]
    entries = written(answer, fixtures, optics={"h1": {"focus": [[4.0, 7.0]]}})["fixtures"]
    assert entries["h0"]["optics"] == {"focus": [[3.0, 1.0], [9.0, 2.0]]}
    assert entries["h1"]["optics"] == {"focus": [[4.0, 7.0]]}


def test_a_table_learns_what_was_seen_and_its_unseen_ends_move_along() -> None:
    """300 raw too high everywhere, seen at two middle distances: the whole table moves by 300."""
    near = np.interp([1 / 5, 1 / 12], [1 / 20, 1 / 8, 1 / 3], [12000, 31000, 60000])
    found = focus_table([(5.0, near[0] + 300), (12.0, near[1] + 300)], TABLE, FULL)
    assert np.array(found) == pytest.approx(np.array(TABLE) + np.array([0, 300]), abs=1e-6)


def test_a_line_in_one_over_distance_is_learned_where_sightings_spread() -> None:
    near = np.array([1 / 4, 1 / 15])
    raw = np.interp(near, [1 / 20, 1 / 8, 1 / 3], [12000, 31000, 60000]) + 4000 * near
    found = np.array(focus_table(list(zip(1 / near, raw, strict=True)), TABLE, FULL))
    assert found[:, 1] == pytest.approx(np.array(TABLE)[:, 1] + 4000 / np.array(TABLE)[:, 0], abs=1e-6)


@pytest.mark.parametrize(
    ("rows", "table"),
    [
        ([(5.0, 45000.0)], TABLE),  # one row
        ([(5.0, 45000.0), (5.2, 45100.0)], TABLE),  # two at one distance are one
        ([(5.0, 10.0), (12.0, 22000.0)], TABLE),  # a slip of the hand
        ([(5.0, 100.0), (8.0, 90.0), (12.0, 95.0)], ()),  # neither rising nor falling
    ],
)
def test_what_makes_no_sane_table_changes_none(rows, table) -> None:
    assert focus_table(rows, table, FULL) is None


def test_rows_at_one_distance_are_averaged() -> None:
    found = focus_table([(12.0, 200.0), (5.0, 100.0), (5.3, 110.0)], (), FULL)
    assert found == [(pytest.approx(5.15), pytest.approx(105.0)), (12.0, 200.0)]


def test_focus_is_learned_from_the_solved_distance(solved) -> None:
    heads, sightings, answer = solved
    channels = {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5,), "focus": (6, 7)}
    profile = Profile("focus", 7, channels, rigs.PROFILE.pan, rigs.PROFILE.tilt)
    fixtures = [replace(f, profile=profile) for f in rigs.fixtures(heads)]
    focused = [replace(s, focus=1000 * (1 + "ABCDE".index(s.mark))) if s.fixture == "h0" else s for s in sightings]
    seen = sorted(
        (float(np.linalg.norm(np.subtract(answer.marks[s.mark], answer.fixtures["h0"].position))), s.focus)
        for s in focused
        if s.fixture == "h0" and s.mark in "AE"
    )
    only = [s for s in focused if s.fixture != "h0" or s.mark in "AE"]
    found = learned_optics(fixtures, only, answer)
    assert set(found) == {"h0"}
    assert np.array(found["h0"]["focus"]) == pytest.approx(np.array(seen), abs=1e-3)


def test_a_focus_that_was_set_once_and_left_as_the_head_went_from_mark_to_mark_teaches_nothing(solved) -> None:
    """At one of the marks it was right, and nobody can tell at which."""
    heads, sightings, answer = solved
    channels = {"pan": (1, 2), "tilt": (3, 4), "dimmer": (5,), "focus": (6, 7)}
    profile = Profile("focus", 7, channels, rigs.PROFILE.pan, rigs.PROFILE.tilt, focus=TABLE)
    fixtures = [replace(f, profile=profile) for f in rigs.fixtures(heads)]
    left = [replace(s, focus=30000) if s.fixture == "h0" else s for s in sightings]
    assert learned_optics(fixtures, left, answer) == {}
    raw = dict(zip("ABCDE", (30000, 30000, 30000, 30500, 31000), strict=True))
    two = [replace(s, focus=raw[s.mark]) if s.fixture == "h0" else s for s in sightings]
    only = [s for s in two if s.fixture == "h0" and raw[s.mark] > 30000]
    assert learned_optics(fixtures, two, answer) == learned_optics(fixtures, only, answer)
