"""The real daemon finds a tracking system's frame: a tag is carried to the marks, recorded, solved, and followed."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from bridge.geometry.input_frame import InputFrame
from bridge.show.frames import load_frames
from tests.made_inputs import Sender, a_free_port, network_text
from tests.system.daemon_process import Daemon, stage
from tests.unit.solve.records_on_marks import input_of

MARKS = {"A": (-5.0, 1.0, 0.0), "B": (5.0, 1.0, 0.0), "C": (5.0, 7.0, 0.0)}  # as in the daemon's show
TRUE = InputFrame(axes=("x", "z", "y"), turn=25.0, origin=(1.0, 2.0, 0.3))


def news(daemon: Daemon, word: str) -> str:
    return str(daemon.event("/feed/frame", lambda args: args[:2] == ("tags", word))[2])


def stand(sender: Sender, at: tuple[float, float, float]) -> None:
    x, y, z = input_of(TRUE, at)
    sender.place = (float(x), float(y), float(z))


def test_a_tag_on_three_marks_gives_the_frame_in_which_it_is_followed(tmp_path: Path) -> None:
    port = a_free_port()
    with stage(tmp_path, 30416, 30417) as (daemon, _), Sender(port) as sender:
        network = daemon.show / "network.yaml"
        network.write_text(network.read_text() + network_text(port))
        daemon.edit("stage.yaml", "marks:", "targets: {lead: {source: {input: tags, point: 1/7}}}\nmarks:")
        stand(sender, MARKS["A"])
        daemon.start().ready()
        daemon.event("/feed/input", lambda args: args[0] == "tags" and args[2] == 1 and args[6] == 0)
        for mark, at in MARKS.items():
            stand(sender, at)
            time.sleep(1.3)  # a whole second of it
            daemon.say("/frame/tags/record", mark, "1/7")
            assert news(daemon, "recorded").startswith(f"{mark}: 1/7 at ")
        daemon.say("/frame/tags/solve")
        assert "cm off: A 0.0, B 0.0, C 0.0" in news(daemon, "solved")
        found = load_frames(daemon.show).frames["tags"]
        assert (found.axes, found.turn) == (TRUE.axes, pytest.approx(25.0, abs=0.01))
        stand(sender, (1.0, 3.0, 0.0))
        seen = daemon.event("/feed/target", lambda args: abs(float(args[1]) - 1.0) < 0.01 and float(args[2]) < 3.01)
        assert float(seen[2]) == pytest.approx(3.0, abs=0.01)
        daemon.event("/feed/input", lambda args: args[0] == "tags" and args[6] == 1)
        daemon.say("/frame/tags/forget")
        news(daemon, "forgotten")
        daemon.event("/feed/input", lambda args: args[0] == "tags" and args[6] == 0)
        assert load_frames(daemon.show).frames == {}
        assert daemon.end() == 0
        assert "fault of this program" not in daemon.log
