"""interface.md: a restart within 10 s of a crash goes on as it was; still and trims survive any restart."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bridge.door.door import Door, make
from bridge.door.events import Start
from tests.unit.door.stand_ins import octets_of

CID = bytes(range(16))
NAMES = ("pan_rad", "tilt_rad", "level", "zoom_raw", "focus_raw", "state")


def busy(bridge: Any) -> None:
    """Everything that an operator may have set."""
    bridge.stand(1.0, 3.0)
    for address, *args in [
        ("/level", 0.8),
        ("/fixture/foh-1/level", 0.5),
        ("/fixture/foh-2/hold", 1),
        ("/fixture/foh-3/out", 1),
        ("/fixture/foh-4/trim", 0.3, 0.1),
        ("/truss/mid/trim", 0.0, -0.2),
        ("/fixture/back-1/still", 1),
        ("/area/thrust", 1),
        ("/no-light/first-rows", 0),
        ("/floor/riser", 0.9),
        ("/target/lead/height", 1.5),
        ("/target/lead/size", 1.8),
    ]:
        bridge.say(address, *args)
    bridge.stand(1.2, 3.1)


def plain(data: Any) -> Any:
    """As it comes back from the disk."""
    return json.loads(json.dumps(data))


def start(bridge: Any, **left: Any) -> Any:
    """The process starts anew, `left` being what the last one left: a fresh door that goes on with the same tape."""
    bridge.door = Door(make(bridge.door.show), CID)
    bridge.inbox._handle = bridge.door.apply
    bridge.begin_tape()
    bridge.apply(Start(bridge.now_s, **left))
    return bridge


def restarted(bridge: Any, fresh: Any, gap_s: float, armed: bool = True) -> Any:
    """A fresh bridge that takes up what the other one was, after a gap, through JSON as on disk."""
    fresh.now_s = bridge.now_s + gap_s
    left, lasting = plain(bridge.door.left_behind()), plain(bridge.door.lasting())
    sequences = bridge.door.transmission.sequences
    told = {"left_behind": left, "lasting": lasting, "sequences": sequences, "crashed": True}
    return start(fresh, armed=armed, listening_since_s=fresh.now_s, **told)


@pytest.fixture
def make_fresh(make_bridge: Callable[..., Any]) -> Callable[[], Any]:
    """A bridge that is to be started anew."""
    return make_bridge


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
def test_after_a_crash_it_goes_on_as_it_was(bridge: Any, make_fresh: Callable[[], Any], gap_s: float) -> None:
    busy(bridge)
    bridge.say("/target/lead/alive")
    fresh = restarted(bridge, make_fresh(), gap_s)
    (after,) = fresh.run(1 / 44)
    for name in NAMES:
        np.testing.assert_allclose(getattr(after, name), getattr(bridge.frame, name), atol=1e-3, err_msg=name)
    fresh.refused("/target/lead/position", 0.0, 1.0, host="127.0.0.9")  # its sender is still the one
    for one in (bridge, fresh):
        one.stand(0.0, 6.5)
    for name in NAMES:
        ours, theirs = getattr(fresh.frame, name), getattr(bridge.frame, name)
        np.testing.assert_allclose(ours, theirs, atol=1e-6, err_msg=name)


def test_after_a_crash_it_goes_on_sending_at_once_only_when_started_with_armed(
    bridge: Any, make_fresh: Callable[[], Any]
) -> None:
    """interface.md, Armed or not: without --armed it remembers everything and sends nothing."""
    busy(bridge)
    sent, quiet = restarted(bridge, make_fresh(), 0.5), restarted(bridge, make_fresh(), 0.5, armed=False)
    assert octets_of(sent.door.tick(sent.now_s))
    for _ in range(100):
        assert quiet.door.tick(quiet.now_s) == ([], [])
        quiet.now_s += 1 / 44
    assert not quiet.door.transmission.armed
    assert quiet.engine.crew.trims.by_head == {"foh-4": (0.3, 0.1)}
    assert quiet.engine.crew.still.by_kind["fixture"] == {"back-1": ["127.0.0.1"]}
    sent.begin_tape()  # those ticks were nobody's
    quiet.begin_tape()


def test_one_that_was_not_armed_listens_before_it_sends_though_it_is_started_with_armed(
    bridge: Any, make_fresh: Callable[[], Any]
) -> None:
    bridge.say("/arm", 0)
    bridge.run(0.5)
    assert not bridge.door.transmission.armed
    fresh = restarted(bridge, make_fresh(), 0.5)
    fresh.run(0.5)
    assert fresh.door.transmission.starts
    assert fresh.door.transmission.armed
    fresh.run(1.0)
    assert not fresh.door.transmission.starts


def test_what_was_refused_before_the_crash_stays_refused(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    left = plain(bridge.door.left_behind()) | {"refused": [1]}
    fresh = start(make_fresh(), armed=True, left_behind=left, crashed=True)
    fresh.run(0.5)
    assert fresh.door.transmission.universes == ()
    assert fresh.door.transmission.rows() == [(1, "refused", "refused before the restart", 0)]


def test_the_lock_survives_a_crash(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    bridge.say("/lock", 1)
    fresh = restarted(bridge, make_fresh(), 0.5)
    assert fresh.refused("/floor/riser", 1.0).reason == "locked"


def test_what_was_switched_last_counts_above_the_live_state(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    """lasting.json is written at each switch, live.json twice a second."""
    left = plain(bridge.door.left_behind())
    bridge.say("/dark", 1)
    bridge.say("/fixture/foh-1/out", 1)
    lasting = plain(bridge.door.lasting()) | {"armed": False}
    fresh = make_fresh()
    start(fresh, armed=True, listening_since_s=fresh.now_s, left_behind=left, lasting=lasting, crashed=True)
    fresh.run(0.1)
    assert fresh.engine.crew.dark
    assert fresh.engine.crew.is_out(fresh.number("foh-1"))
    assert fresh.door.transmission.starts, "it was disarmed after the live state was taken"


def test_still_and_trims_survive_any_restart(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    busy(bridge)
    bridge.say("/truss/mid/still", 1)
    bridge.run(0.1)
    data = plain(bridge.door.lasting())
    outlasts = {key: value for key, value in data.items() if key not in ("armed", "dark", "out")}
    fresh = start(make_fresh(), armed=True, listening_since_s=0.0, lasting=outlasts)
    for frame in fresh.stand(1.2, 3.1):
        for name in ("back-1", "mid-1", "mid-2"):
            n = fresh.number(name)
            assert frame.level[n] == 0.0
            assert frame.pan_rad[n] == pytest.approx(bridge.frame.pan_rad[n])
            assert frame.tilt_rad[n] == pytest.approx(bridge.frame.tilt_rad[n])
    assert fresh.state("mid-1") == fresh.state("back-1") == "still"
    fresh.assert_lit((1.5, 3.2, 1.3), ["foh-4"])
    fresh.assert_lit((1.2, 3.1, 1.3), ["foh-1", "foh-2", "foh-3"])  # levels, hold and out do not outlast a stop
    fresh.say("/truss/mid/still", 0)
    fresh.stand(1.2, 3.1)
    fresh.assert_lit((1.2, 2.9, 1.3), ["mid-1", "mid-2"])


JUNK: list[Any] = [
    None,
    3,
    "x",
    [],
    True,
    {"lasting": 5, "fixtures": [1], "targets": "no"},
    {"fixtures": {"foh-1": {"angles": [1]}}},
]


@pytest.mark.parametrize("junk", JUNK, ids=lambda junk: str(junk)[:30])
@pytest.mark.parametrize("wrapped", [False, True])
def test_a_state_that_makes_no_sense_is_left_out(make_fresh: Callable[[], Any], junk: Any, wrapped: bool) -> None:
    left = {"engine": junk, "armed": junk, "refused": junk, "locked": None} if wrapped else junk
    fresh = start(make_fresh(), armed=True, left_behind=left, lasting=None if junk is True else junk)
    fresh.engine.restore(junk)
    fresh.engine.take_up_lasting(junk)
    fresh.begin_tape()
    fresh.stand(1.0, 3.0, seconds=4.0)
    fresh.assert_lit((1.0, 3.0, 1.3))


def places_of(data: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """The way to everything inside."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    return [path, *(place for key, value in items for place in places_of(value, (*path, key)))]


