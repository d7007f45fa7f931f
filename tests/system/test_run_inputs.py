"""The real daemon and its tracking inputs: one that fails costs itself alone, and no flood makes a frame late."""

from __future__ import annotations

import json
import math
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from bridge.wire.osc import Argument
from tests.made_inputs import GROUP, SYSTEM, Sender, a_free_port, network_text
from tests.system.daemon_process import ROOT, Daemon, stage
from tests.system.wire_checks import PERIOD_S, armed_and_lit, assert_whole, lit, worst_ms

FRAMES = "version: 1\nframes: {tags: {origin: [1, 2, 0]}}\n"
SECONDS, RATE = 3.0, 10_000
TRIES = 3
"""A machine that is busy with other tests may hold us up by itself, but not in every flood."""
FLOOD = """
import random, socket, sys, time
from bridge.wire import adm, otp, otp_send, psn
rng, seconds, rate = random.Random(7), float(sys.argv[1]) + 2.0, int(sys.argv[2])
system, group, port = int(sys.argv[3]), sys.argv[4], int(sys.argv[5])
out = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
packets = []
for n in range(3000):
    number, place = rng.randrange(1, 1000), tuple(rng.uniform(-5, 5) for _ in range(3))
    sent = [otp_send.Sent(1 + number % 5, number, place)]
    good, to = [
        (otp_send.transform(rng.randbytes(16), "x", system, n, n, sent)[0], (otp.transform_group(system), otp.PORT)),
        (psn.data([psn.Tracker(number, place)], n, n % 256)[0], (group, 56565)),
        (adm.position(number, 0.1, 0.2), ("127.0.0.1", port)),
    ][n % 3]
    junk = bytearray(good)
    for _ in range(rng.randrange(1, 9)):
        junk[rng.randrange(len(junk))] = rng.randrange(256)
    packets.append(((good, bytes(junk), rng.randbytes(rng.randrange(700)))[n // 3 % 3], to))
began_s, sent = time.monotonic(), 0
while (passed_s := time.monotonic() - began_s) < seconds:
    for _ in range(int(passed_s * rate) - sent):
        out.sendto(*packets[sent % 3000])
        sent += 1
    time.sleep(0.001)
"""


def with_inputs(daemon: Daemon, port: int) -> None:
    """Three inputs in its show; a tag steers the target, and has a frame."""
    network = daemon.show / "network.yaml"
    network.write_text(network.read_text() + network_text(port))
    daemon.edit("stage.yaml", "marks:", "targets: {lead: {source: {input: tags, point: 1/7}}}\nmarks:")
    (daemon.show / "frames.yaml").write_text(FRAMES)


def told(daemon: Daemon, name: str, points: int = 1) -> tuple[Argument, ...]:
    """The row of an input, once it has so many points and a rate."""
    return daemon.event(
        "/feed/input", lambda args: args[0] == name and args[2] == points and (not points or float(args[3]) > 0)
    )


def test_every_input_is_heard_and_told_and_another_program_may_listen_too(tmp_path: Path) -> None:
    port = a_free_port()
    with stage(tmp_path, 30410, 30411) as (daemon, _), Sender(port):
        with_inputs(daemon, port)
        daemon.start().ready()
        tags, tracked, sound = (told(daemon, name) for name in ("tags", "stage", "sound"))
        assert (tags[1], *tags[6:]) == ("otp", 1, "1/7", "", 0)
        assert (tracked[1], *tracked[6:]) == ("psn", 0, "", "", 0)
        assert (sound[1], *sound[6:]) == ("adm-osc", 0, "", "", 0)
        for row in (tags, tracked, sound):
            assert 30.0 < float(row[3]) < 55.0
            assert 0.0 <= float(row[5]) < 500.0
        listen = [sys.executable, "-m", "bridge", "listen"]
        beside = subprocess.run(
            [*listen, "tags", daemon.show, "--seconds", "1.5", "--json"], capture_output=True, text=True, cwd=ROOT
        )
        assert json.loads(beside.stdout)["points"][0]["point"] == "1/7"
        held = subprocess.run([*listen, "sound", daemon.show], capture_output=True, text=True, cwd=ROOT)
        assert (held.returncode, "is `tetherlight run` running?" in held.stderr) == (3, True)
        assert daemon.end() == 0
        assert "packets of input tags until now: " in daemon.log


