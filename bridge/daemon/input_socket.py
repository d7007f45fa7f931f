"""The socket of a tracking input: bound to its multicast group, or to an address of ours for unicast.

A socket on a group is bound to that address and shares its port, so it takes nothing from anybody else: E1.59 and sACN
have the same one. Unicast is taken by one socket alone, so there a port that is held is an error.
"""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import socket
from typing import NamedTuple

from bridge.daemon.interfaces import own_addresses, resolve_address
from bridge.daemon.kernel_time import want_stamps
from bridge.errors import NetworkError
from bridge.wire import otp
from bridge.wire.settings import InputSettings

RECEIVE_BUFFER = 1 << 18
MOST_DESCRIPTOR = 1023
"""`select` takes no higher one (loop.py)."""
_IP_MULTICAST_ALL = 49  # Linux, <linux/in.h>
_TAKEN = "another program holds this port; is `tetherlight run` running? a port of unicast is heard by one alone"


class Where(NamedTuple):
    """The address that a socket is bound to, and the interface on which its group is joined, "" for unicast."""

    host: str
    port: int
    interface: str = ""

    def __str__(self) -> str:
        return f"{self.host}:{self.port}" + (f" on {self.interface}" if self.interface else "")


def where(settings: InputSettings, interface: str) -> Where:
    """Where an input is heard; `interface` is sacn's. NetworkError where an interface is named that is not there."""
    host, port = settings.host, settings.port
    if settings.protocol == "otp":
        host, port = otp.transform_group(settings.system), otp.PORT
    if _is_group(host):
        return Where(host, port, resolve_address(settings.interface or interface))
    return Where(resolve_address(host), port)


def _is_group(host: str) -> bool:
    with contextlib.suppress(ValueError):
        return ipaddress.ip_address(host).is_multicast
    return False


def open_input(at: Where) -> socket.socket:
    """A bound, non-blocking socket; NetworkError says why there is none."""
    family = socket.AF_INET6 if ":" in at.host else socket.AF_INET
    try:
        sock = socket.socket(family, socket.SOCK_DGRAM)
    except OSError as error:
        raise NetworkError(f"cannot listen on {at}: {error}") from None
    try:
        if sock.fileno() > MOST_DESCRIPTOR:
            raise NetworkError(f"cannot listen on {at}: {MOST_DESCRIPTOR + 1} files and sockets are open already")
        sock.setblocking(False)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER)
        want_stamps(sock)
        if at.interface:
            sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.IPPROTO_IP, _IP_MULTICAST_ALL, 0)
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(at.interface))
        sock.bind((at.host, at.port))
        if at.interface:
            sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, _membership(at))
    except OSError as error:
        sock.close()
        raise NetworkError(f"cannot listen on {at}: {_why(error)}") from None
    except NetworkError:
        sock.close()
        raise
    return sock


def rejoin(sock: socket.socket, at: Where) -> None:
    """Join the group again after the interface came back (a membership dies with its interface)."""
    if at.interface:
        for option in (socket.IP_DROP_MEMBERSHIP, socket.IP_ADD_MEMBERSHIP):
            with contextlib.suppress(OSError):
                sock.setsockopt(socket.IPPROTO_IP, option, _membership(at))


def _membership(at: Where) -> bytes:
    return socket.inet_aton(at.host) + socket.inet_aton(at.interface)


def _why(error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return _TAKEN
    if error.errno in (errno.EADDRNOTAVAIL, errno.ENODEV):
        has = ", ".join(f"{address} ({name})" for name, address in own_addresses().items()) or "none"
        return f"this machine has no such address (it has {has}); is the cable in?"
    if error.errno == errno.EACCES:
        return "no permission; ports below 1024 need a privileged user"
    return str(error)
