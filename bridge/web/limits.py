"""How much one page, one host and all together may ask, and for how long."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Limits:
    """The figures; tests make them small. A page of ours is some 40 files, read anew each time it is opened."""

    requests_per_s: float = 60.0  # one host, sustained
    request_burst: float = 240.0  # one host at once: six pages opened together
    body_bytes: int = 64 * 1024
    message_bytes: int = 64 * 1024
    messages_per_s: float = 400.0  # one page, sustained
    message_burst: float = (
        300.0  # half of what the bridge's socket holds (daemon/endpoint.py), so that no other page is lost
    )
    sockets: int = 32  # streams, all hosts together
    sockets_per_peer: int = 8  # not for this machine itself
    connections_unread: int = 128  # connections that have not sent a whole head yet
    head_s: float = 10.0  # for a head to arrive, or a TLS handshake
    body_s: float = 10.0
    answer_s: float = 30.0  # for an answer to be read, once it is on its way
    connections_idle: int = 128  # connections that were answered and are still open
    idle_s: float = 5.0  # a connection kept open between two requests


class Bucket:
    """Tokens that come back at a steady rate, up to a number that may be taken at once."""

    def __init__(self, per_s: float, most: float, now_s: float) -> None:
        self._per_s, self._most = per_s, most
        self._tokens, self._at = most, now_s

    def take(self, now_s: float) -> bool:
        """Take one; False, and nothing taken, where none is left."""
        self._tokens = min(self._most, self._tokens + (now_s - self._at) * self._per_s)
        self._at = now_s
        if self._tokens < 1.0:
            return False
        self._tokens -= 1.0
        return True

    @property
    def wait_s(self) -> float:
        """Seconds from the last `take` until one can be had."""
        return max(0.0, (1.0 - self._tokens) / self._per_s)


class Buckets:
    """One bucket for each host, of those that were heard last: memory stays bounded whoever asks."""

    def __init__(self, per_s: float, most: float, clock: Callable[[], float], hosts: int = 1024) -> None:
        self._per_s, self._most, self._clock, self._hosts = per_s, most, clock, hosts
        self._by_host: OrderedDict[str, Bucket] = OrderedDict()

    def wait_s(self, host: str) -> float:
        """Take one for this host: 0 where it had one, else the seconds until it will."""
        now_s = self._clock()
        bucket = self._by_host.get(host)
        if bucket is None:
            if len(self._by_host) >= self._hosts:
                self._by_host.popitem(last=False)
            bucket = self._by_host[host] = Bucket(self._per_s, self._most, now_s)
        self._by_host.move_to_end(host)
        return 0.0 if bucket.take(now_s) else bucket.wait_s
