"""What leaves beside a desk as tshark (4.0 and later) captures and reads it: every packet of more than two seconds.

tshark 4.0 decodes no universe discovery (facts/protocols.md): those are told by their group, and counted apart.
"""

from __future__ import annotations

import itertools
import random
import shutil
import subprocess
import time
from pathlib import Path

import pytest

from bridge.wire.e131 import DISCOVERY_UNIVERSE, multicast_group
from tests.standards.test_tshark import decoded
from tests.system.console import console
from tests.system.daemon_process import Node
from tests.system.test_beside_desk import OURS, beside, owned

pytestmark = pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")
SECONDS = 2.2
WAYS = {
    "overlay": (30346, 30347, "{universes: {30346: 30346, 30347: 30347}}"),
    "by-slot": (30348, 30349, "{way: by-slot}"),
}
DISCOVERY = multicast_group(DISCOVERY_UNIVERSE)


class Capture:
    """tshark listens on loopback for these universes, from when it says so until `end`: other tests may send, too."""

    def __init__(self, file: Path, *universes: int) -> None:
        self.file, self.data = file, file.with_suffix(".data")
        groups = " or ".join(f"dst host {group}" for group in (DISCOVERY, *map(multicast_group, universes)))
        words = ["tshark", "-Q", "-i", "lo", "-f", f"udp port 5568 and ({groups})", "-w", str(file)]
        self._process = subprocess.Popen(words, stderr=subprocess.DEVNULL)

    def end(self) -> None:
        """It writes what it has."""
        self._process.terminate()
        self._process.wait(10)

    def count(self, which: str) -> int:
        """Packets for which this holds."""
        return len(self._tshark("-Y", which).splitlines())

    def only(self, which: str) -> Path:
        """A file of those."""
        self._tshark("-Y", which, "-w", str(self.data))
        return self.data

    def _tshark(self, *words: str) -> str:
        read = ["tshark", "-r", str(self.file), "--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE", *words]
        return subprocess.run(read, capture_output=True, text=True, timeout=60, check=True).stdout


def wait_begun(file: Path, node: Node) -> None:
    """Until the capture grows: it listens."""
    end_s = time.monotonic() + 10.0
    while not (file.exists() and file.stat().st_size > 2000):
        assert time.monotonic() < end_s, "tshark captures nothing on lo: is this allowed here?"
        node.hear(0.05)


@pytest.mark.parametrize("way", WAYS)
def test_every_packet_beside_a_desk_as_tshark_reads_it(tmp_path: Path, way: str) -> None:
    by_slot, (first, second, text) = way == "by-slot", WAYS[way]
    with beside(tmp_path, first, second, text) as (daemon, node), console(first, second) as desk:
        for levels in desk.levels.values():
            levels[:] = random.Random(3).randbytes(512)
            levels[7:9] = levels[107:109] = b"\xff\xff"
        capture = Capture(tmp_path / "desk.pcapng", first, second)
        try:
            wait_begun(capture.file, node)
            daemon.start("--armed")
            node.until(lambda p: p.source_name == OURS)
            daemon.say("/target/lead/position", 1.0, 4.0)
            node.hear(SECONDS)
            assert daemon.end() == 0
            node.hear(0.2)
        finally:
            capture.end()

    discovery = f"ip.dst == {DISCOVERY}"
    assert capture.count(f"!({discovery}) && (_ws.malformed || _ws.expert.severity == error)") == 0
    ours = f'acn.dmx.source_name == "{OURS}"'
    other = capture.count(f'!(acn.dmx.source_name == "Console") && !({ours}) && !({discovery})')
    assert other == 0, "everything else is the desk's"
    seen = decoded(capture.only(f"{ours} && !({discovery})"))
    assert sum(s.universe == first for s in seen) > 20
    assert len({s.cid for s in seen}) == 1
    assert {s.universe for s in seen} == {first, second}
    assert {s.priority for s in seen} == {0 if by_slot else 120}
    assert {s.start_code for s in seen} == ({0, 0xDD} if by_slot else {0})
    for universe, head in ((first, "a"), (second, "b")):
        mine, of_ours = [s for s in seen if s.universe == universe], owned(daemon, head)
        assert [(b.sequence - a.sequence) % 256 for a, b in itertools.pairwise(mine)] == [1] * (len(mine) - 1)
        assert [s.terminated for s in mine][-4:] == [False, True, True, True]
        for packet in mine:
            if packet.start_code == 0xDD:
                assert {place for place in range(512) if packet.slots[place]} == of_ours
                assert {packet.slots[place] for place in of_ours} == {120}
            else:
                under = bytes(512) if by_slot else desk.levels[universe]
                wrong = [n for n in set(range(512)) - of_ours if packet.slots[n] != under[n]]
                assert not wrong, "what is not ours is the desk's, and by slot 0"
