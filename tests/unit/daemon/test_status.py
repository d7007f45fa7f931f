"""What the feed tells of a door, and poses prepared beside the loop change nothing until they are taken."""

from dataclasses import replace

import numpy as np
import pytest

from bridge.daemon import status
from bridge.door.door import Door
from bridge.door.events import NewPoses, OthersHeard, OtherSource
from tests.unit.door.stand_ins import PERIOD, octets_of, say, small_door, small_show


@pytest.fixture
def door() -> Door:
    return following()


def following() -> Door:
    """A door armed at 0 s on a performer who stands, at about 2.3 s."""
    door = small_door()
    say(door, 0.0, "/arm", 1)
    say(door, 0.0, "/target/lead/position", 1.0, 4.0)
    for step in range(100):
        door.tick(step * PERIOD)
    return door


def test_prepared_poses_change_nothing_until_taken_and_keep_the_other_heads_poses(door: Door) -> None:
    direct, poses = following(), small_show().poses
    name = next(iter(poses))
    moved = {name: replace(poses[name], position=(-5.0, -11.0, 8.5))}
    prepared = door.prepare_poses(moved)
    for step in range(100, 110):
        assert octets_of(door.tick(step * PERIOD)) == octets_of(direct.tick(step * PERIOD))
    door.apply(NewPoses(110 * PERIOD, moved, {"Z": (1.0, 2.0, 0.0)}, prepared))
    direct.apply(NewPoses(110 * PERIOD, {**poses, **moved}))
    ways = []
    for step in range(110, 250):
        assert octets_of(door.tick(step * PERIOD)) == octets_of(direct.tick(step * PERIOD))
        ways.append(door.engine.frame.pan_rad.copy())
    assert (ways[0] != ways[-1]).tolist() == [True] + [False] * 11, "one head goes elsewhere"
    assert door.engine.marks["Z"] == (1.0, 2.0, 0.0)
    assert door.engine.rig.has_pose.all()
    assert door.poses == {**poses, **moved}


def test_poses_prepared_for_an_engine_that_is_gone_are_prepared_again(door: Door) -> None:
    """The show was read again while a solve's poses were made."""
    from bridge.door.events import NewShow

    show = small_show()
    name = next(iter(show.poses))
    moved = {name: replace(show.poses[name], position=(-5.0, -11.0, 8.5)), "gone": show.poses[name]}
    prepared = door.prepare_poses(moved)
    door.apply(NewShow(5.0, show))
    door.apply(NewPoses(5.0, moved, prepared=prepared))
    assert door.poses[name].position == (-5.0, -11.0, 8.5)
    assert door.engine.rig.heads.position[0].tolist() == pytest.approx([-5.0, -11.0, 8.5])
    assert set(door.poses) == set(show.poses)


def test_where_a_head_points_is_what_it_was_told_in_degrees(door: Door) -> None:
    say(door, 3.0, "/sight/foh-1/point", 12.5, 40.25)
    say(door, 3.0, "/sight/foh-1/zoom", 0.5)
    for step in range(200):
        door.tick(3.0 + step * PERIOD)
    pan, tilt, zoom, focus = status.pointing(door, "foh-1")
    assert (pan, tilt) == (pytest.approx(12.5), pytest.approx(40.25))
    assert (zoom, focus) == (32768, None), "no hand has set the focus"
    say(door, 8.0, "/sight/foh-1/focus", 0.25)
    assert status.pointing(door, "foh-1")[2:] == (32768, 16384)
    say(door, 8.0, "/sight/foh-1/done")
    door.tick(8.0)
    frame = door.engine.frame
    assert frame is not None
    assert status.pointing(door, "foh-1")[2:] == (round(float(frame.zoom_raw[0])), None)


def test_before_the_first_frame_nobody_knows_zoom_and_focus_and_there_are_no_fixtures_to_tell() -> None:
    door = small_door()
    assert status.pointing(door, "foh-1")[2:] == (None, None)
    assert list(status.rows(door, 0.0).fixtures) == []


def test_the_feeds_rows_name_every_fixture_and_target(door: Door) -> None:
    rows = status.rows(door, 5.0)
    assert [row[0] for row in rows.fixtures] == [fixture.name for fixture in door.show.fixtures]
    ((name, x, y, _, inside, age_s),) = rows.targets
    assert (name, x, y, inside, age_s) == ("lead", 1.0, 4.0, True, 5.0)
    assert status.switches(door, 5.0) == (True, False, False, 1.0)


def test_the_feeds_rows_say_what_becomes_of_each_universe_and_who_else_is_there() -> None:
    door = small_door()
    assert list(status.rows(door, 0.0).universes) == [(1, "waiting", "", 0), (2, "waiting", "", 0)]
    door.apply(OthersHeard(0.5, {2: (OtherSource("Desk", "10.0.0.9", 100), OtherSource("Loud", "10.0.0.8", 150))}))
    say(door, 0.5, "/arm", 1)
    door.tick(2.0)
    assert list(status.rows(door, 2.0).universes) == [(1, "sent", "", 0), (2, "refused", "Loud", 150)]


def test_only_what_is_trimmed_is_told(door: Door) -> None:
    say(door, 3.0, "/fixture/foh-1/trim", 0.5, -0.25)
    say(door, 3.0, "/truss/mid/trim", 0.0, 1.0)
    say(door, 3.0, "/truss/back/trim", 0.0, 0.0)
    assert list(status.rows(door, 3.0).trims) == [("fixture", "foh-1", 0.5, -0.25), ("truss", "mid", 0.0, 1.0)]
    say(door, 3.0, "/fixture/foh-1/trim", 0.0, 0.0)
    assert list(status.rows(door, 3.0).trims) == [("truss", "mid", 0.0, 1.0)]


def test_switches_say_dark_still_and_the_master(door: Door) -> None:
    for address, *args in (("/dark", 1), ("/fixture/foh-1/still", 1), ("/level", 0.5)):
        say(door, 3.0, address, *args)
    door.tick(3.0)
    assert status.switches(door, 4.0) == (True, True, True, 0.5)


def test_the_end_of_the_streams_is_the_last_look_without_light(door: Door) -> None:
    before = door.engine.frame
    dimmers, angles = [5, 6], [1, 2, 3, 4]  # of the first head; channels of tests/conftest.spot_profile

    def slots(now_s: float, channels: list[int]) -> list[int]:
        packet = next(packet for universe, packet in octets_of(door.tick(now_s)) if universe == 1)
        return [packet[125 + channel] for channel in channels]

    say(door, 3.0, "/level", 0.9)
    assert any(slots(3.0, dimmers))
    say(door, 3.05, "/level", 0.8)
    stood = slots(3.05, angles)
    say(door, 3.1, "/arm", 0)
    assert slots(3.1, dimmers + angles) == [0, 0, *stood]
    assert np.array_equal(door.engine.frame.pan_rad, before.pan_rad), "nothing moves any more"
