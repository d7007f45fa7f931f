"""A whole focus session over OSC with the real daemon: point, record, forget, solve, follow, confirm a walk."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
import yaml

from tests.system.daemon_process import Daemon, stage

MARKS = {"A": (-5.0, 1.0, 0.0), "B": (5.0, 1.0, 0.0), "C": (5.0, 7.0, 0.0), "D": (-5.0, 7.0, 0.0), "E": (1.0, 4.0, 0.0)}
HEADS = {"a": (-3.0, -6.0, 8.0), "b": (3.0, -6.0, 8.0)}
YAW = math.radians(20.0)  # how both really hang; the daemon does not know it


def angles(head: str, mark: str) -> tuple[float, float]:
    """conventions.md, solved by hand for a level head turned by YAW: d = Rz(yaw) Rz(pan) Rx(tilt) (0, 0, -1)."""
    x, y, z = (m - p for m, p in zip(MARKS[mark], HEADS[head], strict=True))
    return math.degrees(math.atan2(-x, y) - YAW), math.degrees(math.atan2(math.hypot(x, y), -z))


def record(daemon: Daemon, head: str, mark: str) -> None:
    pan, tilt = angles(head, mark)
    daemon.say(f"/sight/{head}/point", pan, tilt)
    daemon.say(f"/sight/{head}/record", mark)
    daemon.event("/feed/sighting", lambda args: args[:2] == (head, mark))


def test_from_no_pose_to_following_and_a_confirmed_walk(tmp_path: Path) -> None:
    with stage(tmp_path, 30072, 30073) as (daemon, node):
        (daemon.show / "poses.yaml").unlink()
        marks = ", ".join(f"{name}: [{x}, {y}, {z}]" for name, (x, y, z) in MARKS.items())
        text = (daemon.show / "stage.yaml").read_text().splitlines()
        (daemon.show / "stage.yaml").write_text("\n".join([*text[:-1], f"marks: {{{marks}}}", "sighted_by: axis", ""]))
        daemon.start("--armed")
        node.until(lambda packet: True)
        daemon.feed("/feed/bridge")
        for head in HEADS:
            for mark in MARKS:
                record(daemon, head, mark)
        daemon.say("/sight/a/record", "Q")
        daemon.wait_log("there is no mark Q")
        daemon.say("/sight/a/forget", "E")
        daemon.event("/feed/forgotten", lambda args: args == ("a", "E"))
        record(daemon, "a", "E")
        kept = yaml.safe_load((daemon.show / "sightings.yaml").read_text())["sightings"]
        assert {(s["fixture"], s["mark"]) for s in kept} == {(head, mark) for head in HEADS for mark in MARKS}
        pan, tilt = angles("b", "C")
        (sighting,) = (s for s in kept if (s["fixture"], s["mark"]) == ("b", "C"))
        assert (sighting["pan"], sighting["tilt"]) == (pytest.approx(pan, abs=1e-3), pytest.approx(tilt, abs=1e-3))

        daemon.say("/sight/solve")
        ended = daemon.event("/feed/solve", lambda args: args[0] not in ("started", "note"), within_s=90.0)
        assert ended[0] == "done", daemon.log
        poses = yaml.safe_load((daemon.show / "poses.yaml").read_text())["fixtures"]
        assert poses["a"]["position"] == pytest.approx(HEADS["a"], abs=0.02)

        for head in HEADS:
            daemon.say(f"/sight/{head}/done")
        daemon.say("/target/lead/position", 1.0, 4.0)
        seen = daemon.event("/feed/fixture", lambda args: args[0] == "a" and args[1] == "lit" and args[4] == 1.0)
        daemon.say("/target/lead/height", 0.0)
        pan, tilt = angles("a", "E")
        seen = daemon.event("/feed/fixture", lambda args: args[0] == "a" and abs(args[3] - tilt) < 0.05)  # type: ignore[operator]
        assert seen[2] == pytest.approx(pan, abs=0.1)

        daemon.say("/walk/confirm", "A")
        assert daemon.event("/feed/refused", lambda args: args[0] == "/walk/confirm")[1] == "no-walk"
        daemon.say("/walk", "A")
        daemon.say("/walk/confirm", "A")
        assert "no head was lit" in daemon.event("/feed/refused", lambda args: args[0] == "/walk/confirm")[2]
        for _ in range(60):
            daemon.say("/walk", "A")
            daemon.feed("/feed/bridge")
        daemon.say("/walk/confirm", "A")
        daemon.event("/feed/confirmed", lambda args: args[0] == "A")
        document = yaml.safe_load((daemon.show / "poses.yaml").read_text())
        assert [entry["mark"] for entry in document["checked"]] == ["A"]
        assert all(pose["verified"] for pose in document["fixtures"].values())
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
