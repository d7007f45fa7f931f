"""When a datagram arrived, by the kernel: the loop reads what has come shortly before a frame, up to 20 ms later.

The kernel stamps with the wall clock, which may be set at any time; the loop's clock is monotonic. So the age of a
datagram at reading is what is carried over, and where that cannot be (a wall clock that was set meanwhile, no stamp, a
process that stood still) it counts as arrived now.
"""

from __future__ import annotations

import contextlib
import socket
import struct
import time
from collections.abc import Callable
from typing import Any

MOST_AGE_S = 1.0
_SO_TIMESTAMPNS = 35  # Linux, <asm-generic/socket.h>; SCM_TIMESTAMPNS is the same
_TIMESPEC = struct.Struct("@ll")
_ROOM = socket.CMSG_SPACE(_TIMESPEC.size)


def want_stamps(sock: socket.socket) -> None:
    """Have the kernel stamp what arrives; where it cannot, `receive` does without."""
    with contextlib.suppress(OSError):
        sock.setsockopt(socket.SOL_SOCKET, _SO_TIMESTAMPNS, 1)


def receive(
    sock: socket.socket, octets: int, clock: Callable[[], float], wall_ns: Callable[[], int] = time.time_ns
) -> tuple[bytes, Any, float]:
    """(datagram, sender, when it arrived on `clock` in whole microseconds); OSError as recvmsg raises it."""
    data, ancillary, _, sender = sock.recvmsg(octets, _ROOM)
    now_s = clock()
    for level, kind, stamp in ancillary:
        if kind == _SO_TIMESTAMPNS and level == socket.SOL_SOCKET and len(stamp) == _TIMESPEC.size:
            seconds, nanoseconds = _TIMESPEC.unpack(stamp)
            age_s = (wall_ns() - seconds * 1_000_000_000 - nanoseconds) / 1e9
            if 0.0 <= age_s <= MOST_AGE_S:
                return data, sender, round((now_s - age_s) * 1e6) / 1e6
    return data, sender, now_s
