"""ICMP echo: the octets of a request, and what is taken for its answer."""

from __future__ import annotations

import socket

import pytest

from bridge.daemon import echo
from bridge.daemon.echo import Echo, checksum, is_answer, request

TOKEN = b"sixteen octets.."


def test_the_checksum_is_that_of_the_published_example() -> None:
    """RFC 1071 section 3: 0001 f203 f4f5 f6f7 add up to ddf2."""
    assert checksum(bytes.fromhex("0001f203f4f5f6f7")) == 0xFFFF - 0xDDF2


def test_a_request_has_type_8_code_0_and_a_checksum_that_adds_up() -> None:
    """RFC 792, page 14; a receiver's sum over all of it is 0."""
    octets = request(0x1234, 7, TOKEN)
    assert octets[:2] == b"\x08\x00"
    assert octets[4:8] == bytes.fromhex("12340007")
    assert octets[8:] == TOKEN
    assert checksum(octets) == 0


def test_an_answer_is_known_by_its_token_with_and_without_an_ip_header() -> None:
    answer = b"\x00\x00\xab\xcd\x99\x99\x00\x07" + TOKEN
    assert is_answer(answer, TOKEN)
    assert is_answer(bytes([0x45]) + bytes(19) + answer, TOKEN)
    assert is_answer(bytes([0x46]) + bytes(23) + answer, TOKEN)
    assert not is_answer(request(1, 7, TOKEN), TOKEN), "a raw socket hears the request too"
    assert not is_answer(answer[:-1] + b"!", TOKEN)
    assert not is_answer(b"", TOKEN)


def test_where_no_socket_is_given_it_says_why_and_asks_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object) -> socket.socket:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(echo.socket, "socket", refused)
    asked = Echo(["10.0.0.7", "10.0.0.7"], "127.0.0.1")
    assert "Operation not permitted" in asked.why
    asked.turn(0.0)
    asked.close()
    assert (asked.hosts, asked.answered, asked.unsent) == (("10.0.0.7",), set(), {})


def test_without_hosts_no_socket_is_opened(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(echo.socket, "socket", None)
    assert Echo([], "127.0.0.1").why == ""
