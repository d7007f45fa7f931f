"""What the venue does to a bridge by itself, in virtual time against the stand-in."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from bridge.show.load import load
from bridge.venue.bridge_process import DEMO_SHOW, copy_show
from bridge.venue.invent import invent
from bridge.venue.picture import PosesWatch
from bridge.venue.simulation import Venue
from bridge.venue.stagehand import Plan, Stagehand
from bridge.venue.walks import Link
from tests.unit.venue.fakes import FakeDaemon
from tests.unit.venue.rigs import show

DT = 0.01


def test_a_focus_session_ends_in_a_solve_and_the_walk_begins_after_it() -> None:
    rig = show(2)
    venue, daemon, notes = Venue(rig, invent(rig, 4)), FakeDaemon(rig), []
    told: list[tuple[float, float]] = []
    order: list[str] = []

    def say(address: str, *args: float | str) -> None:
        order.append(address)
        if address == "/target/lead/position":
            told.append((float(args[0]), float(args[1])))
        else:
            daemon.say(address, *args)

    hand = Stagehand(venue, Plan(focus=True, kind="stroll", link=Link(50), seed=6), say, notes.append)
    for step in range(6000):
        daemon.play(venue)
        venue.step(DT)
        hand.tick(step * DT)
        if len(told) > 100:
            break
    assert len(daemon.records) == 10
    assert daemon.solves == 1
    assert order.index("/sight/solve") < order.index("/target/lead/position")
    assert "walk: lead stroll, seed 6, 50 messages/s" in notes
    # what was told is where the performer truly was at that moment
    assert venue.performers["lead"].feet[:2] == pytest.approx(told[-1], abs=0.05)


def test_without_a_plan_it_does_nothing() -> None:
    rig = show(1)
    venue = Venue(rig, invent(rig, 1))
    hand = Stagehand(venue, Plan(), lambda *_: pytest.fail("nothing may be said"), lambda _: None)
    for step in range(100):
        hand.tick(step * DT)
    assert venue.performers == {}


def test_nothing_is_said_to_a_bridge_that_is_not_heard_yet() -> None:
    """What is said before the bridge runs is lost, and the robot would give its heads up."""
    rig = show(2)
    venue, daemon, notes, said = Venue(rig, invent(rig, 4)), FakeDaemon(rig), [], []
    hand = Stagehand(venue, Plan(focus=True), lambda *words: said.append(words), notes.append)
    for step in range(500):
        venue.step(DT)
        hand.tick(step * DT)
    assert said == []
    assert len(notes) == 1
    assert "tetherlight run SHOW --armed" in notes[0]
    daemon.play(venue)
    for step in range(500, 510):
        venue.step(DT)
        hand.tick(step * DT)
    assert ("/sight/foh-1/level", 0.2) in said


@pytest.mark.parametrize(("solved_after_s", "begins_s"), [(2.0, 3.0), (1e9, 60.0)])
def test_a_walk_waits_for_the_solve_or_for_a_minute(solved_after_s: float, begins_s: float) -> None:
    rig = show(1)
    venue, daemon = Venue(rig, invent(rig, 4)), FakeDaemon(rig)
    times: dict[str, float] = {}
    now = [0.0]

    def say(address: str, *args: float | str) -> None:
        times.setdefault(address, now[0])
        if not address.startswith("/target"):
            daemon.say(address, *args)

    def solves() -> int:
        return int(now[0] - times.get("/sight/solve", now[0]) > solved_after_s)

    hand = Stagehand(venue, Plan(focus=True, kind="stroll"), say, lambda _: None, solves)
    for step in range(20000):
        daemon.play(venue)
        venue.step(DT)
        now[0] = step * DT
        hand.tick(now[0])
        if "/target/lead/position" in times:
            break
    assert times["/target/lead/position"] - times["/sight/solve"] == pytest.approx(begins_s, abs=0.2)


POSES = """version: 1
fixtures:
  foh-1: {{position: [-6, -12, {z}], rotation: [0, 0, 0, 1]}}
"""


def test_solved_beams_follow_the_file_and_survive_a_broken_one(tmp_path: Path) -> None:
    folder = tmp_path / "show"
    shutil.copytree(DEMO_SHOW, folder)
    solved = PosesWatch(load(folder))

    def which_after_a_second() -> list[int]:
        for _ in range(30):
            found = solved.now()
        return found.which

    assert which_after_a_second() == []
    (folder / "poses.yaml").write_text(POSES.format(z=9))
    assert which_after_a_second() == [0]
    (folder / "poses.yaml").write_text("version: 1\nfixtures: [")
    assert which_after_a_second() == [0], "the last good poses stay"


def test_a_copied_show_loads_on_other_universes_and_ports(tmp_path: Path) -> None:
    copy_show(DEMO_SHOW, tmp_path / "show", first_universe=30260)
    copied, original = load(tmp_path / "show"), load(DEMO_SHOW)
    assert [f.universe for f in copied.fixtures] == [f.universe + 30259 for f in original.fixtures]
    assert copied.network.osc.port != original.network.osc.port
    assert copied.stage == original.stage
