"""The key to a page that is open to a network: made once, kept, typed or scanned once on each tablet.

99 bits from the system's generator, in letters and digits that are not taken for one another. A tablet keeps a cookie
that is derived from the key, so that the key itself lies on this machine alone.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import stat
from contextlib import suppress
from pathlib import Path

from bridge.errors import InputError

NAME = "panel-key"
LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"  # no i, l, o, 0, 1
GROUPS, GROUP = 5, 4


class Key:
    """One key: what a person types, and the cookie that stands for it."""

    def __init__(self, text: str) -> None:
        """`text` as `made_key` writes it. Raises InputError."""
        self._plain = _bare(text)
        if len(self._plain) != GROUPS * GROUP or set(self._plain) - set(LETTERS):
            raise InputError(f"expected a key of {GROUPS} groups of {GROUP} letters and digits, such as abcd-ef23-...")
        self.cookie = hmac.new(self._plain.encode(), b"tetherlight page cookie", hashlib.sha256).hexdigest()

    @property
    def text(self) -> str:
        """As it is printed and typed."""
        return "-".join(self._plain[i : i + GROUP] for i in range(0, len(self._plain), GROUP))

    def opens(self, typed: str) -> bool:
        """Whether this is the key; capitals, spaces and hyphens do not matter. In constant time."""
        return hmac.compare_digest(_bare(typed).encode(errors="replace"), self._plain.encode())

    def knows(self, cookie: str | None) -> bool:
        """Whether this is the cookie. In constant time."""
        return hmac.compare_digest((cookie or "").encode(errors="replace"), self.cookie.encode())


def made_key() -> Key:
    """A new key."""
    return Key("".join(secrets.choice(LETTERS) for _ in range(GROUPS * GROUP)))


def kept_key(folder: Path) -> Key:
    """The key in this state folder; made and kept there, for this user alone, where there is none.

    Two programs that start at once get the same key. Raises InputError when it cannot be read or kept.
    """
    path = folder / NAME
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            _keep(path, made_key().text)
        if stat.S_IMODE(path.stat().st_mode) & 0o077:
            path.chmod(0o600)
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"The page's key could not be kept in {path}: {error}") from error
    try:
        return Key(text)
    except InputError as error:
        raise InputError(
            f"{path}: {error}. Remove the file and a new key is made; each tablet then asks for it"
        ) from None


def _keep(path: Path, text: str) -> None:
    """Written whole under another name, then linked: a key that is already there stays."""
    fresh = path.with_name(f".{NAME}.{os.getpid()}.{secrets.token_hex(4)}")
    try:
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as file:
            file.write(text + "\n")
            file.flush()
            os.fsync(file.fileno())
        with suppress(FileExistsError):
            os.link(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)
    descriptor = os.open(path.parent, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _bare(text: str) -> str:
    return "".join(text.lower().split()).replace("-", "")
