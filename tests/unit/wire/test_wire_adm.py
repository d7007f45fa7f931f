"""The reader of ADM-OSC: every word, one test per reason to refuse, what comes back as it was sent, any octets."""

from __future__ import annotations

import math
import random
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bridge.wire import adm, osc
from bridge.wire.adm import MAX_OBJECTS, Reader
from bridge.wire.osc import encode, encode_bundle
from bridge.wire.tracked import Place, Point

FROM = "192.0.2.1"
PLACE = (0.5, -0.25, 0.125)


def said(reader: Reader, word: str, *args: osc.Argument, number: object = 7, host: str = FROM) -> Place | None:
    """Where the object is after one message, None where that gave no point."""
    points = reader.take(encode(f"/adm/obj/{number}/{word}", *args), host, 0.0)
    assert len(points) <= 1
    return points[0].place if points else None


def placed() -> Reader:
    """A reader that knows where object 7 is."""
    reader = Reader()
    assert said(reader, "xyz", *PLACE) == PLACE
    reader.point_counters.clear()
    return reader


def test_an_object_is_a_point_without_times_of_its_own() -> None:
    assert Reader().take(adm.position(7, *PLACE), FROM, 0.0) == [Point("7", PLACE, None, None, FROM)]


@pytest.mark.parametrize("order", ["xy", "yx", "xzy", "zyx"])
def test_one_coordinate_alone_waits_for_x_and_y(order: str) -> None:
    reader, whole = Reader(), dict(zip("xyz", PLACE, strict=True))
    for word in order[:-1]:
        assert said(reader, word, whole[word]) is None
    assert said(reader, order[-1], whole[order[-1]]) == (*PLACE[:2], PLACE[2] if "z" in order else 0.0)
    assert dict(reader.point_counters) == {"incomplete": len(order) - 1, "taken": 1}


def test_coordinates_alone_change_what_was_said_before() -> None:
    reader = placed()
    assert said(reader, "x", -1.0) == (-1.0, *PLACE[1:])
    assert said(reader, "xy", 0.0, 1.0) == (0.0, 1.0, PLACE[2])
    assert said(reader, "z", 1) == (0.0, 1.0, 1.0), "an int is a number"
    assert said(reader, "x", 0.5, number=8) is None, "of another object nothing is known"
    assert said(reader, "x", 0.5, host="192.0.2.2") is None, "nor from another host"


def test_polar_coordinates_alone_change_where_it_is() -> None:
    reader = Reader()
    assert said(reader, "azim", 90.0) is None
    assert said(reader, "dist", 0.5) == pytest.approx((-0.5, 0.0, 0.0))
    assert said(reader, "elev", 90.0) == pytest.approx((0.0, 0.0, 0.5))
    assert said(reader, "xyz", 0.0, 0.5, 0.0) == (0.0, 0.5, 0.0)
    assert said(reader, "azim", -90.0) == pytest.approx((0.5, 0.0, 0.0)), "distance and elevation are those of x, y, z"
    assert said(reader, "z", 0.25) == pytest.approx((0.5, 0.0, 0.25)), "and the other way round"


def test_dmax_makes_metres_of_that_object_from_that_host() -> None:
    reader = placed()
    assert said(reader, "dmax", 20.0) is None
    assert said(reader, "x", 1.0) == (20.0, -5.0, 2.5)
    assert said(reader, "xyz", *PLACE, number=8) == PLACE
    assert said(reader, "xyz", *PLACE, host="192.0.2.2") == PLACE
    assert reader.point_counters["dmax"] == 1


@pytest.mark.parametrize("metres", [0.0, -1.0, 10_001.0, 1 << 62])
def test_a_dmax_that_cannot_be_is_refused(metres: float) -> None:
    reader = placed()
    assert said(reader, "dmax", metres) is None
    assert dict(reader.point_counters) == {"range": 1}
    assert said(reader, "xyz", *PLACE) == PLACE


OUT = [
    ("xyz", (1.0001, 0.0, 0.0)),
    ("xyz", (0.0, 0.0, -1.0001)),
    ("xy", (0.0, 2)),
    ("x", (-1.5,)),
    ("y", (1 << 40,)),
    ("z", (1e30,)),
    ("aed", (180.5, 0.0, 1.0)),
    ("aed", (0.0, -91.0, 1.0)),
    ("aed", (0.0, 0.0, -0.1)),
    ("azim", (-181.0,)),
    ("elev", (91.0,)),
    ("dist", (1.01,)),
]


@pytest.mark.parametrize(("word", "args"), OUT)
def test_a_number_out_of_its_range_is_refused_and_nothing_of_it_kept(word: str, args: tuple[float, ...]) -> None:
    reader = placed()
    assert said(reader, word, *args) is None
    assert dict(reader.point_counters) == {"range": 1}
    assert said(reader, "z", PLACE[2]) == pytest.approx(PLACE)


