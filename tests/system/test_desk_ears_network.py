"""The desk heard from another implementation's senders (the sacn library) on loopback, in real time."""

from __future__ import annotations

import select
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import pytest
from sacn.messages.data_packet import DataPacket

from bridge.daemon.desk_ears import DeskEars
from bridge.door.events import DeskFrame
from bridge.wire.e131 import PORT, multicast_group
from bridge.wire.sources import LOSS_S
from tests.system.other_source import other_source

LO, U = "127.0.0.1", 30451
MAIN = """
import sys
from tests.system.other_source import other_source
with other_source({universe}, priority=120) as sender:
    sender[{universe}].dmx_data = (77,) * 512
    print("sends", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def ears() -> Iterator[DeskEars]:
    made = DeskEars([U, U + 1], LO, bytes(16), time.monotonic)
    yield made
    made.close()


def hear(
    ears: DeskEars, until: Callable[[DeskFrame], bool], limit_s: float = 8.0
) -> tuple[float, DeskFrame, list[DeskFrame]]:
    """As the daemon's loop: sleeps until a packet or a moment that is due. When a frame is as wanted, it and all."""
    end_s, told = time.monotonic() + limit_s, []
    while (now_s := time.monotonic()) < end_s:
        select.select([ears.fileno()], [], [], max(0.0, min(ears.due_s, end_s) - now_s))
        now_s = time.monotonic()
        for frame in ears.read(now_s):
            told.append(frame)
            if until(frame):
                return now_s, frame, told
    raise AssertionError(f"not heard; told were {[(f.universe, f.slots[:3], f.alive, f.source) for f in told]}")


def test_the_librarys_sender_is_sampled_then_heard_and_each_of_its_changes(ears: DeskEars) -> None:
    began_s = time.monotonic()
    with other_source(U, U + 1, priority=100) as sender:
        at_s, frame, told = hear(ears, lambda frame: frame.universe == U)
        assert 1.4 < at_s - began_s < 4.0
        assert all(frame.slots[:3] == b"\1\2\3" for frame in told)
        assert (frame.source, frame.host, frame.priority, frame.alive) == ("House desk", LO, 100, True)
        for level in range(10, 20):
            sender[U + 1].dmx_data = (level,) * 512
            _, frame, _ = hear(ears, lambda frame, level=level: frame.slots[0] == level)  # type: ignore[misc]
            assert frame.universe == U + 1


def test_a_backup_of_the_library_takes_over_two_and_a_half_seconds_after_a_killed_main_desk(ears: DeskEars) -> None:
    """The main desk is a process of its own that is killed: no terminated packet, and its last look in between."""
    with other_source(U, priority=100):
        main = subprocess.Popen(
            [sys.executable, "-c", MAIN.format(universe=U)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
        )
        try:
            hear(ears, lambda frame: frame.slots[0] == 77)
        finally:
            main.kill()
            main.wait()
        killed_s = time.monotonic()
        at_s, frame, told = hear(ears, lambda frame: frame.slots[0] == 1)
        assert told == [frame], "nothing else in between"
        assert (frame.priority, frame.alive) == (100, True)
        assert LOSS_S - 1.1 < at_s - killed_s < LOSS_S + 0.5, "its keep-alives are a second apart"


def test_unicast_and_multicast_by_hand_are_two_desks_of_one_priority(ears: DeskEars) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(LO))
        for cid, slots, to in ((1, (9, 1), LO), (2, (1, 9), multicast_group(U))):
            made = DataPacket(cid=(cid,) * 16, sourceName=f"desk {cid}", universe=U, dmxData=slots, priority=100)
            out.sendto(bytes(made.getBytes()), (to, PORT))
        _, frame, _ = hear(ears, lambda frame: True)
        assert (frame.slots[:3], frame.equal) == (b"\x09\x09\0", True)
