"""What a desk beside us sends: its universes' packets, in the loop as they come, made into frames by E1.31's rules."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable

from bridge.daemon.logs import LOG, printable
from bridge.daemon.own import ANY, Own
from bridge.daemon.watch import UNICAST, Address, Watch
from bridge.door.events import DeskFrame
from bridge.errors import NetworkError
from bridge.wire.receiver import Receiver

RETRY_S = 1.0
RECEIVE_BUFFER = 1 << 18
"""Octets a universe; Linux gives at most net.core.rmem_max, by default enough for a second and more at 44 Hz."""
PACKETS_PER_SOCKET = 64
MOST_SYNC_ADDRESSES = 8


class DeskEars:
    """Listens from construction on. NetworkError when the interface cannot be listened on.

    `unicast`: also hear what is sent to the interface's own address. It takes it from any other receiver of this
    machine on that address, so not where a destination of our own is there.
    """

    def __init__(
        self,
        universes: Iterable[int],
        interface: str,
        own_cid: bytes,
        clock: Callable[[], float],
        unicast: bool = True,
    ) -> None:
        self._clock, self._universes = clock, frozenset(universes)
        self._cid, self._own = own_cid, Own(own_cid)
        self._receiver = Receiver(self._universes)
        self._said: dict[int, DeskFrame] = {}
        self._sync: frozenset[int] = frozenset()
        self._learnt: set[int] = set()
        self._retry_s = math.inf
        self._own_heard = 0
        self._watch = Watch(self._universes, interface, RECEIVE_BUFFER, PACKETS_PER_SOCKET, "desk")
        if unicast:
            self._hear_unicast()
        else:
            LOG.warning(
                "desk: unicast to %s is not heard: a destination of `sacn: to` is there; multicast is", interface
            )

    def fileno(self) -> int:
        """A descriptor for the loop; the same until `close`. Readable: `read`."""
        return self._watch.fileno()

    @property
    def due_s(self) -> float:
        """When time alone changes something (a loss, the end of a waiting): `read` then. Infinity: nothing does."""
        return min(self._receiver.next_due_s, self._retry_s)

    @property
    def counters(self) -> Counter[str]:
        """Packets by what became of them, as Receiver.take says; `own` are ours that came back."""
        return self._receiver.counters + Counter(own=self._own_heard)

    def ours(self, endpoint: Address) -> None:
        """We send from this address and port from now on."""
        self._own.sends_from(endpoint)
        if endpoint[0] != ANY:
            self._watch.ignore(self._cid, endpoint)

    def read(self, now_s: float) -> tuple[DeskFrame, ...]:
        """Take in a bounded number of what has come; the frames of universes whose result is another than before."""
        self._watch.drain(lambda packet, sender: self._take(packet, sender, now_s))
        if now_s >= self._retry_s:
            self._listen()
        frames = []
        for universe in self._receiver.changed(now_s):
            frame = self._frame(universe, now_s)
            if frame is not None and frame != self._said.get(universe):
                self._said[universe] = frame
                frames.append(frame)
        if self._receiver.sync_addresses != self._learnt:
            self._learn()
        return tuple(frames)

    def listen_on(self, universes: Iterable[int]) -> None:
        """Listen on these universes from now on; what was heard on those that stay is kept."""
        wanted = frozenset(universes)
        if wanted != self._universes:
            self._universes = wanted
            self._receiver.listen_on(wanted)
            self._said = {universe: frame for universe, frame in self._said.items() if universe in wanted}
            self._listen()

    def rejoin(self) -> None:
        """The interface came back: join its groups again."""
        self._watch.rejoin()

    def close(self) -> None:
        """Stop listening."""
        self._watch.close()

    def status(self, now_s: float) -> list[tuple[int, str, int, bool, int]]:
        """Per universe, rising: itself, strongest source, priority, alive, ms since levels last came (-1: never)."""
        return [self._row(universe, now_s) for universe in sorted(self._universes)]

    def _row(self, universe: int, now_s: float) -> tuple[int, str, int, bool, int]:
        frame, heard_s = self._frame(universe, now_s), self._receiver.heard_s(universe)
        age_ms = -1 if heard_s == -math.inf else round(1000 * (now_s - heard_s))
        if frame is None:
            return universe, "", 0, False, age_ms
        return universe, frame.source, frame.priority, frame.alive, age_ms

    def _take(self, packet: bytes, sender: Address, now_s: float) -> None:
        if self._own.sent(packet, sender):
            self._own_heard += 1
        else:
            self._receiver.take(packet, sender[0], now_s)

    def _frame(self, universe: int, now_s: float) -> DeskFrame | None:
        look = self._receiver.frame(universe, now_s)
        if look is None:
            return None
        return DeskFrame(
            universe, look.slots, printable(look.source), look.sender, look.priority, look.alive, look.equal
        )

    def _learn(self) -> None:
        """Join the groups on which the desk's syncs come; those that are joined go first."""
        self._learnt = set(self._receiver.sync_addresses)
        rising = sorted(self._learnt, key=lambda address: (address not in self._sync, address))
        self._sync = frozenset(rising[:MOST_SYNC_ADDRESSES])
        self._listen()

    def _listen(self) -> None:
        """Open what is wanted and is not open, close what is no longer; what cannot be opened is tried again."""
        wanted = self._universes | self._sync
        for universe in self._watch.universes - wanted:
            self._watch.remove(universe)
        try:
            for universe in sorted(wanted - self._watch.universes):
                self._watch.add(universe)
        except NetworkError as error:
            if self._retry_s == math.inf:
                LOG.error("the desk is not heard on all universes: %s; tried again", error)
            self._retry_s = self._clock() + RETRY_S
            return
        self._retry_s = math.inf

    def _hear_unicast(self) -> None:
        try:
            self._watch.add(UNICAST)
        except NetworkError as error:
            LOG.error("the desk's unicast is not heard, its multicast is: %s", error)
