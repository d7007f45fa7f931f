"""Anything on the wire of PosiStageNet and ADM-OSC: nothing escapes, and a good sender is heard afterwards."""

from __future__ import annotations

from bridge.wire import adm, psn
from tests.unit.wire.adm_fuzzed import ADM
from tests.unit.wire.fuzzed_inputs import fuzz
from tests.unit.wire.psn_fuzzed import PSN

SEED = 20261126
PSN_WORDS = {"taken", "info", "not-psn", "malformed", "other-version", "old", "duplicate"}
PSN_POINTS = {"taken", "invalid", "no-place", "not-finite", "range", "again", "bad-speed"}
ADM_WORDS = {"taken", "no-place", "empty", "malformed", "address", "not-finite"}
ADM_POINTS = {"taken", "incomplete", "touch", "query", "name", "dmax", "other-word", "not-adm", "object", "arguments"}


def test_twenty_thousand_mutated_packets_leave_a_reader_of_psn_that_works() -> None:
    """Every word is met but those of too much (test_wire_psn.py has them). How long it takes is for the bench."""
    print(f"seed {SEED}")
    found = fuzz(PSN, SEED, 20_000)
    reader = found.reader
    assert isinstance(reader, psn.Reader)
    assert set(found.escapes) <= {"slow"}
    assert found.points > 10_000
    assert set(reader.counters) == PSN_WORDS
    assert set(reader.point_counters) == PSN_POINTS
    lead = psn.Tracker(7, (1.0, 2.0, 0.5))
    given = [reader.take(psn.data([lead], 1 + n)[0], "192.0.2.9", 1e6 + n)[0].place for n in range(3)]
    assert given == [lead.place] * 3


def test_twenty_thousand_mutated_datagrams_leave_a_reader_of_adm_osc_that_works() -> None:
    print(f"seed {SEED}")
    found = fuzz(ADM, SEED, 20_000)
    reader = found.reader
    assert isinstance(reader, adm.Reader)
    assert set(found.escapes) <= {"slow"}
    assert found.points > 10_000
    assert set(reader.counters) == ADM_WORDS
    assert set(reader.point_counters) == ADM_POINTS | {"range", "pattern", "unknown-type"}
    given = [reader.take(adm.position(7, 0.5, -0.5), "192.0.2.9", 1e6 + n)[0].place for n in range(3)]
    assert given == [(0.5, -0.5, 0.0)] * 3
