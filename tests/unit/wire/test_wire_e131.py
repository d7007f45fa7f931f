"""E1.31 packets: what is refused and why; nothing but E131Error on any octets."""

from __future__ import annotations

import contextlib
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.wire import e131
from bridge.wire.e131 import Data, E131Error, parse

CID = bytes(range(16))
SLOTS = bytes(range(256)) * 2
DATA = bytes(e131.DataPacket(CID, "source", 100, 7).pack(SLOTS, 3))
SYNC = e131.sync_packet(CID, 7, 3)
(DISCOVERY,) = e131.discovery_packets(CID, "source", [1, 2, 3])


def changed(packet: bytes, at: int, octets: bytes) -> bytes:
    return packet[:at] + octets + packet[at + len(octets) :]


def shortened(slots: int) -> bytes:
    """DATA with fewer slots, every length as E1.31 wants it."""
    size = 126 + slots
    packet = bytearray(DATA[:size])
    for at, flags in ((16, size - 16), (38, size - 38), (115, size - 115)):
        packet[at : at + 2] = (0x7000 | flags).to_bytes(2, "big")
    packet[123:125] = (1 + slots).to_bytes(2, "big")
    return bytes(packet)


def refusal(packet: bytes) -> E131Error:
    with pytest.raises(E131Error) as caught:
        parse(packet)
    assert " " in str(caught.value), "a sentence for the log"
    return caught.value


def reason(packet: bytes) -> str:
    return refusal(packet).reason


@pytest.mark.parametrize("slots", [0, 1, 24, 511, 512])
def test_fewer_than_512_slots_are_legal(slots: int) -> None:
    data = parse(shortened(slots))
    assert isinstance(data, Data)
    assert data.slots == SLOTS[:slots]


def test_the_start_code_is_kept() -> None:
    data = parse(changed(DATA, 125, b"\xdd"))
    assert isinstance(data, Data)
    assert data.start_code == 0xDD


def test_a_source_name_may_fill_its_field_or_be_no_utf8() -> None:
    for name, shown in ((b"x" * 64, "x" * 64), (b"\xff\0y" + bytes(61), "�")):
        data = parse(changed(DATA, 44, name))
        assert isinstance(data, Data)
        assert data.source_name == shown


@pytest.mark.parametrize(
    ("at", "octets", "word"),
    [
        (0, b"\0\x11", "not-e131"),
        (2, b"\0\1", "not-e131"),
        (4, b"B", "not-e131"),
        (16, b"\x62", "length"),
        (17, b"\x6d", "length"),
        (39, b"\x57", "length"),
        (115, b"\x62", "length"),
        (116, b"\x0a", "length"),
        (124, b"\x00", "length"),
        (21, b"\5", "vector"),
        (21, b"\x08", "length"),  # a root vector of another packet type: read as discovery, which it does not fit
        (43, b"\x01", "vector"),
        (117, b"\3", "vector"),
        (118, b"\xa2", "vector"),
        (120, b"\1", "vector"),
        (122, b"\2", "vector"),
        (108, b"\xc9", "range"),
        (109, b"\xfa\0", "range"),
        (113, b"\0\0", "range"),
        (113, b"\xfa\0", "range"),
    ],
)
def test_every_field_of_a_data_packet_is_checked(at: int, octets: bytes, word: str) -> None:
    assert reason(changed(DATA, at, octets)) == word


@pytest.mark.parametrize(
    ("packet", "at", "layer"),
    [(DATA, 17, "root"), (DATA, 39, "framing"), (DATA, 116, "DMP"), (DISCOVERY, 113, "universe discovery")],
)
def test_a_wrong_length_names_its_layer_with_what_was_found_and_expected(packet: bytes, at: int, layer: str) -> None:
    text = str(refusal(changed(packet, at, b"\x01")))
    expected = int.from_bytes(packet[at - 1 : at + 1], "big")
    assert text.startswith(f"{layer} layer: ")
    assert f"{expected & 0xFF00 | 1:#06x}" in text
    assert f"expected {expected:#06x}" in text


# facts/protocols.md: priority 0..200, universes 1..63999; a synchronisation address of 0 is none
@pytest.mark.parametrize(
    ("at", "octets"),
    [(108, b"\0"), (108, b"\xc8"), (109, b"\0\0"), (109, b"\xf9\xff"), (113, b"\0\1"), (113, b"\xf9\xff")],
)
def test_the_ends_of_every_range_are_legal(at: int, octets: bytes) -> None:
    data = parse(changed(DATA, at, octets))
    assert isinstance(data, Data)
    found = {108: data.priority, 109: data.sync_universe, 113: data.universe}[at]
    assert found == int.from_bytes(octets, "big")


def agreeing(packet: bytes) -> bytes:
    """The packet with root and framing lengths that agree with its size."""
    for at in (16, 38):
        packet = changed(packet, at, (0x7000 | (len(packet) - at)).to_bytes(2, "big"))
    return packet


@pytest.mark.parametrize(
    ("packet", "words"),
    [
        (shortened(512) + b"\0", "639 octets, expected 126 to 638"),
        (DATA[:125], "125 octets, expected 126 to 638"),
        (SYNC + b"\0", "50 octets, expected 49"),
        (SYNC[:48], "48 octets, expected 49"),
        (DISCOVERY + b"\0", "127 octets"),
        (DISCOVERY[:118], "118 octets"),
    ],
)
def test_a_size_that_its_kind_cannot_have_is_refused_though_the_lengths_agree(packet: bytes, words: str) -> None:
    error = refusal(agreeing(packet))
    assert error.reason == "length"
    assert words in str(error)


