"""The peer of the live figures: the plain composition of python-osc's threading server and sacn's sender thread.

What a programmer writes in an afternoon: a handler that computes twelve heads in numpy and assigns the slots, and the
library's thread that sends 44 times a second. No limits, areas, motion or safety: only the same geometry and patch.
Run as a process of its own:  python tools/bench/peer.py --osc-port 30150 --universe 30150
"""

from __future__ import annotations

import argparse
import signal
import threading

import numpy as np
import sacn
from bench_rig import FIXED, FOOTPRINT, PAN_FROM, PAN_TO, TARGET_Z, TILT_FROM, TILT_TO, patch, place
from pythonosc.dispatcher import Dispatcher
from pythonosc.osc_server import ThreadingOSCUDPServer

HEADS = 12
PLACES = np.array([place(head) for head in range(HEADS)])


def raw16(degrees: np.ndarray, start: float, end: float) -> np.ndarray:
    """Degrees to 16 bits, linear from `start` at 0 to `end` at 65535 (conventions.md)."""
    return np.clip(np.rint((degrees - start) / (end - start) * 65535), 0, 65535).astype(int)


def slots(target: np.ndarray) -> tuple[int, ...]:
    """512 slots that put all level heads on the target: d = Rz(pan) Rx(tilt) (0, 0, -1), face 1."""
    d = target - PLACES
    distance = np.linalg.norm(d, axis=1)
    pan = np.degrees(np.arctan2(-d[:, 0], d[:, 1]))
    tilt = np.degrees(np.arccos(-d[:, 2] / distance))
    zoom = np.degrees(2 * np.arctan(1.0 / distance))
    values = (
        raw16(pan, PAN_FROM, PAN_TO),
        raw16(tilt, TILT_FROM, TILT_TO),
        np.full(HEADS, 65535),
        raw16(zoom, 55.0, 5.0),
        np.interp(1 / distance, [1 / 20, 1 / 8, 1 / 3], [12000, 31000, 60000]).astype(int),
    )
    out = np.zeros((HEADS, FOOTPRINT), int)
    for n, value in enumerate(values):
        out[:, 2 * n], out[:, 2 * n + 1] = value >> 8, value & 255
    for offset, value in FIXED.items():
        out[:, offset - 1] = value
    whole = np.zeros(512, int)
    first = patch(0, 1)[1] - 1
    whole[first : first + HEADS * FOOTPRINT] = out.ravel()
    return tuple(whole.tolist())


def main() -> None:
    """Serve until a signal."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--osc-port", type=int, default=30150)
    parser.add_argument("--universe", type=int, default=30150)
    args = parser.parse_args()
    sender = sacn.sACNsender(bind_address="127.0.0.1", source_name="peer", fps=44)
    sender.start()
    sender.activate_output(args.universe)
    sender[args.universe].multicast = True
    sender[args.universe].dmx_data = slots(np.array([0.0, 4.0, TARGET_Z]))

    def position(_address: str, x: float, y: float, z: float = TARGET_Z) -> None:
        sender[args.universe].dmx_data = slots(np.array([x, y, z]))

    dispatcher = Dispatcher()
    dispatcher.map("/target/lead/position", position)
    server = ThreadingOSCUDPServer(("127.0.0.1", args.osc_port), dispatcher)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    signal.sigwait({signal.SIGTERM, signal.SIGINT})
    sender.stop()


if __name__ == "__main__":
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM, signal.SIGINT})
    main()
