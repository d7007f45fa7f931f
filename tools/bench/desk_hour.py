"""An hour beside two desks in virtual time: is any slot that leaves another than it should be?

DeskEars, the receiver, the door and what leaves of it are the daemon's; only the sockets are played. Packets of a main
and a backup desk get lost, late and out of order; desks lose their power, say goodbye and come back; heads change
hands, are sighted, everything goes dark. What should leave is reckoned here, slot by slot, from the profile's numbers.
"""

from __future__ import annotations

import contextlib
import heapq
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from bench_rig import HEADS_PER_UNIVERSE, PAN_FROM, PAN_TO, TILT_FROM, TILT_TO, patch
from desk_live import APART, show_beside
from desk_mouth import packet
from desk_plain import Plain, Sent

from bridge.daemon import desk_ears
from bridge.door.door import Door, make
from bridge.door.events import DeskHeard, Message, Start
from bridge.errors import Refused
from bridge.show import load

HEADS, FIRST, UNIVERSES = 40, 31150, 2
PERIOD_S, SETTLED_S = 1 / 44, 12.0
PRIORITIES = {1: 100, 2: 90}
LOST, LATE = 0.05, 0.03
Arrival = tuple[float, int, int, Sent]


class PlayedWatch:
    """In place of the sockets: what was `put` is drained."""

    waiting: list[bytes] = []

    def __init__(self, universes: Any, *_: Any) -> None:
        self.universes = frozenset(universes)

    def drain(self, take: Callable[[bytes, tuple[str, int]], None]) -> None:
        """All that has come."""
        for octets in self.waiting:
            take(octets, ("10.0.0.9", 5568))
        self.waiting.clear()

    def add(self, universe: int) -> None:
        """Unicast is of no use here."""

    def close(self) -> None:
        """Nothing to close."""


class PlayedDesk:
    """One desk: fades and cues on both universes, on and off; gives what it sends with its time of arrival."""

    def __init__(self, unique: int, rng: random.Random) -> None:
        self._unique, self._rng, self._random = unique, rng, np.random.default_rng(unique)
        self._slots = self._random.integers(0, 256, (UNIVERSES, 512), dtype=np.uint8)
        self._sequence, self._on, self._turn_s = 0, True, rng.uniform(20, 60)

    def send(self, now_s: float) -> Iterator[Arrival]:
        """What leaves of it now."""
        if now_s >= self._turn_s:
            self._on = not self._on
            self._turn_s = now_s + (self._rng.uniform(10, 60) if self._on else self._rng.choice((0.5, 2.0, 4.0, 9.0)))
            if not self._on and self._rng.random() < 0.5:
                yield from (row for _ in range(3) for row in self._packets(now_s, terminated=True))
            if self._on and self._rng.random() < 0.5:
                self._sequence = 0
        if self._on:
            self._change()
            yield from self._packets(now_s)

    def _change(self) -> None:
        dice = self._rng.random()
        if dice < 0.005:
            self._slots = self._random.integers(0, 256, (UNIVERSES, 512), dtype=np.uint8)
        elif dice < 0.4:
            self._slots = self._slots + self._random.integers(0, 3, (UNIVERSES, 512), dtype=np.uint8)

    def _packets(self, now_s: float, terminated: bool = False) -> Iterator[Arrival]:
        self._sequence = (self._sequence + 1) % 256
        for row in range(UNIVERSES):
            dice = self._rng.random()
            if dice >= LOST:
                late_s = self._rng.uniform(0.01, 0.08) if dice < LOST + LATE else self._rng.uniform(0.0, 0.002)
                sent = Sent(self._unique, self._sequence, PRIORITIES[self._unique], self._slots[row].copy(), terminated)
                yield now_s + late_s, self._rng.getrandbits(48), row, sent


