"""What tests of the door and the daemon share: a transmission without an engine, and a small show with one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from bridge.door.contest import Contest
from bridge.door.door import Door, make
from bridge.door.events import Message, OtherSource, Start
from bridge.door.news import News
from bridge.door.transmission import Out, Phase, Transmission
from bridge.show.model import Show
from bridge.wire import e131
from bridge.wire.settings import Network, SacnSettings
from tests.conftest import build_rig

CID = bytes(range(16))
PERIOD = 1 / 44
HOST = "127.0.0.1"
SENT = (1, 2, 3, 7)
DESK, OTHER = OtherSource("Desk", "10.0.0.9", 100), OtherSource("Other", "10.0.0.8", 100)


class Sender:
    """A transmission; the first slot of every universe is `level`. `tick` does what Door.tick does around one."""

    def __init__(
        self,
        *universes: int,
        settings: SacnSettings | None = None,
        sequences: Mapping[int, int] | None = None,
        by_slot: bool = False,
    ) -> None:
        self.news, self.level = News(), 0
        self.ticks: list[float] = []
        self.transmission = Transmission(universes, settings or SacnSettings(), CID, self.news, by_slot=by_slot)
        self.transmission.go_on_from(sequences or {}, crashed=False)

    def out(self, now_s: float) -> Out:
        transmission = self.transmission
        self.ticks.append(now_s)
        slots = np.zeros((len(transmission.patched), 512), np.uint8)
        if transmission.phase is Phase.ENDING:
            return transmission.end(slots, now_s)
        slots[:, 0] = self.level
        if transmission.due_to_open(now_s):
            transmission.open(now_s)
        return transmission.packets(slots, now_s)

    def tick(self, now_s: float) -> list[e131.Data]:
        return data_of(self.out(now_s))

    def universes(self, now_s: float) -> list[int]:
        return [packet.universe for packet in self.tick(now_s)]

    @property
    def texts(self) -> list[str]:
        """What there is to be told since the last look."""
        return [notice.text for notice in self.news.take()]


class Watched:
    """A contest of a bridge with priority 110 that sends on SENT and expects a desk on `expected`; what it told."""

    def __init__(self, contested: str = "refuse", expected: tuple[int, ...] = ()) -> None:
        self.news = News()
        self.contest = Contest(SacnSettings(contested=contested, priority=110), self.news)
        self.contest.expect(expected)

    def hear(self, now_s: float, heard: dict[int, tuple[OtherSource, ...]], sent: tuple[int, ...] = SENT) -> list[str]:
        self.contest.hear(heard, sent, now_s)
        return self.told

    def check(self, now_s: float, sent: tuple[int, ...] = ()) -> list[str]:
        self.contest.check(SENT, sent, now_s)
        return self.told

    @property
    def told(self) -> list[str]:
        """The notices since the last look."""
        return [f"{notice.level}: {notice.text}" for notice in self.news.take()]


def data_of(out: Out) -> list[e131.Data]:
    """The data packets of a frame, parsed again."""
    packets = [e131.parse(bytes(packet)) for _, packet in out.packets]
    return [packet for packet in packets if isinstance(packet, e131.Data)]


def octets_of(out: Out) -> list[tuple[int, bytes]]:
    """All that leaves of a frame, as it is now: packets are overwritten by the next one."""
    pages = [(e131.DISCOVERY_UNIVERSE, page) for page in out.discovery]
    return [(universe, bytes(packet)) for universe, packet in (*out.packets, *pages)]


def small_show(universes: Sequence[int] = (1, 2), seed: int = 1, **sacn: Any) -> Show:
    """Twelve heads with poses, their trusses one after the other on these universes; no folder."""
    made = build_rig(seed)
    number = {truss: row for row, truss in enumerate(("foh", "mid", "back"))}
    fixtures = tuple(replace(f, universe=universes[number[f.truss or ""] % len(universes)]) for f in made.fixtures)
    network = Network(sacn=SacnSettings(**sacn))
    return Show(Path("nowhere"), "small", fixtures, made.stage, network, poses=made.poses)


def small_door(show: Show | None = None) -> Door:
    """A door on a small show, started at 0 s without being armed."""
    door = Door(make(show or small_show()), CID)
    door.apply(Start(0.0, armed=False))
    return door


def run(door: Door, from_s: float, ticks: int) -> list[list[tuple[int, bytes]]]:
    """What leaves of so many frames, the first at `from_s`."""
    return [octets_of(door.tick(from_s + number * PERIOD)) for number in range(ticks)]


def say(door: Door, now_s: float, address: str, *args: Any, sender: str = HOST) -> None:
    """A message at the door; it may be Refused."""
    door.apply(Message(now_s, sender, address, args))
