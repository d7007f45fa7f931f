"""The OSC decoder: one test per reason to refuse, and nothing but OscError on any octets."""

from __future__ import annotations

import contextlib
import gc
import math
import random
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.wire import osc
from bridge.wire.osc import OscError, OscMessage, decode, encode, encode_bundle

BUNDLE = b"#bundle\0" + b"\0\0\0\0\0\0\0\1"
GOOD = encode("/target/lead/position", 1.5, -2.0)
GOOD_MESSAGE = OscMessage("/target/lead/position", (1.5, -2.0))


def element(data: bytes) -> bytes:
    return struct.pack(">i", len(data)) + data


def reason(datagram: bytes) -> str:
    with pytest.raises(OscError) as caught:
        decode(datagram)
    assert 10 < len(str(caught.value)) < 400, "a message for the log, not a dump of the datagram"
    return caught.value.reason


def test_a_message_comes_back_with_its_types() -> None:
    args = (3, -7, 1 << 40, 1.5, "foh-1", "", True, False, None, b"", b"abcde")
    (message,) = decode(encode("/x/y", *args))
    assert message == OscMessage("/x/y", args)
    assert [type(a) for a in message.args] == [type(a) for a in args]


def test_nested_bundles_are_flattened_in_order() -> None:
    a, b, c, d = (encode("/n", i) for i in range(4))
    datagram = encode_bundle([a, encode_bundle([b, encode_bundle([c])]), d])
    assert [m.args for m in decode(datagram)] == [(0,), (1,), (2,), (3,)]


def test_an_empty_bundle_holds_nothing() -> None:
    assert decode(BUNDLE) == []


@pytest.mark.parametrize("tag", [0, 1, 0x83AA7E8000000000, (1 << 64) - 1])
def test_whatever_the_time_tag_says_messages_are_obeyed_at_once(tag: int) -> None:
    assert decode(b"#bundle\0" + struct.pack(">Q", tag) + element(GOOD)) == [GOOD_MESSAGE]


def test_a_message_may_lack_its_type_tags_when_it_has_no_arguments() -> None:
    assert decode(b"/target/lead/alive\0\0") == [OscMessage("/target/lead/alive")]


@pytest.mark.parametrize("size", [-4, 0, 3, 5, 1 << 30, -(1 << 31), len(GOOD) + 4, -1])
def test_an_element_size_that_cannot_be_is_refused(size: int) -> None:
    """-4 makes python-osc's bundle parser loop for ever (facts/protocols.md)."""
    assert reason(BUNDLE + struct.pack(">i", size) + GOOD) == "malformed"
    assert reason(BUNDLE + struct.pack(">i", size)) == "malformed", "nor with nothing behind it"


@pytest.mark.parametrize("cut", range(len(GOOD)))
def test_a_message_cut_anywhere_is_refused(cut: int) -> None:
    """A missing float reads as 0.0 in python-osc: here it never may."""
    if cut == 24:  # the address alone, a message without type tags: legal, and without any argument
        assert decode(GOOD[:cut]) == [OscMessage("/target/lead/position")]
    else:
        assert reason(GOOD[:cut]) == "malformed"


@pytest.mark.parametrize("cut", [n for n in range(16 + 4 + len(GOOD)) if n != 16])
def test_a_bundle_cut_anywhere_is_refused(cut: int) -> None:
    assert reason((BUNDLE + element(GOOD))[:cut]) == "malformed"


@pytest.mark.parametrize("tag", [*"[]tcrmIX,", "\x80"])
def test_an_unknown_type_tag_discards_the_message_and_never_shifts_arguments(tag: str) -> None:
    tags = f",f{tag}f".encode("latin-1")
    assert reason(b"/x\0\0" + tags + b"\0" * (4 - len(tags) % 4) + struct.pack(">ff", 1, 2)) == "unknown-type"


