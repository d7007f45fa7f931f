"""Targets that tracked points steer: their frame, whose hand is on them, two systems, and one that is lost.

Every scenario's capture is replayed at its end, byte for byte (conftest.py).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bridge.daemon.strays import Strays
from bridge.door.events import NewFrames, Seen, Tracked
from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Area, Point3, Source, Target, Walk
from tests.scenarios.conftest import HERE

TAGS, STAGE = Source("tags", "1/7"), Source("stage", "4")
LEAD = Target("lead", sources=(TAGS, STAGE))
SECOND = Target("second", height=1.5, size=1.5)
TURNED = InputFrame(axes=("x", "-z", "y"), turn=90.0, origin=(2.0, 1.0, 0.3), scale=0.5)
"""Of a system with y up, z towards the audience, turned, and with units of half a metre."""
POINT_Z = 1.3


class Tracker:
    """Says 60 times a second where a point is, in the axes of a frame; `place(t)` is on the stage."""

    def __init__(self, bridge: Any, source: Source, frame: InputFrame = InputFrame()) -> None:  # noqa: B008 (frozen)
        self._bridge, self._source, self._frame = bridge, source, frame
        self.on = True

    def says(self, place: tuple[float, ...], late_s: float = 0.0) -> None:
        if not self.on:
            return
        at = np.subtract((*place, 0.0)[:3] if len(place) == 2 else place, self._frame.origin)
        own = np.linalg.solve(self._frame.matrix, at)
        seen = Seen(self._source.point, self._bridge.now_s - late_s, tuple(own.tolist()), None, "10.0.0.9")
        self._bridge.apply(Tracked(self._bridge.now_s, self._source.input, (seen,)))


@pytest.fixture
def tracked(make_bridge: Callable[..., Any]) -> Any:
    made = make_bridge(targets=(LEAD, SECOND))
    made.apply(NewFrames(made.now_s, {"tags": TURNED, "stage": InputFrame()}))
    return made


def follow(bridge: Any, seconds: float, path: Callable[[float], tuple[float, float]], *trackers: Tracker) -> list[Any]:
    """Frames of the next seconds while all trackers see a performer on a path."""

    def say(t: float) -> None:
        for tracker in trackers:
            tracker.says(path(t))

    return bridge.run(seconds, say, every_s=1 / 60)


def stays(x: float, y: float) -> Callable[[float], tuple[float, float]]:
    return lambda _: (x, y)


def test_a_point_is_lit_where_its_frame_puts_it(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS, TURNED)
    follow(tracked, 3.0, stays(1.0, 4.0), tags)
    tracked.assert_lit((1.0, 4.0, POINT_Z))
    assert tracked.engine.place.targets[0].sender == "input tags"


def test_a_point_of_an_input_without_a_frame_is_not_followed(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(targets=(LEAD, SECOND))
    follow(bridge, 1.0, stays(1.0, 4.0), Tracker(bridge, TAGS))
    bridge.assert_dark("no-input")


def test_a_tag_may_say_how_high_it_is(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(targets=(Target("lead", sources=(Source("tags", "1/7", "tag"),)), SECOND))
    bridge.apply(NewFrames(bridge.now_s, {"tags": InputFrame()}))
    tags = Tracker(bridge, TAGS)
    bridge.run(3.0, lambda _: tags.says((1.0, 3.0, 2.2)), every_s=1 / 60)
    bridge.assert_lit((1.0, 3.0, 2.2))


def test_a_walker_is_led_and_the_area_test_is_about_where_he_is(tracked: Any) -> None:
    """1.4 m/s along x out of the area: heads of lag 0.1 s aim 14 cm ahead; dark once he himself is past the margin."""
    tags, start, speed = Tracker(tracked, TAGS, TURNED), -4.0, 1.4
    follow(tracked, 2.0, stays(start, 3.0), tags)
    follow(tracked, 3.0, lambda t: (start + speed * t, 3.0), tags)
    here = start + speed * 3.0
    lag = float(tracked.rig.lag[0])
    ahead = tracked.meets(tracked.rig.names[0], POINT_Z)[0] - here
    assert ahead == pytest.approx(speed * lag, abs=0.03)
    assert tracked.place()[0] == pytest.approx(here, abs=0.03)

    went_dark: list[float] = []

    def walks_on(t: float) -> None:
        if not went_dark and "outside" in tracked.states:
            went_dark.append(here + speed * t)
        tags.says((here + speed * t, 3.0))

    tracked.run(5.0, walks_on, every_s=1 / 60)
    assert 6.149 < went_dark[0] < 6.15 + speed * 0.1, "the margin, and a frame or two"
    tracked.assert_dark("outside")


def test_prediction_off_is_the_last_observation_exactly(make_bridge: Callable[..., Any]) -> None:
    still = Target("lead", walk=Walk(predict=False))
    bridge = make_bridge(targets=(still, SECOND))
    bridge.stand(-3.0, 3.0)
    place = [0.0]

    def walks(t: float) -> None:
        place[0] = -3.0 + 1.4 * t
        bridge.say("/target/lead/position", place[0], 3.0)

    bridge.run(2.0, walks, every_s=1 / 44)
    assert bridge.place()[0] == place[0]
    assert bridge.meets(bridge.rig.names[0], POINT_Z)[0] == pytest.approx(place[0], abs=1e-3)


# Whose hand


def test_positions_of_others_are_refused_while_an_input_steers_but_size_and_level_are_not(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS, TURNED)
    follow(tracked, 2.0, stays(1.0, 4.0), tags)
    said = tracked.refused("/target/lead/position", 0.0, 2.0)
    assert "input tags" in str(said)
    tracked.say("/target/lead/level", 0.5)
    tracked.say("/target/lead/size", 1.0)
    tracked.say("/target/lead/height", 1.0)
    follow(tracked, 1.0, stays(1.0, 4.0), tags)
    tracked.assert_lit((1.0, 4.0, 1.0), level=0.5)


def test_a_hand_takes_over_and_the_input_steers_again_when_the_hand_is_lost(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS, TURNED)
    follow(tracked, 2.0, stays(1.0, 4.0), tags)
    tracked.say("/target/lead/take")
    follow(tracked, 0.5, stays(2.0, 4.0), tags)
    assert tracked.place()[:2] == pytest.approx((1.0, 4.0), abs=1e-6)
    tracked.say("/target/lead/position", 0.5, 4.0)
    follow(tracked, 1.5, stays(0.2, 4.0), tags)
    tracked.assert_lit((0.5, 4.0, POINT_Z))
    frames = follow(tracked, 3.0, stays(0.2, 4.0), tags)
    tracked.assert_lit((0.2, 4.0, POINT_Z))
    assert min(frame.level.min() for frame in frames) == 1.0
    assert tracked.engine.place.targets[0].sender == "input tags"


def test_a_lost_point_is_a_lost_input(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS, TURNED)
    follow(tracked, 2.0, stays(1.0, 4.0), tags)
    tracked.run(1.5)
    assert tracked.states == {"lit"}
    tracked.run(1.0)
    assert tracked.states == {"no-input"}


# Two systems


def test_the_second_system_takes_over_without_a_step_and_the_preferred_one_takes_back(tracked: Any) -> None:
    """Their frames differ by 0.4 m: as far the lit point goes over, in a second, never faster than a slow walk."""
    tags, stage = Tracker(tracked, TAGS, TURNED), Tracker(tracked, STAGE)

    def both(_: float) -> None:
        tags.says((1.0, 4.0))
        stage.says((1.4, 4.0))

    xs: list[float] = []

    def run(seconds: float) -> None:
        for _ in range(round(seconds * 10)):
            tracked.run(0.1, both, every_s=1 / 60)
            xs.append(tracked.place()[0])

    run(3.0)
    assert xs[-1] == pytest.approx(1.0, abs=1e-3)
    tags.on = False
    run(2.0)
    assert xs[-1] == pytest.approx(1.4, abs=1e-3)
    assert tracked.engine.place.targets[0].sender == "input stage"
    tags.on = True
    run(0.9)
    assert xs[-1] == pytest.approx(1.4, abs=1e-3)
    run(2.0)
    assert xs[-1] == pytest.approx(1.0, abs=1e-3)
    steps = np.abs(np.diff(xs))
    assert steps.max() < 0.4 * 1.6 * 0.1, "smoothstep is at most 1.5 times as fast as a straight line"
    tracked.assert_lit((1.0, 4.0, POINT_Z))


def test_another_frame_is_taken_without_a_step(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS, TURNED)
    follow(tracked, 3.0, stays(1.0, 4.0), tags)
    shifted = InputFrame(TURNED.axes, TURNED.turn, None, (2.3, 1.0, 0.3), TURNED.scale)
    tracked.apply(NewFrames(tracked.now_s, {"tags": shifted, "stage": InputFrame()}))
    frames = follow(tracked, 0.2, stays(1.0, 4.0), tags)
    assert tracked.place()[0] < 1.1
    frames += follow(tracked, 2.0, stays(1.0, 4.0), tags)
    assert min(frame.level.min() for frame in frames) == 1.0
    tracked.assert_lit((1.3, 4.0, POINT_Z))


def test_a_frame_far_off_the_last_is_gone_over_to_in_the_dark(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS, TURNED)
    follow(tracked, 3.0, stays(-4.0, 2.0), tags)
    shifted = InputFrame(TURNED.axes, TURNED.turn, None, (10.0, 1.0, 0.3), TURNED.scale)
    tracked.apply(NewFrames(tracked.now_s, {"tags": shifted}))
    frames = follow(tracked, 4.0, stays(-4.0, 2.0), tags)
    assert min(frame.level.max() for frame in frames) == 0.0
    tracked.assert_lit((4.0, 2.0, POINT_Z))


# Edges


def test_the_point_ahead_stops_at_the_edge_of_a_riser_until_the_performer_crosses_it(tracked: Any) -> None:
    """The riser's edge is at y = 5: a runner towards it is led to the edge, and not up before he is there himself."""
    stage = Tracker(tracked, STAGE)
    follow(tracked, 2.0, stays(0.0, 1.5), stage)
    led: list[Point3] = []
    speed = 3.0

    def runs(t: float) -> None:
        stage.says((0.0, 1.5 + speed * t))
        led.append((tracked.place()[1], *tracked.engine.place._led[0, 1:].tolist()))

    tracked.run(1.3, runs, every_s=1 / 60)
    before = np.array([row for row in led if row[0] < 4.97])
    assert before[:, 1].max() > 4.9, "he was near enough for the edge to matter"
    assert before[:, 1].max() <= 5.0
    assert before[:, 2].max() == pytest.approx(POINT_Z), "still the floor below"
    after = np.array([row for row in led if row[0] > 5.03])
    assert after[:, 2] == pytest.approx(POINT_Z + 0.6)


