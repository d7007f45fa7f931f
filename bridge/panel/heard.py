"""What the bridge has told: the feed's rows (daemon/feed.py), the newest of each, and news in the order they came."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from bridge.errors import Refused
from bridge.wire import osc

BRIDGE = (
    "armed", "dark", "still", "master", "universes", "contested", "taken", "refused", "send_errors", "packets",
    "locked",
)  # fmt: skip
LATE = ("frames", "worst_ms", "solving", "recording")
NEWS: dict[str, tuple[str, ...]] = {
    "notice": ("text",),
    "refused": ("address", "reason", "text", "sender"),
    "sighting": ("fixture", "mark", "pan", "tilt"),
    "forgotten": ("fixture", "mark"),
    "solve": ("word", "text"),
    "reload": ("word", "text"),
    "confirmed": ("mark", "text"),
    "kept": ("part", "on_disk"),
    "accepted": ("fixture", "sender"),
    "back": ("sender", "text"),
    "frame": ("input", "word", "text"),
}
"""What is told once: the address's second word and the names of its arguments."""

INPUT = ("name", "protocol", "points", "rate", "jitter", "age", "framed", "followed", "lost", "refused")
MOST_NEWS = 500
TRIM_AGAIN_S, STILL_AGAIN_S, AHEAD_AGAIN_S, POINT_AGAIN_S = 0.5, 2.5, 0.5, 1.5
Args = Sequence[Any]
News = dict[str, Any]
Point = tuple[float, float, float, float, float, float]
"""x, y, z in the input's own axes, m; rate, Hz; age, ms, and when that was told, s."""


@dataclass
class Rows:
    """The newest row of everything, by name. Numbers as the feed gives them: metres, degrees, milliseconds.

    `given`: heads that were given into the desk's hands, where the bridge says so.
    """

    bridge: dict[str, Any] = field(default_factory=dict)
    targets: dict[str, tuple[float, float, float, bool, float]] = field(default_factory=dict)
    hands: dict[str, tuple[str, float, float, float]] = field(default_factory=dict)
    ahead: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    heads: dict[str, tuple[str, float, float, float]] = field(default_factory=dict)
    crew: dict[str, tuple[str, bool, bool, bool, bool, float]] = field(default_factory=dict)
    universes: dict[int, tuple[str, str, int]] = field(default_factory=dict)
    desk: dict[int, tuple[str, int, bool, float]] = field(default_factory=dict)
    given: dict[str, bool] = field(default_factory=dict)
    inputs: dict[str, dict[str, Any]] = field(default_factory=dict)
    points: dict[tuple[str, str], Point] = field(default_factory=dict)
    trims: dict[tuple[str, str], tuple[float, float]] = field(default_factory=dict)
    areas: dict[str, bool] = field(default_factory=dict)
    no_light: dict[str, bool] = field(default_factory=dict)
    floors: dict[str, float] = field(default_factory=dict)
    stills: dict[tuple[str, str], str] = field(default_factory=dict)
    by: dict[str, tuple[str, float]] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    late: dict[str, Any] = field(default_factory=dict)


