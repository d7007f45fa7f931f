"""The venue on a real network: unicast and multicast, the sacn library beside it as a witness, and the command."""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sacn
from sacn.messages.data_packet import DataPacket

from bridge.errors import NetworkError
from bridge.venue.receiver import SacnReceiver, drain, open_sockets
from bridge.wire.e131 import multicast_group

LOOPBACK = "127.0.0.1"


def _packet(level: int, sequence: int, universe: int) -> bytes:
    data = DataPacket(
        cid=(3,) * 16, sourceName="tester", universe=universe, dmxData=(level,) * 512, priority=100, sequence=sequence
    )
    return bytes(data.getBytes())


def _sender() -> socket.socket:
    one = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LOOPBACK))
    one.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_LOOP, 1)
    return one


def _hear(
    receiver: SacnReceiver, sockets: list[socket.socket], universes: set[int], limit_s: float = 3.0
) -> dict[int, bytes]:
    heard: dict[int, bytes] = {}
    end = time.monotonic() + limit_s
    while universes - set(heard) and time.monotonic() < end:
        for one in select.select(sockets, [], [], 0.2)[0]:
            for datagram, sender in drain(one):
                found = receiver.take(datagram, sender, time.monotonic())
                if found:
                    heard[found[0]] = found[1]
    return heard


@pytest.fixture
def sender() -> Iterator[socket.socket]:
    with _sender() as one:
        yield one


@pytest.mark.parametrize("count", [1, 45])
def test_multicast_on_many_universes(sender: socket.socket, count: int) -> None:
    """45 universes need three sockets: Linux allows 20 memberships each."""
    universes = list(range(30240, 30240 + count))
    port = 9260
    sockets = open_sockets(universes, LOOPBACK, port)
    try:
        for universe in universes:
            sender.sendto(_packet(universe % 200 + 1, 1, universe), (multicast_group(universe), port))
        heard = _hear(SacnReceiver(universes), sockets, set(universes))
        assert heard == {u: bytes([u % 200 + 1]) * 512 for u in universes}
    finally:
        for one in sockets:
            one.close()


def test_unicast_and_multicast_both_arrive_beside_another_receiver(sender: socket.socket) -> None:
    """Port 5568 is shared with a node of the sacn library, which hears the multicast as well."""
    witness = sacn.sACNreceiver(bind_address="0.0.0.0")
    witness.start()
    sockets = open_sockets([30220, 30221], LOOPBACK)
    try:
        # the library joins on its bind address; join by hand on loopback so that both hear the same packets
        request = struct.pack("4s4s", socket.inet_aton(multicast_group(30220)), socket.inet_aton(LOOPBACK))
        library_socket = witness._handler.socket._socket
        library_socket.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
        seen: list[tuple[int, ...]] = []
        witness.register_listener("universe", lambda packet: seen.append(packet.dmxData), universe=30220)
        receiver = SacnReceiver([30220, 30221])
        heard: dict[int, bytes] = {}
        end = time.monotonic() + 5.0
        sequence = 0
        while time.monotonic() < end and not (seen and len(heard) == 2):
            sequence += 1
            sender.sendto(_packet(77, sequence, 30220), (multicast_group(30220), 5568))
            sender.sendto(_packet(88, sequence, 30221), (LOOPBACK, 5568))
            heard |= _hear(receiver, sockets, {30220, 30221}, 0.1)
        assert heard == {30220: bytes([77]) * 512, 30221: bytes([88]) * 512}
        assert bytes(seen[-1]) == heard[30220], "the library's receiver heard the same"
    finally:
        witness.stop()
        for one in sockets:
            one.close()


def test_an_interface_that_is_not_there_is_said() -> None:
    with pytest.raises(NetworkError, match=r"203\.0\.113\.7.*network\.yaml"):
        open_sockets([30222], "203.0.113.7")


RIG = """version: 1
name: small
fixtures:
  - {name: a, profile: p.yaml, universe: 30230, address: 1, at: [0, -5, 8]}
"""
PROFILE = """version: 1
name: tiny
footprint: 5
channels: {pan: [1, 2], tilt: [3, 4], dimmer: [5]}
pan: {from: -270, to: 270, speed: 180, acceleration: 600}
tilt: {from: -135, to: 135, speed: 150, acceleration: 500}
"""
STAGE = "version: 1\nperformance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]]}\n"
TRUTH = "version: 1\nfixtures:\n  a: {position: [0, -5, 8], rotation: [0, 0, 0, 1]}\n"


