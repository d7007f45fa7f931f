"""Solves for the page, of the sightings as they stand: a process of its own each time, which writes nothing.

At most one runs; what is asked for meanwhile makes one more, so that the last record always counts. `latest` is the
last good answer, `before` the one that it differs from (at first what poses.yaml says), `failed` why the last solve
failed.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from bridge.errors import Refused
from bridge.panel.solve_compare import compare, of_file
from bridge.show.solve_by_exec import TIMEOUT_S, command, environment, give_way, read_answer, too_long

FIRST_GUESS_S = 2.0
"""How long a solve is expected to take before one was timed."""
TELL_EVERY_S = 0.5
Tell = Callable[[dict[str, Any]], None]


class Solving:
    """`tell` gets news (`what`: solving) when a solve starts, while it runs and when it ended."""

    def __init__(self, show: Path, tell: Tell) -> None:
        self._show, self._tell = show, tell
        self.latest: dict[str, Any] | None = None
        self.before: dict[str, Any] | None = None
        self.in_file: dict[str, Any] = {}
        self.failed: dict[str, Any] | None = None
        self.number = 0
        self.last_took_s: float | None = None
        self._since: float | None = None
        self._again = False
        self._task: asyncio.Task[None] | None = None

    def ask(self) -> None:
        """Solve soon: at once, or when the solve that runs has ended."""
        self._again = True
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._work())

    async def idle(self) -> None:
        """Until nothing runs and nothing is asked for."""
        if self._task is not None:
            await asyncio.wait([self._task])

    async def close(self) -> None:
        """End what runs."""
        if self._task is not None:
            self._task.cancel()
            await asyncio.gather(self._task, return_exceptions=True)

    @property
    def progress(self) -> dict[str, Any]:
        """`running`, seconds so far (of the one that runs) and as many as are to be expected."""
        running = self._since is not None
        seconds = asyncio.get_running_loop().time() - self._since if self._since is not None else 0.0
        expected = FIRST_GUESS_S if self.last_took_s is None else self.last_took_s
        return {"running": running, "seconds": round(seconds, 1), "expected_s": round(expected, 1)}

    # What the page is told

    def shown(self) -> dict[str, Any]:
        """Everything of the last solve but the maps of single heads (`map_of`), and what it changed."""
        latest, before = self.latest, self.before
        answer = None
        if latest is not None:
            maps = {key: value for key, value in latest.get("maps", {}).items() if key != "fixtures"}
            answer = {**latest, "maps": maps}
        after = latest["fixtures"] if latest else None
        return {
            **self.progress,
            "number": self.number,
            "solve": answer,
            "failed": self.failed,
            "next": (self.failed or latest or {}).get("next") or (latest or {}).get("next"),
            "compared": compare(before["fixtures"], after) if after is not None and before is not None else {},
            "compared_with_file": compare(self.in_file, after) if after is not None else {},
        }

    def map_of(self, fixture: str) -> dict[str, Any]:
        """The map of one head, with its axes. Raises Refused where there is none."""
        maps: Mapping[str, Any] = (self.latest or {}).get("maps", {})
        one = maps.get("fixtures", {}).get(fixture)
        if one is None:
            raise Refused("solve", f"{fixture}: no map, it has no pose in the last solve")
        return {"fixture": fixture, "x": maps["x"], "y": maps["y"], **one}

    # One solve after the other

    async def _work(self) -> None:
        while self._again:
            self._again = False
            try:
                await self._once()
            except Exception as error:  # our own mistake: said, and the next solve is made as if nothing had been
                self.failed = {"errors": [f"a fault of this program, please report it: {error!r}"]}
                self._tell({"what": "solving", "state": "failed", "text": self.failed["errors"][0]})

    async def _once(self) -> None:
        loop = asyncio.get_running_loop()
        self._since = loop.time()
        telling = asyncio.create_task(self._keep_telling())
        try:
            answer = await self._solve()
            in_file = await asyncio.to_thread(of_file, self._show)
            self.last_took_s = loop.time() - self._since
        finally:
            telling.cancel()
            self._since = None
        self.number += 1
        self._keep(answer, in_file)
        state, lines = ("failed", answer["errors"]) if "errors" in answer else ("done", [])
        took = {"seconds": round(self.last_took_s, 1), "number": self.number, "lines": lines}
        self._tell({"what": "solving", "state": state, "text": _words(answer), **took})

    def _keep(self, answer: dict[str, Any], in_file: dict[str, Any]) -> None:
        self.in_file = in_file
        if "errors" in answer:
            self.failed = answer
            return
        self.failed = None
        if self.latest is None:
            self.before = {"fixtures": in_file}
        elif self.latest["fixtures"] != answer["fixtures"]:
            self.before = self.latest
        self.latest = answer

    async def _keep_telling(self) -> None:
        state = "started"
        while True:
            self._tell({"what": "solving", "state": state, **self.progress})
            state = "running"
            await asyncio.sleep(TELL_EVERY_S)

    async def _solve(self) -> dict[str, Any]:
        pipe = asyncio.subprocess.PIPE
        try:
            process = await asyncio.create_subprocess_exec(
                *command(self._show, "--dry-run", "--maps"), stdin=asyncio.subprocess.DEVNULL, stdout=pipe,
                stderr=pipe, env=environment(),
            )  # fmt: skip
        except OSError as error:
            return {"errors": [f"the solve could not be started: {error.strerror or error}"]}
        give_way(process.pid)
        try:
            out, err = await asyncio.wait_for(process.communicate(), TIMEOUT_S)
        except TimeoutError:
            return {"errors": [too_long()]}
        finally:
            if process.returncode is None:
                with contextlib.suppress(ProcessLookupError):
                    process.kill()
                await asyncio.shield(process.wait())
        return read_answer(process.returncode or 0, out, err.decode("utf-8", "replace"))


def _words(answer: Mapping[str, Any]) -> str:
    """One sentence: why it failed, or what came out."""
    if "errors" in answer:
        return str(answer["errors"][0])
    heads = answer["fixtures"].values()
    trusted, doubts = sum(bool(head["trusted"]) for head in heads), len(answer["suspects"])
    said = f"{len(heads)} heads solved, {trusted} trusted"
    said += f"; {len(answer['unsolved'])} without a pose yet" if answer["unsolved"] else ""
    return said + (f"; {doubts} {'doubt' if doubts == 1 else 'doubts'}" if doubts else "")
