"""Where those who move are, and will be: what the estimate promises, whatever is seen."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from bridge.follow.where import ageing
from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Point3, Walk
from tests.unit.follow.played import FRAME_S, LAG_S, Played, ahead, dances, noisy, sights, stands, walks_along

# What is seen and does not move


@given(
    place=st.tuples(*[st.floats(-50, 50)] * 3),
    rate=st.floats(1.0, 200.0),
    noise=st.none() | st.floats(0.0, 0.2),
    delay=st.floats(0.0, 0.1),
)
@settings(max_examples=60, deadline=None)
def test_a_still_input_gives_a_still_place_and_no_lead(
    place: Point3, rate: float, noise: float | None, delay: float
) -> None:
    played = Played(Tracks([Walk(noise=noise, delay=delay)]), sights(lambda _: place, 2.0, rate), 4.0)
    assert (played.places == np.array(place)).all()
    assert (played.aims == np.array(place)).all()


@pytest.mark.parametrize("rate", [0.5, 1.0, 3.0])
def test_a_sender_that_speaks_rarely_is_taken_at_its_word(rate: float) -> None:
    tracks = Tracks([Walk()])
    for at_s, place in sights(dances, 10.0, rate):
        tracks.see(0, place, at_s)
        for now_s in np.arange(at_s, at_s + 1 / rate, FRAME_S):
            tracks.take_in(now_s)
            assert tuple(tracks.place[0]) == place
            assert not ahead(tracks).any()
            assert not tracks.jumped[0]


def test_the_first_three_observations_are_taken_at_their_word() -> None:
    tracks = Tracks([Walk()])
    for number in range(3):
        tracks.see(0, walks_along(number / 60), number / 60)
        tracks.take_in(number / 60)
        assert tuple(tracks.place[0]) == walks_along(number / 60)
        assert not ahead(tracks).any()


def test_a_row_that_nobody_sees_is_where_it_was_put() -> None:
    tracks = Tracks([Walk(), Walk()])
    tracks.put(0, (1.0, 2.0, 3.0), 0.0)
    tracks.see(1, (5.0, 5.0, 5.0), 0.0)
    tracks.take_in(0.1)
    assert tracks.place.tolist() == [[1.0, 2.0, 3.0], [5.0, 5.0, 5.0]]


# What moves


@given(
    speed=st.tuples(*[st.floats(-3, 3)] * 3),
    rate=st.sampled_from([20.0, 30.0, 60.0, 100.0]),
    later_s=st.floats(0.0, 0.3),
    delay=st.floats(0.0, 0.05),
)
@settings(max_examples=40, deadline=None)
def test_uniform_motion_is_met_exactly(speed: Point3, rate: float, later_s: float, delay: float) -> None:
    assume(max(map(abs, speed)) > 0.1)  # slower than this is standing, and met within millimetres
    tracks = Tracks([Walk(delay=delay)])

    def path(at_s: float) -> Point3:
        return tuple(1.0 + part * (at_s - delay) for part in speed)

    Played(tracks, sights(path, 4.0, rate), 4.0)
    now_s = 4.0
    for at_s, place in sights(path, now_s + 0.001, rate, begin_s=4.0):
        tracks.see(0, place, at_s)
    tracks.take_in(now_s)
    assert np.abs(tracks.place[0] - path(now_s + delay)).max() < 1e-3
    assert np.abs(tracks.place[0] + ahead(tracks, later_s) - path(now_s + delay + later_s)).max() < 1e-3


def test_one_who_dances_is_met_within_two_centimetres_where_the_last_observation_is_a_foot_behind() -> None:
    played = Played(Tracks([Walk()]), sights(dances, 8.0), 8.0)
    then = np.array([dances(at_s + LAG_S) for at_s in played.times_s])[100:]
    assert np.abs(played.aims[100:] - then).max() < 0.02
    behind = np.array([dances(at_s) for at_s in played.times_s])[100:] - then
    assert np.linalg.norm(behind, axis=1).max() > 0.3


def turned(angle: float, mirrored: bool) -> Callable[[np.ndarray], np.ndarray]:
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])

    def change(places: np.ndarray) -> np.ndarray:
        plan = places[..., :2] @ turn.T
        return np.concatenate([plan * [1.0, -1.0 if mirrored else 1.0], places[..., 2:]], axis=-1)

    return change


@given(angle=st.floats(-3.1, 3.1), mirrored=st.booleans(), seed=st.integers(0, 1000))
@settings(max_examples=15, deadline=None)
def test_a_turned_or_mirrored_stage_gives_turned_or_mirrored_results(angle: float, mirrored: bool, seed: int) -> None:
    change = turned(angle, mirrored)
    seen = noisy(sights(dances, 3.0), 0.02, seed)
    other = [(at_s, tuple(change(np.array(place)).tolist())) for at_s, place in seen]
    here, there = Played(Tracks([Walk()]), seen, 3.5), Played(Tracks([Walk()]), other, 3.5)
    assert np.allclose(change(here.places), there.places, atol=1e-7)
    assert np.allclose(change(here.aims), there.aims, atol=1e-7)


def test_rows_do_not_know_each_other() -> None:
    alone = Played(Tracks([Walk()]), sights(dances, 3.0), 3.5)
    tracks = Tracks([Walk(), Walk(delay=0.03), Walk(predict=False)])
    rng = np.random.default_rng(3)
    waiting = sights(dances, 3.0)
    for frame, now_s in enumerate(np.arange(0, 3.5, FRAME_S)):
        while waiting and waiting[0][0] <= now_s:
            at_s, place = waiting.pop(0)
            tracks.see(2, (at_s, 0.0, 0.0), at_s)
            tracks.see(0, place, at_s)
            if rng.random() < 0.8:
                tracks.see(1, tuple(rng.normal(0, 3, 3).tolist()), at_s)
        tracks.take_in(now_s)
        assert np.allclose(tracks.place[0], alone.places[frame], atol=1e-12)


# Noise


@pytest.mark.parametrize("sigma", [0.005, 0.02, 0.05])
@pytest.mark.parametrize("path", [stands, dances])
def test_the_noise_of_an_input_is_found_out(sigma: float, path: Callable[[float], Point3]) -> None:
    tracks = Tracks([Walk()])
    found = []
    for seed in range(8):
        Played(tracks, noisy(sights(path, 6.0), sigma, seed), 6.0)
        found.append(tracks.noise[0])
        tracks = Tracks([Walk()])
    assert abs(np.mean(found) / sigma - 1) < 0.15
    assert max(abs(np.array(found) / sigma - 1)) < 0.5


def test_a_clean_input_is_found_out_to_be_one_and_a_number_is_taken_as_it_is() -> None:
    assert Played(Tracks([Walk()]), sights(dances, 4.0), 4.0).tracks.noise[0] <= 0.001
    assert Played(Tracks([Walk(noise=0.04)]), sights(dances, 4.0), 4.0).tracks.noise[0] == 0.04


def test_one_who_stands_does_not_tremble_from_a_noisy_tag() -> None:
    errors, steps = [], []
    for seed in range(6):
        played = Played(Tracks([Walk()]), noisy(sights(stands, 10.0), 0.02, seed), 10.0)
        errors.append(np.hypot(*(played.aims[200:, :2] - stands(0)[:2]).T))
        steps.append(np.linalg.norm(np.diff(played.aims[200:], axis=0), axis=1))
    assert np.sqrt((np.concatenate(errors) ** 2).mean()) < 0.012
    assert np.median(np.concatenate(steps)) < 0.003
    assert np.quantile(np.concatenate(steps), 0.95) < 0.01


# Speeds that an input gives


@pytest.mark.parametrize("kind", ["good", "noisy", "always zero", "late"])
def test_a_given_speed_helps_or_does_no_harm(kind: str) -> None:
    def speed(at_s: float, rng: np.random.Generator) -> Point3:
        at_s -= 0.15 if kind == "late" else 0.0
        exact = np.array([2.6 * np.cos(1.3 * at_s), -1.35 * np.sin(0.9 * at_s), 0.0])
        exact = exact * (kind != "always zero") + rng.normal(0, 1.5 if kind == "noisy" else 0.05, 3)
        return tuple(exact.tolist())

    errors = {}
    for given_speed in (False, True):
        off = []
        for seed in range(6):
            rng, tracks = np.random.default_rng(seed), Tracks([Walk()])
            waiting = noisy(sights(dances, 8.0), 0.02, seed)
            for now_s in np.arange(0, 8.0, FRAME_S):
                while waiting and waiting[0][0] <= now_s:
                    at_s, place = waiting.pop(0)
                    tracks.see(0, place, at_s, speed(at_s, rng) if given_speed else None)
                tracks.take_in(now_s)
                if now_s > 3:
                    off.append(np.hypot(*(tracks.place[0] + ahead(tracks) - dances(now_s + LAG_S))[:2]))
        errors[given_speed] = np.sqrt(np.mean(np.square(off)))
    assert errors[True] < errors[False] * (0.75 if kind == "good" else 1.08)


# Age


def test_the_model_goes_on_then_is_slowed_to_a_stop_and_given_up() -> None:
    played = Played(Tracks([Walk()]), sights(walks_along, 2.0), 4.0)
    since_s = played.times_s - (2.0 - 1 / 60)
    last = np.array(walks_along(2.0 - 1 / 60))
    going = (since_s > 0) & (since_s <= ageing.GOES_ON_S)
    truth = np.array([walks_along(at_s) for at_s in played.times_s])
    assert np.abs(played.places[going] - truth[going]).max() < 1e-3
    gone = (played.places[:, 0] - last[0]) / 2.0
    stopped = (since_s >= ageing.STOPS_S) & (since_s < ageing.STOPS_S + FRAME_S)
    assert abs(gone[stopped][0] - 0.45) < 0.005
    assert (gone[since_s > 0] < 0.46).all()
    over = since_s >= ageing.GIVEN_UP_S
    assert (played.places[over] == last).all()
    assert (played.aims[over] == last).all()


@given(angle=st.floats(-3, 3), speed=st.floats(0.1, 8.0), lag_s=st.floats(0, 0.2))
@settings(max_examples=25, deadline=None)
def test_nothing_steps_while_an_observation_grows_old(angle: float, speed: float, lag_s: float) -> None:
    def path(at_s: float) -> Point3:
        return (speed * at_s * float(np.cos(angle)), speed * at_s * float(np.sin(angle)), 1.3)

    tracks = Tracks([Walk()])
    Played(tracks, sights(path, 1.5), 1.5)
    places, aims = [], []
    for now_s in np.arange(1.5, 3.2, 0.005):
        tracks.take_in(now_s)
        places.append(tracks.place[0].copy())
        aims.append(tracks.place[0] + ahead(tracks, lag_s))
    # nobody is taken back faster than this: 0.45 s of the way within 0.6 s, smoothly
    assert np.linalg.norm(np.diff(places, axis=0), axis=1).max() <= 1.2 * speed * 0.005 + 1e-6
    assert np.linalg.norm(np.diff(aims, axis=0), axis=1).max() <= 1.2 * speed * 0.005 + 1e-6


def test_still_takes_the_speed_away() -> None:
    tracks = Tracks([Walk()])
    Played(tracks, sights(walks_along, 2.0), 2.0)
    assert np.linalg.norm(ahead(tracks)) > 0.2
    for number in range(20):
        tracks.still(0, 2.0 + number / 60)
        tracks.take_in(2.0 + number / 60)
    assert np.linalg.norm(ahead(tracks)) < 0.005
    assert np.abs(tracks.place[0] - walks_along(118 / 60)).max() < 0.005  # the last one seen at a frame before 2 s


def test_still_of_one_who_was_never_seen_is_nothing() -> None:
    tracks = Tracks([Walk()])
    tracks.still(0, 1.0)
    tracks.take_in(1.0)
    assert not tracks.place.any()
