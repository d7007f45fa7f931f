"""A head that goes over to its other face, or to another turn of pan, does so in the dark: on the way its beam sweeps
over the house."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bridge.geometry.stage import Target, Walk

FRAME_S, SPOT_M = 1 / 44, 2.0
WALK_M_S = 1.4
HEAD = "foh-1"
NOT_LED = (Target("lead", walk=Walk(predict=False)),)
"""So that beams belong where the performer is, and not where he will be."""


def with_a_stop(bridge_of: Callable[..., Any], seed: int, **changes: Any) -> Any:
    """foh-1 has a pan stop in the middle of the stage: left of it only one face reaches, right of it the other."""
    free = bridge_of(seed)
    free.stand(0.0, 3.0)
    middle = free.angles(HEAD)[0]

    def stop(made: Any) -> Any:
        fixtures = [replace(f, pan_limits=(middle - 190.0, middle)) if f.name == HEAD else f for f in made.fixtures]
        return made._replace(fixtures=fixtures) if hasattr(made, "_replace") else replace(made, fixtures=fixtures)

    return bridge_of(seed, change=stop, **changes)


def walk_across(bridge: Any, there_x: float = 4.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Per frame of a walk there and back: level of the head, how far its beam passes from the performer, its face."""
    bridge.stand(-there_x, 3.0)
    number, rows = bridge.number(HEAD), []
    xs = np.arange(-there_x, there_x, WALK_M_S * FRAME_S)
    for x in [*xs, *xs[::-1]]:
        bridge.say("/target/lead/position", float(x), 3.0)
        bridge.run(FRAME_S)
        rows.append((bridge.level(HEAD), bridge.misses(bridge.place())[number], bridge.frame.face[number]))
    return tuple(np.array(column) for column in zip(*rows, strict=True))  # type: ignore[return-value]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_change_of_face_is_made_in_the_dark(make_bridge: Callable[..., Any], seed: int) -> None:
    bridge = with_a_stop(make_bridge, seed, targets=NOT_LED)
    levels, misses, faces = walk_across(bridge)
    assert len(set(faces.tolist())) == 2, "it went over"
    assert (levels == 0).any()
    fade_m = WALK_M_S * 0.25
    assert misses[levels > 0].max() < fade_m, "while it fades out it stands, and the performer walks on"
    assert misses[levels > 0.99].max() < WALK_M_S * FRAME_S * 1.5
    bridge.stand(-4.0, 3.0)
    bridge.assert_lit((-4.0, 3.0, 1.3))


def test_the_other_heads_of_the_target_stay_lit(make_bridge: Callable[..., Any]) -> None:
    bridge = with_a_stop(make_bridge, 1)
    bridge.stand(-4.0, 3.0)
    others = [n for n, name in enumerate(bridge.rig.names) if name != HEAD]
    for x in np.arange(-4.0, 4.0, WALK_M_S * FRAME_S):
        bridge.say("/target/lead/position", float(x), 3.0)
        (frame,) = bridge.run(FRAME_S)
        assert (frame.level[others] == 1.0).all()


def test_a_crash_on_the_way_goes_on_in_the_dark(make_bridge: Callable[..., Any]) -> None:
    """What is under way is kept: a capture that begins there replays the same, which the tape checks."""
    bridge = with_a_stop(make_bridge, 1)
    bridge.stand(-4.0, 3.0)
    for x in np.arange(-4.0, 4.0, WALK_M_S * FRAME_S):
        bridge.say("/target/lead/position", float(x), 3.0)
        bridge.run(FRAME_S)
        if bridge.state(HEAD) == "moving":
            break
    assert bridge.state(HEAD) == "moving"
    bridge.begin_tape()
    frames = bridge.run(3.0, lambda _: bridge.say("/target/lead/alive"))
    assert frames[-1].level[bridge.number(HEAD)] == 1.0
