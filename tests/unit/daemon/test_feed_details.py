"""The rows for those who subscribe to `all`: on a change and once a second in turn; nothing for nobody."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from bridge.daemon import feed_details
from bridge.daemon.feed import MAX_OCTETS, Feed
from bridge.daemon.feed_details import GONE_S, MOST_CHANGED, Details
from bridge.daemon.lateness import Lateness
from bridge.daemon.status import Rows
from bridge.daemon.who_did import WhoDid
from bridge.door.events import DeskFrame, DeskHeard, NewShow
from bridge.errors import Refused
from bridge.geometry.stage import Area, Floor, Target
from bridge.wire import osc
from bridge.wire.settings import DeskSettings
from tests.unit.door.stand_ins import PERIOD, say, small_door, small_show

ME, PLAIN = ("10.0.0.5", 7000), ("10.0.0.6", 7000)
SQUARE = ((-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0))
ANN = "Ann@10.0.0.5"


class Desk:
    """A door with a feed whose datagrams are kept, in frames of virtual time."""

    def __init__(self, heads: int = 12, beside: DeskSettings | None = None) -> None:
        show = small_show()
        show = replace(show, network=replace(show.network, desk=beside))
        extra = [replace(show.fixtures[0], name=f"more-{n}", universe=3 + n // 12) for n in range(heads - 12)]
        stage = replace(
            show.stage,
            targets=(Target("lead"), Target("second", height=1.5, size=0.8)),
            more_areas=(Area("thrust", SQUARE, (0.0, 3.0), on=False),),
            no_light=(Area("rows", SQUARE, (0.0, 2.0)),),
            floors=(Floor("riser", SQUARE, 0.5),),
        )
        self.door = small_door(replace(show, fixtures=(*show.fixtures, *extra), stage=stage))
        self.sent: list[tuple[bytes, tuple[str, int]]] = []
        self.feed = Feed(lambda datagram, address: self.sent.append((datagram, address)))
        self.late, self.who = Lateness(), WhoDid()
        self.busy = (False, True)
        self.details = Details(self.door, self.feed, self.late, self.who, lambda: self.busy)
        self.now_s = 10.0
        self.door.tick(self.now_s)

    def say(self, address: str, *args: Any, sender: str = ANN) -> None:
        say(self.door, self.now_s, address, *args, sender=sender)
        self.who.obeyed(address, sender, self.now_s)

    def run(self, seconds: float) -> list[osc.OscMessage]:
        """What is told in the next seconds, subscribed at 10 a second; all that is due after 2 s has been told."""
        self.sent.clear()
        for _ in range(round(seconds / PERIOD)):
            self.now_s += PERIOD
            self.feed.subscribe(*ME, 10, self.now_s, "all")
            self.details.tell(self.feed.due(self.now_s), self.now_s)
        return [message for datagram, _ in self.sent for message in osc.decode(datagram)]


@pytest.fixture
def desk() -> Desk:
    return Desk()


def of(messages: list[osc.OscMessage], address: str) -> list[tuple[Any, ...]]:
    return [message.args for message in messages if message.address == address]


def test_all_there_is_is_told_within_a_second_and_again_in_the_next(desk: Desk) -> None:
    desk.run(1.0)
    for _ in range(2):
        told = desk.run(1.1)
        heads = of(told, "/feed/head")
        assert {row[0] for row in heads} == set(desk.door.engine.rig.names)
        assert len(heads) <= 14, "once, not at the rate of the subscriber"
        assert {row[1:] for row in heads} == {("lead", False, False, False, False, 1.0)}
        assert set(of(told, "/feed/area")) == {("thrust", False)}
        assert set(of(told, "/feed/no-light")) == {("rows", True)}
        assert set(of(told, "/feed/floor")) == {("riser", 0.5)}
        assert of(told, "/feed/still") == of(told, "/feed/by") == of(told, "/feed/count") == []
        assert 1 <= len(of(told, "/feed/late")) <= 2


def test_a_change_of_a_head_is_told_with_the_next_frame(desk: Desk) -> None:
    desk.run(2.0)
    first, *_ = desk.door.engine.rig.names
    for address, args, row in (
        (f"/fixture/{first}/out", (1,), ("lead", True, False, False, False, 1.0)),
        (f"/fixture/{first}/hold", (1,), ("lead", True, True, False, False, 1.0)),
        (f"/fixture/{first}/still", (1,), ("lead", True, True, True, False, 1.0)),
        (f"/fixture/{first}/still", (0,), ("lead", True, True, False, False, 1.0)),
        (f"/sight/{first}/point", (0.0, 45.0), ("lead", True, True, False, True, 1.0)),
        (f"/fixture/{first}/follow", ("second",), ("second", True, True, False, True, 1.0)),
        ("/target/second/crew", (), ("lead", True, True, False, True, 1.0)),
        ("/target/lead/crew", (), ("", True, True, False, True, 1.0)),
        (f"/fixture/{first}/level", (0.5,), ("", True, True, False, True, 0.5)),
    ):
        desk.say(address, *args)
        desk.sent.clear()
        desk.now_s += 1e-3
        desk.details.tell([], desk.now_s)
        told = [m.args for datagram, _ in desk.sent for m in osc.decode(datagram) if m.address == "/feed/head"]
        assert (first, *row) in told


def test_beside_a_desk_each_head_says_whether_it_is_given_into_its_hands() -> None:
    desk = Desk(beside=DeskSettings("overlay", {1: 101, 2: 102}))
    desk.door.apply(DeskHeard(desk.now_s, tuple(DeskFrame(100 + n, bytes(512), "Desk") for n in (1, 2))))
    rows = of(desk.run(1.1), "/feed/head")
    assert {row[1:] for row in rows} == {("lead", False, False, False, False, 1.0, 0.0)}
    desk.say("/fixture/foh-1/desk", 1)
    assert of(desk.run(PERIOD), "/feed/head")[0] == ("foh-1", "lead", False, False, False, False, 1.0, 1.0)
    desk.say("/desk", 0)
    assert of(desk.run(PERIOD), "/feed/head")[0] == ("foh-1", "lead", False, False, False, False, 1.0, 0.0)


def test_hands_go_with_the_state_at_the_rate_that_was_asked_for(desk: Desk) -> None:
    desk.say("/target/lead/position", 1.0, 4.0)
    desk.say("/target/lead/level", 0.25)
    desk.say("/target/second/size", 1.25, sender="10.0.0.9")
    told = of(desk.run(1.0), "/feed/hand")
    assert 18 <= len(told) <= 22, "two targets, ten a second"
    assert told[0] == ("lead", ANN, 0.25, 2.0, pytest.approx(1.3))
    assert told[1] == ("second", "10.0.0.9", 1.0, 1.25, 1.5)
    desk.run(1.5)
    assert of(desk.run(0.2), "/feed/hand")[0][:2] == ("lead", ""), "lost after two seconds of silence"


def test_areas_floors_and_no_light_areas_are_told_when_they_change(desk: Desk) -> None:
    desk.run(2.0)
    desk.say("/area/thrust", 1)
    desk.say("/no-light/rows", 0)
    desk.say("/floor/riser", 1.25)
    told = desk.run(0.1)
    assert ("thrust", True) in of(told, "/feed/area")
    assert ("rows", False) in of(told, "/feed/no-light")
    assert ("riser", 1.25) in of(told, "/feed/floor")


def test_who_made_what_still_is_told_and_that_it_was_cleared_for_a_while(desk: Desk) -> None:
    desk.say("/still", 1)
    desk.say("/still", 1, sender="Bob@10.0.0.5")
    desk.say("/truss/foh/still", 1)
    told = of(desk.run(0.1), "/feed/still")
    assert ("all", "", f"{ANN}, Bob@10.0.0.5") in told
    assert ("truss", "foh", ANN) in told
    desk.say("/still", 0, "override")
    assert ("all", "", "") in of(desk.run(0.1), "/feed/still")
    again = of(desk.run(2.0), "/feed/still")
    assert ("all", "", "") in again, "who missed it hears it again"
    assert ("truss", "foh", ANN) in again
    desk.run(GONE_S)
    assert {row[0] for row in of(desk.run(2.0), "/feed/still")} == {"truss"}
    desk.say("/still", 1)
    assert ("all", "", ANN) in of(desk.run(0.1), "/feed/still")


def test_owners_too_many_for_a_text_of_osc_are_cut(desk: Desk) -> None:
    for number in range(40):
        desk.say("/still", 1, sender=f"operator {number} ü@10.0.0.5")
    (owners, *_) = [row[2] for row in of(desk.run(0.1), "/feed/still")]
    assert 200 < len(owners.encode()) <= 255


def test_who_did_it_last_is_told_at_once_with_its_age(desk: Desk) -> None:
    desk.run(2.0)
    desk.say("/dark", 1)
    desk.say("/dark", 0, sender="Bob@10.0.0.5")
    assert ("dark", "Bob@10.0.0.5") in [row[:2] for row in of(desk.run(0.1), "/feed/by")]
    told = of(desk.run(3.0), "/feed/by")
    assert 2 <= len(told) <= 4, "once a second"
    assert told[-1][2] == pytest.approx(3.0, abs=1.1)


@pytest.mark.parametrize(
    ("address", "switch"),
    [
        ("/dark", "dark"),
        ("/fixture/dark/out", "out"),
        ("/area/out", "area"),
        ("/truss/t/still", "still"),
        ("/target/lead/crew", "crew"),
        ("/reload", "reload"),
        ("/sight/solve", "solve"),
        ("/sight/a/accept", "accept"),
        ("/sight/back", "back"),
        ("/target/lead/position", ""),
        ("/sight/a/record", ""),
        ("/frame/tags/solve", "frame"),
        ("/frame/tags/forget", "frame"),
        ("/frame/tags/record", ""),
    ],
)
def test_only_what_lasts_is_remembered_with_who_did_it(address: str, switch: str) -> None:
    who = WhoDid()
    who.obeyed(address, ANN, 1.0)
    assert who.last == ({switch: (ANN, 1.0)} if switch else {})


def test_refusals_are_counted_by_reason_and_lateness_is_told_once_a_second(desk: Desk) -> None:
    desk.run(2.0)
    desk.details.refused.update(range=3, locked=1)
    for late_s in (0.001, 0.004, 0.002):
        desk.late.note(late_s, desk.now_s)
    told = desk.run(1.05)
    assert set(of(told, "/feed/count")) == {("range", 3), ("locked", 1)}
    assert of(told, "/feed/late")[0] == (2, pytest.approx(4.0), False, True)
    desk.busy = (True, False)
    assert of(desk.run(1.05), "/feed/late")[0] == (2, 0.0, True, False)


def test_what_was_late_before_anybody_asked_is_not_the_worst_of_now() -> None:
    late = Lateness()
    late.note(0.5, 10.0)
    late.note(0.002, 20.0)
    assert late.worst_s(20.1) == 0.002
    assert late.frames == 2


def test_nothing_is_looked_at_for_nobody_and_two_arguments_bring_not_one_octet_more(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    with monkeypatch.context() as broken:
        broken.setattr(feed_details, "head_switches", lambda door, now_s: 1 / 0)
        desk.feed.subscribe(*PLAIN, 10, desk.now_s)
        for _ in range(100):
            desk.now_s += PERIOD
            desk.details.tell(desk.feed.due(desk.now_s), desk.now_s)
    assert desk.sent == []
    desk.feed.subscribe(*PLAIN, 10, desk.now_s)
    told = desk.run(2.0)
    assert told
    assert {address for _, address in desk.sent} == {ME}
    rows = Rows([], [("foh-1", "lit", 1.0, 2.0, 0.5)], [], [])
    desk.sent.clear()
    desk.feed.tell([ME, PLAIN], (True,), rows)
    assert [d for d, a in desk.sent if a == ME] == [d for d, a in desk.sent if a == PLAIN]


def test_asking_again_with_two_arguments_ends_the_rest(desk: Desk) -> None:
    desk.run(0.1)
    desk.feed.subscribe(*ME, 10, desk.now_s)
    assert desk.feed.asking_all() == []


@pytest.mark.parametrize("word", ["ALL", "", 1, True, b"all"])
def test_any_other_third_argument_is_refused(word: Any) -> None:
    with pytest.raises(Refused, match="expected all"):
        Feed(lambda datagram, address: None).subscribe(*ME, 10, 0.0, word)


def test_many_heads_are_spread_over_the_frames_of_a_second() -> None:
    desk = Desk(heads=1200)
    desk.run(3.0)
    frames = []
    for _ in range(44):
        frames.append(of(desk.run(PERIOD), "/feed/head"))
    assert len({row[0] for rows in frames for row in rows}) >= 1199
    assert max(len(rows) for rows in frames) <= 1200 / 44 + 2
    desk.say("/target/second/crew", *desk.door.engine.rig.names)
    frames = [of(desk.run(PERIOD), "/feed/head") for _ in range(30)]
    assert max(len(rows) for rows in frames) <= MOST_CHANGED + 1200 / 44 + 2
    assert {row[0] for rows in frames for row in rows if row[1] == "second"} == set(desk.door.engine.rig.names)
    assert all(len(datagram) <= MAX_OCTETS for datagram, _ in desk.sent)


def test_after_a_reload_the_rows_are_of_the_new_show(desk: Desk) -> None:
    desk.run(2.0)
    show = desk.door.show
    desk.door.apply(NewShow(desk.now_s, replace(show, fixtures=show.fixtures[:3])))
    desk.door.tick(desk.now_s)
    told = desk.run(1.1)
    assert {row[0] for row in of(told, "/feed/head")} == {fixture.name for fixture in show.fixtures[:3]}


def test_the_point_ahead_is_told_while_a_target_is_led_and_the_place_itself_when_that_ends(desk: Desk) -> None:
    desk.run(0.5)
    assert of(desk.run(0.5), "/feed/ahead") == [], "nobody moves"
    place, told = desk.door.engine.place, []
    for n in range(80):
        desk.say("/target/lead/position", 0.1 * n - 4.0, 3.0)
        desk.door.tick(desk.now_s)
        stood = place.stood(0)
        told += of(desk.run(PERIOD), "/feed/ahead")
    assert {row[0] for row in told} == {"lead"}
    x, y, z = told[-1][1:]
    assert 0.02 < x - stood[0] < 1.0, "4.4 m/s, and the heads' lag"
    assert (y, z) == pytest.approx(stood[1:], abs=0.01)
    told = []
    for _ in range(100):
        desk.say("/target/lead/position", 3.9, 3.0)
        desk.door.tick(desk.now_s)
        told += of(desk.run(PERIOD), "/feed/ahead")
    assert place.ahead_of(0) is None
    assert told[-1][1:] == pytest.approx(place.stood(0), abs=0.01)
    assert len(told) < 30, "and then no more"
    assert of(desk.run(1.0), "/feed/ahead") == []
