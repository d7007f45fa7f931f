"""What the panel hands out beside its page: captures of the recorder, and the report of a solve."""

from __future__ import annotations

import asyncio
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

from aiohttp import web

from bridge.panel.folder import ShowFolder
from bridge.panel.pages import Page
from bridge.show.solve_by_exec import environment, give_way
from bridge.web.guard import POLICY, Handler

SUFFIX = ".pcapng"
MOST_CAPTURES = 500
REPORT_WITHIN_S = 120.0
REPORT_POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; sandbox; frame-ancestors 'none'"
"""The report is one file with its style inside, and runs nothing."""


class Papers:
    """Captures and reports of one show. `record` is where `run` keeps captures, if its command line says so."""

    def __init__(self, folder: ShowFolder, record: Path | None = None) -> None:
        self._folder, self._record = folder, record
        self._reporting = asyncio.Lock()

    @property
    def routes(self) -> list[tuple[str, str, Handler]]:
        """(method, path, handler)."""
        return [("GET", "/captures/{name}", self._capture), ("GET", "/report", self._report)]

    async def list_captures(self, page: Page, data: dict[str, Any]) -> dict[str, Any]:
        """The question `captures`: name, octets and Unix time of each, newest first; `folder` null: none are kept."""
        folder = self._captures()
        if folder is None:
            return {"folder": None, "captures": []}
        return {"folder": str(folder), "captures": await asyncio.to_thread(_listed, folder)}

    def _captures(self) -> Path | None:
        settings = self._folder.show.network.record
        if self._record is not None:
            return self._record
        return None if settings is None else self._folder.path / settings.folder

    async def _capture(self, request: web.Request) -> web.StreamResponse:
        name, folder = request.match_info["name"], self._captures()
        known = [] if folder is None else await asyncio.to_thread(_listed, folder)
        if folder is None or name not in [capture["name"] for capture in known]:
            return web.Response(status=404, text="There is no such capture; it may have been tidied away.")
        headers = {"Content-Disposition": f'attachment; filename="{name}"', "Content-Type": "application/octet-stream"}
        return web.FileResponse(folder / name, headers=headers)

    async def _report(self, request: web.Request) -> web.StreamResponse:
        """The report of a solve of the sightings as they are now; it writes nothing into the show."""
        async with self._reporting:
            with tempfile.TemporaryDirectory(prefix="tetherlight-report-") as scratch:
                file = Path(scratch, "report.html")
                code, words = await self._solve(file)
                if not file.is_file():
                    text = f"There is no report (exit code {code}):\n{words}"
                    return web.Response(status=409, text=text)
                body = file.read_bytes()
        return web.Response(body=body, content_type="text/html", charset="utf-8", headers={POLICY: REPORT_POLICY})

    async def _solve(self, file: Path) -> tuple[int, str]:
        words = ["-m", "bridge", "solve", str(self._folder.path), "--dry-run", "--report", str(file)]
        process = await asyncio.create_subprocess_exec(
            sys.executable, *words, stdin=asyncio.subprocess.DEVNULL, stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.STDOUT, env=environment(),
        )  # fmt: skip
        give_way(process.pid)
        try:
            told, _ = await asyncio.wait_for(process.communicate(), REPORT_WITHIN_S)
        except TimeoutError:
            return -1, f"it took longer than {REPORT_WITHIN_S:g} s"
        finally:
            if process.returncode is None:
                process.kill()
                await process.wait()
        return process.returncode or 0, told.decode("utf-8", "replace")[-4000:]


def _listed(folder: Path) -> list[dict[str, Any]]:
    found = []
    try:
        entries = list(os.scandir(folder))
    except OSError:
        return []
    for entry in entries:
        if entry.name.endswith(SUFFIX) and not entry.name.startswith(".") and entry.is_file(follow_symlinks=False):
            stat = entry.stat()
            found.append({"name": entry.name, "octets": stat.st_size, "at": round(stat.st_mtime)})
    found.sort(key=lambda capture: (capture["at"], capture["name"]), reverse=True)
    return found[:MOST_CAPTURES]
