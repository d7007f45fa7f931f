"""/fixture/..., /truss/...: single heads and trusses. /level, /dark, /still, /no-light: everything at once."""

from __future__ import annotations

import numpy as np

from bridge.errors import Refused
from bridge.follow.commands.obeying import Group, Table
from bridge.follow.commands.values import Args, count, find, number, on_off, switch, text, timed
from bridge.follow.who.still import EVERYTHING
from bridge.follow.who.trims import FARTHEST_M, Shift

OVERRIDE = "override"


class HeadCommands(Group):
    """What is done to heads, one by one or all together."""

    @property
    def table(self) -> Table:
        """Address words to methods."""
        return {
            ("level", ""): self._master,
            ("dark", ""): self._dark,
            ("still", ""): self._still_all,
            ("no-light", ""): self._no_light,
            ("fixture", "level"): self._level,
            ("fixture", "follow"): self._follow,
            ("fixture", "hold"): self._hold,
            ("fixture", "out"): self._out,
            ("fixture", "trim"): self._trim,
            ("fixture", "still"): self._still,
            ("fixture", "find"): self._find,
            ("fixture", "act"): self._act,
            ("fixture", "desk"): self._desk,
            ("desk", ""): self._desk_all,
            ("truss", "trim"): self._truss_trim,
            ("truss", "still"): self._truss_still,
        }

    def _master(self, name: str, args: Args, sender: str, now_s: float) -> None:
        level, over_s = timed(args, "level", 0.0, 1.0)
        self.engine.lighting.master.set(0, level, now_s, over_s)

    def _dark(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.crew.dark = switch(args, "dark")

    def _no_light(self, name: str, args: Args, sender: str, now_s: float) -> None:
        judge = self.engine.judge
        judge.switch_no_light(find(judge.no_light_names, name, "no-light area"), switch(args, "no-light"))

    def _level(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, (level, over_s) = self.fixture(name), timed(args, "level", 0.0, 1.0)
        self.engine.lighting.levels.set(fixture, level, now_s, over_s)

    def _follow(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self.fixture(name)
        self.crew.hand_over(fixture, self.target_number(text(count(args, "follow", 1)[0], "the target")))

    def _hold(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, on = self.fixture(name), switch(args, "hold")
        if on:
            self.not_the_desks(fixture)
        self.crew.set_held(fixture, on)

    def _out(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.crew.set_out(self.fixture(name), switch(args, "out"))

    def _find(self, name: str, args: Args, sender: str, now_s: float) -> None:
        on = switch(args, "find")
        fixture = self.ours(name) if on else self.fixture(name)
        if on and self.crew.is_out(fixture):
            raise Refused("out", f"{name} is out and stays dark; give it back with /fixture/{name}/out 0 first")
        self.crew.find(fixture, on, now_s)

    def _act(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture = self.ours(name)
        self.crew.actions.begin(fixture, text(count(args, "act", 1)[0], "the action"), now_s)

    # Beside a desk

    def _desk(self, name: str, args: Args, sender: str, now_s: float) -> None:
        fixture, on = self.fixture(name), switch(args, "desk")
        under = self._under_desk()
        if not under[fixture]:
            universe = self.engine.rig.fixtures[fixture].universe
            text = (
                f"{name} is on universe {universe}, which has no desk under it; see universes of desk in network.yaml"
            )
            raise Refused("no-desk", text)
        self._give(np.arange(len(under)) == fixture, on, name)

    def _desk_all(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._give(self._under_desk(), switch(args, "desk"), "heads beside a desk")

    def _under_desk(self) -> np.ndarray:
        if self.crew.desk is None:
            raise Refused("no-desk", "this show has no desk beside it: network.yaml has no desk")
        return self.crew.desk.shares.under

    def _give(self, fixtures: np.ndarray, on: bool, what: str) -> None:
        """Only heads whose desk is heard go over; to have them back needs none."""
        desk = self.crew.desk
        if on and desk is not None:
            fixtures = fixtures & desk.heard
            if not fixtures.any():
                text = f"{what}: nothing is heard of the desk there yet; does it send, and on the universe that is set?"
                raise Refused("no-desk", text)
        self.crew.give_to_desk(fixtures, on)

    # Trims

    def _trim(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.fixture(name)
        self.crew.trims.set_head(name, self._shift(args))

    def _truss_trim(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.crew.trims.set_truss(self.truss(name), self._shift(args))

    @staticmethod
    def _shift(args: Args) -> Shift:
        dx, dy = (number(v, "trim", -FARTHEST_M, FARTHEST_M) for v in count(args, "trim", 2))
        return dx, dy

    # People aloft

    def _still_all(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._set_still("all", EVERYTHING, args, sender)

    def _still(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self.fixture(name)
        self._set_still("fixture", name, args, sender)

    def _truss_still(self, name: str, args: Args, sender: str, now_s: float) -> None:
        self._set_still("truss", self.truss(name), args, sender)

    def _set_still(self, kind: str, name: str, args: Args, sender: str) -> None:
        value, *word = count(args, "still", 1, 2)
        on = on_off(value, "still")
        if word and (on or word[0] != OVERRIDE):
            raise Refused("arguments", f"still takes 1, 0, or 0 {OVERRIDE}, found {value} {word[0]!r}")
        self.crew.set_still(kind, name, on, sender, override=bool(word))
