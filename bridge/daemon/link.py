"""Whether an interface that we send or hear by has a link: with the cable out, sends succeed and nothing arrives."""

from __future__ import annotations

import array
import fcntl
import socket
import struct
from collections.abc import Callable

_SIOCGIFCONF, _SIOCGIFFLAGS = 0x8912, 0x8913  # Linux, <linux/sockios.h>
_IFF_UP, _IFF_RUNNING = 0x1, 0x40  # <linux/if.h>; running: the driver has a carrier, or cannot tell
_ENTRY = struct.Struct("16s16s8x")  # struct ifreq on 64 bits: name, sockaddr_in, the rest of its union
_MOST_OCTETS = 256 * _ENTRY.size
ANY = "0.0.0.0"


def trouble(address: str) -> str:
    """What keeps packets from leaving by the interface of this IPv4 address, or "". Three system calls, no waiting."""
    if address == ANY:
        return ""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        name = _name_of(address, probe)
        if name is None:
            return f"no interface of this machine has the address {address} any more"
        asked = struct.pack("16s16x8x", name.encode())
        (flags,) = struct.unpack_from("H", fcntl.ioctl(probe.fileno(), _SIOCGIFFLAGS, asked), 16)
    if not flags & _IFF_UP:
        return f"the interface {name} ({address}) was switched off"
    if not flags & _IFF_RUNNING:
        return f"the interface {name} ({address}) has no link: is the cable out, or the switch off?"
    return ""


def _name_of(address: str, probe: socket.socket) -> str | None:
    """Also of a second address of an interface, which SIOCGIFADDR does not tell."""
    found = array.array("B", bytes(_MOST_OCTETS))
    asked = struct.pack("iP", _MOST_OCTETS, found.buffer_info()[0])
    (length, _) = struct.unpack("iP", fcntl.ioctl(probe.fileno(), _SIOCGIFCONF, asked))
    for name, family_port_address in _ENTRY.iter_unpack(found.tobytes()[:length]):
        if socket.inet_ntoa(family_port_address[4:8]) == address:
            return str(name.partition(b"\0")[0].partition(b":")[0].decode())  # a label such as eth0:1 is no name
    return None


class LinkWatch:
    """Says once that it is gone, and once that it is back: `gone` and `back` with what is wrong or the address."""

    def __init__(
        self,
        address: str,
        trouble: Callable[[str], str] = trouble,
        gone: str = "NOTHING ARRIVES: {}",
        back: str = "the link of {} is back, packets leave again",
    ) -> None:
        self._address, self._trouble, self._gone, self._back = address, trouble, gone, back
        self.down = ""

    def look(self) -> str:
        """What has changed since the last look, in words, or ""; `down` is what is wrong now."""
        try:
            down = self._trouble(self._address)
        except OSError:  # the interface went away between two questions: the next look will know
            return ""
        before, self.down = self.down, down
        if down == before:
            return ""
        return self._gone.format(down) if down else self._back.format(self._address)
