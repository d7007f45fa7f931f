"""Has the bridge read the show again for a page, and hears what it says to that."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Any, Protocol

from bridge.panel.folder import ShowFolder
from bridge.panel.heard import Heard, News
from bridge.panel.pages import Page

RELOAD = "/reload"
WITHIN_S = 10.0
AGAIN_S = 0.3
"""A bridge that is reading the show already is asked again so soon."""
LINES_WITHIN_S = 0.25
"""A refused reload is told line by line: so long after the last there is no other."""
DEAF_S = 1.0


class Bridge(Protocol):
    """The part of the panel that is needed here."""

    folder: ShowFolder
    heard: Heard

    def send(self, page: Page, address: str, args: Sequence[Any]) -> None:
        """One message to the bridge in the name of a page's operator."""


class Reload:
    """One reload after the other. Give `heard_news` the bridge's news."""

    def __init__(self, panel: Bridge) -> None:
        self._panel = panel
        self._turn = asyncio.Lock()
        self._news: asyncio.Queue[News] | None = None

    def heard_news(self, news: News) -> None:
        """News of the bridge: what became of a reload is waited for."""
        if self._news is not None and (news["what"] == "reload" or news.get("address") == RELOAD):
            self._news.put_nowait(news)

    async def ask(self, page: Page) -> tuple[bool, list[str]]:
        """Ask the bridge to read the show: whether it did, and its words."""
        loop = asyncio.get_running_loop()
        last_s = self._panel.heard.last_s
        if last_s is None or loop.time() - last_s > DEAF_S:
            return False, ["the bridge is not heard; it reads the show when it starts, or by Reload"]
        async with self._turn:
            return await self._ask(page)

    async def _ask(self, page: Page) -> tuple[bool, list[str]]:
        self._news = asyncio.Queue()
        try:
            async with asyncio.timeout(WITHIN_S):
                while True:
                    self._panel.send(page, RELOAD, ())
                    news = await self._news.get()
                    if news["what"] == "reload" and news["word"] == "done":
                        return True, [str(news["text"])]
                    if news["what"] == "reload":
                        return False, [str(news["text"]), *await self._more_lines()]
                    if news["reason"] != "busy":
                        return False, [str(news["text"])]
                    await asyncio.sleep(AGAIN_S)
        except TimeoutError:
            return False, [f"the bridge has not answered within {WITHIN_S:g} s"]
        finally:
            self._news = None

    async def _more_lines(self) -> list[str]:
        lines: list[str] = []
        while self._news is not None:
            try:
                lines.append(str((await asyncio.wait_for(self._news.get(), LINES_WITHIN_S))["text"]))
            except TimeoutError:
                break
        return lines
