"""Panels with a page and the import's process in a test's own hands: the panel in this process, its command replaced.

    async with import_panel(show, script="hang") as stage: ...

`SCRIPTS` print what `tetherlight import --json` would, hang, eat memory or compute for ever.
"""

from __future__ import annotations

import json
import sys
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import aiohttp

from bridge.panel import import_process
from bridge.panel.folder import ShowFolder
from bridge.panel.import_asks import LARGE, ImportAsks
from bridge.panel.import_files import Uploads
from bridge.panel.panel import Panel, files
from bridge.panel.reload import Reload
from bridge.web.key import made_key
from bridge.web.site import Site

PLAIN = """import json, sys
answers = [word for word in sys.argv if word.startswith('--m') or word.startswith('--p')]
empty = dict.fromkeys(("profiles", "fixtures", "questions", "skipped", "asks"), [])
print(json.dumps({**empty, "notes": [' '.join(answers)],
  "changes": [{"file": "rig.yaml", "path": "foh-1.address", "was": 1, "now": 45, "text": sys.argv[2]}],
  "written": [] if '--dry-run' in sys.argv else ["rig.yaml"]}))
"""
SCRIPTS = {
    "plain": PLAIN,
    "hang": "import time\ntime.sleep(600)\n",
    "compute": "while True: pass\n",
    "eat": "held = bytearray(3 << 30)\n",
    "flood": "import sys\nwhile True: sys.stdout.write('x' * 100000)\n",
    "silent": "raise SystemExit(3)\n",
    "refuses": "import json, sys\nprint(json.dumps({'errors': [sys.argv[2] + ': is broken']}))\nraise SystemExit(2)\n",
}


@dataclass
class ImportPanel:
    """What a test has in its hands; `said`: what the panel has logged."""

    panel: Panel
    asks: ImportAsks
    site: Site
    url: str
    state: Path
    http: aiohttp.ClientSession
    said: list[str] = field(default_factory=list)

    @property
    def files(self) -> list[Path]:
        """Every file that is kept of pages."""
        return [path for path in (self.state / "imports").rglob("*") if path.is_file()]


class Wire:
    """A page by its websocket alone."""

    def __init__(self, stage: ImportPanel, ws: aiohttp.ClientWebSocketResponse) -> None:
        self._stage, self.ws, self._id = stage, ws, 0

    async def ask(self, what: str, **data: Any) -> dict[str, Any]:
        """The answer to a question."""
        self._id += 1
        await self.ws.send_str(json.dumps({"do": "ask", "id": self._id, "what": what, **data}))
        while True:
            message = json.loads((await self.ws.receive()).data)
            if message["kind"] == "answer" and message["id"] == self._id:
                return dict(message)

    async def expect(self, name: str, octets: int) -> str:
        """The path that a file is to be sent to."""
        answer = await self.ask("import-send", name=name, octets=octets)
        assert answer["ok"], answer
        return str(answer["path"])

    async def send(self, name: str, body: bytes) -> str:
        """A whole file; its ticket."""
        path = await self.expect(name, len(body))
        async with self._stage.http.post(self._stage.url + path[1:], data=body) as answer:
            assert answer.status == 200, await answer.text()
        return path.rpartition("/")[2]


def scripted(folder: Path, script: str) -> Any:
    """In place of `import_process.command`: the same limits, another program in them (a word of SCRIPTS, or its text)."""
    file = folder / "stand-in.py"
    file.write_text(SCRIPTS.get(script, script))

    def command(show: Path, upload: Path, words: Sequence[str], write: bool) -> list[str]:
        limited = [sys.executable, "-m", "bridge.panel.limited", "free" if write else "tied"]
        return [*limited, str(file), str(show), str(upload), *([] if write else ["--dry-run"]), *words]

    return command


@asynccontextmanager
async def import_panel(
    show: Path, state: Path, monkeypatch: Any, script: str = "", host: str = "127.0.0.1", bridge_port: int = 9
) -> AsyncIterator[ImportPanel]:
    """A panel of `show` that is served; without `script` it calls what the product calls."""
    state.mkdir(exist_ok=True)
    if script:
        monkeypatch.setattr(import_process, "command", scripted(state, script))
    panel, uploads, said = Panel(ShowFolder(show, None), ("127.0.0.1", bridge_port)), Uploads(state), []
    reload = Reload(panel)
    asks = ImportAsks(panel, uploads, reload, said.append)
    panel.answers.update(asks.table)
    panel.listeners.append(reload.heard_news)
    panel.leavers.append(uploads.left)
    site = Site(host, 0, files(), panel.page, routes=[*panel.routes, *asks.routes], large=LARGE, key=made_key())
    try:
        uploads.open()
        await panel.open()
        await site.start()
        url = f"http://127.0.0.1:{site.port}/"
        async with aiohttp.ClientSession(cookie_jar=aiohttp.DummyCookieJar()) as http:
            yield ImportPanel(panel, asks, site, url, state, http, said)
    finally:
        await site.stop("the test ends")
        await asks.close()
        await panel.close()


@asynccontextmanager
async def wire(stage: ImportPanel) -> AsyncIterator[Wire]:
    """A page's line; closed at the end."""
    async with stage.http.ws_connect(stage.url + "stream", max_msg_size=0) as ws:
        yield Wire(stage, ws)
