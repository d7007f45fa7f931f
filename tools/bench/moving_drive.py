"""Live part of the figures for moving performers: what is seen of four performers goes to two daemons at once.

One daemon leads its heads and one does not; both hear the very same datagrams and run side by side. Where a performer
was seen is worked out at the moment of sending, so a bench that is late itself spoils nothing.
"""

from __future__ import annotations

import heapq
import os
import struct
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

import numpy as np
from ear import Ear, Packet, cpu_s
from latency import PERIOD_S, start_bridge, stop
from mouth import Mouth
from moving_rig import TARGETS, install, universes

READ_S = 0.25
WARM_S = 4.0


class Way(Protocol):
    """Where a performer is at a time, seconds from the start."""

    def at(self, t: float) -> tuple[float, float]: ...


@dataclass(frozen=True)
class Seen:
    """How performers are seen: `noise_m` per axis, `delay_s` old, up to `jitter_s` older, `loss` of them never."""

    name: str
    rate_hz: float = 60.0
    noise_m: float = 0.0
    delay_s: float = 0.0
    jitter_s: float = 0.0
    loss: float = 0.0
    strays: Mapping[str, tuple[tuple[float, float, float], ...]] = field(default_factory=dict)
    """By target: (after so many seconds, off by x, y metres) for one observation each."""


@dataclass(frozen=True)
class Driven:
    """What one daemon sent, by universe, by the kernel's time; and its share of a core meanwhile, percent."""

    folder: Path
    began_s: float
    packets: dict[int, list[Packet]]
    cpu_percent: float

    @property
    def late_ms(self) -> float:
        """By how much 5 % of its packets came later than 44 Hz asks: on a busy machine figures mean less."""
        gaps = np.concatenate(
            [np.diff([p.at_s for p in packets if p.at_s > self.began_s]) for packets in self.packets.values()]
        )
        return float(1e3 * max(np.percentile(gaps, 95) - PERIOD_S, 0.0))


def position(target: str, x: float, y: float) -> bytes:
    """`/target/TARGET/position` x y."""
    address = f"/target/{target}/position".encode()
    return address + bytes(4 - len(address) % 4) + b",ff\0" + struct.pack(">ff", x, y)


def observations(seen: Seen, target: str, seconds: float, seed: int) -> list[tuple[float, float, float, float]]:
    """(sent after s, how old then, off by x, y) in order of sending."""
    rng = np.random.default_rng([seed, TARGETS.index(target)])
    first, strays, found = rng.uniform(0, 1 / seen.rate_hz), list(seen.strays.get(target, ())), []
    for number in range(int(seconds * seen.rate_hz)):
        late, (dx, dy) = rng.uniform(0, 1) * seen.jitter_s, rng.normal(size=2) * seen.noise_m
        at = first + number / seen.rate_hz
        if strays and at >= strays[0][0]:
            _, off_x, off_y = strays.pop(0)
            dx, dy = dx + off_x, dy + off_y
        if rng.uniform() >= seen.loss:
            found.append((at + seen.delay_s + late, seen.delay_s + late, dx, dy))
    return sorted(found)


def go_first(*pids: int) -> None:
    """Before all other work of the machine (SCHED_FIFO; needs root)."""
    for pid in pids:
        for thread in Path(f"/proc/{pid}/task").iterdir():
            os.sched_setscheduler(int(thread.name), os.SCHED_FIFO, os.sched_param(1))


class Daemons:
    """Both, started and stopped together: `motions` by name are what their stage.yaml says of targets."""

    def __init__(self, scratch: Path, motions: Mapping[str, str], universe: int, port: int) -> None:
        self.folders: dict[str, Path] = {}
        self._universes: dict[str, tuple[int, ...]] = {}
        self._processes, self._mouths, self._ears = {}, [], {}
        for number, (name, motion) in enumerate(motions.items()):
            first = universe + 10 * number
            self.folders[name] = install(scratch / name, first, port + number, motion)
            self._universes[name] = universes(first)
            self._ears[name] = {u: Ear(u) for u in universes(first)}
            self._processes[name] = start_bridge(self.folders[name], scratch / f"log-{name}")
            self._mouths.append(Mouth(port + number))
        self._until_heard(scratch)

    def _until_heard(self, scratch: Path) -> None:
        end_s = time.time() + 20.0
        waiting = {(name, u) for name, heard in self._ears.items() for u in heard}
        while waiting:
            waiting -= {(name, u) for name, u in waiting if self._ears[name][u].hear(0.05)}
            if time.time() > end_s:
                name = min(waiting)[0]
                log = (scratch / f"log-{name}").read_text(errors="replace")[-2000:]
                raise RuntimeError(f"no packet of {sorted(waiting)} within 20 s; {name}:\n{log}")

    def drive(self, ways: Mapping[str, Way], seen: Seen, seconds: float, seed: int) -> tuple[float, dict[str, Driven]]:
        """Let the performers go their ways; returns when they began (CLOCK_REALTIME) and what each daemon sent."""
        plan = heapq.merge(*([(*one, name) for one in observations(seen, name, seconds, seed)] for name in ways))
        heard: dict[str, dict[int, list[Packet]]] = {n: {u: [] for u in us} for n, us in self._universes.items()}
        self._warm_up(ways, seen, seed)
        self._read(heard)
        before = {name: cpu_s(process.pid) for name, process in self._processes.items()}
        start_s = time.time()
        read_s = start_s + READ_S
        for due, old, dx, dy, name in plan:
            while (left_s := start_s + due - time.time()) > 0:
                time.sleep(left_s)
            x, y = ways[name].at(time.time() - start_s - old)
            self._say(position(name, x + dx, y + dy))
            if time.time() >= read_s:
                self._read(heard)
                read_s += READ_S
        took_s = time.time() - start_s
        spent = {name: cpu_s(process.pid) - before[name] for name, process in self._processes.items()}
        time.sleep(0.1)
        self._read(heard)
        driven = {n: Driven(self.folders[n], start_s, heard[n], 100 * spent[n] / took_s) for n in self.folders}
        return start_s, driven

    def go_first(self) -> None:
        """On a machine with other work: this process and the daemons before all of it (needs root)."""
        go_first(os.getpid(), *(process.pid for process in self._processes.values()))

    def _warm_up(self, ways: Mapping[str, Way], seen: Seen, seed: int) -> None:
        """Everybody stands where the way begins, seen as noisily as later, until all heads are there and lit."""
        rng, end_s = np.random.default_rng([seed, 9]), time.time() + WARM_S
        while time.time() < end_s:
            for name, way in ways.items():
                x, y = np.array(way.at(0.0)) + rng.normal(size=2) * seen.noise_m
                self._say(position(name, x, y))
            time.sleep(1 / seen.rate_hz)

    def _say(self, datagram: bytes) -> None:
        for mouth in self._mouths:
            mouth.say(datagram)

    def _read(self, heard: dict[str, dict[int, list[Packet]]]) -> None:
        for name, ears in self._ears.items():
            for universe, ear in ears.items():
                heard[name][universe] += ear.hear()

    def close(self) -> None:
        """End both."""
        for ears in self._ears.values():
            for ear in ears.values():
                ear.close()
        for process in self._processes.values():
            stop(process)
