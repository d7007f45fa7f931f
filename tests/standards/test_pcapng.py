"""The published layout of pcapng, octet by octet, and tshark and capinfos as independent readers of our captures.

Source of the layouts: IETF draft-ietf-opsawg-pcapng, sections 4.1 to 4.3 (from memory, quoted beside each check).
"""

from __future__ import annotations

import json
import struct
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from bridge.daemon.recorder import Recorder
from bridge.wire import capture, osc, pcapng
from bridge.wire.pcapng import Direction
from bridge.wire.stream import Streams

UNIVERSES = (1, 2, 63999)
WALL_US = 1_700_000_000_123_456  # 2023-11-14 22:13:20.123456 UTC
OSC_HERE, OSC_THERE = ("10.0.0.1", 9000), ("10.0.0.9", 50001)
SACN_HERE = ("10.0.0.1", 50000)
AS_JSON = ["-o", 'uat:user_dlts:"User 0 (DLT=147)","json","0","","0",""']
STATE = json.dumps({"state": {f"head-{n}": [0.5] * 40 for n in range(2000)}}).encode()


def options(octets: bytes) -> list[tuple[int, bytes]]:
    """3.5 Options: code (16 bits), length (16 bits) without padding, value padded to 32 bits; 0, 0 ends them."""
    found, at = [], 0
    while at < len(octets):
        code, length = struct.unpack_from("<HH", octets, at)
        found.append((code, octets[at + 4 : at + 4 + length]))
        padding = -length % 4
        assert octets[at + 4 + length : at + 4 + length + padding] == bytes(padding)
        at += 4 + length + padding
    assert at == len(octets)
    return found


@pytest.mark.parametrize("comment", ["", "a", "abcd", "seven !"])
def test_section_header_block(comment: str) -> None:
    """Type 0x0A0D0D0A, length, magic 0x1A2B3C4D, major 1, minor 0, section length -1 (not given), options, length."""
    octets = pcapng.section("tetherlight 1.2", comment)
    assert octets[:4] == b"\x0a\x0d\x0d\x0a"
    assert struct.unpack_from("<IIHHq", octets, 4) == (len(octets), 0x1A2B3C4D, 1, 0, -1)
    assert octets[8:12] == b"\x4d\x3c\x2b\x1a", "little-endian"
    assert len(octets) % 4 == 0
    assert octets[-4:] == octets[4:8]
    # shb_userappl is 4, opt_comment 1, opt_endofopt 0
    assert options(octets[24:-4]) == [(4, b"tetherlight 1.2"), (1, comment.encode()), (0, b"")]


@pytest.mark.parametrize("name", ["network", "x", "ü"])
def test_interface_description_block(name: str) -> None:
    """Type 1, length, link type (16 bits), reserved (16 bits, 0), snap length (0: no limit), options, length."""
    octets = pcapng.interface(101, name, "text")
    assert struct.unpack_from("<IIHHI", octets) == (1, len(octets), 101, 0, 0)
    assert len(octets) % 4 == 0
    assert octets[-4:] == octets[4:8]
    # if_name is 2, if_description 3, if_tsresol 9: one octet, its top bit clear, 10 to the minus 6
    assert options(octets[16:-4]) == [(2, name.encode()), (3, b"text"), (9, b"\x06"), (0, b"")]


