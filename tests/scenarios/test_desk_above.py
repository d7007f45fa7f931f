"""What stands above the desk's hands (/still, /dark), what they stand above (/fixture/.../out, walks, sightings), and
what is refused of a head that the desk has."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.geometry.stage import Area
from bridge.rig.encode import Encoder
from bridge.rig.profile import Action
from tests.scenarios.beside_desk import DIMMER, FRAME_S, OVERLAY, PAN, TILT, Beside, shared

NAME, OTHER = "foh-1", "mid-2"
NONE = [False] * 5
WITHOUT_DIMMER = ("pan", "tilt", "zoom", "focus")
STANDS = [True, True, True]


@pytest.fixture
def make_beside(make_rig: Callable[..., Any]) -> Callable[..., Beside]:
    def make(change: Callable[[Any], Any] = lambda made: made, **options: Any) -> Beside:
        beside = Beside(change(make_rig(1)), **options)
        beside.run(4.0)
        return beside

    return make


@pytest.fixture
def theirs(make_beside: Callable[..., Beside]) -> Beside:
    """foh-1 is in the desk's hands, at 0.8; the others are ours."""
    return handed(make_beside())


def handed(beside: Beside, *names: str) -> Beside:
    beside.light[:] = 0.8
    for name in names or (NAME,):
        beside.say(f"/fixture/{name}/desk", 1)
    beside.run(4.0)
    assert all(beside.own(name) == NONE for name in names or (NAME,))
    beside.levels.clear()
    return beside


# Above the desk


def test_dark_is_above_the_desk(theirs: Beside) -> None:
    theirs.say("/dark", 1)
    theirs.tick()
    assert not theirs.frame.level.any()
    assert theirs.frame.own[DIMMER].all()
    assert theirs.state(NAME) == "dark"
    assert theirs.own(NAME) == [False, False, True, False, False], "the desk moves it on"
    theirs.run(1.0)
    theirs.levels.clear()
    theirs.say("/dark", 0)
    theirs.run(2.0)
    assert (theirs.level(NAME), theirs.own(NAME)) == (0.8, NONE)
    theirs.assert_smooth(NAME)


@pytest.mark.parametrize("own", [("pan", "tilt", "dimmer"), WITHOUT_DIMMER])
def test_dark_holds_for_heads_of_ours_whatever_is_own(make_beside: Callable[..., Beside], own: Any) -> None:
    beside = make_beside(desk=shared(own))
    beside.say("/dark", 1)
    beside.tick()
    assert not beside.frame.level.any()
    assert beside.frame.own[DIMMER].all()
    beside.levels.clear()
    beside.say("/dark", 0)
    beside.run(2.0)
    assert beside.frame.level.min() == 1.0
    beside.assert_smooth(NAME)


@pytest.mark.parametrize("own", [("pan", "tilt", "dimmer"), WITHOUT_DIMMER, ("zoom",)])
def test_a_still_head_stands_dark_whatever_is_own(make_beside: Callable[..., Beside], own: Any) -> None:
    beside = make_beside(desk=shared(own))
    n = beside.number(NAME)
    beside.say(f"/fixture/{NAME}/still", 1)
    frames = beside.run(1.0)
    assert all(frame.own[:3, n].tolist() == STANDS for frame in frames)
    assert not any(frame.level[n] for frame in frames)
    assert len({(frame.pan_rad[n], frame.tilt_rad[n]) for frame in frames}) == 1


def test_still_is_above_the_desk(theirs: Beside) -> None:
    """Wherever the desk sends it meanwhile; afterwards it goes there in the dark."""
    n = theirs.number(NAME)
    at = theirs.frame.pan_rad[n], theirs.frame.tilt_rad[n]
    theirs.say("/still", 1)
    theirs.pan[:], theirs.tilt[:] = -1.2, 0.7
    frames = theirs.run(8.0)
    assert {(frame.pan_rad[n], frame.tilt_rad[n], frame.level[n]) for frame in frames} == {(*at, 0.0)}
    assert all(frame.own[:3, n].tolist() == STANDS for frame in frames)
    assert theirs.state(NAME) == "still"
    theirs.levels.clear()
    theirs.say("/still", 0)
    theirs.run(4.0)
    assert (theirs.level(NAME), theirs.state(NAME), theirs.own(NAME)) == (0.8, "desk", NONE)
    theirs.assert_smooth(NAME)


