"""Killed and started again: within ten seconds it goes on as it was; what must last, lasts."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from bridge.wire.sources import discards
from tests.system.daemon_process import ROOT, Client, Daemon, stage
from tests.system.wire_checks import armed_and_lit, lit


def follow(daemon: Daemon, x: float) -> None:
    daemon.say("/target/lead/position", x, 4.0)


def test_killed_while_following_it_goes_on_armed_lit_and_in_a_sequence_that_receivers_take(tmp_path: Path) -> None:
    with stage(tmp_path, 30062, 30063) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        follow(daemon, 1.0)
        node.until(lambda packet: packet.universe == 30062 and lit(packet))
        for step in range(50):  # the sequence runs on beyond what is on disk
            follow(daemon, 1.0 + step / 100)
            node.hear(0.02)
        node.hear(1.4)  # what was carried on unseen is given up by then
        assert daemon.end(signal.SIGKILL) == -signal.SIGKILL
        node.hear(0.2)
        before = node.of(30062)[-1]
        assert lit(before)
        daemon.start("--armed")
        after = node.until(lambda packet: packet.universe == 30062)
        assert not discards(after.sequence, before.sequence)
        assert after.cid == before.cid
        assert after.slots == before.slots, "no head moved, no light changed"
        assert daemon.feed("/feed/target")[1] == pytest.approx(1.49)
        assert "going on as before the crash" in daemon.log
        assert daemon.end() == 0


def test_after_a_clean_stop_it_starts_fresh(tmp_path: Path) -> None:
    with stage(tmp_path, 30064, 30065) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        assert daemon.end() == 0
        node.hear(0.3)
        last = node.of(30064)[-1]
        daemon.start().ready()
        assert node.hear(1.5) == []
        daemon.say("/arm", 1)
        first = node.until(lambda packet: packet.universe == 30064)
        assert first.sequence == (last.sequence + 1) % 256
        assert first.cid == last.cid
        assert daemon.end() == 0


def test_still_and_trims_survive_a_kill_a_stop_and_a_damaged_live_state(tmp_path: Path) -> None:
    with stage(tmp_path, 30066, 30067) as (daemon, _):
        daemon.start().ready()
        daemon.say("/fixture/a/still", 1)
        daemon.say("/fixture/b/trim", 0.5, -0.25)
        end_s = time.monotonic() + 10
        lasting = next(iter(daemon.state.glob("shows/*"))) / "lasting.json"
        while not (lasting.exists() and "0.5" in lasting.read_text() and '"a"' in lasting.read_text()):
            assert time.monotonic() < end_s
            time.sleep(0.02)
        daemon.end(signal.SIGKILL)
        (lasting.parent / "live.json").write_text('{"version": 1, "running": true')
        daemon.start().ready()
        assert daemon.feed("/feed/bridge")[2] is True
        assert "live.json: damaged" in daemon.log
        assert "STILL from before" in daemon.log
        assert daemon.end() == 0
        daemon.start().ready()
        assert daemon.feed("/feed/bridge")[2] is True
        assert '"b": [0.5,-0.25]' in lasting.read_text().replace(", ", ",").replace('"b":[', '"b": [')
        daemon.say("/fixture/a/still", 0)
        end_s = time.monotonic() + 10
        while daemon.feed("/feed/bridge")[2]:
            assert time.monotonic() < end_s
        assert daemon.end() == 0


@pytest.mark.parametrize("rate_hz", [10, 60])
def test_what_was_switched_just_before_a_crash_is_not_undone_however_fast_the_feed(
    tmp_path: Path, rate_hz: int
) -> None:
    """`/still` and `/dark` are cleared only by 0; a feed as fast as the frames must not keep them from the disk."""
    with stage(tmp_path, 30068, 30069) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        follow(daemon, 1.0)
        node.until(lambda packet: packet.universe == 30068 and lit(packet))
        daemon.say("/feed/subscribe", 9, rate_hz)
        node.hear(0.7)
        daemon.say("/fixture/b/still", 1)
        daemon.say("/dark", 1)
        node.hear(0.25)
        assert daemon.end(signal.SIGKILL) == -signal.SIGKILL
        daemon.start("--armed").ready()
        assert daemon.feed("/feed/bridge")[:3] == (True, True, True)
        assert not any(lit(packet) for packet in node.hear(0.5))
        daemon.end()


def test_what_is_switched_is_on_disk_though_the_disk_is_busy_with_other_things(tmp_path: Path) -> None:
    """A fifo that nobody reads, in the place of a file it writes, keeps the thread for all else busy for ever."""
    with stage(tmp_path, 30080, 30081) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: packet.universe == 30080)
        daemon.feed("/feed/bridge")
        (folder,) = daemon.state.glob("shows/*")
        while not (folder / "live.new").is_fifo():
            with contextlib.suppress(FileExistsError):  # being written this moment
                os.mkfifo(folder / "live.new")
        node.hear(0.8)  # it writes there every half second
        for address in ("/dark", "/fixture/a/out", "/fixture/b/still"):
            daemon.say(address, 1)
            part = address.split("/")[-1]
            daemon.event("/feed/kept", lambda args, part=part: args == (part, 1))  # type: ignore[misc]
        assert daemon.end(signal.SIGKILL) == -signal.SIGKILL
        (folder / "live.new").unlink()
        daemon.start("--armed").ready()
        assert daemon.feed("/feed/bridge")[:3] == (True, True, True)
        daemon.event("/feed/fixture", lambda args: args[:2] == ("b", "still"))
        daemon.say("/dark", 0)
        daemon.event("/feed/fixture", lambda args: args[:2] == ("a", "out"))
        daemon.end()


def test_disarmed_just_before_a_crash_it_stays_silent(tmp_path: Path) -> None:
    with stage(tmp_path, 30074, 30075) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: packet.universe == 30074)
        daemon.say("/arm", 0)
        node.until(lambda packet: packet.terminated)
        node.hear(0.2)
        daemon.end(signal.SIGKILL)
        daemon.start().ready()
        assert node.hear(1.0) == []
        daemon.end()


def test_started_again_without_armed_it_remembers_everything_and_sends_nothing_until_arm_1(tmp_path: Path) -> None:
    with stage(tmp_path, 30076, 30077) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.event("/feed/bridge")  # subscribed before, lest what is kept is told to nobody
        daemon.say("/fixture/b/out", 1)
        daemon.event("/feed/kept", lambda args: args == ("out", 1))
        node.hear(1.0)
        daemon.end(signal.SIGKILL)
        node.hear(0.2)
        before = node.of(30076)[-1]
        daemon.start().ready()
        assert node.hear(1.5) == []
        assert daemon.feed("/feed/bridge")[0] is False
        assert daemon.feed("/feed/target")[1:3] == (pytest.approx(1.0), pytest.approx(4.0))
        daemon.event("/feed/fixture", lambda args: args[:2] == ("b", "out"))
        daemon.say("/arm", 1)
        first = node.until(lambda packet: packet.universe == 30076)
        assert not lit(first), "nobody knows where heads stand after a while without us"
        assert not discards(first.sequence, before.sequence)
        node.until(lambda packet: packet.universe == 30076 and lit(packet))
        node.hear(1.0)
        assert node.of(30076)[-1].slots == before.slots
        assert daemon.end() == 0


def test_still_is_cleared_by_the_host_that_set_it_or_on_purpose_and_the_log_says_who(tmp_path: Path) -> None:
    with stage(tmp_path, 30078, 30079) as (daemon, node):
        daemon.edit("network.yaml", '["127.0.0.1/32"]', '["127.0.0.0/8"]')
        armed_and_lit(daemon, node)
        other = Client(daemon.port, "127.0.0.2")
        other.event("/feed/bridge")
        daemon.event("/feed/bridge")
        daemon.say("/still", 1)
        said_s = time.monotonic()
        daemon.event("/feed/kept", lambda args: args == ("still", 1))
        daemon.end(signal.SIGKILL)
        assert time.monotonic() - said_s < 1.0, "a frame or two, on a machine that is not busy"
        daemon.start("--armed").ready()
        assert daemon.feed("/feed/bridge")[2] is True
        assert "STILL from before: everything (by 127.0.0.1)" in daemon.log
        other.event("/feed/bridge")
        other.say("/still", 0)
        told = other.event("/feed/refused")
        assert told[:2] == ("/still", "owner")
        assert "0 override" in str(told[2])
        assert daemon.feed("/feed/bridge")[2] is True
        assert not any(lit(packet) for packet in node.hear(0.5))
        other.say("/still", 0, "override")
        daemon.event("/feed/bridge", lambda args: args[2] is False)
        daemon.wait_log("/still 0 override, by 127.0.0.2")
        daemon.wait_log("/still 1, by 127.0.0.1")
        assert daemon.end() == 0
        other.close()


def test_where_the_file_of_who_is_still_is_damaged_everything_is_still_until_it_is_cleared(tmp_path: Path) -> None:
    with stage(tmp_path, 30082, 30083) as (daemon, _):
        daemon.start().ready()
        daemon.say("/fixture/a/still", 1)
        daemon.event("/feed/kept", lambda args: args == ("still", 1))
        daemon.end(signal.SIGKILL)
        (lasting,) = daemon.state.glob("shows/*/lasting.json")
        assert '["127.0.0.1"]' in lasting.read_text()
        lasting.write_text(lasting.read_text().replace('["127.0.0.1"]', '"127.0.0.1"'))
        daemon.start("--armed").ready()
        assert daemon.feed("/feed/bridge")[2] is True
        daemon.event("/feed/fixture", lambda args: args[:2] == ("b", "still"))
        assert "EVERYTHING IS STILL" in daemon.log
        daemon.say("/still", 0, "override")
        daemon.event("/feed/bridge", lambda args: args[2] is False)
        assert daemon.end() == 0


def test_too_few_open_files_end_the_start_with_words(tmp_path: Path) -> None:
    with stage(tmp_path, 30084, 30085) as (daemon, _):
        run = [sys.executable, "-m", "bridge", "run", "--no-panel", str(daemon.show), "--state", str(daemon.state)]
        limited = ["bash", "-c", 'ulimit -n 10; exec "$@"', "--", *run]
        done = subprocess.run(limited, cwd=ROOT, capture_output=True, text=True, timeout=30)
        assert done.returncode == 3
        assert "ulimit -n" in done.stderr
        assert "Traceback" not in done.stderr
