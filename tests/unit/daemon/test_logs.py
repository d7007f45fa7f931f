"""The log's lines: one a record, printable, whatever a name on the network holds."""

from __future__ import annotations

import os
import sys

import pytest

from bridge.daemon.logs import LOG, MOST_REASONS, Throttle, start_logging


def test_a_name_from_the_network_neither_forges_a_line_nor_drives_a_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("handlers", "propagate", "level"):  # put back at the end
        monkeypatch.setattr(LOG, name, getattr(LOG, name))
    read, write = os.pipe()
    with open(write, "w") as pipe:
        monkeypatch.setattr(sys, "stderr", pipe)
        stop = start_logging()
        LOG.error("sent by %s", "Desk\n2026-01-01 INFO all is well\x1b[2J\x07\u202e")
        LOG.info("next")
        stop()
    with open(read) as lines:
        first, second = lines.read().splitlines()
    assert first.endswith("ERROR sent by Desk | 2026-01-01 INFO all is well?[2J??")
    assert second.endswith("INFO next")


def test_one_line_a_second_per_reason_and_the_rest_is_counted_in_it() -> None:
    lines: list[str] = []
    throttle = Throttle(lines.append)
    for step in range(250):
        throttle.count("malformed", f"octet {step}", step / 100)
    throttle.flush(9.0)
    assert lines == [
        "malformed: octet 0",
        "malformed: octet 100 (and 99 more like it)",
        "malformed: octet 200 (and 99 more like it)",
        "malformed: 49 more like it",
    ]
    assert throttle.total == 250
    throttle.flush(19.0)
    assert len(lines) == 4


def test_reasons_are_counted_each_by_itself_and_a_flush_leaves_alone_what_had_its_line_just_now() -> None:
    lines: list[str] = []
    throttle = Throttle(lines.append)
    for reason in ("range", "sender", "range"):
        throttle.count(reason, "so", 1.0)
    throttle.flush(1.5)
    assert lines == ["range: so", "sender: so"]


def test_news_are_said_as_they_are_without_the_key_that_tells_them_apart() -> None:
    lines: list[str] = []
    throttle = Throttle(lines.append, named=False)
    throttle.count("contest 1", "universe 1 is NOT SENT", 1.0)
    throttle.count("contest 2", "universe 2 is NOT SENT", 1.0)
    throttle.count("contest 1", "universe 1 is NOT SENT", 1.5)
    throttle.count("contest 1", "universe 1 is NOT SENT", 2.0)
    assert lines == [
        "universe 1 is NOT SENT",
        "universe 2 is NOT SENT",
        "universe 1 is NOT SENT (and 1 more like it)",
    ]


def test_what_a_sender_writes_cannot_forge_a_line_of_the_log() -> None:
    lines: list[str] = []
    Throttle(lines.append).count("unknown-name", "there is no target a\n2026 INFO all is well\x1b[2J", 0.0)
    assert lines == ["unknown-name: there is no target a?2026 INFO all is well?[2J"]


def test_made_up_reasons_fill_no_memory() -> None:
    throttle = Throttle(lambda line: None)
    for number in range(3 * MOST_REASONS):
        throttle.count(f"/made/up/{number}", "so", number / 1000)
    throttle.flush(10.0)
    assert len(throttle._last_s) <= MOST_REASONS
