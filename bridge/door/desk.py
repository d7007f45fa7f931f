"""The desk beside us: what it sends, universe by universe, and our slots laid over that.

Pure: frames come in as events, and what was heard last is kept with everything else (captures, a restart).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

import numpy as np

from bridge.door.contest import ranges
from bridge.door.events import DeskFrame
from bridge.door.news import News
from bridge.door.packed import packed, unpacked
from bridge.follow.keeping import Data, mapping_in
from bridge.rig.bytes import ByteMap
from bridge.rig.decode import Decoder
from bridge.rig.look import DeskSays, Look
from bridge.rig.overlay import Overlay
from bridge.rig.rig import Rig
from bridge.wire.e131 import SLOTS
from bridge.wire.settings import DeskSettings

BELIEVED_S = 4.5
"""So long a frame from before a restart counts: a receiver's sampling (1.5 s), a loss (2.5 s), and some more."""


class Laid(NamedTuple):
    """Slots (U, 512) to send, and by slot the priority (U, 512) of each; None where the packet's holds for all."""

    slots: np.ndarray
    priorities: np.ndarray | None


class Desk:
    """What one desk sends, under the patched universes of a rig (`at`)."""

    def __init__(self, settings: DeskSettings, rig: Rig, at: ByteMap, priority: int, news: News) -> None:
        self.settings, self._at, self._news = settings, at, news
        self.below = settings.under(at.universes)
        self._rows: dict[int, list[int]] = {}
        for row, ours in enumerate(at.universes):
            self._rows.setdefault(self.below.get(ours, 0), []).append(row)
        self._by_slot = settings.by_slot
        self._priority = np.uint8(priority)
        self._frames: dict[int, DeskFrame] = {}
        self._decoder, self._overlay = Decoder(rig, at), Overlay(at)
        self._under = np.zeros((len(at.universes), SLOTS), np.uint8)
        self._heard = np.zeros(len(at.universes), bool)
        self._fresh = True
        self._believed_until_s = -math.inf
        self._unconfirmed: set[int] = set()
        self._told_equal: set[int] = set()

    # What is heard

    def take(self, frames: Iterable[DeskFrame]) -> bool:
        """The desk sends something else, or no more; whether it is heard under other universes of ours than before."""
        frames = tuple(frames)
        first: list[DeskFrame] = []
        lost: list[DeskFrame] = []
        back: list[DeskFrame] = []
        for frame in frames:
            before = self._frames.get(frame.universe)
            self._frames[frame.universe] = frame
            self._unconfirmed.discard(frame.universe)
            if before is None:
                first.append(frame)
            elif before.alive != frame.alive:
                (back if frame.alive else lost).append(frame)
            if frame.equal and frame.universe not in self._told_equal:
                self._tell_equal(frame)
            if not frame.alive:
                self._told_equal.discard(frame.universe)
        self._tell("info", first, "the desk is heard on {} ({})")
        rule = "the desk's last slots are held" if self.settings.lost == "hold" else "the desk's slots are 0"
        self._tell("error", lost, "THE DESK IS LOST on {}, last heard from {}: " + rule + "; our heads go on")
        self._tell("warning", back, "the desk is back on {} ({})")
        self._lay_under(frame.universe for frame in frames)
        return any(frame.universe in self._rows for frame in first)

    def expire(self, now_s: float) -> None:
        """What was kept over a restart and has not been heard since is lost."""
        if self._unconfirmed and now_s >= self._believed_until_s:
            self.take([self._frames[u]._replace(alive=False) for u in sorted(self._unconfirmed)])

    def _lay_under(self, universes: Iterable[int] | None = None) -> None:
        """What is kept of these universes of the desk (None: of all) lies under ours from now on."""
        for universe in self._rows if universes is None else universes:
            frame = self._frames.get(universe)
            shown = frame is not None and (frame.alive or self.settings.lost == "hold")
            slots = np.frombuffer(frame.slots, np.uint8) if frame is not None and shown else np.uint8(0)
            for row in self._rows.get(universe, ()):
                self._heard[row], self._under[row] = frame is not None, slots
        self._fresh = True

    def _tell(self, level: str, frames: list[DeskFrame], text: str) -> None:
        """One line for all universes of which it is true."""
        if frames:
            sources = dict.fromkeys(f'"{f.source}" at {f.host}, priority {f.priority}' for f in frames)
            said = text.format(_universes([f.universe for f in frames]), "; ".join(sources))
            self._news.tell(level, f"desk {said}", said)

    def _tell_equal(self, frame: DeskFrame) -> None:
        """Once until the universe is lost: sources that fade differ in one frame and not in the next."""
        self._told_equal.add(frame.universe)
        text = (
            f"several sources send universe {frame.universe} of the desk at priority {frame.priority} and differ: the "
            "highest levels are taken, which is wrong for pan and tilt; give main and backup different priorities"
        )
        self._news.tell("warning", f"desk equal {frame.universe}", text)

    # What others ask

    @property
    def fresh(self) -> bool:
        """Whether something was heard since `says` was asked last."""
        return self._fresh

    def says(self) -> DeskSays:
        """What the desk sends for every head of the rig."""
        self._fresh = False
        return self._decoder.read(self._under, self._heard)

    @property
    def missing(self) -> dict[int, int]:
        """The desk's universe by ours, where nothing may be sent yet: an overlay needs a whole frame of the desk."""
        return {} if self._by_slot else {ours: desks for ours, desks in self.below.items() if desks not in self._frames}

    @property
    def same(self) -> set[int]:
        """Our universes that the desk sends under the same number."""
        return {ours for ours, desks in self.below.items() if ours == desks}

    @property
    def takes_over(self) -> set[int]:
        """Those of `same` on which the desk is alive: receivers fall back to it when we stop."""
        return {universe for universe in self.same if universe in self._frames and self._frames[universe].alive}

    @property
    def alive(self) -> set[int]:
        """The desk's universes that are heard now."""
        return {universe for universe, frame in self._frames.items() if frame.alive}

    @property
    def frames(self) -> Mapping[int, DeskFrame]:
        """What was heard last, by the desk's universe."""
        return self._frames

    def lay(self, look: Look, slots: np.ndarray) -> Laid:
        """Lay what is ours of a look over the desk's; `slots` (U, 512) as the encoder made them."""
        ours = self._overlay.ours(look)
        if self._by_slot:
            return Laid(np.where(ours, slots, 0), np.where(ours, self._priority, np.uint8(0)))
        return Laid(np.where(ours, slots, self._under), None)

    # What is kept

    def state(self) -> Data:
        """Everything that later packets depend on, as plain data."""
        frames = {str(u): [packed(f.slots), *f[2:]] for u, f in self._frames.items()}
        return {
            "frames": frames,
            "fine": self._decoder.fine_names,
            "unconfirmed": sorted(self._unconfirmed),
            "believed_until_s": self._believed_until_s,
        }

    def restore(self, data: Any) -> None:
        """Take up what `state` gave under the same show; KeyError, TypeError or ValueError on anything else."""
        data = mapping_in(data)
        self._frames = {int(u): DeskFrame(int(u), unpacked(text), *more) for u, (text, *more) in data["frames"].items()}
        self._decoder.know_fine(data["fine"])
        self._unconfirmed = {int(u) for u in data["unconfirmed"]}
        self._believed_until_s = float(data["believed_until_s"])
        self._lay_under()

    def go_on_from(self, data: Any, now_s: float) -> None:
        """After a crash: what the desk sent until then is believed for BELIEVED_S. Nothing in `data` can raise."""
        try:
            self.restore(data)
        except (KeyError, TypeError, ValueError, AttributeError):
            self._frames = {}
            self._lay_under()
        self._unconfirmed = set(self.alive)
        self._believed_until_s = now_s + BELIEVED_S

    def take_over(self, before: Desk) -> None:
        """Go on in place of another one, whose show was read again."""
        wanted = self.settings.heard(self._at.universes)
        self._frames = {u: f for u, f in before.frames.items() if u in wanted}
        self._decoder.know_fine(before._decoder.fine_names)
        self._unconfirmed = before._unconfirmed & set(self._frames)
        self._believed_until_s = before._believed_until_s
        self._lay_under()


def _universes(universes: list[int]) -> str:
    return ("universe " if len(universes) == 1 else "universes ") + ranges(tuple(sorted(universes)))
