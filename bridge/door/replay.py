"""A capture again, in virtual time: the same datagrams and events into a new door, and are the same packets sent?"""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from bridge.door.door import Door, make
from bridge.door.events import Message, NewShow, Unsent
from bridge.door.inbox import Inbox
from bridge.door.record import LoadFiles, event_from
from bridge.door.words import belongs_to_daemon
from bridge.errors import CaptureError, Refused
from bridge.show.model import Show
from bridge.wire import e131
from bridge.wire.capture import Datagram, Event, Opening
from bridge.wire.pcapng import Truncated

MOST_DIFFERENCES = 20


@dataclass
class Verdict:
    """What a replay found. `differences` are sentences, the first MOST_DIFFERENCES; `different` counts all."""

    packets: int = 0
    same: int = 0
    different: int = 0
    ticks: int = 0
    messages: int = 0
    parts: int = 0
    gaps: int = 0
    lost: int = 0
    truncated: bool = False
    differences: list[str] = field(default_factory=list)

    @property
    def equal(self) -> bool:
        """Everything that was sent was sent again, byte for byte, and nothing else."""
        return self.different == 0 and self.packets > 0

    def differ(self, text: str) -> None:
        """One more difference."""
        self.different += 1
        if len(self.differences) < MOST_DIFFERENCES:
            self.differences.append(text)


class Replay:
    """Takes entries of captures in order. `show`: run this one instead of what the capture holds."""

    def __init__(self, load: LoadFiles, show: Show | None = None) -> None:
        self.verdict = Verdict()
        self.files: Mapping[str, str] = {}
        self._load, self._instead = load, show
        self._door: Door | None = None
        self._inbox: Inbox | None = None
        self._due: deque[tuple[int, bytes]] = deque()  # packets of the last tick that were not seen yet
        self._at_s = 0.0

    def take(self, entries: Iterable[Opening | Datagram | Event | Truncated]) -> None:
        """All entries of one capture; CaptureError where it is none of ours.

        Packets that are missing at its end were not written any more: whoever kills a daemon stops the pen as well.
        """
        for entry in entries:
            if isinstance(entry, Truncated):
                self.verdict.truncated = True
                self._due.clear()  # what its writer had no time to write is no difference
            elif isinstance(entry, Event):
                self._event(entry)
            elif isinstance(entry, Datagram):
                self._datagram(entry)
        if self._due:
            self.verdict.truncated = True
            self._due.clear()

    def _event(self, entry: Event) -> None:
        data = _read(entry)
        if "lost" in data:
            self.verdict.gaps, self.verdict.lost = self.verdict.gaps + 1, self.verdict.lost + int(data["lost"])
            self._door, self._due = None, deque()  # what follows a gap means nothing until the next state
        elif data.get("kind") == "state":
            self._begin(data)
        elif self._door is not None:
            self._go_on(self._door, data)

    def _begin(self, data: dict[str, Any]) -> None:
        """A capture begins: with the state in it, which must be that in which the last one ended."""
        self._settle()
        self.files = data["files"]
        show = self._instead or self._load(data["files"])
        door = Door(make(show), bytes.fromhex(data["cid"]))
        door.restore(data["state"])
        self.verdict.parts += 1
        self._door = door
        self._inbox = Inbox(show.network.osc.allow, self._handle, lambda refusal: None)

    def _handle(self, message: Message) -> None:
        assert self._door is not None
        if not belongs_to_daemon(message.address):
            self._door.apply(message)

    def _go_on(self, door: Door, data: dict[str, Any]) -> None:
        assert self._inbox is not None
        for _ in range(int(data.get("obeyed", 0))):
            if not self._inbox.busy:
                self.verdict.differ(f"at {self._at_s:.6f} s: a message was obeyed that the capture does not hold")
                break
            self._inbox.work()
            self.verdict.messages += 1
        if data.get("kind") == "tick":
            self._settle()
            self._at_s = float(data["at_s"])
            out = door.tick(self._at_s)
            self.verdict.ticks += 1
            packets = [*out.packets, *((e131.DISCOVERY_UNIVERSE, page) for page in out.discovery)]
            self._due.extend((universe, bytes(packet)) for universe, packet in packets)
            return
        event = event_from(data, self._load)
        if event is None:
            return
        if isinstance(event, NewShow):
            self.files = event.files
        if isinstance(event, Unsent):
            self._due = deque(due for due in self._due if due[0] not in event.universes)
        try:
            door.apply(event)
        except Refused:  # it was refused then, too
            return
        self._inbox.allow(door.show.network.osc.allow)

    def _datagram(self, entry: Datagram) -> None:
        if self._door is None or self._inbox is None:
            return
        if entry.inbound:
            self._inbox.datagram(entry.payload, entry.source[0], entry.at_us / 1e6)
        elif entry.destination[1] == e131.PORT or self._is_ours(entry.payload):
            self._compare(entry.payload)

    @staticmethod
    def _is_ours(payload: bytes) -> bool:
        return payload[4:13] == b"ASC-E1.17"

    def _compare(self, payload: bytes) -> None:
        self.verdict.packets += 1
        if not self._due:
            self.verdict.differ(f"after {self._at_s:.6f} s: a packet went out that is not sent now")
            return
        universe, packet = self._due.popleft()
        if packet == payload:
            self.verdict.same += 1
        else:
            self.verdict.differ(f"at {self._at_s:.6f} s, universe {universe}: {difference(payload, packet)}")

    def _settle(self) -> None:
        for universe, _ in self._due:
            self.verdict.differ(f"at {self._at_s:.6f} s, universe {universe}: a packet is sent now that did not go out")
        self._due.clear()


def difference(then: bytes, now: bytes) -> str:
    """Where two packets of sACN differ, in words."""
    if len(then) != len(now):
        return f"{len(then)} octets then, {len(now)} now"
    places = [at for at, (a, b) in enumerate(zip(then, now, strict=True)) if a != b]
    shown = ", ".join(f"{_place(at)}: {then[at]} then, {now[at]} now" for at in places[:4])
    return shown + (f", and {len(places) - 4} more" if len(places) > 4 else "")


def _place(at: int) -> str:
    if at == 111:
        return "sequence"
    return f"address {at - 125}" if at >= 126 else f"octet {at}"


def _read(entry: Event) -> dict[str, Any]:
    try:
        data = json.loads(entry.payload)
    except ValueError as error:
        raise CaptureError(0, "an event in JSON", str(error)) from None
    if not isinstance(data, dict):
        raise CaptureError(0, "an event that is a JSON object", entry.payload[:40].decode("utf-8", "replace"))
    return data
