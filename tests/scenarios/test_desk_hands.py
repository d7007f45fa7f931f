"""/fixture/NAME/desk and /desk: "out, change over, in again, no jump in the light". Every way there and back."""

from __future__ import annotations

import random
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bridge.follow.judging.states import WORDS
from tests.scenarios.beside_desk import DIMMER, FRAME_S, PAN, TILT, Beside, shared

NAME, OTHER = "foh-1", "mid-2"
ALL, NONE = [True] * 5, [False] * 5
LIGHT_ONLY = [False, False, True, False, False]
WITHOUT_DIMMER = ("pan", "tilt", "zoom", "focus")


@pytest.fixture
def make_beside(make_rig: Callable[..., Any]) -> Callable[..., Beside]:
    def make(seed: int = 1, **options: Any) -> Beside:
        beside = Beside(make_rig(seed), **options)
        beside.run(4.0)
        beside.levels.clear()
        return beside

    return make


@pytest.fixture
def beside(make_beside: Callable[..., Beside]) -> Beside:
    """All heads lit on the performer, the desk at full, its angles elsewhere."""
    return make_beside()


def seen(frames: list[Any], number: int) -> list[tuple[int, bool, bool]]:
    """State, own pan and own dimmer of a head, each run of equals once."""
    rows = [(int(f.state[number]), bool(f.own[PAN, number]), bool(f.own[DIMMER, number])) for f in frames]
    return [row for n, row in enumerate(rows) if n == 0 or row != rows[n - 1]]


def test_lit_there_and_back(beside: Beside) -> None:
    n = beside.number(NAME)
    assert (beside.level(NAME), beside.state(NAME), beside.own(NAME)) == (1.0, "lit", ALL)
    beside.light[:] = 0.8
    beside.tick()
    beside.levels.clear()
    beside.say(f"/fixture/{NAME}/desk", 1)
    there = beside.run(4.0)
    assert (beside.level(NAME), beside.state(NAME), beside.own(NAME)) == (0.8, "desk", NONE)
    assert [row[1:] for row in seen(there, n)] == [
        (True, True),  # out: ours
        (False, True),  # change over: the dimmer alone
        (False, True),  # in: the same, another state
        (False, False),  # theirs
    ]
    assert min(frame.level[n] for frame in there) == 0.0
    assert (there[-1].pan_rad[n], there[-1].tilt_rad[n]) == (beside.pan[n], beside.tilt[n])
    assert (there[-1].zoom_raw[n], there[-1].focus_raw[n]) == (beside.zoom[n], beside.focus[n])
    beside.say(f"/fixture/{NAME}/desk", 0)
    back = beside.run(4.0)
    assert (beside.level(NAME), beside.state(NAME), beside.own(NAME)) == (0.8, "lit", ALL)
    assert min(frame.level[n] for frame in back) == 0.0
    beside.assert_smooth(*beside.names)


def test_the_states_on_the_way(beside: Beside) -> None:
    n = beside.number(NAME)
    beside.say(f"/fixture/{NAME}/desk", 1)
    there = beside.run(4.0)
    beside.say(f"/fixture/{NAME}/desk", 0)
    back = beside.run(4.0)
    words = [[WORDS[state] for state, _, _ in seen(frames, n)] for frames in (there, back)]
    assert list(dict.fromkeys(words[0])) == ["moving", "desk"]
    assert list(dict.fromkeys(words[1])) == ["desk", "moving", "lit"]
    dark = [frame for frame in there if frame.level[n] == 0]
    assert all(frame.own[:, n].tolist()[2] for frame in dark), "while it changes over its dimmer is ours, at 0"
    coming = [f for f in there if 0 < f.level[n] < 1 and WORDS[f.state[n]] == "desk"]
    assert len(coming) >= 5
    assert all(frame.own[:, n].tolist() == LIGHT_ONLY for frame in coming)
    assert not any(frame.whole[n] for frame in [*there, *back])