def test_a_still_head_may_be_handed_over_and_back_and_stays_still(make_beside: Callable[..., Beside]) -> None:
    beside = make_beside()
    n = beside.number(NAME)
    beside.say("/still", 1)
    beside.tick()
    at = beside.frame.pan_rad[n], beside.frame.tilt_rad[n]
    for on in (1, 0, 1):
        beside.say("/desk", on)
        for frame in beside.run(3.0):
            assert (frame.pan_rad[n], frame.tilt_rad[n], frame.level[n]) == (*at, 0.0)
            assert frame.own[:3, n].tolist() == STANDS
    beside.levels.clear()
    beside.say("/still", 0)
    beside.run(4.0)
    assert beside.own(NAME) == NONE
    beside.assert_smooth(NAME)


def beyond_limits(made: Any) -> Any:
    """foh-1 with soft limits round where it lights the performer, so that the desk's angles are outside of them."""
    first, *rest = made.fixtures
    return replace(made, fixtures=(replace(first, tilt_limits=(-20.0, 100.0)), *rest))


def test_a_head_that_the_desk_has_beyond_our_limits_is_waited_for_both_ways(make_beside: Callable[..., Beside]) -> None:
    beside = make_beside(beyond_limits)
    n = beside.number(NAME)
    beside.tilt[n] = np.radians(-130.0)
    handed(beside)
    assert beside.state(NAME) == "desk"
    beside.say(f"/fixture/{NAME}/desk", 0)
    frames = beside.run(6.0)
    assert beside.wrong == []
    assert not any(frame.level[n] and frame.tilt_rad[n] < np.radians(-20.0) for frame in frames if frame.own[TILT, n])


def test_a_head_that_the_desk_has_beyond_our_limits_does_not_move_when_it_is_made_still(
    make_beside: Callable[..., Beside],
) -> None:
    """Neither as commanded nor by the rounding of its octets: people are aloft."""
    beside = make_beside(beyond_limits)
    n = beside.number(NAME)
    beside.tilt[n] = np.radians(-130.0)
    handed(beside)
    encoder = Encoder(beside.engine.rig)
    before = encoder.raw(beside.frame)[:2, n].tolist()
    assert before[1] == round(65535 * (-130.0 + 135.0) / 270.0)
    beside.say("/still", 1)
    beside.tilt[n] = 0.0
    for frame in beside.run(2.0):
        assert encoder.raw(frame)[:2, n].tolist() == before
        assert frame.own[:3, n].all()


# Below it


def test_a_head_that_is_out_is_the_desks_to_light_and_out_again_afterwards(make_beside: Callable[..., Beside]) -> None:
    beside = make_beside()
    beside.say(f"/fixture/{NAME}/out", 1)
    beside.run(1.0)
    handed(beside)
    assert (beside.level(NAME), beside.state(NAME)) == (0.8, "desk")
    beside.say(f"/fixture/{NAME}/desk", 0)
    beside.run(3.0)
    assert (beside.level(NAME), beside.state(NAME)) == (0.0, "out")
    beside.assert_smooth(NAME)


def test_out_in_the_desks_hands_counts_once_it_is_back(theirs: Beside) -> None:
    theirs.say(f"/fixture/{NAME}/out", 1)
    theirs.run(0.5)
    assert (theirs.level(NAME), theirs.own(NAME)) == (0.8, NONE)
    theirs.say(f"/fixture/{NAME}/desk", 0)
    theirs.run(3.0)
    assert (theirs.level(NAME), theirs.state(NAME)) == (0.0, "out")
    theirs.assert_smooth(NAME)


def test_an_unsolved_head_can_be_the_desks(make_beside: Callable[..., Beside]) -> None:
    """So that a programmer can aim it for its first sightings."""
    beside = handed(make_beside(lambda made: replace(made, poses={n: p for n, p in made.poses.items() if n != NAME})))
    assert (beside.level(NAME), beside.state(NAME)) == (0.8, "desk")
    beside.say(f"/fixture/{NAME}/desk", 0)
    beside.run(3.0)
    assert (beside.level(NAME), beside.state(NAME)) == (0.0, "unsolved")


