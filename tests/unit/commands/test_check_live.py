"""`check --live`, without a socket: what is kept of packets, and one test for each finding of what was heard."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.commands.findings import Finding
from bridge.commands.hearing import Heard, Ledger, Source
from bridge.commands.live import seconds
from bridge.commands.live_findings import as_data, listened, live_findings, uses
from bridge.show import Show, load
from bridge.wire import e131
from bridge.wire.settings import Control, DeskSettings

TOUR = Path(__file__).parents[3] / "configs" / "harbour-hall-tour"
DESK, BACKUP, OURS = b"D" * 16, b"B" * 16, b"O" * 16
US = (OURS, ["127.0.0.1", "10.0.0.1"])
SWITCH = Control(((60, 3),), "/dark", above=127)


def packet(cid: bytes = DESK, universe: int = 101, priority: int = 100, sequence: int = 0, **more: bool) -> bytes:
    made = e131.DataPacket(cid, "House desk", priority, universe, sync_universe=7000)
    return bytes(made.pack(bytes([9] * 512), sequence, **more))


def per_address(**more: int) -> bytes:
    octets = bytearray(packet(**more))
    octets[125] = 0xDD
    octets[126 : 126 + 512] = bytes([0] * 510 + [120, 0])
    return bytes(octets)


def desk(universe: int = 101, host: str = "10.0.0.7", **more: object) -> Source:
    """A source as it is after three seconds at 44 Hz."""
    at = {"name": "House desk", "priority": 100, "highest": 100, "levels": 133, "first_s": 5.0, "last_s": 8.0} | more
    cid = at.pop("cid", DESK)
    return Source(universe, cid, host, **at)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def show() -> Show:
    """Universe 1 over the desk's 101, universe 2 over the desk's of the same number, and a control on 60."""
    tour = load(TOUR)
    fixtures = tuple(replace(f, universe=2) if f.truss == "back" else f for f in tour.fixtures)
    beside = DeskSettings(universes={1: 101, 2: 2}, controls=(SWITCH,), interface="10.0.0.1")
    return replace(tour, fixtures=fixtures, network=replace(tour.network, desk=beside))


def told(show: Show, *sources: Source, quiet: tuple[int, ...] = (2, 60, 101), **more: object) -> list[Finding]:
    """Findings but that nobody sends the `quiet` ones."""
    rows = list(live_findings(show, Heard(list(sources), 3.0, **more), US))  # type: ignore[arg-type]
    return [row for row in rows if not ("nobody" in row.what and row.where in {f"universe {u}" for u in quiet})]


def test_universes_are_listened_to_where_they_are_due(show: Show) -> None:
    assert listened(show) == {"127.0.0.1": [1, 2], "10.0.0.1": [2, 60, 101]}
    alone = replace(show, network=replace(show.network, desk=None))
    assert listened(alone) == {"127.0.0.1": [1, 2]}
    assert uses(show) == {1: "ours", 2: "ours, the desk's", 60: "controls", 101: "the desk's, under 1"}


def test_what_is_kept_of_a_source() -> None:
    ledger = Ledger([101])
    for count in range(45):
        ledger.take(packet(sequence=count), ("10.0.0.7", 5568), 5.0 + count / 44)
    ledger.take(packet(universe=102), ("10.0.0.7", 5568), 5.0)
    ledger.take(b"junk", ("10.0.0.7", 5568), 5.0)
    ledger.take(e131.sync_packet(DESK, 101, 0), ("10.0.0.7", 5568), 5.0)
    (source,) = ledger.sources
    assert (source.universe, source.cid, source.host, source.name) == (101, DESK, "10.0.0.7", "House desk")
    assert (source.priority, source.highest, source.synchronised_on) == (100, 100, 7000)
    assert source.rate_hz == pytest.approx(44.0)
    assert source.counts
    assert not source.per_address


def test_one_packet_is_no_rate() -> None:
    ledger = Ledger([101])
    ledger.take(packet(), ("10.0.0.7", 5568), 5.0)
    assert ledger.sources[0].rate_hz == 0.0


def test_priorities_of_slots_are_told_and_their_highest_counts() -> None:
    ledger = Ledger([101])
    for octets in (per_address(), packet(), per_address()):
        ledger.take(octets, ("10.0.0.7", 5568), 5.0)
    (source,) = ledger.sources
    assert (source.per_address, source.priority, source.highest, source.levels) == (True, 100, 120, 1)


def test_preview_and_ended_sources_drive_nothing() -> None:
    ledger = Ledger([101, 102])
    ledger.take(packet(preview=True), ("10.0.0.7", 5568), 5.0)
    ledger.take(packet(universe=102), ("10.0.0.7", 5568), 5.0)
    ledger.take(packet(universe=102, terminated=True), ("10.0.0.7", 5568), 5.1)
    assert [(s.preview, s.ended, s.levels, s.counts) for s in ledger.sources] == [
        (True, False, 1, False),
        (False, True, 1, False),
    ]


def test_one_identity_from_two_hosts_is_two_and_the_highest_comes_first() -> None:
    ledger = Ledger([101])
    ledger.take(packet(priority=90), ("10.0.0.7", 5568), 5.0)
    ledger.take(packet(priority=120), ("10.0.0.8", 5568), 5.0)
    assert [source.host for source in ledger.sources] == ["10.0.0.8", "10.0.0.7"]


def test_a_desk_that_sends_everything_is_not_worth_a_word(show: Show) -> None:
    assert told(show, desk(), desk(2), desk(60), quiet=()) == []


def test_a_universe_that_nobody_sends_is_a_warning(show: Show) -> None:
    rows = told(show, desk(), desk(2), quiet=())
    assert rows == [("warning", "universe 60", "nobody sends it (controls), nothing was heard in 3 s")]
    rows = told(show, desk(60), desk(2), quiet=())
    assert rows == [("warning", "universe 101", "nobody sends it (the desk's, under 1), nothing was heard in 3 s")]


@pytest.mark.parametrize(
    ("source", "words"),
    [
        (desk(60, preview=True), "preview data alone"),
        (desk(60, ended=True), "it has ended"),
        (desk(60, host="10.0.0.1", cid=OURS), "only this bridge"),
    ],
)
def test_why_nobody_counts_is_told(show: Show, source: Source, words: str) -> None:
    (row,) = told(show, desk(), desk(2), source, quiet=())
    assert row[:2] == ("warning", "universe 60")
    assert words in row.what


@pytest.mark.parametrize(
    ("highest", "words"), [(150, "nodes obey it, not us"), (110, "nodes mix it with us"), (109, None)]
)
def test_our_priority_must_be_above_the_desk_s_on_the_same_universe(
    show: Show, highest: int, words: str | None
) -> None:
    rows = told(show, desk(2, highest=highest))
    assert [row[:2] for row in rows] == ([("warning", "universe 2")] if words else [])
    for row in rows:
        assert f'"House desk" from 10.0.0.7 sends at priority {highest}, ours is 110: {words}' in row.what
        assert f"must be above {highest}" in row.what


@pytest.mark.parametrize(("contested", "words"), [("refuse", "arming refuses"), ("send", "nodes obey us")])
def test_a_stranger_on_a_universe_of_ours_is_a_warning(show: Show, contested: str, words: str) -> None:
    network = replace(show.network, sacn=replace(show.network.sacn, contested=contested))
    (row,) = told(replace(show, network=network), desk(1))
    assert row[:2] == ("warning", "universe 1")
    assert words in row.what


def test_sources_of_equal_priority_are_a_warning_and_main_and_backup_are_not(show: Show) -> None:
    (row,) = told(show, desk(), desk(host="10.0.0.8", name="Backup", cid=BACKUP))
    assert row[:2] == ("warning", "universe 101")
    assert '2 sources at the same priority 100: "House desk" from 10.0.0.7, "Backup" from 10.0.0.8' in row.what
    assert told(show, desk(), desk(host="10.0.0.8", cid=BACKUP, highest=90)) == []


def test_our_identity_elsewhere_is_an_error(show: Show) -> None:
    rows = told(show, desk(1, cid=OURS, name="Tetherlight"))
    assert rows[0][:2] == ("error", "universe 1")
    assert "OUR identity" in rows[0].what


def test_our_own_bridge_is_no_stranger(show: Show) -> None:
    assert told(show, desk(1, host="127.0.0.1", cid=OURS), desk(2, host="127.0.0.1", cid=OURS, highest=200)) == []


def test_what_could_not_be_heard_is_a_note(show: Show) -> None:
    assert told(show, deaf=["unicast was not"]) == [("note", "network.yaml", "unicast was not")]


def test_a_node_that_does_not_answer_is_a_warning(show: Show) -> None:
    nodes = ("10.0.0.8", "10.0.0.9", "10.9.9.9")
    rows = told(show, nodes=nodes, answered=frozenset(["10.0.0.8"]), unsent={"10.9.9.9": "Network is unreachable"})
    assert [row[:2] for row in rows] == [("warning", "node 10.0.0.9"), ("warning", "node 10.9.9.9")]
    assert rows[0].what.startswith("does not answer: ICMP echo, once a second for 3 s")
    assert rows[1].what.startswith("could not be asked (Network is unreachable)")


def test_where_nobody_may_ask_that_is_said_once_and_no_node_is_blamed(show: Show) -> None:
    (row,) = told(show, nodes=("10.0.0.8", "10.0.0.9"), why="not permitted")
    assert row == ("note", "network.yaml", "whether nodes answer is not known: not permitted")
    assert as_data(show, Heard(nodes=("10.0.0.8",), why="x"), US)["nodes"] == [{"address": "10.0.0.8", "answers": None}]


def test_as_json(show: Show) -> None:
    data = as_data(show, Heard([desk(), desk(1, host="127.0.0.1", cid=OURS)], 3.004, nodes=("10.0.0.8",)), US)
    assert data["seconds"] == 3.0
    assert data["nodes"] == [{"address": "10.0.0.8", "answers": False}]
    first, second = data["heard"]
    assert first == {
        "universe": 101,
        "use": "the desk's, under 1",
        "source": "House desk",
        "host": "10.0.0.7",
        "cid": DESK.hex(),
        "ours": False,
        "priority": 100,
        "per_address_priority": False,
        "highest": 100,
        "rate_hz": 44.0,
        "synchronised_on": None,
        "preview": False,
        "ended": False,
    }
    assert second["ours"]


@pytest.mark.parametrize("text", ["1", "0", "-3", "nan", "inf", "3601", "soon"])
def test_how_long_to_listen_is_bounded(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="from 2 to 3600"):
        seconds(text)
    assert seconds("2.5") == 2.5
