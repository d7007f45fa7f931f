"""What one page is sent and what it says: frames of which only the newest matters, and news, every one in order.

Nothing here waits for a page. Frame and news keep their order: a frame that was offered before a news is sent before
it or not at all, so that a frame is never read by a scene that it does not belong to.
"""

from __future__ import annotations

import asyncio
import socket
import time
from collections import deque
from collections.abc import AsyncIterator, Callable
from contextlib import suppress

from aiohttp import WSMsgType, web

from bridge.web.limits import Bucket, Limits

SEND_BUFFER_BYTES = 64 * 1024  # small, so that a slow page lags by a few frames and not by seconds
NEWS = 1000  # what a page may be behind before it is closed
NEWS_BYTES = 8 * 1024 * 1024
CLOSE_S = 1.0
# RFC 6455, section 7.4.1; 1013 ("try again later") from IANA's registry of close codes
GOING_AWAY, WRONG_KIND, POLICY, TOO_BIG, TOO_MANY = 1001, 1003, 1008, 1009, 1013
LINGER_S = 2.0


class Stream(web.WebSocketResponse):
    """A websocket whose page is told that a message was too big, also while it still sends that message.

    A connection that is closed while octets come in is reset, and the page never reads why. So the close is sent, and
    what comes in is thrown away for as long as the page needs to read it.
    """

    def __init__(self, limits: Limits, heartbeat_s: float) -> None:
        super().__init__(
            heartbeat=heartbeat_s, max_msg_size=limits.message_bytes, compress=False, autoping=False, timeout=CLOSE_S
        )

    async def close(self, *, code: int = 1000, message: bytes = b"", drain: bool = True) -> bool:
        if code == TOO_BIG and not self.closed:
            transport = self._req.transport if self._req is not None else None
            with suppress(ConnectionError):
                await self.send_frame(code.to_bytes(2, "big") + b"too big a message", WSMsgType.CLOSE)
            end = asyncio.get_running_loop().time() + LINGER_S
            while transport and not transport.is_closing() and asyncio.get_running_loop().time() < end:
                await asyncio.sleep(0.02)
        return await super().close(code=code, message=message, drain=drain)


class Client:
    """One page at the other end of a websocket. `async for text in client` reads what it says until it leaves."""

    def __init__(
        self,
        ws: web.WebSocketResponse,
        transport: asyncio.BaseTransport | None,
        peer: str = "",
        limits: Limits | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """`peer`: the address of its host. `ws` is prepared, without autoping. The task that sends starts here."""
        limits = limits or Limits()
        self.peer = peer
        self.skipped = 0  # frames that were replaced by newer ones
        self._ws, self._transport, self._clock = ws, transport, clock
        self._rate = Bucket(limits.messages_per_s, limits.message_burst, clock())
        self._queue: deque[str | None] = deque()  # None: here goes the frame
        self._frame: str | None = None
        self._bytes = 0
        self._wake = asyncio.Event()
        self._closing: asyncio.Task[None] | None = None
        _limit_send_buffer(transport)
        self._sending = asyncio.create_task(self._send())

    def offer(self, text: str) -> None:
        """A frame: replaces one that still waits. Never waits itself."""
        if self._frame is not None:
            self.skipped += 1
            self._queue.remove(None)
        self._frame = text
        self._queue.append(None)
        self._wake.set()

    def post(self, text: str) -> None:
        """News: every one, in order. A page that is too far behind is closed with a reason."""
        if self._closing is not None:
            return
        if len(self._queue) >= NEWS or (self._queue and self._bytes + len(text) > NEWS_BYTES):
            self.end(TOO_MANY, "this page reads too slowly: open it again")
            return
        self._bytes += len(text)
        self._queue.append(text)
        self._wake.set()

    def end(self, code: int, reason: str) -> None:
        """Begin to close, from anywhere; `reason` at most 123 octets (RFC 6455, section 5.5)."""
        if self._closing is None:
            self._closing = asyncio.create_task(self._close(code, reason))
            self._wake.set()

    async def close(self, reason: str = "the program stops", code: int = GOING_AWAY) -> None:
        """Close and wait for it, a second at most. Safe to call twice."""
        self.end(code, reason)
        assert self._closing is not None
        await asyncio.shield(self._closing)

    async def __aiter__(self) -> AsyncIterator[str]:
        async for message in self._ws:
            if message.type is WSMsgType.ERROR:  # too big a message, for one: aiohttp has closed with its code
                return
            if not self._rate.take(self._clock()):
                self.end(POLICY, "this page says too much: too many messages a second")
                return
            if message.type is WSMsgType.PONG:
                continue
            if message.type is WSMsgType.PING:  # answered here and not by aiohttp, so that a flood of them is counted
                await self._ws.pong(message.data)
                continue
            if message.type is not WSMsgType.TEXT:
                self.end(WRONG_KIND, "only texts are understood")
                return
            yield message.data

    async def _send(self) -> None:
        with suppress(ConnectionError):  # the page left: the reader notices and tidies up
            while self._closing is None:
                while self._queue and self._closing is None:
                    text = self._queue.popleft()
                    if text is None:
                        text, self._frame = self._frame, None
                    else:
                        self._bytes -= len(text)
                    await self._ws.send_str(text or "")
                self._wake.clear()
                if self._closing is None:
                    await self._wake.wait()

    async def _close(self, code: int, reason: str) -> None:
        """After what is on its way; a page that does not even read that has its connection cut."""
        with suppress(asyncio.TimeoutError, ConnectionError, RuntimeError):
            async with asyncio.timeout(CLOSE_S):
                # not cancelled: aiohttp would leave its stuck write behind for the next to stumble over
                await asyncio.shield(self._sending)
                await self._ws.close(code=code, message=reason.encode()[:123])
            return
        if isinstance(self._transport, asyncio.Transport):
            self._transport.abort()
        self._sending.cancel()


def _limit_send_buffer(transport: asyncio.BaseTransport | None) -> None:
    sock = transport.get_extra_info("socket") if transport is not None else None
    if sock is not None:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
