"""What reaches a page, and in which order, with a websocket that is held and let go by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from bridge.web.mailbox import NEWS, NEWS_BYTES, TOO_MANY, Client


class Held:
    """Stands in for a websocket: sends when told to."""

    def __init__(self) -> None:
        self.sent: list[str] = []
        self.closed_with: tuple[int, bytes] | None = None
        self.free = asyncio.Event()

    async def send_str(self, text: str) -> None:
        await self.free.wait()
        self.sent.append(text)

    async def close(self, *, code: int, message: bytes) -> None:
        self.closed_with = (code, message)


def with_client(test: Callable[[Held, Client], Awaitable[None]]) -> None:
    async def whole() -> None:
        held = Held()
        client = Client(held, None)
        try:
            await test(held, client)
        finally:
            held.free.set()
            await client.close()

    asyncio.run(asyncio.wait_for(whole(), 10))


async def settle() -> None:
    for _ in range(50):
        await asyncio.sleep(0)


def test_of_frames_only_the_newest_is_sent() -> None:
    async def test(held: Held, client: Client) -> None:
        for n in range(10):
            client.offer(f"frame {n}")
            await settle()
        held.free.set()
        await settle()
        assert held.sent == ["frame 0", "frame 9"]  # the first was on its way
        assert client.skipped == 8

    with_client(test)


def test_news_come_all_and_in_order() -> None:
    async def test(held: Held, client: Client) -> None:
        for n in range(100):
            client.post(str(n))
        held.free.set()
        await settle()
        await settle()
        await settle()
        assert held.sent == [str(n) for n in range(100)]

    with_client(test)


def test_a_frame_is_never_sent_after_news_that_it_was_older_than() -> None:
    async def test(held: Held, client: Client) -> None:
        client.post("scene 1")
        client.offer("frame of 1")
        client.post("scene 2")
        held.free.set()
        await settle()
        assert held.sent == ["scene 1", "frame of 1", "scene 2"]

    with_client(test)


def test_a_newer_frame_comes_after_the_news_before_it() -> None:
    async def test(held: Held, client: Client) -> None:
        client.post("scene 1")
        client.offer("frame of 1")
        client.post("scene 2")
        client.offer("frame of 2")
        held.free.set()
        await settle()
        assert held.sent == ["scene 1", "scene 2", "frame of 2"]

    with_client(test)


def test_a_page_that_is_too_far_behind_is_closed_with_a_reason() -> None:
    async def test(held: Held, client: Client) -> None:
        for n in range(NEWS):
            client.post(str(n))
        await settle()
        held.free.set()
        client.post("one more: there is room for it, the first is on its way")
        client.post("too many")
        await settle()
        assert held.closed_with is not None
        code, reason = held.closed_with
        assert code == TOO_MANY
        assert b"too slowly" in reason
        before = len(held.sent)
        client.post("after all")
        client.offer("after all")
        await settle()
        assert len(held.sent) == before

    with_client(test)


def test_big_news_count_by_their_size_but_one_is_always_taken() -> None:
    async def test(held: Held, client: Client) -> None:
        client.post("x" * (NEWS_BYTES + 1))
        assert client._closing is None
        client.post("y")
        assert client._closing is not None

    with_client(test)


def test_closing_a_page_that_is_stuck_takes_a_second_at_most() -> None:
    async def test(held: Held, client: Client) -> None:
        client.post("stuck")
        await settle()
        began = asyncio.get_running_loop().time()
        await client.close()
        await client.close()
        assert 0.5 < asyncio.get_running_loop().time() - began < 5
        assert held.closed_with is None

    with_client(test)
