"""`tetherlight venue --tracking` on a real network: several systems at once, heard by plain sockets and our readers."""

from __future__ import annotations

import json
import socket
import struct
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from bridge.wire import adm, otp, psn
from tests.system.test_venue_network import PROFILE, RIG, STAGE, TRUTH

LOOPBACK = "127.0.0.1"
WALK_S = 4.0


def ears(group: str | None, port: int) -> socket.socket:
    one = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    one.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    one.bind((group or LOOPBACK, port))
    if group:
        member = struct.pack("4s4s", socket.inet_aton(group), socket.inet_aton(LOOPBACK))
        one.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, member)
    one.setblocking(False)
    return one


@pytest.fixture
def small(tmp_path: Path) -> Path:
    for name, text in (("rig", RIG), ("p", PROFILE), ("stage", STAGE), ("truth", TRUTH)):
        (tmp_path / f"{name}.yaml").write_text(text)
    return tmp_path


def test_three_systems_follow_a_performer_who_is_told(small: Path) -> None:
    """A performer goes along x at 1 m/s; every system says where, in its own axes, as noisy and late as asked."""
    words = (
        "--no-view", "--seconds", "5", "--json", "--performer-port", "9271",
        "--tracking", "otp,system=7,point=2/5,velocity=on,noise=0.02,delay=0.05",
        "--tracking", "psn,to=236.10.10.10:9272,axes=x/z/y,point=9,loss=0.5",
        "--tracking", "adm-osc,to=127.0.0.1:9273,scale=20,point=3,rate=30",
    )  # fmt: skip
    places = {"otp": ears("239.159.1.7", otp.PORT), "psn": ears("236.10.10.10", 9272), "adm": ears(None, 9273)}
    readers = {"otp": otp.Reader(7), "psn": psn.Reader(), "adm": adm.Reader()}
    command = [sys.executable, "-m", "bridge", "venue", str(small), *words]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    found: dict[str, list[tuple[float, float, object]]] = {name: [] for name in places}
    began_s = 0.0
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as told:
        while process.poll() is None:
            now_s = time.monotonic()
            x = now_s - began_s - 2.0 if began_s else -2.0
            message = b"/performer\0\0,sff\0\0\0\0lead\0\0\0\0" + struct.pack(">ff", x, 3.0)
            told.sendto(message, (LOOPBACK, 9271))
            for name, one in places.items():
                while True:
                    try:
                        packet, (host, _) = one.recvfrom(2048)
                    except BlockingIOError:
                        break
                    began_s = began_s or now_s
                    found[name] += [(x, now_s, point) for point in readers[name].take(packet, host, now_s)]
            time.sleep(0.004)  # how often it is told, not a wait for something to happen
    out, err = process.communicate(timeout=10)
    for one in places.values():
        one.close()
    assert process.returncode == 0, err
    said = json.loads(out)["tracking"]
    assert [one["protocol"] for one in said] == ["otp", "psn", "adm-osc"]
    assert all(one["failed"] == 0 and one["packets"] > 50 for one in said)

    def walked(name: str) -> list[tuple[float, float, object]]:
        points = [one for one in found[name] if one[0] > -1.0]
        assert len(points) > 30
        return points

    lead = walked("otp")
    assert {point.name for _, _, point in lead} == {"2/5"}
    off = np.array([(point.place[1] - 3.0, point.place[2] - 1.3) for _, _, point in lead])
    assert off.std() == pytest.approx(0.02, rel=0.25)
    behind_s = np.median([x - point.place[0] for x, _, point in lead])
    assert 0.045 < behind_s < 0.1, "50 ms old by itself, and this test looks every 4 ms"
    # a step of the venue holds two or three of the places it is told: the mean is the speed, no single one
    assert np.mean([point.velocity[0] for _, _, point in lead]) == pytest.approx(1.0, abs=0.1)
    assert np.diff([point.sampled_us for _, _, point in lead]).min() == pytest.approx(1e6 / 60, abs=2)
    mirrored = walked("psn")
    assert {(point.name, round(point.place[2], 3), round(point.place[1], 3)) for *_, point in mirrored} == {
        ("9", 3.0, 1.3)
    }
    assert 0.3 < len(found["psn"]) / len(found["otp"]) < 0.7
    room = walked("adm")
    assert {(point.name, round(point.place[1], 4), round(point.place[2], 4)) for *_, point in room} == {
        ("3", 0.15, 0.065)
    }
    assert len(found["adm"]) / len(found["otp"]) == pytest.approx(0.5, abs=0.1)


def test_wrong_words_are_exit_2_before_anything_is_opened(small: Path) -> None:
    command = [sys.executable, "-m", "bridge", "venue", str(small), "--no-view", "--tracking", "otp,nose=2"]
    done = subprocess.run(command, capture_output=True, text=True, timeout=30)
    assert done.returncode == 2
    assert "'nose=2': expected KEY=VALUE, KEY one of noise" in done.stderr