def test_the_master_and_a_heads_own_level_are_not_the_desks(theirs: Beside) -> None:
    theirs.say("/level", 0.5)
    theirs.say(f"/fixture/{NAME}/level", 0.1)
    theirs.tick()
    assert theirs.level(NAME) == 0.8
    assert theirs.level(OTHER) == pytest.approx(0.4)


def test_areas_do_not_guard_a_head_in_the_desks_hands(theirs: Beside) -> None:
    theirs.point = (0.0, -3.0)
    theirs.run(2.0)
    assert (theirs.level(NAME), theirs.state(NAME)) == (0.8, "desk")
    assert (theirs.level(OTHER), theirs.state(OTHER)) == (0.0, "outside")


@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER])
def test_a_walk_leaves_heads_in_the_desks_hands_alone(make_beside: Callable[..., Beside], own: Any) -> None:
    beside = handed(make_beside(desk=shared(own)))
    n = beside.number(NAME)
    frames = beside.run(3.0, lambda _: beside.say("/walk", "E"))
    assert all(frame.own[:, n].tolist() == NONE and frame.level[n] == 0.8 for frame in frames)
    assert (beside.state(NAME), beside.state(OTHER)) == ("desk", "sighting")
    assert beside.level(OTHER) == pytest.approx(0.2), "a working light of ours, whatever the desk's level"
    assert beside.frame.whole.tolist() == [number != n for number in range(len(beside.names))]
    assert not beside.engine.crew.hand.seen[n]
    beside.wrong.clear()
    after = beside.run(5.0)
    assert beside.level(OTHER) == 0.8
    assert all(frame.level[n] == 0.8 for frame in after)
    assert beside.wrong == []


@pytest.mark.parametrize("own", [("pan", "tilt", "zoom", "focus", "dimmer"), WITHOUT_DIMMER, ("zoom",)])
def test_a_sighted_head_is_ours_alone_and_goes_back_in_the_dark(make_beside: Callable[..., Beside], own: Any) -> None:
    beside = make_beside(desk=shared(own))
    n = beside.number(NAME)
    beside.light[:] = 0.5
    beside.say(f"/sight/{NAME}/nudge", 20.0, 5.0)
    beside.run(1.0)
    assert beside.level(NAME) == pytest.approx(0.2)
    assert beside.own(NAME) == [True] * 5
    assert np.flatnonzero(beside.frame.whole).tolist() == [n]
    beside.wrong.clear()
    beside.say(f"/sight/{NAME}/done")
    beside.run(4.0)
    if own[0] == "pan":
        assert beside.level(NAME) == 0.5
        assert beside.wrong == []
    assert not beside.frame.whole.any()


def test_a_sighted_or_held_head_goes_out_before_the_desk_has_it(make_beside: Callable[..., Beside]) -> None:
    beside = make_beside()
    beside.say(f"/sight/{NAME}/nudge", 2.0, 2.0)
    beside.say(f"/fixture/{OTHER}/hold", 1)
    beside.run(2.0)
    beside.levels.clear()
    beside.say("/desk", 1)
    beside.run(4.0)
    assert not beside.frame.own.any()
    assert beside.steps(NAME).max() <= FRAME_S / 0.2
    assert beside.steps(OTHER).max() <= FRAME_S / 0.2
    beside.say("/desk", 0)
    beside.run(5.0)
    assert {beside.state(name) for name in beside.names} == {"lit"}, "what was asked before is over"
    assert not any(name == OTHER for _, name in beside.wrong)


# Refused


def with_reset(made: Any) -> Any:
    profile = replace(made.fixtures[0].profile, actions={"reset": Action({12: 250}, hold=0.5, dark=1.5)})
    return replace(made, fixtures=tuple(replace(fixture, profile=profile) for fixture in made.fixtures))


@pytest.mark.parametrize(
    ("what", "args"),
    [
        ("/sight/foh-1/point", (1.0, 1.0)),
        ("/sight/foh-1/nudge", (1.0, 1.0)),
        ("/sight/foh-1/near", ("E",)),
        ("/sight/foh-1/zoom", (0.5,)),
        ("/sight/foh-1/focus", (0.5,)),
        ("/sight/foh-1/level", (0.1,)),
        ("/fixture/foh-1/find", (1,)),
        ("/fixture/foh-1/hold", (1,)),
        ("/fixture/foh-1/act", ("reset",)),
    ],
)
def test_what_is_refused_of_a_head_in_the_desks_hands(
    make_beside: Callable[..., Beside], what: str, args: tuple[Any, ...]
) -> None:
    beside = handed(make_beside(with_reset))
    refusal = beside.refused(what, *args)
    assert refusal.reason == "desk"
    assert "/fixture/foh-1/desk 0" in str(refusal)
    beside.tick()
    assert beside.own(NAME) == NONE
    beside.say(what.replace("foh-1", "foh-2"), *args)


