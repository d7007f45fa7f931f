"""This machine's network interfaces, for messages that a person can act on."""

from __future__ import annotations

import contextlib
import errno
import fcntl
import ipaddress
import socket
import struct
from dataclasses import replace

from bridge.errors import NetworkError
from bridge.show.model import Show

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


def resolve_address(text: str) -> str:
    """The address that a file means: an address as it is, `localhost`, or that of the interface of this name.

    Asks the kernel, never a name server. Raises NetworkError with the interfaces that there are.
    """
    with contextlib.suppress(ValueError):
        return str(ipaddress.ip_address(text))
    if text == "localhost":
        return "127.0.0.1"
    found = own_addresses()
    if text in found:
        return found[text]
    there = any(text == name for _, name in socket.if_nameindex())
    missing = "has no IPv4 address (is the cable in?)" if there else "is no interface of this machine"
    raise NetworkError(f"found '{text}', which {missing}; allowed is an address or one of {_listed(found)}")


def with_addresses(show: Show) -> Show:
    """The show with addresses where its network file names interfaces; NetworkError that says which key is wrong."""
    network = show.network
    osc = replace(network.osc, host=_named("osc: listen", network.osc.host))
    sacn = replace(network.sacn, interface=_named("sacn: interface", network.sacn.interface))
    desk = network.desk
    if desk is not None:
        desk = replace(desk, interface=_named("desk: interface", desk.interface or sacn.interface))
    return replace(show, network=replace(network, osc=osc, sacn=sacn, desk=desk))


def _named(key: str, text: str) -> str:
    try:
        return resolve_address(text)
    except NetworkError as error:
        raise NetworkError(f"network.yaml: {key}: {error}") from None


def _listed(addresses: dict[str, str]) -> str:
    return ", ".join(f"{address} ({name})" for name, address in addresses.items()) or "none"


def why_no_interface(error: OSError) -> str:
    """What a person can do about an interface that cannot be used."""
    if error.errno not in (errno.EADDRNOTAVAIL, errno.ENODEV):
        return str(error)
    return (
        f"this machine has no such address (it has {_listed(own_addresses())}); is the cable in? "
        "`sacn: interface` in network.yaml names the address"
    )
