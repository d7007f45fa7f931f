"""`check --live` as a process: a desk by another implementation, per-address priority, unicast, nodes, Ctrl-C."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from bridge.wire import e131
from tests.system.other_source import other_source

ROOT = Path(__file__).resolve().parents[2]
TOUR = ROOT / "configs" / "harbour-hall-tour"
CID = b"By hand, 16 oct."
DESK = "desk: {universes: {30171: 30172}, controls: [{slots: [30173.1], to: /dark, above: 127}]}\n"


@pytest.fixture
def show(tmp_path: Path) -> Path:
    """The tour on universe 30171, under it the desk's 30172; a node of this machine and one that nobody has."""
    folder = tmp_path / "show"
    shutil.copytree(TOUR, folder)
    rig, network = folder / "rig.yaml", folder / "network.yaml"
    rig.write_text(rig.read_text().replace("universe: 1\n", "universe: 30171\n"))
    network.write_text(network.read_text().replace("to: multicast", 'to: ["127.0.0.9", "203.0.113.9"]') + DESK)
    return folder


def start(show: Path, *words: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "bridge", "check", str(show), *words, "--state", str(show.parent / "state")],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "160"},
    )


def listens(universe: int) -> None:
    """Wait until a socket of this machine is bound to the group of a universe."""
    group = socket.inet_aton(e131.multicast_group(universe))[::-1].hex().upper()
    until_s = time.monotonic() + 30.0
    while f"{group}:{e131.PORT:04X}" not in Path("/proc/net/udp").read_text():
        assert time.monotonic() < until_s, "it does not listen"
        time.sleep(0.05)


def ended(process: subprocess.Popen[str], code: int = 0) -> str:
    out, err = process.communicate(timeout=60)
    assert process.returncode == code, err + out
    return out


def answer(show: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(ended(start(show, "--live", "3", "--json")))
    return found


def told(found: dict[str, Any], where: str) -> list[str]:
    return [f"{row['level']}: {row['what']}" for row in found["findings"] if row["where"] == where]


@contextmanager
def by_hand(universe: int, to: str | None = None) -> Iterator[None]:
    """Levels and per-address priorities of 130 at 25 Hz, from 127.0.0.1, until the end of the block."""
    levels = e131.DataPacket(CID, "By hand", 90, universe)
    done = threading.Event()

    def send() -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
            sequence = 0
            while not done.is_set():
                octets = levels.pack(bytes([130] * 512), sequence & 255)
                octets[125] = 0xDD if sequence % 25 == 0 else 0
                out.sendto(octets, (to or e131.multicast_group(universe), e131.PORT))
                sequence += 1
                done.wait(0.04)

    thread = threading.Thread(target=send)
    thread.start()
    try:
        yield
    finally:
        done.set()
        thread.join()


def test_it_says_who_sends_at_which_priority_and_rate_and_which_node_answers(show: Path) -> None:
    with other_source(30172, priority=100) as desk, by_hand(30171):
        desk.fps = 40
        done = threading.Event()

        def fade() -> None:
            level = 0
            while not done.wait(0.01):
                level = (level + 1) % 256
                desk[30172].dmx_data = (level,)

        thread = threading.Thread(target=fade)
        thread.start()
        try:
            found = answer(show)
        finally:
            done.set()
            thread.join()
    rows = {row["universe"]: row for row in found["heard"]}
    assert sorted(rows) == [30171, 30172]
    house, hand = rows[30172], rows[30171]
    assert (house["source"], house["host"], house["priority"]) == ("House desk", "127.0.0.1", 100)
    assert (house["per_address_priority"], house["highest"]) == (False, 100)
    assert (house["preview"], house["ended"], house["ours"]) == (False, False, False)
    assert house["rate_hz"] > 10, "the library sends each change, at most 40 a second"
    assert (hand["source"], hand["priority"]) == ("By hand", 90)
    assert (hand["per_address_priority"], hand["highest"]) == (True, 130)
    assert told(found, "universe 30172") == []
    assert told(found, "universe 30173") == ["warning: nobody sends it (controls), nothing was heard in 3 s"]
    (stranger,) = told(found, "universe 30171")
    assert stranger.startswith('warning: "By hand" from 127.0.0.1 sends at priority 130, ours is 110: nodes obey it')
    answers = {row["address"]: row["answers"] for row in found["nodes"]}
    if answers["127.0.0.9"] is None:
        pytest.skip("ICMP echo is not permitted here")
    assert answers == {"127.0.0.9": True, "203.0.113.9": False}
    assert told(found, "node 127.0.0.9") == []
    assert len(told(found, "node 203.0.113.9")) == 1


def test_unicast_to_this_machine_is_heard_where_nobody_else_has_it(show: Path) -> None:
    with by_hand(30172, to="127.0.0.1"):
        found = answer(show)
        assert [row["universe"] for row in found["heard"]] == [30172]
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            other.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            other.bind(("127.0.0.1", e131.PORT))
            other.settimeout(5.0)
            process = start(show, "--live", "3", "--json")
            until_s, count = time.monotonic() + 3.0, 0
            while time.monotonic() < until_s:
                count += len(other.recv(2048)) > 0
            found = json.loads(ended(process))
            assert count > 50, "the other still hears all 25 a second"
    assert found["heard"] == []
    assert any("unicast to 127.0.0.1 was not listened to" in text for text in told(found, "network.yaml"))


def test_it_sends_no_sacn_and_writes_nothing(show: Path) -> None:
    before = {path: path.stat().st_mtime_ns for path in show.rglob("*")}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as node:
        node.bind(("127.0.0.9", e131.PORT))
        node.setblocking(False)
        answer(show)
        with pytest.raises(BlockingIOError):
            node.recv(2048)
    assert {path: path.stat().st_mtime_ns for path in show.rglob("*")} == before
    assert not (show.parent / "state").exists()


def test_ctrl_c_ends_the_listening_and_tells_what_was_heard(show: Path) -> None:
    with other_source(30172, priority=100):
        process = start(show, "--live", "600")
        listens(30172)
        time.sleep(1.5)  # the library sends what stands once a second
        process.send_signal(signal.SIGINT)
        said = ended(process)
    assert "heard in" in said
    (row,) = [line for line in said.splitlines() if "House desk" in line]
    assert "127.0.0.1" in row
    assert "30172" in row
    assert "universe 30173: nobody sends it" in said


def test_an_interface_that_is_not_there_is_told_and_the_exit_code_is_3(show: Path) -> None:
    network = show / "network.yaml"
    network.write_text(network.read_text().replace("desk: {", "desk: {interface: 203.0.113.1, "))
    found = json.loads(ended(start(show, "--live", "2", "--json"), code=3))
    (error,) = found["errors"]
    assert "203.0.113.1" in error
    assert "no such address" in error
    network.write_text(network.read_text().replace("203.0.113.1", "nowhere0"))
    found = json.loads(ended(start(show, "--live", "2", "--json"), code=3))
    assert "desk: interface: found 'nowhere0'" in found["errors"][0]


def test_a_time_that_is_none_is_bad_usage(show: Path) -> None:
    found = json.loads(ended(start(show, "--live", "soon", "--json"), code=2))
    assert "found 'soon', allowed is a number from 2 to 3600" in found["errors"][0]