def replaced(data: Any, path: tuple[Any, ...], value: Any) -> Any:
    """A copy with something else at one place."""
    if not path:
        return value
    copy = data.copy()
    copy[path[0]] = replaced(data[path[0]], path[1:], value)
    return copy


WRONG: list[Any] = [None, True, -1, 10**14, 1e300, float("nan"), float("inf"), "x", [], [[]], {}, {"foh-1": "x"}]


def test_whatever_stands_at_any_place_of_what_was_left_it_starts_and_every_frame_is_finite(
    bridge: Any, make_fresh: Callable[[], Any]
) -> None:
    """Seeded: at every place of the state one of the wrong values, and 15 times at five places at once."""
    busy(bridge)
    bridge.say("/sight/foh-1/point", 10.0, 40.0)
    bridge.say("/fixture/mid-1/find", 1)
    bridge.run(0.05)
    whole = {"left_behind": plain(bridge.door.left_behind()), "lasting": plain(bridge.door.lasting())}
    rng, made = np.random.default_rng(5), make(bridge.door.show)
    places = [place for place in places_of(whole) if place]
    jobs = [[places[n]] for n in range(len(places)) if len(places[n]) <= 4 or n % 23 == 0]
    jobs += [[places[n] for n in rng.integers(len(places), size=5)] for _ in range(15)]
    for number, job in enumerate(jobs):
        left = whole
        for place in job:
            try:
                left = replaced(left, place, WRONG[rng.integers(len(WRONG))])
            except (KeyError, TypeError, IndexError, AttributeError):
                continue  # what stood there is gone already
        engine = type(made.engine)(made.engine.rig, made.engine.stage, made.show.network.lost_input, short_ways=False)
        door = Door(made._replace(engine=engine), CID)
        door.apply(Start(bridge.now_s, armed=True, crashed=True, **left))
        for step in range(3):
            door.tick(bridge.now_s + step / 44)
            frame = door.engine.frame
            where = (number, job)
            assert np.isfinite([frame.level, frame.pan_rad, frame.tilt_rad]).all(), where
            assert ((frame.level >= 0) & (frame.level <= 1)).all(), where


