"""The short ways of a usual frame and the full way give the same frames, bit for bit, whatever happens."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from bridge.follow.moving.motion import Moving
from tests.scenarios.random_shows import Script, differences, play, random_show

FRAMES = 700
QUIET, BUSY = 0.2, 3.0  # things done per second


@pytest.fixture
def short_steps(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """Grows by one with every frame that takes the short way of motion."""
    taken: list[int] = []
    step = Moving._short_step

    def counted(self: Moving, *args: Any) -> Any:
        taken.append(1)
        return step(self, *args)

    monkeypatch.setattr(Moving, "_short_step", counted)
    return taken


def compare(make_bridge: Callable[..., Any], seed: int, outside: bool, often: float) -> None:
    made = random_show(seed, outside)
    short, full = make_bridge(**made), make_bridge(**made, short_ways=False)
    script, poses = Script(seed, short.rig.names, often), dict(short.door.poses)
    for number in play((short, full), script, poses, FRAMES):
        assert not differences(short.frame, full.frame), f"frame {number}"


@pytest.mark.parametrize("seed", range(8))
def test_a_rig_outside_the_polygon_mostly_takes_the_short_ways_and_they_are_equal(
    make_bridge: Callable[..., Any], short_steps: list[int], seed: int
) -> None:
    compare(make_bridge, seed, outside=True, often=QUIET)
    unsolved = seed % 4 == 3
    assert unsolved == (not short_steps), "with an unsolved head in the rig no frame is a usual one"
    assert unsolved or len(short_steps) > 0.5 * FRAMES


@pytest.mark.parametrize("seed", range(20, 28))
@pytest.mark.parametrize("outside", [True, False])
def test_both_ways_are_equal_while_much_is_done(make_bridge: Callable[..., Any], outside: bool, seed: int) -> None:
    compare(make_bridge, seed, outside, BUSY)