def test_an_unknown_type_tag_in_a_bundle_leaves_the_other_messages_when_the_caller_collects() -> None:
    strange = b"/x\0\0,r\0\0\0\0\0\0"
    alone: list[OscError] = []
    assert decode(strange, alone) == []
    assert [error.reason for error in alone] == ["unknown-type"]
    for inner in (strange, encode_bundle([strange])):
        datagram = encode_bundle([GOOD, inner, GOOD])
        assert reason(datagram) == "unknown-type"
        discarded: list[OscError] = []
        assert decode(datagram, discarded) == [GOOD_MESSAGE, GOOD_MESSAGE]
        assert [error.reason for error in discarded] == ["unknown-type"]


@pytest.mark.parametrize("number", [float("nan"), float("inf"), float("-inf")])
@pytest.mark.parametrize("tag", ["f", "d"])
def test_numbers_that_are_not_finite_are_refused(tag: str, number: float) -> None:
    good, bad = f",{tag}".encode() + b"\0\0", struct.pack(f">{tag}", number)
    assert reason(b"/x\0\0" + good + bad) == "not-finite"


@pytest.mark.parametrize("wrong", [b"/x\0\0,f\0\0\x7f\xc0\0\0", b"/*\0\0", b"/x\0\0,f\0\0", b"nonsense"])
def test_a_bundle_with_one_bad_element_changes_nothing(wrong: bytes) -> None:
    discarded: list[OscError] = []
    with pytest.raises(OscError):
        decode(encode_bundle([GOOD, wrong]), discarded)
    assert discarded == []


@pytest.mark.parametrize("char", list("*?[]{},# "))
def test_patterns_are_refused_not_matched(char: str) -> None:
    assert reason(encode(f"/target/{char}/position", 1.0, 2.0)) == "pattern"


def test_a_long_pattern_is_refused_by_its_length_before_anything_looks_at_it() -> None:
    assert reason(encode("/" + "*" * 4000 + "x", 1.0)) == "oversized"


@pytest.mark.parametrize("address", [b"/\xff\xfe\0", b"/a\x01\0", b"/a\x7f\0", b"/\xc3\xa9\0"])
def test_addresses_are_printable_ascii(address: bytes) -> None:
    assert reason(address + b",\0\0\0") == "address"


@pytest.mark.parametrize("datagram", [b"", b"\0", b"target\0\0", b"#bundlX\0" + bytes(8), b"\xff" * 64])
def test_what_is_neither_message_nor_bundle_is_refused(datagram: bytes) -> None:
    assert reason(datagram) == "malformed"


def test_text_that_is_not_utf8_is_refused() -> None:
    assert reason(b"/x\0\0,s\0\0\xff\xfe\xfd\0") == "malformed"


def test_padding_that_is_not_nul_is_refused() -> None:
    assert reason(b"/xy\0,i\0x\0\0\0\1") == "malformed"
    assert reason(b"/xy\0,s\0\0a\0\0b") == "malformed"
    assert reason(b"/xy\0,b\0\0\0\0\0\1a\0\0b") == "malformed"


def test_type_tags_begin_with_a_comma() -> None:
    assert reason(b"/x\0\0f\0\0\0\0\0\0\0") == "malformed"


def test_octets_beyond_the_arguments_are_refused() -> None:
    assert reason(GOOD + b"\0\0\0\0") == "malformed"


@pytest.mark.parametrize("size", [-1, -4, -(1 << 31), 5, 1 << 30])
def test_a_blob_that_does_not_fit_is_refused(size: int) -> None:
    assert reason(b"/x\0\0,b\0\0" + struct.pack(">i", size) + b"abcd") == "malformed"
    assert reason(b"/x\0\0,b\0\0") == "malformed"


