"""Sentences of interface.md that are easily read past: each has a scenario of its own."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from bridge.door.events import NewPoses
from bridge.geometry.mechanics import miss_distance
from bridge.rig.fixture import Pose


def settle(bridge: Any, seconds: float) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say("/target/lead/alive"))


def turned_poses(bridge: Any, degrees: float) -> dict[str, Pose]:
    poses = {}
    for n, name in enumerate(bridge.rig.names):
        turn = Rotation.from_euler("z", degrees, degrees=True) * Rotation.from_matrix(bridge.rig.heads.rotation[n])
        poses[name] = Pose(tuple(bridge.rig.heads.position[n]), tuple(turn.as_quat()))
    return poses


def lit_pan_speed(bridge: Any, poses: dict[str, Pose]) -> float:
    """Fastest commanded pan (deg/s) of any head that gives light, over the 5 s after new poses."""
    before, fastest = bridge.frame, 0.0
    bridge.apply(NewPoses(bridge.now_s, poses))
    for frame in settle(bridge, 5.0):
        speed = np.degrees(np.abs(frame.pan_rad - before.pan_rad)) * 44
        fastest = max(fastest, speed[np.minimum(frame.level, before.level) > 0].max(initial=0.0))
        before = frame
    return fastest


def assert_on_target(bridge: Any) -> None:
    """All heads lit, with their new poses' beams on the performer at (1, 3)."""
    start, direction = bridge.engine.rig.heads.beam(bridge.frame.pan_rad, bridge.frame.tilt_rad)
    assert bridge.states == {"lit"}
    assert miss_distance(start, direction, np.full((len(start), 3), (1.0, 3.0, 1.3))).max() < 1e-3


def test_a_dark_target_is_lit_only_once_it_is_inside_also_the_first_time(bridge: Any) -> None:
    """ "a dark one is lit again once it is inside" """
    bridge.stand(6.1, 3.0)
    bridge.assert_dark("outside")


def test_pointing_with_a_head_of_another_target_is_refused(bridge: Any) -> None:
    """ "that fixture is sent exactly these degrees": which cannot be for a head that follows somebody else."""
    bridge.say("/fixture/foh-2/follow", "second")
    assert bridge.refused("/target/lead/pointing", "foh-2", 10.0, 40.0).reason == "follows-another"


def test_a_large_change_of_poses_is_made_in_the_dark(bridge: Any) -> None:
    """ "new poses are taken when trusted, in the dark or with a slow move" """
    bridge.stand(1.0, 3.0)
    assert lit_pan_speed(bridge, turned_poses(bridge, 20.0)) < 1.0
    assert_on_target(bridge)


def test_a_small_change_of_poses_is_made_slowly_in_the_light(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    assert 0.1 < lit_pan_speed(bridge, turned_poses(bridge, 0.3)) < 1.0
    assert_on_target(bridge)


def test_a_refused_pointing_does_not_claim_the_target(bridge: Any) -> None:
    bridge.refused("/target/lead/pointing", "foh-2", 0.0, 120.0, host="127.0.0.9")
    bridge.say("/target/lead/position", 1.0, 3.0, host="127.0.0.1")


def test_a_held_head_that_is_let_go_for_a_short_way_stays_lit(bridge: Any) -> None:
    """ "a move that takes the head longer than this is made in the dark": 1.5 m at 12 m takes a third of a second."""
    bridge.stand(0.0, 3.0)
    bridge.say("/fixture/foh-1/hold", 1)
    bridge.stand(1.5, 3.0)
    bridge.say("/fixture/foh-1/hold", 0)
    frames = settle(bridge, 2.0)
    assert min(frame.level[bridge.number("foh-1")] for frame in frames) == 1.0
    bridge.assert_lit((1.5, 3.0, 1.3))
