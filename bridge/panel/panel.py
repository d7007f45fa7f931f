"""The panel: moves data between pages (websockets), the bridge (OSC, feed) and the show folder. One thread, asyncio."""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from aiohttp import web

from bridge import __version__
from bridge.door.controls import SENDER as DESK
from bridge.errors import Refused
from bridge.panel import messages
from bridge.panel.asks import Answer, Asks
from bridge.panel.beams import Beams
from bridge.panel.folder import ShowFolder
from bridge.panel.heard import Heard, News
from bridge.panel.input_scene import inputs
from bridge.panel.link import Link
from bridge.panel.pages import Page, Pages
from bridge.panel.papers import Papers
from bridge.panel.picture import Picture
from bridge.panel.practice import Practice
from bridge.panel.scene import scene
from bridge.web.files import SHARED, read_pages
from bridge.web.guard import Handler
from bridge.web.mailbox import Client
from bridge.web.plain import as_json

PAGE = Path(__file__).parent / "page"
RATE_HZ = 36.0
MOST_ROWS_A_SECOND = 8000
"""Of heads, told by the feed: with very many the pictures come less often."""
GATHER_S = 0.002
"""A picture of the state comes in several datagrams: so long after the first it is made."""
SILENT_EVERY_S = 0.1
"""While the bridge is silent, pages hear so often how long it has been."""
ELSEWHERE = 4001
"""Close code: the same tab has connected anew (page/link.js)."""
TOLD_AT_FIRST = 40
LATER = "edit"
"""The stage editor's scripts are fetched when it is opened."""
IMPORT = re.compile(r'''from "\./([a-z]+\.js)"''')


def feed_rate(heads: int) -> float:
    """How often the bridge is asked to tell its state, for a rig of so many heads."""
    return max(5.0, min(RATE_HZ, MOST_ROWS_A_SECOND / max(heads, 1)))


