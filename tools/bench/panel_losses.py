"""What a death costs: how soon a page says that the daemon is gone, and what a killed panel does to the packets."""

from __future__ import annotations

import asyncio
import signal
import time
from itertools import pairwise
from pathlib import Path
from typing import Any

import aiohttp
from ear import Ear
from panel_measures import Ears, walk, walker

from tests.system.panel_stage import panel_stage

DEATHS = 5
WATCH = """(window.toldAt = 0, setInterval(() => {
  const told = !document.querySelector('#banner').hidden;
  if (told && !window.toldAt) window.toldAt = Date.now();
}, 5), 1)"""


async def told_after_ms(folder: Path, universe: int) -> list[float]:
    """From the daemon's SIGKILL to the page's banner, DEATHS times."""
    found = []
    async with panel_stage(folder, universe=universe) as stage:
        page = stage.page
        await page.evaluate(WATCH)
        for _ in range(DEATHS):
            await page.until("document.querySelector('#banner').hidden", 30)
            await asyncio.sleep(0.5)
            await page.evaluate("(window.toldAt = 0, 1)")
            killed_s = time.time()
            await stage.daemon.end(signal.SIGKILL)
            await page.until("window.toldAt > 0", 10)
            found.append(float(await page.evaluate("toldAt")) - 1000 * killed_s)
            await stage.daemon.start()
    return found


async def packets_meanwhile(folder: Path, universe: int) -> tuple[float, float]:
    """The longest time between two packets of a universe that is always due, ms: undisturbed, and while the panel is
    killed and started again DEATHS times."""
    ear = Ear(universe)
    async with panel_stage(folder, show="many", universe=universe, with_browser=False) as stage, walker(stage):
        stage.runner.stop()
        calm = await _longest(ear, DEATHS * 2.0)
        watching = asyncio.create_task(_longest(ear, DEATHS * 2.0))
        for _ in range(DEATHS):
            await stage.panel.end(signal.SIGKILL)
            await stage.panel.start()
            await asyncio.sleep(1.5)
        killed = await watching
    ear.close()
    return calm, killed


async def four_lines(folder: Path, universe: int, seconds: float) -> tuple[dict[str, Any], dict[str, Any]]:
    """As panel_measures.load, with four pages that are lines only, as if on tablets: no browser takes our processor."""
    ears = Ears(universe)
    async with panel_stage(folder, show="many", universe=universe, with_browser=False) as stage, walker(stage):
        stage.runner.stop()

        async def by_osc(dx: float, dy: float) -> None:
            stage.say("/target/lead/position", dx, 4.0 + dy)

        calm = await walk(stage, ears, by_osc, seconds)
        stage.say("/target/lead/position", 0.0, 4.0)
        await asyncio.sleep(3.0)  # until the target is free for another hand
        lines = [await stage.http.ws_connect(stage.url.replace("http", "ws") + "stream") for _ in range(4)]
        reading = [asyncio.create_task(_read(line)) for line in lines]

        async def by_line(dx: float, dy: float) -> None:
            args = [round(dx, 3), round(4.0 + dy, 3)]
            await lines[0].send_json({"do": "osc", "address": "/target/lead/position", "args": args})

        four = await walk(stage, ears, by_line, seconds)
        for task in reading:
            task.cancel()
        await asyncio.gather(*reading, return_exceptions=True)
    ears.close()
    return calm, four


async def _read(line: aiohttp.ClientWebSocketResponse) -> None:
    async for _ in line:
        pass


async def _longest(ear: Ear, seconds: float) -> float:
    ear.hear()
    times, end_s = [], time.time() + seconds
    while time.time() < end_s:
        times += [packet.at_s for packet in ear.hear()]
        await asyncio.sleep(0.002)
    return 1000 * max(b - a for a, b in pairwise(times))
