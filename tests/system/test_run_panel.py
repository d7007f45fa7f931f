"""The daemon and the panel's process beside it: killed, crashing, stubborn, its port taken, moved by a reload.

What runs as the panel here is a few lines of Python that do as a file says; the panel itself has tests of its own.
"""

from __future__ import annotations

import itertools
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

from tests.system.daemon_process import DEADLINE_S, Daemon, stage
from tests.system.wire_checks import armed_and_lit, assert_whole

CHILD = """\
import json, os, pathlib, signal, sys
folder = pathlib.Path(sys.argv[1])
mode = (folder / "mode").read_text()
with (folder / "started").open("a") as file:
    print(json.dumps([os.getpid(), os.nice(0), *sys.argv[2:]]), file=file)
print("panel says", mode, flush=True)
if mode == "crashes":
    sys.exit(1)
if mode == "port taken":
    sys.exit(3)
if mode == "stubborn":
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
while sys.stdin.buffer.read(1):
    pass
"""
STARTER = """\
import sys
from bridge import cli
from bridge.daemon import panel_process
of_panel = panel_process.command
panel_process.command = lambda *where: [sys.executable, *sys.argv[1:3], *of_panel(*where)[2:]]
sys.exit(cli.main(sys.argv[3:]))
"""


class WithPanel:
    """Makes a daemon of the stage start a child as its panel, and knows which ones were started."""

    def __init__(self, daemon: Daemon, folder: Path, mode: str = "serves") -> None:
        self.daemon, self.folder, self.port = daemon, folder / "panel", daemon.port
        self.folder.mkdir()
        child, starter = self.folder / "child.py", self.folder / "starter.py"
        child.write_text(CHILD)
        starter.write_text(STARTER)
        self.mode(mode)
        daemon.panel = True
        words = daemon.command
        daemon.command = lambda *options: [  # type: ignore[method-assign]
            sys.executable, str(starter), str(child), str(self.folder), *words(*options)[3:]
        ]  # fmt: skip

    def mode(self, mode: str) -> None:
        (self.folder / "mode").write_text(mode)

    @property
    def started(self) -> list[list[str]]:
        """Of each start: process, nice, and the words it was given."""
        file = self.folder / "started"
        lines = file.read_text().splitlines() if file.exists() else []
        return [line.strip("[]").replace('"', "").split(", ") for line in lines]

    @property
    def alive(self) -> list[int]:
        return [int(pid) for pid, *_ in self.started if lives(int(pid))]

    def until(self, so: Callable[[], bool], within_s: float = DEADLINE_S) -> None:
        end_s = time.monotonic() + within_s
        while not so():
            assert time.monotonic() < end_s, f"{self.started}\n{self.daemon.log}"
            self.daemon.check_alive()
            time.sleep(0.02)


def lives(pid: int) -> bool:
    """Whether it runs; one that has ended and was not asked for its exit code does not."""
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return False


def test_it_runs_beside_the_daemon_at_ordinary_priority_is_back_when_killed_and_ends_with_it(tmp_path: Path) -> None:
    with stage(tmp_path, 30170, 30171) as (daemon, node):
        panel = WithPanel(daemon, tmp_path)
        armed_and_lit(daemon, node)
        panel.until(lambda: len(panel.alive) == 1)
        (_, nice, *words), (pid,) = panel.started[0], panel.alive
        assert int(nice) >= 0, "the daemon has -10 where it is allowed to"
        assert words == [
            *("bridge", "panel", str(daemon.show), "--bridge", f"127.0.0.1:{daemon.port}"),
            *("--listen", "127.0.0.1:8787", "--state", str(daemon.state), "--until-eof"),
        ]
        daemon.wait_log("panel says serves")
        os.kill(pid, signal.SIGKILL)
        panel.until(lambda: len(panel.alive) == 1 and panel.alive != [pid])
        assert daemon.log.count("the panel was killed by signal 9") == 1
        assert len(panel.started) == 2
        assert_whole(node, 30170)
        assert daemon.end() == 0
        assert panel.alive == []


