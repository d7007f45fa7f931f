"""What a page may ask and say, on real sockets: floods, big messages, many sockets, slow readers, slow writers."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable
from contextlib import suppress

import aiohttp
import pytest
from aiohttp import WSMsgType

from bridge.web.key import made_key
from bridge.web.limits import Limits
from tests.system.web_site import opened, other_address, run

TEN_MB = 10 * 1024 * 1024


def test_a_flood_of_requests_is_told_when_to_come_back() -> None:
    async def test() -> None:
        async with opened() as site:
            seen = [await site.status("main.js") for _ in range(200)]
            assert set(seen) == {200}  # several pages opened at once
            seen = await asyncio.gather(*(site.status("") for _ in range(400)))
            assert seen.count(429) > 100
            assert set(seen) == {200, 429}
            assert site.site.guard.refused["flood"] > 100
            await asyncio.sleep(0.3)
            assert await site.status("") == 200, "and at 60 a second they come back"

    run(test)


def test_one_that_asks_too_often_is_told_for_how_long_to_wait() -> None:
    async def test() -> None:
        async with opened(limits=Limits(requests_per_s=0.1, request_burst=3)) as site:
            assert [await site.status("") for _ in range(3)] == [200] * 3
            async with site.http.get(site.url) as answer:
                assert answer.status == 429
                assert 8 <= int(answer.headers["Retry-After"]) <= 10
                assert answer.headers["Connection"] == "close"
                assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
            with pytest.raises(aiohttp.WSServerHandshakeError):
                await site.http.ws_connect(site.url + "stream")

    run(test)


def test_a_message_of_10_mb_is_closed_with_1009_and_hurts_nobody() -> None:
    async def test() -> None:
        async with opened() as site, site.http.ws_connect(site.url + "stream") as other:
            async with site.http.ws_connect(site.url + "stream") as ws:
                with suppress(ConnectionError):  # it may be closed before the whole is sent
                    await ws.send_str("x" * TEN_MB)
                await ws.receive()
                assert ws.close_code == 1009
            await other.send_str("still here")
            assert await other.receive_str() == "still here"
            assert site.heard == ["still here"]

    run(test)


@pytest.mark.parametrize("size", [60_000, 70_000])
def test_the_size_of_a_message_is_where_it_is_said(size: int) -> None:
    async def test() -> None:
        async with opened() as site, site.http.ws_connect(site.url + "stream") as ws:
            await ws.send_str("x" * size)
            answer = await ws.receive()
            assert (answer.type is WSMsgType.TEXT) == (size < 64 * 1024)

    run(test)


def test_a_page_that_still_sends_its_big_message_reads_why_it_is_closed() -> None:
    """On a bare socket, since a client library may stop by itself: 10 MB go out whole, then the answer is read."""

    async def test() -> None:
        async with opened() as site:
            reader, writer = await asyncio.open_connection("127.0.0.1", site.site.port)
            writer.write(
                f"GET /stream HTTP/1.1\r\nHost: 127.0.0.1:{site.site.port}\r\nUpgrade: websocket\r\n"
                "Connection: Upgrade\r\nSec-WebSocket-Version: 13\r\n"
                "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
            )
            await reader.readuntil(b"\r\n\r\n")
            writer.write(b"\x81\xff" + TEN_MB.to_bytes(8, "big") + b"mask" + b"x" * TEN_MB)
            await writer.drain()
            closing = await reader.readexactly(4)
            assert (closing[0], closing[2:4]) == (0x88, (1009).to_bytes(2, "big"))  # RFC 6455, sections 5.2 and 5.5.1
            writer.close()

    run(test)


@pytest.mark.parametrize("path", ["", "swallow", "key", "none-such"])
def test_a_body_of_10_mb_is_413(path: str) -> None:
    async def test() -> None:
        async with opened() as site:
            head = f"POST /{path} HTTP/1.1\r\nHost: 127.0.0.1:{site.site.port}\r\nContent-Length: {TEN_MB}\r\n\r\n"
            assert (await site.raw(head + "x" * 1000)).startswith("HTTP/1.1 413")
            assert await site.status(path, "POST", data=b"x" * TEN_MB) == 413
            assert await site.status("swallow", "POST", data=b"x" * 60_000) == 200

    run(test)


def test_a_body_without_a_length_is_413_as_well() -> None:
    async def test() -> None:
        async def endless() -> object:
            for _ in range(20):
                yield b"x" * 10_000

        async with opened() as site:
            assert await site.status("swallow", "POST", data=endless()) == 413

    run(test)


@pytest.mark.parametrize(
    "head",
    ["GET /" + "x" * 9000 + " HTTP/1.1\r\n", "GET / HTTP/1.1\r\nX: " + "y" * 9000 + "\r\n", "GET / HTTP/1.1\r\n"],
)
def test_an_endless_head_is_refused(head: str) -> None:
    async def test() -> None:
        async with opened() as site:
            many = "".join(f"X-{n}: 1\r\n" for n in range(200)) if head == "GET / HTTP/1.1\r\n" else ""
            answer = await site.raw(f"{head}Host: 127.0.0.1:{site.site.port}\r\n{many}\r\n")
            assert answer.startswith(("HTTP/1.0 400", "HTTP/1.1 400")), answer[:80]

    run(test)


def test_wrong_methods_paths_and_faults_are_answered_in_words() -> None:
    async def test() -> None:
        said: list[str] = []
        async with opened(say=said.append) as site:
            assert await site.status("none-such") == 404
            async with site.http.post(site.url + "main.js") as answer:
                assert answer.status == 405
                assert "GET" in answer.headers["Allow"]
                assert "default-src 'self'" in answer.headers["Content-Security-Policy"]
            assert await site.status("", "DELETE") == 405
            async with site.http.get(site.url + "broken") as answer:
                assert answer.status == 500
                assert "KeyError" not in await answer.text()
            assert len(said) == 1
            assert "KeyError" in said[0]

    run(test)


def test_so_many_streams_and_no_more() -> None:
    async def test() -> None:
        async with opened() as site:
            kept = [await site.http.ws_connect(site.url + "stream") for _ in range(32)]
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await site.http.ws_connect(site.url + "stream")
            assert refused.value.status == 429
            await kept.pop().close()
            await _until(lambda: site.site.guard.streams == 31)
            async with site.http.ws_connect(site.url + "stream") as ws:
                await ws.send_str("room again")
                assert await ws.receive_str() == "room again"

    run(test)


@pytest.mark.skipif(other_address() is None, reason="this machine has no address but loopback's")
def test_another_host_may_open_eight_streams() -> None:
    async def test() -> None:
        async with opened("0.0.0.0") as site:
            url = f"http://{other_address()}:{site.site.port}/stream"
            kept = [await site.http.ws_connect(url) for _ in range(8)]
            with pytest.raises(aiohttp.WSServerHandshakeError) as refused:
                await site.http.ws_connect(url)
            assert refused.value.status == 429
            async with site.http.ws_connect(site.url + "stream"):
                assert len(kept) == 8

    run(test)


@pytest.mark.parametrize("kind", ["text", "ping"])
def test_a_page_that_says_too_much_is_closed_with_1008(kind: str) -> None:
    async def test() -> None:
        async with opened() as site, site.http.ws_connect(site.url + "stream", autoping=False) as ws:
            for _ in range(1200):
                await (ws.send_str("{}") if kind == "text" else ws.ping(b"x"))
            seen = [await ws.receive()]
            while seen[-1].type in (WSMsgType.TEXT, WSMsgType.PONG):
                seen.append(await ws.receive())
            assert (ws.close_code, seen[-1].type) == (1008, WSMsgType.CLOSE)
            assert "too many messages" in str(seen[-1].extra)

    run(test)


def test_a_hand_of_300_messages_a_second_is_not_too_much() -> None:
    async def test() -> None:
        limits = Limits(message_burst=20.0)
        async with opened(limits=limits) as site, site.http.ws_connect(site.url + "stream") as ws:
            for n in range(100):
                await ws.send_str(str(n))
                assert await ws.receive_str() == str(n)
                await asyncio.sleep(1 / 300)

    run(test)


def test_binary_messages_are_closed_with_1003() -> None:
    async def test() -> None:
        async with opened() as site, site.http.ws_connect(site.url + "stream") as ws:
            await ws.send_bytes(b"\x00")
            await ws.receive()
            assert ws.close_code == 1003

    run(test)


def test_a_page_that_does_not_read_its_news_is_closed() -> None:
    async def test() -> None:
        async with opened() as site:
            stuck = await site.http.ws_connect(site.url + "stream")
            stuck._conn.transport.pause_reading()
            async with site.http.ws_connect(site.url + "stream") as reader:
                await _until(lambda: len(site.site.clients) == 2)
                sent, began = 0, asyncio.get_running_loop().time()
                while len(site.site.clients) == 2:
                    for client in site.site.clients:
                        client.post("n" * 10_000 + str(sent))
                    assert (await reader.receive_str()).endswith(str(sent))
                    sent += 1
                assert sent > 500
                assert asyncio.get_running_loop().time() - began < 5, "and not only when its heartbeat is missed"
                (left,) = site.site.clients
                left.post("the one that reads")
                assert await reader.receive_str() == "the one that reads"
            stuck._conn.transport.abort()

    run(test)


SMALL = Limits(head_s=0.3, body_s=0.3, idle_s=0.3, answer_s=0.6, connections_unread=4)


@pytest.mark.parametrize("beginning", ["", "GET / HT", "GET / HTTP/1.1\r\nHost: 127.0"])
def test_a_head_that_never_ends_is_cut_off(beginning: str) -> None:
    async def test() -> None:
        async with opened(limits=SMALL) as site:
            began = asyncio.get_running_loop().time()
            assert await site.raw(beginning) == ""
            assert 0.2 < asyncio.get_running_loop().time() - began < 5

    run(test)


def test_a_second_head_on_one_connection_has_its_time_too() -> None:
    async def test() -> None:
        async with opened(limits=Limits(idle_s=0.3)) as site:
            whole = f"GET /none HTTP/1.1\r\nHost: 127.0.0.1:{site.site.port}\r\n\r\n"
            answer = await site.raw(whole + "GET / HT")
            assert answer.count("HTTP/1.1 ") == 1

    run(test)


def test_a_key_that_trickles_in_is_given_up() -> None:
    async def test() -> None:
        async with opened(limits=SMALL, key=made_key()) as site:
            head = f"POST /key HTTP/1.1\r\nHost: 127.0.0.1:{site.site.port}\r\nVia: 1.1 x\r\n"
            form = "Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 20\r\n\r\nkey="
            assert (await site.raw(head + form)).startswith("HTTP/1.1 408")

    run(test)


def test_of_connections_that_say_nothing_only_the_newest_are_kept() -> None:
    async def test() -> None:
        limits = Limits(connections_unread=4)
        async with opened(limits=limits) as site:
            silent = [await asyncio.open_connection("127.0.0.1", site.site.port) for _ in range(12)]
            assert await site.status("") == 200
            gone = [await _ended(reader) for reader, _ in silent]
            assert gone[:8] == [True] * 8
            assert gone[9:] == [False] * 3
            for _, writer in silent:
                writer.close()

    run(test)


def test_an_answer_that_nobody_reads_is_given_up() -> None:
    async def test() -> None:
        big = {"index.html": (b"x" * 8_000_000, "text/html")}  # more than the kernel takes for a reader that sleeps
        async with opened(limits=SMALL, files=big) as site:
            with socket.socket() as sleeper:
                sleeper.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
                sleeper.connect(("127.0.0.1", site.site.port))
                sleeper.sendall(f"GET / HTTP/1.1\r\nHost: 127.0.0.1:{site.site.port}\r\n\r\n".encode())
                server = site.site._runner.server
                await _until(lambda: len(server.connections) == 1)
                await _until(lambda: len(server.connections) == 0)
            assert await site.status("none-such") == 404

    run(test)


async def _until(condition: Callable[[], bool], seconds: float = 10.0) -> None:
    end = asyncio.get_running_loop().time() + seconds
    while not condition():
        assert asyncio.get_running_loop().time() < end
        await asyncio.sleep(0.01)


async def _ended(reader: asyncio.StreamReader) -> bool:
    try:
        return await asyncio.wait_for(reader.read(1), 0.1) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False