@pytest.fixture
def small(tmp_path: Path) -> Path:
    for name, text in (("rig", RIG), ("p", PROFILE), ("stage", STAGE), ("truth", TRUTH)):
        (tmp_path / f"{name}.yaml").write_text(text)
    return tmp_path


def _command(show: Path, *words: str) -> list[str]:
    return [sys.executable, "-m", "bridge", "venue", str(show), "--no-view", *words]


def test_the_command_measures_a_beam(small: Path, sender: socket.socket) -> None:
    """Pan 0, tilt 45 deg at 8 m over y = -5: the beam's axis passes 1.3 m over y = 1.7."""
    csv = small / "out.csv"
    words = ("--seconds", "4", "--json", "--performer-port", "9261", "--measure", str(csv))
    process = subprocess.Popen(_command(small, *words), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    slots = bytes([0x80, 0x00, 0xAA, 0xAB, 255]) + bytes(507)  # (45 + 135) / 270 = 2/3 of 65535 = 0xAAAA.8
    sequence = 0
    while process.poll() is None:
        sequence = (sequence + 1) % 256
        packet = _packet(0, sequence, 30230)[:126] + slots
        sender.sendto(packet, (multicast_group(30230), 5568))
        sender.sendto(b"not sacn", (multicast_group(30230), 5568))
        performer = b"/performer\0\0,sff\0\0\0\0lead\0\0\0\0" + struct.pack(">ff", 0.3, 1.7)
        sender.sendto(performer, (LOOPBACK, 9261))
        time.sleep(0.04)  # a sender's pace, not a wait for something to happen
    out, err = process.communicate(timeout=10)
    assert process.returncode == 0, err
    found = json.loads(out)
    assert found["fixtures"]["a"]["worst_m"] >= 0.299
    assert found["packets"]["taken"] > 20
    assert found["packets"]["malformed-length"] > 20
    assert "malformed packet from 127.0.0.1" in err
    last = csv.read_text().splitlines()[-1].split(",")
    assert float(last[17]) == pytest.approx(0.3, abs=0.002)


def test_it_ends_by_signal_with_a_summary(small: Path) -> None:
    process = subprocess.Popen(
        _command(small, "--performer-port", "9262"), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )  # fmt: skip
    assert process.stdout is not None
    lines = [process.stdout.readline(), process.stdout.readline()]
    assert "hearing universes 30230" in lines[1]
    time.sleep(0.3)  # the signal handler is set right after the line above
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=10)
    assert process.returncode == 0, err
    assert "never heard: universe 30230" in out


def test_a_truth_that_does_not_fit_is_exit_2(small: Path) -> None:
    (small / "truth.yaml").write_text(TRUTH.replace("  a:", "  b:"))
    done = subprocess.run(_command(small), capture_output=True, text=True, timeout=30)
    assert done.returncode == 2
    assert "no truth for a" in done.stderr
    assert "truth for b" in done.stderr


def test_invent_writes_a_truth_that_is_read_again(small: Path) -> None:
    file = small / "made.yaml"
    words = ("--seconds", "0.1", "--performer-port", "9263", "--json")
    for more in (("--invent", "5", "--truth", str(file)), ("--truth", str(file))):
        done = subprocess.run(_command(small, *words, *more), capture_output=True, text=True, timeout=30)
        assert done.returncode == 0, done.stderr
    assert "seed: 5" in file.read_text()
    assert json.loads(done.stdout)["truth"] == f"from {file}"


def test_the_network_may_be_named_by_its_interface(small: Path) -> None:
    network = small / "network.yaml"
    network.write_text('version: 1\nsacn: {interface: lo}\nosc: {listen: "lo:9264"}\n')
    words = ("--seconds", "0.1", "--performer-port", "9265")
    done = subprocess.run(_command(small, *words), capture_output=True, text=True, timeout=30)
    assert done.returncode == 0, done.stderr
    assert "hearing universes 30230 on 127.0.0.1" in done.stdout
    network.write_text("version: 1\nsacn: {interface: eth77}\n")
    done = subprocess.run(_command(small, *words), capture_output=True, text=True, timeout=30)
    assert done.returncode == 3
    assert "found 'eth77', which is no interface of this machine; allowed is an address or one of 127.0.0.1 (lo)" in (
        done.stderr
    )
