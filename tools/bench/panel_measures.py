"""What tools/bench/panel.py measures: functions that set up a stage of their own and return plain numbers.

The hand is the browser's own input (CDP); packets carry the kernel's time of arrival. All clocks are this machine's
CLOCK_REALTIME: `time.time()`, the stamps, and the page's `performance.timeOrigin + event.timeStamp`.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import random
import sys
import time
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

from ear import Ear, Packet, cpu_s, quantiles_ms
from latency import gaps

from tests.system.chromium import Page
from tests.system.panel_stage import PanelStage, panel_stage

HERE = Path(__file__).resolve().parent
QUIET_S, ANSWER_S, HAND_HZ = 0.15, 1.0, 60.0
CENTRE, RADIUS_M = (0.0, 4.0), 1.5
LISTEN = """(() => { window.moved = 0;
  addEventListener('pointermove', (e) => { moved = performance.timeOrigin + e.timeStamp; }, true); })()"""
TAKE = "panel.link.osc('/target/lead/take')"
Delays = dict[str, tuple[dict[str, float | None], int]]


class Ears:
    """An `Ear` beside an event loop: reads what has come, whenever it is asked."""

    def __init__(self, universe: int) -> None:
        self._ear = Ear(universe)
        self.slots, self.last_s, self.since_s = b"", 0.0, 0.0
        self.packets: list[Packet] = []

    def hear(self) -> list[Packet]:
        """New packets; `since_s` is when the slots changed last."""
        found = self._ear.hear(0.0)
        for packet in found:
            self.last_s = packet.at_s
            if packet.slots != self.slots:
                self.slots, self.since_s = packet.slots, packet.at_s
        self.packets += found
        return found

    async def idle(self, quiet_s: float = QUIET_S) -> None:
        """Until the slots have not changed for so long."""
        self.since_s = time.time()
        while time.time() - self.since_s < quiet_s:
            self.hear()
            await asyncio.sleep(0.005)

    async def changed(self, within_s: float) -> float | None:
        """When the slots change next; None where they do not."""
        before, end_s = self.slots, time.time() + within_s
        while time.time() < end_s:
            for packet in self.hear():
                if packet.slots != before:
                    return packet.at_s
            await asyncio.sleep(0.001)
        return None

    def close(self) -> None:
        """Leave the group."""
        self._ear.close()


async def _taken_in_hand(stage: PanelStage, ears: Ears, page: Page) -> tuple[float, float]:
    """Light on the target at the centre, and the mouse down on it: the page's hand has it. Returns the pixels."""
    stage.say("/target/lead/position", *CENTRE)
    await stage.lit_at(*CENTRE)
    stage.runner.stop()  # from here on nobody looks at beams: leave the processor to what is measured
    await ears.idle()
    at = await stage.plan_at(*CENTRE, page)
    await page.evaluate(TAKE)
    await page.until("panel.store.hand('lead') === 'me'")
    await page.press(at)
    return at


async def latency(folder: Path, universe: int, samples: int) -> Delays:
    """Pointer moves of two to six pixels, one at a time, to the first packet with other slots, output idle before.

    Two beginnings: when the test hands the move to the browser, and the time that the browser gives the event itself.
    A sample that falls within a period after a keep-alive must wait for the rate limit and is not counted.
    """
    rng, ears = random.Random(1), Ears(universe)
    given_s: list[float] = []
    event_s: list[float] = []
    async with panel_stage(folder, universe=universe) as stage:
        page = stage.page
        await page.evaluate(LISTEN)
        x, y = await _taken_in_hand(stage, ears, page)
        for n in range(samples * 2):
            await ears.idle()
            await asyncio.sleep(rng.uniform(0, 0.05))
            ears.hear()
            angle, size = rng.uniform(0, 2 * math.pi), rng.uniform(2, 6)
            idle_s, sent_s = ears.last_s, time.time()
            await page.move((x + size * math.cos(angle), y + size * math.sin(angle)))
            changed_s = await ears.changed(ANSWER_S)
            if changed_s is not None and sent_s - idle_s > 1 / 44:
                given_s.append(changed_s - sent_s)
                event_s.append(changed_s - float(await page.evaluate("moved")) / 1000)
            if len(given_s) >= samples or (n == 9 and not given_s):
                break
    ears.close()
    return {
        word: (quantiles_ms(found, 50, 95), len(found))
        for word, found in (
            ("pointer event given to the browser", given_s),
            ("the browser's own time of the event", event_s),
        )
    }


