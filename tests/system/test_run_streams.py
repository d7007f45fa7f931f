"""The real process on loopback: what is sent, when nothing is, how it ends, and what it survives."""

from __future__ import annotations

import contextlib
import itertools
import os
import random
import signal
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest
import sacn

from bridge.daemon.output import Output
from bridge.wire import e131, osc
from bridge.wire.settings import SacnSettings
from tests.system.daemon_process import ROOT, Daemon, Node, stage

PERIOD_S = 1 / 44
DIMMER = slice(7, 9)  # of bridge/profiles/spot-16bit.yaml at address 1


def test_armed_it_sends_512_slots_discovery_and_ends_dark_with_three_terminated_packets(tmp_path: Path) -> None:
    with stage(tmp_path, 30040, 30041) as (daemon, node):
        daemon.start("--armed")
        first = node.until(lambda packet: True)
        assert (len(first.slots), first.priority, first.source_name) == (512, 120, "System test")
        daemon.say("/target/lead/position", 0.0, 4.0)
        node.until(lambda packet: packet.universe == 30040 and any(packet.slots[DIMMER]))
        assert daemon.end() == 0
        node.hear(0.3)
        for universe in (30040, 30041):
            packets = node.of(universe)
            assert [packet.terminated for packet in packets[-4:]] == [False, True, True, True]
            assert not any(packets[-4].slots[DIMMER])
            assert [p.sequence for p in packets] == [(packets[0].sequence + n) % 256 for n in range(len(packets))]
            ends = node.times(universe)[-4:]
            assert min(b - a for a, b in itertools.pairwise(ends)) > 0.8 * PERIOD_S
        assert [page.universes for page in node.discoveries] == [(30040, 30041)]


def test_unarmed_it_sends_nothing_and_arm_begins_and_ends(tmp_path: Path) -> None:
    with stage(tmp_path, 30042, 30043) as (daemon, node):
        daemon.start().ready()
        daemon.say("/target/lead/position", 0.0, 4.0)
        assert node.hear(1.5) == []
        assert daemon.feed("/feed/bridge")[0] is False
        daemon.say("/arm", 1)
        node.until(lambda packet: packet.universe == 30042)
        assert daemon.feed("/feed/bridge")[0] is True
        daemon.say("/arm", 0)
        node.until(lambda packet: packet.terminated)
        node.hear(0.2)
        assert node.hear(1.2) == []
        assert daemon.end(signal.SIGINT) == 0


def test_heads_that_nobody_has_placed_yet_give_no_light_when_arming_finds_input_flowing(tmp_path: Path) -> None:
    """Where they stand is not known before the first packet: a lit one would sweep across the house."""
    with stage(tmp_path, 30046, 30047) as (daemon, node):
        daemon.start().ready()
        for _ in range(40):
            daemon.say("/target/lead/position", 0.0, 4.0)
            time.sleep(0.02)
        daemon.say("/arm", 1)
        node.until(lambda packet: packet.universe == 30046 and any(packet.slots[DIMMER]))
        lit_s = node.times(30046)[-1] - node.times(30046)[0]
        assert lit_s > 0.9
        daemon.end()


def test_arm_0_is_refused_while_anything_is_still(tmp_path: Path) -> None:
    with stage(tmp_path, 30044, 30045) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        daemon.say("/truss/t/still", 1)
        daemon.say("/arm", 0)
        daemon.wait_log("still: /arm 0 while something is still")
        assert daemon.feed("/feed/bridge")[0:3] == (True, False, True)
        assert not any(packet.terminated for packet in node.hear(0.3))
        assert daemon.end() == 0


def test_two_signals_end_it_as_cleanly_as_one(tmp_path: Path) -> None:
    with stage(tmp_path, 30046, 30047) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        assert daemon.process is not None
        daemon.process.send_signal(signal.SIGTERM)
        assert daemon.end(signal.SIGINT) == 0
        node.hear(0.3)
        assert sum(packet.terminated for packet in node.of(30046)) == 3
        assert "Traceback" not in daemon.log


