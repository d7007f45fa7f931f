"""Listens for `check --live`: who sends which universe, how often and at which priority. Sends no sACN.

Multicast is heard beside a running bridge. Unicast to this machine is heard only where nobody else listens to it: a
second socket would take it away from the first.
"""

from __future__ import annotations

import contextlib
import socket
import time
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field

from bridge.commands.live_inputs import InputHeard
from bridge.daemon.echo import Echo
from bridge.daemon.logs import printable
from bridge.daemon.watch import Address, Watch
from bridge.wire import e131

_TURN_S = 0.005
_BUFFER = 1 << 18
_EACH = 64


@dataclass
class Source:
    """One source on one universe. `levels` counts packets of levels; `highest` is the highest priority of a slot."""

    universe: int
    cid: bytes
    host: str
    name: str = ""
    priority: int = 0
    highest: int = 0
    levels: int = 0
    first_s: float = 0.0
    last_s: float = 0.0
    per_address: bool = False
    synchronised_on: int = 0
    preview: bool = False
    ended: bool = False

    @property
    def counts(self) -> bool:
        """Whether a receiver would take levels from it."""
        return self.levels > 0 and not self.preview and not self.ended

    @property
    def rate_hz(self) -> float:
        """Packets of levels a second; 0 where there was one alone."""
        return (self.levels - 1) / (self.last_s - self.first_s) if self.last_s > self.first_s else 0.0

    def take(self, packet: e131.Data, now_s: float) -> None:
        """One more packet."""
        self.name, self.ended, self.preview = printable(packet.source_name), packet.terminated, packet.preview
        if packet.start_code == e131.PRIORITIES:
            self.per_address, self.highest = True, max(packet.slots, default=0)
        elif packet.start_code == 0 and not packet.terminated:
            self.priority, self.synchronised_on = packet.priority, packet.sync_universe
            self.first_s = self.first_s if self.levels else now_s
            self.levels, self.last_s = self.levels + 1, now_s
        if not self.per_address:
            self.highest = packet.priority


@dataclass
class Heard:
    """What was heard in `seconds`: sources by universe, then by who; nodes that were asked and those that answered.

    `deaf` says what could not be heard, `why` why no node could be asked, `unsent` the same of one node.
    """

    sources: list[Source] = field(default_factory=list)
    seconds: float = 0.0
    deaf: list[str] = field(default_factory=list)
    nodes: tuple[str, ...] = ()
    answered: frozenset[str] = frozenset()
    unsent: Mapping[str, str] = field(default_factory=dict)
    why: str = ""
    inputs: list[InputHeard] = field(default_factory=list)


class Ledger:
    """Sources by who they are: universe, CID and host."""

    def __init__(self, universes: Iterable[int]) -> None:
        self._universes = frozenset(universes)
        self._sources: dict[tuple[int, bytes, str], Source] = {}

    def take(self, datagram: bytes, sender: Address, now_s: float) -> None:
        """One datagram; what is no data of these universes is nobody's."""
        with contextlib.suppress(e131.E131Error):
            packet = e131.parse(datagram)
            if isinstance(packet, e131.Data) and packet.universe in self._universes:
                key = packet.universe, packet.cid, sender[0]
                self._sources.setdefault(key, Source(*key)).take(packet, now_s)

    @property
    def sources(self) -> list[Source]:
        """Rising by universe, the highest priority first."""
        return sorted(self._sources.values(), key=lambda s: (s.universe, -s.highest, s.name, s.host, s.cid))


def hear(
    listened: Mapping[str, Iterable[int]],
    nodes: Iterable[str],
    interface: str,
    seconds: float,
    also: Callable[[], None] = lambda: None,
) -> Heard:
    """Listen to universes by interface address for so long, or until Ctrl-C, and ask nodes from `interface`.

    `also` reads what else is listened to: it is called every few milliseconds.

    NetworkError where an interface cannot be listened on.
    """
    ledger = Ledger(universe for universes in listened.values() for universe in universes)
    with ExitStack() as stack:
        watches = [Watch(universes, address, _BUFFER, _EACH) for address, universes in listened.items()]
        for watch in watches:
            stack.callback(watch.close)
        deaf, direct = [], []
        for address in listened:
            try:
                direct.append(stack.enter_context(_unicast(address)))
            except OSError:
                deaf.append(f"unicast to {address} was not listened to: another program of this machine has it")
        echo = Echo(nodes, interface)
        stack.callback(echo.close)
        began_s = time.monotonic()
        with contextlib.suppress(KeyboardInterrupt):
            _listen(watches, direct, echo, ledger, began_s + seconds, also)
        return Heard(
            sources=ledger.sources,
            seconds=time.monotonic() - began_s,
            deaf=deaf,
            nodes=echo.hosts,
            answered=frozenset(echo.answered),
            unsent=dict(echo.unsent),
            why=echo.why,
        )


def _listen(
    watches: list[Watch],
    direct: list[socket.socket],
    echo: Echo,
    ledger: Ledger,
    until_s: float,
    also: Callable[[], None],
) -> None:
    while (now_s := time.monotonic()) < until_s:
        also()
        echo.turn(now_s)

        def take(packet: bytes, sender: Address, at_s: float = now_s) -> None:
            ledger.take(packet, sender, at_s)

        for watch in watches:
            watch.drain(take)
        for sock in direct:
            with contextlib.suppress(OSError):  # BlockingIOError: nothing more
                for _ in range(256):
                    take(*sock.recvfrom(2048))
        time.sleep(min(_TURN_S, max(0.0, until_s - time.monotonic())))
    echo.turn(now_s)


def _unicast(address: str) -> socket.socket:
    """OSError where somebody else has it. Whoever comes while we listen may still have it: it is theirs then."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        sock.setblocking(False)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, _BUFFER)
        sock.bind((address, e131.PORT))
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    except OSError:
        sock.close()
        raise
    return sock
