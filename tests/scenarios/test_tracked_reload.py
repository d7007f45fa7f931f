"""Sources of targets that change while the show runs: a beam stays where it is until something else steers it."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from bridge.door.events import NewFrames, NewShow
from bridge.geometry.input_frame import InputFrame
from bridge.geometry.stage import Source, Target, Walk
from tests.scenarios.test_tracked import LEAD, POINT_Z, SECOND, STAGE, TAGS, Tracker, follow, stays

FRAMES = {"tags": InputFrame(), "stage": InputFrame()}
STOOD, STOOD_POINT = (1.0, 4.0), (1.0, 4.0, POINT_Z)


def with_sources(bridge: Any, *sources: Source) -> None:
    """The show is read again: other sources of the first target."""
    show = bridge.door.show
    targets = (replace(LEAD, sources=sources), SECOND)
    bridge.apply(NewShow(bridge.now_s, replace(show, stage=replace(show.stage, targets=targets), frames=FRAMES)))


@pytest.fixture
def tracked(make_bridge: Callable[..., Any]) -> Any:
    made = make_bridge(targets=(LEAD, SECOND))
    with_sources(made, TAGS, STAGE)
    return made


@pytest.mark.parametrize("sources", [(), (Source("tags", "1/8"),), (STAGE,)], ids=["none", "another", "the other one"])
def test_a_source_that_is_gone_leaves_its_target_where_it_was(tracked: Any, sources: tuple[Source, ...]) -> None:
    follow(tracked, 3.0, stays(*STOOD), Tracker(tracked, TAGS))
    with_sources(tracked, *sources)
    tracked.run(1.0)
    tracked.assert_lit(STOOD_POINT)
    tracked.say("/target/lead/position", 0.5, 3.0)
    tracked.run(3.0, lambda _: tracked.say("/target/lead/alive"))
    tracked.assert_lit((0.5, 3.0, POINT_Z))


def test_a_height_that_a_tag_gave_stays_when_the_tag_is_gone(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(targets=(LEAD, SECOND))
    with_sources(bridge, replace(TAGS, z="tag"))
    follow(bridge, 3.0, lambda _: (1.0, 4.0, 1.1), Tracker(bridge, TAGS))  # type: ignore[arg-type, return-value]
    place = bridge.engine.place.points(bridge.now_s)[0]
    with_sources(bridge)
    bridge.run(1.0)
    bridge.assert_lit(place)


def test_the_source_that_steers_goes_on_when_another_one_is_put_before_it(tracked: Any) -> None:
    tags = Tracker(tracked, TAGS)
    follow(tracked, 3.0, stays(*STOOD), tags)
    with_sources(tracked, STAGE, TAGS)
    frames = follow(tracked, 1.0, stays(*STOOD), tags)
    assert min(float(frame.level.min()) for frame in frames) > 0.99
    tracked.assert_lit(STOOD_POINT)
    assert tracked.engine.place.targets[0].sender == "input tags"


def test_a_new_source_is_gone_over_to_without_a_step(tracked: Any) -> None:
    follow(tracked, 3.0, stays(*STOOD), Tracker(tracked, TAGS))
    other = Source("tags", "1/8")
    with_sources(tracked, other)
    tracked.run(0.5)
    places = []

    def say(_: float) -> None:
        Tracker(tracked, other).says((1.4, 4.0))
        places.append(tracked.engine.place.points(tracked.now_s)[0][0])

    tracked.run(3.0, say, every_s=1 / 60)
    assert max(abs(b - a) for a, b in itertools.pairwise(places)) < 0.03
    tracked.assert_lit((1.4, 4.0, POINT_Z))


@pytest.mark.parametrize(("before", "after"), [(False, False), (False, True), (True, False)])
def test_a_target_stays_where_it_is_whether_it_is_led_before_and_after(
    make_bridge: Callable[..., Any], before: bool, after: bool
) -> None:
    """The show is read again while a performer stands, and prediction is on, off, or switched by that."""

    def read(predict: bool) -> None:
        show = bridge.door.show
        targets = (Target("lead", walk=Walk(predict=predict)), SECOND)
        bridge.apply(NewShow(bridge.now_s, replace(show, stage=replace(show.stage, targets=targets))))

    bridge = make_bridge(targets=(LEAD, SECOND))
    read(before)
    bridge.stand(*STOOD)
    read(after)
    bridge.run(1.0, lambda _: bridge.say("/target/lead/alive"))
    bridge.assert_lit(STOOD_POINT)


def test_a_target_whose_frame_was_dropped_stays_however_often_the_show_is_read(tracked: Any) -> None:
    follow(tracked, 3.0, stays(*STOOD), Tracker(tracked, TAGS))
    tracked.apply(NewFrames(tracked.now_s, {}))
    show = tracked.door.show
    for _ in range(2):
        tracked.apply(NewShow(tracked.now_s, replace(show, frames={})))
        tracked.run(0.5)
        tracked.assert_lit(STOOD_POINT)
