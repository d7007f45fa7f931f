"""The whole of it for tests of the panel: real daemon, real panel, real Chromium, and a simulated venue that measures.

    async with panel_stage(tmp_path) as stage:
        await stage.press_plan(2.0, 3.0)
        await stage.lit_at(2.0, 3.0)          # the venue sees every beam there, or the test fails

The venue steps in real time inside the test: `landing`, `levels` and `misses` are where the beams truly are.
Run under a network of its own where other tests run at the same time: sACN is multicast on loopback.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiohttp
import numpy as np

from bridge.geometry.stage import Point3
from bridge.venue.measure import Meter
from bridge.venue.picture import scene
from bridge.venue.practice import Practice
from bridge.venue.receiver import SacnReceiver, open_sockets
from bridge.venue.runner import VenueRunner
from bridge.venue.simulation import Venue
from bridge.venue.talk import Talk
from bridge.venue.thrown_beams import axis_distance
from bridge.venue.view import View
from bridge.wire.settings import OscSettings
from tests.system.chromium import Browser, Page, chromium
from tests.system.chromium_hands import Point, Pointer
from tests.system.panel_shows import SHOWS, StagedShow, free_port
from tests.system.running import Running, until

READY_S = 60.0
SETTLE_S = 6.0
HEIGHT_M = 1.3
EDGES = """(() => { const plan = document.querySelector('[data-plan]'), box = plan.getBoundingClientRect();
  return [box.left, box.top, box.width, box.height, ...['left', 'right', 'bottom', 'top'].map((e) => +plan.dataset[e])];
})()"""


@dataclass
class PanelStage:
    """What a test has in its hands. `page` is the first page; `open` opens others."""

    staged: StagedShow
    daemon: Running
    panel: Running
    venue: Venue
    meter: Meter
    runner: VenueRunner
    url: str
    say: Callable[..., None]
    http: aiohttp.ClientSession
    browser: Browser | None = None
    pages: list[Page] = field(default_factory=list)

    @property
    def page(self) -> Page:
        """The first page that was opened."""
        return self.pages[0]

    async def open(self, name: str = "", **how: Any) -> Page:
        """Another page on the panel, its line up and the stage known; `name`: of its operator, who then is a person of
        their own. `how`: see `Browser.open`."""
        assert self.browser is not None
        if name:
            how["context"] = await self.browser.context()
        page = await self.browser.open(self.url, **how)
        self.pages.append(page)
        await page.until("window.panel?.store.scene && window.panel.store.frame", READY_S)
        if name:
            await page.evaluate(f"(panel.link.rename({name!r}), 1)")
        return page

    # What the venue sees

    def landing(self, name: str) -> Point3 | None:
        """Where a head's beam falls, metres; None while it is dark or meets nothing."""
        return self.venue.landing([name])[name][0]

    def levels(self) -> dict[str, float]:
        """The true light of every head, 0 to 1."""
        return {name: level for name, (_, level) in self.venue.landing().items()}

    def misses(self, x: float, y: float, z: float = HEIGHT_M) -> dict[str, float]:
        """How far each lit beam's axis passes from a point, metres."""
        state, beams = self.venue.look()
        off = axis_distance(beams, np.array([x, y, z]))
        return {n: float(off[i]) for i, n in enumerate(self.venue.names) if state.level[i] > 0.02}

    async def lit_at(
        self, x: float, y: float, within_m: float = 0.1, heads: int | None = None, within_s: float = SETTLE_S
    ) -> dict[str, float]:
        """Wait until so many heads (default all) are lit and every one passes a person at x, y so near."""
        wanted = len(self.venue.names) if heads is None else heads
        await self.until(
            lambda: len(m := self.misses(x, y)) == wanted and max(m.values(), default=0.0) <= within_m,
            within_s,
            lambda: f"{wanted} heads within {within_m} m of {x}, {y}; seen {self.misses(x, y)}",
        )
        return self.misses(x, y)

    async def dark(self, within_s: float = 1.0) -> None:
        """Wait until no head gives light."""
        await self.until(lambda: not self.misses(0, 0), within_s, lambda: f"all dark; seen {self.levels()}")

    async def until(self, seen: Callable[[], object], within_s: float, otherwise: Callable[[], str]) -> None:
        """Wait for something that the venue shows, while both processes run."""
        await until(seen, within_s, lambda: f"{otherwise()}\ndaemon:\n{self.daemon.log[-1500:]}")

    # What the hand does

    async def plan_at(self, x: float, y: float, page: Page | None = None) -> Point:
        """The pixels of a place of the stage on the plan of a page, by the contract's `data-` attributes alone."""
        left, top, width, height, west, east, south, north = await (page or self.page).evaluate(EDGES)
        at = left + width * (x - west) / (east - west), top + height * (north - y) / (north - south)
        assert left <= at[0] <= left + width, f"{x}, {y} lies beside the plan, which shows x {west} to {east}"
        assert top <= at[1] <= top + height, f"{x}, {y} lies beside the plan, which shows y {south} to {north}"
        return at

    async def press_plan(self, x: float, y: float, page: Page | None = None, pointer: Pointer = "mouse") -> None:
        """Press and lift on a place of the plan."""
        await (page or self.page).click_at(await self.plan_at(x, y, page), pointer)

    async def drag_plan(
        self, start: Point, end: Point, page: Page | None = None, pointer: Pointer = "mouse", steps: int = 20
    ) -> None:
        """Drag from one place of the stage to another."""
        ends = await self.plan_at(*start, page), await self.plan_at(*end, page)
        await (page or self.page).drag(*ends, steps=steps, pointer=pointer)

    # The processes

    async def health(self) -> dict[str, Any]:
        """What `GET /health` of the panel says; {} where nobody answers."""
        try:
            async with self.http.get(self.url + "health") as answer:
                return dict(await answer.json())
        except (aiohttp.ClientError, OSError):
            return {}

    async def ready(self) -> None:
        """Wait until the panel serves and hears the daemon."""
        end_s = asyncio.get_running_loop().time() + READY_S
        while not (await self.health()).get("bridge", {}).get("heard"):
            self.daemon.check()
            self.panel.check()
            words = f"the panel hears no daemon; {self.panel.log[-1500:]}\ndaemon:\n{self.daemon.log[-1500:]}"
            assert asyncio.get_running_loop().time() < end_s, words
            await asyncio.sleep(0.05)