def test_nobody_is_carried_out_of_the_area_unseen(tracked: Any) -> None:
    """A runner 0.5 m inside the edge is lost: 0.45 s of 3 m/s would carry him 0.85 m past it."""
    stage = Tracker(tracked, STAGE)
    follow(tracked, 2.0, stays(2.5, 3.0), stage)
    follow(tracked, 1.0, lambda t: (2.5 + 3.0 * t, 3.0), stage)
    for _ in range(15):
        tracked.run(0.1)
        assert tracked.place()[0] <= 6.0
    assert tracked.place()[0] == pytest.approx(2.5 + 3.0 * 43 / 44, abs=0.01), "where he was seen last"


def test_a_frames_own_error_widens_the_cones_that_must_not_touch_a_no_light_area(
    make_bridge: Callable[..., Any],
) -> None:
    """Somebody near the rows: with a good frame all heads light him, with one that may be 2 m off not all of them."""
    rows = Area("rows", ((-6.0, -3.0), (6.0, -3.0), (6.0, -2.0), (-6.0, -2.0)), (0.0, 1.0))
    states = []
    for sigma in (0.02, 2.0):
        bridge = make_bridge(targets=(LEAD, SECOND), no_light=(rows,))
        bridge.apply(NewFrames(bridge.now_s, {"stage": InputFrame(sigma=sigma)}))
        follow(bridge, 3.0, stays(0.0, 2.0), Tracker(bridge, STAGE))
        states.append([bridge.state(name) for name in bridge.rig.names])
    good, doubtful = states
    assert good.count("lit") > doubtful.count("lit")
    assert "no-light" in doubtful


