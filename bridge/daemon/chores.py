"""What may wait, in the slack after a frame: news, the feed, the disk, the link, tidying up."""

from __future__ import annotations

import gc
from typing import Any

from bridge.daemon import status
from bridge.daemon.feed import Feed
from bridge.daemon.feed_details import Details
from bridge.daemon.focus import Focus
from bridge.daemon.link import LinkWatch
from bridge.daemon.logs import LOG, Throttle
from bridge.daemon.memory import Memory
from bridge.daemon.parts import Parts
from bridge.daemon.strays import Strays
from bridge.door.door import Door
from bridge.door.inbox import Inbox, Refusal

LINK_EVERY_S, INPUTS_EVERY_S, TIDY_EVERY_S = 1.0, 1.0, 1.0
HEIGHTS_EVERY_S, POINTS_EVERY_S, PANEL_EVERY_S = 0.25, 0.25, 0.1
LEVELS = {"info": LOG.info, "warning": LOG.warning, "error": LOG.error}


class Chores:
    """One thing a frame, so that none makes the next one late; but the feed never takes the others' turn."""

    def __init__(
        self, door: Door, inbox: Inbox, parts: Parts, feed: Feed, details: Details, memory: Memory, focus: Focus
    ) -> None:
        self._refused = Throttle(LOG.warning)
        self._door, self._inbox, self._output, self._ears = door, inbox, parts.output, parts.ears
        self._desk, self._inputs = parts.desk, parts.inputs
        self._panel = parts.panel
        self._feed, self._details, self._memory, self._focus = feed, details, memory, focus
        self._news = {level: Throttle(say, named=False) for level, say in LEVELS.items()}
        self._link = LinkWatch(door.show.network.sacn.interface)
        self._next_tidy_s = self._next_link_s = self._next_heights_s = self._next_panel_s = 0.0
        self._next_inputs_s = self._next_points_s = 0.0
        self._faults: dict[str, str] = {}
        self._strays = Strays(door)

    def do(self, now_s: float) -> None:
        """What is due."""
        self.tell_news(now_s)
        due = self._feed.due(now_s)
        if due:
            self._feed.tell(due, self._state(now_s), status.rows(self._door, now_s, self._desk.rows(now_s)))
        self._details.tell(due, now_s)
        if self._memory.keep(now_s):
            return
        if now_s >= self._next_link_s:
            self._next_link_s = now_s + LINK_EVERY_S
            self._tell_link(self._link.look())
            self._tell_links()
        elif now_s >= self._next_inputs_s:
            self._next_inputs_s = now_s + INPUTS_EVERY_S
            self._inputs.look(now_s)
            self._feed.inputs(self._inputs.rows(now_s, self._door.tracking.frames))
        elif now_s >= self._next_points_s and self._feed.asking_all():
            self._next_points_s = now_s + POINTS_EVERY_S
            self._feed.points(self._inputs.points_told(now_s))
        elif now_s >= self._next_heights_s:
            self._next_heights_s = now_s + HEIGHTS_EVERY_S
            self._tell_heights(now_s)
            for refusal, count in self._strays.fresh(now_s):
                self.refused(refusal, count)
        elif self._panel is not None and now_s >= self._next_panel_s:
            self._next_panel_s = now_s + PANEL_EVERY_S
            self._panel.look(now_s)
        elif now_s >= self._next_tidy_s:
            self._next_tidy_s = now_s + TIDY_EVERY_S
            self._tidy(now_s)

    def refused(self, refusal: Refusal, count: int = 1) -> None:
        """To the log, the feed and the counts; it stands for `count` of its kind."""
        said = f"{refusal.text} (from {refusal.sender})"
        self._refused.count(refusal.reason, said, refusal.at_s, refusal.address)
        self._details.refused[refusal.reason] += count
        self._feed.refused(refusal.host, refusal.address, refusal.reason, refusal.text, refusal.at_s, refusal.sender)

    def tell_news(self, now_s: float) -> None:
        """To the log and the feed."""
        for level, key, text in self._door.news.take():
            self._news[level].count(key, text, now_s)
            self._feed.event("/feed/notice", text[:250])

    def _tell_heights(self, now_s: float) -> None:
        """Whose light is out only because of a height: `outside` alone sends people to look at the wrong thing."""
        faults = self._door.engine.place.height_faults()
        for name in faults.keys() - self._faults.keys():
            text = f"target {name} is outside: {faults[name]}"
            self._news["warning"].count(f"height {name}", text, now_s)
            self._feed.event("/feed/notice", text[:250])
        self._faults = faults

    def _tidy(self, now_s: float) -> None:
        self._refused.flush(now_s)
        self._focus.flush(now_s)
        for throttle in self._news.values():
            throttle.flush(now_s)
        gc.collect()

    def _tell_link(self, text: str) -> None:
        if not text:
            return
        (LOG.error if self._link.down else LOG.warning)("%s", text)
        self._feed.event("/feed/notice", text)
        if not self._link.down:
            self._desk.rejoin()
            self._inputs.rejoin()
            self._ears.rejoin()  # what it is plugged into now may not know our groups

    def _tell_links(self) -> None:
        """Where the desk or a tracking input has an interface of its own."""
        for level, text in (self._desk.look_at_link(), *self._inputs.look_at_links()):
            if text:
                LEVELS[level]("%s", text)
                self._feed.event("/feed/notice", text)

    def _state(self, now_s: float) -> tuple[Any, ...]:
        """The row /feed/bridge."""
        transmission, output = self._door.transmission, self._output
        return (
            *status.switches(self._door, now_s),
            len(transmission.universes),
            len(transmission.contest.refused),
            self._inbox.taken,
            self._refused.total,
            output.errors,
            output.packets,
            self._door.lock.on,
        )
