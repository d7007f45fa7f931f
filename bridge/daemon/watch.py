"""Hears what others send on universes: one socket a universe, bound to its multicast group.

- Bound to the group, not to the port alone: a socket on 0.0.0.0:5568 would swallow unicast meant for a receiver
  on the same host (facts/protocols.md).
- One socket a universe: Linux lets a socket join 20 groups only (net.ipv4.igmp_max_memberships).
- All hang on one epoll instance. To know who else sends, it is read a few times a second and a few packets each:
  whoever sends is heard within a second, and 137 universes cost next to nothing. A desk's universes have a larger
  buffer and are read whenever something comes (desk_ears.py).
- Unicast comes by a socket of its own, bound to the interface's address, and only where that is asked for.
- Our own packets, which loop back, are dropped in the kernel: by our CID *and* the address and port they come from,
  for a copied machine or state folder has our CID too.
"""

from __future__ import annotations

import contextlib
import ctypes
import select
import socket
import struct
import time
from collections.abc import Callable, Iterable

from bridge.daemon.interfaces import why_no_interface
from bridge.errors import NetworkError

PORT = 5568
"""Of E1.31, like the group below: `wire.e131` has both, but would bring numpy with it (see early.py)."""
PACKETS_PER_SOCKET = 4
PACKETS_PER_DRAIN = 256
SOCKETS_PER_TURN = 4
RECEIVE_BUFFER = 8192
UNICAST = 0
"""In place of a universe, of which 1 is the lowest."""
_IP_MULTICAST_ALL = 49  # Linux, <linux/in.h>
_SO_ATTACH_FILTER = 26  # Linux, <asm-generic/socket.h>
_SOURCE_ADDRESS = 0xFFF00000 + 12  # SKF_NET_OFF (-0x100000), <linux/filter.h>: into the IPv4 header
_CID_OFFSET = 8 + 22  # a filter on a UDP socket begins at the UDP header; the CID is at octets 22..37 of E1.31

Address = tuple[str, int]
Take = Callable[[bytes, Address], None]


class Watch:
    """Listens from construction on. NetworkError when the interface cannot be listened on; `key` is the setting then.

    A universe holds `receive_buffer` octets of what came, and a drain takes `each` packets of it.
    """

    def __init__(
        self,
        universes: Iterable[int],
        interface: str,
        receive_buffer: int = RECEIVE_BUFFER,
        each: int = PACKETS_PER_SOCKET,
        key: str = "sacn",
    ) -> None:
        self.interface = interface
        self.since_s = 0.0
        self._buffer, self._each, self._key = receive_buffer, each, key
        self._poll = select.epoll()
        self._sockets: dict[int, socket.socket] = {}
        self._numbers: dict[int, int] = {}  # descriptor by universe; that of unicast by UNICAST
        self._own: tuple[bytes, Address] | None = None
        try:
            for universe in sorted(set(universes)):
                self.add(universe)
        except NetworkError:
            self.close()
            raise
        self.since_s = time.monotonic()

    @property
    def universes(self) -> frozenset[int]:
        """Those whose groups are listened to."""
        return frozenset(self._numbers) - {UNICAST}

    def fileno(self) -> int:
        """A descriptor that is readable when something has come."""
        return self._poll.fileno()

    def add(self, universe: int) -> None:
        """Listen to this one too; UNICAST: to what is sent to the interface's address itself."""
        try:
            sock = _listen(universe, self.interface, self._buffer)
        except OSError as error:
            why = why_no_interface(error)
            raise NetworkError(f"{self._key}: cannot listen on {self.interface}:{PORT}: {why}") from None
        self._numbers[universe] = sock.fileno()
        self._sockets[sock.fileno()] = sock
        self._poll.register(sock.fileno(), select.EPOLLIN)
        if self._own is not None:
            self.ignore(*self._own)

    def remove(self, universe: int) -> None:
        """Leave this one's group."""
        sock = self._sockets.pop(self._numbers.pop(universe))
        self._poll.unregister(sock)
        sock.close()

    def ignore(self, own_cid: bytes, endpoint: Address) -> None:
        """Have the kernel drop what we send from this endpoint under our CID; `Ears` tells what it does not drop."""
        self._own = own_cid, endpoint
        for sock in self._sockets.values():
            with contextlib.suppress(OSError):
                _drop_own(sock, own_cid, endpoint)

    def drain(self, take: Take) -> None:
        """Give `take(packet, sender)` a bounded number of what has arrived.

        A few sockets at a time, for the kernel puts those that it has named behind the others: so all have their turn.
        """
        left = PACKETS_PER_DRAIN
        while left > 0 and (ready := self._poll.poll(0, SOCKETS_PER_TURN)):
            for number, _ in ready:
                packets = _read(self._sockets[number], self._each)
                left -= max(1, len(packets))
                for packet, sender in packets:
                    take(packet, sender)

    def rejoin(self) -> None:
        """Join every group again after the interface came back (a membership dies with its interface)."""
        for universe in self.universes:
            sock = self._sockets[self._numbers[universe]]
            group = sock.getsockname()[0]
            for option in (socket.IP_DROP_MEMBERSHIP, socket.IP_ADD_MEMBERSHIP):
                with contextlib.suppress(OSError):
                    sock.setsockopt(socket.IPPROTO_IP, option, _membership(group, self.interface))

    def close(self) -> None:
        """Leave all groups."""
        for sock in self._sockets.values():
            sock.close()
        self._sockets.clear()
        self._poll.close()


