"""interface.md: "whatever anybody asks, a head comes on at most three times in any second (going dark is never
delayed)". A change counts from a tenth of full light on (WCAG 2.2, success criterion 2.3.1, three flashes)."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress
from typing import Any

import numpy as np
import pytest

from bridge.errors import Refused
from tests.scenarios.random_shows import FRAME_S, LAP, TARGETS, Twin

TENTH = 0.1
Pair = tuple[tuple[Any, ...], tuple[Any, ...]]
PAIRS: dict[str, Pair] = {
    "/level": (("/level", 0.0), ("/level", 1.0)),
    "a swing of the level": (("/level", 0.3), ("/level", 0.9)),
    "/fixture/level": (("/fixture/foh-1/level", 0.0), ("/fixture/foh-1/level", 1.0)),
    "/target/level": (("/target/lead/level", 0.0), ("/target/lead/level", 1.0)),
    "/dark": (("/dark", 1), ("/dark", 0)),
    "/still": (("/still", 1), ("/still", 0)),
    "/fixture/out": (("/fixture/foh-1/out", 1), ("/fixture/foh-1/out", 0)),
    "/area": (("/area/thrust", 0), ("/area/thrust", 1)),
    "/no-light": (("/no-light/lap", 1), ("/no-light/lap", 0)),
    "/fixture/hold": (("/fixture/foh-1/hold", 0), ("/fixture/foh-1/hold", 1)),
    "/sight": (("/sight/foh-1/done",), ("/sight/foh-1/level", 0.2)),
    "/fixture/find": (("/fixture/foh-1/find", 0), ("/fixture/foh-1/find", 1)),
}
UNBOUNDED = {"/level", "a swing of the level", "/fixture/level", "/target/level", "/dark"}  # gates hold up the others


def rises(levels: np.ndarray) -> list[int]:
    """Frames in which one head comes on: from dark, or up by more than a tenth after it fell by as much."""
    found: list[int] = []
    up, mark = bool(levels[0] > 0), float(levels[0])
    for number, level in enumerate(levels.tolist()):
        if up:
            mark = max(mark, level)
            if level == 0 or level < mark - TENTH:
                up, mark = False, level
        elif level > mark + TENTH or (mark == 0 and level > 0):
            found.append(number)
            up, mark = True, level
        else:
            mark = min(mark, level)
    return found


def most_in_a_second(levels: np.ndarray) -> int:
    """The most times that any head comes on in any second; levels (frames, heads)."""
    per_head = [np.array(rises(head)) * FRAME_S for head in levels.T]
    return max((int(((at >= a) & (at <= a + 1.0)).sum()) for at in per_head for a in at), default=0)


def play(bridge: Any, said_at: Callable[[float], list[tuple[Any, ...]]], seconds: float) -> tuple[Any, Any]:
    """Levels (frames, heads) as sent, and as they would be without the guard."""
    free = Twin(bridge, bridge.engine.state())
    free.engine.lighting._guard.limit = lambda wanted, now_s: wanted
    sent, wanted = [bridge.frame.level], [bridge.frame.level]
    for number in range(round(seconds / FRAME_S)):
        bridge.now_s = free.now_s = round((bridge.now_s + FRAME_S) * 1e6) / 1e6
        for address, *args in [("/target/lead/alive",), *said_at(number * FRAME_S)]:
            for one in (bridge, free):
                with suppress(Refused):  # a head that is still, or out, at that moment
                    one.say(address, *args)
        sent.append(bridge.tick().level)
        wanted.append(free.tick().level)
    return np.array(sent), np.array(wanted)


def assert_bearable(sent: np.ndarray, wanted: np.ndarray) -> None:
    assert most_in_a_second(sent) <= 3
    assert (sent <= wanted).all(), "going dark, or down, is never delayed"


@pytest.fixture
def lit(make_bridge: Callable[..., Any]) -> Any:
    """All heads lit, on a performer who stands on the thrust, which is on."""
    bridge = make_bridge(no_light=(LAP,), targets=TARGETS)
    bridge.say("/area/thrust", 1)
    bridge.stand(0.0, -1.0)
    assert bridge.frame.level.min() == 1.0
    return bridge


@pytest.mark.parametrize("hertz", [5.0, 9.0, 18.0])
@pytest.mark.parametrize("what", list(PAIRS))
def test_toggled_fast(lit: Any, what: str, hertz: float) -> None:
    sent, wanted = play(lit, lambda s: [PAIRS[what][int(2 * hertz * s) % 2]], 4.0)
    assert_bearable(sent, wanted)
    if what in UNBOUNDED:
        assert most_in_a_second(wanted) > 3, "without the guard it would flash"


@pytest.mark.parametrize("seed", [0, 1, 2, 4])
def test_toggled_at_random_all_at_once(lit: Any, seed: int) -> None:
    rnd = random.Random(seed)
    pairs = [*rnd.sample(list(PAIRS.values()), 3), *(PAIRS[what] for what in sorted(UNBOUNDED))]

    def said(_: float) -> list[tuple[Any, ...]]:
        off, on = rnd.choice(pairs)
        return [on if rnd.random() < 0.8 else off]

    sent, wanted = play(lit, said, 6.0)
    assert_bearable(sent, wanted)
    assert most_in_a_second(wanted) > 3


def test_levels_at_random(lit: Any) -> None:
    rnd = random.Random(3)
    sent, wanted = play(lit, lambda _: [("/level", rnd.random())] if rnd.random() < 0.5 else [], 6.0)
    assert_bearable(sent, wanted)
    assert most_in_a_second(wanted) > 3


def test_after_the_flashing_the_light_is_what_was_asked(lit: Any) -> None:
    play(lit, lambda s: [PAIRS["/dark"][int(18 * s) % 2]], 2.0)
    lit.say("/dark", 0)
    lit.run(1.5)
    assert lit.frame.level.min() == 1.0


@pytest.mark.parametrize("hertz", [1.0, 1.4])
def test_what_is_slow_enough_is_not_touched(lit: Any, hertz: float) -> None:
    sent, wanted = play(lit, lambda s: [PAIRS["/target/level"][int(2 * hertz * s) % 2]], 4.0)
    np.testing.assert_array_equal(sent, wanted)
    assert most_in_a_second(wanted) in (1, 2)


@pytest.mark.parametrize(
    "said",
    [
        {0.0: ("/target/lead/level", 0.0), 1.0: ("/target/lead/level", 1.0)},
        {0.0: ("/level", 0.0, 1.0), 1.5: ("/level", 1.0, 1.0)},
        {0.0: ("/dark", 1), 0.5: ("/dark", 0)},
        {0.0: ("/fixture/foh-1/find", 1)},
        {0.0: ("/target/lead/position", 4.0, 5.0)},
        {n * 0.15: ("/level", 1.0 if n % 2 else 0.5) for n in range(6)},
    ],
    ids=["a pick-up", "a fade", "a blackout", "find", "a jump", "three bumps in a second"],
)
def test_normal_use_is_not_touched(lit: Any, said: dict[float, tuple[Any, ...]]) -> None:
    left = dict(said)

    def due(gone_s: float) -> list[tuple[Any, ...]]:
        return [left.pop(at) for at in sorted(left) if at <= gone_s]

    sent, wanted = play(lit, due, 4.0)
    np.testing.assert_array_equal(sent, wanted)
    assert (wanted != 1.0).any()
