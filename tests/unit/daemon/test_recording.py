"""What the loop gives the recorder: everything in the order in which the door took it."""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

from bridge.daemon.recording import Recording
from bridge.door.door import Door
from bridge.door.events import OthersHeard, Start
from bridge.door.inbox import Inbox
from bridge.door.transmission import Out
from bridge.wire import e131, osc
from tests.unit.door.stand_ins import CID, HOST, PERIOD, small_door

LISTENS, SENDS, SENDER = (HOST, 9000), (HOST, 40000), (HOST, 50000)


class Kept:
    """A recorder in memory that wants a new capture when it is told to."""

    def __init__(self) -> None:
        self.wants, self.closed = True, False
        self.entries: list[tuple[Any, ...]] = []

    def wants_start(self, at_us: int) -> bool:
        return self.wants

    def begin_file(self, at_us: int, events: list[bytes]) -> None:
        self.wants = False
        self.entries += [("begin", at_us, json.loads(event)) for event in events]

    def incoming(self, at_us: int, source: Any, destination: Any, payload: bytes) -> None:
        self.entries.append(("in", at_us, source, destination, payload))

    def outgoing(self, at_us: int, source: Any, destination: Any, payload: bytes) -> None:
        self.entries.append(("out", at_us, source, destination, bytes(payload)))

    def event(self, at_us: int, payload: bytes) -> None:
        self.entries.append(("event", at_us, json.loads(payload)))

    def close(self) -> None:
        self.closed = True


class Route:
    """Multicast."""

    endpoint = SENDS

    def destination(self, universe: int) -> tuple[str, int]:
        return e131.multicast_group(universe), e131.PORT


class Desk:
    """A recording beside a door, driven as the service drives it."""

    def __init__(self) -> None:
        self.door: Door = small_door()
        self.kept = Kept()
        self.inbox = Inbox(["127.0.0.0/8"], self.obey, lambda refusal: None)
        self.recording = Recording(self.kept, self.door, self.inbox, CID, LISTENS, Route())  # type: ignore[arg-type]
        self.recording.files = {"rig.yaml": "version: 1\n"}

    def obey(self, message: Any) -> None:
        self.recording.applied(message)
        self.door.apply(message)

    def hear(self, now_s: float, *messages: bytes) -> None:
        data = osc.encode_bundle(list(messages))
        self.recording.heard(data, SENDER, now_s)
        self.inbox.datagram(data, HOST, now_s)

    @property
    def kinds(self) -> list[tuple[str, Any]]:
        return [
            (entry[0], entry[2].get("kind") if isinstance(entry[2], Mapping) else None) for entry in self.kept.entries
        ]


def test_a_capture_begins_with_the_show_and_the_whole_state_as_it_is_then() -> None:
    desk = Desk()
    desk.recording.turn(1.0)
    ((word, at_us, event),) = desk.kept.entries
    assert (word, at_us, event["kind"], event["files"]) == ("begin", 1_000_000, "state", {"rig.yaml": "version: 1\n"})
    assert event["cid"] == CID.hex()
    assert event["obeyed"] == 0
    assert json.dumps(event["state"]) == json.dumps(desk.door.state())


def test_entries_stand_in_the_order_in_which_the_door_took_them_and_messages_are_counted_where_they_were_obeyed() -> (
    None
):
    desk = Desk()
    desk.recording.turn(1.0)
    start = Start(1.0, armed=True)
    desk.recording.applied(start)
    desk.door.apply(start)
    desk.hear(1.5, osc.encode("/dark", 1), osc.encode("/dark", 0), osc.encode("/nonsense"))
    desk.inbox.work()
    desk.recording.ticked(1.6)
    desk.inbox.work()
    desk.inbox.work()
    desk.recording.applied(OthersHeard(1.7, {}))
    desk.recording.ticked(1.8)
    assert desk.kinds == [
        ("begin", "state"), ("event", "start"), ("in", None), ("event", "tick"), ("event", "heard"), ("event", "tick"),
    ]  # fmt: skip
    assert [entry[2]["obeyed"] for entry in desk.kept.entries if entry[0] == "event"] == [0, 1, 2, 0]
    assert desk.kept.entries[2][:4] == ("in", 1_500_000, SENDER, LISTENS)
    assert [entry[1] for entry in desk.kept.entries] == [
        1_000_000,
        1_000_000,
        1_500_000,
        1_600_000,
        1_700_000,
        1_800_000,
    ]


def test_the_next_capture_begins_only_while_no_message_waits() -> None:
    """A message that was heard before the state and obeyed after it would be in neither capture."""
    desk = Desk()
    desk.hear(1.0, osc.encode("/dark", 1), osc.encode("/dark", 0))
    desk.recording.turn(1.1)
    desk.inbox.work()
    desk.recording.turn(1.2)
    assert [word for word, _ in desk.kinds] == ["in"]
    desk.inbox.work()
    desk.recording.turn(1.3)
    assert [word for word, _ in desk.kinds] == ["in", "begin"]
    desk.recording.ticked(1.4)
    assert desk.kept.entries[-1][2]["obeyed"] == 0, "what came before the state is in it"


def test_what_left_is_kept_with_its_way_and_what_the_network_did_not_take_is_not() -> None:
    desk = Desk()
    out = Out([(1, bytearray(b"one")), (2, bytearray(b"two"))], [b"page"])
    desk.recording.sent(out, (2,), 3.0)
    assert desk.kept.entries == [
        ("out", 3_000_000, SENDS, (e131.multicast_group(1), 5568), b"one"),
        ("out", 3_000_000, SENDS, (e131.multicast_group(e131.DISCOVERY_UNIVERSE), 5568), b"page"),
    ]


def test_ticks_are_kept_with_the_very_number_that_the_door_was_given() -> None:
    desk = Desk()
    times = [round((1.0 + n * PERIOD) * 1e6) / 1e6 for n in range(50)]
    for now_s in times:
        desk.recording.ticked(now_s)
    assert [entry[2]["at_s"] for entry in desk.kept.entries] == times
    assert [entry[1] for entry in desk.kept.entries] == [round(now_s * 1e6) for now_s in times]


def test_at_the_end_what_is_left_is_written() -> None:
    desk = Desk()
    desk.recording.close()
    assert desk.kept.closed