async def load(folder: Path, universe: int, seconds: float) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Period and daemon's CPU of the same hand three times: OSC without a panel, OSC with a panel that no page is open
    on, and four pages of which one drags. Meanwhile half of 48 heads follow a performer who never stops, told 100 times
    a second by a process of its own: a packet is due at every period."""
    ears = Ears(universe)
    async with panel_stage(folder, show="many", universe=universe) as stage:
        pages = [stage.page, *[await stage.open(f"Watcher {n}") for n in range(3)]]
        at = await _taken_in_hand(stage, ears, stage.page)
        edge = await stage.plan_at(CENTRE[0] + RADIUS_M, CENTRE[1])
        scale = (edge[0] - at[0]) / RADIUS_M

        async def by_hand(dx: float, dy: float) -> None:
            await stage.page.move((at[0] + scale * dx, at[1] - scale * dy))

        async def by_osc(dx: float, dy: float) -> None:
            stage.say("/target/lead/position", CENTRE[0] + dx, CENTRE[1] + dy)

        async with walker(stage):
            four = await walk(stage, ears, by_hand, seconds)
            await stage.page.lift(at)
            assert stage.browser is not None
            for page in pages:
                await stage.browser.shut(page)
            stage.say("/target/lead/take")
            alone = await walk(stage, ears, by_osc, seconds)
            await stage.panel.close()
            without = await walk(stage, ears, by_osc, seconds)
    ears.close()
    return without, alone, four


@contextlib.asynccontextmanager
async def walker(stage: PanelStage) -> AsyncIterator[None]:
    """Every other head follows a second target that walks."""
    stage.say("/target/solo/crew", *stage.venue.names[::2])
    words = (str(HERE / "panel_walker.py"), str(stage.staged.port), "solo")
    process = await asyncio.create_subprocess_exec(sys.executable, *words)
    try:
        await asyncio.sleep(2.0)
        yield
    finally:
        process.kill()
        await process.wait()


async def walk(stage: PanelStage, ears: Ears, to: Any, seconds: float) -> dict[str, Any]:
    """A circle once in three seconds, HAND_HZ observations a second as far as the browser takes them."""
    ears.hear()
    ears.packets.clear()
    before_s, start_s, said = cpu_s(stage.daemon.pid), time.time(), 0
    while (now_s := time.time() - start_s) < seconds:
        angle = 2 * math.pi * now_s / 3
        await to(RADIUS_M * math.cos(angle), RADIUS_M * math.sin(angle))
        said += 1
        ears.hear()
        await asyncio.sleep(max(0.0, start_s + said / HAND_HZ - time.time()))
    spent_s = time.time() - start_s
    share = (cpu_s(stage.daemon.pid) - before_s) / spent_s
    ears.hear()
    packets = [packet for packet in ears.packets if packet.at_s > start_s + 0.5]  # an idle output may begin it
    return {**gaps(packets), "cpu_percent": 100 * share, "pace": said / spent_s}


async def pictures(folder: Path, universe: int, seconds: float) -> tuple[float, float, float]:
    """Pictures a second of the plan with 48 heads: while OSC moves the target, while a hand does; and the browser's."""
    ears = Ears(universe)
    async with panel_stage(folder, show="many", universe=universe) as stage:
        page = stage.page
        at = await _taken_in_hand(stage, ears, page)
        await page.lift(at)

        async def by_osc(dx: float, dy: float) -> None:
            stage.say("/target/lead/position", CENTRE[0] + dx, CENTRE[1] + dy)

        async def by_hand(dx: float, dy: float) -> None:
            await page.move((at[0] + 60 * dx, at[1] - 60 * dy))

        async def counted(to: Any) -> float:
            moving = asyncio.create_task(walk(stage, ears, to, seconds + 1))
            try:
                return await page.pictures_per_s("[data-plan]", seconds)
            finally:
                moving.cancel()
                with contextlib.suppress(asyncio.CancelledError):
                    await moving

        stage.say("/target/lead/take")
        standing = await counted(by_osc)
        await page.evaluate(TAKE)
        await page.until("panel.store.hand('lead') === 'me'")
        await page.press(at)
        dragged = await counted(by_hand)
        await page.lift(at)
        start = "(window.n = 0, (function more() { n += 1; requestAnimationFrame(more); })(), 1)"
        await page.evaluate(start)
        await asyncio.sleep(seconds)
        bounded = await page.evaluate("n") / seconds
    ears.close()
    return standing, dragged, bounded
