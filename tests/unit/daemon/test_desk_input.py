"""The desk's input in the loop: time in which this process was not run is no silence of the desk's."""

from __future__ import annotations

import math
import time
from types import SimpleNamespace
from typing import Any

import pytest

from bridge.daemon.beside import DeskInput, Ways
from bridge.daemon.loop import Loop
from bridge.door.voice import Voice
from bridge.wire.settings import DeskSettings, Network
from tests.system.console import Console
from tests.workers import own_universe

U = own_universe(32001)


@pytest.mark.parametrize(("step_s", "lost"), [(0.5, True), (3.5, False)])
def test_a_desk_is_lost_when_it_is_silent_and_not_when_we_stood_still(step_s: float, lost: bool) -> None:
    """Seven frames of half a second each, or one stop of 3.5 s: both longer than E1.31's 2.5 s."""
    now, heard = [100.0], list[Any]()
    door: Any = SimpleNamespace(voice=Voice())
    desk_input = DeskInput(Loop(), door, bytes(16), lambda: now[0])
    desk_input.begin(Ways(heard.append, lambda m: None, lambda r: None, lambda m: None, lambda: -math.inf))
    desk_input.open(Network(desk=DeskSettings(universes={1: U})), [1])
    desk = Console(U)
    desk.cut()
    try:
        desk.send(U)
        time.sleep(0.05)
        desk_input._read()
        for _ in range(4):
            now[0] += 0.4
            desk_input.look(now[0])
            desk.send(U)
            desk_input._read()
        assert [event.frames[0].alive for event in heard] == [True]
        for _ in range(round(3.5 / step_s)):
            now[0] += step_s
            desk_input.look(now[0])
        assert (not heard[-1].frames[0].alive) == lost
    finally:
        desk_input.close()
