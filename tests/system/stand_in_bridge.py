"""A bridge that only tells: a socket, the daemon's own feed, and rows that a test sets; with the panel in this process.

    async with told_panel(show, heads) as (bridge, page): ...

What pages ask for is kept in `bridge.asked`; /desk and /fixture/NAME/desk are done at once.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

from bridge.daemon.feed import Feed
from bridge.daemon.input_report import InputRow, PointTold
from bridge.daemon.status import DeskRow, Rows
from bridge.follow.where.place import TargetStatus
from bridge.panel.folder import ShowFolder
from bridge.panel.panel import Panel, files
from bridge.panel.tracked_asks import TrackedAsks
from bridge.show.model import Show
from bridge.web.site import Site
from bridge.wire import osc
from bridge.wire.osc import OscMessage
from tests.system.chromium import Page, chromium

STEP_S = 0.02
HeadRow = tuple[str, float, float, float]
BRIDGE = (True, False, False, 1.0, 1, 0, 5, 0, 0, 8, False)


class StandInBridge:
    """`heads`: state, pan, tilt, level by name; `given` into the desk's hands; `desk`: rows of its universes.

    `inputs`, `points`: of tracking inputs; `hand`: who steers the first target, and `ahead` where it is led.
    """

    def __init__(self, show: Show, heads: Mapping[str, HeadRow]) -> None:
        self.heads, self.targets = dict(heads), [target.name for target in show.stage.targets]
        self.given = dict.fromkeys(heads, False)
        self.desk: list[DeskRow] = []
        self.inputs: list[InputRow] = []
        self.points: list[PointTold] = []
        self.hand = ""
        self.ahead: tuple[float, float, float] | None = None
        self.asked: list[OscMessage] = []
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.bind(("127.0.0.1", 0))
        self._socket.setblocking(False)
        self.port = int(self._socket.getsockname()[1])
        self.feed = Feed(lambda datagram, to: self._socket.sendto(datagram, to) and None)

    async def run(self) -> None:
        """Hear and tell, for ever."""
        loop = asyncio.get_running_loop()
        try:
            while True:
                self._hear(loop.time())
                self._tell(loop.time())
                await asyncio.sleep(STEP_S)
        finally:
            self._socket.close()

    def _hear(self, now_s: float) -> None:
        while True:
            try:
                datagram, (host, _) = self._socket.recvfrom(4096)
            except BlockingIOError:
                return
            for message in osc.decode(datagram):
                self._obey(message, host, now_s)

    def _obey(self, message: OscMessage, host: str, now_s: float) -> None:
        words, args = message.address.split("/")[1:], message.args
        if words == ["feed", "subscribe"]:
            self.feed.subscribe(host, args[0], args[1], now_s, *args[2:])
        elif words != ["operator"]:
            self.asked.append(message)
        if words[-1] == "desk":
            for name in self.given if words == ["desk"] else [words[1]]:
                self.give(name, bool(args[0]))

    def give(self, name: str, on: bool) -> None:
        """A head into the desk's hands, or back: without the way there."""
        self.given[name] = on
        self.heads[name] = ("desk" if on else "lit", *self.heads[name][1:])

    def _tell(self, now_s: float) -> None:
        due = self.feed.due(now_s)
        target = TargetStatus(self.targets[0], 0.5, 3.0, 1.3, True, 0.02)
        fixtures = [(name, *row) for name, row in self.heads.items()]
        self.feed.tell(due, BRIDGE, Rows([target], fixtures, [(1, "sent", "", 0)], [], self.desk))
        hand = osc.encode("/feed/hand", self.targets[0], self.hand, 1.0, 2.0, 1.3)
        rows = [
            osc.encode("/feed/head", name, self.targets[0], False, False, False, False, 1.0, float(given))
            for name, given in self.given.items()
        ]
        if self.ahead is not None:
            rows.append(osc.encode("/feed/ahead", self.targets[0], *self.ahead))
        self.feed.send([hand, *rows], due)
        self.feed.inputs(self.inputs)
        self.feed.points(self.points)


@asynccontextmanager
async def told_panel(
    folder: Path, show: Show, heads: Mapping[str, HeadRow]
) -> AsyncIterator[tuple[StandInBridge, Page]]:
    """A page of the panel of `show`, which stands in `folder`; all that it hears is what the stand-in tells."""
    bridge = StandInBridge(show, heads)
    kept = ShowFolder(folder, None)
    kept.show = show
    panel = Panel(kept, ("127.0.0.1", bridge.port))
    panel.answers.update(TrackedAsks(panel).table)
    site = Site("127.0.0.1", 0, files(), panel.page, routes=panel.routes)
    telling: asyncio.Task[Any] = asyncio.create_task(bridge.run())
    try:
        await panel.open()
        url = await site.start()
        async with chromium() as browser:
            page = await browser.open(url)
            await page.until("window.panel?.store.scene && window.panel.store.frame", 60.0)
            yield bridge, page
    finally:
        telling.cancel()
        await asyncio.gather(telling, return_exceptions=True)
        await site.stop("the test ends")
        await panel.close()
