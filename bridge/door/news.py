"""What people are to be told: collected inside the door, where nothing is logged, and said outside."""

from __future__ import annotations

from typing import NamedTuple


class Notice(NamedTuple):
    """A line for the log and the feed. `level` is info, warning or error; of one `key` one line a second is enough."""

    level: str
    key: str
    text: str


class News:
    """Notices in order, until somebody takes them."""

    def __init__(self) -> None:
        self._waiting: list[Notice] = []

    def tell(self, level: str, key: str, text: str) -> None:
        """One more."""
        self._waiting.append(Notice(level, key, text))

    def take(self) -> list[Notice]:
        """All that are waiting; they are gone then."""
        if not self._waiting:
            return []
        taken, self._waiting = self._waiting, []
        return taken
