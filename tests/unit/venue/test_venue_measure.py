"""What the venue measures, against cases that can be worked out by hand."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.geometry.stage import Area, Floor
from bridge.rig.fixture import Pose
from bridge.venue.measure import COLUMNS, Errors, Meter
from bridge.venue.picture import BelievedBeams, picture, scene
from bridge.venue.simulation import Venue
from bridge.venue.surfaces import Ground, plan_distance
from bridge.venue.truth import FixtureTruth, Truth
from tests.unit.venue.fakes import FakeDaemon
from tests.unit.venue.rigs import show, stage

DOWNSTAGE_HEAD = FixtureTruth((0.0, -5.0, 8.0), (0.0, 0.0, 0.0, 1.0))


def _venue(tilt_deg: float, level: float = 1.0, no_light: tuple[Area, ...] = (), outside: str = "dark") -> Venue:
    """One flawless head 8 m up at y = -5, pan 0: its beam leans upstage by the tilt."""
    rig = show(1, place=stage(no_light=no_light))
    rig = replace(rig, fixtures=(replace(rig.fixtures[0], outside=outside),))
    venue, daemon = Venue(rig, Truth({"foh-1": DOWNSTAGE_HEAD})), FakeDaemon(rig)
    daemon.aim["foh-1"], daemon.level["foh-1"] = [0.0, tilt_deg], level
    daemon.play(venue)
    for _ in range(300):
        venue.step(0.01)
    return venue


def _measured(venue: Venue, seconds: float = 1.0) -> dict[str, object]:
    meter = Meter(venue)
    for _ in range(round(seconds / 0.04)):
        meter.observe(0.04)
    return meter.summary()["all"]


def test_the_error_is_the_distance_from_axis_to_performer() -> None:
    # tilt 45 deg: the axis meets z = 1.3 at y = -5 + 6.7; a performer 0.5 m to the side is 0.5 m off
    venue = _venue(45.0)
    venue.perform("lead", 0.5, 1.7)
    found = _measured(venue)
    assert found["rms_m"] == pytest.approx(0.5, abs=0.002)
    assert found["p95_m"] == found["worst_m"] == pytest.approx(0.5, abs=0.002)
    # spot at 6.7 * sqrt(2) m with the narrow zoom of 6 deg: diameter 0.993 m
    assert found["worst_share_of_spot"] == pytest.approx(0.5 / 0.995, abs=0.01)
    assert found["in_pool"] == 0.0
    venue.perform("lead", 0.4, 1.7)
    assert _measured(venue)["in_pool"] == 1.0


def test_lit_outside_and_dark_inside_are_timed() -> None:
    venue = _venue(45.0)
    venue.perform("lead", 0.0, -0.1)  # inside the margin of 0.15
    assert _measured(venue)["lit_outside_s"] == 0
    venue.perform("lead", 0.0, -0.2)
    found = _measured(venue, 2.0)
    assert found["lit_outside_s"] == found["longest_lit_outside_s"] == pytest.approx(2.0)
    assert found["dark_inside_s"] == 0
    dark = _venue(45.0, level=0.0)
    dark.perform("lead", 0.0, 1.7)
    found = _measured(dark)
    assert found["dark_inside_s"] == pytest.approx(1.0)
    assert found["rms_m"] is None


def test_stay_heads_may_be_lit_outside() -> None:
    venue = _venue(45.0, outside="stay")
    venue.perform("lead", 0.0, -3.0)
    assert _measured(venue)["lit_outside_s"] == 0


def test_height_counts_for_the_area() -> None:
    venue = _venue(45.0)
    venue.perform("lead", 0.0, 1.7, 3.5)  # feet at 3.5 m: the point is at 4.8, the area ends at 4.0
    assert _measured(venue)["lit_outside_s"] == pytest.approx(1.0)


def test_light_in_a_no_light_area_is_timed_and_darkness_is_not() -> None:
    area = (Area("pit", ((-2, 2), (2, 2), (2, 4), (-2, 4)), (0.0, 1.0)),)
    assert _measured(_venue(45.0, no_light=area))["no_light_s"] == pytest.approx(1.0)
    assert _measured(_venue(45.0, 0.0, no_light=area))["no_light_s"] == 0
    assert _measured(_venue(20.0, no_light=area))["no_light_s"] == 0


def test_rows_are_written() -> None:
    venue, text = _venue(45.0), io.StringIO()
    venue.perform("lead", 0.0, 1.7)
    meter = Meter(venue, text)
    meter.observe(0.04)
    meter.observe(0.04)
    rows = list(csv.DictReader(io.StringIO(text.getvalue())))
    assert len(rows) == 2
    assert set(rows[0]) == set(COLUMNS)
    assert float(rows[0]["tilt_deg"]) == pytest.approx(45.0, abs=0.01)
    assert float(rows[0]["hit_y"]) == pytest.approx(3.0, abs=0.01)
    assert rows[0]["in_pool"] == "1"


def test_floors_highest_counts_and_riser_sides_stop_light() -> None:
    ground = Ground(
        [
            Floor("high", ((0, 5), (2, 5), (2, 8), (0, 8)), 1.0),
            Floor("low", ((-2, 4), (2, 4), (2, 8), (-2, 8)), 0.5),
            Floor("pit", ((-2, -3), (2, -3), (2, -1), (-2, -1)), -2.0),
        ]
    )
    x, y = np.array([1.0, -1.0, 5.0, 0.0]), np.array([6.0, 6.0, 6.0, -2.0])
    assert ground.height(x, y) == pytest.approx([1.0, 0.5, 0.0, -2.0])
    # level at 0.3 m upstage: meets the low riser's front; into the pit: its bottom; at the pit's far wall: the wall
    start = np.array([[0.5, 0.0, 0.3], [0.0, -2.0, 3.0], [0.0, -2.9, 0.5]])
    ray = np.array([[0.0, 1.0, -1e-6], [0.0, 0.0, -1.0], [0.0, 1.9 / np.hypot(1.9, 1.0), -1.0 / np.hypot(1.9, 1.0)]])
    length, on_top = ground.land(start, ray)
    assert length == pytest.approx([4.0, 5.0, np.hypot(1.9, 1.0)], abs=1e-3)
    assert on_top.tolist() == [False, True, False]
    up, _ = ground.land(np.array([[0.0, 0.0, 3.0]]), np.array([[0.0, 0.6, 0.8]]))
    assert np.isnan(up[0])


def test_distance_from_a_polygon() -> None:
    square = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]])
    assert plan_distance(square, 1.0, 1.0) == 0
    assert plan_distance(square, 3.0, 1.0) == pytest.approx(1.0)
    assert plan_distance(square, 5.0, 6.0) == pytest.approx(5.0)


def test_scene_and_frame_are_json_with_the_agreed_keys() -> None:
    venue = _venue(45.0, no_light=(Area("pit", ((-2, 2), (2, 2), (2, 4), (-2, 4))),))
    pose = Pose((0.0, -5.0, 8.5), (0.0, 0.0, 0.0, 1.0))
    show_with_pose = replace(venue.show, poses={"foh-1": pose})
    venue.perform("lead", 0.2, 1.7)
    place = json.loads(json.dumps(scene(show_with_pose, venue.truth), allow_nan=False))
    assert set(place) == {"name", "polygon", "areas", "no_light", "floors", "marks", "heads"}
    assert place["no_light"][0]["height"] == [None, None]
    assert place["heads"][0] == {
        "name": "foh-1", "truss": "foh", "position": [0, -5, 8], "up": [0, 0, 1], "profile": "test spot",
    }  # fmt: skip
    frame = json.loads(json.dumps(picture(venue, BelievedBeams(show_with_pose)), allow_nan=False))
    assert set(frame) == {"t", "performers", "heads", "fps", "sources", "note"}
    assert frame["performers"] == [{"name": "lead", "at": [0.2, 1.7, 0], "inside": True}]
    head = frame["heads"][0]
    assert set(head) == {"level", "start", "dir", "hit", "ellipse", "zoom_deg", "error_m", "solved", "colour"}
    assert head["hit"] == pytest.approx([0, 3.0, 0], abs=0.01)
    assert head["error_m"] == pytest.approx(0.2, abs=0.005)
    assert head["solved"]["hit"] == pytest.approx([0, 3.5, 0], abs=0.01), "half a metre higher lands half a metre on"
    assert set(head["ellipse"]) == {"c", "a", "b"}
    assert head["colour"] is None, "white"


@settings(deadline=None)
@given(st.lists(st.floats(0, 30), min_size=1, max_size=200), st.lists(st.floats(0, 3), max_size=50))
def test_error_statistics_agree_with_numpy(first: list[float], second: list[float]) -> None:
    """Against numpy's percentile by the inverted distribution (type 1 of Hyndman and Fan)."""
    one, two = Errors(), Errors()
    for value in first:
        one.add(value)
    for value in second:
        two.add(value)
    one.merge(two)
    every = np.array(first + second)
    found = one.summary()
    assert found["rms_m"] == pytest.approx(np.sqrt((every**2).mean()), abs=1e-5)
    assert found["worst_m"] == pytest.approx(every.max(), abs=1e-5)
    p95 = np.percentile(every, 95, method="inverted_cdf")
    assert found["p95_m"] == pytest.approx(p95 if p95 < 10 else every.max(), abs=6e-4)
