"""Armed or not, on which universes, and what leaves at each tick: no socket, no clock."""

from __future__ import annotations

import enum
from collections.abc import Collection, Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np

from bridge.door.armed import begun_text, tell_armed
from bridge.door.contest import Contest
from bridge.door.ending import DARK_TICKS, Leaving, Round, Slots, dark_and_terminated, from_hex, terminated, to_hex
from bridge.door.events import Heard
from bridge.door.news import News
from bridge.door.sending import Sending
from bridge.errors import Refused
from bridge.follow.keeping import Data, mapping_in
from bridge.wire.settings import SacnSettings
from bridge.wire.stream import Packet, safe_start

LISTEN_S = 1.2
"""How long a universe is listened to before the first packet (interface.md, `contested`)."""


class Phase(enum.Enum):
    """Where the streams are in their life."""

    OFF = "off"
    LISTENING = "listening"
    LIVE = "live"
    ENDING = "ending"


class Out(NamedTuple):
    """What is to leave: (universe, packet) in order, and universe discovery."""

    packets: list[Packet]
    discovery: list[bytes]


NOTHING = Out([], [])


class Transmission:
    """The streams of one source, from arming to their end, over the patched `universes`.

    `by_slot`: `packets` is given priorities by slot, which count in place of the packets'.
    """

    def __init__(
        self, universes: tuple[int, ...], settings: SacnSettings, cid: bytes, news: News, *, by_slot: bool = False
    ) -> None:
        self.phase = Phase.OFF
        self.contest = Contest(settings, news)
        self._sending, self._news = Sending(universes, settings, cid, by_slot), news
        self._ready_s = np.inf
        self._waiting: dict[int, int] = {}
        self._rounds: list[Round] = []
        self._leaving = Leaving()
        self._dark_left = 0
        self._at_once: tuple[int, ...] = ()

    # What it is

    @property
    def armed(self) -> bool:
        """Sending, or about to."""
        return self.phase in (Phase.LISTENING, Phase.LIVE)

    @property
    def ended(self) -> bool:
        """Nothing is sent and nothing more will leave."""
        return self.phase is Phase.OFF

    @property
    def starts(self) -> bool:
        """Nothing has been sent yet since it was armed."""
        return self._sending.streams is None

    @property
    def patched(self) -> tuple[int, ...]:
        """All universes of the rig."""
        return self._sending.patched

    @property
    def universes(self) -> tuple[int, ...]:
        """The universes that are sent now."""
        return self._sending.universes

    @property
    def sequences(self) -> dict[int, int]:
        """The number of each universe's next packet, for the state folder."""
        return self._sending.sequences

    def rows(self) -> list[tuple[int, str, str, int]]:
        """For the feed: each patched universe, what becomes of it, and another source there with its priority."""
        all_wait, sent = self.phase in (Phase.OFF, Phase.LISTENING), self.universes
        return [self.contest.row(u, u not in sent and (all_wait or u in self._waiting)) for u in self.patched]

    # What is told to it

    def listening_since(self, since_s: float) -> None:
        """All universes are heard since then."""
        self._ready_s = since_s + LISTEN_S

    def go_on_from(self, sequences: Mapping[int, int], crashed: bool) -> None:
        """Number packets on from what was remembered: after a crash that may be older than the wire."""
        self._sending.number({u: safe_start(n) if crashed else n for u, n in sequences.items()})

    def arm(self) -> None:
        """Send as soon as the universes have been listened to; armed already: look again at refused ones."""
        if self.phase is Phase.ENDING:
            raise Refused("ending", "/arm 1 while the streams are ending: send it again in a moment")
        self.phase = Phase.LISTENING

    def resume(self, refused: Iterable[int] = ()) -> None:
        """Go on after a crash: at once, for the receivers still hold our last look. What was refused stays so."""
        self.phase = Phase.LIVE
        self.contest.refuse_again(set(refused) & set(self.patched))
        self._sending.open(self._wanted())
        tell_armed(self._news, self._wanted(), self.contest, self._waiting)

    def hold_back(self, waiting: Mapping[int, int], now_s: float) -> tuple[int, ...]:
        """Universes that must not be sent before a desk is heard, each with the desk's number; all others may.

        Returns those that are sent from the next packets on because of this: what is on them must begin dark. One that
        is sent already pauses, and receivers keep its last look for 2.5 s.
        """
        freed = set(self._waiting) - set(waiting)
        under, self._waiting = self._waiting, {u: waiting[u] for u in self.patched if u in waiting}
        if self.starts or not self.armed:
            return ()
        sent, begun = set(self.universes), set[int]()
        if self.phase is Phase.LIVE:
            begun = freed & set(self.patched) - sent - set(self.contest.refused)
            self.contest.admit(begun, sent, now_s)
            begun -= set(self.contest.refused)
        universes = tuple(u for u in self.patched if u in sent | begun and u not in self._waiting)
        if universes != self.universes:
            self._sending.open(universes)
        if begun:
            self._news.tell("warning", f"begun {sorted(begun)}", begun_text({u: under[u] for u in sorted(begun)}))
        return tuple(sorted(begun))

    def disarm(self, desk_below: Collection[int] = ()) -> None:
        """End the streams: dark, then terminated packets; only those where a desk sends on the same number."""
        if self.starts:
            self.phase = Phase.OFF
        elif self.phase is not Phase.ENDING:
            self.phase, self._dark_left, self._rounds = Phase.ENDING, DARK_TICKS, []
            self._at_once = tuple(desk_below)

    def hear(self, sources: Heard, now_s: float) -> None:
        """Who else is heard has changed."""
        self.contest.hear(sources, self.universes, now_s)

    def unsent(self, universes: Iterable[int]) -> None:
        """The network did not take a packet of these."""
        for universe in universes:
            if self._sending.streams is not None and universe in self.universes:
                self._sending.streams.unsent(universe)

    def take(
        self,
        universes: tuple[int, ...],
        settings: SacnSettings,
        dark: Slots,
        now_s: float,
        *,
        by_slot: bool = False,
        desk_below: Collection[int] = (),
    ) -> None:
        """Send other universes, or otherwise, from the next tick on; those that go on keep numbers and spacing.

        `dark` (U, 512) are the slots of a dark frame over the universes until now: how those end that are left, but
        for those with a `desk_below`, as of `disarm`.
        """
        sending, kept = self._sending, tuple(u for u in universes if u in self.universes)
        left = tuple(u for u in self.universes if u not in kept)
        ended = self._leave(left, dark, now_s, desk_below) if left and not self._rounds else {}
        sending.patched, sending.settings, sending.by_slot = universes, settings, by_slot
        self.contest.take(settings)
        if not self.starts:
            sending.open(kept)
        sending.number(ended)
        if self.phase is Phase.LIVE and kept != universes:  # what is new is listened to first
            self.phase, self._ready_s = Phase.LISTENING, now_s + LISTEN_S

    def _leave(
        self, universes: tuple[int, ...], dark: Slots, now_s: float, desk_below: Collection[int]
    ) -> dict[int, int]:
        """End these streams while the others go on (E1.31, 6.2.6); returns where their numbers stand then."""
        before, slowly = self._sending.streams, tuple(u for u in universes if u not in desk_below)
        assert before is not None
        self._leaving.add(terminated(before, self._sending.of(dark), now_s, set(universes) - set(slowly)))
        ending = self._sending.fresh(slowly)
        self._leaving.add(dark_and_terminated(ending, dark[[self.patched.index(u) for u in slowly]], now_s))
        return {u: n for u, n in {**before.sequences, **ending.sequences}.items() if u in universes}

    # One frame

    def due_to_open(self, now_s: float) -> bool:
        """Whether the universes have been listened to for long enough, so that this tick opens the streams."""
        return self.phase is Phase.LISTENING and now_s >= self._ready_s

    def open(self, now_s: float) -> None:
        """Leave out the contested universes, keep the others and those that are sent already."""
        self.phase = Phase.LIVE
        self.contest.check(self.patched, self.universes, now_s)
        wanted = self._wanted()
        if wanted != self.universes or self.starts:
            self._sending.open(wanted)
        tell_armed(self._news, wanted, self.contest, self._waiting)

    def packets(self, slots: Slots, now_s: float, priorities: Slots | None = None) -> Out:
        """What leaves of a frame; `slots` (U, 512) over `patched`, and so `priorities` by slot."""
        sending, streams = self._sending, self._sending.streams
        if streams is None:
            return NOTHING
        by_slot = None if priorities is None else sending.of(priorities)
        discovery = streams.discovery(now_s) if streams.universes else []
        return Out([*streams.packets(sending.of(slots), now_s, by_slot), *self._leaving.next()], discovery)

    def end(self, dark: Slots, now_s: float) -> Out:
        """While ENDING: dark, then one round of terminated packets a tick, then off."""
        sending = self._sending
        assert sending.streams is not None
        if self._at_once:
            self._leaving.add(terminated(sending.streams, sending.of(dark), now_s, self._at_once))
            sending.open(tuple(u for u in self.universes if u not in self._at_once))
            self._at_once = ()
        rows = sending.of(dark)
        if self._dark_left:
            self._dark_left -= 1
            return Out([*sending.streams.packets(rows, now_s), *self._leaving.next()], [])
        if not self._rounds:
            self._rounds = terminated(sending.streams, rows, now_s) or [[]]
        sent = [*self._rounds.pop(0), *self._leaving.next()]
        if not self._rounds and not self._leaving:
            sending.close()
            self.phase = Phase.OFF
            self.contest.forget()
            self._news.tell("warning", "not armed", "not armed: the streams are ended, nothing is sent")
        return Out(sent, [])

    def _wanted(self) -> tuple[int, ...]:
        return tuple(u for u in self.patched if u not in self.contest.refused and u not in self._waiting)

    # What is kept

    def state(self) -> Data:
        """Everything that later packets depend on, as plain data."""
        return {
            "phase": self.phase.value,
            "ready_s": self._ready_s,
            **self._sending.state(),
            "waiting": {str(u): desk for u, desk in self._waiting.items()},
            "rounds": to_hex(self._rounds),
            "leaving": self._leaving.state(),
            "dark_left": self._dark_left,
            "at_once": list(self._at_once),
            "contest": self.contest.state(),
        }

    def restore(self, data: Any) -> None:
        """Take up what `state` gave under the same show; KeyError, TypeError or ValueError on anything else."""
        data = mapping_in(data)
        self.phase, self._ready_s = Phase(data["phase"]), float(data["ready_s"])
        self._sending.restore(data)
        self._waiting = {int(u): int(desk) for u, desk in data.get("waiting", {}).items()}
        self._rounds = from_hex(data["rounds"])
        self._leaving.restore(data["leaving"])
        self._dark_left = int(data["dark_left"])
        self._at_once = tuple(int(u) for u in data.get("at_once", ()))
        self.contest.restore(data["contest"])
