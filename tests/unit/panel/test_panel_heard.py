"""The feed as the panel hears it, made by the daemon's own feed code and by hand."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from bridge.panel.heard import Heard
from bridge.wire import osc


class Told:
    """A Heard and what it told."""

    def __init__(self) -> None:
        self.news: list[dict[str, Any]] = []
        self.pictures = 0
        self.heard = Heard(self.news.append, self._told)

    def _told(self) -> None:
        self.pictures += 1

    def take(self, now_s: float, *messages: tuple[Any, ...]) -> None:
        self.heard.take(osc.encode_bundle([osc.encode(*message) for message in messages]), now_s, 1e9)


BRIDGE = ("/feed/bridge", True, False, False, 1.0, 2, 0, 10, 1, 0, 99, False)


def test_the_newest_row_of_everything_is_kept() -> None:
    told = Told()
    told.take(
        1.0,
        BRIDGE,
        ("/feed/target", "lead", 1.0, 2.0, 1.5, True, 20.0),
        ("/feed/fixture", "foh-1", "lit", 10.0, 20.0, 0.5),
        ("/feed/universe", 1, "overruled", "house desk", 120),
        ("/feed/hand", "lead", "Ann@127.0.0.1", 0.75, 2.0, 1.25),
        ("/feed/head", "foh-1", "lead", False, True, False, False, 1.0),
        ("/feed/area", "thrust", False),
    )
    rows = told.heard.rows
    assert rows.bridge["armed"] is True
    assert rows.bridge["packets"] == 99
    assert rows.targets["lead"] == (1.0, 2.0, 1.5, True, 20.0)
    assert rows.heads["foh-1"] == ("lit", 10.0, 20.0, 0.5)
    assert rows.universes[1] == ("overruled", "house desk", 120)
    assert rows.hands["lead"] == ("Ann@127.0.0.1", 0.75, 2.0, 1.25)
    assert rows.crew["foh-1"] == ("lead", False, True, False, False, 1.0)
    assert rows.areas == {"thrust": False}
    assert told.pictures == 1
    assert told.heard.last_s == 1.0


def test_rows_of_a_desk_and_whose_hands_heads_are_in() -> None:
    told = Told()
    told.take(
        1.0,
        BRIDGE,
        ("/feed/desk", 101, "Desk", 100, True, 12.5),
        ("/feed/desk", 60, "", 0, False, -1.0),
        ("/feed/head", "foh-1", "lead", False, False, False, False, 1.0, 1.0),
        ("/feed/head", "foh-2", "lead", False, False, False, False, 1.0),
    )
    rows = told.heard.rows
    assert rows.desk == {101: ("Desk", 100, True, 12.5), 60: ("", 0, False, -1.0)}
    assert rows.crew["foh-1"] == rows.crew["foh-2"] == ("lead", False, False, False, False, 1.0)
    assert rows.given == {"foh-1": True}, "a bridge that does not say it is believed by its state"
    assert told.heard.odd == 0


def test_news_come_one_by_one_with_their_words() -> None:
    told = Told()
    told.take(1.0, ("/feed/refused", "/dark", "range", "too much"), ("/feed/solve", "done", "12 poses taken"))
    assert [(n["what"], n["text"]) for n in told.news] == [("refused", "too much"), ("solve", "12 poses taken")]


def test_a_trim_that_is_told_no_more_is_gone() -> None:
    told = Told()
    told.take(1.0, BRIDGE, ("/feed/trim", "fixture", "foh-1", 0.25, 0.0))
    assert told.heard.rows.trims == {("fixture", "foh-1"): (0.25, 0.0)}
    told.take(1.1, BRIDGE)
    assert told.heard.rows.trims
    told.take(2.0, BRIDGE)
    assert not told.heard.rows.trims


def test_the_point_ahead_of_a_target_is_kept_while_it_is_told() -> None:
    told = Told()
    told.take(1.0, BRIDGE, ("/feed/target", "lead", 1.0, 2.0, 1.5, True, 20.0), ("/feed/ahead", "lead", 1.5, 2.0, 1.5))
    assert told.heard.rows.ahead == {"lead": (1.5, 2.0, 1.5)}
    told.take(1.3, BRIDGE)
    assert told.heard.rows.ahead
    told.take(1.6, BRIDGE)
    assert not told.heard.rows.ahead, "nobody says so any more"


def test_inputs_and_their_points_are_kept_and_a_point_that_is_told_no_more_is_gone() -> None:
    told = Told()
    row = ("tags", "otp", 3, 60.0, 0.5, 12.0, 1, "1/7 1/8", "1/8", 4)
    told.take(1.0, BRIDGE, ("/feed/input", *row), ("/feed/point", "tags", "1/7", 1.0, 2.0, 3.0, 60.0, 12.0))
    names = ("name", "protocol", "points", "rate", "jitter", "age", "framed", "followed", "lost", "refused")
    assert told.heard.rows.inputs == {"tags": dict(zip(names, row, strict=True))}
    assert told.heard.rows.points == {("tags", "1/7"): (1.0, 2.0, 3.0, 60.0, 12.0, 1.0)}
    told.take(3.0, BRIDGE, ("/feed/frame", "tags", "recorded", "A: 1/7 at 1 2 3"))
    assert (told.heard.rows.points, len(told.heard.rows.inputs)) == ({}, 1)
    assert [(n["what"], n["input"], n["word"]) for n in told.news] == [("frame", "tags", "recorded")]
    assert told.heard.odd == 0


def test_rows_of_another_version_are_counted_and_do_no_harm() -> None:
    told = Told()
    told.take(1.0, ("/feed/target", "lead"), ("/feed/what", 1), ("/feed/fixture", 1, 2, 3, 4, 5, 6), BRIDGE)
    assert told.heard.odd == 2
    assert told.pictures == 1


@given(st.binary(max_size=300))
def test_no_datagram_raises(data: bytes) -> None:
    told = Told()
    told.heard.take(data, 1.0, 1e9)
    told.heard.take(b"#bundle\0" + data, 1.0, 1e9)
