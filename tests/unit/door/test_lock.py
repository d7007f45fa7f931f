"""interface.md, OSC: `/lock` refuses /sight, /walk, /arm 0, /trim, /floor, /frame and /reload until 0."""

from __future__ import annotations

from typing import Any

import pytest

from bridge.door.lock import Lock
from bridge.errors import Refused
from tests.unit.door.stand_ins import octets_of, say, small_door

LOCKED: list[tuple[Any, ...]] = [
    ("/sight/foh-1/near", "A"),
    ("/sight/foh-1/point", 1.0, 40.0),
    ("/sight/foh-1/nudge", 1.0, 1.0),
    ("/sight/foh-1/zoom", 0.5),
    ("/sight/foh-1/focus", 0.5),
    ("/sight/foh-1/level", 0.5),
    ("/sight/foh-1/record", "A"),
    ("/sight/foh-1/forget", "A"),
    ("/sight/foh-1/done",),
    ("/sight/solve",),
    ("/sight/foh-1/accept",),
    ("/sight/back",),
    ("/walk", "A"),
    ("/walk/confirm", "A"),
    ("/arm", 0),
    ("/arm", False),
    ("/arm", 0.0),
    ("/fixture/foh-1/trim", 0.1, 0.1),
    ("/truss/foh/trim", 0.1, 0.1),
    ("/floor/riser", 0.5),
    ("/frame/tags/record", "A", "1/7"),
    ("/frame/tags/solve",),
    ("/frame/tags/forget",),
    ("/reload",),
]
FREE: list[tuple[Any, ...]] = [
    ("/target/lead/position", 1.0, 3.0),
    ("/target/lead/velocity", 0.1, 0.1),
    ("/target/lead/height", 1.5),
    ("/target/lead/size", 1.5),
    ("/target/lead/level", 0.5),
    ("/target/lead/alive",),
    ("/target/lead/take",),
    ("/target/lead/crew", "foh-1"),
    ("/target/trim/alive",),
    ("/level", 0.5),
    ("/fixture/foh-1/level", 0.5),
    ("/fixture/foh-1/follow", "lead"),
    ("/fixture/foh-1/hold", 1),
    ("/fixture/foh-1/out", 1),
    ("/fixture/foh-1/find", 1),
    ("/fixture/foh-1/act", "reset"),
    ("/area/thrust", 1),
    ("/no-light/rows", 1),
    ("/dark", 1),
    ("/dark", 0),
    ("/still", 1),
    ("/truss/foh/still", 1),
    ("/fixture/foh-1/still", 1),
    ("/arm", 1),
    ("/arm", True),
    ("/lock", 0),
    ("/lock", 1),
    ("/feed/subscribe", 7000, 10),
]


def named(message: tuple[Any, ...]) -> str:
    return " ".join(map(str, message))


@pytest.mark.parametrize("message", LOCKED, ids=named)
def test_what_belongs_to_the_time_before_the_show_is_refused_while_it_is_locked(message: tuple[Any, ...]) -> None:
    lock = Lock()
    lock.check(message[0], message[1:])
    lock.on = True
    with pytest.raises(Refused, match="/lock 0 unlocks") as caught:
        lock.check(message[0], message[1:])
    assert caught.value.reason == "locked"
    lock.on = False
    lock.check(message[0], message[1:])


@pytest.mark.parametrize("message", FREE, ids=named)
def test_what_a_show_needs_is_never_locked(message: tuple[Any, ...]) -> None:
    lock = Lock()
    lock.on = True
    lock.check(message[0], message[1:])


def test_at_the_door_a_locked_message_changes_nothing_and_the_lock_is_told_with_who() -> None:
    door, other = small_door(), small_door()
    for one in (door, other):
        say(one, 1.0, "/arm", 1)
        say(one, 1.0, "/lock", 1, sender="10.0.0.5")
    assert "/lock 1, by 10.0.0.5" in [notice.text for notice in door.news.take()]
    for address, *args in LOCKED:
        with pytest.raises(Refused, match="locked"):
            say(door, 1.0, address, *args)
    for step in range(100):
        assert octets_of(door.tick(2.0 + step / 44)) == octets_of(other.tick(2.0 + step / 44))
    assert door.transmission.armed
    say(door, 5.0, "/lock", 0)
    say(door, 5.0, "/fixture/foh-1/trim", 0.1, 0.1)
    say(door, 5.0, "/arm", 0)
    assert not door.transmission.armed


@pytest.mark.parametrize("args", [(), (2,), ("on",), (1, 1), (0.5,)])
def test_a_lock_that_is_no_switch_is_refused(args: tuple[Any, ...]) -> None:
    door = small_door()
    with pytest.raises(Refused):
        say(door, 1.0, "/lock", *args)
    assert not door.lock.on