def test_a_contested_universe_is_refused_and_arm_looks_again(tmp_path: Path) -> None:
    desk = Output(SacnSettings())
    foreign = e131.DataPacket(bytes(range(16)), "House desk", 100, 30049)

    def desk_sends(sequence: int, terminated: bool = False) -> None:
        desk.send(30049, foreign.pack(bytes(512), sequence % 256, terminated=terminated), 0.0)

    with stage(tmp_path, 30048, 30049) as (daemon, node):
        daemon.start("--armed")
        ours = (p for p in iter(lambda: node.hear(0.1), None))
        sequence = 0
        while not any(p.source_name == "System test" for p in next(ours)):
            sequence += 1
            desk_sends(sequence)
            assert sequence < 100, daemon.log
        daemon.wait_log('universe 30049 is NOT SENT: "House desk" at 127.0.0.1 (priority 100) already sends there')
        assert daemon.feed("/feed/bridge")[4:6] == (1, 1)
        assert {p.universe for _, p in node.packets if p.source_name == "System test"} == {30048}
        desk_sends(sequence + 1, terminated=True)
        time.sleep(0.3)
        daemon.say("/arm", 1)
        node.until(lambda p: p.universe == 30049 and p.source_name == "System test")
        desk_sends(sequence + 5)
        daemon.wait_log('universe 30049 is now also sent by "House desk"')
        assert daemon.end() == 0
    desk.close()


def test_with_nobody_reading_its_log_it_sends_and_ends_all_the_same(tmp_path: Path) -> None:
    with stage(tmp_path, 30088, 30089) as (daemon, node):
        read, write = os.pipe()
        os.set_blocking(write, False)
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(write, bytes(4096))
        os.set_blocking(write, True)
        command = [
            sys.executable,
            "-m",
            "bridge",
            "run",
            "--no-panel",
            str(daemon.show),
            "--state",
            str(daemon.state),
            "--armed",
        ]
        daemon.process = subprocess.Popen(command, cwd=ROOT, stderr=write, stdout=write)
        os.close(write)
        node.until(lambda p: p.universe == 30088)
        daemon.throw(b"junk that is refused with a line in the log")
        daemon.process.send_signal(signal.SIGTERM)
        node.until(lambda p: p.universe == 30088 and p.terminated)
        assert daemon.process.wait(10.0) == 0
        os.close(read)


def test_a_copy_of_this_machine_is_told_and_our_own_packets_are_not(tmp_path: Path) -> None:
    copy = Output(SacnSettings())
    with stage(tmp_path, 30086, 30087) as (daemon, node):
        daemon.start("--armed")
        cid = node.until(lambda p: p.universe == 30086).cid
        foreign = e131.DataPacket(cid, "System test", 120, 30087)
        for sequence in range(8):
            copy.send(30087, foreign.pack(bytes(512), sequence), 0.0)
            node.hear(0.15)
        daemon.wait_log(
            'universe 30087 is now also sent by "System test" at 127.0.0.1 (priority 120), under OUR identity'
        )
        assert daemon.log.count("OUR identity") == 1
        assert "universe 30086 is now also sent" not in daemon.log
        assert daemon.end() == 0
    copy.close()


def storm(rng: random.Random) -> list[bytes]:
    """Every trap of facts/protocols.md, random octets, and well-formed messages with unfit values."""
    traps = [
        b"#bundle\0" + bytes(7) + b"\1" + struct.pack(">i", -4),
        b"#bundle\0" + b"\xff" * 8 + struct.pack(">i", 12) + osc.encode("/dark", 1)[:12],
        b"/" + b"*" * 4000 + b"\0" * 4 + b",\0\0\0",
        b"/dark\0\0\0,f\0\0",
        b"/level\0\0,f\0\0" + struct.pack(">f", float("nan")),
        b"/level\0\0,f\0\0" + struct.pack(">f", float("inf")),
        b"/target/lead/position\0\0\0,xff\0\0\0\0" + bytes(8),
        b"\xff\xfe\0\0",
        b"",
        bytes(60000),
        osc.encode("/target/nobody/position", 1.0, 2.0),
        osc.encode("/target/lead/position", 1e30, 0.0),
        osc.encode("/level", 7.0),
        osc.encode("/arm", "x"),
        osc.encode("/feed/subscribe", -1, 1e9),
        osc.encode("/sight/a/record", "nowhere"),
        osc.encode("/target/lead\x7f/position"),
    ]
    return [rng.choice(traps) if rng.random() < 0.5 else rng.randbytes(rng.randrange(300)) for _ in range(20000)]


