"""Strays, duplicates, disorder, what is put, what is kept: what the estimate does with what it should not believe."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Point3, Walk
from tests.unit.follow.played import FRAME_S, Played, ahead, dances, noisy, sights, stands, walks_along

# Strays and jumps


@pytest.mark.parametrize("sigma", [0.0, 0.02])
@pytest.mark.parametrize("path", [stands, dances])
@given(number=st.integers(60, 120), off=st.floats(0.8, 20.0), angle=st.floats(-3, 3))
@settings(max_examples=15, deadline=None)
def test_a_single_stray_changes_nothing(
    path: Callable[[float], Point3], sigma: float, number: int, off: float, angle: float
) -> None:
    seen = noisy(sights(path, 3.0), sigma)
    lost = seen[:number] + seen[number + 1 :]
    at_s, (x, y, z) = seen[number]
    stray = (at_s, (x + off * float(np.cos(angle)), y + off * float(np.sin(angle)), z))
    with_it, without = Played(Tracks([Walk()]), [*lost, stray], 3.5), Played(Tracks([Walk()]), lost, 3.5)
    assert (with_it.aims == without.aims).all()
    assert not any(with_it.jumps)
    assert with_it.tracks.strays[0] == 1
    assert without.tracks.strays[0] == 0
    assert not with_it.tracks.held[0]


def test_a_second_one_near_a_stray_makes_it_a_jump_without_a_speed() -> None:
    seen = [*sights(stands, 2.0), *((2.0 + n / 60, (6.0, 2.0, 1.3)) for n in range(60))]
    played = Played(Tracks([Walk()]), seen, 3.0)
    jump = played.jumps.index(True)
    assert sum(played.jumps) == 1
    assert played.tracks.strays[0] == 0
    assert abs(played.times_s[jump] - (2.0 + 1 / 60)) <= FRAME_S + 1e-9
    assert (played.aims[:jump] == stands(0)).all()
    assert (played.aims[jump:] == (6.0, 2.0, 1.3)).all()


def test_a_jump_is_one_of_one_frame_also_when_nothing_is_seen_after_it() -> None:
    seen = [*sights(stands, 2.0), (2.0, (6.0, 2.0, 1.3)), (2.02, (6.0, 2.0, 1.3))]
    assert sum(Played(Tracks([Walk()]), seen, 3.0).jumps) == 1


def test_a_second_one_that_comes_too_late_or_elsewhere_confirms_nothing() -> None:
    near, late, far = (6.0, 2.0, 1.3), 0.21, (9.0, -7.0, 1.3)
    for again in ((2.0 + late, near), (2.01, far)):
        tracks = Tracks([Walk()])
        Played(tracks, sights(stands, 2.0), 2.0)
        for at_s, place in ((2.0, near), again):
            tracks.see(0, place, at_s)
            tracks.take_in(at_s)
        assert tuple(tracks.place[0]) == stands(0)
        assert not tracks.jumped[0]
        assert tracks.strays[0] == 1


def test_an_honest_observation_between_two_strays_shows_that_they_are_some() -> None:
    two = [(2.0, (6.0, 2.0, 1.3)), (2.01, stands(0)), (2.02, (6.0, 2.0, 1.3)), (2.03, stands(0))]
    seen = [*sights(stands, 2.0), *two]
    played = Played(Tracks([Walk()]), seen, 2.5)
    assert (played.aims == stands(0)).all()
    assert played.tracks.strays[0] == 2


def test_one_who_speaks_rarely_is_not_held_back() -> None:
    tracks = Tracks([Walk()])
    for number, place in enumerate([(0.0, 0.0, 0.0), (9.0, 0.0, 0.0), (-9.0, 0.0, 0.0)]):
        tracks.see(0, place, number * 0.5)
        tracks.take_in(number * 0.5)
        assert tuple(tracks.place[0]) == place
    tracks.see(0, (9.0, 0.0, 0.0), 1.05)  # soon after, but three before it were no stream
    tracks.take_in(1.05)
    assert tuple(tracks.place[0]) == (9.0, 0.0, 0.0)
    assert tracks.strays[0] == 0


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_a_stray_at_first_does_not_send_anybody_off(seed: int) -> None:
    rng = np.random.default_rng(seed)
    seen = sights(stands, 2.0)
    for number in rng.integers(0, 4, rng.integers(1, 3)):
        seen[number] = (seen[number][0], tuple(rng.normal(stands(0), (5, 5, 0)).tolist()))
    played = Played(Tracks([Walk()]), seen, 2.5)
    off = np.linalg.norm(played.aims[played.times_s > 0.2] - stands(0), axis=1)
    assert off.max() < 1.0
    assert off[-1] < 1e-9


# Order, duplicates, loss


def test_duplicates_change_nothing() -> None:
    seen = noisy(sights(dances, 3.0), 0.02)
    once, twice = Played(Tracks([Walk()]), seen, 3.5), Played(Tracks([Walk()]), [*seen, *seen], 3.5)
    assert (once.aims == twice.aims).all()
    later = [(at_s + 0.004, place) for at_s, place in seen]
    settled = once.times_s > 0.5
    assert np.abs(once.aims - Played(Tracks([Walk()]), [*seen, *later], 3.5).aims)[settled].max() < 0.02


@given(seed=st.integers(0, 10_000))
@settings(max_examples=20, deadline=None)
def test_the_order_within_a_frame_does_not_matter_and_what_is_older_than_the_last_is_dropped(seed: int) -> None:
    rng = np.random.default_rng(seed)
    seen, here, there = noisy(sights(dances, 2.0, 200.0), 0.01), Tracks([Walk()]), Tracks([Walk()])
    for now_s in np.arange(0, 2.0, FRAME_S):
        fresh = [each for each in seen if now_s - FRAME_S < each[0] <= now_s]
        older = [each for each in seen if now_s - 0.1 < each[0] <= now_s - FRAME_S]
        for at_s, place in fresh:
            here.see(0, place, at_s)
        mixed = [*fresh, *older[: rng.integers(0, 3)]]
        rng.shuffle(mixed)
        for at_s, place in mixed:
            there.see(0, tuple(place), float(at_s))
        here.take_in(now_s)
        there.take_in(now_s)
        assert (here.place == there.place).all()
        assert (ahead(here) == ahead(there)).all()


def test_what_was_seen_later_than_now_was_seen_now() -> None:
    tracks = Tracks([Walk()])
    tracks.see(0, (1.0, 1.0, 1.0), 99.0)
    tracks.take_in(1.0)
    tracks.see(0, (2.0, 1.0, 1.0), 1.5)
    tracks.take_in(1.5)
    assert tuple(tracks.place[0]) == (2.0, 1.0, 1.0)


@given(seed=st.integers(0, 10_000))
@settings(max_examples=25, deadline=None)
def test_whatever_is_seen_all_stays_finite_and_near_what_was_seen(seed: int) -> None:
    rng = np.random.default_rng(seed)
    tracks, now_s = Tracks([Walk(), Walk(noise=0.0)]), 0.0
    for _ in range(150):
        now_s += float(rng.choice([0.001, FRAME_S, FRAME_S, 0.4]))
        for _ in range(rng.integers(0, 5)):
            place = tuple((rng.normal(0, 1, 3) * 10.0 ** rng.integers(-6, 2)).tolist())
            speed = tuple(rng.normal(0, 20, 3).tolist()) if rng.random() < 0.3 else None
            tracks.see(int(rng.integers(0, 2)), place, now_s - float(rng.choice([0, 0, 1e-9, 0.1])), speed)
        tracks.take_in(now_s)
        led = tracks.ahead(np.array([0, 1]), np.array([0.12, 0.12]))
        assert np.isfinite(tracks.place).all()
        assert np.isfinite(led).all()
        assert np.isfinite(tracks.noise).all()
        assert np.abs(tracks.place).max() < 100
        assert np.abs(led).max() < 100


# Without prediction; what is put


def test_without_prediction_a_row_is_what_was_said_last() -> None:
    tracks = Tracks([Walk(predict=False, fastest=1.0)])
    rng = np.random.default_rng(0)
    for number in range(200):
        place = tuple(rng.normal(0, 20, 3).tolist())
        tracks.see(0, place, 5.0 - number, (3.0, 3.0, 3.0))
        if rng.random() < 0.5:
            tracks.take_in(number * FRAME_S)
        assert tuple(tracks.place[0]) == place
        assert not ahead(tracks).any()
        assert not tracks.jumped[0]
    assert tracks.strays[0] == 0


def test_what_is_put_is_exactly_there_and_what_was_seen_before_does_not_count() -> None:
    tracks = Tracks([Walk(delay=0.02)])
    Played(tracks, sights(walks_along, 2.0), 2.0)
    tracks.see(0, walks_along(2.0), 2.0)
    tracks.put(0, (7.0, 8.0, 1.3), 2.01)
    for now_s in (2.01, 2.02, 2.4, 9.0):
        tracks.take_in(now_s)
        assert tuple(tracks.place[0]) == (7.0, 8.0, 1.3)
        assert not ahead(tracks).any()
    tracks.put(0, (1.0, 8.0, 1.3), 9.0)
    tracks.see(0, (2.0, 2.0, 1.3), 9.01)
    tracks.take_in(9.02)
    assert tuple(tracks.place[0]) == (2.0, 2.0, 1.3)
    assert not tracks.jumped[0]


# Kept


class Same:
    """Seats of a show whose rows stand in another order."""

    def __init__(self, rows: list[int]) -> None:
        self.rows = {"tracks": np.array(rows)}

    def fill(self, field: object, values: object, now: np.ndarray) -> np.ndarray:
        kept = np.array(values, dtype=np.float64).reshape(-1, *now.shape[1:])
        return np.array([kept[old] if old >= 0 else fresh for old, fresh in zip(self.rows["tracks"], now, strict=True)])


@pytest.mark.parametrize("at", [3, 40, 41, 80, 99])
@pytest.mark.parametrize("order", [[0, 1], [1, 0]])
def test_it_goes_on_byte_for_byte_from_its_state(at: int, order: list[int]) -> None:
    walks = [Walk(), Walk(delay=0.02, noise=0.03)]
    tracks, other = Tracks(walks), Tracks([walks[old] for old in order])
    paths = [noisy(sights(dances, 3.0), 0.02, 1), noisy(sights(walks_along, 3.0), 0.01, 2)]
    paths[0][55:57] = [(at_s, (99.0, 9.0, 1.0)) for at_s, _ in paths[0][55:57]]
    taken_up = False
    for number, now_s in enumerate(np.arange(0, 4.0, FRAME_S)):
        for row, path in enumerate(paths):
            for at_s, place in [each for each in path if now_s - FRAME_S < each[0] <= now_s]:
                tracks.see(row, place, at_s, (1.0, 0.5, 0.0))
                if taken_up:
                    other.see(order.index(row), place, at_s, (1.0, 0.5, 0.0))
        if number == at:
            other.restore(json.loads(json.dumps(tracks.state())), Same(order))
            taken_up = True
        tracks.take_in(float(now_s))
        if taken_up:
            other.take_in(float(now_s))
            rows, later_s = np.array([0, 1]), np.array([0.1, 0.2])
            assert other.place.tobytes() == tracks.place[order].tobytes()
            assert other.ahead(rows, later_s[order]).tobytes() == tracks.ahead(rows, later_s)[order].tobytes()
            assert (other.strays == tracks.strays[order]).all()
            assert (other.held == tracks.held[order]).all()
            assert other.noise.tobytes() == tracks.noise[order].tobytes()


def test_a_queue_that_is_damaged_is_left_out() -> None:
    tracks = Tracks([Walk()])
    data = tracks.state() | {
        "queue": [[0, 1.0], "x", None, [7, 1, 2, 3, 4], [0, float("nan"), 1, 1, 1], [0, 1, 2, 3, 4]]
    }
    tracks.restore(data, Same([0]))
    tracks.take_in(2.0)
    assert tuple(tracks.place[0]) == (2.0, 3.0, 4.0)
