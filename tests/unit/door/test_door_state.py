"""A door that takes up the state of another, through JSON, goes on byte for byte: what captures and replays rest on."""

from __future__ import annotations

import contextlib
import json
import random
from typing import Any

import pytest

from bridge.door.door import Door, make
from bridge.door.events import NewPoses, OthersHeard, OtherSource, Start, Stop, Unsent
from bridge.door.transmission import Phase
from bridge.errors import Refused
from bridge.show.model import Show
from tests.unit.door.stand_ins import CID, HOST, PERIOD, octets_of, say, small_show

TICKS = 200
HEADS = [f"{truss}-{n}" for truss in ("foh", "mid", "back") for n in (1, 2, 3, 4)]


def message(rng: random.Random) -> tuple[Any, ...]:
    """One of everything that an operator may send, at random; some of it is refused."""
    head, on = rng.choice(HEADS), rng.randrange(2)
    x, y = rng.uniform(-8, 8), rng.uniform(-2, 10)
    return rng.choice(
        [
            ("/target/lead/position", x, y),
            ("/target/lead/position", x, y, rng.uniform(0, 2)),
            ("/target/lead/velocity", x / 4, y / 8),
            ("/target/lead/pointing", head, rng.uniform(-90, 90), rng.uniform(20, 80)),
            ("/target/lead/height", rng.uniform(1, 2), rng.choice([0.0, 1.5])),
            ("/target/lead/size", rng.uniform(1, 3), 1.0),
            ("/target/lead/level", rng.random(), rng.choice([0.0, 2.0])),
            ("/target/lead/alive",),
            ("/level", rng.random(), rng.choice([0.0, 3.0])),
            (f"/fixture/{head}/level", rng.random(), 1.0),
            (f"/fixture/{head}/hold", on),
            (f"/fixture/{head}/out", on),
            (f"/fixture/{head}/find", on),
            (f"/fixture/{head}/trim", x / 10, y / 10),
            (f"/fixture/{head}/still", on),
            ("/truss/mid/trim", 0.1, -0.1),
            (f"/sight/{head}/point", rng.uniform(-90, 90), rng.uniform(20, 80)),
            (f"/sight/{head}/nudge", 0.5, -0.5),
            (f"/sight/{head}/zoom", rng.random()),
            (f"/sight/{head}/done",),
            ("/walk", "A"),
            ("/dark", on),
            ("/lock", int(rng.random() < 0.1)),
        ]
    )


def event(door: Door, rng: random.Random, now_s: float) -> None:
    """Something happens."""
    if rng.random() < 0.9:
        with contextlib.suppress(Refused):
            say(door, now_s, *message(rng), sender=rng.choice([HOST, HOST, "10.0.0.5"]))
        return
    heard = (
        {rng.choice([1, 2]): (OtherSource("Desk", "10.0.0.9", rng.choice([100, 150])),)} if rng.random() < 0.7 else {}
    )
    name = rng.choice(HEADS)
    door.apply(
        rng.choice(
            [
                OthersHeard(now_s, heard),
                Unsent(now_s, (rng.choice([1, 2]),)),
                NewPoses(now_s, {name: small_show(seed=7).poses[name]}, {"Z": (1.0, 2.0, 0.0)}),
            ]
        )
    )


def taken_up(door: Door, show: Show) -> Door:
    """A new door with the state of another."""
    fresh = Door(make(show), CID)
    fresh.restore(json.loads(json.dumps(door.state())))
    return fresh


def assert_same(door: Door, show: Show, now_s: float, seed: int, meanwhile: bool = True) -> None:
    """For TICKS the two say the same, while the same happens to both."""
    fresh = taken_up(door, show)
    assert json.dumps(fresh.state()) == json.dumps(door.state())
    ours, theirs = random.Random(seed), random.Random(seed)
    for step in range(TICKS):
        now_s += PERIOD
        assert octets_of(fresh.tick(now_s)) == octets_of(door.tick(now_s)), f"{step} ticks on, seed {seed}"
        if meanwhile and step % 3 == 0:
            event(door, ours, now_s)
            event(fresh, theirs, now_s)
    assert fresh.transmission.phase is door.transmission.phase
    assert json.dumps(fresh.state()) == json.dumps(door.state())


