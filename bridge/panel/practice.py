"""Practice: how well a hand follows a performer of the simulated venue.

The venue's page stream tells where the performer truly is (metres, stage frame); the feed tells where the hand put the
target. The score is over the last `WINDOW_S`: RMS distance, share of time in which the performer stood in the pool, and
the delay by which the hand's path fits the performer's best.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
from collections import deque
from collections.abc import Callable
from typing import Any

import aiohttp
import numpy as np

from bridge.errors import NetworkError, Refused
from bridge.panel.pages import Page

WINDOW_S = 20.0
LEAST_S = 2.0
MOST_DELAY_S = 1.5
STEP_S = 0.02
RENEW_S = 1.0
SCORE_EVERY_S = 0.25
MOVED_M = 0.5
"""A performer who went less far than that shows no delay."""


class Score:
    """Observations in, figures out. Times in seconds of one clock, places in metres."""

    def __init__(self) -> None:
        self._hand: deque[tuple[float, float, float]] = deque()
        self._performer: deque[tuple[float, float, float]] = deque()
        self._radius_m = 1.0

    def performer(self, at_s: float, x: float, y: float) -> None:
        """Where the performer stands."""
        _keep(self._performer, (at_s, x, y))

    def hand(self, at_s: float, x: float, y: float, size_m: float) -> None:
        """Where the target is, and the spot's diameter."""
        _keep(self._hand, (at_s, x, y))
        self._radius_m = size_m / 2

    def figures(self) -> dict[str, float | None]:
        """`rms` m, `share` 0..1, `delay` s (None: cannot be told), `seconds` looked at; all None at the beginning."""
        nothing: dict[str, float | None] = {"rms": None, "share": None, "delay": None, "seconds": 0.0}
        if len(self._hand) < 2 or len(self._performer) < 2:
            return nothing
        start = max(self._hand[0][0], self._performer[0][0])
        end = min(self._hand[-1][0], self._performer[-1][0])
        if end - start < LEAST_S:
            return nothing
        times = np.arange(start, end, STEP_S)
        hand, performer = _at(self._hand, times), _at(self._performer, times)
        gap = np.hypot(*(hand - performer).T)
        return {
            "rms": round(float(np.sqrt((gap**2).mean())), 3),
            "share": round(float((gap <= self._radius_m).mean()), 3),
            "delay": _delay(hand, performer),
            "seconds": round(end - start, 1),
        }


def _delay(hand: np.ndarray, performer: np.ndarray) -> float | None:
    """By how many seconds the performer's path, delayed, fits the hand's best; to a part of a step by a parabola."""
    if np.hypot(*np.ptp(performer, axis=0)) < MOVED_M:
        return None
    most = min(round(MOST_DELAY_S / STEP_S), len(hand) // 2)
    part = hand[most:]
    gaps = (part - performer[most - lag : len(performer) - lag] for lag in range(most + 1))
    misfit = np.array([gap.var(axis=0).sum() for gap in gaps])  # a hand that is always a little aside is not late
    best = int(misfit.argmin())
    shift = 0.0
    if 0 < best < most:
        left, middle, right = misfit[best - 1 : best + 2]
        bend = left - 2 * middle + right
        shift = 0.5 * (left - right) / bend if bend > 0 else 0.0
    return round((best + float(shift)) * STEP_S, 3)


def _keep(rows: deque[tuple[float, float, float]], row: tuple[float, float, float]) -> None:
    rows.append(row)
    while rows[0][0] < row[0] - WINDOW_S:
        rows.popleft()


def _at(rows: deque[tuple[float, float, float]], times: np.ndarray) -> np.ndarray:
    """Places (k, 2) at these times, linear between observations."""
    table = np.array(rows)
    return np.column_stack([np.interp(times, table[:, 0], table[:, i]) for i in (1, 2)])


class Practice:
    """One practice at a time, for the page that asked last. `state()` is what frames carry."""

    def __init__(self, venue: tuple[str, int] | None, ended: Callable[[str], None]) -> None:
        """`ended(text)` is told when the venue was lost."""
        self._venue, self._ended = venue, ended
        self._task: asyncio.Task[None] | None = None
        self._kind: str | None = None
        self._target = ""
        self._score = Score()
        self._figures: dict[str, float | None] = {}
        self._figured_s = 0.0
        self._place: tuple[float, float, float] | None = None

    @property
    def possible(self) -> bool:
        """Whether a simulated venue is known."""
        return self._venue is not None

    async def ask(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """The question `practice`: `kind` of walk, or null to end; `target` whose performer walks."""
        kind, target = data.get("kind"), data.get("target")
        if kind is None:
            await self.close()
            return {"on": False}
        if self._venue is None:
            raise Refused(
                "no-venue", "practice needs a simulated venue: `tetherlight demo`, or `panel --venue HOST:PORT`"
            )
        if not isinstance(kind, str) or not isinstance(target, str):
            raise Refused("field", "practice: expected kind and target, two words")
        self._kind, self._target, self._score, self._figures = kind, target, Score(), {}
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._watch(*self._venue))
        return {"on": True}

    async def close(self) -> None:
        """End it; the venue gets its performer back."""
        self._kind = None
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)
            self._task = None

    def observe(self, targets: list[dict[str, Any]], now_s: float) -> None:
        """Where the hand has put the targets, of each frame."""
        if self._kind is None:
            return
        for target in targets:
            if target["name"] == self._target and target["age"] >= 0:
                self._score.hand(now_s, target["x"], target["y"], target["size"])
        if now_s - self._figured_s >= SCORE_EVERY_S:
            self._figured_s, self._figures = now_s, self._score.figures()

    def state(self) -> dict[str, Any] | None:
        """For the page: None while nobody practises."""
        if self._kind is None:
            return None
        return {"kind": self._kind, "target": self._target, "performer": self._place, **self._figures}

    async def _watch(self, host: str, port: int) -> None:
        name = f"[{host}]" if ":" in host else host
        try:
            async with aiohttp.ClientSession() as http, http.ws_connect(f"http://{name}:{port}/stream") as ws:
                asking = asyncio.create_task(self._go_on_asking(ws))
                try:
                    async for message in ws:
                        self._hear(message.data)
                finally:
                    asking.cancel()
                    with contextlib.suppress(ConnectionError, RuntimeError):
                        await ws.send_str(json.dumps({"do": "practise", "kind": None}))
            raise NetworkError("the simulated venue has stopped")
        except (aiohttp.ClientError, OSError, NetworkError) as error:
            self._kind = self._place = None
            self._ended(f"practice ends: {error or 'the simulated venue cannot be reached'}")

    async def _go_on_asking(self, ws: aiohttp.ClientWebSocketResponse) -> None:
        while True:
            await ws.send_str(json.dumps({"do": "practise", "kind": self._kind}))
            await asyncio.sleep(RENEW_S)

    def _hear(self, text: Any) -> None:
        try:
            message = json.loads(text)
            performers = message["frame"]["performers"] if message.get("kind") == "frame" else []
            for performer in performers:
                if performer["name"] == self._target:
                    x, y, z = (float(value) for value in performer["at"])
                    self._place = (x, y, z)
                    self._score.performer(asyncio.get_running_loop().time(), x, y)
        except (ValueError, KeyError, TypeError):
            return  # a venue of another version
