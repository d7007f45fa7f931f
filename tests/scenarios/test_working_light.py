"""The working light of a focus session, the play of gears, and the first moment of light."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.wire.capture import Datagram
from tests.scenarios.random_shows import FRAME_S

ALIVE = "/target/lead/alive"


def run(bridge: Any, seconds: float) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


@pytest.mark.parametrize("asked", [0.21, 0.5, 1.0])
def test_the_working_light_is_capped_at_a_fifth(bridge: Any, asked: float) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/sight/foh-1/point", *bridge.angles("foh-1"))
    bridge.say("/sight/foh-1/level", asked)
    assert max(frame.level[0] for frame in run(bridge, 1.0)) == pytest.approx(0.2)


def test_a_new_sighting_begins_at_the_full_working_light_again(bridge: Any) -> None:
    bridge.say("/sight/foh-1/level", 0.05)
    bridge.say("/sight/foh-1/done")
    bridge.say("/sight/foh-1/nudge", 0.0, 0.0)
    run(bridge, 0.5)
    assert bridge.level("foh-1") == pytest.approx(0.2)


# Backlash: "a head is always brought to its final angles from below", so that the play falls on the same side


@pytest.mark.parametrize("step", [(-3.0, 0.0), (0.0, -3.0), (-3.0, -4.0), (-0.2, 5.0), (4.0, -0.2)])
def test_a_sighting_that_comes_from_above_goes_a_degree_further_and_comes_back_up(
    bridge: Any, step: tuple[float, float]
) -> None:
    bridge.stand(1.0, 3.0)
    before = np.array(bridge.angles("foh-1"))
    bridge.say("/sight/foh-1/nudge", *step)
    way = [np.degrees([frame.pan_rad[0], frame.tilt_rad[0]]) for frame in run(bridge, 2.0)]
    for axis in (0, 1):
        angles = np.array([before[axis], *(angle[axis] for angle in way)])
        wanted = before[axis] + step[axis]
        assert angles[-1] == pytest.approx(wanted)
        moves = np.diff(angles)[np.abs(np.diff(angles)) > 1e-9]
        if step[axis] < 0:
            assert angles.min() == pytest.approx(wanted - 1.0, abs=0.02)
            assert moves[-1] > 0, "the last move is upwards"
        else:
            assert (moves > 0).all()


def test_at_the_lower_limit_it_goes_as_far_as_there_is(make_bridge: Callable[..., Any]) -> None:
    def change(made: Any) -> Any:
        first, *rest = made.fixtures
        return replace(made, fixtures=(replace(first, tilt_limits=(10.0, 80.0)), *rest))

    bridge = make_bridge(change=change)
    bridge.say("/sight/foh-1/point", 0.0, 30.0)
    run(bridge, 3.0)
    bridge.say("/sight/foh-1/point", 0.0, 10.3)
    tilts = [float(np.degrees(frame.tilt_rad[0])) for frame in run(bridge, 3.0)]
    assert min(tilts) == pytest.approx(10.0)
    assert tilts[-1] == pytest.approx(10.3)


# "By themselves, heads go dark and come back at most once a second"


@pytest.mark.parametrize("away_s", [0.05, 0.15, 0.3, 0.8, 1.15])
def test_dark_by_itself_is_dark_for_a_second_after_its_fade(bridge: Any, away_s: float) -> None:
    bridge.stand(0.0, 0.2)
    bridge.say("/target/lead/position", 0.0, -0.4)
    frames = bridge.run(away_s)
    bridge.say("/target/lead/position", 0.0, 0.2)
    levels = np.array([frame.level for frame in [*frames, *run(bridge, 2.5)]])
    for head in levels.T:
        dark = np.flatnonzero(head == 0)
        assert 1.0 - FRAME_S <= len(dark) * FRAME_S <= max(1.0, away_s - 0.2) + 0.3
        assert head[-1] == 1.0


def test_after_a_longer_darkness_the_light_comes_at_once(bridge: Any) -> None:
    bridge.stand(0.0, 0.2)
    bridge.stand(0.0, -0.4, seconds=2.0)
    bridge.say("/target/lead/position", 0.0, 0.2)
    assert run(bridge, 0.5)[-1].level.min() > 0.0


def test_the_first_frame_that_is_sent_is_dark_for_a_second(bridge: Any) -> None:
    """Heads were nowhere known: "Armed, it sends from that moment: dark", whatever the engine did until then."""
    bridge.stand(1.0, 3.0)
    bridge.say("/arm", 0)
    run(bridge, 3.0)
    bridge.say("/target/lead/take")
    bridge.assert_lit((1.0, 3.0, 1.3))
    sent = len(bridge.tape.entries)
    bridge.say("/arm", 1)
    frames = run(bridge, 3.0)
    first = next(e.payload for e in bridge.tape.entries[sent:] if isinstance(e, Datagram) and not e.inbound)
    addresses = [fixture.address for fixture in bridge.door.show.fixtures]
    assert [first[126 + at + 3] for at in addresses] == [0] * len(addresses), "dimmers, coarse (E1.31: slot 1 is 126)"
    dark = [number for number, frame in enumerate(frames) if not frame.level.any()]
    assert dark[0] == 0
    assert 1.0 - FRAME_S <= len(dark) * FRAME_S <= 1.1
    bridge.assert_lit((1.0, 3.0, 1.3))


# Moves that never end, heads that do not count


def test_a_head_that_never_arrives_keeps_its_group_dark_for_six_seconds_and_no_longer(
    make_bridge: Callable[..., Any],
) -> None:
    def change(made: Any) -> Any:
        first, *rest = made.fixtures
        axis = replace(first.profile.pan, speed=1.0, acceleration=5.0)
        return replace(made, fixtures=(replace(first, profile=replace(first.profile, pan=axis)), *rest))

    bridge = make_bridge(change=change)
    bridge.stand(-5.0, 4.0, seconds=40.0)
    assert bridge.state("foh-1") == "lit"
    bridge.say("/target/lead/position", 5.0, 4.0)
    lit = np.array([frame.level[1:].any() for frame in run(bridge, 8.0)])
    dark = np.flatnonzero(~lit) * FRAME_S
    assert dark[-1] == pytest.approx(6.0, abs=0.3)
    assert lit[-1]
    assert bridge.level("foh-1") == 0.0


def test_evenness_does_not_count_a_head_that_cannot_reach(make_bridge: Callable[..., Any]) -> None:
    """Levels of the others are those of a rig in which that head is out."""

    def weak(made: Any) -> Any:
        profile = made.fixtures[0].profile
        bright, dim = (replace(profile, zoom=replace(profile.zoom, rows=rows)) for rows in (BRIGHT, DIM))
        first, *rest = (replace(f, profile=bright) for f in made.fixtures)
        return replace(made, fixtures=(replace(first, profile=dim, tilt_limits=(-1.0, 1.0)), *rest))

    levels = []
    for out in (0, 1):
        bridge = make_bridge(change=weak, evenness=True)
        bridge.say("/fixture/foh-1/out", out)
        bridge.stand(1.0, 3.0, seconds=6.0)
        assert bridge.state("foh-1") == ("out" if out else "out-of-reach")
        levels.append(bridge.frame.level[1:])
    np.testing.assert_allclose(levels[0], levels[1], atol=1e-6)
    assert levels[0].max() == pytest.approx(1.0, abs=1e-3)


BRIGHT = ((0.0, 55.0, 40000.0), (65535.0, 5.0, 400000.0))
DIM = ((0.0, 55.0, 20000.0), (65535.0, 5.0, 200000.0))


@pytest.mark.parametrize("address", ["/fixture/foh-1/trim", "/truss/foh/trim"])
def test_trims_reach_ten_metres_and_no_further(bridge: Any, address: str) -> None:
    for ends in ((10.0, -10.0), (-10.0, 10.0)):
        bridge.say(address, *ends)
        for past in ((10.01, 0.0), (0.0, -10.01), (-10.01, 0.0), (0.0, 10.01)):
            assert bridge.refused(address, *past).reason == "range"
        assert tuple(bridge.engine.crew.trims.shift[0]) == ends


def test_a_held_head_in_a_check_walk_has_the_focus_of_the_mark(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/fixture/foh-1/hold", 1)
    bridge.stand(-3.0, 5.0)
    held = bridge.frame.focus_raw.copy()
    bridge.run(4.0, lambda _: (bridge.say("/target/lead/alive"), bridge.say("/walk", "E")))
    number, walked = bridge.number("foh-1"), bridge.frame
    assert bridge.misses((0.5, 4.0, 0.0))[number] < 1e-3
    wanted = bridge.rig.optics.focus_for(walked.distance)
    assert walked.focus_raw == pytest.approx(wanted, abs=1e-6)
    assert abs(walked.focus_raw[number] - held[number]) > 100
