"""State that comes from another show, or a damaged file: names find their places, the rest is left out."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.door.door import Made, make
from bridge.geometry.stage import Target
from bridge.rig.fixture import Fixture
from bridge.show.model import Show
from bridge.wire.settings import Network
from tests.conftest import build_rig, flat_stage
from tests.scenarios.random_shows import FRAME_S, hung_outside, random_show

ALIVE = "/target/lead/alive"
THIRD = Target("third", size=3.0)
BY_HEAD = ("pan_rad", "tilt_rad", "level", "zoom_raw", "focus_raw", "state", "face", "distance")


def without_a_ceiling(seed: int) -> dict[str, Any]:
    """Under a ceiling the others take over the share of a head that is gone."""
    return random_show(seed, outside=True) | {"at_most_lux": None}


def busy(make_bridge: Callable[..., Any]) -> Any:
    """Much is under way, with every kind of switch on some head."""
    bridge = make_bridge(**without_a_ceiling(47))
    bridge.say("/target/second/position", 2.0, 5.0)
    bridge.say("/target/second/crew", "back-1", "back-2", "back-3", "foh-3")
    bridge.stand(1.0, 3.0)
    for address, *args in (
        ("/sight/foh-1/nudge", -9.0, 3.0),
        ("/fixture/mid-1/hold", 1),
        ("/fixture/mid-2/out", 1),
        ("/fixture/mid-3/still", 1),
        ("/fixture/mid-4/find", 1),
        ("/fixture/foh-4/trim", 0.5, 0.2),
        ("/truss/back/trim", 0.1, 0.2),
        ("/fixture/back-4/act", "reset"),
        ("/fixture/back-1/level", 0.2, 3.0),
        ("/level", 0.8, 3.0),
        ("/target/second/size", 1.0, 3.0),
        ("/target/second/height", 1.0, 3.0),
        ("/target/lead/level", 0.7, 3.0),
        ("/target/lead/velocity", 0.5, 0.5),
        ("/area/thrust", 1),
        ("/floor/riser", 0.3),
    ):
        bridge.say(address, *args)
    bridge.run(0.3)
    return bridge


def elsewhere(bridge: Any, order: list[str], targets: list[Target], more: tuple[Fixture, ...] = ()) -> Made:
    """The state of a bridge in a show with these of its heads and more, in another order, and with other targets."""
    show, by_name = bridge.door.show, {fixture.name: fixture for fixture in bridge.door.show.fixtures}
    fixtures = (*more, *(by_name[name] for name in order))
    poses = dict(bridge.door.poses) | {f.name: bridge.door.poses["foh-2"] for f in more}
    made = make(replace(show, fixtures=fixtures, stage=replace(show.stage, targets=tuple(targets)), poses=poses))
    made.engine.restore(json.loads(json.dumps(bridge.engine.state())))
    return made


def assert_alike(bridge: Any, made: Made, names: list[str], frames: int = 200) -> None:
    """What these heads are sent is the same for the next frames."""
    here, there = ([rig.names.index(name) for name in names] for rig in (bridge.rig, made.engine.rig))
    for number in range(frames):
        if number % 10 == 0:
            for target in ("lead", "second"):
                bridge.say(f"/target/{target}/alive")
                made.commands.handle(f"/target/{target}/alive", (), "127.0.0.1", bridge.now_s)
        bridge.now_s = round((bridge.now_s + FRAME_S) * 1e6) / 1e6
        ours, theirs = bridge.tick(), made.engine.tick(bridge.now_s)
        for what in BY_HEAD:
            np.testing.assert_array_equal(getattr(ours, what)[here], getattr(theirs, what)[there], f"{number} {what}")


def test_heads_and_targets_in_another_order_one_gone_and_one_new(make_bridge: Callable[..., Any]) -> None:
    bridge = busy(make_bridge)
    kept = [name for name in reversed(bridge.rig.names) if name != "foh-2"]
    lead, second = bridge.engine.stage.targets
    new = replace(bridge.door.show.fixtures[1], name="new-1", truss="fourth")
    made = elsewhere(bridge, kept, [THIRD, second, lead], (new,))
    assert made.engine.crew.targets_of()[made.engine.rig.names.index("new-1")] == "third"
    assert_alike(bridge, made, kept)
    assert "foh-2" not in json.dumps(made.engine.state())


def test_heads_of_a_target_that_is_gone_go_to_their_own(make_bridge: Callable[..., Any]) -> None:
    bridge = busy(make_bridge)
    followed = bridge.engine.crew.targets_of()
    names = [f.name for f in bridge.door.show.fixtures]
    show = bridge.door.show
    bare = replace(show, fixtures=tuple(replace(f, follows=None) for f in show.fixtures))
    made = make(replace(bare, stage=replace(show.stage, targets=(show.stage.targets[0],)), poses=bridge.door.poses))
    made.engine.restore(json.loads(json.dumps(bridge.engine.state())))
    assert set(followed) == {"lead", "second", ""}, "who followed nobody goes on following nobody"
    assert made.engine.crew.targets_of() == [{"second": "lead"}.get(name, name) for name in followed]
    assert_alike_for_lead = [n for n, target in zip(names, followed, strict=True) if target == "lead"]
    here = [bridge.rig.names.index(name) for name in assert_alike_for_lead]
    for _ in range(20):
        bridge.now_s += FRAME_S
        ours, theirs = bridge.tick(), made.engine.tick(bridge.now_s)
        np.testing.assert_array_equal(ours.pan_rad[here], theirs.pan_rad[here])
        np.testing.assert_array_equal(ours.level[here], theirs.level[here])


def test_a_guide_that_is_gone_guides_no_more(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(**without_a_ceiling(47))
    bridge.stand(1.0, 3.0)
    bridge.say("/target/lead/pointing", "foh-2", *bridge.angles("foh-2"))
    bridge.run(0.1)
    kept = [name for name in bridge.rig.names if name != "foh-2"]
    assert_alike(bridge, elsewhere(bridge, kept, list(bridge.engine.stage.targets)), kept)


# Any JSON at all: "a daemon must start"


@cache
def show() -> Show:
    made = hung_outside(build_rig(1, stage=flat_stage(targets=(Target("lead"), Target("second")), evenness=True)))
    few = tuple(f for f in made.fixtures if f.name.endswith(("1", "2")))
    return Show(Path("any"), "any", few, made.stage, Network(), poses={f.name: made.poses[f.name] for f in few})


@cache
def kept_state() -> str:
    made = make(show())
    for number in range(60):
        for address, args in (
            ("/target/lead/position", (1.0 + number / 100, 3.0)),
            ("/sight/foh-1/nudge", (-0.1, 0.1)),
            ("/target/second/pointing", ("mid-2", 0.0, 30.0)),
            ("/fixture/foh-2/still", (1,)),
            ("/fixture/mid-1/hold", (1,)),
            ("/fixture/mid-1/trim", (0.1, 0.1)),
            ("/walk", ("A",)),
        )[: 7 if number < 40 else 6]:
            if address != "/target/second/pointing":
                made.commands.handle(address, args, "h", number * FRAME_S)
        made.engine.tick(number * FRAME_S)
    return json.dumps(made.engine.state())


def paths(data: Any, here: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Where something stands in plain data, a few of the places of every list."""
    inside = data.items() if isinstance(data, dict) else list(enumerate(data))[:2] if isinstance(data, list) else ()
    return [here, *(path for key, value in inside for path in paths(value, (*here, key)))]


