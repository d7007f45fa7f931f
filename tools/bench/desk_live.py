"""The daemon beside a desk, live: from desk packet to overlaid packet, idle and loaded, and what the desk costs.

Everything is told from the kernel's stamps of both streams, the desk's and ours, which are heard in the same way.
"""

from __future__ import annotations

import random
import re
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from bench_rig import install, universes
from desk_mouth import DeskMouth, counted, look, start_desk
from ear import Ear, Packet, cpu_s, quantiles_ms
from latency import PERIOD_S, latency, start_bridge, stop, until_first_packet
from mouth import Mouth, position

HERE = Path(__file__).resolve().parent
APART = 100  # the desk's universes are that much above ours
TICK_S = 0.010
"""What arrives within this before a packet of ours may have come after its frame was begun."""
READ_S = 0.25


def show_beside(folder: Path, heads: int, universe: int, port: int, apart: int = APART) -> Path:
    """The bench's show with a desk under it on universes that much above ours."""
    install(folder, heads, universe, port)
    under = ", ".join(f"{ours}: {ours + apart}" for ours in universes(heads, universe))
    with (folder / "network.yaml").open("a") as network:
        network.write(f"desk: {{universes: {{{under}}}}}\n")
    return folder


# Idle


def idle(universe: int, osc_port: int | None, samples: int, seed: int = 1) -> dict[str, Any]:
    """One packet of a desk that stands still with another slot that is not ours: until it leaves, output idle before.

    As latency.latency: samples within a period after a keep-alive of ours wait for the rate limit, and are apart.
    """
    rng, ear, desk = random.Random(seed), Ear(universe), DeskMouth(range(universe + APART, universe + APART + 1))
    slots, before = look(seed), look(seed) + b"\0\0"
    at_once, waited, lost, last_s = [], [], 0, 0.0
    _settle(ear, desk, slots, osc_port)
    for number in range(1, samples + 1):
        _quiet(ear, desk, before)
        end_s = time.time() + rng.uniform(0.0, 0.05)
        while (left_s := end_s - time.time()) > 0:
            last_s = max([last_s, *(p.at_s for p in ear.hear(left_s))])
        before = slots + number.to_bytes(2, "big")
        sent_s = desk.send(before)
        shown_s = _shown(ear, number, sent_s + 1.0)
        if shown_s is None:
            lost += 1
        else:
            (at_once if sent_s - last_s >= PERIOD_S else waited).append(shown_s - sent_s)
            last_s = shown_s
    ear.close()
    desk.close()
    return {"samples": len(at_once), **quantiles_ms(at_once, 50, 99, 100), "unanswered": lost, "waited": len(waited)}


def _settle(ear: Ear, desk: DeskMouth, slots: bytes, osc_port: int | None) -> None:
    """Until the daemon sends, and its heads rest on the target."""
    mouth = None if osc_port is None else Mouth(osc_port)
    end_s, heard = time.time() + 20.0, False
    while time.time() < end_s:
        desk.send(slots + b"\0\0")
        if mouth is not None:
            mouth.say(position(0.0, 4.0))
        if ear.hear(0.02) and not heard:
            heard, end_s = True, time.time() + 4.0
    if not heard:
        raise RuntimeError("nothing is sent beside the desk within 20 s: is it heard?")


def _quiet(ear: Ear, desk: DeskMouth, slots: bytes, quiet_s: float = 0.15) -> None:
    """The desk stands still: it says the same a few times, until no packet of ours has changed for `quiet_s`."""
    since_s, before = time.time(), b""
    while time.time() - since_s < quiet_s:
        desk.send(slots)
        for packet in ear.hear(0.03):
            if packet.slots != before:
                before, since_s = packet.slots, time.time()


def _shown(ear: Ear, number: int, end_s: float) -> float | None:
    while (left_s := end_s - time.time()) > 0:
        for packet in ear.hear(left_s):
            if counted(packet.slots) == number:
                return packet.at_s
    return None


def idle_of(bridge: bool, universe: int, port: int, samples: int, scratch: Path) -> dict[str, Any]:
    """Of the daemon, with OSC to packet of the same process beside it, or of the peer."""
    log = scratch / "log-idle"
    if bridge:
        process = start_bridge(show_beside(scratch / "idle", 12, universe, port), log)
    else:
        words = ["--desk", str(universe + APART), "--universe", str(universe)]
        process = subprocess.Popen([sys.executable, str(HERE / "peer_desk.py"), *words])
    try:
        return idle(universe, port if bridge else None, samples)
    finally:
        stop(process)


def osc_alone(universe: int, port: int, samples: int, scratch: Path) -> dict[str, Any]:
    """The control: OSC to changed packet of a daemon without a desk."""
    log = scratch / "log-alone"
    process = start_bridge(install(scratch / "alone", 12, universe, port), log)
    try:
        return latency(port, universe, samples)
    finally:
        stop(process)


# Loaded


class Heard(NamedTuple):
    """What was heard by universe of ours: the desk's packets and ours; and the daemon's processor time meanwhile."""

    desk: dict[int, list[Packet]]
    ours: dict[int, list[Packet]]
    cpu_percent: float
    drops: int