@pytest.mark.parametrize("octet", [0x80, 0x40, 0x20, 0x1F])
def test_every_option_has_a_bit_of_its_own(octet: int) -> None:
    """facts/protocols.md: 0x80 preview, 0x40 stream terminated, 0x20 force synchronisation; the rest means nothing."""
    data = parse(changed(DATA, 112, bytes([octet])))
    assert isinstance(data, Data)
    assert (data.preview, data.terminated, data.force_sync) == (octet == 0x80, octet == 0x40, octet == 0x20)


def test_all_octets_of_a_number_count() -> None:
    data = parse(changed(changed(DATA, 108, b"\x64\x80\x01\xff"), 113, b"\xf0\x02"))
    assert isinstance(data, Data)
    assert (data.priority, data.sync_universe, data.sequence, data.universe) == (100, 0x8001, 0xFF, 0xF002)
    page = parse(changed(DISCOVERY, 118, b"\xfe\xff\x80\x01"))
    assert page == e131.Discovery(CID, "source", 0xFE, 0xFF, (0x8001, 2, 3))


@pytest.mark.parametrize("universe", [1, 63999])
def test_synchronisation_works_on_every_universe(universe: int) -> None:
    assert parse(e131.sync_packet(CID, universe, 255)) == e131.Sync(CID, 255, universe)
    assert reason(changed(SYNC, 45, b"\xfa\0")) == "range"


def discovered(count: int) -> bytes:
    """DISCOVERY with so many universes, every length as E1.31 wants it."""
    packet = bytearray(DISCOVERY[:120] + b"".join(n.to_bytes(2, "big") for n in range(1, count + 1)))
    for at, before in ((16, 16), (38, 38), (112, 112)):
        packet[at : at + 2] = (0x7000 | (len(packet) - before)).to_bytes(2, "big")
    return bytes(packet)


@pytest.mark.parametrize("count", [0, 1, 512])
def test_a_page_of_discovery_holds_up_to_512_universes(count: int) -> None:
    page = parse(discovered(count))
    assert page == e131.Discovery(CID, "source", 0, 0, tuple(range(1, count + 1)))
    assert reason(discovered(513)) == "length"


def test_a_universe_that_is_named_twice_is_told_once() -> None:
    (page,) = e131.discovery_packets(CID, "source", [9, 2, 9])
    assert parse(page) == e131.Discovery(CID, "source", 0, 0, (2, 9))


@pytest.mark.parametrize("packet", [DATA, SYNC, DISCOVERY])
def test_no_packet_may_be_cut_or_lengthened(packet: bytes) -> None:
    for size in range(len(packet)):
        assert reason(packet[:size]) == "length"
    assert reason(packet + b"\0") == "length"


def test_synchronisation_and_discovery_are_checked() -> None:
    assert reason(changed(SYNC, 45, b"\0\0")) == "range"
    assert reason(changed(SYNC, 43, b"\2")) == "length"
    assert reason(changed(DISCOVERY, 117, b"\2")) == "vector"
    assert reason(changed(DISCOVERY, 113, b"\x0c")) == "length"
    assert reason(changed(DISCOVERY, 43, b"\3")) == "vector"


@settings(max_examples=300)
@given(st.binary(max_size=200))
def test_any_octets_raise_nothing_but_e131_error(octets: bytes) -> None:
    for packet in (octets, DATA[:44] + octets, SYNC[:38] + octets):
        with contextlib.suppress(E131Error):
            parse(packet)


def test_mutated_packets_raise_nothing_but_e131_error() -> None:
    seed = 31
    print("seed", seed)
    rng = random.Random(seed)
    for _ in range(20_000):
        packet = bytearray(rng.choice((DATA, SYNC, DISCOVERY)))
        for _ in range(rng.randint(1, 3)):
            packet[rng.randrange(len(packet))] = rng.randrange(256)
        with contextlib.suppress(E131Error):
            parse(bytes(packet[: rng.choice((len(packet), rng.randrange(len(packet)))) or 1]))


def test_the_buffer_belongs_to_the_packet_and_takes_rows_of_an_array() -> None:
    packet = e131.DataPacket(CID, "source", 100, 7)
    slots = np.zeros((2, 512), np.uint8)
    slots[1, 5] = 9
    first = packet.pack(slots[0], 1)
    copy = bytes(first)
    second = packet.pack(slots[1], 2)
    assert first is second
    assert (second[126 + 5], second[111]) == (9, 2)
    assert (copy[126 + 5], copy[111]) == (0, 1)


@pytest.mark.parametrize("slots", [0, 511, 513])
def test_packing_wants_512_slots(slots: int) -> None:
    with pytest.raises(ValueError, match=r"."):
        e131.DataPacket(CID, "source", 100, 7).pack(bytes(slots), 0)


@pytest.mark.parametrize(
    ("name", "priority", "universe", "sync"),
    [("x" * 64, 100, 1, 0), ("x", 201, 1, 0), ("x", 100, 0, 0), ("x", 100, 64000, 0), ("x", 100, 1, 64000)],
)
def test_a_packet_outside_e131s_ranges_cannot_be_prepared(name: str, priority: int, universe: int, sync: int) -> None:
    with pytest.raises(ValueError, match=r"."):
        e131.DataPacket(CID, name, priority, universe, sync)


@pytest.mark.parametrize("universe", [0, -1, 64000, 64213, 65536])
def test_no_group_for_what_is_no_universe(universe: int) -> None:
    with pytest.raises(ValueError, match="universe"):
        e131.multicast_group(universe)