@asynccontextmanager
async def panel_stage(
    folder: Path,
    show: str = "demo",
    armed: bool = True,
    solved: bool = True,
    universe: int = 30200,
    page: dict[str, Any] | None = None,
    view: bool = False,
    with_browser: bool = True,
) -> AsyncIterator[PanelStage]:
    """Everything up, one page open (`page`: how, see `Browser.open`). `show`: demo (12 heads) or many (48). `view`: the
    venue's page is served too and told to the panel, for practice. No browser: no page either."""
    staged = SHOWS[show](folder / "show", universe, solved)
    async with AsyncExitStack() as stack:
        stage, published = await _venue(staged, folder, armed, view, stack)
        moving = asyncio.create_task(stage.runner.run())
        try:
            await stage.ready()
            if with_browser:
                stage.browser = await stack.enter_async_context(chromium())
                await stage.open(**(page or {}))
            yield stage
        finally:
            stage.runner.stop()
            await moving
            if published is not None:
                await published.stop()


async def _venue(
    staged: StagedShow, folder: Path, armed: bool, view: bool, stack: AsyncExitStack
) -> tuple[PanelStage, View | None]:
    """Venue, daemon and panel, started; they end with the stack."""
    venue = Venue(staged.show, staged.truth)
    sockets = open_sockets(venue.heads.universes, "127.0.0.1")
    for one in sockets:
        stack.callback(one.close)
    meter = Meter(venue)
    practice = Practice(venue, staged.show.stage.targets[0].name)
    published = View("127.0.0.1", 0, scene(staged.show, staged.truth), practice.asked) if view else None
    publish = published.publish if published else None
    runner = VenueRunner(venue, SacnReceiver(venue.heads.universes), sockets, meter, publish)
    runner.each_step = practice.tick
    state, port = str(folder / "state"), free_port(socket.SOCK_STREAM)
    daemon = Running(
        folder / "daemon.log", "run", str(staged.folder), "--no-panel", "--state", state, *(["--armed"] * armed)
    )
    words = ["panel", str(staged.folder), "--listen", f"127.0.0.1:{port}", "--state", state]
    if published is not None:
        words += ["--venue", (await published.start()).removeprefix("http://").rstrip("/")]
    panel = Running(folder / "panel.log", *words)
    for process in (daemon, panel):
        stack.push_async_callback(process.close)
        await process.start()
    talk = stack.enter_context(Talk(OscSettings(port=staged.port)))
    http = await stack.enter_async_context(aiohttp.ClientSession())
    return PanelStage(
        staged, daemon, panel, venue, meter, runner, f"http://127.0.0.1:{port}/", talk.say, http
    ), published


def on_stage(folder: Path, test: Callable[[PanelStage], Any], within_s: float = 180.0, **how: Any) -> None:
    """Run a test's coroutine function on a stage of its own; `how`: see `panel_stage`."""

    async def whole() -> None:
        async with panel_stage(folder, **how) as stage:
            await test(stage)

    asyncio.run(asyncio.wait_for(whole(), within_s))
