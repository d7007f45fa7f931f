"""The one door: events that nothing else covers."""

from __future__ import annotations

import pytest

from bridge.door.door import Door, make
from bridge.door.events import Start, Stop
from bridge.door.transmission import LISTEN_S, Phase
from bridge.errors import Refused
from bridge.wire.stream import safe_start
from tests.unit.door.stand_ins import CID, data_of, run, say, small_door, small_show


def test_not_armed_the_engine_ticks_and_nothing_is_sent() -> None:
    door = small_door()
    say(door, 1.0, "/target/lead/position", 1.0, 3.0)
    assert run(door, 1.0, 100) == [[]] * 100
    assert door.engine.frame is not None
    assert door.engine.frame.level.max() > 0.0


def test_the_first_frame_that_is_sent_is_dark_though_all_was_lit_inside() -> None:
    """Nobody knows where the heads are."""
    door = small_door()
    say(door, 1.0, "/target/lead/position", 1.0, 3.0)
    run(door, 1.0, 100)
    say(door, 3.3, "/arm", 1)
    first = data_of(door.tick(3.4))
    assert [packet.universe for packet in first] == [1, 2]
    assert door.engine.frame is not None
    assert door.engine.frame.level.max() == 0.0


def test_disarming_is_refused_while_anything_is_still_but_a_stop_is_not() -> None:
    door = small_door()
    say(door, 1.0, "/arm", 1)
    run(door, 2.0, 5)
    say(door, 2.2, "/fixture/foh-1/still", 1)
    with pytest.raises(Refused, match="still"):
        say(door, 2.2, "/arm", 0)
    assert door.transmission.phase is Phase.LIVE
    door.apply(Stop(2.3))
    assert door.transmission.phase is Phase.ENDING


def test_time_never_runs_back() -> None:
    door = small_door()
    say(door, 10.0, "/arm", 1)
    assert data_of(door.tick(10.0))
    assert data_of(door.tick(9.0)) == data_of(door.tick(10.0)) == [], "within the period of the first"
    say(door, 5.0, "/target/lead/position", 1.0, 3.0)
    assert next(iter(door.engine.place.status(10.5))).age_s == 0.5


def test_a_fresh_start_numbers_on_and_one_after_a_crash_leaves_room_for_what_was_not_written() -> None:
    for crashed, expected in ((False, [7, 9]), (True, [safe_start(7), safe_start(9)])):
        door = Door(make(small_show()), CID)
        door.apply(Start(10.0, True, 10.0, sequences={1: 7, 2: 9}, crashed=crashed))
        assert data_of(door.tick(10.0 + LISTEN_S - 0.001)) == []
        assert [packet.sequence for packet in data_of(door.tick(10.0 + LISTEN_S))] == expected


@pytest.mark.parametrize(
    ("address", "args", "told"),
    [
        ("/still", (1,), True),
        ("/truss/foh/still", (0,), True),
        ("/fixture/foh-1/out", (1,), True),
        ("/fixture/foh-1/trim", (0.5, 0.25), True),
        ("/dark", (True,), True),
        ("/arm", (1,), True),
        ("/target/lead/position", (1.0, 2.0), False),
        ("/level", (0.5,), False),
    ],
)
def test_who_switched_what_stays_is_told(address: str, args: tuple[object, ...], told: bool) -> None:
    door = small_door()
    say(door, 1.0, address, *args, sender="10.0.0.5")
    texts = [notice.text for notice in door.news.take()]
    assert bool(texts) is told
    assert all(text.startswith(f"{address} ") and text.endswith(", by 10.0.0.5") for text in texts)


def test_what_is_refused_is_told_to_nobody_as_done() -> None:
    door = small_door()
    with pytest.raises(Refused):
        say(door, 1.0, "/fixture/nobody/out", 1)
    with pytest.raises(Refused):
        say(door, 1.0, "/dark", 2)
    assert door.news.take() == []