# Strays of a hand's stream


def streamed(bridge: Any, seconds: float, last: tuple[float, float]) -> None:
    """60 positions a second of somebody who stands at `last`."""
    bridge.run(seconds, lambda _: bridge.say("/target/lead/position", *last), every_s=1 / 60)


def test_one_stray_of_a_stream_moves_nothing(bridge: Any) -> None:
    streamed(bridge, 3.0, (1.0, 3.0))
    bridge.say("/target/lead/position", -5.0, 7.0)
    frames = bridge.run(0.5, lambda _: bridge.say("/target/lead/position", 1.0, 3.0), every_s=1 / 60)
    assert max(bridge.misses((1.0, 3.0, POINT_Z), frame).max() for frame in frames) < 1e-3
    assert min(frame.level.min() for frame in frames) == 1.0
    strays = Strays(bridge.door)
    ((refusal, count),) = strays.fresh(bridge.now_s)
    assert (refusal.reason, refusal.sender, refusal.address, count) == ("stray", HERE, "/target/lead/position", 1)
    assert "9 m/s" in refusal.text
    assert not list(strays.fresh(bridge.now_s)), "told once"


def test_a_stray_that_is_the_last_to_be_heard_moves_nothing(bridge: Any) -> None:
    streamed(bridge, 3.0, (1.0, 3.0))
    bridge.say("/target/lead/position", -5.0, 4.0)
    bridge.run(1.5)
    assert bridge.place()[:2] == (1.0, 3.0)


def test_a_sign_of_life_after_it_says_that_it_was_meant(bridge: Any) -> None:
    streamed(bridge, 3.0, (1.0, 3.0))
    bridge.say("/target/lead/position", -5.0, 4.0)
    bridge.run(0.1)
    bridge.run(3.0, lambda _: bridge.say("/target/lead/alive"))
    bridge.assert_lit((-5.0, 4.0, POINT_Z))


def test_what_is_said_twice_is_a_jump_in_the_dark(bridge: Any) -> None:
    streamed(bridge, 3.0, (-4.0, 2.0))
    frames = bridge.run(3.0, lambda _: bridge.say("/target/lead/position", 4.0, 5.5), every_s=1 / 60)
    lit = [float(bridge.misses((4.0, 5.5, POINT_Z), frame).max()) for frame in frames if frame.level.max() > 0.9]
    assert min(frame.level.max() for frame in frames) == 0.0, "it was gone over to in the dark"
    assert lit[-1] < 1e-3


def test_whoever_takes_a_stream_is_believed_at_once(bridge: Any) -> None:
    streamed(bridge, 3.0, (1.0, 3.0))
    bridge.say("/target/lead/take")
    bridge.say("/target/lead/position", -5.0, 4.0)
    bridge.run(1.9)
    bridge.assert_lit((-5.0, 4.0, POINT_Z))
