"""Who may open a page of ours, on real sockets: names, origins, the key, and what counts as this very machine."""

from __future__ import annotations

import socket

import aiohttp
import pytest

from bridge.web.hosts import FORWARDED, machine_hosts
from bridge.web.key import made_key
from tests.system.web_site import FILES, Open, opened, other_address, run

PROXIED = {"X-Forwarded-For": "203.0.113.9"}
FORM = {"Content-Type": "application/x-www-form-urlencoded"}


async def refused_stream(site: Open, headers: dict[str, str]) -> int:
    """The status with which a stream is refused; 101 where it is not."""
    try:
        async with site.http.ws_connect(site.url + "stream", headers=headers):
            return 101
    except aiohttp.WSServerHandshakeError as error:
        return error.status


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "rebound.example"},
        {"Host": "rebound.example:{port}"},
        {"Host": "127.0.0.1:1"},
        {"Host": "127.0.0.1.rebound.example:{port}"},
        {"Origin": "http://rebound.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1:{port}"},
    ],
    ids=str,
)
def test_foreign_names_and_pages_get_neither_page_nor_stream(headers: dict[str, str]) -> None:
    async def test() -> None:
        async with opened() as site:
            filled = {name: value.format(port=site.site.port) for name, value in headers.items()}
            assert await site.status("", headers=filled) == 403
            assert await refused_stream(site, filled) == 403
            assert await site.status("") == 200
            assert await refused_stream(site, {"Origin": site.url.rstrip("/")}) == 101

    run(test)


def test_a_page_that_is_open_to_the_network_goes_by_the_names_of_this_machine() -> None:
    async def test() -> None:
        async with opened("0.0.0.0", hosts=machine_hosts(["10.1.2.3"])) as site:
            port, name = site.site.port, socket.gethostname().partition(".")[0]
            for host in ("10.1.2.3", socket.gethostname(), name.upper() + ".local", "localhost"):
                assert await site.status("", headers={"Host": f"{host}:{port}"}) == 200, host
            for host in ("10.1.2.4", "hall.example", f"{name}.example"):
                async with site.http.get(site.url, headers={"Host": f"{host}:{port}"}) as answer:
                    assert answer.status == 403
                    assert "Open this page by" in await answer.text()
                    assert "10.1.2.3" in await answer.text()

    run(test)


def test_this_machine_needs_no_key() -> None:
    async def test() -> None:
        async with opened(key=made_key()) as site:
            assert await site.status("") == 200
            assert await refused_stream(site, {}) == 101

    run(test)


def test_a_name_that_was_pointed_at_loopback_is_not_this_machine() -> None:
    """The connection comes from 127.0.0.1, but by a name that a network may have a say in."""

    async def test() -> None:
        async with opened("0.0.0.0", hosts=["hall.local", "10.1.2.3"], key=made_key()) as site:
            for host in ("hall.local", "10.1.2.3"):
                assert await site.status("", headers={"Host": f"{host}:{site.site.port}"}) == 403
                assert await refused_stream(site, {"Host": f"{host}:{site.site.port}"}) == 403
            assert site.site.guard.refused["no-key"] == 4, "and not for the name itself"

    run(test)


@pytest.mark.parametrize("header", FORWARDED)
def test_what_a_proxy_on_this_machine_passes_on_needs_the_key(header: str) -> None:
    """The connection and the Host header are those of loopback: many proxies write the address that they call."""

    async def test() -> None:
        key = made_key()
        async with opened(key=key) as site:
            assert await site.status("", headers={header: "203.0.113.9"}) == 403
            assert await refused_stream(site, {header: "203.0.113.9"}) == 403
            cookie = {"Cookie": f"tetherlight-{site.site.port}={key.cookie}", header: "203.0.113.9"}
            assert await site.status("", headers=cookie) == 200

    run(test)


@pytest.mark.skipif(other_address() is None, reason="this machine has no address but loopback's")
def test_over_a_network_address_the_key_is_needed_whatever_host_is_claimed() -> None:
    async def test() -> None:
        key, address = made_key(), other_address() or ""
        async with opened("0.0.0.0", key=key) as site:
            url = f"http://{address}:{site.site.port}/"
            for headers in ({}, {"Host": f"127.0.0.1:{site.site.port}"}, {"Host": f"localhost:{site.site.port}"}):
                async with site.http.get(url, headers=headers) as answer:
                    assert answer.status == 403
                    assert b"steering" not in await answer.read()
                with pytest.raises(aiohttp.WSServerHandshakeError):
                    await site.http.ws_connect(url + "stream", headers=headers)
            cookie = {"Cookie": f"tetherlight-{site.site.port}={key.cookie}"}
            async with site.http.get(url, headers=cookie) as answer:
                assert answer.status == 200
            async with site.http.ws_connect(url + "stream", headers=cookie) as ws:
                await ws.send_str("hello")
                assert await ws.receive_str() == "hello"

    run(test)


