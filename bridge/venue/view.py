"""The venue's web page: an aiohttp server on loopback that serves the page and streams frames to it.

The page is a handful of plain files in `page/`, read once at start and served from memory by exact name, so
no request can name any other file. One websocket (`/stream`) carries `{"kind": "scene", "scene": ..}` once
and then `{"kind": "frame", "frame": ..}` as often as the venue publishes. What the two hold is written in
`picture.py`, which makes them.

A page on another site can make a browser send requests to loopback, under a name of its own that resolves to
127.0.0.1. Therefore only loopback names are taken as Host, and only our own pages as Origin.
"""

from __future__ import annotations

import asyncio
import errno
import ipaddress
import json
import math
import socket
from collections.abc import Awaitable, Callable, Mapping, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

from aiohttp import WSMsgType, web

from bridge.errors import InputError, NetworkError

PAGE = Path(__file__).parent / "page"
CONTENT_TYPES = {
    ".html": "text/html",
    ".css": "text/css",
    ".js": "text/javascript",
    ".svg": "image/svg+xml",
}
HEARTBEAT_S = 10.0
SEND_BUFFER_BYTES = 128 * 1024  # small, so that a slow page lags by a few frames and not by seconds
_Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class View:
    """Serves one scene and a stream of frames to any number of pages on this machine."""

    def __init__(self, host: str, port: int, scene: dict[str, Any]) -> None:
        """`host`: a loopback address or `localhost`, else InputError. `port` 0 takes a free one."""
        if not is_loopback(host):
            raise InputError(
                f"The view is for this machine only: expected a loopback address such as 127.0.0.1, found {host!r}"
            )
        self._host, self._port = host, port
        self._scene = as_json({"kind": "scene", "scene": scene})
        self._clients: set[_Client] = set()
        self._runner: web.AppRunner | None = None

    @property
    def clients(self) -> int:
        """How many pages listen now."""
        return len(self._clients)

    async def start(self) -> str:
        """Open the port and return the page's address. Raises NetworkError when the port cannot be had."""
        listener = _listen(self._host, self._port)
        self._port = listener.getsockname()[1]
        app = web.Application(middlewares=[_guard(self._port)])
        app.router.add_get("/stream", self._stream)
        app.router.add_get("/{name:.*}", _serve(read_page()))
        self._runner = web.AppRunner(app, access_log=None, handle_signals=False, shutdown_timeout=1.0)
        await self._runner.setup()
        await web.SockSite(self._runner, listener).start()
        name = f"[{self._host}]" if ":" in self._host else self._host
        return f"http://{name}:{self._port}/"

    async def publish(self, frame: dict[str, Any]) -> None:
        """Offer a frame to every page. Never waits: a page still busy with an older one misses some."""
        if not self._clients:
            return  # a page that opens later waits for a fresh frame
        text = as_json({"kind": "frame", "frame": frame})
        for client in self._clients:
            client.offer(text)

    async def stop(self) -> None:
        """Close every stream and the port. Safe to call twice."""
        for client in list(self._clients):
            await client.close()
        if self._runner is not None:
            await self._runner.cleanup()
            self._runner = None

    async def _stream(self, request: web.Request) -> web.StreamResponse:
        ws = web.WebSocketResponse(heartbeat=HEARTBEAT_S, max_msg_size=1024, compress=False)  # loopback is fast
        if not ws.can_prepare(request):
            raise web.HTTPBadRequest(text="This address is a websocket; open / for the page.")
        await ws.prepare(request)
        _limit_send_buffer(request)
        client = _Client(ws)
        self._clients.add(client)
        try:
            client.begin(self._scene)
            async for message in ws:  # the page has nothing to say; reading notices that it left
                if message.type is WSMsgType.ERROR:
                    break
        finally:
            self._clients.discard(client)
            await client.close()
        return ws


class _Client:
    """One page: a mailbox that holds the newest frame only, and the task that empties it."""

    def __init__(self, ws: web.WebSocketResponse) -> None:
        self._ws = ws
        self._newest: str | None = None
        self._wake = asyncio.Event()
        self._task: asyncio.Task[None] | None = None
        self.skipped = 0

    def begin(self, scene: str) -> None:
        self._task = asyncio.create_task(self._send(scene))

    def offer(self, text: str) -> None:
        if self._newest is not None:
            self.skipped += 1
        self._newest = text
        self._wake.set()

    async def _send(self, scene: str) -> None:
        with suppress(ConnectionError):  # the page left: the reader notices and tidies up
            await self._ws.send_str(scene)
            while True:
                await self._wake.wait()
                self._wake.clear()
                text, self._newest = self._newest, None
                if text is not None:
                    await self._ws.send_str(text)

    async def close(self) -> None:
        if self._task is not None:
            self._task.cancel()
            with suppress(asyncio.CancelledError):
                await self._task
            self._task = None
        with suppress(asyncio.TimeoutError, ConnectionError, RuntimeError):
            await asyncio.wait_for(self._ws.close(code=1001, message=b"the venue stops"), 0.5)


