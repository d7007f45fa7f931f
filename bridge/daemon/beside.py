"""The desk's sockets in the loop: what it sends becomes events; what its slots ask for is obeyed like any message."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import NamedTuple

from bridge.daemon.desk_ears import DeskEars
from bridge.daemon.link import LinkWatch
from bridge.daemon.logs import LOG
from bridge.daemon.loop import Loop
from bridge.daemon.status import DeskRow
from bridge.daemon.watch import PORT, Address
from bridge.door.door import Door
from bridge.door.events import DeskHeard, Message
from bridge.door.inbox import Refusal
from bridge.errors import NetworkError, Refused
from bridge.wire.settings import Network

STALLED_S = 1.0
"""Frames are nearer to each other than this, unless they are rare by `rate` or this process was not run."""


class Ways(NamedTuple):
    """Where things go: events, messages that belong to the daemon, refusals, and messages that were obeyed.

    `rests` tells until when reading would be of no use (monotonic seconds): while packets flow, all that the desk sends
    for a frame is taken in one go.
    """

    apply: Callable[[DeskHeard], None]
    handle: Callable[[Message], None]
    refused: Callable[[Refusal], None]
    obeyed: Callable[[Message], None]
    rests: Callable[[], float]


class DeskInput:
    """Hears the desk of the door's show; closed where it has none."""

    def __init__(self, loop: Loop, door: Door, cid: bytes, clock: Callable[[], float]) -> None:
        self._loop, self._door, self._cid, self._clock = loop, door, cid, clock
        self._ears: DeskEars | None = None
        self._interface, self._own = "", set[Address]()
        self._ran_s, self._stood_s, self._stalled_s = math.inf, 0.0, STALLED_S
        self._ways: Ways | None = None
        self._link: LinkWatch | None = None

    def open(self, network: Network, patched: Iterable[int]) -> None:
        """Listen as this says from now on; NetworkError where that cannot be."""
        desk = network.desk
        if desk is None or (self._ears is not None and desk.interface != self._interface):
            self.close()
        if desk is None:
            return
        self._stalled_s = max(STALLED_S, 2.0 / network.sacn.rate)
        universes = desk.heard(patched)
        if self._ears is not None:
            self._ears.listen_on(universes)
            return
        self._interface = desk.interface or network.sacn.interface
        self._ears = DeskEars(universes, self._interface, self._cid, self._listened, self._takes_unicast(network))
        if self._interface != network.sacn.interface:  # that one is watched already
            self._link = LinkWatch(
                self._interface,
                gone="THE DESK IS NOT HEARD: {}",
                back="the link of {} is back, the desk is listened to again",
            )
        for endpoint in self._own:
            self._ears.ours(endpoint)
        if self._ways is not None:
            self._listen()

    def _takes_unicast(self, network: Network) -> bool:
        """A destination of our own at that address and port would be robbed by a socket of ours."""
        return (self._interface, PORT) not in network.sacn.destinations

    def begin(self, ways: Ways) -> None:
        """From now on things go these ways, in the loop."""
        self._ways = ways
        if self._ears is not None:
            self._listen()

    def _listen(self) -> None:
        assert self._ears is not None
        assert self._ways is not None
        self._loop.add_reader(self._ears.fileno(), self._read, self._ways.rests)

    def take(self, network: Network, patched: Iterable[int]) -> None:
        """The show was read again."""
        try:
            self.open(network, patched)
        except NetworkError as error:
            LOG.error("the desk is not heard: %s; a restart tries again", error)

    def ours(self, endpoint: Address) -> None:
        """We send from this address and port."""
        self._own.add(endpoint)
        if self._ears is not None:
            self._ears.ours(endpoint)

    def rejoin(self) -> None:
        """The interface came back."""
        if self._ears is not None:
            self._ears.rejoin()

    def look_at_link(self) -> tuple[str, str]:
        """Of an interface that is the desk's alone: level and words of what has changed since last asked, or ""."""
        text = "" if self._link is None else self._link.look()
        if self._link is None or self._link.down:
            return "error", text
        if text:
            self.rejoin()
        return "warning", text

    def close(self) -> None:
        """Hear nothing any more."""
        if self._ears is not None:
            self._loop.remove_reader(self._ears.fileno())
            heard = ", ".join(f"{count} {word}" for word, count in sorted(self._ears.counters.items()) if count)
            LOG.info("packets on the desk's universes until now: %s", heard or "none")
            self._ears.close()
            self._ears = self._link = None

    # In the loop

    def _listened(self) -> float:
        """A clock that stands while this process does: what came meanwhile waits in the sockets, nobody was silent."""
        now_s = self._clock()
        if now_s - self._ran_s > self._stalled_s:
            self._stood_s += now_s - self._ran_s
        self._ran_s = now_s
        return now_s - self._stood_s

    def _read(self) -> bool:
        """Something has come."""
        self._take(self._clock())
        return False

    def look(self, now_s: float) -> None:
        """Before a frame: what has come, what time alone has changed, and what slots asked for with the last frame."""
        if self._ears is not None and self._ways is not None:
            self._take(now_s)
        self.pass_on()

    def _take(self, now_s: float) -> None:
        assert self._ears is not None
        assert self._ways is not None
        frames = self._ears.read(self._listened())
        if frames:
            self._ways.apply(DeskHeard(now_s, frames))
            self.pass_on()

    def pass_on(self) -> None:
        """What the desk asked for: tell what was obeyed and refused, do what is the daemon's."""
        voice, ways = self._door.voice, self._ways
        if ways is None:
            return
        while voice.obeyed:
            ways.obeyed(voice.obeyed.popleft())
        while voice.refused:
            ways.refused(voice.refused.popleft())
        while voice.for_daemon:
            self._handle(voice.for_daemon.popleft(), ways)

    @staticmethod
    def _handle(message: Message, ways: Ways) -> None:
        try:
            ways.handle(message)
            ways.obeyed(message)
        except Refused as error:
            ways.refused(Refusal(message.at_s, message.sender, message.address, error.reason, str(error)))

    def rows(self, now_s: float) -> list[DeskRow]:
        """For /feed/desk: every universe of the desk, rising."""
        rows = [] if self._ears is None else self._ears.status(now_s - self._stood_s)
        return [DeskRow(*row[:4], row[4] / 1000.0 if row[4] >= 0 else math.inf) for row in rows]
