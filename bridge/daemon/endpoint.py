"""The OSC socket: opened with clear words, drained a bounded time per wake-up so that no flood starves a frame."""

from __future__ import annotations

import contextlib
import errno
import socket
from collections.abc import Callable
from typing import Any

from bridge.daemon.kernel_time import receive, want_stamps
from bridge.door.events import Message
from bridge.door.inbox import Inbox
from bridge.errors import NetworkError

MAX_OCTETS = 65535
BATCH = 64
GRACE_S = 0.0003
RECEIVE_BUFFER = 1 << 18
"""Octets the kernel may hold for us: some hundred small datagrams. More would only mean older ones."""


def open_osc(host: str, port: int) -> socket.socket:
    """A bound, non-blocking UDP socket; NetworkError (exit 3) says why there is none."""
    try:
        family, kind, proto, _, address = socket.getaddrinfo(
            host, port, type=socket.SOCK_DGRAM, flags=socket.AI_PASSIVE
        )[0]
    except OSError as error:
        raise NetworkError(f"osc: listen {host}:{port}: {host!r} is no address of this machine: {error}") from None
    sock = socket.socket(family, kind, proto)
    try:
        sock.setblocking(False)
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, RECEIVE_BUFFER)
        want_stamps(sock)
        sock.bind(address)
    except OSError as error:
        sock.close()
        raise NetworkError(f"osc: cannot listen on {host}:{port}: {_why(error)}") from None
    return sock


def _why(error: OSError) -> str:
    if error.errno == errno.EADDRINUSE:
        return (
            "another program holds this port; is `tetherlight run` already running? "
            "(`osc: listen` in network.yaml chooses another)"
        )
    if error.errno == errno.EADDRNOTAVAIL:
        return "this machine has no such address; is the interface up? (0.0.0.0 listens on all)"
    if error.errno == errno.EACCES:
        return "no permission; ports below 1024 need a privileged user"
    return str(error)


def drain(
    sock: socket.socket,
    inbox: Inbox,
    heard: Callable[[bytes, Any, float], None],
    obeyed: Callable[[Message], None],
    clock: Callable[[], float],
    due_s: Callable[[], float],
) -> int:
    """Obey what has arrived, until nothing is left, the next frame is due, or BATCH messages were obeyed.

    Returns how many rounds that took: one for each message.

    `heard(data, sender, at_s)` puts a datagram into the inbox, with when it arrived; `obeyed(message)` hears of each
    that was obeyed. GRACE_S goes on past a due frame: of several observations that arrived together, the newest is to
    be sent.
    """
    grace_s = clock() + GRACE_S
    for rounds in range(BATCH):
        if not inbox.busy:
            try:
                data, sender, at_s = receive(sock, MAX_OCTETS, clock)
            except BlockingIOError:
                return rounds
            except OSError:  # an ICMP error of somebody's closed feed port lands here: not ours to mind
                continue
            heard(data, sender, at_s)
        if inbox.busy and (message := inbox.work()) is not None:
            obeyed(message)
        if clock() >= max(due_s(), grace_s):
            break
    return BATCH


def close_quietly(sock: socket.socket) -> None:
    """Close whatever state it is in."""
    with contextlib.suppress(OSError):
        sock.close()
