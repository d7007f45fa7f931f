"""A person at a focus session, for tests and for the figure: sees where the beam is on the stage and presses the page.

The person knows what the page says and where the venue's beam lies, and nothing of poses, pan or tilt. What the hand
leaves (`hand_m`, sigma per axis) is thrown once for each head and mark. Every press is counted as a decision.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import re

import numpy as np

from tests.system.chromium import Page
from tests.system.chromium_named import Control
from tests.system.panel_stage import PanelStage

STEPS_M = ((0.2, "20 cm"), (0.05, "5 cm"), (0.01, "1 cm"))
CLOSE_M = 0.0065  # per axis: nothing finer than the step of 1 cm can be asked for
FAR_M, LOST_M = 0.45, 6.0
PIXELS_FOR_A_STEP = 16.0  # of the drag surface
LONGEST_DRAG_PX = 65.0
DRAG_NOISE = 0.1
REST_M, REST_S, LOOK_S, REACTION_S, PATIENCE_S = 0.002, 0.12, 0.03, 0.2, 6.0
WAYS = {0: "to the right", 45: "upstage right", 90: "upstage", 135: "upstage left", 180: "to the left",
        225: "downstage left", 270: "downstage", 315: "downstage right"}  # fmt: skip
PUSHES = {"Left": (-1, 0), "Right": (1, 0), "Upstage": (0, 1), "Downstage": (0, -1)}


class Person:
    """`drags`: whether the hand uses the drag surface for what is far; else it presses arrows only."""

    def __init__(self, stage: PanelStage, page: Page, seed: int = 1, hand_m: float = 0.03, drags: bool = False) -> None:
        self._stage, self._page, self._drags = stage, page, drags
        self._rng = np.random.default_rng(seed)
        self._hand_m = hand_m
        self._step = ""
        self._known: dict[str, Control] = {}
        self.decisions = 0
        self.waited_s = 0.0
        self.said: list[str] = []
        """What was done, one line a look."""
        self.left: dict[tuple[str, str], float] = {}
        """How far from the mark each recorded beam was, metres."""

    async def press(self, name: str, role: str = "button") -> None:
        """One decision: press a control by its name."""
        self.decisions += 1
        if name not in self._known:  # elements stay: looked up once by role and name, pressed where they are now
            self._known[name] = await self._page.named(role, name)
        for tries in range(5):
            try:
                await self._known[name].click()
                return
            except AssertionError:  # the page moved just now, or a sentence lies there for a while
                if tries == 4:
                    raise
                await asyncio.sleep(0.5)

    async def press_until(self, name: str, seen: str, within_s: float = 5.0) -> None:
        """Press, and once more where nothing happened: on a busy machine the page may move under a press."""
        for patience_s in (within_s, within_s):
            await self.press(name)
            try:
                await self._page.until(seen, patience_s)
                return
            except AssertionError:
                continue
        raise AssertionError(f"{name} was pressed twice and there is no {seen}")

    async def in_hand(self) -> tuple[str, str]:
        """Head and mark as the page has them."""
        text = await self._page.evaluate("document.querySelector('.f-what').textContent")
        found = re.fullmatch(r"(\S+) on (\S+)", text)
        assert found, text
        return found[1], found[2]

    async def at_rest(self, head: str) -> np.ndarray | None:
        """Where the beam lies once it has come to rest, (2,) m; None where it is not seen on any floor."""
        loop = asyncio.get_running_loop()
        began_s, spots = loop.time(), []
        await asyncio.sleep(REACTION_S)
        while loop.time() - began_s < PATIENCE_S:
            spots.append(self._stage.landing(head))
            last = spots[-round(REST_S / LOOK_S) :]
            seen = len(last) == round(REST_S / LOOK_S) and None not in last
            if seen and float(np.ptp(np.array(last), axis=0).max()) < REST_M:
                break
            await asyncio.sleep(LOOK_S)
        self.waited_s += loop.time() - began_s
        return None if spots[-1] is None else np.array(spots[-1][:2])

    async def sight(self, aim: bool) -> None:
        """Bring the beam of the head in hand onto its mark and record it; `aim`: press Near first."""
        head, mark = await self.in_hand()
        goal = np.array(self._stage.venue.marks[mark][:2]) + self._rng.normal(size=2) * self._hand_m
        if aim:
            await self.press("Near")
        await self._until_it_answers(head)
        for _ in range(60):
            spot = await self.at_rest(head)
            assert spot is not None, f"the beam of {head} is not seen"
            off = goal - spot
            self.said.append(f"{head} {mark}: off by {off[0]:+.3f} {off[1]:+.3f} m after {self.decisions} decisions")
            if float(np.abs(off).max()) <= CLOSE_M:
                break
            await self._move(off)
        self.left[head, mark] = float(np.hypot(*(spot - np.array(self._stage.venue.marks[mark][:2]))))
        await self.press_until(
            "Record", f"panel.focusSession.sighted({head!r}, {mark!r}) && !panel.focusSession.awaited"
        )

    async def _until_it_answers(self, head: str) -> None:
        """While nobody knows how the head hangs: show where its beam is, or which way it goes."""
        for _ in range(4):
            await self._page.until("panel.focusSession.hangs.by !== null", 10.0)
            known = await self._page.evaluate("panel.focusSession.hangs.by")
            if known not in ("plot", ""):
                return
            spot = await self.at_rest(head)
            if spot is not None and await self._on_plan(spot):
                await self.press_until("Show on the plan", "panel.focusSession.showing", 2.0)
                self.decisions += 1
                await self._stage_tap(spot + self._rng.normal(size=2) * 0.15)
            else:
                await self.press("Try a move")
                after = await self.at_rest(head)
                assert spot is not None
                assert after is not None
                way = math.degrees(math.atan2(*(after - spot)[::-1]))
                await self.press(f"It went {WAYS[round(way / 45) * 45 % 360]}")
            with contextlib.suppress(AssertionError):  # else it is done once more
                await self._page.until("!['plot', ''].includes(panel.focusSession.hangs.by)", 6.0)
            await self.press("Near")

    async def _on_plan(self, spot: np.ndarray) -> bool:
        left, right, bottom, top = await self._edges()
        return bool(left < spot[0] < right and bottom < spot[1] < top)

    async def _edges(self) -> tuple[float, float, float, float]:
        found = await self._page.evaluate(
            "['left', 'right', 'bottom', 'top'].map((e) => +document.querySelector('#focus [data-map]').dataset[e])"
        )
        left, right, bottom, top = (float(v) for v in found)
        return left, right, bottom, top

    async def _stage_tap(self, spot: np.ndarray) -> None:
        left, right, bottom, top = await self._edges()
        x0, y0, x1, y1 = await self._page.box("#focus [data-map]")
        x = x0 + (x1 - x0) * float((spot[0] - left) / (right - left))
        y = y0 + (y1 - y0) * float((top - spot[1]) / (top - bottom))
        await self._page.click_at((min(max(x, x0 + 2), x1 - 2), min(max(y, y0 + 2), y1 - 2)))

    async def _choose(self, words: str) -> None:
        if self._step != words:
            await self.press(words)
            self._step = words

    async def _move(self, off: np.ndarray) -> None:
        most = float(np.abs(off).max())
        if self._drags and most > FAR_M:
            await self._drag(off)
            return
        size, words = next(((s, w) for s, w in STEPS_M if most > 0.75 * s), STEPS_M[-1])
        await self._choose(words)
        axis = int(np.argmax(np.abs(off)))
        name = next(n for n, way in PUSHES.items() if way[axis] * off[axis] > 0)
        for _ in range(max(1, round(most / size))):
            await self.press(name)
            await asyncio.sleep(0.12)

    async def _drag(self, off: np.ndarray) -> None:
        """One decision: a drag as far as the hand thinks, some way off."""
        await self._choose("20 cm")
        left, top, right, bottom = await self._page.box(".f-surface")
        pixels = off / 0.2 * PIXELS_FOR_A_STEP * (1 + self._rng.normal(size=2) * DRAG_NOISE)
        pixels *= min(1.0, LONGEST_DRAG_PX / max(float(np.abs(pixels).max()), 1e-9))
        middle = (left + right) / 2, (top + bottom) / 2
        self.decisions += 1
        await self._page.drag(middle, (middle[0] + float(pixels[0]), middle[1] - float(pixels[1])), steps=8)