def test_a_head_that_is_taken_out_is_dark_also_where_the_dimmer_is_the_desks(
    make_beside: Callable[..., Beside],
) -> None:
    """interface.md, out: "dark, at rest"."""
    beside = make_beside(desk=shared(own=("pan", "tilt")))
    n = beside.number(NAME)
    assert (beside.level(NAME), beside.own(NAME)[DIMMER]) == (1.0, False)
    beside.say(f"/fixture/{NAME}/out", 1)
    gone = beside.run(3.0)
    assert all(frame.level[n] == 0.0 and frame.own[DIMMER, n] for frame in gone)
    assert (beside.level(OTHER), beside.state(NAME)) == (1.0, "out")
    beside.say(f"/fixture/{NAME}/out", 0)
    beside.run(4.0)
    assert (beside.level(NAME), beside.own(NAME)[DIMMER], beside.state(NAME)) == (1.0, False, "lit")
    assert beside.wrong == []


def test_the_others_are_none_the_worse(beside: Beside) -> None:
    beside.say(f"/fixture/{NAME}/desk", 1)
    for frame in beside.run(3.0):
        others = np.arange(len(beside.names)) != beside.number(NAME)
        assert (frame.level[others] == 1.0).all()
        assert frame.own[:, others].all()


def test_the_time_of_a_change_is_that_of_the_fades_and_the_way(beside: Beside) -> None:
    """Out over 0.2 s, the way by the motors' own law, the lag of 0.1 s, in over 0.3 s."""
    n, rig = beside.number(NAME), beside.engine.rig
    way = np.abs(np.array([beside.pan[n], beside.tilt[n]]) - [beside.frame.pan_rad[n], beside.frame.tilt_rad[n]])
    top, gain = (np.array([getattr(rig.pan, k)[n], getattr(rig.tilt, k)[n]]) for k in ("speed", "acceleration"))
    takes_s = np.where(way < top**2 / gain, 2 * np.sqrt(way / gain), way / top + top / gain).max()
    beside.say(f"/fixture/{NAME}/desk", 1)
    frames = beside.run(6.0)
    full = next(k for k, frame in enumerate(frames) if not frame.own[:, n].any()) * FRAME_S
    assert 0.6 + takes_s - 0.15 <= full <= 0.6 + takes_s + 0.15


@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER])
def test_at_desk_level_0_both_ways_are_at_once(make_beside: Callable[..., Beside], own: tuple[str, ...]) -> None:
    beside = make_beside(desk=shared(own))
    beside.light[:] = 0.0
    beside.tick()
    beside.say("/desk", 1)
    beside.tick()
    assert not beside.frame.own[[PAN, TILT]].any(), "nothing to fade out"
    beside.run(4.0)
    assert beside.state(NAME) == "desk"
    beside.say("/desk", 0)
    beside.tick()
    assert beside.frame.own[[PAN, TILT]].all()
    beside.light[:] = 1.0
    beside.run(4.0)
    assert beside.level(NAME) == 1.0
    beside.assert_smooth(*beside.names)


def test_the_desks_light_that_comes_up_in_the_very_moment_does_not_light_the_way(beside: Beside) -> None:
    beside.light[:] = 0.0
    beside.tick()
    beside.say("/desk", 1)
    beside.light[:] = 1.0
    beside.run(4.0)
    assert not beside.frame.own.any()
    beside.light[:] = 0.0
    beside.tick()
    beside.levels.clear()
    beside.say("/desk", 0)
    beside.light[:] = 1.0
    beside.run(4.0)
    assert beside.frame.level.min() == 1.0
    beside.assert_smooth(*beside.names)


def test_the_desk_moves_its_head_meanwhile(beside: Beside) -> None:
    """It comes in once the motors are with the desk, though that is never still."""
    start = beside.pan.copy()

    def swing(s: float) -> None:
        beside.pan[:] = start + np.radians(40) * np.sin(0.7 * s)

    beside.say("/desk", 1)
    beside.run(5.0, swing)
    assert set(map(beside.state, beside.names)) == {"desk"}
    assert not beside.frame.own.any()
    beside.assert_smooth(*beside.names)
    beside.say("/desk", 0)
    beside.run(5.0, lambda s: swing(5.0 + s))
    assert beside.frame.level.min() == 1.0
    beside.assert_smooth(*beside.names)


def test_a_head_that_the_desk_never_lets_rest_comes_in_after_six_seconds(beside: Beside) -> None:
    """The desk jumps to and fro faster than the head can follow: its affair from then on."""
    n = beside.number(NAME)
    beside.say(f"/fixture/{NAME}/desk", 1)

    def jump(s: float) -> None:
        beside.pan[n] = 1.0 if int(s / 0.5) % 2 else -2.5

    frames = beside.run(7.0, jump)
    lit = next(k for k, f in enumerate(frames) if f.level[n] > 0 and not f.own[PAN, n]) * FRAME_S
    assert lit == pytest.approx(6.2, abs=0.1)


