"""A mouth for the live figures: what is said to the daemon or the peer over OSC, walks and junk alike.

Octets are written here by hand: the encoder under test has no part in it.
"""

from __future__ import annotations

import contextlib
import math
import random
import socket
import struct
import time
from collections.abc import Callable, Sequence

from bench_rig import TARGET_Z
from ear import Ear, Packet

_ADDRESS = b"/target/lead/position\0\0\0"


def position(x: float, y: float) -> bytes:
    """`/target/lead/position` x y z."""
    return _ADDRESS + b",fff\0\0\0\0" + struct.pack(">fff", x, y, TARGET_Z)


class Mouth:
    """Sends OSC datagrams to one port."""

    def __init__(self, port: int) -> None:
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.connect(("127.0.0.1", port))

    def say(self, datagram: bytes) -> float:
        """Send; returns when. A port that nobody listens on yet is no error here."""
        at_s = time.time()
        with contextlib.suppress(ConnectionRefusedError):
            self._sock.send(datagram)
        return at_s


HARMLESS_JUNK = (
    b"",
    b"junk",
    _ADDRESS + b",fff\0\0\0\0" + struct.pack(">ff", 1.0, 2.0),
    _ADDRESS + b",ff\0" + struct.pack(">ff", math.nan, math.inf),
    b"/nobody/knows\0\0\0,i\0\0" + struct.pack(">i", 1),
    bytes(9000),
)
"""Junk that python-osc's server survives, so that the peer can be measured under it too."""
JUNK = (
    *HARMLESS_JUNK,
    b"#bundle\0" + struct.pack(">Qi", 1, -4),
    b"#bundle\0" + struct.pack(">Qi", int(time.time() + 2208988800 + 3600) << 32, 4) + b"/x\0\0",
    b"/" + b"*" * 60 + b"z\0\0,\0\0\0",
)
"""With what hangs it (facts/protocols.md): an element of -4, a time tag in an hour, an address full of stars."""


def drive(
    osc_port: int, universe: int, seconds: float, rate_hz: float, speed: float, junk: float = 0.0,
    kinds: Sequence[bytes] = JUNK, hook: Callable[[float], None] | None = None, feed: bool = False,
) -> tuple[list[Packet], list[tuple[float, float]]]:  # fmt: skip
    """Walk the target along y = 0.5 m between x = -5 and 5 m; returns the packets and (when, x) of every input.

    `junk` is the share of datagrams that are junk, of these `kinds`, instead; `hook(now_s)` is called before every
    datagram. With `feed`, the feed is subscribed to at 30 Hz and read.
    """
    rng, ear, mouth = random.Random(7), Ear(universe), Mouth(osc_port)
    listener = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    listener.bind(("127.0.0.1", 0))
    listener.setblocking(False)
    subscribe = b"/feed/subscribe\0,if\0" + struct.pack(">if", listener.getsockname()[1], 30.0)
    packets: list[Packet] = []
    inputs: list[tuple[float, float]] = []
    start_s = time.time()
    for n in range(int(seconds * rate_hz)):
        if feed and n % int(rate_hz * 5) == 0:
            mouth.say(subscribe)
        while (left_s := start_s + n / rate_hz - time.time()) > 0:
            packets += ear.hear(left_s)
        if hook is not None:
            hook(start_s + n / rate_hz)
        if rng.random() < junk:
            mouth.say(rng.choice(kinds))
            continue
        along = (speed * n / rate_hz) % 20.0
        x = along - 5.0 if along < 10.0 else 15.0 - along
        inputs.append((mouth.say(position(x, 0.5)), x))
        if feed:
            _discard(listener)
    packets += ear.hear(0.1)
    ear.close()
    listener.close()
    return packets, inputs


def _discard(listener: socket.socket) -> None:
    try:
        while True:
            listener.recv(4096)
    except BlockingIOError:
        return
