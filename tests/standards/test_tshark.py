"""tshark (4.0 and later) as an independent decoder of what we send, in virtual time and from the running daemon.

tshark 4.0 decodes E1.31 data packets, but neither synchronisation nor discovery (facts/protocols.md).
"""

from __future__ import annotations

import os
import shutil
import signal
import socket
import struct
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from bridge.wire import e131, osc
from bridge.wire.stream import Streams

pytestmark = pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")

CID = bytes(range(16))
UNIVERSE = 30101 + os.getpid() % 40  # so that two runs of the tests on one machine do not hear each other
NO_LINK = 101  # LINKTYPE_RAW: the packet begins with its IPv4 header (www.tcpdump.org/linktypes.html)


@dataclass
class Seen:
    """One data packet as tshark reads it."""

    source_name: str
    priority: int
    universe: int
    sequence: int
    terminated: bool
    cid: str
    slots: bytes
    start_code: int


def free_port() -> int:
    """A UDP port that nobody uses now."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind(("127.0.0.1", 0))
        return int(sock.getsockname()[1])


def datagram(universe: int, payload: bytes) -> bytes:
    """IPv4 and UDP headers round an E1.31 packet (RFC 791, RFC 768; checksums left at 0: not checked)."""
    udp = struct.pack(">HHHH", 50000, e131.PORT, 8 + len(payload), 0) + payload
    group = socket.inet_aton(f"239.255.{universe >> 8}.{universe & 255}")
    ends = socket.inet_aton("127.0.0.1") + group
    return struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(udp), 0, 0, 16, 17, 0) + ends + udp


def write_capture(path: Path, packets: list[tuple[int, bytes]]) -> None:
    """A capture file in the classic pcap format, version 2.4."""
    with path.open("wb") as file:
        file.write(struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, NO_LINK))
        for n, (universe, payload) in enumerate(packets):
            octets = datagram(universe, payload)
            file.write(struct.pack("<IIII", n, 0, len(octets), len(octets)) + octets)


def decoded(path: Path) -> list[Seen]:
    words = ["tshark", "-r", str(path), "--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE", "-T", "pdml"]
    done = subprocess.run(words, capture_output=True, timeout=60, check=True)
    return [_seen(packet) for packet in ET.fromstring(done.stdout).iter("packet")]


def _seen(packet: ET.Element) -> Seen:
    fields: dict[str, ET.Element] = {}
    for field in packet.iter("field"):
        fields.setdefault(field.get("name", ""), field)
    show = {name: field.get("show", "") for name, field in fields.items()}
    slots = fields["acn.dmx.data"]
    assert slots.get("size") == str(len(slots.get("value", "")) // 2)
    return Seen(
        show["acn.dmx.source_name"],
        int(show["acn.dmx.priority"]),
        int(show["acn.dmx.universe"]),
        int(show["acn.dmx.seq_number"]),
        show["acn.dmx.option_s"] == "1",
        show["acn.cid"],
        bytes.fromhex(slots.get("value", "")),
        int(show["acn.dmx.start_code2"]),
    )


def test_a_run_in_virtual_time_as_tshark_reads_it(tmp_path: Path) -> None:
    out = Streams([UNIVERSE, 63999], CID, "Tetherlight ü", 110)
    slots, packets, sent = np.zeros((2, 512), np.uint8), [], []
    rng = np.random.default_rng(5)
    for frame in range(30):
        slots[:] = rng.integers(0, 256, slots.shape)
        now = [(u, bytes(p)) for u, p in out.packets(slots, frame / 44)]
        packets += now
        sent += [(UNIVERSE, slots[0].tobytes()), (63999, slots[1].tobytes())]
    packets += [(u, bytes(p)) for u, p in out.terminate(slots, 1.0)]
    write_capture(tmp_path / "run.pcap", packets)
    seen = decoded(tmp_path / "run.pcap")

    assert len(seen) == len(packets) == 66
    assert {s.source_name for s in seen} == {"Tetherlight ü"}
    assert {s.priority for s in seen} == {110}
    assert {s.cid for s in seen} == {"00010203-0405-0607-0809-0a0b0c0d0e0f"}
    assert [(s.universe, s.slots) for s in seen[:60]] == sent
    assert {s.start_code for s in seen} == {0}
    for universe in (UNIVERSE, 63999):
        mine = [s for s in seen if s.universe == universe]
        assert [s.sequence for s in mine] == list(range(33))
        assert [s.terminated for s in mine] == [False] * 30 + [True] * 3


def test_priorities_by_slot_as_tshark_reads_them(tmp_path: Path) -> None:
    """Start code 0xDD before the levels of its universe, one sequence over both kinds."""
    out, rng = Streams([UNIVERSE, 63999], CID, "Tetherlight", 0), np.random.default_rng(6)
    (slots, priorities), packets = np.zeros((2, 2, 512), np.uint8), []
    for frame in range(120):
        slots[:] = rng.integers(0, 256, slots.shape)
        if frame == 10:  # of the second universe alone
            priorities[1, :100] = rng.integers(0, 201, 100)
        packets += [(u, bytes(p)) for u, p in out.packets(slots, frame / 44, priorities)]
    write_capture(tmp_path / "by_slot.pcap", packets)
    seen = decoded(tmp_path / "by_slot.pcap")

    first = [(UNIVERSE, 0xDD), (UNIVERSE, 0), (63999, 0xDD), (63999, 0)]
    changed = [(UNIVERSE, 0), (63999, 0xDD), (63999, 0)]
    codes = [(s.universe, s.start_code) for s in seen]
    assert codes[:16] == first * 4, "with the three repeats of the first levels"
    assert codes[16:28] == [(UNIVERSE, 0), (63999, 0)] * 6
    assert codes[28:40] == changed * 4
    for row, universe in enumerate((UNIVERSE, 63999)):
        mine = [s for s in seen if s.universe == universe]
        assert sum(s.start_code == 0 for s in mine) == 120
        assert [s.sequence for s in mine] == list(range(len(mine)))
        assert [s.slots for s in mine if s.start_code == 0xDD][-1] == priorities[row].tobytes()
        assert {s.priority for s in mine} == {0}


SHOW = {
    "rig.yaml": f"""version: 1
