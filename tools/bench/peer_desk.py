"""The peer beside a desk: the sacn library's receiver and sender put together, with twelve heads laid over the desk's.

What a programmer writes in an afternoon: a listener on the desk's universe that assigns the slots with ours over them,
and the library's thread that sends 44 times a second. Needs a host whose route of multicast is loopback.
"""

from __future__ import annotations

import argparse
import signal

import numpy as np
import sacn
from bench_rig import FOOTPRINT, TARGET_Z
from peer import HEADS, slots

OURS = 10  # slots of a head that are ours: pan, tilt, dimmer, zoom and focus


def main() -> None:
    """Serve until a signal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--desk", type=int, required=True)
    parser.add_argument("--universe", type=int, required=True)
    args = parser.parse_args()
    mine = [head * FOOTPRINT + offset for head in range(HEADS) for offset in range(OURS)]
    ours = np.array(slots(np.array([0.0, 4.0, TARGET_Z])))[mine]
    sender = sacn.sACNsender(bind_address="127.0.0.1", source_name="peer", fps=44)
    sender.start()
    sender.activate_output(args.universe)
    sender[args.universe].multicast = True
    receiver = sacn.sACNreceiver()
    receiver.start()

    def heard(packet: sacn.DataPacket) -> None:
        levels = np.array(packet.dmxData)
        levels[mine] = ours
        sender[args.universe].dmx_data = tuple(levels.tolist())

    receiver.register_listener("universe", heard, universe=args.desk)
    receiver.join_multicast(args.desk)
    signal.sigwait({signal.SIGTERM, signal.SIGINT})
    receiver.stop()
    sender.stop()


if __name__ == "__main__":
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM, signal.SIGINT})
    main()