class Person:
    """Walks, gives heads to the desk and takes them back, sights, goes dark: messages at the door."""

    def __init__(self, door: Door, rng: random.Random) -> None:
        self._door, self._rng, self._next_s = door, rng, 5.0
        self.theirs, self.asked_s = np.zeros(HEADS, bool), np.zeros(HEADS)
        self.sighted: dict[int, float] = {}
        self.dark, self.refused, self.obeyed = False, 0, 0

    def say(self, now_s: float, address: str, *args: Any) -> bool:
        """Whether it was obeyed."""
        try:
            self._door.apply(Message(now_s, "127.0.0.1", address, args))
        except Refused:
            self.refused += 1
            return False
        self.obeyed += 1
        return True

    def act(self, now_s: float) -> None:
        """What is due now."""
        self.say(now_s, "/target/lead/position", 3.0 * np.sin(0.3 * now_s), 4.0 + 2.0 * np.cos(0.23 * now_s))
        for head in [n for n, until_s in self.sighted.items() if now_s >= until_s]:
            self.say(now_s, f"/sight/h-{head}/done")
            del self.sighted[head]
            self.asked_s[head] = now_s
        if now_s < self._next_s:
            return
        self._next_s, dice = now_s + self._rng.choice((0.1, 0.5, 2.0, 15.0)), self._rng.random()
        if self.dark or dice < 0.1:
            self.dark ^= self.say(now_s, "/dark", int(not self.dark))
        elif dice < 0.25:
            self._hand(now_s, "/desk", slice(None))
        elif dice < 0.85:
            head = self._rng.randrange(HEADS)
            self._hand(now_s, f"/fixture/h-{head}/desk", slice(head, head + 1))
        else:
            head = self._rng.randrange(HEADS)
            if self.say(now_s, f"/sight/h-{head}/point", self._rng.uniform(-90, 90), self._rng.uniform(-60, 60)):
                self.sighted[head] = now_s + self._rng.uniform(0.5, 4.0)

    def _hand(self, now_s: float, address: str, heads: slice) -> None:
        theirs = self._rng.random() < 0.5
        if self.say(now_s, address, int(theirs)):
            self.theirs[heads], self.asked_s[heads] = theirs, now_s

    def settled(self, now_s: float) -> np.ndarray:
        """Heads (N,) of which nothing was asked for so long that every change of hands has ended."""
        quiet = now_s - self.asked_s > SETTLED_S
        quiet[list(self.sighted)] = False
        return quiet


class Expected:
    """What should leave: the desk's shown slots, and of ours what the engine's look says, by the profile's numbers."""

    def __init__(self) -> None:
        places = [patch(head, 0) for head in range(HEADS)]
        self._base = np.array([512 * row + address - 1 for row, address in places])

    def slots(self, look: Any, shown: list[np.ndarray | None]) -> tuple[np.ndarray, np.ndarray]:
        """Slots (U x 512) and which of them are ours."""
        rows = [np.zeros(512, np.uint8) if row is None else row for row in shown]
        out, ours = np.concatenate(rows), np.zeros(512 * UNIVERSES, bool)
        values = (
            (np.degrees(look.pan_rad) - PAN_FROM) / (PAN_TO - PAN_FROM) * 65535,
            (np.degrees(look.tilt_rad) - TILT_FROM) / (TILT_TO - TILT_FROM) * 65535,
            look.level * 65535,
            look.zoom_raw,
            look.focus_raw,
        )
        for channel, value in enumerate(values):
            raw, own = np.clip(np.rint(value), 0, 65535).astype(int), look.own[channel]
            for octet, part in ((0, raw >> 8), (1, raw & 255)):
                where = self._base[own] + 2 * channel + octet
                out[where], ours[where] = part[own], True
        fixed = self._base[look.whole] + 10
        out[fixed], ours[fixed] = 255, True
        return out, ours

    def light(self, shown: list[np.ndarray | None]) -> np.ndarray:
        """The desk's light of every head, 0..1."""
        flat = np.concatenate([np.zeros(512, np.uint8) if row is None else row for row in shown]).astype(int)
        light: np.ndarray = (flat[self._base + 4] * 256 + flat[self._base + 5]) / 65535
        return light


