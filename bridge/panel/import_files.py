"""Files that pages send up: streamed to a private folder, one a page and few at all, and gone when they are done with.

A page says first what it will send (`expect`) and is given a ticket; the file then comes by POST /import/TICKET,
through the guard that all requests pass. Its name is a label: it never says where anything is written.
"""

from __future__ import annotations

import asyncio
import fcntl
import os
import re
import secrets
import shutil
import tempfile
import unicodedata
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from aiohttp import ClientConnectionError, web

from bridge.errors import Refused
from bridge.panel.pages import Page
from bridge.web.guard import Handler

PATH = "/import/"
MOST_BYTES = 200_000_000
MOST_FILES = 4
FREE_BYTES = 200_000_000
"""So much of the disk stays free whatever comes."""
KINDS = (".gdtf", ".mvr", ".csv")
OF_FILE = ("kind", "empty", "too-big")
"""Reasons that lie in the file: sending it again does not help."""
SILENT_S, WHOLE_S = 15.0, 900.0
"""How long nothing may come of a file that is on its way, and how long all of it may take."""
NAME_CHARS = 60
PIECE_BYTES = 1 << 18


@dataclass(eq=False)
class Upload:
    """A file of a page, in a folder of its own. `here`: all of it has come. `work`: what is being done with it."""

    page: Page
    ticket: str
    file: Path
    octets: int
    coming: bool = False
    here: bool = False
    gone: bool = False
    work: asyncio.Task[Any] | None = None
    keeps: bool = False  # what is being done writes into the show: it is not ended half way

    @property
    def label(self) -> str:
        """What people call it."""
        return self.file.name


class Uploads:
    """All of one panel, in `folder`/imports. `open` first."""

    def __init__(self, folder: Path) -> None:
        self._above = folder / "imports"
        self._folder: Path | None = None
        self._held = -1
        self._by_ticket: dict[str, Upload] = {}

    @property
    def routes(self) -> list[tuple[str, str, Handler]]:
        """(method, path, handler)."""
        return [("POST", PATH + "{ticket}", self._receive)]

    def open(self) -> None:
        """Make our folder, and remove those that panels which no longer run have left."""
        self._above.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._folder = Path(tempfile.mkdtemp(prefix="panel-", dir=self._above))
        self._held = os.open(self._folder, os.O_RDONLY | os.O_DIRECTORY)
        fcntl.flock(self._held, fcntl.LOCK_EX)
        for other in self._above.iterdir():
            if other != self._folder:
                _remove_unheld(other)

    def close(self) -> None:
        """Remove everything of ours."""
        for upload in list(self._by_ticket.values()):
            self.drop(upload)
        if self._folder is not None:
            shutil.rmtree(self._folder, ignore_errors=True)
            os.close(self._held)
            self._folder = None

    def expect(self, page: Page, name: object, octets: object) -> Upload:
        """A page will send this file; its file before is dropped. Raises Refused."""
        label, size = label_of(name), _size_of(octets)
        if self._folder is None:
            raise Refused("closed", "the panel is stopping")
        for older in [upload for upload in self._by_ticket.values() if upload.page is page]:
            self.drop(older)
        if len(self._by_ticket) >= MOST_FILES:
            raise Refused("too-many-files", f"{MOST_FILES} files are being looked at on other pages: try again later.")
        waiting = sum(upload.octets for upload in self._by_ticket.values() if not upload.here)
        if shutil.disk_usage(self._folder).free < waiting + size + FREE_BYTES:
            raise Refused("disk", "The disk of the bridge's machine is nearly full: make room there first.")
        ticket = secrets.token_urlsafe(18)
        upload = Upload(page, ticket, self._folder / secrets.token_hex(8) / label, size)
        upload.file.parent.mkdir(mode=0o700)
        self._by_ticket[ticket] = upload
        return upload

    def of(self, page: Page, ticket: object) -> Upload:
        """The file that a page has sent. Raises Refused."""
        upload = self._by_ticket.get(ticket) if isinstance(ticket, str) else None
        if upload is None or upload.page is not page or not upload.here:
            raise Refused("gone", "The file is no longer here: send it again.")
        return upload

    def drop(self, upload: Upload) -> None:
        """End what is done with it and remove it."""
        upload.gone = True
        self._by_ticket.pop(upload.ticket, None)
        if upload.work is not None and not upload.work.done():
            upload.work.add_done_callback(lambda _task: _remove(upload))
            if not upload.keeps:
                upload.work.cancel()
        else:
            _remove(upload)

    def left(self, page: Page) -> None:
        """A page has closed."""
        for upload in [upload for upload in self._by_ticket.values() if upload.page is page]:
            self.drop(upload)

    async def _receive(self, request: web.Request) -> web.StreamResponse:
        upload = self._by_ticket.get(request.match_info["ticket"])
        if upload is None or upload.coming or "Content-Encoding" in request.headers:
            return _no(404, "No page expects this file: choose it again.")
        if request.content_length != upload.octets:
            self.drop(upload)
            return _no(400, f"Expected {upload.octets} octets, as the page has said; found {request.content_length}.")
        upload.coming = True
        try:
            async with asyncio.timeout(WHOLE_S):
                await _stream(request, upload)
        except TimeoutError:
            return _no(408, "The file did not arrive in time: choose it again.")
        except (OSError, ClientConnectionError, web.RequestPayloadError) as error:
            return _no(400, f"The file did not arrive whole: {getattr(error, 'strerror', None) or 'the line was cut'}.")
        finally:
            if not upload.here:
                self.drop(upload)
        return web.json_response({"octets": upload.octets})