NUMBERS = st.sampled_from([1e308, -1e308, 1e-320, 2**80, -1, 0, 1, 1e9, float("nan"), float("inf"), -float("inf")])
ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=4) | NUMBERS,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)


@st.composite
def damaged(draw: st.DrawFn) -> Any:
    data = json.loads(kept_state())
    for _ in range(draw(st.integers(1, 4))):
        path = draw(st.sampled_from(paths(data)[1:]))
        there = data
        for key in path[:-1]:
            there = there[key]
        there[path[-1]] = like(draw, there[path[-1]])
    return data


def like(draw: st.DrawFn, value: Any) -> Any:
    """Anything, or a number as odd as they come in every place of a list."""
    if isinstance(value, list) and draw(st.booleans()):
        odd = draw(NUMBERS)
        return [[odd] * len(item) if isinstance(item, list) else odd for item in value]
    return draw(NUMBERS) if isinstance(value, float) and draw(st.booleans()) else draw(ANY_JSON)


@settings(max_examples=150, deadline=None)
@given(data=ANY_JSON | damaged())
def test_no_state_whatever_stops_the_engine(data: Any) -> None:
    made = make(show())
    made.engine.restore(data)
    for number in range(4):
        made.commands.handle("/target/lead/take", (), "h", 100.0 + number * FRAME_S)
        made.commands.handle("/target/lead/position", (1.0, 3.0 + 0.1 * number), "h", 100.0 + number * FRAME_S)
        with np.errstate(invalid="raise", over="raise"):
            frame = made.engine.tick(100.0 + number * FRAME_S)
        for field in fields(frame):
            if field.name not in ("overrides", "own", "whole", "loose"):  # all but the first are None without a desk
                value = getattr(frame, field.name)
                assert (value is None and field.name == "behind") or np.isfinite(value).all(), field.name
        assert ((frame.level >= 0) & (frame.level <= 1)).all()
    json.dumps(made.engine.state())


@pytest.mark.parametrize("number", [1e308, -1e308, float("nan"), float("inf"), 2**80, True, "x", None, [], {}])
def test_what_cannot_be_is_left_out_wherever_it_stands(number: Any) -> None:
    """The same place by place, and in every place of a column."""
    engine = make(show()).engine
    for path in paths(json.loads(kept_state()))[1:]:
        engine.restore(json.loads(kept_state()))
        data = json.loads(kept_state())
        there = data
        for key in path[:-1]:
            there = there[key]
        old = there[path[-1]]
        there[path[-1]] = [number] * len(old) if isinstance(old, list) and not isinstance(old[:1], dict) else number
        engine.restore(data)
        with np.errstate(invalid="raise", over="raise"):
            frame = engine.tick(100.0)
        assert all(np.isfinite(getattr(frame, name)).all() for name in BY_HEAD), path
        assert 0.0 <= frame.level.min() <= frame.level.max() <= 1.0, path
