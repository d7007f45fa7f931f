"""The view's server: loopback only, no other file, newest frame only, clear errors."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Awaitable, Callable

import aiohttp
import pytest

from bridge.errors import InputError, NetworkError
from bridge.venue.view import PAGE, View
from bridge.web.files import SHARED, read_pages

SCENE = {"name": "Harbour Hall", "heads": []}


def with_view(test: Callable[[View, str, aiohttp.ClientSession], Awaitable[None]]) -> None:
    async def whole() -> None:
        view = View("127.0.0.1", 0, SCENE)
        url = await view.start()
        try:
            async with aiohttp.ClientSession() as http:
                await test(view, url, http)
        finally:
            await view.stop()

    asyncio.run(asyncio.wait_for(whole(), 20))


async def raw_get(url: str, path: str, headers: str = "") -> str:
    """What a request whose path no client library tidies up is answered."""
    port = int(url.rstrip("/").rpartition(":")[2])
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    head = headers or f"Host: 127.0.0.1:{port}\r\n"
    writer.write(f"GET {path} HTTP/1.1\r\n{head}Connection: close\r\n\r\n".encode())
    answer = await reader.read()
    writer.close()
    return answer.decode("utf-8", "replace")


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "10.0.0.5", "example.org", "localhost.example.org", "", "127"])
def test_a_host_beyond_this_machine_is_refused(host: str) -> None:
    with pytest.raises(InputError, match="loopback"):
        View(host, 0, SCENE)


def test_page_is_served_with_a_policy_that_keeps_everything_at_home() -> None:
    async def test(_view: View, url: str, http: aiohttp.ClientSession) -> None:
        for name in ("", "index.html", "style.css", "main.js", "icon.svg"):
            async with http.get(url + name) as answer:
                assert answer.status == 200, name
                assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
                assert answer.headers["X-Content-Type-Options"] == "nosniff"
                assert await answer.read() == (PAGE / (name or "index.html")).read_bytes()

    with_view(test)


def test_module_scripts_carry_a_script_type() -> None:
    """Browsers refuse modules of any other type (HTML standard, "fetch a single module script")."""
    assert {kind for name, (_, kind) in read_pages(PAGE, SHARED).items() if name.endswith(".js")} == {"text/javascript"}


@pytest.mark.parametrize(
    "path",
    [
        "/../view.py",
        "/..%2fview.py",
        "/%2e%2e/view.py",
        "/page/../../view.py",
        "//etc/passwd",
        "/..\\view.py",
        "/view.py",
    ],
)
def test_no_path_leads_out_of_the_page(path: str) -> None:
    async def test(_view: View, url: str, _http: aiohttp.ClientSession) -> None:
        answer = await raw_get(url, path)
        assert answer.startswith("HTTP/1.1 404"), answer
        assert "class View" not in answer

    with_view(test)


@pytest.mark.parametrize("headers", [{"Host": "rebound.example:80"}, {"Origin": "http://rebound.example"}])
@pytest.mark.parametrize("path", ["", "stream"])
def test_a_rebound_name_gets_neither_page_nor_stream(headers: dict[str, str], path: str) -> None:
    async def test(view: View, url: str, http: aiohttp.ClientSession) -> None:
        async with http.get(url + path, headers=headers) as answer:
            assert answer.status == 403
        with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
            await http.ws_connect(url + "stream", headers=headers)
        assert refused.value.status == 403
        assert view.clients == 0

    with_view(test)


def test_stream_is_refused_in_words_to_a_plain_request() -> None:
    async def test(_view: View, url: str, http: aiohttp.ClientSession) -> None:
        async with http.get(url + "stream") as answer:
            assert answer.status == 400
            assert "websocket" in await answer.text()

    with_view(test)


def test_a_client_gets_the_scene_and_then_frames() -> None:
    async def test(view: View, url: str, http: aiohttp.ClientSession) -> None:
        async with http.ws_connect(url + "stream") as ws:
            assert await ws.receive_json() == {"kind": "scene", "scene": SCENE}
            await view.publish({"t": 1.5, "heads": []})
            assert await ws.receive_json() == {"kind": "frame", "frame": {"t": 1.5, "heads": []}}

    with_view(test)


def test_a_client_that_does_not_read_misses_frames_and_holds_nobody_up() -> None:
    async def test(view: View, url: str, http: aiohttp.ClientSession) -> None:
        stuck = await http.ws_connect(url + "stream")
        stuck._conn.transport.pause_reading()  # its socket fills up, as that of a frozen page does
        async with http.ws_connect(url + "stream", max_msg_size=0) as ws:
            await ws.receive_json()
            blob = "x" * 400_000
            for k in range(60):
                await view.publish({"k": k, "blob": blob})
                assert (await ws.receive_json())["frame"]["k"] == k
        skipped = [client.skipped for client in view._site.clients]
        assert max(skipped) > 20
        stuck._conn.transport.abort()

    with_view(test)


def test_publishing_without_any_page_is_no_work_and_no_error() -> None:
    async def test(view: View, _url: str, _http: aiohttp.ClientSession) -> None:
        await view.publish({"not": object()})  # would fail if it were encoded
        assert view.clients == 0

    with_view(test)


def test_a_taken_port_is_named_with_what_to_do() -> None:
    async def whole() -> None:
        with socket.socket() as other:
            other.bind(("127.0.0.1", 0))
            other.listen()
            port = other.getsockname()[1]
            with pytest.raises(NetworkError, match=rf"port {port} .*[Ss]top that one, choose another port"):
                await View("127.0.0.1", port, SCENE).start()

    asyncio.run(whole())


def test_a_port_beyond_all_ports_is_a_network_error() -> None:
    with pytest.raises(NetworkError, match="65535, found 99999"):
        asyncio.run(View("127.0.0.1", 99999, SCENE).start())


def test_the_same_port_can_be_had_again_after_a_stop() -> None:
    async def whole() -> None:
        first = View("127.0.0.1", 0, SCENE)
        port = int((await first.start()).rstrip("/").rpartition(":")[2])
        async with aiohttp.ClientSession() as http, http.ws_connect(f"http://127.0.0.1:{port}/stream") as ws:
            await ws.receive()
            await first.stop()
            await first.stop()
            assert (await ws.receive()).type in (aiohttp.WSMsgType.CLOSE, aiohttp.WSMsgType.CLOSED)
        second = View("127.0.0.1", port, SCENE)
        assert await second.start() == f"http://127.0.0.1:{port}/"
        await second.stop()

    asyncio.run(asyncio.wait_for(whole(), 20))
