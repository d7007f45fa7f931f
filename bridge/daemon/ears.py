"""Other sources on our universes: what the watch hears, put through E1.31's receiver rules."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Sequence

from bridge.daemon.transmission import LISTEN_S
from bridge.daemon.watch import Watch
from bridge.wire import e131
from bridge.wire.sources import Sources


class Ears:
    """Knows who else is heard; `contests` is what `Transmission` asks."""

    def __init__(self, watch: Watch, universes: Sequence[int], own_cid: bytes, clock: Callable[[], float]) -> None:
        self._watch, self._universes, self._cid, self._clock = watch, tuple(universes), own_cid, clock
        self._sources = Sources(universes)

    @property
    def since_s(self) -> float:
        """Since when all universes are listened to (monotonic)."""
        return self._watch.since_s

    def listen(self) -> None:
        """Take in what has arrived; cheap, a few times a second."""
        now_s = self._clock()
        self._watch.drain(lambda packet, host: self._take(packet, host, now_s))

    def contests(self, now_s: float) -> dict[int, tuple[str, ...]]:
        """By universe, the other sources heard there within the last 1.2 s, in words."""
        self.listen()
        found: dict[int, tuple[str, ...]] = {}
        for universe in self._universes:
            heard = self._sources.heard(universe, now_s, LISTEN_S, self._cid)
            if heard:
                found[universe] = tuple(f'"{s.source_name}" at {s.sender} (priority {s.priority})' for s in heard)
        return found

    def rejoin(self) -> None:
        """The interface came back: join its groups again."""
        self._watch.rejoin()

    def close(self) -> None:
        """Stop listening."""
        self._watch.close()

    def _take(self, packet: bytes, host: str, now_s: float) -> None:
        with contextlib.suppress(e131.E131Error):  # junk on the port is nobody's universe
            self._sources.accept(e131.parse(packet), host, now_s)
