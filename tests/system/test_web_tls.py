"""TLS with certificates that openssl makes for the test."""

from __future__ import annotations

import shutil
import ssl
import subprocess
from pathlib import Path

import aiohttp
import pytest

from bridge.errors import InputError
from bridge.web.key import made_key
from bridge.web.limits import Limits
from bridge.web.tls import open_warning, tls_context, tls_warning
from tests.system.web_site import opened, run

OPENSSL = shutil.which("openssl")
pytestmark = pytest.mark.skipif(OPENSSL is None, reason="needs openssl")
DAY_S = 86400


def certificate(folder: Path, name: str, days: int = 30) -> tuple[Path, Path]:
    cert, key = folder / f"{name}.pem", folder / f"{name}-key.pem"
    subject = ["-subj", f"/CN={name}", "-addext", "subjectAltName=IP:127.0.0.1,DNS:localhost"]
    make = ["req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes", "-days", str(days)]
    subprocess.run(
        [str(OPENSSL), *make, "-keyout", str(key), "-out", str(cert), *subject], check=True, capture_output=True
    )
    return cert, key


def trusting(cert: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=str(cert))


def test_page_stream_and_cookie_over_tls(tmp_path: Path) -> None:
    cert, key_file = certificate(tmp_path, "hall")

    async def test() -> None:
        key = made_key()
        async with opened(scheme="https", tls=tls_context(cert, key_file), key=key) as site:
            safe = {"ssl": trusting(cert)}
            async with site.http.get(site.url, **safe) as answer:
                assert answer.status == 200
                assert (
                    f"connect-src 'self' wss://127.0.0.1:{site.site.port};" in answer.headers["Content-Security-Policy"]
                )
            through = {"Via": "1.1 proxy"}
            async with site.http.get(
                f"{site.url}?key={key.text}", headers=through, allow_redirects=False, **safe
            ) as answer:
                assert answer.status == 303
                assert "; Secure" in answer.headers["Set-Cookie"]
            own = {"Origin": site.url.rstrip("/")}
            async with site.http.ws_connect(site.url + "stream", headers=own, **safe) as ws:
                await ws.send_str("hello")
                assert await ws.receive_str() == "hello"
            plain = {"Origin": site.url.rstrip("/").replace("https", "http")}
            with pytest.raises(aiohttp.WSServerHandshakeError):
                await site.http.ws_connect(site.url + "stream", headers=plain, **safe)

    run(test)


@pytest.mark.filterwarnings("ignore:ssl.TLSVersion:DeprecationWarning")
@pytest.mark.parametrize(("version", "taken"), [("TLSv1_1", False), ("TLSv1_2", True), ("TLSv1_3", True)])
def test_versions_of_tls(version: str, taken: bool, tmp_path: Path) -> None:
    cert, key_file = certificate(tmp_path, "hall")

    async def test() -> None:
        ours = tls_context(cert, key_file)
        assert (ssl.TLSVersion[version] >= ours.minimum_version) == taken
        async with opened(scheme="https", tls=ours) as site:
            context = trusting(cert)
            context.set_ciphers("DEFAULT@SECLEVEL=0")  # else this side refuses the old version by itself
            context.minimum_version = ssl.TLSVersion.TLSv1
            context.maximum_version = ssl.TLSVersion[version]
            try:
                async with site.http.get(site.url, ssl=context) as answer:
                    assert answer.status == 200
                assert taken
            except aiohttp.ClientConnectorError:
                assert not taken

    run(test)


def test_who_speaks_plain_or_says_nothing_to_tls_is_dropped(tmp_path: Path) -> None:
    cert, key_file = certificate(tmp_path, "hall")

    async def test() -> None:
        context = tls_context(cert, key_file)
        async with opened(scheme="https", tls=context, limits=Limits(head_s=0.3)) as site:
            assert "200" not in await site.raw("GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert await site.raw("") == ""  # within the time of a handshake, else this test ends in its own
            async with site.http.get(site.url, ssl=trusting(cert)) as answer:
                assert answer.status == 200

    run(test)


def test_files_that_are_no_pair_are_named(tmp_path: Path) -> None:
    cert, key = certificate(tmp_path, "hall")
    _, other = certificate(tmp_path, "other")
    with pytest.raises(InputError, match=r"other-key.pem is not the key of the certificate .*hall.pem"):
        tls_context(cert, other)
    with pytest.raises(InputError, match=r"certificate .*none.pem cannot be read: No such file"):
        tls_context(tmp_path / "none.pem", key)
    with pytest.raises(InputError, match=r"hall-key.pem: expected a certificate in PEM.*order"):
        tls_context(key, cert)
    broken = tmp_path / "broken.pem"
    broken.write_text(cert.read_text()[:200] + "\n-----END CERTIFICATE-----\n")
    with pytest.raises(InputError, match=r"broken.pem"):
        tls_context(broken, key)
    locked = tmp_path / "locked.pem"
    lock = ["ec", "-in", str(key), "-aes256", "-passout", "pass:1234", "-out", str(locked)]
    subprocess.run([str(OPENSSL), *lock], check=True, capture_output=True)
    with pytest.raises(InputError, match="password"):
        tls_context(cert, locked)


def test_a_certificate_that_ends_soon_is_told(tmp_path: Path) -> None:
    """The dates as openssl prints them (`x509 -enddate`), read by the standard library."""
    cert, _ = certificate(tmp_path, "hall", days=400)
    shown = subprocess.run(
        [str(OPENSSL), "x509", "-in", str(cert), "-noout", "-enddate", "-startdate"],
        check=True, capture_output=True, text=True,
    ).stdout.splitlines()  # fmt: skip
    end, begin = (ssl.cert_time_to_seconds(line.partition("=")[2]) for line in shown)
    assert tls_warning(cert) == ""
    assert tls_warning(cert, end - 15 * DAY_S) == ""
    assert "expires in 13 days" in tls_warning(cert, end - 13.5 * DAY_S)
    assert "expired on" not in tls_warning(cert, end - 1)
    assert "expired on" in tls_warning(cert, end + 1)
    assert "clock" in tls_warning(cert, begin - 1)
    assert tls_warning(cert, begin + 1) == ""
    assert tls_warning(tmp_path / "none.pem") == ""


def test_a_page_beyond_this_machine_without_tls_is_told() -> None:
    assert "read" in open_warning("0.0.0.0", tls=False)
    assert "forge" in open_warning("10.0.0.5", tls=False)
    assert open_warning("0.0.0.0", tls=True) == ""
    assert open_warning("127.0.0.1", tls=False) == open_warning("::1", tls=False) == ""
