"""A command of ours as a process beside an asyncio test: started, spoken to, signalled, ended in any case."""

from __future__ import annotations

import asyncio
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
END_S = 10.0


class Running:
    """`python -m bridge WORDS`; its output goes to a file. `start` may be repeated after an end."""

    def __init__(self, log: Path, *words: str) -> None:
        self._log, self._words = log, words
        self._process: asyncio.subprocess.Process | None = None

    async def start(self, *more: str) -> Running:
        """Start it, with these words too; returns at once."""
        with self._log.open("ab") as log:
            self._process = await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "bridge", *self._words, *more),
                cwd=ROOT,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                env={**os.environ, "PYTHONUNBUFFERED": "1"},
            )
        return self

    @property
    def pid(self) -> int:
        """Its process number. AssertionError while it does not run."""
        self.check()
        assert self._process is not None
        return self._process.pid

    @property
    def log(self) -> str:
        """All that it has said, all starts together."""
        return self._log.read_text(errors="replace") if self._log.exists() else ""

    def check(self) -> None:
        """Fail the test where it does not run."""
        running = self._process is not None and self._process.returncode is None
        assert running, f"{' '.join(self._words[:1])} does not run; its words:\n{self.log[-3000:]}"

    async def end(self, number: signal.Signals = signal.SIGTERM) -> int:
        """Signal it and wait; returns the exit code."""
        assert self._process is not None
        self._process.send_signal(number)
        return await asyncio.wait_for(self._process.wait(), END_S)

    async def close(self) -> None:
        """End it if it still runs."""
        if self._process is not None and self._process.returncode is None:
            self._process.terminate()
            try:
                await asyncio.wait_for(self._process.wait(), END_S)
            except TimeoutError:
                self._process.kill()
                await self._process.wait()


async def until(seen: Callable[[], object], within_s: float, otherwise: Callable[[], str]) -> None:
    """Wait until `seen()` is true; fails the test with the words of `otherwise()`."""
    loop = asyncio.get_running_loop()
    end_s = loop.time() + within_s
    while not seen():
        assert loop.time() < end_s, f"not within {within_s:g} s: {otherwise()}"
        await asyncio.sleep(0.02)