async def _stream(request: web.Request, upload: Upload) -> None:
    """Raises TimeoutError, OSError (a cut line is a ConnectionError)."""
    left = upload.octets
    with upload.file.open("xb") as file:
        while left:
            async with asyncio.timeout(SILENT_S):
                piece = await request.content.read(PIECE_BYTES)
            left -= len(piece)
            if not piece or left < 0 or upload.gone:
                raise ConnectionError
            await asyncio.to_thread(file.write, piece)
    upload.here = not upload.gone


def label_of(name: object) -> str:
    """A file's name without anything that a file system, a shell or an eye could take wrongly. Raises Refused."""
    text = unicodedata.normalize("NFC", name if isinstance(name, str) else "")
    stem, dot, kind = re.split(r"[/\\]", text)[-1].strip().rpartition(".")
    if dot + kind.lower() not in KINDS:
        known = ", ".join(KINDS)
        raise Refused("kind", f"Found {text[-NAME_CHARS:]!a}, allowed are files that end in {known}.")
    stem = re.sub(r"[^\w ()+.-]", "_", stem)[:NAME_CHARS].strip(" .-")
    return f"{stem or 'file'}.{kind.lower()}"


def _size_of(octets: object) -> int:
    if not isinstance(octets, int) or isinstance(octets, bool) or octets < 0:
        raise Refused("ask", "import: expected `octets`, the size of the file")
    if octets == 0:
        raise Refused("empty", "The file is empty: there is nothing in it to take over.")
    if octets > MOST_BYTES:
        raise Refused("too-big", f"The file has {octets / 1e6:.0f} MB; at most {MOST_BYTES / 1e6:.0f} MB are taken.")
    return octets


def _no(status: int, text: str) -> web.Response:
    answer = web.Response(status=status, text=text)
    answer.force_close()
    return answer


def _remove(upload: Upload) -> None:
    shutil.rmtree(upload.file.parent, ignore_errors=True)


def _remove_unheld(folder: Path) -> None:
    """A folder that no running panel holds."""
    with suppress(OSError):
        held = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_NOFOLLOW)
        try:
            fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            shutil.rmtree(folder, ignore_errors=True)
        finally:
            os.close(held)
