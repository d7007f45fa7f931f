"""TLS for a page that is open to a network, and the words for one that is not."""

from __future__ import annotations

import ssl
import time
from datetime import UTC, datetime
from pathlib import Path

from bridge.errors import InputError
from bridge.web.hosts import is_loopback

SOON_DAYS = 14
BEGIN, END = "-----BEGIN CERTIFICATE-----", "-----END CERTIFICATE-----"


def tls_context(cert: Path, key: Path) -> ssl.SSLContext:
    """For `Site(tls=..)`: this certificate (its chain after it) and its key, both PEM; TLS 1.2 and newer.

    Raises InputError that says which file is wrong.
    """
    for path, what in ((cert, "certificate"), (key, "key")):
        try:
            found = path.read_bytes()
        except OSError as error:
            raise InputError(f"--tls: the {what} {path} cannot be read: {error.strerror}") from error
        if (BEGIN.encode() if what == "certificate" else b"PRIVATE KEY-----") not in found:
            raise InputError(f"--tls: {path}: expected a {what} in PEM, found none; is the order --tls CERT KEY?")
        if b"ENCRYPTED" in found and what == "key":
            raise InputError(f"--tls: {path}: the key asks for a password, and nobody is there to type it; remove it")
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    try:
        context.load_cert_chain(cert, key)
    except ssl.SSLError as error:
        if error.reason == "KEY_VALUES_MISMATCH":
            text = f"{key} is not the key of the certificate {cert}"
        else:
            text = f"{cert} and {key}: {error.reason or error}; expected a certificate and its key, both whole"
        raise InputError(f"--tls: {text}") from error
    return context


def tls_warning(cert: Path, now_s: float | None = None) -> str:
    """A sentence where the certificate has expired, soon does (14 days) or is not valid yet; else empty.

    `now_s`: Unix seconds; now where it is None.
    """
    now_s = time.time() if now_s is None else now_s
    try:
        begins, ends = _validity(cert)
    except (OSError, ValueError, IndexError):
        return ""  # `tls_context` says what is wrong with it
    days = (ends.timestamp() - now_s) / 86400
    if days < 0:
        return f"The certificate {cert} expired on {ends:%Y-%m-%d}: browsers refuse the page. Make a new one."
    if days < SOON_DAYS:
        return f"The certificate {cert} expires in {int(days)} days, on {ends:%Y-%m-%d}. Make a new one in time."
    if now_s < begins.timestamp():
        return f"The certificate {cert} is valid from {begins:%Y-%m-%d %H:%M} UTC only: is this machine's clock right?"
    return ""


def open_warning(host: str, tls: bool) -> str:
    """The sentence for listening beyond this machine without TLS; else empty."""
    if tls or is_loopback(host):
        return ""
    return (
        f"The page on {host} is open to its network without TLS: whoever can listen there reads the key and the "
        "steering, and can forge both. Use a network that only the crew is on, or --tls CERT KEY."
    )


def _validity(cert: Path) -> tuple[datetime, datetime]:
    """From when and until when the first certificate of a PEM file is valid.

    RFC 5280, section 4.1: a certificate is SEQUENCE { tbsCertificate, .. }, and that is SEQUENCE { [0] version
    (may be missing), serialNumber, signature, issuer, validity SEQUENCE { notBefore, notAfter }, .. }.
    Raises ValueError or IndexError where it is no certificate.
    """
    text = cert.read_text(encoding="ascii", errors="replace")
    der = ssl.PEM_cert_to_DER_cert(text[text.index(BEGIN) : text.index(END) + len(END)])
    parts = _parts(_parts(_parts(der)[0][1])[0][1])
    if parts[0][0] == 0xA0:
        del parts[0]
    begins, ends = _parts(parts[3][1])
    return _moment(*begins), _moment(*ends)


def _parts(der: bytes) -> list[tuple[int, bytes]]:
    """Tag and content of each value that stands in these octets (X.690, definite lengths)."""
    found, at = [], 0
    while at < len(der):
        tag, size, at = der[at], der[at + 1], at + 2
        if size & 0x80:
            more = size & 0x7F
            size, at = int.from_bytes(der[at : at + more], "big"), at + more
        found.append((tag, der[at : at + size]))
        at += size
    return found


def _moment(tag: int, text: bytes) -> datetime:
    """UTCTime (tag 0x17, two digits of the year: 50 and more is 19..) or GeneralizedTime; RFC 5280, 4.1.2.5."""
    digits = text.decode("ascii")
    if tag == 0x17:
        digits = ("19" if int(digits[:2]) >= 50 else "20") + digits
    return datetime.strptime(digits, "%Y%m%d%H%M%SZ").replace(tzinfo=UTC)
