"""Other universes to listen on while the interface is away: the old ones are heard on, the new ones later."""

from __future__ import annotations

from typing import Any

import pytest

from bridge.daemon import ears
from bridge.daemon.ears import RETRY_S, Ears
from bridge.errors import NetworkError
from bridge.wire import e131

DESK = bytes(range(16))


class AirWatch:
    """Hears what is put into `air`; cannot be had while `away`."""

    air: list[tuple[int, bytes]]
    away = False
    interface = "10.0.0.1"
    since_s = 0.0

    def __init__(self, universes: Any, interface: str) -> None:
        if AirWatch.away:
            raise NetworkError("sacn: cannot listen")
        self.universes = frozenset(universes)

    def drain(self, take: Any) -> None:
        for universe, packet in AirWatch.air:
            if universe in self.universes:
                take(packet, ("10.0.0.9", 5568))

    def ignore(self, cid: bytes, endpoint: Any) -> None: ...
    def close(self) -> None: ...


def test_a_source_is_told_with_the_highest_priority_that_it_claims_anywhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of its packets (nodes that do not know per-address priority), or of a slot (those that do)."""
    monkeypatch.setattr(AirWatch, "away", False)
    heard = Ears(AirWatch((1,), "10.0.0.1"), (1,), bytes(16), lambda: 0.0)  # type: ignore[arg-type]
    for sequence, (start_code, value, highest) in enumerate(((0, 9, 100), (0xDD, 120, 120), (0xDD, 90, 100))):
        packet = e131.DataPacket(DESK, "Desk", 100, 1).pack(bytes(511) + bytes([value]), sequence)
        packet[125] = start_code
        AirWatch.air = [(1, bytes(packet))]
        assert heard.changed(0.1) == (value != 9 or sequence == 0)
        assert [source.priority for source in heard.heard[1]] == [highest]


def test_universes_that_come_while_the_interface_is_away_are_heard_once_it_is_back(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    now_s = [0.0]
    monkeypatch.setattr(ears, "Watch", AirWatch)
    heard = Ears(AirWatch((1,), "10.0.0.1"), (1,), bytes(16), lambda: now_s[0])  # type: ignore[arg-type]
    AirWatch.away, AirWatch.air = True, []
    heard.listen_on((1, 2))
    AirWatch.air = [(u, bytes(e131.DataPacket(DESK, "Desk", 100, u).pack(bytes(512), 1))) for u in (1, 2)]
    assert heard.changed(0.1)
    assert set(heard.heard) == {1}, "what could be heard before still is"
    AirWatch.away = False
    now_s[0] = RETRY_S
    heard.changed(RETRY_S)
    assert set(heard.heard) == {1, 2}
