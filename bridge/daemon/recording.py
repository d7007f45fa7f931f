"""What the loop tells the recorder: datagrams, events and frames in the order in which the door took them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

from bridge.daemon.clock import microseconds
from bridge.daemon.recorder import Recorder
from bridge.door import record
from bridge.door.door import Door
from bridge.door.events import Event, Message
from bridge.door.inbox import Inbox
from bridge.door.transmission import Out, Phase
from bridge.wire.e131 import DISCOVERY_UNIVERSE
from bridge.wire.udp import Address


class Route(Protocol):
    """Where packets of a universe go."""

    @property
    def endpoint(self) -> Address: ...
    def destination(self, universe: int) -> Address: ...


class Recording:
    """Every capture begins with the show and the whole state, so that it replays by itself."""

    def __init__(
        self, recorder: Recorder, door: Door, inbox: Inbox, cid: bytes, listens: Address, route: Route
    ) -> None:
        self._recorder, self._door, self._inbox = recorder, door, inbox
        self._cid, self._listens, self._route = cid, listens, route
        self.files: Mapping[str, str] = {}

    def turn(self, at_s: float) -> None:
        """Begin the next capture where one is due: between two frames, with no message waiting.

        Not while the streams end: they end with a frame that stands, which no state holds.
        """
        at_us, ends = microseconds(at_s), self._door.transmission.phase is Phase.ENDING
        if not ends and not self._inbox.busy and self._recorder.wants_start(at_us):
            self._inbox.obeyed = 0
            self._recorder.begin_file(at_us, [record.begin(self.files, self._cid, self._door.state())])

    def heard(self, data: bytes, sender: Address, at_s: float) -> None:
        """A datagram came in."""
        self._recorder.incoming(microseconds(at_s), sender, self._listens, data)

    def applied(self, event: Event) -> None:
        """The door takes this now."""
        if not isinstance(event, Message):  # its datagram is kept
            self._recorder.event(microseconds(event.at_s), record.event(event, self._obeyed()))

    def ticked(self, at_s: float) -> None:
        """The door makes a frame now."""
        self._recorder.event(microseconds(at_s), record.tick(at_s, self._obeyed()))

    def sent(self, out: Out, unsent: tuple[int, ...], at_s: float) -> None:
        """These packets have left, but for those that the network did not take."""
        at_us, source = microseconds(at_s), self._route.endpoint
        pages = [(DISCOVERY_UNIVERSE, page) for page in out.discovery]
        for universe, packet in (*out.packets, *pages):
            if universe not in unsent:
                self._recorder.outgoing(at_us, source, self._route.destination(universe), packet)

    def _obeyed(self) -> int:
        count, self._inbox.obeyed = self._inbox.obeyed, 0
        return count

    def close(self) -> None:
        """Write what is left."""
        self._recorder.close()
