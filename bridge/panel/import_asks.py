"""A file of another program for the page: what would change in the show, and taking it over.

The file has come by `import_files`; what is in it is only ever read by `tetherlight import` in a process of its own.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine
from typing import Any, Protocol

from bridge.errors import InputError, Refused
from bridge.panel import import_process
from bridge.panel.asks import Answer
from bridge.panel.heard import News
from bridge.panel.import_files import MOST_BYTES, OF_FILE, PATH, Upload, Uploads
from bridge.panel.pages import Page
from bridge.panel.reload import Bridge, Reload
from bridge.show.folder import built_in_profiles
from bridge.web.guard import Handler

LARGE = {PATH: MOST_BYTES}
"""For `Site`: bodies of these paths may be so large."""
MOST_ANSWERS, MOST_TEXT = 64, 200
MOST_CHANGES, MOST_LINES = 3000, 1000
PARTS = ("profiles", "questions", "skipped", "notes", "asks", "written")
END_S = 5.0
"""When the panel stops, an import that writes has so long to end."""


class ImportNo(InputError):
    """Why it cannot be read or taken over: `problems` say by `where` what the page can do about it."""

    def __init__(self, where: str, *texts: str) -> None:
        super().__init__("\n".join(texts))
        self.problems = [{"where": where, "what": text} for text in texts]

    @property
    def lines(self) -> list[str]:
        return [problem["what"] for problem in self.problems]


class Telling(Bridge, Protocol):
    """The part of the panel that is needed here."""

    def tell(self, news: News) -> None:
        """News to every page."""


class ImportAsks:
    """`say` logs who took over what. One process at a time reads or writes."""

    def __init__(self, panel: Telling, uploads: Uploads, reload: Reload, say: Callable[[str], None]) -> None:
        self._panel, self._uploads, self._reload, self._say = panel, uploads, reload, say
        self._turn = asyncio.Lock()
        self._writing: asyncio.Task[Any] | None = None

    @property
    def table(self) -> dict[str, Answer]:
        """For `Panel.answers`."""
        return {
            "import-send": self.send,
            "import-look": self.look,
            "import-take": self.take,
            "import-leave": self.leave,
            "import-reload": self.reload,
        }

    @property
    def routes(self) -> list[tuple[str, str, Handler]]:
        """(method, path, handler)."""
        return self._uploads.routes

    async def close(self) -> None:
        """End everything, but not what is being written."""
        if self._writing is not None:
            await asyncio.wait({self._writing}, timeout=END_S)
            self._writing.cancel()
        self._uploads.close()

    async def send(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """`{ticket, path, label}`: where the page sends its file of this `name` and size (`octets`)."""
        try:
            upload = self._uploads.expect(page, data.get("name"), data.get("octets"))
        except Refused as error:
            if error.reason not in OF_FILE:
                raise
            raise ImportNo("file", str(error)) from None
        return {"ticket": upload.ticket, "path": PATH + upload.ticket, "label": upload.label}

    async def leave(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """The page is done with its file."""
        self._uploads.left(page)
        return {}

    async def reload(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """`{taken, lines}`: whether the bridge goes by the show's files as they are now, and its words."""
        taken, lines = await self._reload.ask(page)
        return {"taken": taken, "lines": lines}

    async def look(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """`{digest, found, profiles_known}`: what the file would change; `found` as `import --json` has it."""
        upload, words = self._uploads.of(page, data.get("ticket")), words_of(data.get("answers"))
        return await self._alone(upload, self._look(upload, words), keeps=False)

    async def take(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """`{found}`: what was changed. Raises ImportNo (where: `digest`, if the show has changed since the look)."""
        upload, words = self._uploads.of(page, data.get("ticket")), words_of(data.get("answers"))
        digest = data.get("digest")
        if not isinstance(digest, str):
            raise Refused("ask", "import-take: expected `digest`, as the look before has told it")
        self._refuse_locked()
        answer = await self._alone(upload, self._take(upload, words, digest), keeps=True)
        self._uploads.left(page)
        return answer

    async def _look(self, upload: Upload, words: list[str]) -> dict[str, Any]:
        folder = self._panel.folder.path
        async with self._turn:
            digest = await asyncio.to_thread(import_process.digest_of, folder)
            found = await import_process.run_import(folder, upload.file, words, write=False)
        _refuse(found)
        known = await asyncio.to_thread(lambda: sorted(_known_profiles(folder)))
        return {"digest": digest, "found": for_page(found), "profiles_known": known}

    async def _take(self, upload: Upload, words: list[str], digest: str) -> dict[str, Any]:
        folder = self._panel.folder.path
        async with self._turn:
            self._refuse_locked()  # another page's file may have taken a while
            if await asyncio.to_thread(import_process.digest_of, folder) != digest:
                text = "The show was changed by somebody else since this was looked at, so nothing was taken over."
                raise ImportNo("digest", text)
            found = await import_process.run_import(folder, upload.file, words, write=True)
        _refuse(found)
        self._panel.folder.look_soon()
        self._log(upload, found)
        return {"found": for_page(found)}

    def _refuse_locked(self) -> None:
        if self._panel.heard.rows.bridge.get("locked"):
            text = "The bridge is locked for the show, so nothing is taken over; Lock on Rig opens it."
            raise ImportNo("locked", text)

    def _log(self, upload: Upload, found: dict[str, Any]) -> None:
        written = [str(file) for file in _list(found, "written")]
        changes = len(_list(found, "changes"))
        words = f"{upload.page.name} took over {upload.label}: {changes} {'change' if changes == 1 else 'changes'}"
        words += f", written {', '.join(written[:20])}" if written else ""
        self._say(f"import: {words}")
        self._panel.tell({"what": "import", "text": words})

    async def _alone(self, upload: Upload, work: Coroutine[Any, Any, dict[str, Any]], keeps: bool) -> dict[str, Any]:
        """Do this with a file, in place of an older look at it."""
        if upload.work is not None and not upload.work.done():
            if upload.keeps:
                work.close()
                raise Refused("busy", "this file is being taken over already")
            upload.work.cancel()
        task = upload.work = asyncio.create_task(work)
        upload.keeps = keeps
        if keeps:
            self._writing = task
        try:
            await asyncio.wait({task})
        except asyncio.CancelledError:
            if not keeps:
                task.cancel()
            raise
        if task.cancelled():
            raise Refused("left", "the file was left, or another answer was given meanwhile")
        return task.result()


def words_of(answers: object) -> list[str]:
    """The options of the command for a page's answers: a list of `{key, about, value}`. Raises Refused."""
    if not isinstance(answers, list) or len(answers) > MOST_ANSWERS:
        raise Refused("ask", f"import: expected `answers`, a list of at most {MOST_ANSWERS}")
    words = []
    for answer in answers:
        key, about, value = (
            answer.get(name) if isinstance(answer, dict) else None for name in ("key", "about", "value")
        )
        if key not in ("mode", "profile", "map") or not _short(about) or not _short(value):
            raise Refused("ask", "import: expected answers of key mode, profile or map, with short texts")
        words.append(f"--mode={value}" if key == "mode" else f"--{key}={about}={value}")
    return words


def for_page(found: dict[str, Any]) -> dict[str, Any]:
    """What a page shows of it: lists of bounded length, and how many there are of each."""
    shown = {part: _list(found, part)[:MOST_LINES] for part in PARTS}
    shown["changes"] = _list(found, "changes")[:MOST_CHANGES]
    counts = {part: len(_list(found, part)) for part in (*PARTS, "changes", "fixtures")}
    return {**shown, "counts": counts}


def _refuse(found: dict[str, Any]) -> None:
    if "errors" in found:
        raise ImportNo("file", *map(str, found["errors"][:20]))


def _list(found: dict[str, Any], part: str) -> list[Any]:
    value = found.get(part)
    return value if isinstance(value, list) else []


def _short(value: object) -> bool:
    return isinstance(value, str) and len(value) <= MOST_TEXT and value.isprintable()


def _known_profiles(folder: Any) -> set[str]:
    """As `profile:` of a fixture names them."""
    own = {f"profiles/{path.name}" for path in (folder / "profiles").glob("*.y*ml")}
    return own | set(built_in_profiles())