def test_a_desk_that_is_lost_leaves_its_heads_where_they_are(beside: Beside) -> None:
    """What it sent last is laid under, or its slots are 0: the door says so; the way back is the same."""
    beside.say("/desk", 1)
    beside.run(4.0)
    beside.light[:] = 0.0  # `lost: dark`
    beside.pan[:], beside.tilt[:] = np.radians(-270), np.radians(-135)
    beside.run(4.0)
    assert not beside.frame.level.any()
    assert set(map(beside.state, beside.names)) == {"desk"}
    beside.say("/desk", 0)
    beside.light[:] = 1.0
    beside.run(5.0)
    assert beside.frame.level.min() == 1.0
    assert not [row for row in beside.wrong if row[0] > beside.now_s - 5.0 + FRAME_S / 2]


@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER])
@pytest.mark.parametrize("seed", range(6))
def test_handing_to_and_fro_at_any_moment(make_beside: Callable[..., Beside], own: tuple[str, ...], seed: int) -> None:
    """Wherever it is cut short: 0 frames off its goal, no step of the light beyond that of a fade."""
    beside, rnd = make_beside(desk=shared(own)), random.Random(seed)
    for _ in range(40):
        name = rnd.choice((NAME, OTHER))
        beside.say(f"/fixture/{name}/desk", rnd.randint(0, 1))
        beside.run(rnd.choice((FRAME_S, 0.1, 0.3, 1.0, 2.0)))
    beside.say("/desk", 0)
    beside.run(6.0)
    assert beside.frame.level.min() == 1.0
    beside.assert_smooth(NAME, OTHER)


def test_a_head_without_our_dimmer_is_dark_until_it_is_back(make_beside: Callable[..., Beside]) -> None:
    """Light is the desk's there, but for the change of hands."""
    beside = make_beside(desk=shared(WITHOUT_DIMMER))
    n = beside.number(NAME)
    beside.light[:] = 0.6
    beside.tick()
    assert beside.level(NAME) == 0.6
    assert not beside.frame.own[DIMMER].any()
    beside.levels.clear()
    beside.say(f"/fixture/{NAME}/desk", 1)
    beside.run(4.0)
    assert beside.own(NAME) == NONE
    beside.say(f"/fixture/{NAME}/desk", 0)
    frames = beside.run(5.0)
    way = [frame for frame in frames if frame.own[PAN, n] and frame.level[n] == 0]
    assert len(way) * FRAME_S > 0.3
    assert all(frame.own[DIMMER, n] for frame in way)
    assert (beside.level(NAME), beside.own(NAME)) == (0.6, [True, True, False, True, True])
    beside.assert_smooth(NAME)


@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER])
def test_heads_begin_dark_whoever_lights_them(make_beside: Callable[..., Beside], own: tuple[str, ...]) -> None:
    """Output starts: nobody knows where they are."""
    beside = make_beside(desk=shared(own))
    beside.point = (-4.0, 6.0)
    beside.tick()  # so far at once needs saying twice
    beside.engine.begin(beside.now_s)
    beside.tick()
    assert not beside.frame.level.any()
    assert beside.frame.own[DIMMER].all()
    beside.levels.clear()
    beside.run(4.0)
    assert beside.frame.level.min() == 1.0
    beside.assert_smooth(*beside.names)


def test_no_hand_makes_a_head_flash(make_beside: Callable[..., Beside]) -> None:
    """Fades of 0 s, a lag of 0 s, the desk where we are, handed over in every frame: three rises a second at most."""
    beside = make_beside(fades=0.0)
    beside.pan[:], beside.tilt[:] = beside.frame.pan_rad, beside.frame.tilt_rad
    on = 0
    for _ in range(200):
        on = 1 - on
        beside.say("/desk", on)
        beside.tick()
    lit = np.array(beside.levels)[:, beside.number(NAME)] > 0
    rises = np.flatnonzero(~lit[:-1] & lit[1:])
    assert len(rises) >= 3
    assert all(((rises >= k) & (rises < k + 44)).sum() <= 3 for k in rises)
