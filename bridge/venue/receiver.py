"""The venue's receiver: E1.31 from the network as a node hears it, whatever else arrives.

`SacnReceiver` is pure (datagrams and the time in, levels and notes out); `open_sockets` gives the sockets to read. They
share port 5568 with whoever else listens on this machine: one takes unicast, others take the multicast groups.
"""

from __future__ import annotations

import socket
import struct
from collections import Counter
from collections.abc import Callable, Sequence

from bridge.errors import NetworkError, Refused
from bridge.wire.e131 import PORT, Data, Sync, multicast_group, parse
from bridge.wire.receiver import Receiver
from bridge.wire.sources import LOSS_S, Source

GROUPS_PER_SOCKET = 20  # net.ipv4.igmp_max_memberships of Linux
MOST_OCTETS = 2048


class SacnReceiver:
    """Takes datagrams and says what the universes carry. Notes are one line for each thing that begins or ends."""

    def __init__(self, universes: Sequence[int], note: Callable[[str], None] = lambda _: None) -> None:
        self.universes = tuple(universes)
        self.malformed: Counter[str] = Counter()
        self.packets = 0
        self._receiver = Receiver(self.universes, sampling_s=0.0)
        self._note = note
        self._heard_s: dict[int, float] = {}
        self._silent: set[int] = set()
        self._fighting: dict[int, frozenset[str]] = {}

    @property
    def counters(self) -> Counter[str]:
        """Packets by what became of them, malformed ones as `malformed-REASON`."""
        return self._receiver.counters + Counter({f"malformed-{k}": n for k, n in self.malformed.items()})

    def take(self, datagram: bytes, sender: str, now_s: float) -> tuple[int, bytes] | None:
        """One datagram; returns (universe, levels that now drive it) when it changed what is played, else None."""
        try:
            packet = parse(datagram)
        except Refused as error:
            if not self.malformed[error.reason]:
                self._note(f"malformed packet from {sender} ({error.reason}): {error}; more are only counted")
            self.malformed[error.reason] += 1
            return None
        if isinstance(packet, Sync):
            self._receiver.counters["sync"] += 1  # counted only: levels play when they come
            return None
        word = self._receiver.take(packet, sender, now_s)
        if not isinstance(packet, Data) or word not in ("taken", "priorities", "terminated"):
            return None
        self.packets += 1
        self._watch(packet.universe, now_s)
        look = self._receiver.frame(packet.universe, now_s)
        if look is None or not look.alive:
            return None  # the last source has ended: a node holds its last look
        self._heard_s[packet.universe] = now_s
        if packet.universe in self._silent:
            self._silent.discard(packet.universe)
            self._note(f"universe {packet.universe} is heard again")
        return packet.universe, look.slots

    def tick(self, now_s: float) -> None:
        """Look for universes that fell silent; the heads hold their last look, as a node does (E1.31: 2.5 s)."""
        for universe, heard_s in self._heard_s.items():
            if universe not in self._silent and now_s - heard_s > LOSS_S:
                self._silent.add(universe)
                self._note(f"universe {universe} fell silent {LOSS_S} s ago; its heads hold their last look")

    def sources(self, now_s: float) -> list[Source]:
        """Everybody who sends on our universes now."""
        return [source for universe in self.universes for source in self._receiver.heard(universe, now_s)]

    def silent(self) -> list[int]:
        """Universes that were heard once and are not now."""
        return sorted(self._silent)

    def never_heard(self) -> list[int]:
        """Universes of the rig on which nothing ever came."""
        return [universe for universe in self.universes if universe not in self._heard_s]

    def _watch(self, universe: int, now_s: float) -> None:
        live = self._receiver.heard(universe, now_s)
        names = frozenset(f"{s.source_name!r} at {s.sender}, priority {s.priority}" for s in live)
        before = self._fighting.get(universe, frozenset())
        if len(live) > 1 and names != before:
            equal = len({s.priority for s in live}) == 1
            rule = "they are merged, highest takes precedence" if equal else "the highest priority wins"
            self._note(f"universe {universe} has {len(live)} sources: {'; '.join(sorted(names))}; {rule}")
        self._fighting[universe] = names if len(live) > 1 else frozenset()


def open_sockets(universes: Sequence[int], interface: str, port: int = PORT) -> list[socket.socket]:
    """Non-blocking UDP sockets for the universes. Raises NetworkError when port or interface cannot be had.

    A unicast datagram goes to one of the sockets that share a port, and Linux picks the most exactly bound, so the
    first is bound to the interface's address. A multicast datagram goes to every socket bound to its group.
    """
    opened: list[socket.socket] = []
    try:
        opened.append(_bound(interface, port))
        groups = [multicast_group(universe) for universe in universes]
        for at in range(0, len(groups), GROUPS_PER_SOCKET):
            shared = _bound("", port)
            opened.append(shared)
            for group in groups[at : at + GROUPS_PER_SOCKET]:
                member = struct.pack("4s4s", socket.inet_aton(group), socket.inet_aton(interface))
                shared.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)
    except OSError as error:
        for one in opened:
            one.close()
        raise NetworkError(
            f"cannot hear sACN on {interface} port {port}: {error.strerror or error}; "
            "is `sacn: interface` in network.yaml an address of this machine?"
        ) from None
    return opened


def _bound(address: str, port: int) -> socket.socket:
    one = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if not address:
            # Only the groups that this very socket joined, not those of every process on the machine.
            one.setsockopt(socket.IPPROTO_IP, getattr(socket, "IP_MULTICAST_ALL", 49), 0)
        one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        one.bind((address, port))
        one.setblocking(False)
    except OSError:
        one.close()
        raise
    return one


def drain(one: socket.socket, most: int = 500) -> list[tuple[bytes, str]]:
    """What waits in a socket, (datagram, sender); an error of the network reads as nothing."""
    found = []
    for _ in range(most):
        try:
            datagram, (host, *_rest) = one.recvfrom(MOST_OCTETS)
        except (BlockingIOError, InterruptedError):
            break
        except OSError:
            continue
        found.append((datagram, host))
    return found
