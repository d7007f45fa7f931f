"""Another source of sACN on loopback, by another implementation of E1.31 (the `sacn` library)."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager

import sacn


@contextmanager
def other_source(*universes: int, priority: int) -> Iterator[sacn.sACNsender]:
    """It sends on these universes until the end of the block, and then says that it has ended."""
    sender = sacn.sACNsender(bind_address="127.0.0.1", source_name="House desk")
    own = sender._sender_handler.socket._socket  # it has no option for where multicast leaves
    own.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
    sender.start()
    for universe in universes:
        sender.activate_output(universe)
        sender[universe].multicast = True
        sender[universe].priority = priority
        sender[universe].dmx_data = (1, 2, 3)
    try:
        yield sender
    finally:
        sender.stop()