name: one head
fixtures:
  - {{name: foh-1, profile: profiles/plain.yaml, universe: {UNIVERSE}, address: 101, at: [0, -8, 8]}}
""",
    "profiles/plain.yaml": """version: 1
name: plain head
footprint: 6
channels: {pan: [1, 2], tilt: [3, 4], dimmer: [5]}
fixed: {6: 77}
pan: {from: -270, to: 270, speed: 180, acceleration: 600}
tilt: {from: -135, to: 135, speed: 150, acceleration: 500}
dimmer: {curve: linear}
min_distance: 1.0
lag: 0.1
""",
    "stage.yaml": """version: 1
performance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0], margin: 0.15}
targets: {lead: {height: 0.0, size: 2.0, source: osc}}
""",
    "network.yaml": """version: 1
osc: {listen: "127.0.0.1:OSC_PORT", allow: ["127.0.0.0/8"]}
sacn: {interface: 127.0.0.1, to: multicast, priority: 123, source_name: Captured, rate: 44, contested: send}
""",
    "poses.yaml": """version: 1
fixtures:
  foh-1: {position: [0, -8, 8], rotation: [0, 0, 0, 1]}
""",
}


def listen() -> socket.socket:
    """Bound to the group itself, so that no other universe and no other receiver's datagrams are taken."""
    sock = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    group = e131.multicast_group(UNIVERSE)
    sock.bind((group, e131.PORT))
    member = socket.inet_aton(group) + socket.inet_aton("127.0.0.1")
    sock.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)
    sock.settimeout(15)
    return sock


def arrived(captured: list[tuple[int, bytes]]) -> bool:
    """Full light, and two packets alike: the head is no longer on its way."""
    return len(captured) > 2 and captured[-1][1][126 + 104] == 255 and captured[-1][1][126:] == captured[-2][1][126:]


def test_the_running_daemon_as_tshark_reads_it(tmp_path: Path) -> None:
    """Armed, a target under 45 degrees, stopped: universe, priority, sequence, slots and three terminated packets."""
    show, osc_port = tmp_path / "show", free_port()
    for name, text in SHOW.items():
        (show / name).parent.mkdir(parents=True, exist_ok=True)
        (show / name).write_text(text.replace("OSC_PORT", str(osc_port)))
    words = [
        sys.executable,
        "-m",
        "bridge",
        "run",
        "--no-panel",
        str(show),
        "--armed",
        "--state",
        str(tmp_path / "state"),
    ]
    captured: list[tuple[int, bytes]] = []
    with listen() as sock, socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        daemon = subprocess.Popen(words, cwd=Path(__file__).parents[2], env={**os.environ, "OMP_NUM_THREADS": "1"})
        try:
            captured.append((UNIVERSE, sock.recv(2048)))
            give_up_s = time.monotonic() + 30.0
            while not arrived(captured) and time.monotonic() < give_up_s:
                # y = 0, z = 0 lies 8 m before and 8 m below the head
                sender.sendto(osc.encode("/target/lead/position", 0.0, 0.0, 0.0), ("127.0.0.1", osc_port))
                captured.append((UNIVERSE, sock.recv(2048)))
            daemon.send_signal(signal.SIGTERM)
            while not captured[-1][1][112] & 0x40 or sum(p[112] & 0x40 == 0x40 for _, p in captured) < 3:
                captured.append((UNIVERSE, sock.recv(2048)))
            assert daemon.wait(15) == 0
        finally:
            daemon.kill()
            daemon.wait()
    write_capture(tmp_path / "daemon.pcap", captured)
    seen = decoded(tmp_path / "daemon.pcap")

    assert {(s.source_name, s.priority, s.universe, len(s.slots)) for s in seen} == {("Captured", 123, UNIVERSE, 512)}
    assert [s.sequence for s in seen] == [(seen[0].sequence + n) % 256 for n in range(len(seen))]
    assert [s.terminated for s in seen[-4:]] == [False, True, True, True]
    assert seen[-4].slots[104] == 0, "dark before the streams end"
    lit = max(seen, key=lambda s: s.slots[104])
    settled = [s for s in seen if s.slots[104] == lit.slots[104]][-1]
    assert settled.slots[104] == 255
    pan, tilt = (int.from_bytes(settled.slots[at : at + 2], "big") for at in (100, 102))
    assert (pan - 32767.5, tilt) == (pytest.approx(0, abs=1.5), pytest.approx((45 + 135) / 270 * 65535, abs=1.5))
    assert settled.slots[105] == 77, "the profile's fixed value"
    assert not any(settled.slots[:100] + settled.slots[106:]), "slots that no fixture owns are 0"