def _membership(group: str, interface: str) -> bytes:
    return socket.inet_aton(group) + socket.inet_aton(interface)


def _read(sock: socket.socket, most: int) -> list[tuple[bytes, Address]]:
    packets: list[tuple[bytes, Address]] = []
    with contextlib.suppress(OSError):  # BlockingIOError: nothing more
        for _ in range(most):
            data, sender = sock.recvfrom(2048)
            packets.append((data, sender))
    return packets


def _listen(universe: int, interface: str, receive_buffer: int) -> socket.socket:
    group = f"239.255.{universe >> 8}.{universe & 255}"
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        sock.setblocking(False)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, receive_buffer)
        with contextlib.suppress(OSError):
            sock.setsockopt(socket.IPPROTO_IP, _IP_MULTICAST_ALL, 0)
        sock.bind((interface if universe == UNICAST else group, PORT))
        if universe != UNICAST:
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, _membership(group, interface))
    except OSError:
        sock.close()
        raise
    return sock


def _drop_own(sock: socket.socket, own_cid: bytes, endpoint: Address) -> None:
    """Attach a packet filter (classic BPF): our port, our address and our CID -> drop, else keep."""
    load_half, load_word, jump_equal, give = 0x28, 0x20, 0x15, 0x06  # BPF_LD|H|ABS, ..|W|.., BPF_JMP|JEQ|K, BPF_RET|K
    host, port = endpoint
    tests = [(load_half, 0, port), (load_word, _SOURCE_ADDRESS, int.from_bytes(socket.inet_aton(host), "big"))]
    tests += [(load_word, _CID_OFFSET + 4 * n, word) for n, word in enumerate(struct.unpack(">4I", own_cid))]
    code: list[bytes] = []  # what is unequal anywhere goes on at the last line: kept
    for index, (load, offset, value) in enumerate(tests):
        code.append(struct.pack("=HBBI", load, 0, 0, offset))
        code.append(struct.pack("=HBBI", jump_equal, 0, 2 * (len(tests) - index) - 1, value))
    code.append(struct.pack("=HBBI", give, 0, 0, 0))
    code.append(struct.pack("=HBBI", give, 0, 0, 0xFFFF))
    program = ctypes.create_string_buffer(b"".join(code))
    header = struct.pack("@HP", len(code), ctypes.addressof(program))  # struct sock_fprog
    sock.setsockopt(socket.SOL_SOCKET, _SO_ATTACH_FILTER, header)
