"""One page of ours, whole: its socket, its files, its stream, and the guard before all of them."""

from __future__ import annotations

import asyncio
import logging
import ssl
from collections.abc import Awaitable, Callable, Collection, Mapping, Sequence
from typing import Any

from aiohttp import web

from bridge.web.connections import Connections
from bridge.web.files import Files, server_of
from bridge.web.guard import Guard, Handler
from bridge.web.hosts import peer_of
from bridge.web.key import Key
from bridge.web.limits import Limits
from bridge.web.listening import address, listen
from bridge.web.mailbox import Client, Stream

HEARTBEAT_S = 10.0
HEAD_LINE_BYTES, HEAD_LINES = 8190, 64
_SILENT = logging.getLogger("bridge.web.quiet")  # what strangers send wrongly is counted, not written to a terminal
_SILENT.disabled = True


class Site:
    """Serves files and a stream to any number of pages. `clients` are those that are open."""

    def __init__(
        self,
        host: str,
        port: int,
        files: Files,
        page: Callable[[Client], Awaitable[None]],
        *,
        what: str = "The page",
        holder: str = "another one of its kind",
        hosts: Collection[str] = (),
        key: Key | None = None,
        tls: ssl.SSLContext | None = None,
        routes: Sequence[tuple[str, str, Handler]] = (),
        large: Mapping[str, int] | None = None,
        limits: Limits | None = None,
        say: Callable[[str], None] = lambda _text: None,
    ) -> None:
        """`page` runs for as long as one page is open: it posts, reads with `async for`, and returns to close it.

        `port` 0 takes a free one. `files` from `files.read_pages`. `hosts`, `key`, `say`, `large`: see `Guard`.
        `routes`: (method, path, handler) besides. `what` and `holder` are for messages, see `listening.listen`.
        """
        self.clients: set[Client] = set()
        self.guard: Guard | None = None
        self._host, self._port, self._files, self._page = host, port, files, page
        self._what, self._holder, self._hosts, self._key, self._tls = what, holder, hosts, key, tls
        self._routes, self._large, self._limits, self._say = routes, large, limits or Limits(), say
        self._runner: web.AppRunner | None = None
        self._server: asyncio.Server | None = None
        self._connections: Connections | None = None

    @property
    def port(self) -> int:
        """The port; the one that was taken, once it is open."""
        return self._port

    async def start(self) -> str:
        """Open the port and return the page's address. Raises NetworkError when the port cannot be had."""
        listener = listen(self._host, self._port, self._what, self._holder)
        self._port = listener.getsockname()[1]
        secure = self._tls is not None
        self.guard = Guard(self._port, self._hosts, self._key, secure, self._limits, self._say, large=self._large)
        self._runner = web.AppRunner(
            self._application(self.guard), access_log=None, handle_signals=False, shutdown_timeout=1.0, logger=_SILENT,
            keepalive_timeout=self._limits.idle_s, lingering_time=1.0, max_line_size=HEAD_LINE_BYTES,
            max_field_size=HEAD_LINE_BYTES, max_headers=HEAD_LINES,
        )  # fmt: skip
        await self._runner.setup()
        assert self._runner.server is not None
        self._connections = Connections(self._runner.server, self._limits)
        self._server = await asyncio.get_running_loop().create_server(
            self._connections.make,
            sock=listener,
            ssl=self._tls,
            ssl_handshake_timeout=self._limits.head_s if secure else None,
        )
        return address(self._host, self._port, secure)

    async def stop(self, reason: str = "the program stops") -> None:
        """Close every stream and the port. Safe to call twice."""
        if self._server is not None:
            self._server.close()
            self._server = None
        await asyncio.gather(*(client.close(reason) for client in list(self.clients)))
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None
        if self._connections is not None:
            self._connections.forget()

    def _application(self, guard: Guard) -> web.Application:
        app = web.Application(middlewares=[self._timed, guard.middleware], client_max_size=self._limits.body_bytes)
        app.router.add_get("/stream", self._stream)
        for method, path, handler in self._routes:
            app.router.add_route(method, path, handler)
        app.router.add_get("/{name:.*}", server_of(self._files))
        return app

    @property
    def _timed(self) -> Any:
        @web.middleware
        async def whole(request: web.Request, handler: Handler) -> web.StreamResponse:
            assert self._connections is not None
            return await self._connections.around(request, handler)

        return whole

    async def _stream(self, request: web.Request) -> web.StreamResponse:
        assert self.guard is not None
        ws = Stream(self._limits, HEARTBEAT_S)
        if not ws.can_prepare(request):
            raise web.HTTPBadRequest(text="This address is a websocket; open / for the page.")
        with self.guard.socket(request):
            await ws.prepare(request)
            client = Client(ws, request.transport, peer_of(request), self._limits)
            self.clients.add(client)
            try:
                await self._page(client)
            finally:
                self.clients.discard(client)
                await client.close()
        return ws
