"""Anything on the wire: nothing escapes, memory stays bounded, and a good desk is heard afterwards as before."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.wire.receiver import MAX_SOURCES, Receiver
from tests.unit.wire.fuzzed import UNIVERSES, fuzz
from tests.unit.wire.heard import FROM, levels

SEED = 20261126
WORDS = ("taken", "held", "priorities", "terminated", "preview", "start-code", "sequence", "too-many", "not-ours")
MALFORMED = ("malformed-length", "malformed-not-e131", "malformed-vector", "malformed-range")


def test_twenty_thousand_mutated_packets_leave_a_receiver_that_works() -> None:
    """Every word is met, so that the packets do reach every rule."""
    print(f"seed {SEED}")
    escapes, receiver = fuzz(SEED, 20_000)
    assert escapes == 0
    assert sum(receiver.counters.values()) == 20_000
    assert {word: receiver.counters[word] for word in (*WORDS, *MALFORMED, "sync", "discovery")} == {
        word: number for word in receiver.counters if (number := receiver.counters[word]) > 10
    }
    end_s = 1e6
    for universe in UNIVERSES:
        receiver.frame(universe, end_s)
        for sequence in range(3):
            receiver.take(levels(b"\7" * 16, sequence, 42, universe=universe), FROM, end_s + sequence)
        frame = receiver.frame(universe, end_s + 2)
        assert frame is not None
        assert (set(frame.slots), frame.alive) == ({42}, True)


def test_sources_never_outgrow_their_place() -> None:
    receiver = Receiver([1], sampling_s=0.0)
    for number in range(5000):
        receiver.take(levels(number.to_bytes(16, "big"), 0, number % 256, priority=number % 201), FROM, number / 1000)
        assert len(receiver.heard(1, number / 1000)) <= MAX_SOURCES


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=700))
def test_no_octets_raise(junk: bytes) -> None:
    assert Receiver([1]).take(junk, FROM, 0.0).startswith("malformed-")
