"""The socket of whoever in the venue sends by itself: a desk, a tracking system."""

from __future__ import annotations

import contextlib
import socket

from bridge.errors import NetworkError

TIME_TO_LIVE = 16


def open_sender(interface: str, who: str) -> socket.socket:
    """Non-blocking, for unicast and multicast from the IPv4 address `interface`.

    NetworkError, with `who` cannot send, where that cannot be.
    """
    with contextlib.ExitStack() as stack:
        one = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
        try:
            one.setblocking(False)
            one.bind((interface, 0))
            one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
            one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, TIME_TO_LIVE)
            one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 1)
        except OSError as error:
            why = error.strerror or error
            raise NetworkError(f"{who} cannot send from {interface}: {why}; is it an address of ours?") from None
        stack.pop_all()
    return one
