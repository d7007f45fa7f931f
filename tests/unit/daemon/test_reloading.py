"""Reading a show again: what a solve brings meanwhile is not lost, whoever is first."""

from __future__ import annotations

import json
import queue
from collections.abc import Callable
from pathlib import Path

from bridge.daemon.reloading import Reloader
from bridge.door.door import Door, make
from bridge.door.events import NewPoses, NewShow, Start
from bridge.rig.fixture import Pose
from bridge.show import load
from bridge.show.texts import texts
from bridge.wire import e131

RIG = "version: 1\nname: r\nfixtures: [{name: a, profile: spot-16bit, universe: 1, address: 1, at: [0, -6, 8]}]\n"
STAGE = "version: 1\nperformance_polygon: {corners: [[-6, 0], [6, 0], [6, 8], [-6, 8]], height: [-0.5, 4.0]}\n"
POSES = "version: 1\nfixtures: {a: {position: [%s, -6, 8], rotation: [0, 0, 0, 1]}}\n"


TWO = RIG.replace("}]", "}, {name: b, profile: spot-16bit, universe: 2, address: 1, at: [0, -6, 8]}]")


class Bench:
    """A reloader whose loop runs when the test says so."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name, text in (("rig", RIG), ("stage", STAGE), ("poses", POSES % 0)):
            (folder / f"{name}.yaml").write_text(text)
        self.door = Door(make(load(folder)), bytes(16))
        self.told: list[tuple[object, ...]] = []
        self._jobs: queue.Queue[Callable[[], None]] = queue.Queue()
        take: Callable[[NewShow], None] = self.door.apply
        self.reloader = Reloader(self.door, self._jobs.put, take, lambda *args: self.told.append(args), lambda: 1.0)

    def job(self) -> Callable[[], None]:
        """What the thread has given to the loop."""
        return self._jobs.get(timeout=30.0)


def test_poses_that_a_solve_brings_while_the_show_is_read_again_stay(tmp_path: Path) -> None:
    bench = Bench(tmp_path)
    bench.reloader.request("a test")
    read = bench.job()  # with the poses of before, and not taken yet
    solved = Pose((0.5, -6.0, 8.0), (0.0, 0.0, 0.0, 1.0))
    (tmp_path / "poses.yaml").write_text(POSES % 0.5)
    bench.door.apply(NewPoses(0.5, {"a": solved}))
    read()
    assert bench.told == [], "it is read once more"
    bench.job()()
    assert bench.told[0][:2] == ("/feed/reload", "done")
    assert bench.door.poses["a"].position == solved.position


def heard(door: Door, at_s: float) -> list[e131.Data]:
    packets = [e131.parse(bytes(packet)) for _, packet in door.tick(at_s).packets]
    return [packet for packet in packets if isinstance(packet, e131.Data)]


def test_a_universe_that_leaves_the_patch_ends_dark_and_terminated_also_across_a_change_of_captures(
    tmp_path: Path,
) -> None:
    """E1.31, 6.2.6: three packets with Stream_Terminated when a source ends a universe."""
    bench = Bench(tmp_path)
    (tmp_path / "rig.yaml").write_text(TWO)
    show = load(tmp_path)
    door = Door(make(show), bytes(16))
    door.apply(Start(0.0, armed=True, listening_since_s=-2.0))
    first = heard(door, 0.0)
    assert [packet.universe for packet in first] == [1, 2]
    one = bench.door.show
    door.apply(NewShow(0.05, one))
    left = [packet for packet in heard(door, 0.1) if packet.universe == 2]
    copy = Door(make(one), bytes(16))
    copy.restore(json.loads(json.dumps(door.state())))
    for step in range(2, 8):
        out = door.tick(step / 10).packets
        packets = [(universe, bytes(packet)) for universe, packet in out]
        assert packets == [(universe, bytes(packet)) for universe, packet in copy.tick(step / 10).packets]
        left += [
            p for p in (e131.parse(octets) for _, octets in packets) if isinstance(p, e131.Data) and p.universe == 2
        ]
    assert [packet.terminated for packet in left] == [False, False, True, True, True]
    assert [packet.sequence for packet in left] == [1, 2, 3, 4, 5]
    assert not any(packet.slots[7] or packet.slots[8] for packet in left)
    assert door.transmission.sequences[2] == 6, "numbers go on, should it come back"


def test_a_file_that_cannot_be_read_and_that_no_show_needs_is_left_out_of_the_capture(tmp_path: Path) -> None:
    (tmp_path / "rig.yaml").write_text(RIG)
    (tmp_path / "notes.yaml").symlink_to("/proc/self/mem")  # a regular file, says Linux, and reading it fails
    assert list(texts(tmp_path)) == ["rig.yaml"]