class Panel:
    """`page` runs for every page that is open; `tell` sends news to all. Others add answers to `answers`, and to
    `listeners` what wants to hear the bridge's news, and to `leavers` what must know that a page has closed."""

    def __init__(
        self,
        folder: ShowFolder,
        bridge: tuple[str, int],
        venue: tuple[str, int] | None = None,
        record: Path | None = None,
    ) -> None:
        self.folder = folder
        self.pages = Pages()
        self.heard = Heard(self._news, self._told)
        self.link = Link(*bridge, feed_rate(len(folder.show.fixtures)), self._hear)
        self.papers = Papers(folder, record)
        self.practice = Practice(venue, lambda text: self.tell({"what": "practice", "text": text}))
        self.answers: dict[str, Answer] = {"captures": self.papers.list_captures, "practice": self.practice.ask}
        self.listeners: list[Callable[[News], None]] = []
        self.leavers: list[Callable[[Page], None]] = []
        self.counters = {"refused": 0, "messages": 0}
        self._asks = Asks(self.answers)
        self._answering: set[asyncio.Task[None]] = set()
        self._due: asyncio.TimerHandle | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self._set_show()

    async def open(self) -> None:
        """Begin to hear the bridge and to look at the folder. Raises NetworkError."""
        await self.link.open()
        self._tasks = [
            asyncio.create_task(self.folder.watch(self._show_changed)),
            asyncio.create_task(self._while_silent()),
        ]

    async def close(self) -> None:
        """Free what was opened."""
        for task in [*self._tasks, *self._answering]:
            task.cancel()
        await asyncio.gather(*self._tasks, *self._answering, return_exceptions=True)
        await self.practice.close()
        self.link.close()

    # The show

    def _set_show(self) -> None:
        show = self.folder.show
        self._picture = Picture(show, Beams(show.fixtures, self.folder.poses, show.stage))
        found = scene(show, self.folder.poses, self.folder.revision)
        found |= {"practice": self.practice.possible, "inputs": inputs(show, self.folder.kept)}
        self._scene = as_json({"kind": "scene", "scene": found})

    def _show_changed(self) -> None:
        if self.folder.problems:
            self.tell({"what": "folder", "problems": list(self.folder.problems)})
            return
        self._set_show()
        self.heard.forget()
        self.pages.post(self._scene)

    # From the bridge

    def _hear(self, datagram: bytes, now_s: float) -> None:
        self.heard.take(datagram, now_s, time.time())

    def _told(self) -> None:
        if self._due is None and len(self.pages):
            self._due = asyncio.get_running_loop().call_later(GATHER_S, self._publish)

    def _publish(self) -> None:
        self._due = None
        if len(self.pages):
            self.pages.offer(as_json({"kind": "frame", "frame": self._frame()}))

    def _frame(self) -> dict[str, Any]:
        now_s = asyncio.get_running_loop().time()
        frame = self._picture.frame(self.heard, now_s, self.link.refused, self.pages.names)
        self.practice.observe(frame["targets"], now_s)
        return {**frame, "practice": self.practice.state()}

    async def _while_silent(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            await asyncio.sleep(SILENT_EVERY_S)
            if self.heard.last_s is None or loop.time() - self.heard.last_s > SILENT_EVERY_S:
                self._publish()

    def tell(self, news: News) -> None:
        """News to every page."""
        self.pages.post(as_json({"kind": "news", "news": {"at": round(time.time(), 3), **news}}))

    def _news(self, news: News) -> None:
        for listen in self.listeners:
            listen(news)
        if news["what"] == "refused":
            self._tell_refusal(news)
            return
        if news["what"] in ("sighting", "forgotten", "solve", "reload", "accepted", "back", "frame"):
            self.folder.look_soon()
        self.tell(news)

    def _tell_refusal(self, news: News) -> None:
        """To the page of the operator who sent it; what the desk asked for in vain to all, and nobody else's."""
        sender, _, host = str(news.get("sender", "")).partition("@")
        for page in self.pages:
            if page.name == sender or (sender == DESK and not host):
                page.client.post(as_json({"kind": "news", "news": news}))

    # From pages

    async def page(self, client: Client) -> None:
        """One page, from its opening to its end."""
        page = self.pages.open(client)
        try:
            self._greet(page)
            async for text in client:
                self._obey(page, text)
        finally:
            self.pages.close(page)
            for leave in self.leavers:
                leave(page)

    def _greet(self, page: Page) -> None:
        page.client.post(as_json({"kind": "me", "name": page.name, "id": page.number, "version": __version__}))
        page.client.post(self._scene)
        for news in list(self.heard.recent)[-TOLD_AT_FIRST:]:
            if news["what"] != "refused":
                page.client.post(as_json({"kind": "news", "news": {**news, "old": True}}))
        page.client.offer(as_json({"kind": "frame", "frame": self._frame()}))

    def _obey(self, page: Page, text: str) -> None:
        self.counters["messages"] += 1
        try:
            message = messages.read(text)
            if isinstance(message, messages.Osc):
                self.send(page, message.address, message.args)
                return
        except Refused as error:
            self.counters["refused"] += 1
            page.client.post(as_json({"kind": "refused", "reason": error.reason, "text": str(error)}))
            return
        if isinstance(message, messages.Ping):
            page.client.post(as_json({"kind": "pong", "id": message.id}))
        elif isinstance(message, messages.Name):
            self._name(page, message)
        else:
            task = asyncio.create_task(self._answer(page, message))
            self._answering.add(task)
            task.add_done_callback(self._answering.discard)

    def send(self, page: Page, address: str, args: Sequence[Any]) -> None:
        """One message to the bridge in the name of a page's operator, at once."""
        self.link.send(page.name, address, args)

    def _name(self, page: Page, message: messages.Name) -> None:
        older = self.pages.name(page, message.name, message.key)
        if older is not None:
            older.client.end(ELSEWHERE, "this page has connected anew")
        page.client.post(as_json({"kind": "me", "name": page.name, "id": page.number, "version": __version__}))

    async def _answer(self, page: Page, ask: messages.Ask) -> None:
        page.client.post(as_json(await self._asks.answer(page, ask)))

    # Other ways in

    @property
    def routes(self) -> list[tuple[str, str, Handler]]:
        """(method, path, handler) beside the page's files."""
        return [("GET", "/health", self._health), *self.papers.routes]

    async def _health(self, request: web.Request) -> web.StreamResponse:
        last_s, now_s = self.heard.last_s, asyncio.get_running_loop().time()
        age_ms = None if last_s is None else round(1000 * (now_s - last_s))
        bridge = {"heard": age_ms is not None and age_ms < 1000, "age_ms": age_ms, "at": "{}:{}".format(*self.link.to)}
        found = {"ok": True, "version": __version__, "show": self.folder.show.name, "bridge": bridge}
        found |= {"pages": len(self.pages), "problems": list(self.folder.problems), **self.counters}
        return web.json_response(found)


def files() -> dict[str, tuple[bytes, str]]:
    """The page's files. The scripts that its first screen needs are named in its head, to be fetched all at once.

    Otherwise a browser finds them one import after the other.
    """
    found = read_pages(SHARED, PAGE)
    first = [name for name in found if name.endswith(".js") and not name.startswith(LATER)]
    links = "".join(f'<link rel="modulepreload" href="{name}">\n' for name in needed(first, found))
    page, kind = found["index.html"]
    return found | {"index.html": (page.replace(b"</head>", links.encode() + b"</head>"), kind)}


def needed(names: Sequence[str], found: Mapping[str, tuple[bytes, str]]) -> list[str]:
    """Those of the scripts that main.js imports, by itself or by another."""
    wanted, ahead = {"main.js"}, ["main.js"]
    while ahead:
        for name in IMPORT.findall(found[ahead.pop()][0].decode()):
            if name in names and name not in wanted:
                wanted.add(name)
                ahead.append(name)
    return sorted(wanted)
