"""Other sources on our universes: what the watch hears, put through E1.31's receiver rules."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from bridge.daemon.logs import LOG, printable
from bridge.daemon.own import ANY, Own
from bridge.daemon.watch import Address, Watch
from bridge.door.events import Heard, OtherSource
from bridge.door.transmission import LISTEN_S
from bridge.errors import NetworkError
from bridge.wire.receiver import Receiver
from bridge.wire.sources import Source

RETRY_S = 1.0
IDENTITY = "under OUR identity (CID): a copied machine or state folder? Receivers take the two for one and jump"


class Ears:
    """Knows who else is heard: `heard` by universe, as of the last look."""

    def __init__(self, watch: Watch, universes: Sequence[int], own_cid: bytes, clock: Callable[[], float]) -> None:
        self._watch, self._universes, self._cid, self._clock = watch, tuple(universes), own_cid, clock
        self._own = Own(own_cid)
        self._retry_s = math.inf
        self._receiver = Receiver(universes, by_sender=True)
        self.heard: Heard = {}

    @property
    def since_s(self) -> float:
        """Since when all universes are listened to (monotonic)."""
        return self._watch.since_s

    def ours(self, endpoint: Address) -> None:
        """We send from this address and port from now on. What comes with our CID from elsewhere is somebody else."""
        self._own.sends_from(endpoint)
        if endpoint[0] != ANY:
            self._watch.ignore(self._cid, endpoint)

    def listen_on(self, universes: Sequence[int]) -> None:
        """Listen on these universes from now on; what was heard on those that stay is kept."""
        if tuple(universes) != self._universes:
            self._universes = tuple(universes)
            self._receiver.listen_on(universes)
            self._listen()

    def _listen(self) -> None:
        """Another watch for the universes; while there can be none, as with the cable out, the old one stays."""
        try:
            watch = Watch(self._universes, self._watch.interface)
        except NetworkError as error:
            if self._retry_s == math.inf:
                LOG.error("who else sends is not heard on all universes: %s; tried again", error)
            self._retry_s = self._clock() + RETRY_S
            return
        self._retry_s = math.inf
        self._watch.close()
        self._watch = watch
        for endpoint in self._own.endpoints:
            self._watch.ignore(self._cid, endpoint)

    def changed(self, now_s: float) -> bool:
        """Take in what has arrived; whether other sources than before are heard. Cheap, a few times a second."""
        if now_s >= self._retry_s:
            self._listen()
        self._watch.drain(lambda packet, sender: self._take(packet, sender, now_s))
        before, self.heard = self.heard, self._now(now_s)
        return self.heard != before

    def rejoin(self) -> None:
        """The interface came back: join its groups again."""
        self._watch.rejoin()

    def close(self) -> None:
        """Stop listening."""
        self._watch.close()

    def _now(self, now_s: float) -> Heard:
        rows = {universe: self._receiver.heard(universe, now_s, LISTEN_S) for universe in self._universes}
        return {universe: tuple(map(self._source, heard)) for universe, heard in rows.items() if heard}

    def _source(self, source: Source) -> OtherSource:
        remark = IDENTITY if source.cid == self._cid else ""
        return OtherSource(printable(source.source_name), source.sender, source.highest, remark)

    def _take(self, packet: bytes, sender: Address, now_s: float) -> None:
        if not self._own.sent(packet, sender):
            self._receiver.take(packet, sender[0], now_s)
