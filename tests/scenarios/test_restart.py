"""interface.md: a restart within 10 s of a crash goes on as it was; still and trims survive any restart."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from bridge.follow import snapshot

NAMES = ("pan_rad", "tilt_rad", "level", "zoom_raw", "focus_raw", "state")


def busy(bridge: Any) -> None:
    """Everything that an operator may have set."""
    bridge.stand(1.0, 3.0)
    for address, *args in [
        ("/level", 0.8),
        ("/fixture/foh-1/level", 0.5),
        ("/fixture/foh-2/hold", 1),
        ("/fixture/foh-3/out", 1),
        ("/fixture/foh-4/trim", 0.3, 0.1),
        ("/truss/mid/trim", 0.0, -0.2),
        ("/fixture/back-1/still", 1),
        ("/area/thrust", 1),
        ("/no-light/first-rows", 0),
        ("/floor/riser", 0.9),
        ("/target/lead/height", 1.5),
        ("/target/lead/size", 1.8),
    ]:
        bridge.say(address, *args)
    bridge.stand(1.2, 3.1)


def restarted(bridge: Any, fresh: Any, gap_s: float) -> Any:
    """A fresh bridge that takes up what the other one was, after a gap, through JSON as on disk."""
    data = json.loads(json.dumps(snapshot.whole(bridge.engine, bridge.now_s)))
    fresh.engine.frame = None
    fresh.now_s = bridge.now_s + gap_s
    snapshot.restore_whole(fresh.engine, data, fresh.now_s)
    return fresh


@pytest.fixture
def make_fresh(make_bridge: Callable[..., Any]) -> Callable[[], Any]:
    """A bridge that has not ticked yet, as after the start of a process."""
    from bridge.follow.commands import Commands
    from bridge.follow.engine import Engine
    from bridge.wire.settings import LostInput

    def make() -> Any:
        bridge = make_bridge()
        bridge.engine = Engine(bridge.rig, bridge.engine.stage, LostInput())
        bridge.commands = Commands(bridge.engine)
        return bridge

    return make


@pytest.mark.parametrize("gap_s", [0.2, 1.0])
def test_after_a_crash_it_goes_on_as_it_was(bridge: Any, make_fresh: Callable[[], Any], gap_s: float) -> None:
    busy(bridge)
    bridge.say("/target/lead/alive")
    fresh = restarted(bridge, make_fresh(), gap_s)
    (after,) = fresh.run(1 / 44)
    for name in NAMES:
        np.testing.assert_allclose(getattr(after, name), getattr(bridge.frame, name), atol=1e-3, err_msg=name)
    fresh.refused("/target/lead/position", 0.0, 1.0, host="127.0.0.9")  # its sender is still the one
    for one in (bridge, fresh):
        one.stand(0.0, 6.5)
    for name in NAMES:
        ours, theirs = getattr(fresh.frame, name), getattr(bridge.frame, name)
        np.testing.assert_allclose(ours, theirs, atol=1e-6, err_msg=name)


def test_still_and_trims_survive_any_restart(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    busy(bridge)
    bridge.say("/truss/mid/still", 1)
    bridge.run(0.1)
    data = json.loads(json.dumps(snapshot.lasting(bridge.engine)))
    fresh = make_fresh()
    snapshot.restore_lasting(fresh.engine, data)
    for frame in fresh.stand(1.2, 3.1):
        for name in ("back-1", "mid-1", "mid-2"):
            n = fresh.number(name)
            assert frame.level[n] == 0.0
            assert frame.pan_rad[n] == pytest.approx(bridge.frame.pan_rad[n])
            assert frame.tilt_rad[n] == pytest.approx(bridge.frame.tilt_rad[n])
    assert fresh.state("mid-1") == fresh.state("back-1") == "still"
    fresh.assert_lit((1.5, 3.2, 1.3), ["foh-4"])
    fresh.assert_lit((1.2, 3.1, 1.3), ["foh-1", "foh-2", "foh-3"])  # levels, hold and out do not outlast a stop
    fresh.say("/truss/mid/still", 0)
    fresh.stand(1.2, 3.1)
    fresh.assert_lit((1.2, 2.9, 1.3), ["mid-1", "mid-2"])


JUNK: list[Any] = [
    None,
    3,
    "x",
    [],
    {"lasting": 5, "fixtures": [1], "targets": "no"},
    {"fixtures": {"foh-1": {"angles": [1]}}},
]


@pytest.mark.parametrize("junk", JUNK, ids=lambda junk: str(junk)[:30])
def test_a_state_that_makes_no_sense_is_left_out(make_fresh: Callable[[], Any], junk: Any) -> None:
    fresh = make_fresh()
    snapshot.restore_whole(fresh.engine, junk, fresh.now_s)
    snapshot.restore_lasting(fresh.engine, junk)
    fresh.stand(1.0, 3.0)
    fresh.assert_lit((1.0, 3.0, 1.3))


def test_numbers_that_are_none_and_names_that_are_gone_are_left_out(bridge: Any, make_fresh: Callable[[], Any]) -> None:
    busy(bridge)
    text = json.dumps(snapshot.whole(bridge.engine, bridge.now_s))
    data = json.loads(text.replace("foh-4", "gone").replace('"master": 0.8', '"master": NaN'))
    fresh = make_fresh()
    snapshot.restore_whole(fresh.engine, data, fresh.now_s)
    for frame in fresh.run(0.5):
        assert np.isfinite(frame.level).all()
        assert np.isfinite(frame.pan_rad).all()
