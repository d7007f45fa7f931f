"""Names that a page may be called by."""

from __future__ import annotations

import socket

import pytest

from bridge.web.hosts import host_allowed, host_name, is_loopback, machine_hosts, origin_allowed, plain_address


@pytest.mark.parametrize("host", ["127.0.0.1", "127.8.9.1", "::1", "localhost", "::ffff:127.0.0.1"])
def test_loopback_names_are_taken(host: str) -> None:
    assert is_loopback(host)


@pytest.mark.parametrize(
    "host", ["0.0.0.0", "::", "10.0.0.5", "example.org", "localhost.example.org", "", "127", "::ffff:10.0.0.5"]
)
def test_other_names_are_not_loopback(host: str) -> None:
    assert not is_loopback(host)


@pytest.mark.parametrize("host", ["127.0.0.1:9301", "localhost:9301", "[::1]:9301", "LOCALHOST:9301"])
def test_host_headers_of_this_machine_are_allowed(host: str) -> None:
    assert host_allowed(host, 9301)
    assert origin_allowed(f"http://{host}", 9301)


@pytest.mark.parametrize(
    "host",
    [
        None, "", "127.0.0.1", "127.0.0.1:9302", "rebound.example:9301", "127.0.0.1.example:9301", "[::1:9301",
        "::1:9301", "127.0.0.1:9301:9301", "127.0.0.1:09301", "user@127.0.0.1:9301", "127.0.0.1/x:9301",
    ],
)  # fmt: skip
def test_host_headers_from_elsewhere_are_not(host: str | None) -> None:
    assert not host_allowed(host, 9301)


@pytest.mark.parametrize("origin", ["null", "http://example.org", "https://127.0.0.1:9301", "http://127.0.0.1:80", ""])
def test_origins_from_elsewhere_are_not(origin: str) -> None:
    assert not origin_allowed(origin, 9301)


def test_origins_of_a_page_over_tls_are_of_tls() -> None:
    assert origin_allowed("https://hall:9301", 9301, ["hall"], tls=True)
    assert not origin_allowed("http://hall:9301", 9301, ["hall"], tls=True)
    assert not origin_allowed("https://hall:9301", 9301, ["stage"], tls=True)


def test_the_usual_port_is_left_out_as_browsers_do() -> None:
    """RFC 9110, sections 4.2.1 and 4.2.2: 80 for http, 443 for https."""
    assert host_name("Hall", 80) == "hall"
    assert host_name("hall", 443, tls=True) == "hall"
    assert host_name("[::1]", 80) == "::1"
    assert host_name("hall", 443) is None
    assert host_name("hall", 80, tls=True) is None


def test_addresses_are_compared_as_they_are_usually_written() -> None:
    assert plain_address("::ffff:10.0.0.5") == "10.0.0.5"
    assert plain_address("FE80:0::1%eth0") == "fe80::1"
    assert plain_address("hall") == "hall"


def test_this_machine_goes_by_its_name_and_addresses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "gethostname", lambda: "Hall.Stage.Example")
    assert machine_hosts(["10.0.0.5", "::ffff:10.0.0.6"]) == {
        "hall.stage.example", "hall.local", "10.0.0.5", "10.0.0.6",
    }  # fmt: skip
