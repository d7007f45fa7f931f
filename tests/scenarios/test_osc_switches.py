"""interface.md, "OSC 1.0 over UDP": `/area`, `/no-light`, `/floor`, `/dark`, `/still`, and what is before an input."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.geometry.stage import Area, Floor

ALIVE = "/target/lead/alive"


def settle(bridge: Any, seconds: float = 2.0) -> list[Any]:
    return bridge.run(seconds, lambda _: bridge.say(ALIVE))


# "switch an area of the stage file"


@pytest.mark.parametrize(("on", "off"), [(1, 0), (1.0, 0.0), (True, False)], ids=["i", "f", "T and F"])
def test_an_area_is_joined_to_the_polygon_while_it_is_on(bridge: Any, on: object, off: object) -> None:
    bridge.stand(0.0, -2.0)
    bridge.assert_dark("outside")
    bridge.say("/area/thrust", on)
    settle(bridge)
    bridge.assert_lit((0.0, -2.0, 1.3))
    bridge.say("/area/thrust", off)
    settle(bridge)
    bridge.assert_dark("outside")


def test_crossing_from_the_polygon_into_a_joined_area_is_no_edge(bridge: Any) -> None:
    bridge.say("/area/thrust", 1)
    bridge.stand(0.5, 1.0)
    levels = [
        frame.level.min()
        for frame in bridge.run(3.0, lambda s: bridge.say("/target/lead/position", 0.5, 1.0 - s), every_s=0.02)
    ]
    assert min(levels) == 1.0
    assert bridge.place()[1] < -1.9


SPOTLESS = Area("lap", ((-1.0, 1.0), (1.0, 1.0), (1.0, 3.0), (-1.0, 3.0)), (0.0, 2.0))


def test_no_light_falls_in_a_no_light_area_until_it_is_switched_off(make_bridge: Callable[..., Any]) -> None:
    bridge = make_bridge(no_light=(SPOTLESS,))
    bridge.stand(0.0, 2.0)
    bridge.assert_dark("no-light")
    bridge.say("/no-light/lap", 0)
    settle(bridge)
    bridge.assert_lit((0.0, 2.0, 1.3))
    bridge.say("/no-light/lap", 1)
    (first, *_) = settle(bridge)
    assert not first.level.any(), "light must leave such an area at once, not by a fade"
    bridge.assert_dark("no-light")


def test_the_cone_past_the_target_counts_too(make_bridge: Callable[..., Any]) -> None:
    # The performer is 1 m upstage of a low area. Beams from behind go on past him, down into it; beams from the front
    # pass over it.
    bridge = make_bridge(no_light=(replace(SPOTLESS, height=(0.0, 0.5)),))
    bridge.stand(0.0, 4.0)
    dark = {name for name in bridge.rig.names if bridge.state(name) == "no-light"}
    assert {"back-2", "back-3"} <= dark
    assert not {name for name in dark if name.startswith("foh")}
    assert all(bridge.level(name) == 0.0 for name in dark)


def test_the_predicted_aim_error_widens_the_cone(make_bridge: Callable[..., Any]) -> None:
    def uncertain(made: Any) -> Any:
        return replace(made, poses={n: replace(p, aim_error_p95=2.0) for n, p in made.poses.items()})

    sure, unsure = (make_bridge(no_light=(SPOTLESS,), change=c) for c in (lambda made: made, uncertain))
    for bridge in (sure, unsure):
        bridge.stand(4.0, 2.0)
    assert sure.state("foh-4") == "lit"
    assert unsure.state("foh-4") == "no-light"


# "height of a floor of the stage file"; "Floors give z for a two-number position and can be moved live"


def test_a_floor_moves_and_the_light_goes_with_it(bridge: Any) -> None:
    bridge.stand(0.0, 6.5)
    bridge.say("/floor/riser", 1.2)
    settle(bridge)
    bridge.assert_lit((0.0, 6.5, 2.5))


def test_a_moving_floor_does_not_move_a_point_given_with_its_z(bridge: Any) -> None:
    bridge.stand(0.0, 6.5, 2.0)
    bridge.say("/floor/riser", 1.2)
    settle(bridge)
    bridge.assert_lit((0.0, 6.5, 2.0))


# "everything dark at once, no fade; cleared only by 0"


def test_dark_is_at_once_for_everything_and_cleared_only_by_0(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/sight/foh-1/point", 0.0, 45.0)
    bridge.say("/fixture/foh-2/hold", 1)
    settle(bridge)
    bridge.say("/dark", 1)
    (first,) = bridge.run(1 / 44)
    assert not first.level.any()
    bridge.say("/target/lead/position", 1.5, 3.0)
    bridge.say("/target/lead/take")
    bridge.say("/level", 1.0)
    bridge.say("/fixture/foh-2/hold", 0)
    bridge.say("/sight/foh-1/level", 1.0)
    bridge.say("/still", 1)
    bridge.say("/still", 0)
    bridge.say("/walk", "E")
    for frame in settle(bridge, 3.0):
        assert not frame.level.any()
    bridge.assert_dark("dark")
    bridge.say("/dark", 0)
    bridge.say("/sight/foh-1/done")
    settle(bridge, 3.0)
    bridge.assert_lit((1.5, 3.0, 1.3))


def test_heads_go_on_following_in_the_dark(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/dark", 1)
    bridge.stand(3.0, 1.5)
    assert bridge.misses((3.0, 1.5, 1.3)).max() < 1e-3


# "people aloft: dark and no motion whatever else is asked; survives a restart; cleared only by 0"

STILL = [
    ("/still", lambda fixture: True),
    ("/truss/mid/still", lambda fixture: fixture.truss == "mid"),
    ("/fixture/back-2/still", lambda fixture: fixture.name == "back-2"),
]


@pytest.mark.parametrize(("address", "concerned"), STILL, ids=[address for address, _ in STILL])
def test_still_heads_neither_move_nor_light_whatever_is_asked(
    bridge: Any, address: str, concerned: Callable[[Any], bool]
) -> None:
    bridge.stand(1.0, 3.0)
    still = [n for n, fixture in enumerate(bridge.rig.fixtures) if concerned(fixture)]
    free = [n for n in range(12) if n not in still]
    names = [bridge.rig.names[n] for n in still]
    bridge.say("/target/lead/velocity", 2.0, 0.0)
    bridge.run(0.3)  # heads are on the move when it comes
    before = np.stack([bridge.frame.pan_rad, bridge.frame.tilt_rad])[:, still]
    bridge.say(address, 1)

    def ask(gone_s: float) -> None:
        bridge.say("/target/lead/position", 3.0 - gone_s, 2.0)
        bridge.say("/level", 1.0)
        for name in names[:2]:
            bridge.say(f"/fixture/{name}/out", int(gone_s * 10) % 2)
            bridge.say(f"/fixture/{name}/hold", int(gone_s * 5) % 2)
            bridge.say(f"/fixture/{name}/follow", "lead")
            bridge.say(f"/fixture/{name}/trim", gone_s / 10, 0.0)
            bridge.refused(f"/sight/{name}/point", 0.0, 45.0)
            bridge.refused(f"/sight/{name}/nudge", 1.0, 1.0)
        if 2.0 < gone_s < 3.0:
            bridge.say("/walk", "A")
        bridge.say("/dark", 0)

    for frame in bridge.run(5.0, ask):
        assert not frame.level[still].any()
        assert np.array_equal(np.stack([frame.pan_rad, frame.tilt_rad])[:, still], before)
    bridge.assert_dark("still", names)
    for name in names[:2]:
        for word in ("out", "hold"):
            bridge.say(f"/fixture/{name}/{word}", 0)
        bridge.say(f"/fixture/{name}/trim", 0, 0)
    bridge.stand(1.0, 2.0)
    bridge.assert_dark("still", names)
    if free:
        bridge.assert_lit((1.0, 2.0, 1.3), [bridge.rig.names[n] for n in free])
    bridge.say(address, 0)
    bridge.stand(1.0, 2.0)
    bridge.assert_lit((1.0, 2.0, 1.3))


def test_each_still_is_cleared_by_its_own_0_alone(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    for address in ("/still", "/truss/foh/still", "/fixture/foh-1/still"):
        bridge.say(address, 1)
    for address, left in [("/still", 4), ("/truss/foh/still", 1), ("/fixture/foh-1/still", 0)]:
        assert bridge.engine.crew.still.any
        bridge.say(address, 0)
        settle(bridge, 0.1)
        assert sum(bridge.state(name) == "still" for name in bridge.rig.names) == left
    assert not bridge.engine.crew.still.any


def test_a_sighting_under_way_stops_too(bridge: Any) -> None:
    bridge.stand(1.0, 3.0)
    bridge.say("/sight/foh-1/point", 100.0, 45.0)
    settle(bridge, 0.3)
    before = bridge.angles("foh-1")
    bridge.say("/fixture/foh-1/still", 1)
    settle(bridge, 2.0)
    assert bridge.angles("foh-1") == before
    bridge.assert_dark("still", ["foh-1"])


# "Armed or not": "dark, pointing at the middle of the performance polygon (a point inside it, floor + height) until the
# first input, state no-input; a fixture without a pose goes to rest"


def start(made: Any) -> Any:
    poses = {name: pose for name, pose in made.poses.items() if name != "mid-1"}
    return replace(made, poses=poses, fixtures=tuple(replace(f, rest=(20.0, 30.0)) for f in made.fixtures))


def test_before_the_first_input_all_is_dark_on_the_middle_and_the_unsolved_rest(
    make_bridge: Callable[..., Any],
) -> None:
    bridge = make_bridge(change=start)
    for frame in bridge.run(3.0):
        assert not frame.level.any()
    solved = [name for name in bridge.rig.names if name != "mid-1"]
    bridge.assert_dark("no-input", solved)
    assert bridge.misses((0.0, 4.0, 1.3))[[bridge.number(name) for name in solved]].max() < 1e-3
    bridge.assert_dark("unsolved", ["mid-1"])
    assert bridge.angles("mid-1") == (pytest.approx(20.0), pytest.approx(30.0))


def test_a_fixture_without_a_pose_stays_dark_and_at_rest_whatever_the_target_does(
    make_bridge: Callable[..., Any],
) -> None:
    bridge = make_bridge(change=start)
    for x in (1.0, -3.0):
        for frame in bridge.stand(x, 3.0):
            assert frame.level[bridge.number("mid-1")] == 0.0
    bridge.assert_dark("unsolved", ["mid-1"])
    assert bridge.angles("mid-1") == (pytest.approx(20.0), pytest.approx(30.0))
    bridge.assert_lit((-3.0, 3.0, 1.3), [name for name in bridge.rig.names if name != "mid-1"])


def test_the_middle_of_a_polygon_that_ends_on_a_riser_is_at_its_height(make_bridge: Callable[..., Any]) -> None:
    everywhere = Floor("deck", ((-7.0, -1.0), (7.0, -1.0), (7.0, 9.0), (-7.0, 9.0)), 0.4)
    bridge = make_bridge(floors=(everywhere,))
    bridge.run(0.5)
    assert bridge.misses((0.0, 4.0, 1.7)).max() < 1e-3