def test_numbers_that_are_none_and_names_that_are_gone_are_left_out(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    busy(bridge)
    text = json.dumps(bridge.door.left_behind())
    assert '"foh-4"' in text
    assert "0.8" in text
    left = json.loads(re.sub(r"\b0\.8\b", "NaN", text.replace("foh-4", "gone")))
    fresh = start(make_fresh(), armed=True, left_behind=left, crashed=True)
    for frame in fresh.run(0.5):
        assert np.isfinite(frame.level).all()
        assert np.isfinite(frame.pan_rad).all()
    assert fresh.engine.crew.trims.by_head == {}


def test_heads_go_on_from_where_they_were_sent_last_and_not_from_an_older_state(
    bridge: Any, make_fresh: Callable[[], Any]
) -> None:
    """A state that is a second old lies 1.4 m behind a walker (ordinary walking speed; common practice, no source)."""
    bridge.stand(-3.0, 3.0)
    old = json.loads(json.dumps(bridge.door.left_behind()))
    start_s = bridge.now_s
    bridge.run(1.0, lambda s: bridge.say("/target/lead/position", -3.0 + 1.4 * s, 3.0), every_s=0.01)
    assert bridge.now_s - start_s > 0.9
    fresh = make_fresh()
    fresh.now_s = bridge.now_s + 0.2
    newest = tuple(bridge.engine.freshest().tolist())
    fresh.apply(Start(fresh.now_s, armed=True, left_behind=old, freshest=newest))
    fresh.tick()
    assert fresh.place() == pytest.approx(bridge.place())
    assert bridge.misses(bridge.place(), fresh.frame).max() < 1.4 * 0.12, "between there and where they were led to"
