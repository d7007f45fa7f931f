"""Small pages of our own on loopback, for tests of the tools that look at pages."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from aiohttp import WSMsgType, web

PAGE = (
    "<!doctype html><html lang=en><head><meta charset=utf-8><title>Small</title>{head}</head><body>{body}</body></html>"
)


async def _echo(request: web.Request) -> web.WebSocketResponse:
    ws = web.WebSocketResponse()
    await ws.prepare(request)
    async for message in ws:
        if message.type == WSMsgType.TEXT:
            await ws.send_str(message.data)
    return ws


async def _nothing(_request: web.Request) -> web.Response:
    return web.Response(status=204)


@asynccontextmanager
async def serving(body: str, head: str = "", policy: str = "") -> AsyncIterator[str]:
    """The address of one page with this body; `/echo` is a websocket that says everything back."""

    async def page(_request: web.Request) -> web.Response:
        headers = {"Content-Security-Policy": policy} if policy else {}
        return web.Response(text=PAGE.format(head=head, body=body), content_type="text/html", headers=headers)

    app = web.Application()
    app.router.add_get("/", page)
    app.router.add_get("/echo", _echo)
    app.router.add_get("/favicon.ico", _nothing)
    runner = web.AppRunner(app, shutdown_timeout=0.2)
    await runner.setup()
    try:
        site = web.TCPSite(runner, "127.0.0.1", 0)
        await site.start()
        yield f"http://127.0.0.1:{runner.addresses[0][1]}/"
    finally:
        await runner.cleanup()
