"""IPv4, IPv6 and UDP headers round a payload and back, for captures: nothing here is ever put on a network.

Sources: RFC 791 (IPv4), RFC 8200 (IPv6), RFC 768 (UDP), RFC 1071 (checksum); from memory.
"""

from __future__ import annotations

import struct
from functools import lru_cache
from ipaddress import IPv4Address, IPv6Address, ip_address

Address = tuple[str, int]
"""Host in numbers, port."""

_UDP = 17
_HOPS = 64
_IPV4 = struct.Struct(">BBHHHBBH4s4s")
_IPV6 = struct.Struct(">IHBB16s16s")
_PORTS = struct.Struct(">HHHH")
_DO_NOT_FRAGMENT, _FRAGMENT = 0x4000, 0x3FFF
_CACHED = 4096


def packet(source: Address, destination: Address, payload: bytes) -> bytes:
    """The IP packet that carried `payload`: IPv6 if either end is.

    UDP's checksum is left out in IPv4 (0 means so) and right in IPv6, where it must not be 0. ValueError for hosts that
    are no addresses and payloads that fit no packet. A zone (`fe80::1%eth0`) has no place in a packet and is dropped.
    """
    head, pseudo = _head(source, destination, len(payload))
    if not pseudo:
        return head + payload
    checksum = 0xFFFF - _sum(pseudo + head[-8:] + payload + b"\0" * (len(payload) & 1))
    return head[:-2] + (checksum or 0xFFFF).to_bytes(2, "big") + payload


@lru_cache(_CACHED)
def _head(source: Address, destination: Address, size: int) -> tuple[bytes, bytes]:
    """(IP and UDP header, what IPv6 adds to the checksum)."""
    ends = [ip_address(host.partition("%")[0]) for host, _ in (source, destination)]
    if 8 + size > 65535 - 20 or not all(0 <= port <= 65535 for _, port in (source, destination)):
        raise ValueError(f"no UDP packet holds {size} octets from {source} to {destination}")
    ports = _PORTS.pack(source[1], destination[1], 8 + size, 0)
    if all(isinstance(end, IPv4Address) for end in ends):
        fields = (0x45, 0, 28 + size, 0, _DO_NOT_FRAGMENT, _HOPS, _UDP)
        octets = [end.packed for end in ends]
        checksum = 0xFFFF - _sum(_IPV4.pack(*fields, 0, *octets))
        return _IPV4.pack(*fields, checksum, *octets) + ports, b""
    octets = [end.packed if isinstance(end, IPv6Address) else bytes(10) + b"\xff\xff" + end.packed for end in ends]
    pseudo = octets[0] + octets[1] + struct.pack(">II", 8 + size, _UDP)
    return _IPV6.pack(6 << 28, 8 + size, _UDP, _HOPS, *octets) + ports, pseudo


def _sum(octets: bytes) -> int:
    """Ones'-complement sum of 16-bit words: the remainder by 65535, but that only nothing sums up to 0."""
    number = int.from_bytes(octets, "big")
    return number % 65535 or (65535 if number else 0)


def parse(octets: bytes) -> tuple[Address, Address, bytes]:
    """(source, destination, payload) of a whole IP packet that carries UDP; ValueError says why it is none."""
    version = octets[0] >> 4 if octets else 0
    if version not in (4, 6):
        raise ValueError("no IPv4 or IPv6 packet")
    size = 48 if version == 6 else (octets[0] & 15) * 4 + 8
    if len(octets) < size:
        raise ValueError(f"an IPv{version} packet of {len(octets)} octets, shorter than its headers")
    source, destination, whole = _ends(octets[:size])
    if whole != len(octets):
        raise ValueError(f"an IPv{version} packet of {whole} octets of which {len(octets)} are there")
    return source, destination, octets[size:]


@lru_cache(_CACHED)
def _ends(head: bytes) -> tuple[Address, Address, int]:
    """(source, destination, length of the packet) of its headers."""
    source_port, destination_port, udp, _ = _PORTS.unpack(head[-8:])
    if head[0] >> 4 == 4:
        fields = _IPV4.unpack_from(head) if len(head) >= 28 else ()
        if not fields or _sum(head[:-8]) != 0xFFFF:
            raise ValueError("an IPv4 header whose length or checksum is wrong")
        _, _, whole, _, fragment, _, protocol, _, source, destination = fields
        if fragment & _FRAGMENT:
            raise ValueError("a fragment of an IPv4 packet")
        hosts = str(IPv4Address(source)), str(IPv4Address(destination))
    else:
        _, length, protocol, _, source, destination = _IPV6.unpack_from(head)
        whole = 40 + length
        hosts = _text(IPv6Address(source)), _text(IPv6Address(destination))
    if protocol != _UDP or udp != whole - len(head) + 8:
        raise ValueError(f"protocol {protocol} with {udp} octets, expected UDP (17) that fills the packet")
    return (hosts[0], source_port), (hosts[1], destination_port), whole


def _text(address: IPv6Address) -> str:
    """As `recvfrom` names it: an IPv4 host heard by an IPv6 socket is ::ffff:10.0.0.1."""
    mapped = address.ipv4_mapped
    return str(address) if mapped is None else f"::ffff:{mapped}"
