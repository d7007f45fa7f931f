"""Panels with a page and the import's process in a test's own hands: the panel in this process, its command replaced.

    async with import_panel(show, script="hang") as stage: ...

`SCRIPTS` print what `tetherlight import --json` would, hang, eat memory or compute for ever.
"""

from __future__ import annotations

import asyncio
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
from tests.system.chromium import Page, chromium
from tests.system.panel_shows import demo_show
from tests.system.stand_in_bridge import StandInBridge

PLAIN = """import json, sys
answers = [word for word in sys.argv if word.startswith('--m') or word.startswith('--p')]
empty = dict.fromkeys(("profiles", "fixtures", "questions", "skipped", "asks"), [])
print(json.dumps({**empty, "notes": [' '.join(answers)],
  "changes": [{"file": "rig.yaml", "path": "foh-1.address", "was": 1, "now": 45, "text": sys.argv[2]}],
  "written": [] if '--dry-run' in sys.argv else ["rig.yaml"]}))
"""
ASKS = """import json, sys
words = sys.argv[3:]
given = lambda key: any(word.startswith(f'--{key}') for word in words)
asks = [] if given('mode') else [{"key": "mode", "about": "Beacon", "choices": ["Compact", "Standard", "With pixels"],
  "text": "Which mode is set on the heads? Compact (18 slots), Standard (27 slots), With pixels (64 slots)"}]
if not given('map'):
  asks += [{"key": "map", "about": "Ch no", "choices": ["number", "address"], "text": "What does 'Ch no' mean?"}]
if not given('profile'):
  asks += [{"key": "profile", "about": "Old", "choices": [], "text": "Which profile have the 12 heads of type Old?"}]
file = "profiles/harbour-works-beacon-standard.yaml"
new = lambda n: {"name": "x", "profile": file, "universe": 1, "address": 1 + 16 * n, "at": [7.5, 1 + n / 2, 8.4]}
changes = [{"file": file, "path": "", "was": None, "now": file, "text": f"new profile {file}"}]
head = lambda n: {"path": f"east-{n}", "was": None, "now": new(n), "text": f"new head east-{n} at 1/{16 * n}"}
changes += [{"file": "rig.yaml", **head(n)} for n in range(40)]
changes += [{"file": "rig.yaml", "path": "foh-1.at", "was": [1.2, 3.4, 8], "now": [1.25, 3.4, 8.1], "text": ""}]
profile = {"file": file, "mode": "Standard", "from": "beacon.gdtf", "footprint": 27, "channels": {"pan": [1, 2]},
  "pan": {"from": -270, "to": 270}, "fixed": {"7": 255}, "why": {"fixed.7": "shutter open"}, "confirm": ["pan", "tilt"]}
mode = given('mode')
if not mode: profile, changes = None, []
print(json.dumps({"profiles": [profile] if mode else [], "fixtures": [], "asks": asks, "changes": changes,
  "questions": ["Which way does pan turn? The first sighting of a head answers it."],
  "skipped": [{"what": "layer Floor, 'Wash 12'", "why": "it has no pan and tilt"}], "notes": ["Two heads share 1/23."],
  "written": [file, "rig.yaml"] if '--dry-run' not in words else []}))
"""
SCRIPTS = {
    "asks": ASKS,
    "plain": PLAIN,
    "hang": "import time\ntime.sleep(600)\n",
    "compute": "while True: pass\n",
    "eat": "held = bytearray(3 << 30)\n",
    "flood": "import sys\nwhile True: sys.stdout.write('x' * 100000)\n",
    "slow": "import sys, time\ntime.sleep(1)\nopen(sys.argv[1] + '/written', 'w').close()\nprint('{}')\n",
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
    """In place of `import_process.command`: the same limits, another program in them (of SCRIPTS, or its text)."""
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
async def import_page(
    folder: Path, monkeypatch: Any, script: str = "asks"
) -> AsyncIterator[tuple[ImportPanel, StandInBridge, Page]]:
    """A browser's page of such a panel on the screen Rig, with a bridge that only tells."""
    staged = demo_show(folder / "show", 1)
    bridge = StandInBridge(staged.show, {head.name: ("lit", 0.0, 0.0, 1.0) for head in staged.show.fixtures})
    telling = asyncio.create_task(bridge.run())
    try:
        async with (
            import_panel(staged.folder, folder / "state", monkeypatch, script, bridge_port=bridge.port) as stage,
            chromium() as browser,
        ):
            page = await browser.open(stage.url)
            await page.until("window.panel?.store.scene && window.panel.store.frame", 60.0)
            await page.click_named("tab", "Rig")
            yield stage, bridge, page
    finally:
        telling.cancel()
        await asyncio.gather(telling, return_exceptions=True)


@asynccontextmanager
async def wire(stage: ImportPanel) -> AsyncIterator[Wire]:
    """A page's line; closed at the end."""
    async with stage.http.ws_connect(stage.url + "stream", max_msg_size=0) as ws:
        yield Wire(stage, ws)