ODD = [
    ("xyz", (0.0, 0.0)),
    ("xyz", (0.0, 0.0, 0.0, 0.0)),
    ("xy", (0.0, 0.0, 0.0)),
    ("x", ("0.5",)),
    ("x", (0.5, "m")),
    ("x", (True,)),
    ("x", (None,)),
    ("xyz", ("touch", 0.0, 0.0)),
    ("dmax", (1.0, 1.0)),
    ("dmax", ("20",)),
    ("name", (7,)),
    ("name", ("a", "b")),
]


@pytest.mark.parametrize(("word", "args"), ODD)
def test_other_arguments_than_the_words_are_refused(word: str, args: tuple[osc.Argument, ...]) -> None:
    reader = placed()
    assert said(reader, word, *args) is None
    assert dict(reader.point_counters) == {"arguments": 1}
    assert reader.names == {}


@pytest.mark.parametrize("word", ["xyz", "x", "aed", "dmax", "name"])
def test_a_message_without_arguments_is_a_query(word: str) -> None:
    reader = placed()
    assert said(reader, word) is None
    assert dict(reader.point_counters) == {"query": 1}


@pytest.mark.parametrize("word", ["touch", "release"])
def test_a_hand_on_an_object_moves_nothing(word: str) -> None:
    reader = placed()
    assert said(reader, "xyz", word) is None
    assert dict(reader.point_counters) == {"touch": 1}


ELSEWHERE = {
    "/adm/obj/7/gain": "other-word",
    "/adm/obj/7/xyz/more": "other-word",
    "/adm/obj/7": "other-word",
    "/adm/lis/xyz": "other-word",
    "/adm/env/change": "other-word",
    "/adm/obj//xyz": "object",
    "/adm/obj/seven/xyz": "object",
    "/adm/obj/-7/xyz": "object",
    "/adm/obj/007/xyz": "object",
    "/adm/obj/7.0/xyz": "object",
    "/adm/obj/9999999999/xyz": "object",
    "/target/lead/position": "not-adm",
    "/admobj/7/xyz": "not-adm",
    "/": "not-adm",
}


@pytest.mark.parametrize("address", ELSEWHERE)
def test_other_addresses_are_named_for_what_they_are(address: str) -> None:
    reader = Reader()
    assert reader.take(encode(address, *PLACE), FROM, 0.0) == []
    assert dict(reader.point_counters) == {ELSEWHERE[address]: 1}
    assert dict(reader.counters) == {"no-place": 1}


PATTERNS = ["*", "[1-3]", "{1,2}", "?", "**********************************1"]


@pytest.mark.parametrize("pattern", PATTERNS)
def test_patterns_are_left_out_of_a_bundle(pattern: str) -> None:
    reader = Reader()
    bundle = encode_bundle([encode(f"/adm/obj/{pattern}/xyz", 0.0, 0.0, 0.0), adm.position(7, *PLACE)])
    assert [point.place for point in reader.take(bundle, FROM, 0.0)] == [PLACE]
    assert dict(reader.point_counters) == {"pattern": 1, "taken": 1}
    assert reader.take(encode(f"/adm/obj/{pattern}/xyz", 0.0, 0.0, 0.0), FROM, 0.0) == []
    assert dict(reader.counters) == {"taken": 1, "no-place": 1}


def test_a_bundle_gives_one_point_an_object_where_it_is_at_the_end() -> None:
    reader = placed()
    x, y, z = (encode(f"/adm/obj/7/{word}", share) for word, share in (("x", 1.0), ("y", 1.0), ("z", 1.0)))
    nested = encode_bundle([x, encode_bundle([adm.position(8, *PLACE), y]), z])
    assert [(p.name, p.place) for p in reader.take(nested, FROM, 0.0)] == [("7", (1.0, 1.0, 1.0)), ("8", PLACE)]


def test_an_unknown_type_leaves_out_its_message_alone() -> None:
    reader = Reader()
    strange = b"/adm/obj/8/x\0\0\0\0,r\0\0" + bytes(4)
    assert len(reader.take(encode_bundle([strange, adm.position(7, *PLACE)]), FROM, 0.0)) == 1
    assert dict(reader.point_counters) == {"unknown-type": 1, "taken": 1}


WRONG = {
    "not-finite": encode_bundle([adm.position(7, *PLACE), encode("/adm/obj/7/x", math.nan)]),
    "malformed": b"PSN",
    "address": encode("/adm/obj/7/\x07xyz", 0.0),
    "oversized": b"/" * 9000,
}


@pytest.mark.parametrize("word", WRONG)
def test_a_datagram_that_is_no_sound_osc_changes_nothing(word: str) -> None:
    reader = Reader()
    assert reader.take(WRONG[word], FROM, 0.0) == []
    assert dict(reader.counters) == {word: 1}
    assert not reader.point_counters
    assert reader.last_refusal.startswith(f"{FROM}: OSC ")


