"""Armed or not, on which universes, and what leaves at each tick: no socket, no clock."""

from __future__ import annotations

import enum
from collections.abc import Callable, Iterable, Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from bridge.daemon.logs import LOG
from bridge.errors import Refused
from bridge.wire.settings import SacnSettings
from bridge.wire.stream import Packet, Streams

LISTEN_S = 1.2
"""How long a universe is listened to before the first packet (interface.md, `contested`)."""
FORGET_S = 10.0
"""A source that was silent for so long is told again when it comes back."""
DARK_TICKS = 2
"""Dark frames before the terminated packets: one of them may be lost on the way."""

Contests = Callable[[float], Mapping[int, tuple[str, ...]]]


class Engine(Protocol):
    """What is needed of `bridge.follow.engine.Engine` here."""

    @property
    def any_still(self) -> bool: ...
    def begin(self, now_s: float) -> None: ...
    def tick(self, now_s: float) -> Any: ...
    def black(self, now_s: float) -> Any: ...


class Encoder(Protocol):
    """What is needed of `bridge.rig.encode.Encoder`."""

    universes: tuple[int, ...]

    def encode(self, look: Any, /) -> NDArray[np.uint8]: ...


class Phase(enum.Enum):
    """Where the streams are in their life."""

    OFF = "off"
    LISTENING = "listening"
    LIVE = "live"
    ENDING = "ending"