def loaded(desk: bool, heads: int, universe: int, port: int, seconds: float, scratch: Path) -> Heard:
    """`heads` followed with a moving target at 100 Hz; with a desk under all of them, each slot of it changing."""
    folder, log = scratch / f"loaded-{desk}", scratch / f"log-loaded-{desk}"
    made = show_beside(folder, heads, universe, port) if desk else install(folder, heads, universe, port)
    sent = universes(heads, universe)
    helper = start_desk(universe + APART, len(sent)) if desk else None
    process, ears = start_bridge(made, log), {u: Ear(u) for u in sent}
    below = {u: Ear(u + APART) for u in sent} if desk else {}
    try:
        until_first_packet(ears[universe], timeout_s=60.0, log=log)
        _drive(port, 4.0, lambda: None)
        for one in (*ears.values(), *below.values()):
            one.hear()
        ours: dict[int, list[Packet]] = {u: [] for u in sent}
        desks: dict[int, list[Packet]] = {u: [] for u in sent}

        def read() -> None:
            for u in sent:
                desks[u] += below[u].hear() if desk else []
                ours[u] += ears[u].hear()

        dropped, before_s, start_s = drops_of(process.pid, APART), cpu_s(process.pid), time.time()
        _drive(port, seconds, read)
        share = (cpu_s(process.pid) - before_s) / (time.time() - start_s)
        read()
        return Heard(desks, ours, round(100 * share, 2), drops_of(process.pid, APART) - dropped)
    finally:
        for one in (*ears.values(), *below.values()):
            one.close()
        for started in (process, helper):
            if started is not None:
                stop(started)


def _drive(port: int, seconds: float, read: Callable[[], None], speed: float = 1.4) -> None:
    """Walk the target to and fro, 100 messages a second; `read` now and then."""
    mouth, start_s, next_s = Mouth(port), time.time(), 0.0
    for number in range(int(seconds * 100)):
        time.sleep(max(0.0, start_s + number / 100 - time.time()))
        along = (speed * number / 100) % 20.0
        mouth.say(position(along - 5.0 if along < 10.0 else 15.0 - along, 0.5))
        if time.time() >= next_s:
            next_s = time.time() + READ_S
            read()


def carried(heard: Heard) -> dict[str, Any]:
    """From each packet of the desk to ours that shows it or a newer one; how many frames left in between without it.

    `unseen` are the desk's packets of which nothing was ever shown although they were the last before a frame.
    """
    delays: list[float] = []
    begun: dict[int, float] = {}
    ended: dict[int, float] = {}
    passed, unseen, lost = 0, 0, 0
    for universe, packets in heard.desk.items():
        counts = np.unwrap([counted(p.slots) for p in packets], period=65536)
        at_s = np.array([p.at_s for p in packets])
        ours_s = np.array([p.at_s for p in heard.ours[universe]])
        shown = np.unwrap([counted(p.slots) for p in heard.ours[universe]], period=65536)
        shown += counts[0] - (counts[0] - shown[0] + 32768) // 65536 * 65536 - counts[0]
        within = (at_s > ours_s[0]) & (at_s < ours_s[-1] - 0.1)
        first = np.searchsorted(shown, counts, side="left")
        last = np.searchsorted(ours_s, at_s + TICK_S)
        delays += (ours_s[first[within]] - at_s[within]).tolist()
        passed += int(np.maximum(first - last, 0)[within].sum())
        follows = np.append(at_s[1:], np.inf)
        due = np.searchsorted(ours_s, follows) > last  # a frame left after it, before the next one came
        unseen += int((due & within & ~np.isin(counts, shown)).sum())
        lost += int((np.diff(counts) - 1).sum())
        for count, when_s in zip(counts.tolist(), at_s.tolist(), strict=True):
            begun[count], ended[count] = min(begun.get(count, when_s), when_s), max(ended.get(count, when_s), when_s)
    burst_s = [ended[count] - begun[count] for count in begun]
    return {
        "packets": sum(map(len, heard.desk.values())),
        **quantiles_ms(delays, 50, 99, 100),
        "frames_passed": passed,
        "unseen": unseen,
        "not_heard_by_the_bench": lost,
        "burst_ms": round(float(np.percentile(burst_s, 99)) * 1e3, 2),
    }


def spaced(heard: Heard) -> dict[str, Any]:
    """Our packets' spacing against 44 Hz over all universes, and those lost by sequence."""
    apart = [np.diff([p.at_s for p in packets]) for packets in heard.ours.values()]
    steps = [np.diff([p.sequence for p in packets]) % 256 - 1 for packets in heard.ours.values()]
    off = np.abs(np.concatenate(apart) - PERIOD_S)
    packets = sum(map(len, heard.ours.values()))
    return {"packets": packets, "lost": int(np.concatenate(steps).sum()), **quantiles_ms(off, 50, 99, 100)}


def drops_of(pid: int, apart: int) -> int:
    """Datagrams of a desk that the kernel threw away because this process did not read in time.

    Only of sockets on groups of desk universes: a filter that leaves out our own packets is counted as drops too.
    """
    links = []
    for file in Path(f"/proc/{pid}/fd").iterdir():
        try:
            links.append(re.fullmatch(r"socket:\[(\d+)\]", str(file.readlink())))
        except OSError:
            continue
    inodes = {found[1] for found in links if found}
    rows = [line.split() for line in Path("/proc/net/udp").read_text().splitlines()[1:]]
    return sum(int(row[-1]) for row in rows if row[9] in inodes and _universe(row[1]) % 1000 >= 150 + apart)


def _universe(local: str) -> int:
    """The universe of a multicast group as /proc/net/udp writes it, 0 of any other address."""
    octets = bytes.fromhex(local.partition(":")[0])[::-1]
    return octets[2] << 8 | octets[3] if octets[:2] == bytes((239, 255)) else 0
