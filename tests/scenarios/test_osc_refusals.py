"""interface.md: "Malformed, unknown, oversized or not-finite input changes nothing"; "A value outside its range is
refused, not clamped". Each refusal has a reason and words; the bridge goes on as a twin that never heard it."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

NAN, INF = math.nan, math.inf

REFUSED: list[tuple[str, tuple[object, ...]]] = [
    # how many
    ("/target/lead/position", ()),
    ("/target/lead/position", (1.0,)),
    ("/target/lead/position", (1.0, 2.0, 3.0, 4.0)),
    ("/target/lead/velocity", (1.0,)),
    ("/target/lead/velocity", (1.0, 1.0, 1.0)),
    ("/target/lead/pointing", ("foh-1", 10.0)),
    ("/target/lead/height", ()),
    ("/target/lead/size", (1.0, 2.0, 3.0)),
    ("/fixture/foh-1/level", ()),
    ("/fixture/foh-1/trim", (0.1,)),
    ("/level", (0.1, 0.2, 0.3)),
    ("/dark", ()),
    ("/still", (1, 1)),
    ("/walk", ()),
    ("/sight/foh-1/point", (1.0,)),
    # what kind
    ("/target/lead/position", ("1", "2")),
    ("/target/lead/position", (True, False)),
    ("/target/lead/position", (None, 1.0)),
    ("/target/lead/position", (b"blob", 1.0)),
    ("/target/lead/pointing", (1, 10.0, 45.0)),
    ("/fixture/foh-1/follow", (2,)),
    ("/fixture/foh-1/level", ("full",)),
    ("/dark", ("on",)),
    # not finite
    ("/target/lead/position", (NAN, 1.0)),
    ("/target/lead/position", (1.0, INF)),
    ("/target/lead/position", (1.0, 1.0, -INF)),
    ("/target/lead/velocity", (NAN, 0.0)),
    ("/target/lead/pointing", ("foh-1", NAN, 45.0)),
    ("/target/lead/height", (NAN,)),
    ("/target/lead/size", (INF,)),
    ("/fixture/foh-1/level", (NAN,)),
    ("/fixture/foh-1/trim", (0.0, NAN)),
    ("/level", (NAN,)),
    ("/floor/riser", (NAN,)),
    ("/sight/foh-1/nudge", (NAN, 0.0)),
    # out of range: refused, not clamped
    ("/fixture/foh-1/level", (1.01,)),
    ("/fixture/foh-1/level", (-0.01,)),
    ("/level", (100,)),
    ("/dark", (2,)),
    ("/dark", (0.5,)),
    ("/dark", (-1,)),
    ("/still", (2,)),
    ("/fixture/foh-1/hold", (3,)),
    ("/fixture/foh-1/out", (0.3,)),
    ("/area/thrust", (2,)),
    ("/no-light/first-rows", (-1,)),
    ("/target/lead/position", (1e30, 0.0)),
    ("/target/lead/velocity", (1e9, 0.0)),
    ("/target/lead/size", (-1.0,)),
    ("/target/lead/size", (0.0,)),
    ("/sight/foh-1/point", (1000.0, 0.0)),
    ("/sight/foh-1/nudge", (600.0, 0.0)),
    ("/sight/foh-1/zoom", (1.1,)),
    ("/sight/foh-1/focus", (-0.1,)),
    ("/sight/foh-1/level", (2.0,)),
    # unknown names
    ("/target/leed/position", (1.0, 2.0)),
    ("/target//position", (1.0, 2.0)),
    ("/fixture/foh-9/level", (0.5,)),
    ("/fixture/foh-1/follow", ("nobody",)),
    ("/target/lead/pointing", ("foh-9", 10.0, 45.0)),
    ("/truss/fo/trim", (0.1, 0.1)),
    ("/truss/fo/still", (1,)),
    ("/area/performance_polygon", (0,)),
    ("/area/none", (1,)),
    ("/no-light/none", (0,)),
    ("/floor/none", (1.0,)),
    ("/walk", ("Z",)),
    ("/sight/foh-9/point", (0.0, 45.0)),
    # unknown addresses
    ("", ()),
    ("/", ()),
    ("/target", (1.0, 2.0)),
    ("/target/lead", (1.0, 2.0)),
    ("/target/lead/position/x", (1.0, 2.0)),
    ("/target/lead/positions", (1.0, 2.0)),
    ("/TARGET/lead/position", (1.0, 2.0)),
    ("target/lead/position", (1.0, 2.0)),
    ("/target/*/position", (1.0, 2.0)),
    ("/target/l?ad/position", (1.0, 2.0)),
    ("/fixture/foh-1", (1,)),
    ("/level/", (0.5,)),
    ("/sight/foh-1/solve", ()),
    ("/" + "a/" * 200, ()),
]


@pytest.mark.parametrize(("address", "args"), REFUSED, ids=[f"{a[:30]} {args}"[:60] for a, args in REFUSED])
def test_it_is_refused_with_words(bridge: Any, address: str, args: tuple[object, ...]) -> None:
    assert len(str(bridge.refused(address, *args))) < 500


def test_what_is_refused_changes_nothing(make_bridge: Callable[..., Any]) -> None:
    told, twin = make_bridge(), make_bridge()
    for one in (told, twin):
        one.stand(1.0, 3.0)

    def junk(gone_s: float) -> None:
        start = int(gone_s * 10) * 8
        for address, args in (REFUSED + REFUSED)[start % len(REFUSED) :][:8]:
            told.refused(address, *args)

    for ours, theirs in zip(told.run(1.5, junk), twin.run(1.5), strict=True):
        for name in ("pan_rad", "tilt_rad", "level", "zoom_raw", "focus_raw", "state", "face"):
            np.testing.assert_array_equal(getattr(ours, name), getattr(theirs, name), err_msg=name)


def test_the_same_inputs_give_the_same_frames(make_bridge: Callable[..., Any]) -> None:
    """architecture.md: "the same inputs give the same bytes, so a recording replays exactly"."""

    def play(bridge: Any) -> list[Any]:
        rng = np.random.default_rng(4)

        def act(_: float) -> None:
            bridge.say("/target/lead/position", float(rng.uniform(-7, 7)), float(rng.uniform(-1, 9)))
            if rng.random() < 0.3:
                bridge.say(f"/fixture/{bridge.rig.names[rng.integers(12)]}/hold", int(rng.integers(2)))
            bridge.say("/level", float(rng.random()))

        return bridge.run(4.0, act, every_s=0.3)

    for ours, theirs in zip(play(make_bridge()), play(make_bridge()), strict=True):
        assert np.array_equal(ours.pan_rad, theirs.pan_rad)
        assert np.array_equal(ours.level, theirs.level)
        assert np.array_equal(ours.state, theirs.state)


def test_time_that_stands_or_runs_back_does_no_harm(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/target/lead/position", 2.0, 3.0)
    before = bridge.frame
    for now_s in (bridge.now_s, bridge.now_s - 5.0, bridge.now_s):
        frame = bridge.engine.tick(now_s)
        assert np.array_equal(frame.pan_rad, before.pan_rad)
        assert np.isfinite(frame.level).all()


def test_a_stall_is_not_made_up_for_by_a_leap(make_bridge: Callable[..., Any]) -> None:
    """After any stall heads have moved by no more than in 0.1 s: from standing, 600 deg/s² of pan and 500 of tilt give
    at most 6 and 5 degrees. All in the light, so that nobody waits for a fade first."""
    bridge = make_bridge(move_in_black_after=30.0)
    bridge.stand(-5.0, 1.0)
    bridge.say("/target/lead/position", 5.0, 7.0)
    before = bridge.frame
    bridge.now_s += 1.9
    frame = bridge.tick()
    pan, tilt = (np.degrees(np.abs(getattr(frame, n) - getattr(before, n))) for n in ("pan_rad", "tilt_rad"))
    assert 3.0 < pan.max() <= 6.0 + 1e-6
    assert 1.0 < tilt.max() <= 5.0 + 1e-6
