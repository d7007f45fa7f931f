"""When we die or stop over a desk on the same universe: how long until receivers show the desk again.

Two receivers: E1.31's rules by our own one, fed with the kernel's stamps, and the `sacn` library's, live.
"""

from __future__ import annotations

import signal
import subprocess
import threading
import time
from pathlib import Path
from typing import Any, NamedTuple

import sacn
from bench_rig import universes
from desk_live import show_beside
from desk_mouth import NAME, start_desk
from latency import PERIOD_S, start_bridge, stop
from mouth import Mouth, position

from bridge.wire.receiver import Receiver
from tests.system.daemon_process import Node

OURS = "Bench"


class Fall(NamedTuple):
    """Seconds from the signal, and from our last levels, to the desk; and how many packets of ours came in between."""

    from_signal_s: float
    from_last_s: float
    packets: int


class Library:
    """The library's receiver of one universe: who was shown last, and when that changed (time.time)."""

    def __init__(self, universe: int) -> None:
        self.shown: list[tuple[float, str]] = []
        self._receiver = sacn.sACNreceiver()
        self._receiver.start()
        self._receiver.register_listener("universe", self._heard, universe=universe)
        self._receiver.join_multicast(universe)
        self._lock = threading.Lock()

    def _heard(self, packet: sacn.DataPacket) -> None:
        with self._lock:
            if not self.shown or self.shown[-1][1] != packet.sourceName:
                self.shown.append((time.time(), packet.sourceName))

    def desk_after(self, at_s: float) -> float | None:
        """When the desk was shown first after this moment; None: it was not."""
        with self._lock:
            return next((when_s for when_s, name in self.shown if when_s > at_s and name == NAME), None)

    def close(self) -> None:
        """Listen no more."""
        self._receiver.stop()


def falls(number: signal.Signals, times: int, universe: int, port: int, scratch: Path) -> dict[str, Any]:
    """Signal the daemon so many times, each time while receivers show us; the desk goes on below."""
    helper, found, library = start_desk(universe, 1, still=3), list[Fall](), list[float]()
    try:
        for turn in range(times):
            fall, by_library = _once(number, universe, port, scratch / f"{number.name}-{turn}")
            found.append(fall)
            library += [] if by_library is None else [by_library]
    finally:
        stop(helper)
    return {
        "times": times,
        "from_signal_ms": _range([f.from_signal_s for f in found]),
        "frames": round(max(f.from_signal_s for f in found) / PERIOD_S, 2),
        "from_our_last_levels_ms": _range([f.from_last_s for f in found]),
        "our_packets_meanwhile": max(f.packets for f in found),
        "library_ms": _range(library) if library else f"not shown in {times} of {times}",
    }


def _range(values_s: list[float]) -> str:
    low, high = (1e3 * value for value in (min(values_s), max(values_s)))
    return f"{low:.0f} to {high:.0f} ms" if high >= 100 else f"{low:.1f} to {high:.1f} ms"


def _once(number: signal.Signals, universe: int, port: int, scratch: Path) -> tuple[Fall, float | None]:
    assert universes(12, universe) == [universe]
    log = Path(f"{scratch}.log")
    process, node = start_bridge(show_beside(scratch, 12, universe, port, apart=0), log), Node(universe)
    library, mouth = Library(universe), Mouth(port)
    try:
        node.until(lambda p: p.source_name == OURS, 20.0)
        _follow(node, mouth, 3.0)
        at_s = time.time()
        process.send_signal(number)
        node.hear(4.0)
        shown_s = library.desk_after(at_s)
        return _judge(node, universe, at_s), None if shown_s is None else shown_s - at_s
    finally:
        library.close()
        node.close()
        _end(process)


def _follow(node: Node, mouth: Mouth, seconds: float) -> None:
    """A target that moves, so that we send at the full rate."""
    start_s = time.time()
    while (gone_s := time.time() - start_s) < seconds:
        mouth.say(position(gone_s, 4.0))
        node.hear(0.03)


def _judge(node: Node, universe: int, at_s: float) -> Fall:
    """By the standard's rules, evaluated at every packet and at every moment at which time alone changes something."""
    receiver, ours_s, packets = Receiver([universe], sampling_s=0.0), 0.0, 0
    for when_s, packet in node.packets:
        while receiver.next_due_s < when_s:
            due_s = receiver.next_due_s
            if _shows_desk(receiver, universe, due_s) and due_s > at_s:
                return Fall(due_s - at_s, due_s - ours_s, packets)
        receiver.take(packet, packet.source_name, when_s)
        if packet.source_name == OURS:
            packets += when_s > at_s
            ours_s = ours_s if packet.terminated else when_s
        if when_s > at_s and _shows_desk(receiver, universe, when_s):
            return Fall(when_s - at_s, when_s - ours_s, packets)
    raise RuntimeError(f"the desk was not shown within {node.packets[-1][0] - at_s:.1f} s of the signal")


def _shows_desk(receiver: Receiver, universe: int, now_s: float) -> bool:
    frame = receiver.frame(universe, now_s)
    return frame is not None and frame.alive and frame.source == NAME


def _end(process: subprocess.Popen[bytes]) -> None:
    if process.poll() is None:
        stop(process)