@pytest.mark.parametrize("synchronise", [None, 9])
@pytest.mark.parametrize("seed", range(6))
def test_in_the_middle_of_a_run(seed: int, synchronise: int | None) -> None:
    show, rng, now_s = small_show(synchronise=synchronise, contested=rng_word(seed)), random.Random(seed), 10.0
    door = Door(make(show), CID)
    door.apply(Start(now_s, armed=True, listening_since_s=now_s, sequences={1: 250, 2: 3}))
    for _ in range(rng.randrange(70, 300)):
        now_s += PERIOD
        door.tick(now_s)
        if rng.random() < 0.3:
            event(door, rng, now_s)
    assert_same(door, show, now_s, seed)


def rng_word(seed: int) -> str:
    return "send" if seed % 3 == 0 else "refuse"


@pytest.mark.parametrize("ticks", [0, 1, 30, 52])
def test_while_it_listens(ticks: int) -> None:
    show = small_show()
    door = Door(make(show), CID)
    door.apply(Start(10.0, armed=True, listening_since_s=10.0))
    for step in range(ticks):
        door.tick(10.0 + step * PERIOD)
    assert door.transmission.phase is Phase.LISTENING
    assert_same(door, show, 10.0 + ticks * PERIOD, seed=1)
    assert door.transmission.phase is Phase.LIVE


@pytest.mark.parametrize("ticks", range(6))
@pytest.mark.parametrize("stop", [True, False])
@pytest.mark.parametrize("synchronise", [None, 9])
def test_at_every_step_of_the_end_and_when_it_is_armed_again(ticks: int, stop: bool, synchronise: int | None) -> None:
    show = small_show(synchronise=synchronise)
    door = Door(make(show), CID)
    door.apply(Start(10.0, armed=True))
    say(door, 10.0, "/target/lead/position", 1.0, 3.0)
    now_s = 10.0
    for _ in range(100):
        now_s += PERIOD
        door.tick(now_s)
    if stop:
        door.apply(Stop(now_s))
    else:
        say(door, now_s, "/arm", 0)
    for _ in range(ticks):
        now_s += PERIOD
        door.tick(now_s)
    assert door.transmission.phase is (Phase.ENDING if ticks < 5 else Phase.OFF)
    assert_same(door, show, now_s, seed=2, meanwhile=False)
    now_s += (TICKS + 1) * PERIOD
    say(door, now_s, "/arm", 1)
    assert_same(door, show, now_s, seed=3)
    assert door.transmission.phase is Phase.LIVE


def test_with_refused_universes_that_are_looked_at_again() -> None:
    show, now_s = small_show([1, 2, 3]), 12.0
    door = Door(make(show), CID)
    door.apply(Start(10.0, armed=True, listening_since_s=10.0))
    door.apply(OthersHeard(10.5, {2: (OtherSource("Desk", "10.0.0.9", 100),)}))
    assert {universe for universe, _ in octets_of(door.tick(now_s))} == {1, 3, 64214}
    say(door, now_s, "/target/lead/position", 1.0, 3.0)
    assert_same(door, show, now_s, seed=4, meanwhile=False)
    now_s += (TICKS + 1) * PERIOD
    fresh = taken_up(door, show)
    for one in (door, fresh):
        one.apply(OthersHeard(now_s, {}))
        say(one, now_s, "/arm", 1)
    assert octets_of(fresh.tick(now_s)) == (sent := octets_of(door.tick(now_s)))
    assert 2 in {universe for universe, _ in sent}
    assert fresh.transmission.rows() == [(u, "sent", "", 0) for u in (1, 2, 3)]
