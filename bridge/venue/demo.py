"""The demo: a made-up venue, the real bridge, a robot that focuses it, and a performer walking. One script, measured.

The bridge runs as a process of its own and hears and sends real datagrams on loopback; venue, robot and performer
live in this process. Nothing of the truth reaches the bridge but through what the robot sees.
"""

from __future__ import annotations

import asyncio
import socket
import time
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from bridge.errors import NetworkError
from bridge.show.load import load
from bridge.venue.actor import Actor
from bridge.venue.bridge_process import BridgeProcess, PanelProcess, free_port, source_name
from bridge.venue.calibration import calibration, sighting_misses
from bridge.venue.demo_show import DemoDesk, demo_show, lead_targets
from bridge.venue.measure import Meter
from bridge.venue.picture import BelievedBeams, scene
from bridge.venue.practice import Practice
from bridge.venue.receiver import SacnReceiver, open_sockets
from bridge.venue.robot import Progress, Robot
from bridge.venue.runner import MEASURE_EVERY, VenueRunner
from bridge.venue.simulation import Venue
from bridge.venue.view import View
from bridge.venue.walks import Link, walk

LINK = Link(rate_hz=60.0, jitter_s=0.005, loss=0.01)
HEARD_WITHIN_S, SOLVED_WITHIN_S, SESSION_WITHIN_S, LIT_WITHIN_S = 15.0, 60.0, 240.0, 15.0
STAND_S, STAND_SETTLE_S = 3.0, 2.0  # a place; the part of it in which heads move and fade
SHARES = {"standing": 0.4, "strolling": 0.4, "leaving": 0.2}
LEAST_S = {"standing": 3.0, "strolling": 3.0, "leaving": 6.0}
PANEL_PORT = 8787  # or another, where somebody has that
SETTLE_S = 1.0  # after the first light on the performer


