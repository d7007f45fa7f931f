"""People aloft: what must neither move nor light, and who said so."""

from __future__ import annotations

from typing import Any

import numpy as np

from bridge.errors import Refused
from bridge.follow.keeping import Data, mapping_in, names_in
from bridge.rig.rig import Rig

EVERYTHING = ""
Owners = dict[str, list[str]]


class Still:
    """Everything, trusses and heads that are still, each with the hosts that said so.

    Only a host that set a switch clears it, or anybody who says so on purpose (`override`). Where several hosts set
    the same one, it holds until the last of them has cleared it. `heads` (N,) is what that comes to.
    """

    def __init__(self, rig: Rig) -> None:
        self._names = rig.names
        self._trusses = tuple(fixture.truss or "" for fixture in rig.fixtures)
        self.by_kind: dict[str, Owners] = {"all": {}, "truss": {}, "fixture": {}}
        self.heads = np.zeros(len(rig), dtype=bool)

    @property
    def any(self) -> bool:
        """Whether anything at all is still."""
        return any(self.by_kind.values())

    def set(self, kind: str, name: str, on: bool, sender: str, override: bool) -> None:
        """Set or clear one switch (`kind`: all, truss or fixture); raises Refused for a stranger's 0."""
        owners = self.by_kind[kind].get(name, [])
        if on:
            self.by_kind[kind][name] = [*owners, *([sender] if sender not in owners else [])]
        elif owners and sender not in owners and not override:
            raise Refused(
                "owner",
                f"{name or 'everything'} was made still by {' and '.join(owners)}, not by {sender}: people may be "
                "aloft. Ask them; then send 0 override",
            )
        else:
            left = [] if override else [owner for owner in owners if owner != sender]
            self.by_kind[kind].pop(name, None)
            if left:
                self.by_kind[kind][name] = left
        self._gather()

    def _gather(self) -> None:
        trusses, fixtures = self.by_kind["truss"], self.by_kind["fixture"]
        rows = zip(self._names, self._trusses, strict=True)
        single = [name in fixtures or truss in trusses for name, truss in rows]
        self.heads = np.array(single, dtype=bool) | bool(self.by_kind["all"])

    def words(self) -> list[str]:
        """Each switch that is on and who set it, for people."""
        names = {"all": "everything", "truss": "truss {}", "fixture": "{}"}
        rows = [(names[kind].format(n), who) for kind, owners in self.by_kind.items() for n, who in owners.items()]
        return [f"{what} (by {' and '.join(who)})" for what, who in rows]

    def state(self) -> Data:
        """As of keeping.Part."""
        return {kind: {name: list(who) for name, who in owners.items()} for kind, owners in self.by_kind.items()}

    def restore(self, data: Any) -> None:
        """Take up what `state` gave. What names no head or truss of this show has nothing to hold."""
        data = mapping_in(data)
        known = {"all": {EVERYTHING}, "truss": {t for t in self._trusses if t}, "fixture": set(self._names)}
        for kind, names in known.items():
            kept = mapping_in(data.get(kind))
            self.by_kind[kind] = {n: names_in(who) or ["unknown"] for n, who in kept.items() if n in names}
        self._gather()
