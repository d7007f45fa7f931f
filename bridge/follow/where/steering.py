"""Which of the ways in which a target is seen counts now: a hand, or one of its tracked points; and no step between.

Every way has a row of its own in `tracks`, so that all are known when another one is needed. The rows begin with the
hands' (by OSC), one for each target in order; then come the sources, target by target.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from bridge.follow.keeping import FARTHEST_M, NEVER_S, Data, Field, Part, Seats, mapping_in, time_field
from bridge.follow.where.target import INPUT, TargetState
from bridge.follow.where.tracks import Tracks
from bridge.geometry.stage import Point3, Source

ALIVE_S = 0.3
"""A source that was silent for longer gives way to the next one."""
WELL_S = 1.0
"""So long a source must have been seen again before it takes back from one that comes after it."""
BLEND_S, BLEND_M = 1.0, 1.0
"""A difference between two ways is taken back over so long; a greater one than this is a jump."""
HANDS = 0
UNSEEN, MAPPED_ANEW = -1, -2
"""Instead of a way: a target that was not shown yet, and one whose way is mapped to the stage by another frame now."""


def sender_of(source: Source) -> str:
    """A tracking input as who steers a target, beside hosts."""
    return f"{INPUT}{source.input}"


class Steering(Part):
    """Over T targets: `way` (T,), 0 for hands, else the number of a source from 1."""

    kept = (
        Field("way", "targets", int, low=0, high=255),
        Field("_shown_way", "targets", int, low=-2, high=255),
        Field("_shown", "targets", low=-FARTHEST_M, high=FARTHEST_M),
        Field("_offset", "targets", low=-BLEND_M, high=BLEND_M),
        time_field("_until_s", "targets"),
        time_field("_came_s", "tracks"),
        time_field("_well_s", "tracks"),
    )

    def __init__(self, targets: Sequence[TargetState]) -> None:
        self._targets = targets
        count = len(targets)
        self.rows = [[n] for n in range(count)]
        self.sources: list[tuple[int, int, Source]] = []
        self.by_point: dict[tuple[str, str], list[int]] = {}
        names, walks = [t.spec.name for t in targets], [t.spec.walk for t in targets]
        for n, target in enumerate(targets):
            for way, source in enumerate(target.spec.sources, 1):
                self.rows[n].append(len(names))
                self.by_point.setdefault((source.input, source.point), []).append(len(names))
                self.sources.append((n, way, source))
                names.append(f"{target.spec.name} {source.input} {source.point}")
                walks.append(target.spec.walk)
        self.names, self.gone = tuple(names), list[int]()
        self.tracks = Tracks(walks)
        self.way = np.zeros(count + 1, dtype=np.intp)  # the last is nobody's, as everywhere
        self._offset, self._until_s = np.zeros((count + 1, 2)), np.full(count + 1, NEVER_S)
        self._shown, self._shown_way = np.zeros((count + 1, 2)), np.full(count + 1, UNSEEN)
        self._came_s, self._well_s = np.full(len(names), NEVER_S), np.full(len(names), NEVER_S)

    # What is seen

    def see(self, row: int, place: Point3, seen_s: float, now_s: float, velocity: Point3 | None = None) -> None:
        """A source saw its target here, at `seen_s`; that came now."""
        if now_s - self._came_s[row] > ALIVE_S:
            self._well_s[row] = now_s
        self._came_s[row] = now_s
        self.tracks.see(row, place, seen_s, velocity)

    def map_anew(self, name: str) -> None:
        """An input has another frame now, or none: what it has said so far is forgotten."""
        for row, (n, way, source) in enumerate(self.sources, len(self._targets)):
            if source.input == name:
                self._came_s[row] = NEVER_S
                self.tracks.forget(row)
                if self.way[n] == way:
                    self._shown_way[n] = MAPPED_ANEW

    # Who steers

    def choose(self, now_s: float) -> None:
        """Let the sources steer where no hand does: the first that is alive, the preferred one once it is well."""
        for n, target in enumerate(self._targets):
            if not target.spec.sources or self._in_hand(target, now_s):
                continue
            way = self._alive_way(n, now_s)
            if way == HANDS:
                continue
            source = target.spec.sources[way - 1]
            self.way[n], target.led, target.guide, target.has_input = way, True, None, True
            target.sender = sender_of(source)
            target.heard_s = max(float(self._came_s[self.rows[n][way]]), target.heard_s)
            target.z_m = 0.0 if source.z == "tag" else None

    @staticmethod
    def _in_hand(target: TargetState, now_s: float) -> bool:
        """Whether somebody steers it who is no input."""
        return target.sender is not None and not target.by_input and not target.lost(now_s)

    def _alive_way(self, n: int, now_s: float) -> int:
        """The way that counts; HANDS where no source is alive, whichever it was."""
        rows, was = self.rows[n], int(self.way[n])
        alive = [way for way in range(1, len(rows)) if now_s - self._came_s[rows[way]] <= ALIVE_S]
        if was not in alive:
            return alive[0] if alive else HANDS
        well = [way for way in alive if way < was and now_s - self._well_s[rows[way]] >= WELL_S]
        return well[0] if well else was

    # Where they are

    def row(self, n: int) -> int:
        """The row in `tracks` of the way that counts."""
        return self.rows[n][int(self.way[n])]

    def place(self, n: int, now_s: float) -> Point3:
        """Where a target that is led is now, on its way from one way of seeing it to another."""
        x, y, z = self.tracks.place[self.row(n)].tolist()
        left = self._until_s[n] - now_s
        if not 0.0 < left <= BLEND_S:
            return x, y, z
        share = left / BLEND_S
        share = share * share * (3.0 - 2.0 * share)
        dx, dy = (share * self._offset[n]).tolist()
        return x + dx, y + dy, z

    def shown(self, n: int) -> tuple[float, float]:
        """Where a target was shown last, in plan."""
        x, y = self._shown[n].tolist()
        return x, y

    def settle(self, now_s: float) -> None:
        """Note where all are shown in this frame; where one is seen in another way than before, begin to blend."""
        for n, target in enumerate(self._targets):
            if not target.has_input:
                continue
            way, before = int(self.way[n]), int(self._shown_way[n])
            if before == MAPPED_ANEW and way != HANDS and self._came_s[self.row(n)] == NEVER_S:
                continue  # not seen yet
            if target.led and before not in (way, UNSEEN):
                self._blend(n, now_s)
            self._shown_way[n] = way
            self._shown[n] = self.place(n, now_s)[:2] if target.led else target.place

    def _blend(self, n: int, now_s: float) -> None:
        """It was shown elsewhere until now: the difference is taken back slowly, unless it is a jump."""
        self._until_s[n] = NEVER_S
        x, y, _ = self.place(n, now_s)
        offset = self._shown[n] - (x, y)
        if np.hypot(*offset) < BLEND_M:
            self._offset[n], self._until_s[n] = offset, now_s + BLEND_S

    # What is kept

    def state(self) -> Data:
        """As of keeping.Part."""
        return super().state() | {"tracks": self.tracks.state()}

    def restore(self, data: Any, seats: Seats) -> None:
        """As of keeping.Part. A way is a source, whichever number it has now; `gone` are targets whose way is gone."""
        super().restore(data, seats)
        self.tracks.restore(mapping_in(data).get("tracks"), seats)
        self.gone = []
        for n, rows in enumerate(self.rows):
            names = [self.names[row] for row in rows]
            before = [name for name in seats.old_names("tracks") if name.split(" ")[0] == names[0]]
            for ways in (self.way, self._shown_way):
                way = int(ways[n])
                if way > HANDS:
                    ways[n] = names.index(before[way]) if before[way:] and before[way] in names else HANDS
                    if ways is self.way and ways[n] == HANDS:
                        self.gone.append(n)
