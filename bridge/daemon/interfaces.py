"""This machine's network interfaces, for messages that a person can act on."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import socket
import struct

_SIOCGIFADDR = 0x8915  # Linux, <linux/sockios.h>


def own_addresses() -> dict[str, str]:
    """IPv4 address by interface name (Linux); those without one are left out."""
    found: dict[str, str] = {}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        for _, name in socket.if_nameindex():
            with contextlib.suppress(OSError):
                answer = fcntl.ioctl(probe.fileno(), _SIOCGIFADDR, struct.pack("256s", name.encode()[:15]))
                found[name] = socket.inet_ntoa(answer[20:24])
    return found


def why_no_interface(error: OSError) -> str:
    """What a person can do about an interface that cannot be used."""
    if error.errno not in (errno.EADDRNOTAVAIL, errno.ENODEV):
        return str(error)
    have = ", ".join(f"{address} ({name})" for name, address in own_addresses().items()) or "none"
    return (
        f"this machine has no such address (it has {have}); is the cable in? "
        "`sacn: interface` in network.yaml names the address"
    )
