"""What a desk's packets cost: 18 universes at 44 Hz at the receiver, and through sockets into frames.

    python tools/bench/desk_receiver.py --seconds 10

Where every slot fades, each packet differs from the one before: the worst that a desk does. Figures are CPU seconds of
this process in percent of the desk's time, that is of a core; the live sender is a process of its own.
"""

from __future__ import annotations

import argparse
import json
import select
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from bridge.daemon.desk_ears import DeskEars
from bridge.wire.e131 import PORT, PRIORITIES, DataPacket, multicast_group
from bridge.wire.receiver import Receiver

UNIVERSES, RATE, STEPS, FIRST = 18, 44.0, 512, 30601
LO = "127.0.0.1"


def desk(unique: int, priority: int = 100, changing: bool = True, named: bool = False) -> list[list[bytes]]:
    """What is sent in each of STEPS steps: a packet a universe; `named`: twice a second per-address priorities too."""
    made = [DataPacket(bytes([unique]) * 16, "Desk", priority, FIRST + number) for number in range(UNIVERSES)]
    sequence, steps = 0, []
    for step in range(STEPS):
        sent = []
        for start_code in (PRIORITIES, 0) if named and step % 22 == 0 else (0,):
            sequence += 1
            level = 100 if start_code else step % 256 if changing else 7
            slots = bytes([level]) * 400 + bytes(112)
            for one in made:
                octets = bytearray(one.pack(slots, sequence % 256))
                octets[125] = start_code
                sent.append(bytes(octets))
        steps.append(sent)
    return steps


def pure(*desks: list[list[bytes]]) -> float:
    """Percent of a core: every packet taken, and its universe's frame made at once."""
    receiver, began_s = Receiver(range(FIRST, FIRST + UNIVERSES), sampling_s=0.0), time.process_time()
    for step in range(STEPS):
        now_s = step / RATE
        for sent in desks:
            for packet in sent[step]:
                receiver.take(packet, LO, now_s)
                for universe in receiver.changed(now_s):
                    receiver.frame(universe, now_s)
    return round(100 * (time.process_time() - began_s) / (STEPS / RATE), 2)


def send(seconds: float) -> None:
    """The desk: a round of packets 44 times a second, by multicast."""
    rounds = desk(7)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LO))
        began_s = time.monotonic()
        for step in range(int(seconds * RATE)):
            time.sleep(max(0.0, began_s + step / RATE - time.monotonic()))
            for number, packet in enumerate(rounds[step % 256]):
                out.sendto(packet, (multicast_group(FIRST + number), PORT))


def live(seconds: float) -> dict[str, Any]:
    """A process that does nothing but hear the desk, in the way of the daemon's loop."""
    ears = DeskEars(range(FIRST, FIRST + UNIVERSES), LO, bytes(16), time.monotonic)
    desk = subprocess.Popen([sys.executable, __file__, "--send", str(seconds)])
    frames, reads = 0, 0
    select.select([ears.fileno()], [], [], 20.0)
    began_s, cpu_s = time.monotonic(), time.process_time()
    while (left_s := began_s + seconds - time.monotonic()) > 0:
        wait_s = min(left_s, max(0.0, ears.due_s - time.monotonic()))
        select.select([ears.fileno()], [], [], wait_s)
        frames += len(ears.read(time.monotonic()))
        reads += 1
    spent_s = time.process_time() - cpu_s
    desk.wait()
    ears.read(time.monotonic())
    sent, heard = int(seconds * RATE) * UNIVERSES, ears.counters["taken"]
    ears.close()
    return {
        "percent_of_a_core": round(100 * spent_s / seconds, 2),
        "packets_sent": sent,
        "packets_lost": sent - heard,
        "frames_told": frames,
        "reads": reads,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--send", type=float, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.send:
        send(options.send)
        return
    found = {
        "percent_of_a_core_without_sockets": {
            "one desk, every slot fades": pure(desk(1)),
            "one desk, nothing changes": pure(desk(1, changing=False)),
            "one desk with per-address priorities, every slot fades": pure(desk(1, named=True)),
            "main and backup, every slot fades": pure(desk(1), desk(2, 90)),
            "two of one priority, every slot fades": pure(desk(1), desk(2)),
        },
        "live": live(options.seconds),
    }
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
