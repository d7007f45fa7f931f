"""The robot focus session against a stand-in for the daemon, in virtual time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bridge.rig.fixture import Hang
from bridge.rig.profile import Axis
from bridge.show.model import Show
from bridge.venue.invent import invent
from bridge.venue.robot import Progress, Robot
from bridge.venue.simulation import Venue
from tests.unit.venue.fakes import FakeDaemon
from tests.unit.venue.rigs import SPOT, show

DT = 0.01


def _session(rig: Show, seed: int, limit_s: float = 120.0) -> tuple[Venue, FakeDaemon, Progress, float]:
    venue, daemon = Venue(rig, invent(rig, seed)), FakeDaemon(rig)
    robot = Robot(rig.fixtures, venue.marks, daemon.say, venue.landing, seed)
    steps = 0
    while not robot.progress.finished and steps * DT < limit_s:
        if steps % 2 == 0:
            daemon.play(venue)
        venue.step(DT)
        steps += 1
        if steps % 2 == 0:
            robot.tick(steps * DT)
    return venue, daemon, robot.progress, steps * DT


def _misses(venue: Venue, daemon: FakeDaemon) -> np.ndarray:
    """Where the recorded angles throw the beams, minus the true marks, (k, 2) m."""
    out = []
    for (name, mark), (pan, tilt) in daemon.records.items():
        n, i = len(venue.names), venue.names.index(name)
        start, ray = venue.hangs.beam(np.full(n, np.radians(pan)), np.full(n, np.radians(tilt)))
        x, y, z = venue.marks[mark]
        hit = start[i] - ray[i] * (start[i, 2] - z) / ray[i, 2]
        out.append(hit[:2] - (x, y))
    return np.array(out)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_every_head_is_sighted_on_every_mark_within_the_hand_error(seed: int) -> None:
    venue, daemon, progress, took_s = _session(show(8), seed)
    assert progress.misses == ()
    assert len(daemon.records) == progress.done == 40
    assert daemon.done == set(venue.names)
    assert took_s < 40.0
    off = _misses(venue, daemon)
    # 80 draws of N(0, 3 cm): the standard deviation is within 3.0 +- 0.75 cm in 99.8 of 100 cases
    assert off.std() == pytest.approx(0.03, abs=0.0075)
    assert np.abs(off.mean(axis=0)).max() < 0.02


def test_a_coarse_head_is_taken_at_its_best_or_left_out() -> None:
    """8 bits over 540 deg are 2.1 deg a step: no mark can be met within 3 cm but by luck. It must end, honestly."""
    coarse = replace(
        SPOT, channels={"pan": (1,), "tilt": (2,), "dimmer": (3,), "zoom": (4,)}, focus=None, pan=Axis(-270, 270)
    )
    rig = show(1)
    rig = replace(rig, fixtures=tuple(replace(f, profile=coarse) for f in rig.fixtures))
    venue, daemon, progress, _ = _session(rig, 1, limit_s=300.0)
    assert progress.finished
    assert len(progress.misses) + progress.done == 5
    assert len(daemon.records) == progress.done
    if daemon.records:
        assert np.abs(_misses(venue, daemon)).max() < 0.2


def test_a_head_that_never_shows_its_beam_is_given_up() -> None:
    rig = show(2)
    venue, daemon = Venue(rig, invent(rig, 1)), FakeDaemon(rig)
    robot = Robot(rig.fixtures, venue.marks, daemon.say, lambda: {}, 1)
    now = 0.0
    while not robot.progress.finished and now < 300:
        now += 0.02
        robot.tick(now)
    assert robot.progress.finished
    assert len(robot.progress.misses) == 10
    assert daemon.records == {}


def test_hang_is_not_used() -> None:
    """The same truth with another nominal hang in the rig gives the same sightings: only what is seen counts."""
    rig = show(2)
    truth = invent(rig, 5)
    other = replace(rig, fixtures=tuple(replace(f, hang=Hang(yaw=123), at=(9, 9, 9)) for f in rig.fixtures))
    seen = []
    for one in (rig, other):
        venue, daemon = Venue(one, truth), FakeDaemon(one)
        robot = Robot(one.fixtures, venue.marks, daemon.say, venue.landing, 1)
        for step in range(2500):
            daemon.play(venue)
            venue.step(DT)
            robot.tick((step + 1) * DT)
        seen.append(daemon.records)
    assert seen[0] == seen[1]
    assert len(seen[0]) == 10


@pytest.mark.parametrize("hang", [Hang(pitch=45), Hang(roll=-30), Hang(pitch=90), Hang(roll=180)], ids=str)
def test_heads_on_side_arms_and_standing_ones_are_learnt_too(hang: Hang) -> None:
    """Marks beyond a head's tilt range (135 deg) may be missed; what can be reached is."""
    rig = show(4)
    rig = replace(rig, fixtures=tuple(replace(f, hang=hang) for f in rig.fixtures))
    venue, daemon, progress, _ = _session(rig, 2, limit_s=150.0)
    assert progress.finished
    for name, mark in progress.misses:
        i = venue.names.index(name)
        to_mark = np.array(venue.marks[mark]) - venue.hangs.position[i]
        tilt = np.degrees(np.arccos(-(to_mark @ venue.hangs.up()[i]) / np.linalg.norm(to_mark)))
        assert tilt > 134, f"{name} could have reached {mark}"
    assert len(daemon.records) == progress.done >= 8
    assert np.abs(_misses(venue, daemon)).max() < 0.15
