"""Performers: repeatable, human and where they should be."""

from __future__ import annotations

import numpy as np
import pytest

from bridge.errors import InputError
from bridge.venue.surfaces import plan_distance
from bridge.venue.walks import KINDS, STEP_S, STUDIED, Link, walk, walk_by

POLYGON = ((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0))


def _motion(kind: str, seed: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    points = walk(kind, POLYGON, 60.0, seed).points
    velocity = np.diff(points, axis=0) / STEP_S
    return points, np.linalg.norm(velocity, axis=1), np.linalg.norm(np.diff(velocity, axis=0), axis=1) / STEP_S


@pytest.mark.parametrize("kind", list(KINDS))
def test_the_same_seed_gives_the_same_walk_at_every_rate(kind: str) -> None:
    slow = list(walk(kind, POLYGON, 5.0, 11).sampled(10))
    fast = list(walk(kind, POLYGON, 5.0, 11).sampled(120))
    assert slow == fast[::12]
    assert len(slow) == 51
    assert list(walk(kind, POLYGON, 5.0, 12).sampled(10)) != slow


@pytest.mark.parametrize(
    ("kind", "fastest", "reached", "acceleration"),
    [("stroll", 1.4, 1.35, 1.5), ("run", 6.0, 5.0, 5.0), ("dance", 3.0, 0.8, 6.0), ("stand", 0.1, 0.005, 0.5)],
)
def test_speeds_and_accelerations_are_human(kind: str, fastest: float, reached: float, acceleration: float) -> None:
    _, speed, change = _motion(kind)
    assert reached <= speed.max() <= fastest * 1.001
    assert change.max() <= acceleration * 1.001


@pytest.mark.parametrize("kind", ["stand", "stroll", "run", "dance", "jump"])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_walks_stay_on_the_stage(kind: str, seed: int) -> None:
    points, _, _ = _motion(kind, seed)
    assert max(plan_distance(np.array(POLYGON), x, y) for x, y in points[::24]) < 0.05


def test_strolls_stop_and_go() -> None:
    _, speed, _ = _motion("stroll")
    assert 0.02 < np.mean(speed < 0.05) < 0.6


def test_a_jump_is_at_once() -> None:
    _points, speed, _ = _motion("jump")
    assert np.count_nonzero(speed > 50) >= 15
    path = walk("jump", POLYGON, 10.0, 3)
    seen = {tuple(np.round(path.at(t), 6)) for t in np.arange(0, 8.9, 0.0037)}
    assert len(seen) == 3, "no place in between"


def test_leave_and_come_back() -> None:
    points, _, _ = _motion("leave")
    gap = np.array([plan_distance(np.array(POLYGON), x, y) for x, y in points[::24]])
    assert gap.max() > 1.0
    crossings = np.count_nonzero(np.diff((gap > 0).astype(int)))
    assert crossings >= 4


def test_a_link_jitters_and_loses_as_told() -> None:
    path = walk("stroll", POLYGON, 100.0, 5)
    messages = Link(50, jitter_s=0.03, loss=0.1).messages(path, 1)
    assert len(messages) == pytest.approx(0.9 * 5001, rel=0.02)
    times = np.array([t for t, _, _ in messages])
    assert (np.diff(times) >= 0).all()
    assert np.diff(times).max() > 0.03
    assert Link(50, 0.03, 0.1).messages(path, 1) == messages


def test_an_unknown_walk_is_named() -> None:
    with pytest.raises(InputError, match=r"'moonwalk'.*stroll"):
        walk("moonwalk", POLYGON, 1.0, 1)


@pytest.mark.parametrize("kind", list(KINDS))
def test_a_walk_begins_where_it_is_told(kind: str) -> None:
    assert walk(kind, POLYGON, 2.0, 1, start=(1.0, 2.0)).at(0.0) == pytest.approx((1.0, 2.0), abs=1e-6)


@pytest.mark.parametrize("kind", list(STUDIED))
def test_studied_performers_move_as_the_study_says(kind: str) -> None:
    gait = STUDIED[kind]
    plain = walk_by(gait, POLYGON, 60.0, 3).points
    velocity = np.diff(plain, axis=0) / STEP_S
    speed = np.linalg.norm(velocity, axis=1)
    change = np.linalg.norm(np.diff(velocity, axis=0), axis=1) / STEP_S
    assert 0.95 * gait.speed < speed.max() <= gait.speed * 1.001
    assert 0.95 * gait.acceleration < change.max() <= gait.acceleration * 1.001
    assert max(plan_distance(np.array(POLYGON), x, y) for x, y in plain[::24]) < 0.05
    sway = walk_by(gait, POLYGON, 60.0, 3, sway_m=0.02).points - plain
    size = np.linalg.norm(sway, axis=1)
    assert 0.018 < size.max() <= 0.02001
    along = np.abs((sway[:-1] * velocity).sum(axis=1))[speed > 0.9 * gait.speed]
    assert np.median(along / gait.speed) < 0.001, "to the sides"
    assert size[1:][speed < 0.01].max() < 0.01, "nobody sways as in walking while standing"
