"""A performer for whoever practises: it walks, the venue sees it, and nobody tells the bridge where it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from bridge.venue.actor import Actor
from bridge.venue.simulation import Venue
from bridge.venue.walks import KINDS, Link, walk

WALK_S = 30.0
RENEWED_WITHIN_S = 3.0
"""Whoever practises asks again and again; a page that is gone gives the performer back."""


class Practice:
    """`asked` is what a page says; `tick(now_s)` walks on while it is `on`. `changed(on)` is told of both ends."""

    def __init__(
        self, venue: Venue, target: str, seed: int = 1, changed: Callable[[bool], None] = lambda _: None
    ) -> None:
        self.on = False
        self._venue, self._target, self._seed, self._changed = venue, target, seed, changed
        self._actor = Actor(venue, lambda *_: None, target)
        self._kind = "stroll"
        self._asked = False
        self._heard_s = self._until_s = 0.0

    def asked(self, message: Mapping[str, Any]) -> None:
        """`{"do": "practise", "kind": one of KINDS or null}`; anything else is not for us."""
        kind = message.get("kind")
        if message.get("do") != "practise" or not (kind is None or kind in KINDS):
            return
        self._asked, self._heard_s = kind is not None, -1.0
        if kind is not None and kind != self._kind:
            self._kind, self._until_s = kind, 0.0

    def tick(self, now_s: float) -> bool:
        """At the venue's steps: whether the performer is ours now."""
        if self._heard_s < 0:
            self._heard_s = now_s
        wanted = self._asked and now_s - self._heard_s < RENEWED_WITHIN_S
        if wanted != self.on:
            self.on, self._until_s = wanted, 0.0
            self._changed(wanted)
        if self.on:
            if now_s >= self._until_s:
                self._walk_on(now_s)
            self._actor.tick(now_s)
        return self.on

    def _walk_on(self, now_s: float) -> None:
        here = self._venue.performers.get(self._target)
        start = here.feet[:2] if here is not None else None
        self._seed += 1
        path = walk(self._kind, self._venue.show.stage.polygon.area.corners, WALK_S, self._seed, start=start)
        self._actor.begin(path, now_s, Link(), self._seed)
        self._until_s = now_s + WALK_S