@pytest.mark.parametrize("size", [0, 1, 2, 3, 4, 638])
@pytest.mark.parametrize("direction", Direction)
def test_enhanced_packet_block(size: int, direction: Direction) -> None:
    """Type 6, length, interface, time high, time low, captured and original length, data padded to 32 bits, options.

    The time is one 64-bit number of microseconds since 1970-01-01 UTC, upper half first. epb_flags is option 2, 32
    bits; its lowest two bits are the direction: 00 not known, 01 inbound, 10 outbound.
    """
    data = bytes(range(256)) * 3
    octets = pcapng.packet(3, WALL_US, data[:size], direction)
    high, low = WALL_US // 2**32, WALL_US % 2**32
    assert struct.unpack_from("<7I", octets) == (6, len(octets), 3, high, low, size, size)
    padded = size + -size % 4
    assert octets[28 : 28 + padded] == data[:size] + bytes(padded - size)
    assert len(octets) % 4 == 0
    assert octets[-4:] == octets[4:8]
    flags = {Direction.INBOUND: b"\1\0\0\0", Direction.OUTBOUND: b"\2\0\0\0"}
    expected = [] if direction is Direction.UNKNOWN else [(2, flags[direction]), (0, b"")]
    assert options(octets[28 + padded : -4]) == expected


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture as the recorder writes it: a long state, OSC in by IPv4 and IPv6, three universes out, events."""
    folder = tmp_path_factory.mktemp("captures")
    recorder = Recorder(folder, 14, 2000, lambda: WALL_US, pytest.fail, "show", "tetherlight 1.2")
    recorder.begin_file(1_000_000, [STATE])
    streams = Streams(UNIVERSES, bytes(range(16)), "Tetherlight ü", 110)
    rng = np.random.default_rng(3)
    for frame in range(10):
        at_us = 1_000_000 + frame * 25_000
        recorder.incoming(at_us, OSC_THERE, OSC_HERE, osc.encode("/target/lead/position", frame / 10, 2.0))
        recorder.incoming(at_us + 1, ("fe80::9", 50001), ("fe80::1", 9000), osc.encode("/target/lead/alive"))
        recorder.event(at_us + 2, b'{"tick": %d}' % frame)
        slots = rng.integers(0, 256, (3, 512), np.uint8)
        for universe, packet in streams.packets(slots, at_us / 1e6):
            group = f"239.255.{universe >> 8}.{universe & 255}"
            recorder.outgoing(at_us + 3, SACN_HERE, (group, 5568), packet)
    recorder.work()
    assert (recorder.kept, recorder.lost) == (60, 0)
    (path,) = folder.iterdir()
    return path


def tshark(path: Path, *words: str, fields: Sequence[str]) -> list[list[str]]:
    """The fields of each frame; whatever tshark finds wrong with the file fails the test."""
    command = ["tshark", "-r", str(path), "--enable-heuristic", "acn", "--enable-heuristic", "osc_udp"]
    command += ["-o", "acn.dmx_enable:TRUE", *words, "-T", "fields", "-E", "separator=|"]
    command += [word for field in fields for word in ("-e", field)]
    done = subprocess.run(command, capture_output=True, timeout=60, check=False, text=True)
    told = [line for line in done.stderr.splitlines() if "Running as user" not in line]
    assert (done.returncode, told) == (0, [])
    return [line.split("|") for line in done.stdout.splitlines()]


def test_tshark_lists_every_frame_with_its_time_direction_and_interface(recorded: Path) -> None:
    names = ["frame.time_epoch", "frame.interface_name", "frame.packet_flags_direction", "ip.src", "ipv6.src"]
    frames = tshark(recorded, fields=names)
    with recorded.open("rb") as file:
        parts = sum(isinstance(block, pcapng.Packet) for block in pcapng.read_blocks(file)) - 60
    assert parts > 2, "the state is longer than a packet may be"
    assert {(f[1], int(f[2] or "0", 0)) for f in frames[:parts]} == {("events", 0)}
    expected = []
    for frame in range(10):
        heard = [(0, "network", 1, OSC_THERE[0], ""), (1, "network", 1, "", "fe80::9"), (2, "events", 0, "", "")]
        sent = [(3, "network", 2, SACN_HERE[0], "")] * 3
        expected += [(WALL_US + frame * 25_000 + us, *others) for us, *others in heard + sent]
    seen = [(round(float(f[0].replace(".", "")[:16])), f[1], int(f[2] or "0", 0), f[3], f[4]) for f in frames[parts:]]
    assert seen == expected


def test_tshark_finds_nothing_malformed(recorded: Path) -> None:
    """Events are told to be JSON: without that, tshark warns of every frame of a link type that only users know."""
    words = [*AS_JSON, "-o", "ip.check_checksum:TRUE", "-o", "udp.check_checksum:TRUE"]
    assert tshark(recorded, *words, "-Y", "_ws.malformed or _ws.expert", fields=["frame.number", "_ws.expert"]) == []
    good = tshark(recorded, *words, "-Y", "udp", fields=["ip.checksum.status", "udp.checksum.status"])
    assert {tuple(g) for g in good} == {("1", "3"), ("", "1")}, "1 is good, 3 is left out, which IPv4 allows"


def test_tshark_decodes_the_sacn(recorded: Path) -> None:
    fields = ["acn.dmx.universe", "acn.dmx.seq_number", "acn.dmx.source_name", "udp.dstport", "ip.dst"]
    seen = tshark(recorded, "-Y", "acn", fields=fields)
    groups = ["239.255.0.1", "239.255.0.2", "239.255.249.255"]
    assert seen == [
        [str(universe), str(frame), "Tetherlight ü", "5568", group]
        for frame in range(10)
        for universe, group in zip(UNIVERSES, groups, strict=True)
    ]


def test_tshark_decodes_the_osc(recorded: Path) -> None:
    seen = tshark(recorded, "-Y", "osc", fields=["osc.message.header.path", "osc.message.float"])
    assert [path for path, _ in seen] == ["/target/lead/position", "/target/lead/alive"] * 10
    assert [[float(text) for text in texts.split(",")] for _, texts in seen[::2]] == [
        [pytest.approx(n / 10), 2.0] for n in range(10)
    ]


def test_tshark_shows_the_events_as_data_and_as_json(recorded: Path) -> None:
    plain = tshark(recorded, "-Y", 'frame.interface_name == "events"', fields=["data.data"])
    texts = [bytes.fromhex(p[0]) for p in plain]
    first = json.loads(texts[0])
    assert first == {
        "capture": 1,
        "wall_minus_clock_us": WALL_US - 1_000_000,
        "program": "tetherlight 1.2",
        "name": "show",
        "after": None,
    }
    assert "".join(json.loads(t)["text"] for t in texts[1:-10]).encode() == STATE
    assert texts[-10:] == [b'{"tick": %d}' % n for n in range(10)]
    seen = tshark(recorded, *AS_JSON, "-Y", 'json.key == "tick"', fields=["json.key", "json.value.number"])
    assert seen == [["tick", str(n)] for n in range(10)]


def test_capinfos_reads_the_heads_of_a_capture(recorded: Path) -> None:
    done = subprocess.run(["capinfos", "-M", str(recorded)], capture_output=True, timeout=60, check=True, text=True)
    for text in ("pcapng", "tetherlight 1.2", "Name = network", "Name = events", "Time precision = microseconds (6)"):
        assert text in done.stdout


def test_tshark_reads_what_a_crash_leaves(recorded: Path, tmp_path: Path) -> None:
    """All that is whole: the last packet lacks one octet."""
    cut = tmp_path / "cut.pcapng"
    cut.write_bytes(recorded.read_bytes()[:-1])
    done = subprocess.run(["tshark", "-r", str(cut)], capture_output=True, timeout=60, check=False, text=True)
    whole = subprocess.run(["tshark", "-r", str(recorded)], capture_output=True, timeout=60, check=True, text=True)
    assert len(done.stdout.splitlines()) == len(whole.stdout.splitlines()) - 1
    with cut.open("rb") as file:
        assert isinstance(list(capture.read(file))[-1], pcapng.Truncated)