def hour(seconds: float, scratch: Path, seed: int = 1) -> dict[str, Any]:
    """So much virtual time; slots that left wrong, and how many were compared."""
    rng = random.Random(seed)
    door = Door(make(load(show_beside(scratch / "hour", HEADS, FIRST, 31150))), bytes(16))
    door.apply(Start(0.0, armed=True))
    with mock.patch.object(desk_ears, "Watch", PlayedWatch):
        ears = desk_ears.DeskEars(range(FIRST + APART, FIRST + APART + UNIVERSES), "", bytes(16), lambda: 0.0)
    person, desks = Person(door, rng), [PlayedDesk(1, rng), PlayedDesk(2, rng)]
    judge, coming, now_s, send_s = Judge(door, person), list[Arrival](), 0.0, 0.0
    while now_s < seconds:
        now_s += PERIOD_S + rng.uniform(0.0, 0.002)
        while send_s < now_s:
            for row in (row for desk in desks for row in desk.send(send_s)):
                heapq.heappush(coming, row)
            send_s += PERIOD_S + rng.uniform(0.0, 0.001)
        for read_s in (now_s - 0.5 * PERIOD_S, now_s):
            while coming and coming[0][0] <= read_s:
                judge.heard(heapq.heappop(coming), read_s)
            with contextlib.suppress(StopIteration):
                frames = ears.read(read_s)
                if frames:
                    door.apply(DeskHeard(read_s, frames))
        person.act(now_s)
        judge.look(door.tick(now_s).packets, now_s)
    return {"virtual_s": round(now_s), **judge.found, "asked_of_the_door": person.obeyed, "refused": person.refused}


class Judge:
    """Compares what left last with what should have."""

    def __init__(self, door: Door, person: Person) -> None:
        self._door, self._person, self._expected = door, person, Expected()
        self._shown = [Plain() for _ in range(UNIVERSES)]
        self._unordered = [Plain(in_order=False) for _ in range(UNIVERSES)]
        self._left: dict[int, np.ndarray] = {}
        self.found = dict.fromkeys(
            ("packets_heard", "frames", "slots", "owned_wrong", "unowned_wrong", "hands_wrong", "too_bright", "control"), 0
        )

    def heard(self, arrival: Arrival, read_s: float) -> None:
        """A packet reaches the daemon, which reads it at `read_s`."""
        _, _, row, sent = arrival
        universe = FIRST + APART + row
        octets = packet(universe, sent.sequence, sent.slots.tobytes(), sent.priority, sent.desk, 0x40 * sent.terminated)
        PlayedWatch.waiting.append(octets)
        self._shown[row].take(sent, read_s)
        self._unordered[row].take(sent, read_s)
        self.found["packets_heard"] += 1

    def look(self, packets: list[Any], now_s: float) -> None:
        """A frame left."""
        for universe, octets in packets:
            self._left[universe] = np.frombuffer(bytes(octets), np.uint8)[126:]
        shown = [self._settled(plain, now_s) for plain in self._shown]
        frame, found = self._door.engine.frame, self.found
        if len(self._left) < UNIVERSES or frame is None:
            return
        expected, ours = self._expected.slots(frame, shown)
        left = np.concatenate([self._left[FIRST + row] for row in range(UNIVERSES)])
        wrong = left != expected
        found["frames"] += 1
        found["slots"] += left.size
        found["owned_wrong"] += int((wrong & ours).sum())
        found["unowned_wrong"] += int((wrong & ~ours).sum())
        other, _ = self._expected.slots(frame, [self._settled(plain, now_s) for plain in self._unordered])
        found["control"] += int((left != other).sum())
        self._hands(frame, shown, now_s)

    @staticmethod
    def _settled(plain: Plain, now_s: float) -> np.ndarray | None:
        plain.settle(now_s)
        return plain.shown

    def _hands(self, frame: Any, shown: list[np.ndarray | None], now_s: float) -> None:
        """Whoever was asked long ago has all channels, but for the dimmer in the dark; ours is never above the desk."""
        settled, theirs = self._person.settled(now_s), self._person.theirs
        should = np.tile(~theirs, (5, 1))
        should[2] |= self._person.dark
        self.found["hands_wrong"] += int((frame.own != should)[:, settled].sum())
        brighter = frame.level > self._expected.light(shown) + 1e-9
        self.found["too_bright"] += int((brighter & settled & ~theirs).sum())


assert HEADS <= HEADS_PER_UNIVERSE * UNIVERSES
