"""A desk for the bench: E1.31 packets by hand, all universes in a burst 44 times a second, as a process of its own.

    python tools/bench/desk_mouth.py --first 30250 --universes 18 --seconds 20 [--still SEED]

The last two slots of a universe count its packets (`counted`), so that whoever hears a packet knows which one it saw.
"""

from __future__ import annotations

import argparse
import random
import socket
import struct
import subprocess
import sys
import time

RATE, PORT, SLOTS = 44.0, 5568, 512
NAME = "Bench desk"
_HEAD = struct.Struct(">HH12sHI16sHI64sBHBBHHBBHHH")


def packet(universe: int, sequence: int, slots: bytes, priority: int = 100, unique: int = 7, options: int = 0) -> bytes:
    """A data packet of E1.31 (7 of the standard, from memory) with 513 property values."""
    flagged = 0x7000
    head = _HEAD.pack(
        *(16, 0, b"ASC-E1.17\0\0\0", flagged | 622, 4, bytes([unique]) * 16, flagged | 600, 2),
        *(NAME.encode(), priority, 0, sequence & 255, options, universe),
        *(flagged | 523, 2, 0xA1, 0, 1, 513),
    )
    return head + b"\0" + slots


def counted(slots: bytes) -> int:
    """Which packet these slots were first in, of 65,536."""
    return slots[510] << 8 | slots[511]


def look(seed: int) -> bytes:
    """510 slots of a desk that stands still: any values, but full light of every head of the bench's rig."""
    slots = bytearray(random.Random(seed).randbytes(510))
    for head in range(30):
        slots[head * 17 + 4 : head * 17 + 6] = b"\xff\xff"
    return bytes(slots)


class DeskMouth:
    """Sends packets of some universes by multicast on loopback."""

    def __init__(self, universes: range, priority: int = 100, unique: int = 7) -> None:
        self.universes, self._priority, self._unique, self._sequence = universes, priority, unique, 0
        self._sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))

    def send(self, slots: bytes) -> float:
        """A packet on each universe; returns when the first left."""
        self._sequence += 1
        at_s = time.time()
        for universe in self.universes:
            octets = packet(universe, self._sequence, slots, self._priority, self._unique)
            self._sock.sendto(octets, (f"239.255.{universe >> 8}.{universe & 255}", PORT))
        return at_s

    def close(self) -> None:
        """No more."""
        self._sock.close()


def start_desk(first: int, universes: int = 1, seconds: float = 3600.0, still: int = -1) -> subprocess.Popen[bytes]:
    """The desk as a process; without `still` every slot of every packet differs from the one before."""
    words = ["--first", str(first), "--universes", str(universes), "--seconds", str(seconds), "--still", str(still)]
    return subprocess.Popen([sys.executable, __file__, *words])


def main() -> None:
    """Send until the time is over."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--first", type=int, required=True)
    parser.add_argument("--universes", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=3600.0)
    parser.add_argument("--still", type=int, default=-1)
    args = parser.parse_args()
    mouth = DeskMouth(range(args.first, args.first + args.universes))
    looks = [look(args.still)] if args.still >= 0 else [bytes([n]) * 510 for n in range(256)]
    began_s = time.monotonic()
    for number in range(int(args.seconds * RATE)):
        time.sleep(max(0.0, began_s + number / RATE - time.monotonic()))
        count = b"\0\0" if args.still >= 0 else struct.pack(">H", number & 65535)
        mouth.send(looks[number % len(looks)] + count)


if __name__ == "__main__":
    main()
