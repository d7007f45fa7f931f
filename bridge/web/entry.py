"""The door for those who have no key yet: a small page without script in which it is typed, and the cookie."""

from __future__ import annotations

import asyncio
import html
import time
from collections.abc import Callable
from pathlib import Path

from aiohttp import web

from bridge.web.hosts import peer_of
from bridge.web.key import Key
from bridge.web.limits import Buckets, Limits

A_YEAR_S = 365 * 24 * 3600
TRIES_OF_ONE = (1 / 12, 5)  # a host may try 5 keys, then one each 12 s
TRIES_OF_ALL = (1.0, 60)  # all together: at one a second a key of 99 bits lasts for ever
FORM, STYLE = ((Path(__file__).parent / "door" / name).read_text("utf-8") for name in ("key.html", "key.css"))
NO_KEY = "This page may steer lights, so on a network it opens with a key only."
WRONG_KEY = "That is not the key. Capitals, spaces and hyphens do not matter."


class Entry:
    """Answers whoever has not shown the key; tells who has."""

    def __init__(self, key: Key, port: int, tls: bool, clock: Callable[[], float] = time.monotonic) -> None:
        self._key, self._tls = key, tls
        self._cookie = f"tetherlight-{port}"  # cookies are shared by all ports of a host: two panels need two names
        self._tries = Buckets(*TRIES_OF_ONE, clock)
        self._all_tries = Buckets(*TRIES_OF_ALL, clock)
        self.wrong = 0  # keys and cookies that were not ours

    def open_to(self, request: web.Request) -> bool:
        """Whether this request carries the cookie. Never limited: guesses of others do not lock a tablet out."""
        cookie = request.cookies.get(self._cookie)
        return cookie is not None and self._key.knows(cookie)

    @staticmethod
    def brings_key(request: web.Request) -> bool:
        """Whether this request wants in by a key: an address with one, or the form."""
        return (request.path == "/" and "key" in request.query) or (request.method == "POST" and request.path == "/key")

    async def answer(self, request: web.Request, limits: Limits) -> web.Response:
        """Let in by a right key, else say what is missing: 403, or 429 with Retry-After after too many tries."""
        if request.path == "/key.css":
            return web.Response(text=STYLE, content_type="text/css")
        if not self.brings_key(request):
            return _form(NO_KEY, 403) if request.path == "/" else web.Response(status=403, text=NO_KEY)
        wait_s = max(self._tries.wait_s(peer_of(request)), self._all_tries.wait_s(""))
        if wait_s:
            return too_many(wait_s, "Too many keys were tried.")
        if self._key.opens(await _typed(request, limits)):
            return self.let_in()
        self.wrong += 1
        return _form(WRONG_KEY, 403)

    def let_in(self) -> web.Response:
        """The cookie, and on to the page without a key in its address, where it would stay in the history."""
        answer = web.Response(status=303, headers={"Location": "/"})
        answer.set_cookie(
            self._cookie, self._key.cookie, max_age=A_YEAR_S, path="/", httponly=True, samesite="Strict",
            secure=self._tls,
        )  # fmt: skip
        return answer


def too_many(wait_s: float, why: str) -> web.Response:
    """429: when to come back. The connection is closed, so that a flood costs a handshake each time."""
    seconds = max(1, int(wait_s + 0.999))
    answer = web.Response(status=429, text=f"{why} Try again in {seconds} s.", headers={"Retry-After": str(seconds)})
    answer.force_close()
    return answer


async def _typed(request: web.Request, limits: Limits) -> str:
    if request.method != "POST":
        return request.query["key"]
    try:
        fields = await asyncio.wait_for(request.post(), limits.body_s)
    except TimeoutError:
        raise web.HTTPRequestTimeout(text="The key did not arrive in time.") from None
    except ValueError:
        return ""  # not a form
    value = fields.get("key")
    return value if isinstance(value, str) else ""


def _form(why: str, status: int) -> web.Response:
    return web.Response(status=status, text=FORM.format(why=html.escape(why)), content_type="text/html")
