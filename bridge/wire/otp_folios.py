"""What is remembered of E1.59's producers: which folio was the last, and who gives each point.

A folio is old when it is not newer than the last less a window of 5, modulo 2^32 and at most 65535 back. Within the
window a page may come late: its points are taken where nothing newer of that producer was seen of the same point. So
nobody waits for the pages of a folio to be complete, a page that comes twice gives nothing twice, and no point ever
goes back. Decisions, where the texts leave a choice:

- A folio further back than 65535 begins a new series at once (a producer that started again).
- One that starts again nearer than that is believed after 0.25 s in which old folios came in rising order and none of
  the running series did: late copies of old packets come beside newer ones, a restarted producer's do not.
- Of equal priorities whoever has the point keeps it until lost; then whoever was heard first.
"""

from __future__ import annotations

import math

from bridge.wire.otp_layers import text

LOSS_S = 7.5
"""E1.59: so long after its last transform a point is lost."""
WINDOW, BACK = 5, 65_535
RESTART_S, RESTART_FOLIOS = 0.25, 3
_ALL = 1 << 32


def back(folio: int, last: int) -> int:
    """How far `folio` lies behind `last`, modulo 2^32; negative when it is newer."""
    return (last - folio + _ALL // 2) % _ALL - _ALL // 2


class Producer:
    """One CID in one system. `series` counts how often its folios began anew, `claims` the points it gives."""

    __slots__ = (
        "_field", "_rising", "_rose", "_rose_s", "claims", "clock", "folio", "heard_s", "host", "name", "series",
    )  # fmt: skip

    def __init__(self, cid: bytes, folio: int) -> None:
        self.clock, self.name, self.host = cid.hex(), "", ""
        self.folio, self.heard_s, self.series, self.claims = folio, -math.inf, 0, 0
        self._field = b""
        self._rising, self._rose, self._rose_s = folio, 0, math.inf

    def admits(self, folio: int, now_s: float) -> bool:
        """Whether a packet of this folio is to be looked at, taking in that it came."""
        behind = back(folio, self.folio)
        if WINDOW <= behind <= BACK:
            if now_s - self.heard_s <= LOSS_S and not self._restarted(folio, now_s):
                return False
            behind = BACK + 1
        if behind > BACK:
            self.series += 1
        if behind < 0 or behind > BACK:
            self.folio = folio
        self.heard_s, self._rose = now_s, 0
        return True

    def introduce(self, field: bytes, host: str) -> None:
        """Its name and where it sends from, as the last packet that was looked at says."""
        if field != self._field:
            self._field, self.name = field, text(field)
        self.host = host

    def _restarted(self, folio: int, now_s: float) -> bool:
        """Whether this old folio is one more of a series that has taken the place of the last."""
        ahead = -back(folio, self._rising)
        if self._rose == 0 or not 0 <= ahead <= BACK:
            self._rose, self._rose_s = 1, now_s
        elif ahead:
            self._rose += 1
        self._rising = folio
        return self._rose >= RESTART_FOLIOS and now_s - self._rose_s >= RESTART_S


class Claim:
    """One point as one producer last gave it; `since_s` is when it began to, without a loss since."""

    __slots__ = ("folio", "heard_s", "priority", "producer", "sampled_us", "series", "since_s", "timestamp_us")

    def __init__(self, producer: Producer, now_s: float) -> None:
        self.producer, self.since_s, self.heard_s = producer, now_s, -math.inf
        self.folio, self.series, self.priority = 0, -1, 0
        self.sampled_us: int | None = None
        self.timestamp_us = 0

    def lost(self, now_s: float) -> bool:
        """Whether its producer has not spoken of the point for too long."""
        return now_s - self.heard_s > LOSS_S

    def take(self, folio: int, timestamp_us: int, sampled_us: int | None, now_s: float) -> str:
        """The point once more: `new`, `repeated` (the sample of before), or `old` or `duplicate` and nothing changes.

        A sample from before the last is old in a newer folio too, unless the producer's whole clock was set back.
        """
        lost, before_us = self.lost(now_s), self.sampled_us
        known = self.series == self.producer.series and not lost
        if known and 0 <= (behind := back(folio, self.folio)) <= BACK:
            return "old" if behind else "duplicate"
        again = known and sampled_us is not None and before_us is not None
        if again and sampled_us < before_us and timestamp_us >= self.timestamp_us:  # type: ignore[operator]
            return "old"
        if lost:
            self.since_s = now_s
        self.folio, self.series, self.heard_s = folio, self.producer.series, now_s
        self.sampled_us, self.timestamp_us = sampled_us, timestamp_us
        return "repeated" if again and sampled_us == before_us else "new"


class Held:
    """A point with everybody who gives it; `holder` is the one whose word counts."""

    __slots__ = ("claims", "holder", "name")

    def __init__(self, name: str) -> None:
        self.name = name
        self.claims: dict[str, Claim] = {}
        self.holder: Claim | None = None

    def settle(self, now_s: float) -> Claim | None:
        """The highest priority that is not lost has the point; when all are lost it stays with the last."""
        live = [claim for claim in self.claims.values() if not claim.lost(now_s)]
        if live:
            self.holder = max(live, key=lambda claim: (claim.priority, claim is self.holder, -claim.since_s))
        return self.holder
