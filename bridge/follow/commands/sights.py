"""/sight/...: a focus session, one head at a time. /walk: all heads on one mark."""

from __future__ import annotations

import math

from bridge.errors import Refused
from bridge.follow.commands.obeying import Group, Table
from bridge.follow.commands.values import Args, count, find, label, number


class SightCommands(Group):
    """What is done to heads that somebody aims by hand."""

    @property
    def table(self) -> Table:
        """Address words to methods."""
        return {
            ("sight", "point"): self._point,
            ("sight", "nudge"): self._nudge,
            ("sight", "near"): self._near,
            ("sight", "zoom"): lambda *all_of_it: self._raw("zoom", *all_of_it),
            ("sight", "focus"): lambda *all_of_it: self._raw("focus", *all_of_it),
            ("sight", "level"): self._level,
            ("sight", "done"): self._done,
            ("walk", ""): self._walk,
        }

    def _point(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self.ours(name)
        self._aim(fixture, self.angles(fixture, *count(args, "point", 2)))

    def _nudge(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self.ours(name)
        step = [number(v, "step", -360.0, 360.0) for v in count(args, "nudge", 2)]
        pan, tilt = (math.degrees(a) + s for a, s in zip(self.engine.sent_angles(fixture), step, strict=True))
        self._aim(fixture, self.angles(fixture, pan, tilt))

    def _near(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, mark = self.ours(name), self._mark(args, "near")
        if not self.engine.rig.has_pose[fixture] and self.engine.rig.fixtures[fixture].at is None:
            text = (
                f"{name} is not solved and rig.yaml does not say where it hangs (`at`): aim it with /sight/{name}/point"
            )
            raise Refused("unsolved", text)
        angles = self.engine.angles_towards(fixture, self.engine.marks[mark])
        if angles is None:
            raise Refused("out-of-reach", f"{name} cannot reach {mark} inside its limits by the pose known so far")
        self._aim(fixture, angles)

    def _aim(self, fixture: int, angles: tuple[float, float]) -> None:
        self._take(fixture)
        self.crew.hand.point(fixture, *angles)

    def _take(self, fixture: int) -> None:
        self.crew.take_in_hand(fixture, self.engine.moving.standing(fixture))

    def _raw(self, channel: str, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, share = self.ours(name), number(count(args, channel, 1)[0], channel, 0.0, 1.0)
        profile = self.engine.rig.fixtures[fixture].profile
        if channel not in profile.channels:
            raise Refused("no-channel", f"{name} has no {channel} channel")
        self._take(fixture)
        self.crew.hand.set_raw(fixture, channel, round(share * profile.full_scale(channel)))

    def _level(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, level = self.ours(name), number(count(args, "level", 1)[0], "level", 0.0, 1.0)
        self._take(fixture)
        self.crew.hand.set_level(fixture, level)

    def _done(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.crew.let_go(self.fixture(name))

    def _mark(self, args: Args, what: str) -> str:
        mark = label(count(args, what, 1)[0], "the mark")
        find(self.engine.marks, mark, "mark with a known place")
        return mark

    def _walk(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.crew.hand.walk(self.engine.marks[self._mark(args, "walk")], now_s)
