"""Raised marks: what is seen on a card; heads on the floor and on a balcony are sighted on them, and solved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bridge.geometry.stage import Mark
from bridge.rig.fixture import Fixture, Hang, Mechanics, Pose
from bridge.show.model import Show
from bridge.solve.calibrate import calibrate
from bridge.solve.measurements import Sighting
from bridge.venue.calibration import calibration
from bridge.venue.cards import FLATTEST_DEG, Cards
from bridge.venue.invent import Scatter, invent
from bridge.venue.robot import Robot
from bridge.venue.simulation import Venue
from tests.unit.venue.fakes import FakeDaemon
from tests.unit.venue.rigs import SPOT, show, stage

DT = 0.01
HEADS = {
    "foh-1": ((-3.0, -10.0, 8.0), Hang()),
    "floor-1": ((-8.0, 2.0, 0.3), Hang(roll=180)),
    "floor-2": ((8.0, 6.0, 0.3), Hang(roll=180)),
    "balcony-1": ((4.0, -22.0, 3.5), Hang()),
}
RAISED = {"P": (-4.0, 1.0, 1.6), "Q": (4.0, 1.5, 2.2), "R": (3.0, 7.0, 1.6), "S": (-3.5, 6.5, 2.2)}
EXACT = Scatter(0, 0, 180, 0, 0, 0, 0, 0, 0, 0)


def house(raised: dict[str, tuple[float, float, float]] = RAISED) -> Show:
    fixtures = tuple(
        Fixture(name, SPOT, 1, 1 + 10 * i, hang, at=at) for i, (name, (at, hang)) in enumerate(HEADS.items())
    )
    place = stage()
    marks = dict(place.marks) | {name: Mark(name, at) for name, at in raised.items()}
    return replace(show(1), fixtures=fixtures, stage=replace(place, marks=marks))


def session(rig: Show, venue: Venue, seed: int) -> tuple[FakeDaemon, Robot, float]:
    daemon = FakeDaemon(rig)
    robot = Robot(rig.fixtures, venue.marks, daemon.say, venue.landing, seed, cards=Cards(venue))
    steps = 0
    while not robot.progress.finished and steps * DT < 120:
        if steps % 2 == 0:
            daemon.play(venue)
        venue.step(DT)
        steps += 1
        if steps % 2 == 0:
            robot.tick(steps * DT)
    return daemon, robot, steps * DT


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_floor_and_balcony_heads_are_sighted_on_raised_marks_and_solved(seed: int) -> None:
    rig = house()
    truth = invent(rig, seed)
    daemon, robot, took_s = session(rig, Venue(rig, truth), seed)
    assert robot.progress.misses == robot.progress.unserved == ()
    assert took_s < 60
    sighted = {name: {m for n, m in daemon.records if n == name} for name in HEADS}
    assert sighted["foh-1"] == {*"ABCDE", *RAISED}
    assert sighted["floor-1"] == sighted["floor-2"] == set(RAISED)
    assert sighted["balcony-1"] >= set(RAISED)
    answer = calibrate(rig.fixtures, rig.stage, [Sighting(*key, *angles) for key, angles in daemon.records.items()])
    assert answer.suspects == ()
    poses = {
        name: Pose(f.position, f.rotation, f.faces, mechanics=f.mechanics or Mechanics())
        for name, f in answer.fixtures.items()
    }
    found = calibration(replace(rig, poses=poses), truth)
    assert found["unsolved"] == []
    # 3 cm hands; over six seeds, 48 heads of such a house, the worst had 8.0 cm rms
    assert max(errors["rms_m"] for errors in found["fixtures"].values()) < 0.12


def test_the_hands_leave_the_beam_off_the_cards_by_the_error_of_a_hand() -> None:
    rig = house()
    off = []
    for seed in (1, 2, 3):
        venue = Venue(rig, invent(rig, seed, EXACT))
        daemon, _, _ = session(rig, venue, seed)
        for (name, mark), (pan, tilt) in daemon.records.items():
            if mark in RAISED:
                n = len(venue.names)
                starts, rays = venue.hangs.beam(np.full(n, np.radians(pan)), np.full(n, np.radians(tilt)))
                i = venue.names.index(name)
                off.append(np.linalg.norm(np.cross(np.array(venue.marks[mark]) - starts[i], rays[i])))
    # 48 distances of two draws each of N(0, 3 cm): rms 4.2 cm, within 1.2 cm in 99.9 of 100 cases
    assert len(off) == 48
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(0.03 * np.sqrt(2), abs=0.012)


def test_a_head_without_a_mark_that_serves_it_is_left_alone_and_named() -> None:
    rig = house(raised={})
    daemon, robot, _ = session(rig, Venue(rig, invent(rig, 1)), 1)
    assert set(robot.progress.unserved) == {"floor-1", "floor-2", "balcony-1"}
    assert {name for name, _ in daemon.records} == {"foh-1"}
    assert daemon.level["floor-1"] == 0.0


def test_a_mark_serves_from_ten_degrees_on_and_a_card_serves_everybody() -> None:
    venue = Venue(house(), invent(house(), 1, EXACT))
    cards = Cards(venue)
    assert cards.raised == set(RAISED)
    assert all(cards.serves(head, mark) for head in HEADS for mark in RAISED)
    for head, (at, _) in HEADS.items():
        for mark in "ABCDE":
            x, y, z = np.subtract(at, venue.marks[mark])
            assert cards.serves(head, mark) is bool(np.degrees(np.arctan2(z, np.hypot(x, y))) > FLATTEST_DEG)


def test_a_card_shows_right_and_up_as_seen_from_the_head() -> None:
    """A head straight downstage of a mark, at its height: +x is to the right, +z up; behind it nothing is seen."""
    one = Fixture("a", SPOT, 1, 1, Hang(), at=(0.0, -4.0, 2.0))
    rig = replace(house({"M": (0.0, 0.0, 2.0)}), fixtures=(one,))
    truth = invent(rig, 1, replace(EXACT, yaw_unknown_deg=0))
    truth = replace(
        truth, fixtures={"a": replace(truth.fixtures["a"], position=(0.0, -4.0, 2.0), rotation=(0, 0, 0, 1))}
    )
    venue, daemon = Venue(rig, truth), FakeDaemon(rig)

    def seen(pan: float, tilt: float) -> tuple[float, float, float] | None:
        daemon.level["a"] = 0.2
        daemon.aim["a"] = [pan, tilt]
        daemon.play(venue)
        for _ in range(400):
            venue.step(DT)
        return Cards(venue).crossing("a", "M")

    # conventions.md: at pan 0 and tilt 90 the beam goes along +y; pan turns it left as seen from above
    assert seen(0.0, 90.0) == pytest.approx((0, 0, 0), abs=0.02)
    assert seen(-10.0, 90.0) == pytest.approx((4 * np.tan(np.radians(10)), 0, 0), abs=0.02)
    assert seen(0.0, 100.0) == pytest.approx((0, 4 * np.tan(np.radians(10)), 0), abs=0.02)
    assert seen(180.0, 90.0) is None
    daemon.level["a"] = 0.0
    daemon.play(venue)
    for _ in range(100):
        venue.step(DT)
    assert Cards(venue).crossing("a", "M") is None