@pytest.mark.parametrize("on", [0, 1])
def test_without_a_desk_there_are_no_hands(make_beside: Callable[..., Beside], on: int) -> None:
    alone = make_beside(desk=None)
    assert alone.refused("/desk", on).reason == "no-desk"
    assert alone.refused(f"/fixture/{NAME}/desk", on).reason == "no-desk"


def test_a_head_without_a_desk_under_it_stays_ours(make_beside: Callable[..., Beside]) -> None:
    def change(made: Any) -> Any:
        first, *rest = made.fixtures
        return replace(made, fixtures=(replace(first, universe=2, address=1), *rest))

    beside = make_beside(change)
    refusal = beside.refused(f"/fixture/{NAME}/desk", 1)
    assert refusal.reason == "no-desk"
    assert "universe 2" in str(refusal)
    beside.say("/desk", 1)
    beside.run(4.0)
    assert beside.own(NAME) == [True] * 5
    assert beside.frame.whole[beside.number(NAME)]
    assert not beside.frame.own[:, 1:].any()
    beside.say("/dark", 1)
    beside.tick()
    assert beside.level(NAME) == 0.0


def test_a_desk_that_was_never_heard_gets_no_head(make_beside: Callable[..., Beside]) -> None:
    beside = make_beside()
    beside.heard[:] = False
    beside.tick()
    assert beside.refused("/desk", 1).reason == "no-desk"
    beside.heard[beside.number(OTHER)] = True
    beside.tick()
    assert beside.refused(f"/fixture/{NAME}/desk", 1).reason == "no-desk"
    beside.say("/desk", 1)
    beside.run(4.0)
    assert beside.own(OTHER) == NONE
    assert beside.own(NAME) == [True] * 5


@pytest.mark.parametrize("args", [(), (2,), ("on",), (1, 1)])
def test_the_switch_takes_0_or_1(theirs: Beside, args: tuple[Any, ...]) -> None:
    theirs.refused("/desk", *args)
    theirs.refused(f"/fixture/{NAME}/desk", *args)
    assert theirs.refused("/fixture/nobody/desk", 1).reason == "unknown-name"


# Recorded


def test_what_the_desk_sends_is_what_is_recorded(theirs: Beside) -> None:
    n = theirs.number(NAME)
    theirs.pan[n], theirs.tilt[n], theirs.zoom[n], theirs.focus[n] = 0.123456789, -0.987654321, 4321.0, 1234.0
    theirs.tick()
    assert theirs.engine.sent_angles(n) == (0.123456789, -0.987654321)
    assert theirs.engine.lens_of(n) == (4321.0, 1234.0)
    m = theirs.number(OTHER)
    assert theirs.engine.sent_angles(m) == (theirs.frame.pan_rad[m], theirs.frame.tilt_rad[m])
    assert np.isnan(theirs.engine.lens_of(m)[1])


def test_zoom_that_is_the_desks_counts_as_the_width_of_the_beam(make_beside: Callable[..., Beside]) -> None:
    """A wide zoom of the desk's into a no-light area closes our light, a narrow one does not."""
    rows = Area("rows", ((-6.0, -6.0), (6.0, -6.0), (6.0, -1.0), (-6.0, -1.0)), (0.0, 2.0))

    def change(made: Any) -> Any:
        return replace(made, stage=replace(made.stage, no_light=(rows,)))

    beside = make_beside(change, desk=replace(OVERLAY, own=("pan", "tilt", "dimmer")))
    for zoom, light in ((0.0, False), (65535.0, True)):  # 55 and 5 degrees
        beside.zoom[:] = zoom
        beside.run(3.0)
        assert bool(beside.level("back-1") > 0) == light
        assert beside.frame.zoom_raw[0] == zoom
    assert beside.frame.own[PAN].all()
