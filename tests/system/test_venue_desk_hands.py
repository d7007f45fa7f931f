"""One head goes into the desk's hands and back, lit: bridge, desk and venue on a real network, the light measured."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from bridge.venue.bridge_process import BridgeProcess
from bridge.venue.demo_show import demo_show
from bridge.venue.desk_file import load_desk
from bridge.venue.desk_sender import DeskSender
from bridge.venue.measure import Meter
from bridge.venue.receiver import SacnReceiver, open_sockets
from bridge.venue.runner import VenueRunner
from bridge.venue.simulation import Venue
from tests.system.panel_shows import poses_text

PAN_DEG, TILT_DEG, LEVEL = 40.0, -50.0, 0.8
CUES = f"""version: 1
looks:
  all: {{fixtures: {{"*": {{7: 255, 13: 255, 21: 255, 22: 255, 23: 255, dimmer: 1}}}}}}
  green: {{fixtures: {{foh-1: {{pan: {PAN_DEG}, tilt: {TILT_DEG}, zoom: 0.5, dimmer: {LEVEL}, 21: 0, 23: 0}}}}}}
cues: [{{at: 0, look: [all, green]}}]
"""
CHANGE_S = 12.0  # out, across the whole range at the motors' speed, in; on a busy machine
ON_DEG, ON_M = 1.5, 0.3  # of the desk's angles; of the performer: the poses are 2 cm wrong, the beam is 2 m wide
FAINT = 0.25  # the motors of these heads settle later than their lag says: some 60 ms, at up to a fifth of the light


class Hall:
    """A performer who stands, twelve heads that follow him, a desk."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        show, truth = demo_show(folder, 1, 30520, desk=True)
        (folder / "show" / "poses.yaml").write_text(poses_text(truth.fixtures, np.random.default_rng(2)))
        (folder / "cues.yaml").write_text(CUES)
        self.venue = Venue(show, truth)
        self.meter = Meter(self.venue)
        sockets = open_sockets(self.venue.heads.universes, "127.0.0.1")
        self.desk = DeskSender(load_desk(folder / "cues.yaml", show), "127.0.0.1")
        self.bridge = BridgeProcess(folder / "show", show.network.osc.port)
        for each in (*sockets, self.desk, self.bridge):
            stack.callback(each.close)
        self.runner = VenueRunner(self.venue, SacnReceiver(self.venue.heads.universes), sockets, self.meter)
        self.runner.each_step = self.step
        self.head = self.venue.names.index("foh-1")
        self.asked_s = 0.0
        self.stray: list[tuple[float, ...]] = []

    def step(self, now_s: float) -> None:
        self.desk.tick(now_s)
        if self.runner.steps % 5 == 0:
            self.venue.perform("lead", 1.0, 3.0)
            self.bridge.say("/target/lead/position", 1.0, 3.0)
        if self.level > FAINT and not self.with_desk and not self.on_performer:
            off_m = float(self.meter.current_error()[self.head])
            self.stray.append(tuple(round(v, 3) for v in (now_s - self.asked_s, self.level, self.off_deg, off_m)))

    @property
    def level(self) -> float:
        return float(self.venue.heads.level[self.head])

    @property
    def off_deg(self) -> float:
        state = self.venue.heads.state()
        off = np.degrees([state.pan_rad[self.head], state.tilt_rad[self.head]]) - (PAN_DEG, TILT_DEG)
        return float(np.abs(off).max())

    @property
    def with_desk(self) -> bool:
        return self.off_deg < ON_DEG

    @property
    def on_performer(self) -> bool:
        return float(self.meter.current_error()[self.head]) < ON_M

    async def until(self, done: Callable[[], bool], within_s: float) -> float:
        """How long it took, s."""
        began = time.monotonic()
        while not done():
            self.bridge.check()
            assert time.monotonic() < began + within_s, (self.level, self.off_deg, self.bridge.last_words())
            await asyncio.sleep(0.02)
        return time.monotonic() - began


def test_a_lit_head_changes_hands_and_no_light_strays(tmp_path: Path) -> None:
    async def test() -> None:
        with ExitStack() as stack:
            hall = Hall(tmp_path, stack)
            moving = asyncio.create_task(hall.runner.run())
            try:
                await hall.until(lambda: hall.level > 0.78 and hall.on_performer, 20.0)
                hall.stray.clear()
                hall.asked_s = time.monotonic()
                hall.bridge.say("/fixture/foh-1/desk", 1)
                given_s = await hall.until(lambda: hall.with_desk and hall.level > 0.78, CHANGE_S)
                state = hall.venue.heads.state()
                assert state.colour[hall.head].tolist() == [0, 1, 0]
                others = [n for n in range(len(hall.venue.names)) if n != hall.head]
                assert (hall.venue.heads.level[others] > 0.9).all(), "the others go on"
                hall.asked_s = time.monotonic()
                hall.bridge.say("/fixture/foh-1/desk", 0)
                back_s = await hall.until(lambda: hall.on_performer and hall.level > 0.78, CHANGE_S)
                print(f"to the desk in {given_s:.2f} s, back in {back_s:.2f} s")
                assert hall.stray == [], (given_s, back_s)
            finally:
                hall.runner.stop()
                await moving

    asyncio.run(asyncio.wait_for(test(), 90.0))