def test_a_daemon_that_is_killed_leaves_no_panel_behind(tmp_path: Path) -> None:
    with stage(tmp_path, 30172, 30173) as (daemon, _):
        panel = WithPanel(daemon, tmp_path, "stubborn")
        daemon.start().ready()
        panel.until(lambda: len(panel.alive) == 1)
        daemon.end(signal.SIGKILL)
        end_s = time.monotonic() + DEADLINE_S
        while panel.alive:
            assert time.monotonic() < end_s
            time.sleep(0.02)


def test_one_that_crashes_at_once_is_tried_again_and_again_and_the_light_goes_on_without_a_gap(tmp_path: Path) -> None:
    with stage(tmp_path, 30174, 30175) as (daemon, node):
        panel = WithPanel(daemon, tmp_path, "crashes")
        armed_and_lit(daemon, node)
        node.packets.clear()
        for step in range(350):
            daemon.say("/target/lead/position", 1.0 + step / 200, 4.0)
            node.hear(0.02)
        assert len(panel.started) >= 4
        assert daemon.log.count("the panel has ended with exit code 1") == len(panel.started)
        assert_whole(node, 30174)
        gaps = [b - a for a, b in itertools.pairwise(node.times(30174))]
        assert max(gaps) < 0.45, "the pauses between the starts are half a second and more"
        panel.mode("serves")
        panel.until(lambda: len(panel.alive) == 1)
        assert daemon.end() == 0
        assert panel.alive == []


def test_a_port_that_is_taken_is_said_once(tmp_path: Path) -> None:
    with stage(tmp_path, 30176, 30177) as (daemon, node):
        panel = WithPanel(daemon, tmp_path, "port taken")
        armed_and_lit(daemon, node)
        panel.until(lambda: bool(panel.started))
        daemon.wait_log("THERE IS NO PANEL, its port is taken")
        node.hear(2.0)
        assert len(panel.started) == 1, "and tried again after ten seconds"
        assert daemon.log.count("THERE IS NO PANEL") == 1
        assert daemon.end() == 0


def test_a_reload_moves_it_ends_it_and_starts_it(tmp_path: Path) -> None:
    with stage(tmp_path, 30178, 30179) as (daemon, _):
        panel = WithPanel(daemon, tmp_path)
        daemon.edit("network.yaml", "sacn:", "panel: off\nsacn:")
        daemon.start().ready()

        def again(before: str, now: str) -> None:
            daemon.edit("network.yaml", before, now)
            daemon.say("/reload")
            assert daemon.event("/feed/reload")[0] == "done", daemon.log
            daemon.drop_old()

        again("panel: off", 'panel: {listen: "127.0.0.1:8899"}')
        panel.until(lambda: len(panel.alive) == 1)
        assert "127.0.0.1:8899" in panel.started[0], "there was none before"
        again("127.0.0.1:8899", "lo:8898")
        panel.until(lambda: len(panel.started) == 2 and len(panel.alive) == 1)
        assert "127.0.0.1:8898" in panel.started[1], "an interface by its name"
        again('panel: {listen: "lo:8898"}', "panel: off")
        panel.until(lambda: panel.alive == [])
        assert daemon.end() == 0
        assert "the panel" not in daemon.log


def test_one_that_does_not_end_on_being_asked_holds_the_end_up_for_two_seconds_only(tmp_path: Path) -> None:
    with stage(tmp_path, 30180, 30181) as (daemon, node):
        child = "while sys.stdin.buffer.read(1)"
        panel = WithPanel(daemon, tmp_path, "stubborn")
        file = panel.folder / "child.py"
        file.write_text(file.read_text().replace(child, "import time\nwhile not time.sleep(1)"))
        armed_and_lit(daemon, node)
        panel.until(lambda: len(panel.alive) == 1)
        asked_s = time.monotonic()
        assert daemon.end() == 0
        assert time.monotonic() - asked_s < 6.0
        node.hear(0.2)
        assert node.of(30180)[-1].terminated, "the streams ended first"
        assert panel.alive == []


def test_without_a_panel_there_is_none(tmp_path: Path) -> None:
    with stage(tmp_path, 30182, 30183) as (daemon, node):
        panel = WithPanel(daemon, tmp_path)
        armed_and_lit(daemon, node, "--no-panel")
        node.hear(0.5)
        assert panel.started == []
        assert daemon.end() == 0
