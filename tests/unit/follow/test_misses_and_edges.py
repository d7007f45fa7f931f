"""Small rules that a whole show hides: behind the lens, at the edge of a home, near a stop, in a no-light area."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.commands.findings import _reach
from bridge.daemon.pacer import MOST_LEAD, Pacer
from bridge.follow.coverage import survey
from bridge.follow.engine import Engine
from bridge.follow.moving.reach import Reach, Terrain
from bridge.geometry.areas import Polygon
from bridge.geometry.mechanics import miss_distance
from bridge.geometry.stage import Area
from bridge.rig.rig import Rig
from bridge.wire.settings import LostInput


def test_a_point_behind_the_lens_is_missed_by_its_distance_to_the_lens() -> None:
    start, direction = np.zeros((3, 3)), np.tile([0.0, 0.0, 1.0], (3, 1))
    points = np.array([[0.3, 0.4, 2.0], [0.3, 0.4, 0.0], [3.0, 0.0, -4.0]])
    assert miss_distance(start, direction, points).tolist() == pytest.approx([0.5, 0.5, 5.0])


def one_head(make_rig: Callable[..., Any], pan_limits: tuple[float, float]) -> Reach:
    """foh-2 at (-1.5, -12, 9), level and unturned: pan on face 1 is atan2(-dx, dy)."""
    made = make_rig(1, level_deg=0.0, yaw_deg=0.0)
    fixture = next(f for f in made.fixtures if f.name == "foh-2")
    pose = replace(made.poses["foh-2"], position=(-1.5, -12.0, 9.0))
    rig = Rig.from_fixtures([replace(fixture, pan_limits=pan_limits)], {"foh-2": pose})
    polygon = Polygon(((-6.0, 0.0), (6.0, 0.0), (6.0, 8.0), (-6.0, 8.0)))
    plan = polygon.grid(0.5)
    points = np.column_stack([plan, np.full(len(plan), 1.3)])
    return Reach(rig, Terrain(polygon, points, np.array([0.0, 4.0, 1.3])))


def test_a_head_that_left_its_home_comes_back_only_well_inside_it(make_rig: Callable[..., Any]) -> None:
    """Home, face 1, ends at pan 12; face 2 holds what lies beyond. Five degrees inside it is worth coming back."""
    reach, faces, pan_now = one_head(make_rig, (-188.0, 12.0)), [], np.zeros(1)
    for pan_deg in (11.0, 13.0, 11.0, 13.0, 11.0, 8.0, 7.5, 6.5, 11.0, 11.9):
        aim = reach.aim(np.array([[-1.5 - 16.0 * np.tan(np.radians(pan_deg)), 4.0, 1.3]]), pan_now)
        pan_now = aim.pan
        faces.append(int(aim.face[0]))
        assert not aim.clamped[0]
    assert faces == [1, 2, 2, 2, 2, 2, 2, 1, 1, 1]


@pytest.fixture
def engine(make_rig: Callable[..., Any], make_stage: Callable[..., Any]) -> Engine:
    """A no-light area over the downstage half of the polygon, and one that is off over the other."""
    areas = [
        Area(name, ((-6.0, y), (6.0, y), (6.0, y + 3.0), (-6.0, y + 3.0)), (0.0, 2.0), on=on)
        for name, y, on in (("front", 0.0, True), ("rear", 5.0, False))
    ]
    made = make_rig(1, stage=make_stage(no_light=tuple(areas)))
    return Engine(Rig.from_fixtures(made.fixtures, made.poses), made.stage, LostInput())


def test_coverage_counts_what_a_no_light_area_keeps_dark(engine: Engine) -> None:
    coverage = survey(engine)
    inside = (coverage.points[:, 1] > 0.1) & (coverage.points[:, 1] < 2.9)
    assert coverage.no_light[inside].all(), "the point itself lies in the area"
    assert not coverage.lit[inside].any()
    assert coverage.lit[coverage.points[:, 1] > 5.0].mean() > 0.5
    assert any("no-light area" in finding.what for finding in _reach(engine, coverage))


@pytest.mark.parametrize(("left_deg", "said"), [(0.0, True), (2.9, True), (3.1, False), (-0.1, False)])
def test_a_head_that_comes_near_a_stop_is_told_of_also_where_nothing_is_left(
    engine: Engine, left_deg: float, said: bool
) -> None:
    coverage = replace(survey(engine), near_stop_rad=np.full(len(engine.rig), np.radians(left_deg)))
    notes = [finding for finding in _reach(engine, coverage) if "of a pan or tilt limit" in finding.what]
    assert len(notes) == (len(engine.rig) if said else 0)


def test_a_tick_that_takes_longer_and_longer_starts_at_most_half_a_period_early() -> None:
    pacer, now_s = Pacer(40.0), 0.0
    for _ in range(2000):
        pacer.ticked(now_s, now_s + 0.9 / 40.0, now_s + 0.9 / 40.0)
        now_s += 1 / 40.0
    assert pacer.allowed_s - pacer.due_s() == pytest.approx(MOST_LEAD / 40.0)
    assert MOST_LEAD == 0.5
