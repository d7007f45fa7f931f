"""The desk of the simulated venue on the network, heard by another implementation of E1.31 (the `sacn` library)."""

from __future__ import annotations

import json
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import sacn
from sacn.messages.data_packet import DataPacket

from bridge.show.load import load
from bridge.venue.desk_file import load_desk
from bridge.venue.desk_sender import DeskSender
from bridge.wire.e131 import multicast_group
from tests.system.test_venue_network import PROFILE, RIG, STAGE, TRUTH

LOOPBACK = "127.0.0.1"
CUES = """version: 1
name: {name}
priority: {priority}
looks: {{off: {{slots: {{{first}.7: 0, {second}.1: 9}}}}, on: {{slots: {{{first}.7: 200, {second}.1: 9}}}}}}
cues: [{{at: 0, look: off}}, {{at: 1, look: on, fade: 2}}]
"""


@contextmanager
def library(*universes: int) -> Iterator[list[tuple[float, DataPacket]]]:
    """Every packet on these universes whose levels are news to the library, with the time of it."""
    witness = sacn.sACNreceiver(bind_address="0.0.0.0")
    heard: list[tuple[float, DataPacket]] = []
    witness.start()
    own = witness._handler.socket._socket  # it joins on its bind address; on loopback it is joined by hand
    for universe in universes:
        request = struct.pack("4s4s", socket.inet_aton(multicast_group(universe)), socket.inet_aton(LOOPBACK))
        own.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
        witness.register_listener("universe", lambda p: heard.append((time.monotonic(), p)), universe=universe)
    try:
        yield heard
    finally:
        witness.stop()


def small_show(folder: Path) -> Path:
    folder.mkdir()
    for name, text in (("rig", RIG), ("p", PROFILE), ("stage", STAGE), ("truth", TRUTH)):
        (folder / f"{name}.yaml").write_text(text)
    return folder


def cues(file: Path, first: int, name: str = "Second desk", priority: int = 120) -> Path:
    file.write_text(CUES.format(name=name, priority=priority, first=first, second=first + 1))
    return file


def test_the_library_hears_the_fade(tmp_path: Path) -> None:
    show = load(small_show(tmp_path / "show"))
    desk = load_desk(cues(tmp_path / "cues.yaml", 30280), show)
    with library(30280, 30281) as heard:
        sender = DeskSender(desk, LOOPBACK)
        began = time.monotonic()
        while (now := time.monotonic()) < began + 3.6:
            sender.tick(now)
            time.sleep(0.005)
        sender.close()
        time.sleep(0.3)
    assert {(bytes(p.cid), p.sourceName, p.priority) for _, p in heard} == {(sender.cid, "Second desk", 120)}
    first = [(at_s - began, packet) for at_s, packet in heard if packet.universe == 30280]
    sequences = [packet.sequence for _, packet in first]
    assert sequences == sorted(set(sequences)), "in order, none twice"
    found = [packet.dmxData[6] for _, packet in first]
    assert found == sorted(found)
    assert (found[0], found[-1]) == (0, 200)
    # 100 a second from 1 s on; a quarter of a second for two threads on a busy machine
    late = [abs(packet.dmxData[6] - 100 * (at_s - 1)) for at_s, packet in first if 0 < packet.dmxData[6] < 200]
    assert max(late) < 25
    # 2 s at 44 packets a second are 88 levels; a machine that is busy with other things sends fewer
    assert 30 < len(set(found)) <= 90
    assert {packet.dmxData[0] for _, packet in heard if packet.universe == 30281} == {9}
    assert sender.summary()["failed"] == 0


def test_the_command_plays_two_desks_and_ends_them(tmp_path: Path) -> None:
    show = small_show(tmp_path / "show")
    files = [
        cues(tmp_path / "main.yaml", 30284, "Main desk", 110),
        cues(tmp_path / "backup.yaml", 30284, "Backup desk", 100),
    ]
    words = ["venue", str(show), "--no-view", "--json", "--seconds", "4", "--performer-port", "30284"]
    with listening(30284) as raw:
        done = subprocess.run(
            [sys.executable, "-m", "bridge", *words, "--desk", str(files[0]), "--desk", str(files[1])],
            capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        packets = [DataPacket.make_data_packet(tuple(octets)) for octets in drained(raw)]
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)["desks"]
    assert [(one["source"], one["priority"], one["universes"]) for one in told] == [
        ("Main desk", 110, [30284, 30285]),
        ("Backup desk", 100, [30284, 30285]),
    ]
    by_name = {name: [p for p in packets if p.sourceName == name] for name in ("Main desk", "Backup desk")}
    assert {p.priority for p in by_name["Main desk"]} == {110}
    assert {p.priority for p in by_name["Backup desk"]} == {100}
    assert len({bytes(p.cid) for p in packets}) == 2
    for sent in by_name.values():
        assert [p.option_StreamTerminated for p in sent[-3:]] == [True] * 3
        assert sum(p.option_StreamTerminated for p in sent) == 3
        assert {p.dmxData[6] for p in sent} >= {0, 200}


def test_the_command_names_what_is_wrong_in_the_cues(tmp_path: Path) -> None:
    file = cues(tmp_path / "cues.yaml", 30288)
    file.write_text(file.read_text().replace("fade: 2", "fade: soon"))
    words = ["venue", str(small_show(tmp_path / "show")), "--no-view", "--seconds", "1", "--desk", str(file)]
    done = subprocess.run(
        [sys.executable, "-m", "bridge", *words], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 2
    assert f"{file}:5: " in done.stderr
    assert "a number from 0 to 86400 seconds" in done.stderr


@contextmanager
def listening(universe: int) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one:
        one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        one.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        one.bind((multicast_group(universe), 5568))
        request = struct.pack("4s4s", socket.inet_aton(multicast_group(universe)), socket.inet_aton(LOOPBACK))
        one.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
        one.setblocking(False)
        yield one


def drained(one: socket.socket) -> list[bytes]:
    found = []
    while True:
        try:
            found.append(one.recv(2048))
        except BlockingIOError:
            return found