def test_a_tag_steers_also_through_a_show_that_is_read_again_and_it_replays(tmp_path: Path) -> None:
    port = a_free_port()
    with stage(tmp_path, 30416, 30417) as (daemon, node), Sender(port) as sender:
        with_inputs(daemon, port)
        daemon.start("--armed", "--record", str(tmp_path / "captures"))
        node.until(lambda p: p.universe == 30416 and lit(p))
        assert daemon.event("/feed/target", lambda args: abs(float(args[1]) - 4.0) < 0.01)[2] == pytest.approx(
            3.0, abs=0.01
        )
        sender.place = (1.0, 1.0, 1.5)
        daemon.event("/feed/target", lambda args: abs(float(args[1]) - 2.0) < 0.01)
        daemon.edit("stage.yaml", "[6, 8], [-6, 8]]", "[6, 9], [-6, 9]]")
        daemon.edit("network.yaml", GROUP[0], "236.10.12.1")
        daemon.say("/reload")
        assert daemon.event("/feed/reload", lambda args: args[0] != "started")[0] == "done", daemon.log
        assert "packets of input stage until now: " in daemon.log
        assert "packets of input tags until now: " not in daemon.log
        sender.place = (2.0, 1.0, 1.5)
        daemon.event("/feed/target", lambda args: abs(float(args[1]) - 3.0) < 0.01)
        told(daemon, "stage", points=0)
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
        captures = [str(file) for file in sorted((tmp_path / "captures").glob("*.pcapng"))]
        words = [sys.executable, "-m", "bridge", "replay", *captures, "--show", str(daemon.show), "--json"]
        done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT)
        assert done.returncode == 0, done.stdout + done.stderr


def test_a_port_that_is_taken_costs_that_input_and_is_taken_up_when_it_is_free(tmp_path: Path) -> None:
    with stage(tmp_path, 30412, 30413) as (daemon, node):
        holder = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        holder.bind(("127.0.0.1", 0))
        port = holder.getsockname()[1]
        with_inputs(daemon, port)
        with Sender(port):
            armed_and_lit(daemon, node)
            daemon.wait_log("input sound is not heard: cannot listen on")
            assert told(daemon, "tags")[2] == 1
            assert told(daemon, "sound", points=0)[5] == -1.0
            holder.close()
            told(daemon, "sound")
        assert daemon.end() == 0
        assert daemon.log.count("input sound is not heard") == 1
        assert_whole(node, 30412)


def test_no_flood_of_junk_and_of_made_up_points_makes_a_frame_late(tmp_path: Path) -> None:
    port = a_free_port()
    with stage(tmp_path, 30414, 30415) as (daemon, node):
        with_inputs(daemon, port)
        armed_and_lit(daemon, node)
        words = [str(word) for word in (SECONDS, RATE, SYSTEM, GROUP[0], port)]
        calm_ms = worst_ms(daemon, node, SECONDS)
        late_ms = [math.inf]
        while late_ms[-1] > calm_ms + PERIOD_S * 1000 and len(late_ms) <= TRIES:
            flood = subprocess.Popen([sys.executable, "-c", FLOOD, *words], cwd=ROOT)
            late_ms.append(worst_ms(daemon, node, SECONDS))
            assert flood.wait(10.0) == 0
        assert late_ms[-1] <= calm_ms + PERIOD_S * 1000, f"calm {calm_ms:.1f} ms, floods {late_ms[1:]}"
        assert_whole(node, 30414)
        with Sender(port):
            told_s = daemon.event("/feed/input", lambda args: args[0] == "tags" and float(args[3]) > 30.0)
        assert told_s[8] == ""  # the point that the target follows is heard
        assert daemon.end() == 0
        assert "a fault of this program" not in daemon.log
        assert "malformed: input tags: " in daemon.log
