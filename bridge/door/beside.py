"""All that a desk beside us adds to the door, in one piece; where we send alone it is there and adds nothing."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from bridge.door.controls import SENDER, Controls, Said
from bridge.door.desk import Desk, Laid
from bridge.door.events import DeskFrame
from bridge.door.news import News
from bridge.follow.engine import Engine
from bridge.follow.keeping import Data, mapping_in
from bridge.rig.bytes import ByteMap
from bridge.rig.look import Look
from bridge.rig.rig import Rig
from bridge.wire.settings import Network


class Beside:
    """The desk of one show (`desk` None: we send alone), and what its slots operate."""

    def __init__(self, network: Network, rig: Rig, at: ByteMap, news: News) -> None:
        self.desk: Desk | None = None
        self._controls: Controls | None = None
        if network.desk is not None:
            self.desk = Desk(network.desk, rig, at, network.sacn.priority, news)
            self._controls = Controls(network.desk, rig.fixtures)

    @property
    def by_slot(self) -> bool:
        """Whether nodes put the desk's slots and ours together."""
        return self.desk is not None and self.desk.settings.by_slot

    @property
    def missing(self) -> dict[int, int]:
        """As of Desk."""
        return {} if self.desk is None else self.desk.missing

    @property
    def same(self) -> set[int]:
        """As of Desk."""
        return set() if self.desk is None else self.desk.same

    @property
    def takes_over(self) -> set[int]:
        """As of Desk."""
        return set() if self.desk is None else self.desk.takes_over

    def take(self, frames: Iterable[DeskFrame], engine: Engine, now_s: float) -> tuple[bool, list[Said]]:
        """The desk was heard; returns whether under other universes of ours than before, and what its slots ask for.

        Before a frame is soon enough to tell the engine, but for where the desk is heard at all: heads may be given to
        it from now on.
        """
        if self.desk is None or self._controls is None:
            return False, []
        frames = tuple(frames)
        if under_others := self.desk.take(frames):
            before = self._heard(engine)
            engine.hear_desk(self.desk.says())
            if self.by_slot:
                engine.lighting.begin(now_s, self._heard(engine) & ~before)
        return under_others, self._controls.take(frames)

    @staticmethod
    def _heard(engine: Engine) -> np.ndarray:
        """Heads (N,) whose light is the desk's times ours, and is heard.

        By slot they are sent before that, without light: they come in by their fade, as they do with an overlay.
        """
        desk = engine.crew.desk
        return np.zeros(len(engine.rig), bool) if desk is None else desk.heard & desk.shares.multiply

    def before_frame(self, engine: Engine, now_s: float) -> list[Said]:
        """Tell the engine what the desk sends by now; returns signs of life for targets that the desk steers."""
        if self.desk is None or self._controls is None:
            return []
        self.desk.expire(now_s)
        if self.desk.fresh:
            engine.hear_desk(self.desk.says())
        due = self._controls.alive(now_s)
        if not due:
            return []
        steered = {target.spec.name for target in engine.place.targets if target.sender == SENDER}
        return [(address, args) for address, args in due if address.split("/")[2] in steered]

    def tell(self, engine: Engine) -> None:
        """Tell an engine that knows nothing of the desk yet: what comes before its first frame may ask for it."""
        if self.desk is not None:
            engine.hear_desk(self.desk.says())

    def lay(self, look: Look, slots: np.ndarray) -> Laid:
        """A look as slots (U, 512), over the desk's where there is one."""
        return Laid(slots, None) if self.desk is None else self.desk.lay(look, slots)

    def take_over(self, before: Beside) -> list[Said]:
        """Go on in place of what another show had; returns what its controls ask for that are new."""
        if self.desk is None or self._controls is None or before.desk is None or before._controls is None:
            return []
        self.desk.take_over(before.desk)
        return self._controls.take_over(before._controls)

    def state(self) -> Data:
        """Everything that later packets depend on, as plain data; {} where we send alone."""
        if self.desk is None or self._controls is None:
            return {}
        return {"desk": self.desk.state(), "controls": self._controls.state()}

    def restore(self, data: Any) -> None:
        """Take up what `state` gave under the same show; KeyError, TypeError or ValueError on anything else."""
        if self.desk is not None and self._controls is not None:
            self.desk.restore(mapping_in(data)["desk"])
            self._controls.restore(mapping_in(data)["controls"])

    def go_on_from(self, data: Any, now_s: float) -> None:
        """After a crash: as of Desk. Controls ask anew: what their slots stand at holds."""
        if self.desk is not None:
            self.desk.go_on_from(mapping_in(data).get("desk"), now_s)
