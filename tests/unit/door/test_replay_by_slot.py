"""A capture of a source with priorities by slot: both kinds of packets are compared in their order."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from bridge.door.events import Start, Stop
from bridge.door.transmission import Transmission
from bridge.wire.capture import Datagram
from tests.unit.door.test_replay import Tape, packets, replayed


@pytest.fixture
def tape(monkeypatch: pytest.MonkeyPatch) -> Tape:
    """Where a slot is not 0 it is ours: priorities change with the levels. Two captures, a lost packet, the end."""
    send = Transmission.packets

    def by_slot(self: Transmission, slots: Any, now_s: float, priorities: Any = None) -> Any:
        return send(self, slots, now_s, np.where(slots > 0, 110, 0).astype(np.uint8))

    monkeypatch.setattr(Transmission, "packets", by_slot)
    tape = Tape()
    tape.apply(Start(tape.now_s, armed=True, listening_since_s=tape.now_s - 2))
    tape.ticks(20)
    tape.say("/target/lead/position", 1.0, 3.0)
    tape.ticks(30)
    tape.ticks(2, lost=(1,))
    tape.begin("first")
    tape.ticks(60)
    tape.apply(Stop(tape.now_s))
    tape.ticks(8)
    assert tape.door.transmission.ended
    return tape


def kinds(entries: list[Any]) -> list[tuple[int, int]]:
    """(Place, start code) of what went out, discovery left out (E1.31: octet 125 of 638)."""
    return [(at, entries[at].payload[125]) for at in packets(entries) if len(entries[at].payload) == 638]


def test_the_same_packets_come_out_in_the_same_order(tape: Tape) -> None:
    assert {code for _, code in kinds(tape.entries)} == {0, 0xDD}
    verdict = replayed(tape.entries)
    assert verdict.equal, verdict.differences
    assert verdict.packets == len(packets(tape.entries))
    assert verdict.parts == 2


def test_priorities_after_their_levels_are_a_difference(tape: Tape) -> None:
    entries: list[Any] = list(tape.entries)
    at = next(at for at, code in kinds(entries) if code == 0xDD)
    assert isinstance(entries[at + 1], Datagram)
    entries[at], entries[at + 1] = entries[at + 1], entries[at]
    assert replayed(entries).different == 2