def test_a_storm_of_junk_changes_nothing_and_delays_nothing_for_long(tmp_path: Path) -> None:
    seed = 20260
    with stage(tmp_path, 30050, 30051) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        daemon.say("/target/lead/position", 0.0, 4.0)
        node.until(lambda packet: packet.universe == 30050 and any(packet.slots[DIMMER]))
        node.hear(1.0)
        before = node.of(30050)[-1].slots
        for number, datagram in enumerate(storm(random.Random(seed))):
            daemon.throw(datagram)
            if number % 200 == 0:
                daemon.say("/target/lead/alive")
                node.hear(0.005)
        assert daemon.feed("/feed/bridge")[7] > 1000, "the storm was counted"
        assert node.of(30050)[-1].slots == before
        daemon.say("/target/lead/position", 1.0, 4.0)
        node.until(lambda packet: packet.universe == 30050 and packet.slots != before)
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
        assert "Traceback" not in daemon.log
        lines = [line for line in daemon.log.splitlines() if "malformed" in line]
        assert 1 <= len(lines) < 60


def test_the_sacn_librarys_receiver_hears_us(tmp_path: Path) -> None:
    heard: list[tuple[int, int, int]] = []
    daemon = Daemon(tmp_path, 30052, 30053)
    receiver = sacn.sACNreceiver(bind_address="127.0.0.1")
    receiver.register_listener(
        "universe", lambda p: heard.append((p.universe, p.priority, len(p.dmxData))), universe=30052
    )
    receiver.start()
    try:
        receiver.join_multicast(30052)
        daemon.start("--armed")
        end_s = time.monotonic() + 10
        while not heard and time.monotonic() < end_s:
            time.sleep(0.05)
        assert heard
        assert heard[0] == (30052, 120, 512)
        assert daemon.end() == 0
    finally:
        receiver.stop()
        daemon.close()


@pytest.mark.parametrize(
    ("old", "new", "code", "words"),
    [
        ("interface: 127.0.0.1", "interface: 192.0.2.1", 3, "no such address"),
        ("127.0.0.1:", "192.0.2.1:", 3, "no such address"),
        ("priority: 120", "priority: 201", 2, "network.yaml:3"),
    ],
)
def test_what_cannot_start_says_why_and_sends_nothing(
    tmp_path: Path, old: str, new: str, code: int, words: str
) -> None:
    with stage(tmp_path, 30054, 30055) as (daemon, node):
        file = daemon.show / "network.yaml"
        file.write_text(file.read_text().replace(old, new))
        daemon.start("--armed")
        assert daemon.process is not None
        assert daemon.process.wait(15) == code
        assert words in daemon.log
        assert "Traceback" not in daemon.log
        assert node.hear(0.2) == []


def test_a_taken_port_and_a_running_show_are_told_apart(tmp_path: Path) -> None:
    with stage(tmp_path, 30056, 30057) as (daemon, _):
        daemon.start().ready()
        rival = Daemon(tmp_path / "other" if (tmp_path / "other").mkdir() is None else tmp_path, 30058, 30059)
        rival.show, rival.state = daemon.show, daemon.state
        rival.start()
        assert rival.process is not None
        assert rival.process.wait(15) == 2
        assert "already runs this show" in rival.log
        rival.state = tmp_path / "other" / "state"
        rival.start()
        assert rival.process.wait(15) == 3
        assert "another program holds this port" in rival.log
        rival.close()
        assert daemon.end() == 0


def test_unicast_goes_to_every_destination_named(tmp_path: Path) -> None:
    import socket

    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as one,
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as two,
    ):
        for sock in (one, two):
            sock.bind(("127.0.0.1", 0))
            sock.settimeout(10)
        ports = [sock.getsockname()[1] for sock in (one, two)]
        daemon = Daemon(tmp_path, 30060, 30061, to=f'["127.0.0.1:{ports[0]}", "127.0.0.1:{ports[1]}"]')
        node = Node(30060, 30061)
        try:
            daemon.start("--armed")
            for sock in (one, two):
                packet = e131.parse(sock.recv(2048))
                assert isinstance(packet, e131.Data)
                assert packet.universe in (30060, 30061)
            assert node.hear(0.3) == []
            assert [page.universes for page in node.discoveries] == [(30060, 30061)]
            assert daemon.end() == 0
        finally:
            daemon.close()
            node.close()
