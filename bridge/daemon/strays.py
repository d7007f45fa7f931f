"""Observations that were too far off to be true: told and counted like messages that were refused."""

from __future__ import annotations

from collections.abc import Iterator

from bridge.door.door import Door
from bridge.door.inbox import Refusal
from bridge.follow.where.accepting import CONFIRMS_S

REASON = "stray"


class Strays:
    """Of the targets of a door's show, by the ways in which they are seen."""

    def __init__(self, door: Door) -> None:
        self._door = door
        self._told: dict[str, int] = {}

    def fresh(self, now_s: float) -> Iterator[tuple[Refusal, int]]:
        """Those since last asked: what there is to say of them, and how many there were."""
        place = self._door.engine.place
        names, strays = place.steering.names, place.steering.tracks.strays.tolist()
        told, self._told = self._told, dict(zip(names, strays, strict=True))
        for name, count in self._told.items():
            new = count - told.get(name, 0)
            if new > 0:
                yield self._refusal(name, new, now_s), new

    def _refusal(self, name: str, count: int, now_s: float) -> Refusal:
        place = self._door.engine.place
        who, *source = name.split(" ")
        target = place.targets[place.names.index(who)]
        sender = f"input {source[0]}" if source else target.sender or ""
        what = f"point {source[1]}" if source else "a position"
        text = (
            f"target {who}: {what} was {count} times further off than {target.spec.walk.fastest:g} m/s allow "
            f"(`motion: fastest`), and nothing near it followed within {CONFIRMS_S:g} s: a stray, nothing moved"
        )
        return Refusal(now_s, sender, "" if source else f"/target/{who}/position", REASON, text)