@pytest.mark.parametrize("path", ["", "main.js", "stream", "broken", "none-such"])
def test_without_the_key_nothing_is_told(path: str) -> None:
    async def test() -> None:
        async with opened(key=made_key()) as site:
            port = site.site.port
            for cookie in ({}, {"Cookie": f"tetherlight-{port}=wrong"}, {"Cookie": f"tetherlight-{port}=\u00e9"}):
                async with site.http.get(site.url + path, headers={**PROXIED, **cookie}) as answer:
                    assert answer.status == 403
                    assert await answer.read() not in [body for body, _ in FILES.values()]
            assert await site.status(path, "POST", headers=PROXIED) == 403

    run(test)


def test_the_page_that_asks_for_the_key_has_no_script_and_a_label() -> None:
    async def test() -> None:
        async with opened(key=made_key()) as site, site.http.get(site.url, headers=PROXIED) as answer:
            text = await answer.text()
            assert answer.content_type == "text/html"
            assert "<script" not in text
            assert '<label for="key">' in text
            assert 'id="key"' in text
            assert "form-action 'self'" in answer.headers["Content-Security-Policy"]
            assert answer.headers["Referrer-Policy"] != "no-referrer"  # else the form is sent with `Origin: null`

    run(test)


def test_a_key_in_the_address_lets_in_and_leaves_the_address() -> None:
    async def test() -> None:
        key = made_key()
        async with opened(key=key) as site:
            wanted = f"{site.url}?key={key.text}"
            async with site.http.get(wanted, headers=PROXIED, allow_redirects=False) as answer:
                assert (answer.status, answer.headers["Location"]) == (303, "/")
                cookie = answer.headers["Set-Cookie"]
                assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= {part.strip() for part in cookie.split(";")}
                assert "Max-Age=31536000" in cookie
                assert key.text not in cookie
            sent = {**PROXIED, "Cookie": cookie.partition(";")[0]}
            assert await site.status("", headers=sent) == 200
            assert await refused_stream(site, sent) == 101
            assert await site.status("?key=old", headers=sent) == 303  # an old bookmark of one who is in

    run(test)


def test_a_key_is_typed_into_the_form() -> None:
    async def test() -> None:
        key = made_key()
        async with opened(key=key) as site:
            own = {**PROXIED, "Origin": site.url.rstrip("/")}
            assert await site.status("key", "POST", headers=own, data={"key": "  " + key.text.upper() + " "}) == 303
            assert await site.status("key", "POST", headers=own, data={"key": key.text[:-1]}) == 403
            assert await site.status("key", "POST", headers={**own, **FORM}, data=b"\xff\xfe%ff=%") == 403
            assert await site.status("key", "POST", headers=own, json={"key": key.text}) == 403
            foreign = {**PROXIED, "Origin": "http://rebound.example"}
            assert await site.status("key", "POST", headers=foreign, data={"key": key.text}) == 403

    run(test)


def test_keys_are_not_to_be_guessed_and_who_is_in_stays_in() -> None:
    async def test() -> None:
        key = made_key()
        async with opened(key=key) as site:
            seen = [await site.status(f"?key=guess{n}", headers=PROXIED) for n in range(12)]
            assert seen[:5] == [403] * 5
            assert set(seen[5:]) == {429}
            async with site.http.get(f"{site.url}?key={key.text}", headers=PROXIED) as answer:
                assert answer.status == 429  # not even compared
                assert int(answer.headers["Retry-After"]) >= 1
            cookie = {**PROXIED, "Cookie": f"tetherlight-{site.site.port}={key.cookie}"}
            assert await site.status("", headers=cookie) == 200
            assert await refused_stream(site, cookie) == 101

    run(test)


@pytest.mark.skipif(not socket.has_ipv6, reason="needs IPv6")
@pytest.mark.parametrize("host", ["::1", "::"])
def test_over_ipv6(host: str) -> None:
    async def test() -> None:
        async with opened(host, key=made_key()) as site:
            port = site.site.port
            assert await site.status("") == 200
            assert await refused_stream(site, {"Origin": f"http://[::1]:{port}"}) == 101
            assert await site.status("", headers={"Host": f"[2001:db8::1]:{port}"}) == 403
            assert await site.status("", headers=PROXIED) == 403
            if host == "::":  # hears IPv4 as well, and knows its loopback
                async with site.http.get(f"http://127.0.0.1:{port}/") as answer:
                    assert answer.status == 200

    run(test)
