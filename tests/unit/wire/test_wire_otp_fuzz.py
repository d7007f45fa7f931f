"""Anything on the wire of E1.59: nothing escapes, and a good producer is heard afterwards as before."""

from __future__ import annotations

from bridge.wire.otp import Reader
from tests.unit.wire.fuzzed_inputs import fuzz
from tests.unit.wire.otp_fuzzed import OTP
from tests.unit.wire.otp_said import PLACE, said

SEED = 20261126
WORDS = ("taken", "empty", "no-position", "old", "duplicate", "outranked", "equal-priority", "too-many", "other-system")
OTHERS = ("not-data", "not-otp", "malformed")


def test_twenty_thousand_mutated_packets_leave_a_reader_that_works() -> None:
    """Every word is met, so that the packets do reach every rule. How long they take is for the bench to judge."""
    print(f"seed {SEED}")
    found = fuzz(OTP, SEED, 20_000)
    reader = found.reader
    assert isinstance(reader, Reader)
    assert set(found.escapes) <= {"slow"}
    assert found.points > 10_000
    assert {*WORDS, *OTHERS} == set(reader.counters)
    assert {"length", "vector", "range", "page", "not-otp"} <= set(reader.refusals)
    end_s = 1e6
    given = [point.place for folio in range(3) for point in reader.take(said(folio), "192.0.2.9", end_s + folio)]
    assert given == [PLACE] * 3
