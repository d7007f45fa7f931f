"""A performer in the venue: walks a path, is seen by the venue as it is, and by the bridge as a tracker tells it."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from bridge.venue.simulation import Venue
from bridge.venue.walks import Link, Path

Say = Callable[..., None]  # (address, *arguments)


class Actor:
    """`begin` a path, then `tick(now_s)` at the venue's steps."""

    def __init__(self, venue: Venue, say: Say, name: str = "lead") -> None:
        self._venue, self._say, self._name = venue, say, name
        self.path: Path | None = None
        self._begun_s = 0.0
        self._messages: deque[tuple[float, float, float]] = deque()

    def begin(self, path: Path, now_s: float, link: Link, seed: int) -> None:
        """Start to walk; the tracker's messages go out over the link."""
        self.path, self._begun_s = path, now_s
        self._messages = deque(link.messages(path, seed))

    def tick(self, now_s: float) -> None:
        """Be where the path is now, and send what is due."""
        if self.path is None:
            return
        t = now_s - self._begun_s
        self._venue.perform(self._name, *self.path.at(t))
        while self._messages and self._messages[0][0] <= t:
            _, x, y = self._messages.popleft()
            self._say(f"/target/{self._name}/position", x, y)

    @property
    def walking(self) -> bool:
        """Whether a path has begun."""
        return self.path is not None
