"""What every request passes before anything of ours runs: rate, size, Host, Origin, key; and what every answer says."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Awaitable, Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from aiohttp import web

from bridge.web.entry import Entry, too_many
from bridge.web.hosts import host_name, is_local, is_loopback, origin_allowed, peer_of, plain_address
from bridge.web.key import Key
from bridge.web.limits import Buckets, Limits

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]
POLICY = "Content-Security-Policy"


class Guard:
    """For one page on one port. `refused` counts by word what was turned away, for a screen or a log."""

    def __init__(
        self,
        port: int,
        hosts: Collection[str] = (),
        key: Key | None = None,
        tls: bool = False,
        limits: Limits | None = None,
        say: Callable[[str], None] = lambda _text: None,
        clock: Callable[[], float] = time.monotonic,
        large: Mapping[str, int] | None = None,
    ) -> None:
        """`hosts`: names and addresses besides loopback's that this machine goes by (`hosts.machine_hosts`).

        `key`: what all but this machine itself must show; None: nobody needs one, which is for loopback alone.
        `say` hears of faults of ours, in one line. `large`: what a path begins with -> octets that a body of it may
        have, where that is more than others'.
        """
        self.limits = limits or Limits()
        self.refused: Counter[str] = Counter()
        self._port, self._hosts, self._tls, self._say = port, frozenset(one.lower() for one in hosts), tls, say
        self._large = dict(large or {})
        self._entry = Entry(key, port, tls, clock) if key is not None else None
        self._rates = Buckets(self.limits.requests_per_s, self.limits.request_burst, clock)
        self._sockets: Counter[str] = Counter()

    @property
    def middleware(self) -> Any:
        """For `web.Application(middlewares=[..])`."""

        @web.middleware
        async def whole(request: web.Request, handler: Handler) -> web.StreamResponse:
            answer = await self._answer(request, handler)
            if not answer.prepared:
                own = answer.headers.get(POLICY)  # a document with another policy of its own says so itself
                answer.headers.update(self.headers(request) | ({POLICY: own} if own else {}))
            return answer

        return whole

    @property
    def streams(self) -> int:
        """How many are open now."""
        return self._sockets.total()

    @contextmanager
    def socket(self, request: web.Request) -> Iterator[None]:
        """Counts one stream for as long as it is open. Raises HTTPTooManyRequests where there are enough."""
        peer = peer_of(request)
        crowded = not is_loopback(peer) and self._sockets[peer] >= self.limits.sockets_per_peer
        if crowded or self.streams >= self.limits.sockets:
            self.refused["too-many-streams"] += 1
            raise web.HTTPTooManyRequests(text="Too many pages are open: close one.", headers={"Retry-After": "5"})
        self._sockets[peer] += 1
        try:
            yield
        finally:
            self._sockets[peer] -= 1
            if not self._sockets[peer]:
                del self._sockets[peer]

    def headers(self, request: web.Request) -> dict[str, str]:
        """What every answer says: load nothing from elsewhere, frame this nowhere, keep nothing."""
        host = request.headers.get("Host", "")
        ours = self._host_is_ours(request)
        stream = f" {'wss' if self._tls else 'ws'}://{host}" if ours else ""  # some browsers do not count ws: as 'self'
        policy = (
            f"default-src 'self'; connect-src 'self'{stream}; object-src 'none'; base-uri 'none'; "
            "form-action 'self'; frame-ancestors 'none'"
        )
        found = {
            POLICY: policy,
            "X-Content-Type-Options": "nosniff",
            "Referrer-Policy": "same-origin",  # with no-referrer a browser sends `Origin: null` with our own form
            "Cross-Origin-Resource-Policy": "same-origin",
            "Cache-Control": "no-store",
            "Server": "tetherlight",
        }
        if self._tls or is_loopback(host_name(host, self._port, self._tls) or ""):
            found["Cross-Origin-Opener-Policy"] = "same-origin"  # elsewhere browsers ignore it, with a warning
        return found

    async def _answer(self, request: web.Request, handler: Handler) -> web.StreamResponse:
        refusal = self._refusal(request)
        if refusal is not None:
            return refusal
        try:
            if self._entry is not None:
                known = is_local(request, self._port, self._tls) or self._entry.open_to(request)
                if not known:
                    self.refused["no-key"] += not self._entry.brings_key(request)
                    return await self._entry.answer(request, self.limits)
                if self._entry.brings_key(request):  # an old bookmark, or the form sent twice
                    return web.Response(status=303, headers={"Location": "/"})
            return await handler(request)
        except web.HTTPException as error:
            kept = {k: v for k, v in error.headers.items() if k in ("Allow", "Location", "Retry-After")}
            return web.Response(status=error.status, text=error.text, headers=kept)
        except ConnectionError:
            raise
        except Exception as error:
            self.refused["fault"] += 1
            self._say(f"the page's answer to {request.method} {request.path[:80]} failed: {error!r}")
            return web.Response(status=500, text="A fault in the program; its own log says more.")

    def _refusal(self, request: web.Request) -> web.Response | None:
        wait_s = self._rates.wait_s(peer_of(request))
        if wait_s:
            return self._no("flood", too_many(wait_s, "Too many requests from this address."))
        most = self._most_of(request.path)
        if (request.content_length or 0) > most:
            answer = web.Response(status=413, text=f"At most {most} octets are taken.")
            answer.force_close()
            return self._no("too-big", answer)
        if not self._host_is_ours(request):
            name = f"http{'s' if self._tls else ''}://127.0.0.1:{self._port}/"
            known = ", ".join(sorted(self._hosts))
            text = f"Open this page by a loopback address, such as {name}" + (
                f", or as one of {known}" if known else ""
            )
            return self._no("host", web.Response(status=403, text=text))
        if not self._origin_is_ours(request):
            return self._no("origin", web.Response(status=403, text="Another site may not use this page."))
        return None

    def _most_of(self, path: str) -> int:
        """Octets that a body may have."""
        return next((most for begins, most in self._large.items() if path.startswith(begins)), self.limits.body_bytes)

    def _no(self, word: str, answer: web.Response) -> web.Response:
        self.refused[word] += 1
        return answer

    def _ours(self, request: web.Request) -> frozenset[str]:
        """The names given, and the address that this very connection came to: nobody else has that one."""
        local = request.transport.get_extra_info("sockname") if request.transport is not None else None
        return self._hosts | {plain_address(local[0])} if local else self._hosts

    def _host_is_ours(self, request: web.Request) -> bool:
        name = host_name(request.headers.get("Host"), self._port, self._tls)
        return name is not None and (is_loopback(name) or name in self._ours(request))

    def _origin_is_ours(self, request: web.Request) -> bool:
        origin = request.headers.get("Origin")
        return origin_allowed(origin, self._port, self._ours(request), self._tls)
