"""Killed and started again: within ten seconds it goes on as it was; what must last, lasts."""

from __future__ import annotations

import signal
import time
from pathlib import Path

import pytest

from bridge.wire import e131
from bridge.wire.sources import discards
from tests.system.daemon_process import Daemon, stage

DIMMER = slice(7, 9)  # of bridge/profiles/spot-16bit.yaml at address 1


def follow(daemon: Daemon, x: float) -> None:
    daemon.say("/target/lead/position", x, 4.0)


def lit(packet: e131.Data) -> bool:
    return any(packet.slots[DIMMER])


def test_killed_while_following_it_goes_on_armed_lit_and_in_a_sequence_that_receivers_take(tmp_path: Path) -> None:
    with stage(tmp_path, 30062, 30063) as (daemon, node):
        daemon.start("--armed")
        node.until(lambda packet: True)
        follow(daemon, 1.0)
        node.until(lambda packet: packet.universe == 30062 and lit(packet))
        for step in range(50):  # the sequence runs on beyond what is on disk
            follow(daemon, 1.0 + step / 100)
            node.hear(0.02)
        node.hear(0.6)
        assert daemon.end(signal.SIGKILL) == -signal.SIGKILL
        node.hear(0.2)
        before = node.of(30062)[-1]
        assert lit(before)
        daemon.start()  # without --armed
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
        assert "damaged, ignored" in daemon.log
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
        daemon.start().ready()
        assert daemon.feed("/feed/bridge")[:3] == (True, True, True)
        assert not any(lit(packet) for packet in node.hear(0.5))
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