class Heard:
    """Takes the feed's datagrams. Nothing that arrives raises: what cannot be read is counted in `odd`.

    `news(item)` is called for each thing that is told once; `told()` when a new picture of the state begins.
    """

    def __init__(self, news: Callable[[News], None], told: Callable[[], None]) -> None:
        self.rows = Rows()
        self.last_s: float | None = None
        self.recent: deque[News] = deque(maxlen=MOST_NEWS)
        self.odd = 0
        self._news, self._told = news, told
        self._stills: dict[tuple[str, str], float] = {}
        self._trims: dict[tuple[str, str], float] = {}
        self._ahead: dict[str, float] = {}
        self._points: dict[tuple[str, str], float] = {}

    def forget(self) -> None:
        """Another show: rows of what is no longer there must not stay."""
        self.rows = Rows()

    def take(self, datagram: bytes, now_s: float, wall_s: float) -> None:
        """One datagram from the bridge, heard at `now_s` (monotonic) and `wall_s` (Unix time)."""
        try:
            messages = osc.decode(datagram)
        except Refused:
            self.odd += 1
            return
        self.last_s = now_s
        for message in messages:
            try:
                self._row(message.address.removeprefix("/feed/"), message.args, now_s, wall_s)
            except (TypeError, ValueError, IndexError):  # a bridge of another version
                self.odd += 1

    def _row(self, kind: str, args: Args, now_s: float, wall_s: float) -> None:
        rows = self.rows
        match kind:
            case "bridge":
                self._begin(args, now_s)
            case "target":
                name, x, y, z, inside, age_ms = args
                rows.targets[name] = (x, y, z, bool(inside), age_ms)
            case "fixture":
                name, state, pan, tilt, level = args
                rows.heads[name] = (state, pan, tilt, level)
            case "hand":
                name, sender, level, size, height = args
                rows.hands[name] = (sender, level, size, height)
            case "ahead":
                name, x, y, z = args
                rows.ahead[name], self._ahead[name] = (x, y, z), now_s
            case "head":
                name, target, out, held, still, in_hand, level, *desk = args
                rows.crew[name] = (target, bool(out), bool(held), bool(still), bool(in_hand), level)
                if desk:
                    rows.given[name] = bool(desk[0])
            case "universe":
                number, word, other, priority = args
                rows.universes[number] = (word, other, priority)
            case _:
                self._rarer(kind, args, now_s, wall_s)

    def _rarer(self, kind: str, args: Args, now_s: float, wall_s: float) -> None:
        rows = self.rows
        match kind:
            case "trim":
                rows.trims[args[0], args[1]] = (args[2], args[3])
                self._trims[args[0], args[1]] = now_s
            case "desk":
                universe, source, priority, alive, age_ms = args
                rows.desk[universe] = (source, priority, bool(alive), age_ms)
            case "input":
                rows.inputs[args[0]] = dict(zip(INPUT, args, strict=False))
            case "point":
                name, point, x, y, z, rate_hz, age_ms = args
                rows.points[name, point], self._points[name, point] = (x, y, z, rate_hz, age_ms, now_s), now_s
            case "area":
                rows.areas[args[0]] = bool(args[1])
            case "no-light":
                rows.no_light[args[0]] = bool(args[1])
            case "floor":
                rows.floors[args[0]] = float(args[1])
            case "still" if args[2]:
                rows.stills[args[0], args[1]] = args[2]
                self._stills[args[0], args[1]] = now_s
            case "still":
                rows.stills.pop((args[0], args[1]), None)
            case "by":
                rows.by[args[0]] = (args[1], now_s - float(args[2]))
            case "count":
                rows.counts[args[0]] = int(args[1])
            case "late":
                rows.late = dict(zip(LATE, args, strict=False))
            case _ if kind in NEWS:
                self._tell({"what": kind, **dict(zip(NEWS[kind], args, strict=False)), "at": round(wall_s, 3)})

    def _begin(self, args: Args, now_s: float) -> None:
        self.rows.bridge = dict(zip(BRIDGE, args, strict=False))
        self._drop_unsaid(self.rows.trims, self._trims, now_s - TRIM_AGAIN_S)
        self._drop_unsaid(self.rows.ahead, self._ahead, now_s - AHEAD_AGAIN_S)
        self._drop_unsaid(self.rows.points, self._points, now_s - POINT_AGAIN_S)
        self._drop_unsaid(self.rows.stills, self._stills, now_s - STILL_AGAIN_S)
        self._told()

    @staticmethod
    def _drop_unsaid(rows: dict[Any, Any], seen: dict[Any, float], before_s: float) -> None:
        """What is told again and again while it is so, and was not told lately, is so no longer."""
        for key in [key for key, at_s in seen.items() if at_s < before_s]:
            del seen[key]
            rows.pop(key, None)

    def _tell(self, item: News) -> None:
        self.recent.append(item)
        self._news(item)
