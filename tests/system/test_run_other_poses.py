"""Accepting a pose that is not trusted, and going back, with the real daemon: files, what is sent, and a restart."""

from __future__ import annotations

from pathlib import Path

from bridge.show import load
from tests.system.daemon_process import POSES, stage
from tests.system.wire_checks import armed_and_lit

SOLVED = POSES.replace("[-3, -6, 8]", "[-3.5, -6, 8]").replace("1]}\n", "1], trusted: off}\n")


def test_a_persons_yes_is_used_at_once_after_a_restart_and_the_way_back_undoes_it(tmp_path: Path) -> None:
    with stage(tmp_path, 30164, 30165) as (daemon, node):
        armed_and_lit(daemon, node)
        (daemon.show / "poses.yaml").write_text(SOLVED)
        (daemon.show / "poses.previous.yaml").write_text(POSES)
        before = daemon.event("/feed/fixture", lambda args: args[0] == "a" and args[1] == "lit")
        daemon.say("/sight/c/accept")
        assert "no fixture c" in str(daemon.event("/feed/refused", lambda args: args[0] == "/sight/c/accept")[2])
        daemon.say("/sight/a/accept")
        assert daemon.event("/feed/accepted") == ("a", "127.0.0.1")
        assert load(daemon.show).poses["a"].accepted == "127.0.0.1"

        def elsewhere(args: tuple[object, ...]) -> bool:
            return args[0] == "a" and args[1] == "lit" and abs(float(str(args[2])) - float(str(before[2]))) > 1.0

        daemon.say("/target/lead/alive")
        moved = daemon.event("/feed/fixture", elsewhere)
        assert daemon.end() == 0
        node.hear(0.3)  # what it sent until then
        armed_and_lit(daemon, node)
        assert daemon.log.count("poses that the solve does not trust are used, accepted: a by 127.0.0.1") == 1
        assert "NOT TRUSTED, beams may be off: b (" in daemon.log
        again = daemon.event("/feed/fixture", lambda args: args[0] == "a" and args[1] == "lit")
        assert abs(float(str(again[2])) - float(str(moved[2]))) < 0.1

        daemon.say("/sight/back")
        assert daemon.event("/feed/back") == ("127.0.0.1", "2 poses taken")
        assert (daemon.show / "poses.yaml").read_text() == POSES
        (daemon.show / "poses.previous.yaml").unlink()
        daemon.say("/sight/back")
        told = daemon.event("/feed/refused", lambda args: args[0] == "/sight/back")
        assert told[1] == "nothing-before"
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