class Demo:
    """`await run()` gives the summary. `phase`, `robot`, `venue`, `meter` can be watched by a display meanwhile."""

    def __init__(
        self, folder: Path, seed: int, universe: int = 1, view: tuple[str, int] | None = None,
        note: Callable[[str], None] = lambda _: None, desk: bool = True,
    ) -> None:  # fmt: skip
        self._seed, self._note = seed, note
        self._show_path = folder / "show"
        self.show, self.truth = demo_show(folder, seed, universe, desk)
        self.venue = Venue(self.show, self.truth)
        self.meter = Meter(self.venue)
        self.robot: Robot | None = None
        self.phase = "starting"
        self.address: str | None = None
        self.panel: str | None = None
        self._practice = Practice(self.venue, "lead", seed, self._practises)
        self._view = View(*view, scene(self.show, self.truth), self._practice.asked) if view else None
        self._solved: BelievedBeams | None = None
        self._stopping = asyncio.Event()
        self._walks = 0
        self._kind = "stand"
        self._before_practice = "", False
        self._panel: PanelProcess | None = None
        self._desk: DemoDesk | None = None
        self.summary: dict[str, Any] = {"seed": seed, "show": self.show.name, "heads": len(self.show.fixtures)}

    def stop(self) -> None:
        """End as soon as the heads are dark."""
        self._stopping.set()

    async def run(self, seconds: float | None) -> dict[str, Any]:
        """The whole demo; `seconds` of following, or until `stop`."""
        with ExitStack() as stack:
            self.receiver = SacnReceiver(self.venue.heads.universes, self._note)
            sockets = open_sockets(self.venue.heads.universes, self.show.network.sacn.interface)
            for one in sockets:
                stack.callback(one.close)
            if self.show.network.desk is not None:
                self._desk = DemoDesk(self.show, self.venue)
                stack.callback(self._desk.sender.close)
                self._note(self._desk.sender.words)
            bridge = BridgeProcess(self._show_path, self.show.network.osc.port)
            stack.callback(bridge.close)
            await self._play(bridge, sockets, seconds)
        return self.summary

    async def _play(self, bridge: BridgeProcess, sockets: list[socket.socket], seconds: float | None) -> None:
        self._bridge = bridge
        publish = self._view.publish if self._view else None
        self._runner = VenueRunner(self.venue, self.receiver, sockets, self.meter, publish, lambda: self._solved)
        self._runner.measuring = False
        self._actor = Actor(self.venue, bridge.say)
        self._runner.each_step = self._each_step
        if self._view is not None:
            self.address = await self._view.start()
            self._note(f"view: {self.address}")
            self._open_panel(self.address)
        moving = asyncio.create_task(self._runner.run())
        try:
            await self._script(seconds)
            await self._end()
        finally:
            self._runner.stop()
            await moving
            if self._panel is not None:
                self._panel.close()
            if self._view is not None:
                await self._view.stop()
        if self._desk is not None:
            self.summary["desk"] = self._desk.summary()
        self.summary["skipped_s"] = round(self._runner.skipped_s, 2)

    def _open_panel(self, venue: str) -> None:
        """The operator's page, where there is a venue's page: it tells practice where the performer is."""
        place = f"127.0.0.1:{free_port(PANEL_PORT)}"
        self._panel = PanelProcess(self._show_path, place, venue.removeprefix("http://").rstrip("/"))
        self.panel = self._panel.address
        self._note(f"panel: {self.panel}   (`Practise` there hands you the performer)")

    def _each_step(self, now_s: float) -> None:
        if self._desk is not None:
            self._desk.sender.tick(now_s)
            if self._runner.measuring and self._runner.steps % MEASURE_EVERY == 0:
                self._desk.observe(self._kind == "stand")
        if not self._practice.tick(now_s):
            self._actor.tick(now_s)
        if self.robot is not None and self._runner.steps % 2 == 0:
            self.robot.tick(now_s)

    def _practises(self, on: bool) -> None:
        """Somebody takes the performer over for practice, or gives it back: the script waits, nothing is measured."""
        if on:
            self._before_practice = self.phase, self._runner.measuring
            self._runner.measuring = False
            self._set("practice: the performer is yours")
            return
        phase, measuring = self._before_practice
        self._bridge.say("/target/lead/take")
        self._go(self._kind, 60.0)
        self._set(phase)
        self._runner.measuring = measuring

    def _set(self, phase: str) -> None:
        self.phase = self._runner.note = phase
        self._note(phase)

    async def _script(self, seconds: float | None) -> None:
        self._set("waiting for the bridge")
        universes = ", ".join(map(str, self.venue.heads.universes))
        await self._until(
            self._ours_alone, HEARD_WITHIN_S,
            f"the bridge was not heard alone on universes {universes} (another source? `--universe 101` takes others)",
        )  # fmt: skip
        await self._focus()
        await self._solve()
        await self._begin_following()
        first = True
        while not self._stopping.is_set() and (first or seconds is None):
            await self._stand(self._share("standing", seconds))
            await self._walk("strolling", "stroll", self._share("strolling", seconds))
            if first:
                await self._stroll_not_led(self._share("strolling", seconds))
            await self._walk("leaving", "leave", self._share("leaving", seconds))
            if seconds is None:
                await self._walk("dancing", "dance", 10.0)
                await self._walk("running", "run", 10.0)
            first = False

    def _ours_alone(self) -> bool:
        """Every universe is driven by our bridge and nobody else: by another demo it would not be."""
        heard = [source.source_name for source in self.receiver.sources(time.monotonic())]
        return heard == [source_name()] * len(self.venue.heads.universes)

    @staticmethod
    def _share(phase: str, seconds: float | None) -> float:
        return max(LEAST_S[phase], SHARES[phase] * (30.0 if seconds is None else seconds))

    async def _until(self, done: Callable[[], bool], within_s: float, otherwise: str) -> None:
        """Wait for something; NetworkError with the bridge's last words when it does not happen."""
        end = time.monotonic() + within_s
        while not done() and not self._stopping.is_set():
            self._bridge.check()
            if time.monotonic() > end:
                raise NetworkError(f"{otherwise} within {within_s:g} s; its last words:\n{self._bridge.last_words()}")
            await asyncio.sleep(0.05)

    async def _wait(self, seconds: float) -> None:
        end = time.monotonic() + seconds
        while time.monotonic() < end and not self._stopping.is_set():
            self._bridge.check()
            slept_s = min(0.1, max(end - time.monotonic(), 0.0))
            await asyncio.sleep(slept_s)
            if self._practice.on:
                end += slept_s

    async def _focus(self) -> None:
        self._set("focus session: the robot puts every beam on every mark")
        robot = Robot(self.show.fixtures, self.venue.marks, self._bridge.say, self.venue.landing, self._seed)
        began, self.robot = time.monotonic(), robot
        await self._until(lambda: robot.progress.finished, SESSION_WITHIN_S, "the focus session did not end")
        found: Progress = robot.progress
        self.robot = None
        self.summary["session"] = {
            "seconds": round(time.monotonic() - began, 1),
            "sightings": found.done,
            "nudges": found.nudges,
            "missed": [list(pair) for pair in found.misses],
        }

    async def _solve(self) -> None:
        if self._stopping.is_set():
            return
        self._set("solving the poses")
        began = time.monotonic()
        await self._wait(0.3)  # the last sightings are on their way to the disk
        self._bridge.say("/sight/solve")
        wanted = {fixture.name for fixture in self.show.fixtures}

        file, seen = self._show_path / "poses.yaml", 0

        def solved() -> bool:
            nonlocal seen
            written = file.stat().st_mtime_ns if file.exists() else 0
            if written == seen:  # reading a show takes longer than a step of the venue: only when there is news
                return wanted <= set(self.show.poses) or (bool(seen) and time.monotonic() - began > 10)
            seen, self.show = written, load(self._show_path)
            return False

        await self._until(solved, SOLVED_WITHIN_S, "no poses were solved")
        self._solved = BelievedBeams(self.show)
        trusted = [pose.trusted for pose in self.show.poses.values()]
        self.summary["solve_s"] = round(time.monotonic() - began, 1)
        self.summary["trusted"] = bool(trusted) and all(trusted)
        self.summary["calibration"] = calibration(self.show, self.truth)
        hand = sighting_misses(self.show, self.truth)
        if hand.size:
            self.summary["session"]["hand_rms_m"] = round(float((hand**2).mean() ** 0.5), 4)
            self.summary["session"]["hand_worst_m"] = round(float(hand.max()), 4)

    async def _begin_following(self) -> None:
        self._set("the performer comes on")
        self._go("stand", 60.0)
        await self._until(
            lambda: bool((self.venue.heads.level > 0.25).any()), LIT_WITHIN_S, "no head lit the performer"
        )
        await self._wait(SETTLE_S)

    def _go(self, kind: str, seconds: float) -> None:
        """Send the performer on a walk of its own dice."""
        self._walks += 1
        here = self.venue.performers.get("lead")
        start = here.feet[:2] if here is not None and kind != "stand" else None
        self._begin(kind, seconds, 1000 * self._seed + self._walks, start)

    def _begin(self, kind: str, seconds: float, seed: int, start: tuple[float, float] | None) -> None:
        self._kind = kind
        path = walk(kind, self.show.stage.polygon.area.corners, seconds, seed, start=start)
        self._actor.begin(path, time.monotonic(), LINK, seed)

    async def _stand(self, seconds: float) -> None:
        self._set("a performer stands, here and there")
        self.meter.restart()
        places = max(1, round(seconds / STAND_S))
        for _ in range(places):
            self._runner.measuring = False
            self._go("stand", STAND_S)
            await self._wait(STAND_SETTLE_S)
            self._runner.measuring = True
            await self._wait(STAND_S - STAND_SETTLE_S)
        self._keep("standing")
        self.summary["standing"]["places"] = places

    async def _walk(self, name: str, kind: str, seconds: float) -> None:
        if self._stopping.is_set():
            return
        self._set(f"a performer is {name}")
        self.meter.restart()
        self._go(kind, seconds)
        self._runner.measuring = True
        await self._wait(seconds)
        self._keep(name)

    async def _stroll_not_led(self, seconds: float) -> None:
        """The stroll before once more, with heads that aim at where the performer is seen: what leading is worth."""
        if self._stopping.is_set():
            return
        self._set("the same stroll, not led")
        stroll, self._runner.measuring = self._actor.path, False
        assert stroll is not None
        start = stroll.at(0.0)
        lead_targets(self._show_path, False)
        self._bridge.say("/reload")
        self._begin("stand", 60.0, 1000 * self._seed + self._walks, start)
        await self._wait(STAND_SETTLE_S)
        self.meter.restart()
        self._begin("stroll", seconds, stroll.seed, start)
        self._runner.measuring = True
        await self._wait(seconds)
        self._keep("strolling_not_led")
        lead_targets(self._show_path, True)
        self._bridge.say("/reload")

    def _keep(self, name: str) -> None:
        self._runner.measuring = False
        if self.meter.observed_s > 0:
            self.summary[name] = self.meter.summary()

    async def _end(self) -> None:
        self._set("the bridge stops")
        self._actor = Actor(self.venue, self._bridge.say)
        self._bridge.signal_stop()
        end = time.monotonic() + 5.0
        while not self._bridge.ended and time.monotonic() < end:
            await asyncio.sleep(0.05)
        await asyncio.sleep(0.3)
        self.summary["bridge_exit"] = self._bridge.exit_code
        self.summary["dark_at_the_end"] = bool((self.venue.heads.level < 0.02).all())
