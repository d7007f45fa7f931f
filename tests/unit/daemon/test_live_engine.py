"""The cover over the engine: what it tells, and poses prepared change nothing until they are taken."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bridge.daemon.live import Live
from bridge.follow.commands import Commands
from bridge.follow.engine import Engine
from bridge.rig.rig import Rig
from bridge.show import load
from bridge.show.model import Show

SHOW = Path(__file__).resolve().parents[3] / "configs" / "harbour-hall-tour"


@pytest.fixture(scope="module")
def show() -> Show:
    return load(SHOW)


def engine_of(show: Show) -> Engine:
    engine = Engine(Rig.from_fixtures(show.fixtures, show.poses), show.stage, show.network.lost_input, {})
    Commands(engine).handle("/target/lead/position", (1.0, 4.0), "127.0.0.1", 0.0)
    for step in range(100):
        engine.tick(step / 44)
    return engine


def test_prepared_poses_change_nothing_until_taken_and_keep_the_other_heads_poses(show: Show) -> None:
    name = show.fixtures[0].name
    moved = {name: replace(show.poses[name], position=(-5.0, -11.0, 8.5))}
    prepared, direct = engine_of(show), engine_of(show)
    live = Live(prepared, show.poses)
    take = live.prepare_poses(moved, {"Z": (1.0, 2.0, 0.0)})
    for step in range(100, 110):
        assert np.array_equal(prepared.tick(step / 44).pan_rad, direct.tick(step / 44).pan_rad)
    take()
    direct.take_poses({**show.poses, **moved})
    for step in range(110, 250):
        assert np.array_equal(prepared.tick(step / 44).pan_rad, direct.tick(step / 44).pan_rad)
    assert prepared.marks["Z"] == (1.0, 2.0, 0.0)
    assert prepared.rig.has_pose.all()


def test_where_a_head_points_is_what_it_was_told_in_degrees(show: Show) -> None:
    engine = engine_of(show)
    live, name = Live(engine, show.poses), show.fixtures[0].name
    Commands(engine).handle(f"/sight/{name}/point", (12.5, 40.25), "127.0.0.1", 3.0)
    Commands(engine).handle(f"/sight/{name}/zoom", (0.5,), "127.0.0.1", 3.0)
    for step in range(200):
        live.tick(3.0 + step / 44)
    pan, tilt, zoom, focus = live.pointing(name)
    assert (pan, tilt) == (pytest.approx(12.5), pytest.approx(40.25))
    assert zoom == 32768
    assert focus is not None


def test_the_feeds_rows_name_every_fixture_and_target(show: Show) -> None:
    live = Live(engine_of(show), show.poses)
    rows = list(live.fixtures())
    assert [row[0] for row in rows] == [fixture.name for fixture in show.fixtures]
    ((name, x, y, _, inside, age_s),) = live.targets(5.0)
    assert (name, x, y, inside, age_s) == ("lead", 1.0, 4.0, True, 5.0)
    assert live.switches == (False, False, 1.0)


def test_black_is_the_last_frame_without_light(show: Show) -> None:
    live = Live(engine_of(show), show.poses)
    frame = live.tick(3.0)
    black = live.black(3.1)
    assert frame.level.max() == 1.0
    assert black.level.max() == 0.0
    assert np.array_equal(black.pan_rad, frame.pan_rad)
