"""Heads that change hands while they are lit, live: is light ever sent while a head is off its goal?

The packets that leave are fed to the venue's heads (their motors, lag and dead time by the profile), in the time of
the kernel's stamps. A head is off its goal where its beam passes the performer by more than OFF_M and its angles are
more than OFF_DEG from the desk's. The control feeds the same heads with a bare switch between both at full light.
"""

from __future__ import annotations

import random
import time
from pathlib import Path
from typing import Any

import numpy as np
from desk_live import APART, show_beside
from desk_mouth import look, start_desk
from ear import Ear, Packet
from latency import PERIOD_S, start_bridge, stop, until_first_packet
from mouth import Mouth, position

from bridge.show import load
from bridge.venue.kinematics import Hangs
from bridge.venue.truth import truth_from_poses
from bridge.venue.virtual_heads import VirtualHeads
from bridge.wire import osc

HEADS, SEED = 12, 5
OFF_M, OFF_DEG = 0.4, 1.5
POINT = (1.0, 4.0, 1.3)
FADE_S = 0.2  # the shorter one of the stage's, by default
FINER = 2  # steps of the simulation a frame
PAN_TILT, DIMMER, FOOTPRINT = slice(0, 4), slice(4, 6), 17
Asked = tuple[float, int, bool]


def hands(seconds: float, universe: int, port: int, scratch: Path) -> dict[str, Any]:
    """Give heads to the desk and take them back at any moment for so long, also in the midst of a change."""
    folder, log = show_beside(scratch / "hands", HEADS, universe, port), scratch / "log-hands"
    helper, ear, mouth = start_desk(universe + APART, 1, still=SEED), Ear(universe), Mouth(port)
    process = start_bridge(folder, log)
    try:
        until_first_packet(ear, timeout_s=20.0, log=log)
        packets, _ = _play(ear, mouth, 5.0, None)
        before = packets[-1].slots
        packets = packets[-1:]
        more, asked = _play(ear, mouth, seconds, random.Random(SEED))
        packets += more
        mouth.say(osc.encode("/desk", 0))
        packets += _play(ear, mouth, 8.0, None)[0]
    finally:
        ear.close()
        stop(process)
        stop(helper)
    off, lit = _watch(folder, packets)
    switched = _bare_switch(packets, asked, before)
    return {
        "changes": len(asked),
        "lit_frames": lit,
        "off": off,
        "bare_switch_off": _watch(folder, switched)[0],
        "most_of_a_fade_step": _steepest(packets),
        "back": bool(_dimmers(packets[-1].slots).min() > 0.99),
    }


def _play(ear: Ear, mouth: Mouth, seconds: float, rng: random.Random | None) -> tuple[list[Packet], list[Asked]]:
    """Hold the target where it is; with dice, heads change hands at any moment."""
    packets: list[Packet] = []
    asked: list[Asked] = []
    start_s = time.time()
    next_s = start_s + 0.5
    while time.time() < start_s + seconds:
        mouth.say(position(*POINT[:2]))
        if rng is not None and time.time() >= next_s:
            next_s = time.time() + rng.choice((0.03, 0.1, 0.3, 1.0, 2.0))
            head, theirs = rng.randrange(HEADS), rng.random() < 0.5
            asked.append((mouth.say(osc.encode(f"/fixture/h-{head}/desk", int(theirs))), head, theirs))
        packets += ear.hear(0.05)
    return packets, asked


def _watch(folder: Path, packets: list[Packet]) -> tuple[int, int]:
    """Frames of heads that are lit off their goal, and that are lit at all."""
    show = load(folder)
    truth = truth_from_poses(show)
    assert truth is not None
    ordered = truth.ordered(show)
    heads, hangs = VirtualHeads(show.fixtures, ordered), Hangs.of(ordered)
    universe = show.fixtures[0].universe
    desk = _desk_angles()
    off, lit, waiting = 0, 0, list(reversed(packets))
    for step in range(int((packets[-1].at_s - packets[0].at_s) * FINER / PERIOD_S)):
        now_s = packets[0].at_s + step * PERIOD_S / FINER
        while waiting and waiting[-1].at_s <= now_s:
            slots = waiting.pop().slots
            heads.hear(universe, slots)
        heads.step(PERIOD_S / FINER)
        if step % FINER:
            continue
        state, light = heads.state(), _dimmers(slots)
        start, ray = hangs.beam(state.pan_rad, state.tilt_rad)
        miss_m = np.linalg.norm(np.cross(np.array(POINT) - start, ray), axis=1)
        angles = np.degrees([state.pan_rad, state.tilt_rad])
        astray = (miss_m > OFF_M) & (np.abs(angles - desk).max(axis=0) > OFF_DEG)
        off += int((astray & (light > 0)).sum())
        lit += int((light > 0).sum())
    return off, lit


def _desk_angles() -> np.ndarray:
    """Where the desk has the heads, degrees (2, n); read from its slots by the bench's own numbers of the profile."""
    slots = np.frombuffer(look(SEED), np.uint8).reshape(-1, FOOTPRINT)[:HEADS].astype(float)
    share = np.array([slots[:, 0] * 256 + slots[:, 1], slots[:, 2] * 256 + slots[:, 3]]) / 65535
    return np.array([[-270.0], [-135.0]]) + np.array([[540.0], [270.0]]) * share


def _dimmers(slots: bytes) -> np.ndarray:
    """Light sent to every head, 0..1."""
    rows = np.frombuffer(slots[: HEADS * FOOTPRINT], np.uint8).reshape(HEADS, FOOTPRINT).astype(float)
    light: np.ndarray = (rows[:, 4] * 256 + rows[:, 5]) / 65535
    return light


def _steepest(packets: list[Packet]) -> float:
    """The largest step of a head's light from packet to packet, in steps of the shorter fade over the same time."""
    light = np.array([_dimmers(packet.slots) for packet in packets])
    apart_s = np.maximum(np.diff([packet.at_s for packet in packets]), PERIOD_S)
    steps = np.abs(np.diff(light, axis=0)).max(axis=1) * FADE_S / apart_s
    return round(float(steps.max()), 2)


def _bare_switch(packets: list[Packet], asked: list[Asked], followed: bytes) -> list[Packet]:
    """What would have been sent if a change of hands were nothing but other slots."""
    slots, out, waiting = bytearray(followed), [], list(reversed(asked))
    desk = look(SEED)
    for number in range(int((packets[-1].at_s - packets[0].at_s) / PERIOD_S)):
        now_s = packets[0].at_s + number * PERIOD_S
        while waiting and waiting[-1][0] <= now_s:
            _, head, theirs = waiting.pop()
            first = head * FOOTPRINT
            for part in (PAN_TILT, DIMMER):
                where = slice(first + part.start, first + part.stop)
                slots[where] = (desk if theirs else followed)[where]
        out.append(Packet(now_s, number & 255, bytes(slots), False))
    return out
