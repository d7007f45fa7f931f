"""Actions of a profile (a reset, a lamp): slots held for a while, the head dark meanwhile."""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.errors import Refused
from bridge.follow.keeping import LATEST_S, NEVER_S, Data, mapping_in, number_in
from bridge.rig.look import Override
from bridge.rig.rig import Rig


class Actions:
    """The last action of each head and since when. Heads that move by themselves are kept dark."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig
        self._since: dict[int, tuple[str, float]] = {}
        self.until_s = NEVER_S

    def begin(self, fixture: int, name: str, now_s: float) -> None:
        """Start an action; raises Refused where the profile has no such."""
        actions = self._rig.fixtures[fixture].profile.actions
        if name not in actions:
            known = ", ".join(actions) or "none"
            text = f"{self._rig.names[fixture]} has no action {name}; its profile knows: {known}"
            raise Refused("unknown-name", text)
        self._since[fixture] = (name, now_s)
        self._find_end()

    def dark(self, now_s: float) -> np.ndarray | None:
        """Heads (N,) that an action keeps dark now; None: none."""
        if now_s >= self.until_s:
            return None
        dark = np.zeros(len(self._rig), dtype=bool)
        dark[[n for n, (name, since_s) in self._since.items() if now_s - since_s < self._action(n, name).dark]] = True
        return dark

    def overrides(self, now_s: float) -> tuple[Override, ...]:
        """The slots that are held now."""
        if now_s >= self.until_s:
            return ()
        running = [(n, self._action(n, name), since_s) for n, (name, since_s) in self._since.items()]
        return tuple(Override(n, tuple(a.slots.items())) for n, a, since_s in running if now_s - since_s < a.hold)

    def _action(self, fixture: int, name: str) -> Any:
        return self._rig.fixtures[fixture].profile.actions[name]

    def _find_end(self) -> None:
        running = [(self._action(n, name), since_s) for n, (name, since_s) in self._since.items()]
        self.until_s = max((since_s + max(a.hold, a.dark) for a, since_s in running), default=NEVER_S)

    def state(self) -> Data:
        """As of keeping.Part, by name."""
        return {self._rig.names[n]: [name, since_s] for n, (name, since_s) in self._since.items()}

    def restore(self, data: Any) -> None:
        """Take up what `state` gave."""
        data = mapping_in(data)
        for number, fixture in enumerate(self._rig.fixtures):
            entry = data.get(fixture.name)
            if not isinstance(entry, (list, tuple)) or len(entry) != 2 or entry[0] not in fixture.profile.actions:
                continue
            since_s = number_in(entry[1], -LATEST_S, LATEST_S)
            if since_s is not None:
                self._since[number] = (str(entry[0]), since_s)
        self._find_end()
