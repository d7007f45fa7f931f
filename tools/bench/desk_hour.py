"""An hour beside two desks in virtual time: is any slot that leaves another than it should be?

DeskEars, the receiver, the door and what leaves of it are the daemon's; only the sockets are played. Packets of a main
and a backup desk get lost, late and out of order; desks lose their power, say goodbye and come back; heads change
hands, are sighted, everything goes dark. What should leave is reckoned here, slot by slot, from the profile's numbers.
"""

from __future__ import annotations

import heapq
import random
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
from bench_rig import PAN_FROM, PAN_TO, TILT_FROM, TILT_TO, patch
from desk_live import APART, show_beside
from desk_mouth import packet
from desk_plain import Plain
from desk_played import HEADS, UNIVERSES, Arrival, Person, PlayedDesk, PlayedWatch

from bridge.daemon import desk_ears
from bridge.door.door import Door, make
from bridge.door.events import DeskHeard, Start
from bridge.show import load

FIRST, PERIOD_S = 31150, 1 / 44
COUNTED = (
    *("packets_heard", "frames", "slots", "control"),
    *("owned_wrong", "unowned_wrong", "hands_wrong", "too_bright"),
)


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
            if frames := ears.read(read_s):
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
        self.found = dict.fromkeys(COUNTED, 0)

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
