"""What a node may say about a stream: nothing lost, nothing too close, where a head points and how bright it is."""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable, Sequence

from bridge.wire import e131
from tests.system.daemon_process import Client, Daemon, Node

PERIOD_S = 1 / 44
JITTER_S = 0.004  # of the kernel's time of reception, on a machine that is busy with other tests
DEGREES = {"pan": 540.0, "tilt": 270.0}  # of bridge/profiles/spot-16bit.yaml over 16 bit
OFFSETS = {"pan": 0, "tilt": 2, "dimmer": 7}


def raw(packet: e131.Data, channel: str, address: int = 1) -> int:
    """The 16-bit value of a channel of a spot-16bit at an address."""
    at = address - 1 + OFFSETS[channel]
    return packet.slots[at] << 8 | packet.slots[at + 1]


def lit(packet: e131.Data, address: int = 1) -> bool:
    """Whether a spot-16bit at an address gives light."""
    return raw(packet, "dimmer", address) > 0


def moves_deg(packets: Sequence[e131.Data], address: int = 1) -> list[float]:
    """The largest step of pan or tilt, in degrees, from each packet to the next where both give light."""
    return [
        max(abs(raw(b, axis, address) - raw(a, axis, address)) * DEGREES[axis] / 65535 for axis in DEGREES)
        for a, b in itertools.pairwise(packets)
        if lit(a, address) and lit(b, address)
    ]


def assert_whole(node: Node, universe: int, period_s: float = PERIOD_S) -> None:
    """No packet of a stream is missing or doubled, and none came sooner than a period after the one before."""
    packets, times = node.of(universe), node.times(universe)
    assert packets, f"nothing was heard on {universe}"
    steps = [(b.sequence - a.sequence) % 256 for a, b in itertools.pairwise(packets)]
    assert set(steps) <= {1}, f"universe {universe}: sequence numbers step by {sorted(set(steps))}"
    closest_s = min((b - a for a, b in itertools.pairwise(times)), default=period_s)
    assert closest_s > period_s - JITTER_S, f"universe {universe}: two packets {closest_s * 1000:.1f} ms apart"


def follow(daemon: Daemon, node: Node, x: float = 1.0, y: float = 4.0) -> None:
    """Put the target there and wait until a head on each universe gives light on it and stands."""
    for universe, address in zip(node.universes[:2], (1, 101), strict=True):
        daemon.say("/target/lead/position", x, y)
        node.until(lambda p, u=universe, a=address: p.universe == u and raw(p, "dimmer", a) == 65535)  # type: ignore[misc]
    node.hear(0.5)


def armed_and_lit(daemon: Daemon, node: Node, *options: str) -> None:
    """Start it armed, and follow."""
    daemon.start("--armed", *options)
    node.until(lambda packet: True)
    follow(daemon, node)


def worst_ms(daemon: Daemon, node: Node, seconds: float, meanwhile: Callable[[int], None] = lambda step: None) -> float:
    """Follow a target that moves for so long: by how much a frame was late at most. `meanwhile`: at each step."""
    asking, step = Client(daemon.port), 0
    asking.say("/feed/subscribe", asking.udp_port, 1.0, "all")
    node.hear(1.2)  # the worst until now is forgotten when it was told
    asking.drop_old()
    end_s = time.monotonic() + seconds
    while time.monotonic() < end_s:
        meanwhile(step)
        step += 1
        daemon.say("/target/lead/position", 1.0 + step / 200, 4.0)
        node.hear(1 / 40)
        if step % 20 == 0:
            asking.say("/feed/subscribe", asking.udp_port, 1.0, "all")
    late = [float(message.args[1]) for message in asking.waiting() if message.address == "/feed/late"]
    asking.close()
    assert len(late) >= int(seconds) - 1, "it is told once a second"
    return max(late)
