"""The venue's web page, for this machine alone: its files and a stream of frames, by `web/`.

One websocket (`/stream`) carries `{"kind": "scene", "scene": ..}` once and then `{"kind": "frame", "frame": ..}` as
often as the venue publishes. What the two hold is written in `picture.py`, which makes them.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from bridge.errors import InputError
from bridge.web.files import SHARED, read_pages
from bridge.web.hosts import is_loopback
from bridge.web.mailbox import Client
from bridge.web.plain import as_json
from bridge.web.site import Site

PAGE = Path(__file__).parent / "page"


class View:
    """Serves one scene and a stream of frames to any number of pages on this machine."""

    def __init__(
        self,
        host: str,
        port: int,
        scene: dict[str, Any],
        said: Callable[[Mapping[str, Any]], None] = lambda _message: None,
    ) -> None:
        """`host`: a loopback address or `localhost`, else InputError. `port` 0 takes a free one.

        `said` hears what a page says, JSON objects (see practice.py).
        """
        if not is_loopback(host):
            raise InputError(
                f"The view is for this machine only: expected a loopback address such as 127.0.0.1, found {host!r}"
            )
        self._said = said
        self._scene = as_json({"kind": "scene", "scene": scene})
        self._site = Site(
            host, port, read_pages(PAGE, SHARED), self._page, what="The venue's view", holder="a venue that still runs"
        )

    @property
    def clients(self) -> int:
        """How many pages listen now."""
        return len(self._site.clients)

    async def start(self) -> str:
        """Open the port and return the page's address. Raises NetworkError when the port cannot be had."""
        return await self._site.start()

    async def publish(self, frame: dict[str, Any]) -> None:
        """Offer a frame to every page. Never waits: a page still busy with an older one misses some."""
        if not self._site.clients:
            return  # a page that opens later waits for a fresh frame
        text = as_json({"kind": "frame", "frame": frame})
        for client in self._site.clients:
            client.offer(text)

    async def stop(self) -> None:
        """Close every stream and the port. Safe to call twice."""
        await self._site.stop("the venue stops")

    async def _page(self, client: Client) -> None:
        client.post(self._scene)
        async for text in client:  # the page has little to say; reading also notices that it left
            with suppress(ValueError, RecursionError):
                message = json.loads(text)
                if isinstance(message, dict):
                    self._said(message)