def test_bounds_on_size_depth_elements_and_arguments() -> None:
    nested = encode_bundle([GOOD])
    for _ in range(osc.MAX_DEPTH - 1):
        nested = encode_bundle([nested])
    assert decode(nested) == [GOOD_MESSAGE]
    assert reason(encode_bundle([nested])) == "oversized"

    tiny = encode("/x")
    assert len(decode(encode_bundle([tiny] * osc.MAX_ELEMENTS))) == osc.MAX_ELEMENTS
    for filler in (tiny, BUNDLE):
        assert reason(encode_bundle([filler] * (osc.MAX_ELEMENTS + 1))) == "oversized"
    split = [encode_bundle([tiny] * (osc.MAX_ELEMENTS // 2))] * 2
    assert reason(encode_bundle(split)) == "oversized", "counted over the whole datagram"
    assert reason(encode("/x", *[1] * (osc.MAX_ARGUMENTS + 1))) == "oversized"
    assert reason(encode("/" + "x" * osc.MAX_STRING)) == "oversized"
    assert reason(encode("/x", "s" * (osc.MAX_STRING + 1))) == "oversized"
    assert reason(bytes(osc.MAX_DATAGRAM + 4)) == "oversized"


def test_what_just_fits_is_taken() -> None:
    full = encode("/x", *range(osc.MAX_ARGUMENTS))
    assert decode(full) == [OscMessage("/x", tuple(range(osc.MAX_ARGUMENTS)))]
    longest = "/" + "x" * (osc.MAX_STRING - 1)
    assert decode(encode(longest, "s" * osc.MAX_STRING)) == [OscMessage(longest, ("s" * osc.MAX_STRING,))]
    many = ("s" * osc.MAX_STRING,) * 8
    assert decode(encode("/x", *many)) == [OscMessage("/x", many)], "every string is measured by itself"
    blob = bytes(osc.MAX_DATAGRAM - 12)  # address 4, type tags 4, size 4
    assert len(encode("/x", blob)) == osc.MAX_DATAGRAM
    assert decode(encode("/x", blob)) == [OscMessage("/x", (blob,))]
    assert reason(encode("/x", blob + b"1")) == "oversized"


@pytest.mark.parametrize(
    ("number", "tag"),
    [
        (-(1 << 31), b",i"),
        ((1 << 31) - 1, b",i"),
        (-(1 << 31) - 1, b",h"),
        (1 << 31, b",h"),
        (-(1 << 63), b",h"),
        ((1 << 63) - 1, b",h"),
    ],
)
def test_an_integer_takes_64_bits_only_where_it_must(number: int, tag: bytes) -> None:
    octets = encode("/x", number)
    assert octets[4:6] == tag
    assert decode(octets) == [OscMessage("/x", (number,))]


def test_a_refusal_tells_which_address_and_what_was_found() -> None:
    for wrong, words in (
        (b"/x/y\0\0\0\0,f\0\0", ["/x/y", "'f'"]),
        (b"/x/y\0\0\0\0,r\0\0", ["/x/y", "'r'"]),
        (b"/x/y\0\0\0\0,N\0\0\0\0\0\0", ["/x/y", "4 octets"]),
        (b"/x/y\0\0\0\0,s\0\0\xff\0\0\0", ["/x/y", "'s'"]),
        (b"/x/y\0\0\0\0,f\0\0\x7f\xc0\0\0", ["/x/y", "nan"]),
        (b"/x/y\0\0\0\0f\0\0\0", ["/x/y", "','", "b'f'"]),
        (b"/x/y\0\0\0\0,b\0\0\0\0\0\x08abcd", ["/x/y", "8 octets"]),
        (b"/x/*\0\0\0\0,\0\0\0", ["'/x/*'"]),
        (b"/x/\x01\0\0\0\0,\0\0\0", ["'/x/\\x01'"]),
        (b"abcdefghijkl", ["'#bundle'", "b'abcdefgh'"]),
        (BUNDLE + struct.pack(">i", 12) + b"/x\0\0", ["size 12", "from 4 to 4"]),
    ):
        with pytest.raises(OscError) as caught:
            decode(wrong)
        assert [word for word in words if word not in str(caught.value)] == []


VALUES = st.one_of(
    st.integers(-(1 << 63), (1 << 63) - 1),
    st.floats(width=32, allow_nan=False, allow_infinity=False),
    st.text(st.characters(blacklist_characters="\0", blacklist_categories=("Cs",)), max_size=40),
    st.booleans(),
    st.none(),
    st.binary(max_size=40),
)
NAMES = st.text("abcdefghijklmnopqrstuvwxyzABC0123456789-_.", min_size=1, max_size=20)
MESSAGES = st.builds(OscMessage, st.lists(NAMES, min_size=1, max_size=5).map(lambda p: "/" + "/".join(p)),
                     st.lists(VALUES, max_size=8).map(tuple))  # fmt: skip


@given(st.lists(MESSAGES, max_size=6))
def test_what_is_encoded_is_decoded(messages: list[OscMessage]) -> None:
    encoded = [encode(m.address, *m.args) for m in messages]
    assert decode(encode_bundle(encoded)) == messages
    for message, octets in zip(messages, encoded, strict=True):
        assert len(octets) % 4 == 0
        assert decode(octets) == [message]


def only_osc_error(datagram: bytes) -> None:
    for discarded in (None, []):
        with contextlib.suppress(OscError):
            for message in decode(datagram, discarded):
                assert message.address.startswith("/")
                assert all(math.isfinite(a) for a in message.args if isinstance(a, float))


@settings(max_examples=500)
@given(st.binary(max_size=400))
def test_any_octets_raise_nothing_but_osc_error(datagram: bytes) -> None:
    only_osc_error(datagram)
    only_osc_error(b"/a\0\0," + datagram)
    only_osc_error(BUNDLE + datagram)


def test_mutated_datagrams_raise_nothing_but_osc_error() -> None:
    seed = 31
    print("seed", seed)
    rng = random.Random(seed)
    whole = encode_bundle([GOOD, encode_bundle([encode("/f", "foh-1", 1 << 40, b"ab", True)]), encode("/a", 1)])
    for _ in range(20_000):
        octets = bytearray(rng.choice((GOOD, whole)))
        for _ in range(rng.randint(1, 4)):
            kind = rng.randrange(3)
            at = rng.randrange(len(octets))
            if kind == 0:
                octets[at] = rng.randrange(256)
            elif kind == 1:
                del octets[at : at + rng.choice((1, 4, 8))]
            else:
                octets[at:at] = rng.choice((b"\0", b"\xff\xff\xff\xfc", b"#bundle\0", b",ffff", b"\x7f\xc0\0\0"))
            if not octets:
                break
        only_osc_error(bytes(octets))


@pytest.mark.parametrize("value", [1 << 63, -(1 << 63) - 1, "a\0b"])
def test_what_osc_cannot_carry_is_our_own_mistake(value: int | str) -> None:
    with pytest.raises(ValueError, match="OSC"):
        encode("/x", value)


def test_patterns_are_left_out_where_the_caller_says_so() -> None:
    bundle = encode_bundle([encode("/a/*", 1), GOOD, b"/b\0\0,?\0\0"])
    discarded: list[OscError] = []
    assert decode(bundle, discarded, patterns=True) == [GOOD_MESSAGE]
    assert [error.reason for error in discarded] == ["pattern", "unknown-type"]
    with pytest.raises(OscError) as caught:
        decode(bundle, discarded)
    assert caught.value.reason == "pattern"


def test_what_is_left_out_waits_for_no_garbage_collection() -> None:
    """The daemon's loop has it turned off: an error that held its own frame would stay."""
    gc.collect()
    gc.disable()
    try:
        for _ in range(100):
            decode(encode("/a/*", 1), [], patterns=True)
        assert gc.collect() < 100
    finally:
        gc.enable()
