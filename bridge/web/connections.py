"""How long a connection may take, and how many may be open: what aiohttp leaves without an end.

aiohttp waits for ever for the first head of a connection, and for ever for whoever does not read an answer. Here each
has its time. Of connections that have sent no whole head yet, and of those that were answered and stay open, only so
many are kept, the newest: whoever opens a page sends its head at once and reads at once. Together with the streams,
which are counted by the guard, that bounds what strangers can hold open.
"""

from __future__ import annotations

import asyncio
from collections import OrderedDict

from aiohttp import web

from bridge.web.guard import Handler
from bridge.web.limits import Limits


class Connections:
    """Makes the protocol of each connection, and drops those that take too long."""

    def __init__(self, server: web.Server, limits: Limits) -> None:
        self._server, self._limits = server, limits
        self._unread = _Timed(limits.connections_unread, limits.head_s)
        self._answered = _Timed(limits.connections_idle, limits.answer_s)

    def make(self) -> asyncio.BaseProtocol:
        """For `loop.create_server`."""
        protocol = self._server()
        self._unread.add(protocol)
        return protocol

    def forget(self) -> None:
        """Stop all clocks."""
        self._unread.clear()
        self._answered.clear()

    async def around(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        """Answer a request whose head has come, and give the other side a time to read it."""
        protocol = request.protocol
        self._unread.remove(protocol)
        self._answered.remove(protocol)
        answer = await handler(request)
        if request.transport is not None and not isinstance(answer, web.WebSocketResponse):
            self._answered.add(protocol)
        return answer


class _Timed:
    """The newest `most` connections of a kind, each for so many seconds."""

    def __init__(self, most: int, seconds: float) -> None:
        self._most, self._seconds = most, seconds
        self._timers: OrderedDict[object, asyncio.TimerHandle] = OrderedDict()

    def add(self, protocol: object) -> None:
        while len(self._timers) >= self._most:
            self._drop(next(iter(self._timers)))
        self._timers[protocol] = asyncio.get_running_loop().call_later(self._seconds, self._drop, protocol)

    def remove(self, protocol: object) -> None:
        timer = self._timers.pop(protocol, None)
        if timer is not None:
            timer.cancel()

    def clear(self) -> None:
        while self._timers:
            self._timers.popitem()[1].cancel()

    def _drop(self, protocol: object) -> None:
        self.remove(protocol)
        transport = getattr(protocol, "transport", None)
        if isinstance(transport, asyncio.Transport):
            transport.abort()
