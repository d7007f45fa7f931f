"""A site with a page that echoes, open on a real socket, for the tests of the guard."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

import aiohttp
from aiohttp import web

from bridge.web.files import Files
from bridge.web.mailbox import Client
from bridge.web.site import Site

TEST_S = 30
FILES = {
    "index.html": (b"<!doctype html><title>steering</title>", "text/html"),
    "main.js": (b"// code\n" * 2000, "text/javascript"),
}
OTHER = "10.9.8.7"  # by hand in a namespace of its own: ip addr add 10.9.8.7/32 dev lo


@dataclass
class Open:
    """A site that is open, a client library, and what pages said to it."""

    site: Site
    url: str
    http: aiohttp.ClientSession
    heard: list[str] = field(default_factory=list)

    async def status(self, path: str = "", method: str = "GET", **kwargs: Any) -> int:
        async with self.http.request(method, self.url + path, allow_redirects=False, **kwargs) as answer:
            await answer.read()
            return answer.status

    async def raw(self, text: str | bytes, host: str = "127.0.0.1") -> str:
        """What is answered to octets that no client library tidies up, until the connection ends."""
        reader, writer = await asyncio.open_connection(host, self.site.port)
        writer.write(text.encode() if isinstance(text, str) else text)
        try:
            return (await asyncio.wait_for(reader.read(), TEST_S / 2)).decode("utf-8", "replace")
        except ConnectionError:
            return ""
        finally:
            writer.close()


@asynccontextmanager
async def opened(
    host: str = "127.0.0.1", scheme: str = "http", files: Files = FILES, **options: Any
) -> AsyncIterator[Open]:
    """On a free port; `host` may be `0.0.0.0` or `::`, and is then called by a loopback address."""
    heard: list[str] = []

    async def page(client: Client) -> None:
        async for text in client:
            heard.append(text)
            client.post(text)

    async def broken(_request: web.Request) -> web.Response:
        raise KeyError("a fault")

    async def swallow(request: web.Request) -> web.Response:
        return web.Response(text=str(len(await request.read())))

    routes = [("GET", "/broken", broken), ("POST", "/swallow", swallow)]
    site = Site(host, 0, files, page, routes=routes, **options)
    await site.start()
    name = {"0.0.0.0": "127.0.0.1", "::": "[::1]", "::1": "[::1]"}.get(host, host)
    try:
        async with aiohttp.ClientSession(cookie_jar=aiohttp.DummyCookieJar()) as http:
            yield Open(site, f"{scheme}://{name}:{site.port}/", http, heard)
    finally:
        await site.stop()


def run(test: Callable[[], Awaitable[None]]) -> None:
    async def whole() -> None:
        await test()

    asyncio.run(asyncio.wait_for(whole(), TEST_S))


def other_address() -> str | None:
    """An address of this machine that is not loopback, or None. Asks the kernel for a route; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
            return str(probe.getsockname()[0])
        except OSError:
            pass
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        try:
            probe.bind((OTHER, 0))
            return OTHER
        except OSError:
            return None
