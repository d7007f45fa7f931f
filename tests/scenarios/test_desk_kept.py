"""Heads in the desk's hands over a reload and a restart, on the short ways; what leaves of every head."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from bridge.door.door import make
from bridge.errors import Refused
from bridge.follow.who.roles import Role
from bridge.rig.fixture import DeskShare
from bridge.rig.profile import CHANNEL_NAMES
from tests.conftest import build_rig
from tests.scenarios.beside_desk import DIMMER, FRAME_S, OVERLAY, PAN, TILT, Beside, shared
from tests.scenarios.random_shows import differences

NAME, OTHER = "foh-1", "mid-2"
NONE, ALL = [False] * 5, [True] * 5
WITHOUT_DIMMER = ("pan", "tilt", "zoom", "focus")


def beside_of(rig_seed: int = 1, change: Callable[[Any], Any] = lambda made: made, **options: Any) -> Beside:
    beside = Beside(change(build_rig(rig_seed)), **options)
    beside.run(3.0)
    return beside


def handed(beside: Beside) -> Beside:
    beside.say(f"/fixture/{NAME}/desk", 1)
    beside.run(4.0)
    assert beside.own(NAME) == NONE
    return beside


# Read again


def read_again(beside: Beside, **changes: Any) -> None:
    beside.show = replace(beside.show, **changes)
    made = make(beside.show)
    made.engine.take_over(beside.engine, beside.now_s)
    beside.take(made)


def test_a_show_that_is_read_again_leaves_heads_in_the_desks_hands() -> None:
    beside = handed(beside_of())
    read_again(beside)
    for frame in beside.run(1.0):
        assert frame.own[:, beside.number(NAME)].tolist() == NONE
        assert frame.level.min() == 1.0
    beside.say("/desk", 0)
    beside.run(4.0)
    assert beside.own(NAME) == ALL
    assert beside.frame.level.min() == 1.0
    assert beside.wrong == []


def test_they_are_found_by_their_names() -> None:
    beside = handed(beside_of())
    beside.pan[:] = beside.tilt[:] = 0.3
    read_again(beside, fixtures=tuple(reversed(beside.show.fixtures)))
    beside.at = None
    beside.tick()
    assert [name for name in beside.names if not any(beside.own(name))] == [NAME]


def test_a_head_of_another_address_is_ours() -> None:
    beside = handed(beside_of())
    moved = tuple(replace(f, address=400) if f.name == NAME else f for f in beside.show.fixtures)
    read_again(beside, fixtures=moved)
    beside.tick()
    assert beside.own(NAME) == ALL
    assert beside.level(NAME) == 0.0
    beside.at = None
    beside.wrong.clear()
    beside.run(4.0)
    assert beside.state(NAME) == "lit"


@pytest.mark.parametrize("desk", [None, replace(OVERLAY, universes={7: 107})], ids=["no desk", "elsewhere"])
def test_without_a_desk_under_them_they_are_ours_again_in_the_dark(desk: Any) -> None:
    beside = handed(beside_of())
    read_again(beside, network=replace(beside.show.network, desk=desk))
    beside.tick()
    assert beside.level(NAME) == 0.0
    assert beside.frame.own is None or beside.own(NAME) == ALL
    beside.run(4.0)
    assert (beside.state(NAME), beside.level(NAME)) == ("lit", 1.0)
    assert beside.wrong == []


# Kept


@pytest.mark.parametrize("frames_in", [1, 4, 12, 30, 60, 95, 150, 181, 184, 190, 210, 240])
@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER])
def test_it_goes_on_alike_from_any_moment_of_the_way(own: tuple[str, ...], frames_in: int) -> None:
    beside = beside_of(desk=shared(own))
    beside.tilt[beside.number(OTHER)] = np.radians(-134.0)
    beside.say("/desk", 1)
    for number in range(frames_in):
        if number == 180:
            beside.say("/desk", 0)
        beside.tick()
    kept = json.loads(json.dumps(beside.engine.state()))
    twin = make(beside.show).engine
    twin.restore(kept)
    twin.hear_desk(beside.says())
    for number in range(120):
        if number == 60:
            beside.say("/desk", 0)
            twin.crew.give_to_desk(np.ones(len(twin.rig), dtype=bool), False)
        beside.tick()
        twin.place.targets[0].hear("127.0.0.1", beside.now_s)
        twin.place.observe(0, *beside.point, None, beside.now_s, beside.now_s)
        assert not differences(beside.frame, twin.tick(beside.now_s)), number
    assert json.dumps(twin.state()) == json.dumps(beside.engine.state())


def test_nonsense_in_what_was_kept_is_left_out() -> None:
    beside = handed(beside_of())
    kept = beside.engine.state()
    kept["crew"]["desk"] = {"has": [9] * 12, "wanted": "yes", "ramp": [2.0] * 12, "_lit": None}
    twin = make(beside.show).engine
    twin.restore(kept)
    twin.hear_desk(beside.says())
    frame = twin.tick(beside.now_s + FRAME_S)
    assert frame.own.all()


# The short ways

SAID = (
    ("/fixture/foh-1/desk", 1),
    ("/fixture/foh-1/desk", 0),
    ("/desk", 0),
    ("/fixture/mid-2/desk", 1),
    ("/dark", 1),
    ("/dark", 0),
    ("/fixture/foh-2/out", 1),
    ("/fixture/foh-2/out", 0),
    ("/fixture/foh-1/still", 1),
    ("/fixture/foh-1/still", 0),
    ("/sight/back-1/nudge", 3.0, 2.0),
    ("/sight/back-1/done"),
    ("/walk", "E"),
    ("/level", 0.6, 0.5),
    ("/level", 1.0),
)


@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER, ("pan", "tilt")])
@pytest.mark.parametrize("number", range(2))
def test_the_short_ways_and_the_full_way_are_equal_beside_a_desk(own: tuple[str, ...], number: int) -> None:
    rnd, made = random.Random(number), build_rig(number)
    short, full = Beside(made, shared(own)), Beside(made, shared(own), short_ways=False)
    point = short.point
    for frame in range(700):
        point = (point[0] + rnd.gauss(0, 0.01), point[1] + rnd.gauss(0, 0.01))
        said = rnd.choice(SAID) if rnd.random() < 0.03 else None
        light = rnd.choice((0.0, 0.4, 1.0)) if rnd.random() < 0.02 else short.light[0]
        for one in (short, full):
            one.point, one.light[:] = point, light
            if isinstance(said, tuple):
                with suppress(Refused):
                    one.say(*said)
            one.tick()
        assert not differences(short.frame, full.frame), f"frame {frame}"


def test_a_usual_frame_beside_a_desk_takes_the_short_way(monkeypatch: pytest.MonkeyPatch) -> None:
    beside = beside_of()
    assert beside.engine.crew.cast(beside.now_s).usual
    beside.say(f"/fixture/{NAME}/desk", 1)
    beside.tick()
    assert not beside.engine.crew.cast(beside.now_s).usual
    beside.run(4.0)
    beside.say("/desk", 0)
    beside.run(5.0)
    assert beside.engine.crew.cast(beside.now_s).usual


# What leaves of every head

TWELVE = st.lists(st.sampled_from([0.0, 0.1, 0.5, 0.77, 1.0]), min_size=12, max_size=12)
CHANNELS = st.sets(st.sampled_from(CHANNEL_NAMES)).map(lambda names: tuple(n for n in CHANNEL_NAMES if n in names))
SHARES = st.lists(
    st.tuples(st.none() | CHANNELS, st.sampled_from([None, "multiply", "ours"])), min_size=12, max_size=12
)
DOINGS = st.lists(
    st.sampled_from(
        [
            ("/level", 0.6),
            ("/fixture/foh-1/level", 0.3),
            ("/fixture/foh-2/out", 1),
            ("/sight/foh-3/nudge", 5.0, 5.0),
            ("/fixture/foh-4/find", 1),
            ("/fixture/mid-1/still", 1),
            ("/fixture/mid-2/hold", 1),
            ("/dark", 1),
            ("/walk", "E"),
            ("/target/lead/level", 0.5),
        ]
    ),
    max_size=5,
)


@seed(20261126)
@settings(max_examples=60, deadline=None)
@given(shares=SHARES, light=TWELVE, doings=DOINGS, wait=st.integers(1, 60))
def test_what_leaves_is_ours_times_the_desks_exactly_where_it_is_multiplied(
    shares: Any, light: list[float], doings: Any, wait: int
) -> None:
    """Held against the same show without a desk, told the same: all that is ours is equal to it, bit for bit."""
    made = build_rig(1)
    mixed = tuple(replace(f, desk=DeskShare(*share)) for f, share in zip(made.fixtures, shares, strict=True))
    beside, alone = Beside(replace(made, fixtures=mixed)), Beside(made, None)
    for one in (beside, alone):
        one.light[:] = light
        one.run(2.0)
        for said in doings:
            one.say(*said)
        one.run(wait * FRAME_S)
    ours, theirs, sent = alone.frame, beside.says(), beside.frame
    roles = beside.engine.crew.cast(beside.now_s)
    ramp, dark = beside.engine.crew.desk.ramp, ("/dark", 1) in doings
    by_us = roles.by_hand | roles.found | (roles.role == Role.WALKED)
    assert sent.whole.tolist() == by_us.tolist()
    for n, (own, dimmer) in enumerate(shares):
        whole = bool(sent.whole[n])
        channels = np.array([own is None or name in own for name in CHANNEL_NAMES])
        expected = np.ones(5, dtype=bool) if whole else channels.copy()
        if roles.still[n]:
            expected[[PAN, TILT, DIMMER]] = True
        if dark or ramp[n] < 1.0:
            expected[DIMMER] = True
        assert sent.own[:, n].tolist() == expected.tolist()
        if roles.still[n] or dark:
            assert sent.level[n] == 0.0
            continue
        if whole:
            assert sent.level[n] == ours.level[n]
        elif channels[DIMMER]:
            factor = 1.0 if dimmer == "ours" else light[n]
            assert sent.level[n] == ours.level[n] * factor
        else:
            assert sent.level[n] == ramp[n] * light[n]
        for row, mine, desks, out in (
            (0, ours.pan_rad, theirs.pan_rad, sent.pan_rad),
            (1, ours.tilt_rad, theirs.tilt_rad, sent.tilt_rad),
            (3, ours.zoom_raw, theirs.zoom_raw, sent.zoom_raw),
            (4, ours.focus_raw, theirs.focus_raw, sent.focus_raw),
        ):
            assert out[n] == (mine if sent.own[row, n] else desks)[n]