def test_an_empty_bundle_is_counted() -> None:
    reader = Reader()
    assert reader.take(encode_bundle([]), FROM, 0.0) == []
    assert dict(reader.counters) == {"empty": 1}


def test_names_are_kept_as_people_can_read_them() -> None:
    reader = Reader()
    assert said(reader, "name", "Zoë \x1b[2J") is None
    assert said(reader, "name", "x" * 200, number=8) is None
    assert reader.names == {"7": "Zoë �[2J", "8": "x" * 64}
    assert dict(reader.point_counters) == {"name": 2}


def test_memory_is_bounded_whatever_comes() -> None:
    reader = placed()
    for number in range(3 * MAX_OBJECTS):
        said(reader, "x", 0.5, number=number + 10)
        said(reader, "name", "x", number=number)
        if number % 100 == 0:
            assert said(reader, "z", PLACE[2]) == PLACE, "what goes on being heard stays"
    assert len(reader._objects) == len(reader.names) == MAX_OBJECTS


def test_the_builder_refuses_what_is_out_of_range() -> None:
    with pytest.raises(ValueError, match="-1 to 1"):
        adm.position(7, 1.5, 0.0)
    with pytest.raises(ValueError, match="-1 to 1"):
        adm.position(7, math.nan, 0.0)


SHARE = st.floats(-1, 1, width=32)


@given(st.dictionaries(st.integers(0, 999_999_999), st.tuples(SHARE, SHARE, SHARE), max_size=30))
def test_what_is_built_comes_back(places: dict[int, Place]) -> None:
    bundle = encode_bundle([adm.position(number, *place) for number, place in places.items()])
    assert {int(p.name): p.place for p in Reader().take(bundle, FROM, 0.0)} == places


WORDS = st.sampled_from([("x", 1), ("y", 1), ("z", 1), ("xy", 2), ("xyz", 3), ("azim", 1), ("elev", 1), ("aed", 3)])


def test_a_turned_corner_goes_no_farther_out() -> None:
    reader = Reader()
    said(reader, "xyz", 1.0, 1.0, 1.0)
    turned = said(reader, "azim", -90.0)
    assert turned == pytest.approx((math.sqrt(2), 0.0, 1.0))
    assert said(reader, "y", 1.0) is None
    assert reader.point_counters["range"] == 1
    assert said(reader, "z", 1.0) == pytest.approx(turned)


@given(st.lists(st.tuples(WORDS, SHARE, SHARE, SHARE), max_size=30))
def test_whatever_is_said_in_whatever_order_places_stay_near_the_room(
    messages: list[tuple[tuple[str, int], float, float, float]],
) -> None:
    """The farthest is a corner of the room, turned."""
    reader = Reader()
    for (word, count), *shares in messages:
        args = [abs(share) for share in shares] if word == "aed" else shares
        place = said(reader, word, *args[:count])
        assert place is None or math.hypot(*place) <= 1.7322


def test_flipped_bits_and_cuts_never_raise_and_never_give_a_place_that_cannot_be() -> None:
    """Every single bit, every cut, then 20 000 handfuls of bits."""
    rng, reader = random.Random(20261126), Reader()
    good = encode_bundle([adm.position(7, *PLACE), encode("/adm/obj/8/aed", 30.0, 5.0, 0.5)])
    flips = [[bit] for bit in range(8 * len(good))]
    flips += [rng.sample(range(8 * len(good)), rng.randrange(2, 9)) for _ in range(20_000)]
    datagrams = [good[:cut] for cut in range(len(good))]
    for bits in flips:
        number = int.from_bytes(good, "big")
        for bit in bits:
            number ^= 1 << bit
        datagrams.append(number.to_bytes(len(good), "big"))
    for datagram in datagrams:
        for point in reader.take(datagram, FROM, 0.0):
            assert all(abs(share) <= 2 for share in point.place)
    assert sum(reader.counters.values()) == len(datagrams)
    assert reader.counters["taken"] > 1000


@given(st.binary(max_size=200), st.lists(st.floats(width=32), max_size=4))
def test_any_octets_and_numbers_are_borne(junk: bytes, numbers: list[float]) -> None:
    reader = placed()
    octets = b"".join(struct.pack(">f", number) for number in numbers)
    tags = b"," + b"f" * len(numbers)
    message = b"/adm/obj/7/xyz\0\0" + tags + b"\0" * (4 - len(tags) % 4) + octets
    for datagram in (junk, b"/adm/obj/7/xyz\0\0" + junk, message):
        for point in reader.take(datagram, FROM, 0.0):
            assert all(abs(share) <= 1 for share in point.place)
