"""A page in a real Chromium with a made-up venue behind it, for the tests of the view.

Set TETHERLIGHT_SHOTS to a folder to keep the pictures that the tests take: a person has to look at them too.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from bridge.venue.view import View
from tests.system import made_venue
from tests.system.chromium import Page, chromium

SHOTS = os.environ.get("TETHERLIGHT_SHOTS")
TEST_S = 120


@dataclass
class Stage:
    """A page, the view that feeds it, and the made-up venue behind it."""

    page: Page
    view: View
    url: str
    scene: dict[str, Any]
    frames: list[dict[str, Any]] = field(default_factory=list)
    feeder: asyncio.Task[None] | None = None

    def feed(self, rate_hz: float = 30.0) -> None:
        """Publish the frames over and over until stopped."""

        async def whole() -> None:
            loop = asyncio.get_running_loop()
            began, sent = loop.time(), 0
            while True:
                await self.view.publish(self.frames[sent % len(self.frames)])
                sent += 1
                await asyncio.sleep(max(0.0, began + sent / rate_hz - loop.time()))

        self.feeder = asyncio.create_task(whole())

    async def pause(self) -> None:
        if self.feeder is not None:
            self.feeder.cancel()
            await asyncio.gather(self.feeder, return_exceptions=True)
            self.feeder = None

    async def show(self, index: int) -> None:
        """Publish one frame and wait until the page has drawn it."""
        before = await self.page.evaluate("venue.state.pictures")
        await self.view.publish(self.frames[index])
        await self.page.until(f"venue.state.pictures > {before} && !venue.state.dirty && !venue.drawing.turn")

    async def picture(self, name: str = "") -> np.ndarray:
        """What is seen of the drawing, its buttons left out: (height, width, 3)."""
        path = Path(SHOTS) / f"{name}.png" if SHOTS and name else None
        image = await self.page.screenshot(path)
        left, top, right, bottom = await self.page.box("#drawing")
        return image[top : bottom - 80, left:right].astype(int)


@asynccontextmanager
async def staged(
    heads: int = 12, size: tuple[int, int] = (1280, 800), touch: bool = False, calm: bool = True
) -> AsyncIterator[Stage]:
    """A page that shows the first frame."""
    scene = made_venue.scene(heads)
    view = View("127.0.0.1", 0, scene)
    url = await view.start()
    try:
        async with chromium(*(["--force-prefers-reduced-motion"] if calm else [])) as browser:
            page = await browser.open(url, *size, touch=touch)
            frames = [made_venue.frame(scene, k / made_venue.FRAME_RATE) for k in range(150)]
            stage = Stage(page, view, url, scene, frames)
            await page.until("venue.state.scene")
            await stage.show(0)
            try:
                yield stage
            finally:
                await stage.pause()
            assert page.errors == []
    finally:
        await view.stop()


def in_browser(test: Callable[[], Awaitable[None]]) -> None:
    async def whole() -> None:
        await test()

    asyncio.run(asyncio.wait_for(whole(), TEST_S))


def bright(image: np.ndarray) -> int:
    return int((image.max(axis=2) > 90).sum())


def changed(first: np.ndarray, second: np.ndarray) -> float:
    """Share of the pixels that differ by more than noise."""
    return float((np.abs(first - second).max(axis=2) > 12).mean())
