"""The log's lines: one a record, printable, whatever a name on the network holds."""

from __future__ import annotations

import os
import re
import sys

import pytest

from bridge.daemon.logs import FIRSTS, LOG, MOST_REASONS, Throttle, start_logging


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


def test_the_first_of_each_kind_of_a_reason_is_said_at_once_and_repeats_are_gathered() -> None:
    lines: list[str] = []
    throttle = Throttle(lines.append)
    for step in range(100):
        for kind in ("/target/lead/level", "/fixture/foh-1/level"):
            throttle.count("range", f"{kind} {step}", step / 50, kind)
    throttle.flush(9.0)
    assert lines == [
        "range: /target/lead/level 0",
        "range: /fixture/foh-1/level 0",
        "range: /target/lead/level 50 (and 98 more like it)",
        "range: 99 more like it",
    ]


def test_made_up_kinds_neither_flood_the_log_nor_fill_memory() -> None:
    lines: list[str] = []
    throttle = Throttle(lines.append)
    for step in range(5000):
        throttle.count("unknown-address", f"there is no address /{step}", step / 1000, f"/{step}")
        if step % 500 == 0:
            throttle.flush(step / 1000)
    assert len(lines) <= 5 * (1 + FIRSTS)
    assert throttle.total == 5000
    throttle.flush(99.0)
    assert len(throttle._known) <= MOST_REASONS
    assert (
        sum(int(n) for line in lines for n in re.findall(r"(\d+) more", line)) + sum("there is" in x for x in lines)
        == 5000
    )