class Transmission:
    """`contests(now_s)` names, by universe, the other sources heard there within LISTEN_S."""

    def __init__(
        self,
        engine: Engine,
        encoder: Encoder,
        settings: SacnSettings,
        cid: bytes,
        contests: Contests,
        sequences: Mapping[int, int],
        listening_since_s: float,
    ) -> None:
        self.phase = Phase.OFF
        self.contested: dict[int, tuple[str, ...]] = {}
        self._told: dict[tuple[int, str], float] = {}  # when each source that was told was last heard
        self._engine, self._encoder = engine, encoder
        self._settings, self._cid, self._contests = settings, cid, contests
        self._ready_s = listening_since_s + LISTEN_S
        self._sequences = dict(sequences)
        self._streams: Streams | None = None
        self._rows: NDArray[np.intp] | None = None
        self._rounds: list[list[Packet]] = []
        self._dark_left = 0

    @property
    def armed(self) -> bool:
        """Sending, or about to."""
        return self.phase in (Phase.LISTENING, Phase.LIVE)

    @property
    def ended(self) -> bool:
        """Nothing is sent and nothing more will leave."""
        return self.phase is Phase.OFF

    @property
    def universes(self) -> tuple[int, ...]:
        """The universes that are sent now."""
        return self._streams.universes if self._streams is not None else ()

    @property
    def sequences(self) -> dict[int, int]:
        """The number of each universe's next packet, for the state folder."""
        return {**self._sequences, **(self._streams.sequences if self._streams else {})}

    def arm(self) -> None:
        """Send as soon as the universes have been listened to; armed already: look again at refused ones."""
        if self.phase is Phase.ENDING:
            raise Refused("ending", "/arm 1 while the streams are ending: send it again in a moment")
        self.phase = Phase.LISTENING

    def resume(self, refused: Iterable[int] = ()) -> None:
        """Go on after a crash: at once, for the receivers still hold our last look. What was refused stays so."""
        self.phase = Phase.LIVE
        self.contested = dict.fromkeys(refused, ("refused before the restart",))
        self._open(tuple(u for u in self._encoder.universes if u not in self.contested))

    def disarm(self, stopping: bool = False) -> None:
        """End the streams as a stop does; by `/arm 0` it is refused while anything is still."""
        if self._engine.any_still and not stopping:
            raise Refused("still", "/arm 0 while something is still: clear /still 0 first (people may be aloft)")
        if self._streams is None:
            self.phase = Phase.OFF
        elif self.phase is not Phase.ENDING:
            self.phase, self._dark_left, self._rounds = Phase.ENDING, DARK_TICKS, []

    def tick(self, now_s: float) -> list[Packet]:
        """One frame: (universe, packet) of all that is to leave now."""
        if self.phase is Phase.ENDING:
            return self._end(now_s)
        if self.phase is Phase.LISTENING and now_s >= self._ready_s:
            self._check(now_s)  # before the frame: the first one that is sent must be dark
        frame = self._engine.tick(now_s)
        if self._streams is None:
            return []
        return self._streams.packets(self._slots(frame), now_s)

    def unsent(self, universe: int) -> None:
        """The network did not take a packet of this universe."""
        if self._streams is not None and universe in self._streams.universes:
            self._streams.unsent(universe)

    def discovery(self, now_s: float) -> list[bytes]:
        """Universe discovery packets that are due."""
        if self._streams is None or self.phase is Phase.ENDING or not self._streams.universes:
            return []
        return self._streams.discovery(now_s)

    def newcomers(self, now_s: float) -> list[str]:
        """One line for each source that has appeared on a universe of ours and was not told yet."""
        if self._streams is None:
            return []
        lines = []
        self._told = {key: heard_s for key, heard_s in self._told.items() if now_s - heard_s < FORGET_S}
        for universe, sources in self._contests(now_s).items():
            fresh = [source for source in sources if (universe, source) not in self._told]
            self._told.update(((universe, source), now_s) for source in sources)
            if universe in self._streams.universes:
                lines += [f"universe {universe} is now also sent by {source}" for source in fresh]
        return lines

    def _check(self, now_s: float) -> None:
        """Leave out the contested universes, keep the others and those that are sent already."""
        self.phase = Phase.LIVE
        sent = set(self.universes)
        heard = {u: s for u, s in self._contests(now_s).items() if u in self._encoder.universes and s}
        self._told = {(universe, source): now_s for universe, names in heard.items() for source in names}
        refuse = self._settings.contested == "refuse"
        self.contested = {u: s for u, s in sorted(heard.items()) if refuse and u not in sent}
        for universe, sources in sorted(heard.items()):
            self._say_contested(universe, " and ".join(sources), universe in sent)
        universes = tuple(u for u in self._encoder.universes if u not in self.contested)
        if self._streams is None:
            self._engine.begin(now_s)
        if universes != self.universes or self._streams is None:
            self._open(universes)
        LOG.warning("ARMED: sending universes %s. Heads move without warning.", _ranges(universes) or "none")

    def _say_contested(self, universe: int, sources: str, sent: bool) -> None:
        if universe in self.contested:
            LOG.error(
                "universe %d is NOT SENT: %s already sends there. End that source and send /arm 1 again, "
                "or set `sacn: contested: send` in network.yaml", universe, sources,
            )  # fmt: skip
        else:
            why = "it was ours before" if sent else "`contested: send`"
            LOG.error("universe %d is also sent by %s; sent all the same (%s)", universe, sources, why)

    def _open(self, universes: tuple[int, ...]) -> None:
        before = self._streams
        self._sequences = self.sequences
        self._streams = Streams(
            universes,
            self._cid,
            self._settings.source_name,
            self._settings.priority,
            self._settings.synchronise,
            self._sequences,
            rate=self._settings.rate,
        )
        if before is not None:  # a universe that goes on keeps its spacing
            for row, universe in enumerate(universes):
                if universe in before.universes:
                    self._streams.last_sent_s[row] = before.last_sent_s[before.universes.index(universe)]
        whole = universes == self._encoder.universes
        self._rows = None if whole else np.array([self._encoder.universes.index(u) for u in universes], np.intp)

    def _slots(self, frame: Any) -> NDArray[np.uint8]:
        slots = self._encoder.encode(frame)
        return slots if self._rows is None else slots[self._rows]

    def _end(self, now_s: float) -> list[Packet]:
        """Dark, then one round of terminated packets a tick, then off."""
        assert self._streams is not None
        if self._dark_left:
            self._dark_left -= 1
            return self._streams.packets(self._slots(self._engine.black(now_s)), now_s)
        if not self._rounds:
            packets = self._streams.terminate(self._slots(self._engine.black(now_s)), now_s)
            size = len(packets) // 3
            self._rounds = [packets[at : at + size] for at in range(0, len(packets), size)] if size else [[]]
        sent = self._rounds.pop(0)
        if not self._rounds:
            self._sequences = self.sequences
            self._streams, self.phase, self.contested = None, Phase.OFF, {}
            LOG.warning("not armed: the streams are ended, nothing is sent")
        return sent


def _ranges(universes: tuple[int, ...]) -> str:
    """1-3, 7: short for people."""
    parts: list[list[int]] = []
    for universe in universes:
        if parts and universe == parts[-1][1] + 1:
            parts[-1][1] = universe
        else:
            parts.append([universe, universe])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in parts)
