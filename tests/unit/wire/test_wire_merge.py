"""Merging by examples, and the whole receiver against a slow and obvious one over any story of packets."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.wire.e131 import SLOTS
from bridge.wire.merge import Voice, merge, per_slot, voice
from bridge.wire.receiver import Receiver
from tests.unit.wire.heard import FROM, A, B, C, levels, priorities

CIDS = (A, B, C)


def said(name: str, slots: list[int], priority: int = 100, priorities: list[int] | None = None) -> Voice:
    return voice(name, FROM, bytes(slots), priority, None if priorities is None else per_slot(bytes(priorities)))


# facts/protocols.md: per slot the highest priority wins, equal ones by highest level; 0: to be ignored there.
EXAMPLES = {
    "one alone": ([said("a", [1, 2, 3])], [1, 2, 3, 0], False),
    "the higher packet priority has all its slots": ([said("a", [9, 9], 99), said("b", [1, 0], 100)], [1, 0], False),
    "equal ones by the highest level": ([said("a", [9, 1, 5]), said("b", [1, 9, 5])], [9, 9, 5], True),
    "equal ones that agree": ([said("a", [9, 5]), said("b", [9, 5])], [9, 5], False),
    "weaker ones that differ are nothing to say": (
        [said("a", [9], 100), said("b", [1], 50), said("c", [2], 50)],
        [9],
        False,
    ),
    "priority slot by slot": (
        [said("a", [1, 1, 1], 100), said("b", [9, 9, 9], 0, [99, 100, 101])],
        [1, 9, 9],
        True,
    ),
    "0 is to be ignored, whatever the packet's priority": (
        [said("a", [1, 1], 1), said("b", [9, 9], 200, [0, 2])],
        [1, 9],
        False,
    ),
    "0 of everybody reads 0": ([said("a", [7, 7], 100, [0, 1]), said("b", [8, 8], 100, [0, 0])], [0, 7], False),
    "the lowest packet priority is a priority": ([said("a", [7], 0)], [7], False),
    "beyond its levels, and beyond its priorities, a source says nothing": (
        [said("a", [9], 200), said("b", [5, 5, 5], 200, [150, 150]), said("c", [1, 1, 1], 10)],
        [9, 5, 1, 0],
        False,
    ),
    "values above 200 are 200": ([said("a", [1], 0, [255]), said("b", [2], 0, [200])], [2], True),
}


@pytest.mark.parametrize("example", EXAMPLES)
def test_examples(example: str) -> None:
    voices, slots, equal = EXAMPLES[example]
    for order in (voices, voices[::-1]):
        merged = merge(order)
        assert merged.slots == bytes(slots).ljust(SLOTS, b"\0")
        assert merged.equal == equal
        assert merged.alive


def test_the_strongest_names_the_look_and_the_first_of_equals() -> None:
    a, b = said("a", [1] * 512, 100), said("b", [9] * 512, 0, [90] * 511 + [120])
    assert (merge([a, b]).source, merge([a, b]).priority) == ("b", 120)
    assert merge([a, said("b", [9] * 512)]).source == "a"
    nothing = said("x", [1], 100, [0])
    assert merge([nothing]).priority == 0
    assert merge([nothing, said("b", [1], 0)]).source == "b", "who counts nowhere is never the strongest"


def test_whose_each_slot_is_and_at_which_priority() -> None:
    voices = [said("a", [1, 1, 1], 100), said("b", [1, 9, 9, 4], 0, [100, 100, 99, 0])]
    merged = merge(voices)
    assert merged.winners()[:5].tolist() == [0, 1, 0, -1, -1]
    assert merged.priorities()[:5].tolist() == [100, 100, 100, -1, -1]
    assert merge(voices[:1]).winners()[:4].tolist() == [0, 0, 0, -1]


@settings(max_examples=60, deadline=None)
@given(st.data())
def test_shortcuts_change_nothing(data: st.DataObject) -> None:
    """One alone, and one above all others, are not merged by arrays; what they give is the same as if they were."""
    voices = []
    for number in range(data.draw(st.integers(1, 3))):
        length = data.draw(st.sampled_from([0, 3, 511, 512]))
        slots = [data.draw(st.integers(0, 255))] * length
        named = [data.draw(st.sampled_from([1, 90, 100, 200]))] * 512
        zero_at = data.draw(st.sampled_from([None, 0, 2, 511]))
        if zero_at is not None:
            named[zero_at] = 0
        voices.append(
            said(str(number), slots, data.draw(st.integers(0, 200)), data.draw(st.sampled_from([None, named])))
        )
    merged = merge(voices)
    found, ranks = reference(voices)
    assert list(merged.slots) == found
    assert merged.priorities().tolist() == ranks


def reference(voices: list[Voice], slots: int = SLOTS) -> tuple[list[int], list[int]]:
    """Slot by slot: levels, and priorities (-1: nobody's)."""
    found, ranks = [], []
    for slot in range(slots):
        there: list[tuple[int, int]] = []
        for one in voices:
            if slot >= len(one.slots):
                continue
            if one.per_slot is None:
                there.append((one.highest, one.slots[slot]))
            elif slot < len(one.per_slot) and one.per_slot[slot] > 0:
                there.append((one.per_slot[slot], one.slots[slot]))
        rank, level = max(there, default=(-1, 0))
        found.append(level)
        ranks.append(rank)
    return found, ranks


# The receiver against a slow one. Its clock ticks in eighths of a second, which floats hold exactly.

TICK_S, LOST, WAIT = 1 / 8, 20, 12
FEW = 4  # slots, one more than anybody sends


@dataclass
class Slow:
    """What one source has sent, kept whole: nothing is cached, every question is answered from the packets."""

    born: int
    waits: bool
    levels: list[tuple[int, bytes, int]] = field(default_factory=list)
    named: list[tuple[int, bytes]] = field(default_factory=list)

    def lost(self, now: int) -> bool:
        last = self.levels[-1][0] if self.levels else self.named[-1][0]
        return now - last > LOST

    def says(self, now: int) -> Voice | None:
        if not self.levels:
            return None
        named = self.named[-1][1] if self.named and now - self.named[-1][0] <= LOST else None
        if named is None and self.waits and not self.waited(now):
            return None
        _, slots, priority = self.levels[-1]
        return said("", list(slots), priority, None if named is None else list(named))

    def waited(self, now: int) -> bool:
        """1.5 s are over, or its priorities have ended the waiting once: with levels there."""
        both = [max(self.levels[0][0], at) for at, _ in self.named if self.levels[0][0] - at <= LOST]
        return now - self.born >= WAIT or bool(both and min(both) <= now)


class SlowReceiver:
    """All sources in a dict, all rules at every tick."""

    def __init__(self) -> None:
        self.sources: dict[bytes, Slow] = {}
        self.began: int | None = None
        self.look: list[int] | None = None
        self.alive = False

    def tick(self, now: int) -> None:
        self.sources = {cid: source for cid, source in self.sources.items() if not source.lost(now)}
        self.keep(now)

    def keep(self, now: int) -> None:
        voices = [one for source in self.sources.values() if (one := source.says(now)) is not None]
        if self.began is None or now - self.began < WAIT:
            return
        self.alive = bool(voices)
        if voices:
            self.look = reference(voices, FEW)[0]

    def take(self, now: int, cid: bytes, kind: str, octets: bytes, priority: int) -> None:
        if kind == "terminated":
            self.sources.pop(cid, None)
        elif kind in ("levels", "named"):
            self.began = now if self.began is None else self.began
            source = self.sources.setdefault(cid, Slow(now, now - self.began >= WAIT))
            if kind == "levels":
                source.levels.append((now, octets, priority))
            else:
                source.named.append((now, octets))
        self.keep(now)


PACKETS = st.tuples(
    st.integers(0, 2),
    st.sampled_from(["levels", "levels", "levels", "named", "terminated", "preview", "other"]),
    st.lists(st.sampled_from([0, 1, 90, 100, 200, 255]), min_size=1, max_size=3),
    st.sampled_from([0, 90, 100, 110]),
    st.sampled_from([0, 0, 0, 1, 3, 7, 11, 12, 13, 19, 20, 21]),
)


@settings(max_examples=200, deadline=None)
@given(st.lists(PACKETS, max_size=25))
def test_any_story_of_packets_ends_as_with_a_slow_and_obvious_receiver(story: list[tuple]) -> None:
    """Time goes on by up to 2.6 s between packets, and both are asked at every tick."""
    quick, slow, now = Receiver([1]), SlowReceiver(), 0
    for sequence, (who, kind, octets, priority, later) in enumerate(story):
        for _ in range(later):
            now += 1
            slow.tick(now)
            check(quick, slow, now)
        slow.take(now, CIDS[who], kind, bytes(octets), priority)
        if kind == "named":
            packet = priorities(CIDS[who], sequence, bytes(octets), priority=priority)
        else:
            more = {"terminated": kind == "terminated", "preview": kind == "preview"}
            start_code = 0xCC if kind == "other" else 0
            packet = levels(CIDS[who], sequence, bytes(octets), priority=priority, start_code=start_code, **more)
        quick.take(packet, FROM, now * TICK_S)
        check(quick, slow, now)


def check(quick: Receiver, slow: SlowReceiver, now: int) -> None:
    frame = quick.frame(1, now * TICK_S)
    if slow.look is None:
        assert frame is None
    else:
        assert frame is not None
        assert (list(frame.slots[:FEW]), frame.alive) == (slow.look, slow.alive)
        assert not any(frame.slots[FEW:])


def test_results_are_octets_of_512_and_arrays_of_512() -> None:
    merged = merge([said("a", [])])
    assert merged.slots == bytes(512)
    assert merged.winners().shape == merged.priorities().shape == (512,)
    assert np.all(merged.winners() == -1)