def is_loopback(host: str) -> bool:
    """Whether `host` (without port or brackets) names this machine and nothing else."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def host_allowed(value: str | None, port: int) -> bool:
    """Whether a Host header (`name:port`) is ours: a loopback name and our port."""
    if not value:
        return False
    name, _, text = value.rpartition(":")
    return text == str(port) and is_loopback(name[1:-1] if name[:1] == "[" and name[-1:] == "]" else name)


def origin_allowed(value: str | None, port: int) -> bool:
    """Whether an Origin header is one of our pages. None (not a browser, or the page itself by GET) is."""
    if value is None:
        return True
    scheme, _, host = value.partition("://")
    return scheme == "http" and host_allowed(host, port)


def as_json(value: object) -> str:
    """Strict JSON: arrays become lists, and what JSON cannot say (infinite, not a number) becomes null."""
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"), default=_plain)
    except ValueError:
        return json.dumps(_finite(value), allow_nan=False, separators=(",", ":"))


def read_page() -> dict[str, tuple[bytes, str]]:
    """The page's files by name: bytes and content type. Only types that a page is made of are served."""
    return {
        path.name: (path.read_bytes(), CONTENT_TYPES[path.suffix])
        for path in sorted(PAGE.iterdir())
        if path.is_file() and path.suffix in CONTENT_TYPES
    }


def headers(port: int) -> dict[str, str]:
    """What every answer says: load nothing from elsewhere, frame this nowhere, keep nothing."""
    stream = f"ws://127.0.0.1:{port} ws://localhost:{port}"  # some browsers do not count ws: as 'self'
    policy = (
        f"default-src 'self'; connect-src 'self' {stream}; object-src 'none'; base-uri 'none'; "
        "form-action 'none'; frame-ancestors 'none'"
    )
    return {
        "Content-Security-Policy": policy,
        "X-Content-Type-Options": "nosniff",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "no-store",
    }


def _guard(port: int) -> Any:
    own = headers(port)

    @web.middleware
    async def middleware(request: web.Request, handler: _Handler) -> web.StreamResponse:
        if not host_allowed(request.headers.get("Host"), port):
            answer: web.StreamResponse = web.Response(
                status=403, text=f"Open this page by a loopback address, such as http://127.0.0.1:{port}/"
            )
        elif not origin_allowed(request.headers.get("Origin"), port):
            answer = web.Response(status=403, text="Another site may not use this page.")
        else:
            try:
                answer = await handler(request)
            except web.HTTPException as error:
                answer = web.Response(status=error.status, text=error.text)
        if not answer.prepared:
            answer.headers.update(own)
        return answer

    return middleware


def _serve(files: Mapping[str, tuple[bytes, str]]) -> _Handler:
    async def handler(request: web.Request) -> web.StreamResponse:
        found = files.get(request.match_info["name"] or "index.html")
        if found is None:
            return web.Response(status=404, text="No such file in the venue's page.")
        body, kind = found
        return web.Response(body=body, content_type=kind, charset="utf-8")

    return handler


def _listen(host: str, port: int) -> socket.socket:
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
        listener.listen(16)
    except OverflowError as error:
        listener.close()
        raise NetworkError(f"The venue's view needs a port from 0 to 65535, found {port}") from error
    except OSError as error:
        listener.close()
        raise NetworkError(_why_not(host, port, error)) from error
    listener.setblocking(False)
    return listener


def _why_not(host: str, port: int, error: OSError) -> str:
    wanted = f"The venue's view could not open port {port} on {host}"
    if error.errno == errno.EADDRINUSE:
        return (
            f"{wanted}: another program has it, most likely a venue that still runs. "
            "Stop that one, choose another port, or give port 0 to take any free one."
        )
    if error.errno == errno.EACCES:
        return f"{wanted}: this user may not open ports below 1024. Choose a port from 1024 to 65535."
    return f"{wanted}: {error.strerror}. Expected a loopback address of this machine and a free port."


def _limit_send_buffer(request: web.Request) -> None:
    sock = request.transport.get_extra_info("socket") if request.transport is not None else None
    if sock is not None:
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)


def _plain(value: Any) -> Any:
    if hasattr(value, "tolist"):
        return value.tolist()
    raise TypeError(f"the view cannot send a {type(value).__name__}; expected numbers, text, lists and dicts")


def _finite(value: Any) -> Any:
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {str(key): _finite(item) for key, item in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [_finite(item) for item in value]
    return value
