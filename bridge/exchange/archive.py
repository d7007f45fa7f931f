"""A ZIP file of somebody else's, read with suspicion: bounded sizes, no paths out of it, nothing unpacked to disk."""

from __future__ import annotations

import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from bridge.errors import FileRefused

MOST_MEMBERS = 20_000
MOST_XML = 64_000_000  # octets inflated
MOST_MEMBER = 150_000_000
_BROKEN = (
    zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, lzma.LZMAError, EOFError, OSError, RuntimeError,
    NotImplementedError, ValueError, IndexError, OverflowError, MemoryError, KeyError,
)  # fmt: skip
"""All that zipfile was seen to raise on files that are none, or are damaged, encrypted or packed in other ways."""


class Archive:
    """`names` are the members as the archive spells them, folders left out. `what` is the file in messages.

    Raises FileRefused where it is no archive, has a member whose path leads out of it, or too many.
    """

    def __init__(self, source: Path | bytes, what: str) -> None:
        self.what = what
        with self._refusing("it is no ZIP archive, or a damaged one"):
            self._zip = zipfile.ZipFile(io.BytesIO(source) if isinstance(source, bytes) else source)
        infos = self._zip.infolist()
        if len(infos) > MOST_MEMBERS:
            raise FileRefused(f"{what}: found {len(infos)} files in it, allowed are {MOST_MEMBERS}")
        self.names = tuple(info.filename for info in infos if info.filename and not info.is_dir())
        for name in self.names:
            if _leads_out(name):
                raise FileRefused(f"{what}: found a file in it whose path leads out of it ('{name[:80]}'): not read")

    def find(self, name: str) -> str | None:
        """The member of this name: as it stands, else without regard to case or folder where there is only one."""
        if name in self.names:
            return name
        wanted = _last(name).casefold()
        alike = [each for each in self.names if _last(each).casefold() == wanted and not _junk(each)]
        shallow = [each for each in alike if not re.search(r"[/\\]", each)]
        alike = shallow or alike
        return alike[0] if len(alike) == 1 else None

    def read(self, member: str, at_most: int = MOST_MEMBER) -> bytes:
        """A member's octets. Raises FileRefused where it is damaged, locked, or inflates to more than `at_most`."""
        broken = f"'{member[:80]}' in it is damaged, locked or packed in an unknown way"
        with self._refusing(broken), self._zip.open(member) as stream:
            data = stream.read(at_most + 1)  # what the archive says of its size is no bound
        if len(data) > at_most:
            raise FileRefused(
                f"{self.what}: '{member[:80]}' in it inflates to more than {at_most} octets: not read (a ZIP bomb?)"
            )
        return data

    def close(self) -> None:
        """Free the file."""
        self._zip.close()

    @contextmanager
    def _refusing(self, why: str) -> Iterator[None]:
        try:
            yield
        except _BROKEN as error:
            raise FileRefused(f"{self.what}: {why} ({_said(error)})") from None


def _said(error: Exception) -> str:
    return str(error)[:120] or type(error).__name__


def _last(name: str) -> str:
    return re.split(r"[/\\]", name)[-1]


def _junk(name: str) -> bool:
    """What a file manager leaves in archives beside the files."""
    return name.startswith("__MACOSX/") or _last(name).startswith("._")


def _leads_out(name: str) -> bool:
    parts = re.split(r"[/\\]", name)
    return ".." in parts or parts[0] == "" or bool(re.match(r"[A-Za-z]:", name)) or "\0" in name
