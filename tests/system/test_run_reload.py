"""The show folder edited and read again while heads are lit: nothing is lost, nothing jumps, or it is refused."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.system.daemon_process import ROOT, Client, Daemon, Node, stage
from tests.system.wire_checks import armed_and_lit, assert_whole, follow, lit, moves_deg, raw

POSE_A = "position: [-3, -6, 8], rotation: [0, 0, 0, 1]"
EDITS = {
    "poses.yaml": (POSE_A, "position: [-3.05, -6, 8], rotation: [0, 0, 0, 1]"),
    "stage.yaml": ("[6, 8], [-6, 8]]", "[6, 9], [-6, 9]]"),
    "rig.yaml": ("truss: t", "truss: back, limits: {pan: [-200, 200]}"),
}
"""One per file that is harmless to a lit target at (1, 4)."""


def reload(daemon: Daemon, by_signal: bool = False) -> None:
    """Have the show read again, and wait until it was taken."""
    daemon.event("/feed/bridge")
    daemon.drop_old()
    if by_signal:
        assert daemon.process is not None
        daemon.process.send_signal(signal.SIGHUP)
    else:
        daemon.say("/reload")
    answer = daemon.event("/feed/reload")
    assert answer[0] == "done", f"{answer}\n{daemon.log}"


@pytest.mark.parametrize("by_signal", [False, True])
@pytest.mark.parametrize("file", EDITS)
def test_an_edit_is_taken_without_a_gap_in_the_stream_or_a_jump_of_a_lit_beam(
    tmp_path: Path, file: str, by_signal: bool
) -> None:
    with stage(tmp_path, 30100, 30101) as (daemon, node):
        armed_and_lit(daemon, node)
        before = {universe: node.of(universe)[-1].slots for universe in node.universes}
        start = {universe: len(node.of(universe)) for universe in node.universes}
        daemon.edit(file, *EDITS[file])
        reload(daemon, by_signal)
        node.hear(2.5)
        for universe, address in zip(node.universes, (1, 101), strict=True):
            assert_whole(node, universe)
            packets = node.of(universe)[start[universe] - 1 :]
            assert all(lit(packet, address) for packet in packets), "the change is too small for a move in the dark"
            assert max(moves_deg(packets, address)) < 0.5
            if file != "poses.yaml":
                assert packets[-1].slots == before[universe]
        if file == "poses.yaml":
            assert node.of(30100)[-1].slots != before[30100], "the new pose is aimed with"
        assert "fault of this program" not in daemon.log
        assert daemon.end() == 0


def test_a_pose_that_is_far_off_is_corrected_in_the_dark(tmp_path: Path) -> None:
    with stage(tmp_path, 30120, 30121) as (daemon, node):
        armed_and_lit(daemon, node)
        start, other = len(node.of(30120)), len(node.of(30121))
        daemon.edit("poses.yaml", POSE_A, "position: [-3, -6, 8], rotation: [0, 0, 0.2, 0.979796]")
        reload(daemon)
        node.hear(4.0)
        packets = node.of(30120)[start:]
        assert not all(lit(packet) for packet in packets)
        assert raw(packets[-1], "dimmer") == 65535
        assert abs(raw(packets[-1], "pan") - raw(packets[0], "pan")) > 1000
        assert max(moves_deg(packets)) < 0.5
        assert all(lit(packet, 101) for packet in node.of(30121)[other:]), "the other head is not concerned"
        assert_whole(node, 30120)
        assert daemon.end() == 0


def test_network_settings_are_taken_from_one_packet_to_the_next(tmp_path: Path) -> None:
    with stage(tmp_path, 30102, 30103) as (daemon, node):
        armed_and_lit(daemon, node)
        other = Client(daemon.port, "127.0.0.2")
        other.say("/target/lead/size", 3.0)
        daemon.wait_log("127.0.0.2 is not in `osc: allow`")
        daemon.edit("network.yaml", '["127.0.0.1/32"]', '["127.0.0.1/32", "127.0.0.2/32"]')
        daemon.edit("network.yaml", "priority: 120", "priority: 130, rate: 20")
        reload(daemon)
        node.hear(0.5)
        first = next(n for n, (_, p) in enumerate(node.packets) if p.priority == 130)
        assert all(packet.priority == 130 for _, packet in node.packets[first:])
        assert_whole(node, 30102)
        fresh = Node(30102, 30103)
        for step in range(60):
            daemon.say("/target/lead/position", 1.0 + step / 100, 4.0)
            fresh.hear(0.02)
        assert_whole(fresh, 30102, 1 / 20)
        other.say("/target/lead/size", 3.5)
        other.say("/dark", 1)
        fresh.until(lambda packet: packet.universe == 30102 and not lit(packet))
        assert daemon.end() == 0
        other.close()
        fresh.close()


def test_a_universe_more_and_one_less_while_the_others_go_on(tmp_path: Path) -> None:
    with stage(tmp_path, 30104, 30105) as (daemon, node):
        more = Node(30106)
        armed_and_lit(daemon, node)
        rig = (daemon.show / "rig.yaml").read_text()
        extra = "  - {name: c, profile: spot-16bit, universe: 30106, address: 1, at: [0, -6, 8]}\n"
        daemon.edit("rig.yaml", rig, rig + extra)
        reload(daemon)
        first = more.until(lambda packet: True)
        assert not lit(first), "nobody knows where a head stands that is new"
        node.hear(0.5)
        start = len(node.of(30104))
        daemon.edit("rig.yaml", rig + extra, "\n".join(line for line in rig.splitlines() if "name: b" not in line))
        daemon.edit("poses.yaml", "  b: {position: [3, -6, 8], rotation: [0, 0, 0, 1]}\n", "")
        reload(daemon)
        node.hear(1.0)
        more.hear(1.0)
        for universe in (30104, 30105):
            assert_whole(node, universe)
        assert all(lit(packet) for packet in node.of(30104)[start:])
        ended = node.of(30105)[-3:]
        assert [packet.terminated for packet in ended] == [True] * 3, "receivers are told that a universe is left"
        assert [packet.terminated for packet in more.of(30106)[-3:]] == [True] * 3
        assert daemon.feed("/feed/bridge")[4] == 1
        assert daemon.end() == 0
        more.close()


def test_a_broken_file_is_refused_with_its_lines_and_the_old_show_runs_on(tmp_path: Path) -> None:
    with stage(tmp_path, 30108, 30109) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.edit("rig.yaml", "truss: t", "trus: t")
        daemon.edit("stage.yaml", "performance_polygon", "performance_poligon")
        daemon.event("/feed/bridge")
        daemon.say("/reload")
        told = [daemon.event("/feed/reload") for _ in range(2)]
        assert {answer[0] for answer in told} == {"refused"}
        daemon.wait_log("NOT RELOADED, the old show runs on")
        daemon.wait_log("rig.yaml:5: ")
        daemon.wait_log("stage.yaml:2: ")
        assert any("rig.yaml:5" in str(answer[1]) for answer in told)
        follow(daemon, node, -2.0)
        assert_whole(node, 30108)
        daemon.edit("rig.yaml", "trus: t", "truss: t")
        daemon.edit("stage.yaml", "performance_poligon", "performance_polygon")
        reload(daemon)
        assert daemon.end() == 0


def test_what_only_a_restart_can_change_is_refused_with_what_to_do(tmp_path: Path) -> None:
    with stage(tmp_path, 30110, 30111) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.edit("network.yaml", f"127.0.0.1:{daemon.port}", "127.0.0.1:9999")
        daemon.event("/feed/bridge")
        daemon.say("/reload")
        answer = daemon.event("/feed/reload")
        assert answer[0] == "refused"
        assert "`osc: listen`" in str(answer[1])
        assert "restart" in str(answer[1])
        assert node.hear(0.5)
        assert_whole(node, 30110)
        assert daemon.end() == 0


def test_a_show_folder_that_vanishes_or_turns_in_circles_costs_the_reload_only(tmp_path: Path) -> None:
    with stage(tmp_path, 30112, 30113) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.event("/feed/bridge")
        for spoil in (gone, circle, unreadable_profile):
            mend = spoil(daemon.show)
            daemon.say("/reload")
            answer = daemon.event("/feed/reload", within_s=30.0)
            assert answer[0] == "refused", spoil.__name__
            assert "fault of this program" not in str(answer[1]), spoil.__name__
            mend()
        reload(daemon)
        assert node.hear(0.5)
        assert_whole(node, 30112)
        assert daemon.end() == 0


def gone(show: Path):  # type: ignore[no-untyped-def]
    show.rename(show.with_name("elsewhere"))
    return lambda: show.with_name("elsewhere").rename(show)


def circle(show: Path):  # type: ignore[no-untyped-def]
    rig = (show / "rig.yaml").read_text()
    (show / "rig.yaml").unlink()
    (show / "rig.yaml").symlink_to("rig.yaml")

    def mend() -> None:
        (show / "rig.yaml").unlink()
        (show / "rig.yaml").write_text(rig)

    return mend


def unreadable_profile(show: Path):  # type: ignore[no-untyped-def]
    rig = (show / "rig.yaml").read_text()
    (show / "rig.yaml").write_text(rig.replace("spot-16bit", "profiles"))
    (show / "profiles").mkdir()

    def mend() -> None:
        (show / "profiles").rmdir()
        (show / "rig.yaml").write_text(rig)

    return mend


def test_a_flood_of_signals_and_of_reload_delays_no_packet(tmp_path: Path) -> None:
    with stage(tmp_path, 30114, 30115) as (daemon, node):
        armed_and_lit(daemon, node)
        assert daemon.process is not None
        for step in range(300):
            daemon.process.send_signal(signal.SIGHUP)
            daemon.say("/reload")
            daemon.say("/target/lead/position", 1.0 + step / 1000, 4.0)
            node.hear(0.01)
        daemon.wait_log("the show is read again")
        assert node.hear(0.5)
        for universe in node.universes:
            assert_whole(node, universe)
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log


def test_a_terminal_that_is_closed_does_not_end_the_show_not_even_while_it_starts(tmp_path: Path) -> None:
    with stage(tmp_path, 30116, 30117) as (daemon, node):
        ours, theirs = pty.openpty()
        as_login = f"import os, sys; os.login_tty({theirs}); os.execv(sys.executable, sys.argv[1:])"
        command = [sys.executable, "-c", as_login, *daemon.command("--armed")]
        daemon.process = subprocess.Popen(command, cwd=ROOT, pass_fds=[theirs])
        os.close(theirs)
        caught(daemon)
        daemon.process.send_signal(signal.SIGHUP)  # nothing to read again yet
        node.until(lambda packet: True)
        follow(daemon, node)
        os.close(ours)
        node.hear(1.0)
        daemon.throw(b"junk, with a line in a log that nobody can read")
        before = len(node.packets)
        follow(daemon, node, -2.0)
        assert len(node.packets) > before
        assert daemon.process.poll() is None
        assert_whole(node, 30116)
        assert daemon.end() == 0


def caught(daemon: Daemon, number: int = signal.SIGHUP) -> None:
    """Until the process has a handler for this signal (proc(5), SigCgt); Python itself needs a moment before."""
    assert daemon.process is not None
    end_s = time.monotonic() + 10.0
    while time.monotonic() < end_s:
        status = Path(f"/proc/{daemon.process.pid}/status").read_text()
        mask = next(line.split()[1] for line in status.splitlines() if line.startswith("SigCgt"))
        if int(mask, 16) >> (number - 1) & 1:
            return
        time.sleep(0.001)
    raise AssertionError("it never took the signal")


def test_a_reload_during_a_sighting_leaves_the_head_in_the_hand(tmp_path: Path) -> None:
    with stage(tmp_path, 30118, 30119) as (daemon, node):
        armed_and_lit(daemon, node)
        daemon.say("/sight/a/point", 10.0, 40.0)
        node.until(lambda p: p.universe == 30118 and abs(raw(p, "tilt") - (40 + 135) / 270 * 65535) < 20)
        node.hear(1.5)
        held = node.of(30118)[-1]
        daemon.edit("stage.yaml", "[6, 8], [-6, 8]]", "[6, 9], [-6, 9]]")
        reload(daemon)
        node.hear(0.5)
        assert node.of(30118)[-1].slots == held.slots
        daemon.say("/sight/a/record", "A")
        daemon.event("/feed/sighting", lambda args: args[:2] == ("a", "A"))
        reload(daemon)
        assert_whole(node, 30118)
        assert daemon.end() == 0
