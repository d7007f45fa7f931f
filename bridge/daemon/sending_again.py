"""`tetherlight replay --live`: what a capture says was sent, sent again in real time."""

from __future__ import annotations

import contextlib
import signal
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path

from bridge.daemon.interfaces import resolve_address
from bridge.daemon.output import open_sender
from bridge.errors import InputError
from bridge.wire import capture, e131
from bridge.wire.capture import Datagram
from bridge.wire.udp import Address

LONGEST_WAIT_S = 10.0
"""Between two packets: what was a pause between two captures is not sat out."""


def sent(files: list[Path]) -> Iterator[Datagram]:
    """Every datagram of sACN that left, in order."""
    for file in files:
        with file.open("rb") as opened:
            for entry in capture.read(opened):
                if isinstance(entry, Datagram) and not entry.inbound and entry.destination[1] == e131.PORT:
                    yield entry


def send_again(files: list[Path], interface: str | None) -> int:
    """Send until all is sent or somebody ends it. Heads that hear it move and light up without warning."""
    address = resolve_address(interface or "127.0.0.1")
    sock = open_sender(address)
    print(f"SENDING AGAIN on {address}: heads that hear it move and light up. Ctrl-C ends it.", file=sys.stderr)
    count, last = 0, dict[int, tuple[bytes, Address]]()
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with contextlib.suppress(KeyboardInterrupt):
            for entry in _in_time(files):
                count += 1
                if (universe := _universe(entry.payload)) is not None:
                    last[universe] = (entry.payload, entry.destination)
                with contextlib.suppress(OSError):
                    sock.sendto(entry.payload, entry.destination)
        for payload, destination in last.values():
            _end(sock, payload, destination)
    finally:
        signal.signal(signal.SIGTERM, before)
        sock.close()
    if not count:
        raise InputError("the captures hold no packet that was sent")
    print(f"{count} packets sent again")
    return 0


def _universe(payload: bytes) -> int | None:
    """Of a packet of data; None for synchronisation and discovery, which no receiver waits for."""
    try:
        packet = e131.parse(payload)
    except e131.E131Error:
        return None
    return packet.universe if isinstance(packet, e131.Data) else None


def _in_time(files: list[Path]) -> Iterator[Datagram]:
    started_s, first_s, waited_s, previous_s = time.monotonic(), None, 0.0, 0.0
    for entry in sent(files):
        at_s = entry.at_us / 1e6
        if first_s is None:
            first_s = previous_s = at_s
        if at_s - previous_s > LONGEST_WAIT_S or at_s < previous_s:
            first_s += at_s - previous_s  # a pause, or another boot of the machine
        previous_s = at_s
        waited_s = started_s + (at_s - first_s) - time.monotonic()
        if waited_s > 0:
            time.sleep(waited_s)
        yield entry


def _end(sock: socket.socket, payload: bytes, destination: Address) -> None:
    """Receivers are told that it is over: three terminated packets, numbered on from the last."""
    packet = bytearray(payload)
    for step in range(1, 4):
        packet[111], packet[112] = (payload[111] + step) % 256, packet[112] | 0x40
        with contextlib.suppress(OSError):
            sock.sendto(packet, destination)
