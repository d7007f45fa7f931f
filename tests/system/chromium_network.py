"""A page's network and pace: cut off, sockets dropped, what was transferred, how soon and how often it paints."""

from __future__ import annotations

import asyncio
from typing import Any

from tests.system.chromium_session import Session

# Keeps the page's websockets where a test finds them, and counts the pictures in which a canvas was drawn on.
SCRIPT = """(() => {
  const sockets = [];
  const Real = window.WebSocket;
  window.WebSocket = class WebSocket extends Real {
    constructor(...args) { super(...args); sockets.push(this); }
  };
  const drawn = new Set();
  const drawing = CanvasRenderingContext2D.prototype;
  for (const word of ['clearRect', 'fillRect', 'fill', 'stroke', 'drawImage']) {
    const real = drawing[word];
    drawing[word] = function (...args) { drawn.add(this.canvas); return real.apply(this, args); };
  }
  const texts = new Set();
  const write = drawing.fillText;
  drawing.fillText = function (text, ...args) { texts.add(String(text)); return write.call(this, text, ...args); };
  const counts = new Map(), firsts = new Map();
  const look = () => {
    for (const canvas of drawn) {
      counts.set(canvas, (counts.get(canvas) ?? 0) + 1);
      if (!firsts.has(canvas)) firsts.set(canvas, performance.now());
    }
    drawn.clear();
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
  const within = (selector, all) => [...all].filter(([canvas]) => document.querySelector(selector)?.contains(canvas));
  window.standInNetwork = {
    sockets,
    texts: () => [...texts],
    open: () => sockets.filter((socket) => socket.readyState === Real.OPEN).length,
    drop: () => sockets.forEach((socket) => socket.close()),
    pictures: (selector) => within(selector, counts).reduce((sum, [, n]) => sum + n, 0),
    first: (selector) => Math.min(...within(selector, firsts).map(([, at]) => at)),
  };
})()"""


class Network(Session):
    """What a bad network does to the page, and measurements."""

    async def offline(self, cut: bool = True) -> None:
        """Cut the page's new requests off as an unplugged network does (open websockets too: `drop_sockets`)."""
        await self.call(
            "Network.emulateNetworkConditions", offline=cut, latency=0, downloadThroughput=-1, uploadThroughput=-1
        )

    async def open_sockets(self) -> int:
        """How many websockets the page has open."""
        return int(await self.evaluate("standInNetwork.open()"))

    async def drop_sockets(self) -> int:
        """Close every websocket of the page behind its back; returns how many were open."""
        before = await self.open_sockets()
        await self.evaluate("(standInNetwork.drop(), 1)")
        return before

    async def first_paint_ms(self) -> float:
        """First contentful paint after the navigation began (W3C Paint Timing), milliseconds."""
        asked = "performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? 0"
        return float(await self.until(asked))

    async def first_picture_ms(self, selector: str) -> float:
        """When a canvas in an element was first drawn on, after the navigation began, milliseconds."""
        await self.until(f"Number.isFinite(standInNetwork.first({selector!r}))")
        return float(await self.evaluate(f"standInNetwork.first({selector!r})"))

    def transferred(self, *endings: str) -> int:
        """Octets that came for requests (with these endings), headers too; websockets are not counted."""
        return sum(n for url, n in self.octets.items() if not endings or url.split("?")[0].endswith(endings))

    async def pictures_per_s(self, selector: str, seconds: float = 3.0) -> float:
        """How often a second anything was drawn on the canvas in an element, as the browser makes its pictures."""
        count = f"[standInNetwork.pictures({selector!r}), performance.now()]"
        first: list[Any] = await self.evaluate(count)
        await asyncio.sleep(seconds)
        last: list[Any] = await self.evaluate(count)
        return float(1000 * (last[0] - first[0]) / (last[1] - first[1]))
