"""A performer who never stops, as a process of its own: `/target/NAME/position` RATE times a second until it is ended.

With it a packet is due at every period, whatever hands do, so that periods tell of the daemon and not of the hand.
    python tools/bench/panel_walker.py OSC_PORT NAME
"""

from __future__ import annotations

import math
import socket
import struct
import sys
import time

RATE_HZ = 100.0


def main() -> None:
    """Walk an ellipse around the middle of the stage once in four seconds."""
    port, name = int(sys.argv[1]), sys.argv[2]
    address = f"/target/{name}/position".encode()
    head = address + b"\0" * (4 - len(address) % 4) + b",ff\0"
    start_s, said = time.monotonic(), 0
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        while True:
            angle = 2 * math.pi * (time.monotonic() - start_s) / 4
            sock.sendto(head + struct.pack(">ff", 3 * math.cos(angle), 4 + 2 * math.sin(angle)), ("127.0.0.1", port))
            said += 1
            time.sleep(max(0.0, start_s + said / RATE_HZ - time.monotonic()))


if __name__ == "__main__":
    main()
