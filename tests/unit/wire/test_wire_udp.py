"""IP and UDP headers for captures: they come back, and what is no whole UDP packet is refused."""

from __future__ import annotations

import contextlib
import struct

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bridge.wire import udp

A4, B4 = ("10.0.0.1", 50000), ("239.255.0.1", 5568)
A6, B6 = ("fe80::1", 1), ("ff18::83:0:1", 65535)


@pytest.mark.parametrize(
    ("source", "destination"), [(A4, B4), (A6, B6), (("::ffff:10.0.0.1", 9), ("::", 9000)), (("0.0.0.0", 0), A4)]
)
@pytest.mark.parametrize("payload", [b"", b"x", b"abc" * 100, bytes(65507 - 12)])
def test_both_ends_and_the_payload_come_back(source: udp.Address, destination: udp.Address, payload: bytes) -> None:
    assert udp.parse(udp.packet(source, destination, payload)) == (source, destination, payload)


def test_a_zone_is_dropped_and_a_mixed_pair_is_ipv6() -> None:
    assert udp.parse(udp.packet(("fe80::1%eth0", 5), A4, b"x"))[:2] == (("fe80::1", 5), ("::ffff:10.0.0.1", 50000))


def test_the_ipv4_checksum_of_a_known_header() -> None:
    """The widely printed example 4500 0073 0000 4000 4011 b861 c0a8 0001 c0a8 00c7 (from memory)."""
    packet = udp.packet(("192.168.0.1", 1), ("192.168.0.199", 2), bytes(0x73 - 28))
    assert packet[:20].hex() == "450000730000400040" + "11b861c0a80001c0a800c7"


@pytest.mark.parametrize("payload", [b"", b"a", b"\xff\xff", bytes(range(255))])
def test_the_ipv6_checksum_sums_up_to_all_ones(payload: bytes) -> None:
    """RFC 8200, 8.1: over the addresses, the length, the protocol and the whole UDP packet, word by word."""
    packet = udp.packet(A6, B6, payload)
    summed = packet[8:40] + struct.pack(">II", 8 + len(payload), 17) + packet[40:] + b"\0" * (len(payload) & 1)
    total = sum(struct.unpack(f">{len(summed) // 2}H", summed))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    assert total == 0xFFFF
    assert packet[46:48] != b"\0\0"


@pytest.mark.parametrize(
    ("source", "payload"),
    [(("desk.local", 1), b""), (("10.0.0.1", 65536), b""), (("10.0.0.1", -1), b""), (A4, bytes(65508))],
)
def test_what_is_no_udp_packet_cannot_be_written(source: udp.Address, payload: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        udp.packet(source, B4, payload)


GOOD4, GOOD6 = udp.packet(A4, B4, b"payload"), udp.packet(A6, B6, b"payload")


def changed(octets: bytes, at: int, value: int, checksum: bool = True) -> bytes:
    """One octet changed, and the IPv4 checksum made right again."""
    octets = octets[:at] + bytes([value]) + octets[at + 1 :]
    if octets[0] >> 4 == 6 or not checksum:
        return octets
    words = struct.unpack(">10H", octets[:10] + b"\0\0" + octets[12:20])
    return octets[:10] + struct.pack(">H", 0xFFFF - sum(words) % 65535) + octets[12:]


@pytest.mark.parametrize(
    ("octets", "text"),
    [
        (b"", "no IPv4 or IPv6"),
        (b"\x50" + GOOD4[1:], "no IPv4 or IPv6"),
        (GOOD4[:27], "shorter"),
        (GOOD6[:47], "shorter"),
        (GOOD4[:-1], "are there"),
        (GOOD6 + b"x", "are there"),
        (changed(GOOD4, 8, 63, checksum=False), "checksum"),
        (changed(GOOD4, 0, 0x44), "checksum"),
        (changed(GOOD4, 6, 0x20), "fragment"),
        (changed(GOOD4, 9, 6), "protocol 6"),
        (changed(GOOD6, 6, 0), "protocol 0"),
        (changed(GOOD4, 25, 99), "99 octets"),
        (changed(GOOD6, 45, 99), "99 octets"),
    ],
)
def test_what_is_no_whole_udp_packet_is_refused(octets: bytes, text: str) -> None:
    with pytest.raises(ValueError, match=text):
        udp.parse(octets)


@settings(max_examples=500, deadline=None)
@given(st.sampled_from([GOOD4, GOOD6]), st.lists(st.tuples(st.integers(0, 54), st.integers(0, 255)), max_size=4))
def test_mutated_headers_raise_nothing_else(octets: bytes, changes: list[tuple[int, int]]) -> None:
    for at, value in changes:
        octets = changed(octets, at % len(octets), value)
    with contextlib.suppress(ValueError):
        source, destination, payload = udp.parse(octets)
        assert udp.parse(udp.packet(source, destination, payload)) == (source, destination, payload)
