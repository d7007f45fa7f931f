"""/target/NAME/crew: "exactly these fixtures follow this target, in one message"."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from tests.scenarios.random_shows import hung_outside

FOH = ["foh-1", "foh-2", "foh-3", "foh-4"]


def own_targets(made: Any) -> Any:
    """The back truss follows second by its file; nothing hangs over the polygon."""
    fixtures = [replace(f, follows="second" if f.truss == "back" else None) for f in hung_outside(made).fixtures]
    return replace(hung_outside(made), fixtures=tuple(fixtures))


@pytest.fixture
def two(make_bridge: Callable[..., Any]) -> Any:
    bridge = make_bridge(change=own_targets)
    bridge.say("/target/second/position", 2.5, 4.0)
    bridge.stand(-2.0, 3.0, seconds=0.1)
    run(bridge, 3.0)
    return bridge


def run(bridge: Any, seconds: float) -> None:
    bridge.run(seconds, lambda _: (bridge.say("/target/lead/alive"), bridge.say("/target/second/alive")))


def crew(bridge: Any, target: str) -> list[str]:
    return [name for name, of in zip(bridge.rig.names, bridge.engine.crew.targets_of(), strict=True) if of == target]


def test_exactly_these_follow_it(two: Any) -> None:
    two.say("/target/second/crew", *FOH)
    run(two, 4.0)
    assert crew(two, "second") == FOH
    two.assert_lit((2.5, 4.0, 1.5), FOH)
    mid = [name for name in two.rig.names if name.startswith("mid")]
    two.assert_lit((-2.0, 3.0, 1.3), mid)


def test_the_rest_go_to_their_own_target_or_to_nobody_dark_and_without_input(two: Any) -> None:
    back = [name for name in two.rig.names if name.startswith("back")]
    two.say("/target/lead/crew", *FOH, "back-1")
    run(two, 4.0)
    assert crew(two, "lead") == [*FOH, "back-1"]
    mid = crew(two, "")
    assert mid == [name for name in two.rig.names if name.startswith("mid")]
    two.assert_dark("no-input", mid)
    two.say("/target/lead/crew", "foh-1")
    run(two, 4.0)
    assert crew(two, "second") == back, "back-1 went back to its own"
    two.assert_lit((2.5, 4.0, 1.5), back)
    two.assert_dark("no-input", [*FOH[1:], *mid])
    two.assert_lit((-2.0, 3.0, 1.3), ["foh-1"])


def test_heads_that_follow_nobody_do_not_keep_the_others_from_anything_and_come_back(two: Any) -> None:
    two.say("/target/lead/crew")
    run(two, 2.0)
    assert crew(two, "lead") == []
    two.say("/target/lead/crew", *(name for name in two.rig.names if not name.startswith("back")))
    run(two, 4.0)
    assert two.states == {"lit"}


def test_a_crew_goes_over_in_the_dark(two: Any) -> None:
    two.say("/target/second/crew", "foh-1")
    n, left = two.number("foh-1"), False
    for frame in two.run(4.0, lambda _: (two.say("/target/lead/alive"), two.say("/target/second/alive"))):
        on_old, on_new = (two.misses(p, frame)[n] < 1.0 for p in ((-2.0, 3.0, 1.3), (2.5, 4.0, 1.5)))
        assert on_old or on_new or frame.level[n] == 0
        left = left or not (on_old or on_new)
    assert left


@pytest.mark.parametrize(
    ("address", "args", "reason"),
    [
        ("/target/nobody/crew", ("foh-1",), "unknown-name"),
        ("/target/lead/crew", ("foh-1", "foh-9"), "unknown-name"),
        ("/target/lead/crew", ("foh-1", 2), "arguments"),
    ],
)
def test_a_crew_that_cannot_be_is_refused_whole(two: Any, address: str, args: tuple[Any, ...], reason: str) -> None:
    before = two.engine.crew.targets_of()
    assert two.refused(address, *args).reason == reason
    assert two.engine.crew.targets_of() == before
