"""What is said of a tracking input: its row in the feed, and what was refused of what came."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import NamedTuple

from bridge.daemon.input_ears import InputEars
from bridge.door.inbox import Refusal
from bridge.wire.settings import InputSettings

WRONG = {
    "otp": ("malformed", "not-otp", "other-system", "equal-priority", "too-many"),
    "psn": ("malformed", "not-psn", "other-version", "oversized", "not-finite", "range", "bad-speed", "too-many"),
    "adm-osc": (
        *("malformed", "not-adm", "oversized", "address", "unknown-type", "not-finite"),
        *("object", "arguments", "range", "pattern"),
    ),
}
"""By protocol: words of its reader's counters that a person should hear of; the others are how things are."""


class InputRow(NamedTuple):
    """An input: how many points are heard, the rate of the fastest, the jitter of the worst (one sigma of the gaps).

    `age_ms` since anything was heard, -1: never. `followed` are points that targets follow, `lost` those of them that
    are not heard; texts, with spaces between. `refused`: packets and points that came in vain since the start.
    """

    name: str
    protocol: str
    points: int
    rate_hz: float
    jitter_ms: float
    age_ms: float
    framed: bool
    followed: str
    lost: str
    refused: int = 0


class PointTold(NamedTuple):
    """A point as it is heard: where, in the input's own axes (m), how often, and how long ago."""

    input: str
    point: str
    x: float
    y: float
    z: float
    rate_hz: float
    age_ms: float


def row(
    name: str,
    settings: InputSettings,
    ears: InputEars | None,
    followed: frozenset[str],
    framed: bool,
    refused: int,
    now_s: float,
) -> InputRow:
    """Of one input; `ears` None: it could not be opened. Rate and jitter are of followed points where there are any."""
    there = {} if ears is None else ears.points.there(now_s)
    lost = sorted(followed - there.keys())
    heard = [point for n, point in there.items() if n in followed] or list(there.values())
    return InputRow(
        name,
        settings.protocol,
        len(there),
        max((point.rate_hz for point in heard), default=0.0),
        1e3 * max((point.jitter_s for point in heard), default=0.0),
        -1.0 if ears is None or ears.heard_s < 0.0 else 1e3 * (now_s - ears.heard_s),
        framed,
        " ".join(sorted(followed)),
        " ".join(lost),
        refused,
    )


def points(name: str, ears: InputEars, followed: frozenset[str], most: int, now_s: float) -> list[PointTold]:
    """At most so many points of an input, those that targets follow first."""
    there = ears.points.there(now_s)
    first = sorted(there, key=lambda point: (point not in followed, point))[:most]
    return [
        PointTold(name, point, *there[point].place, there[point].rate_hz, 1e3 * (now_s - there[point].at_s))
        for point in first
    ]


class Refusals:
    """What came in vain since last asked, so that a flood is one line a second."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._told: Counter[str] = Counter()

    @property
    def total(self) -> int:
        """How many, since the input was opened."""
        return self._told.total()

    def fresh(self, ears: InputEars, now_s: float) -> Iterator[tuple[Refusal, int]]:
        """What is new, and how many of it."""
        packets, points = ears.reader.counters, ears.reader.point_counters
        counters = Counter({word: packets[word] + points[word] for word in WRONG[ears.settings.protocol]})
        counters["sender"], counters["points"] = ears.strangers.total(), ears.points.refused
        fresh, self._told = counters - self._told, counters
        for word, count in fresh.items():
            host = next(reversed(ears.strangers)) if word == "sender" else ""
            text = f"input {self._name}: {self._words(word, host, count, ears)}"
            yield Refusal(now_s, host or f"input {self._name}", f"input {self._name}", word, text), count

    @staticmethod
    def _words(word: str, host: str, count: int, ears: InputEars) -> str:
        if word == "sender":
            return f"{host} is not in `osc: allow` of network.yaml ({count} packets)"
        if word == "points":
            return f"more points than are kept ({count} samples of them)"
        last = getattr(ears.reader, "last_refusal", "") if word == "malformed" else ""
        return f"{count} {word}" + (f": {last}" if last else "")
