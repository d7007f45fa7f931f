"""A real headless Chromium for tests, driven by the Chrome DevTools protocol over an aiohttp websocket.

    async with chromium() as browser:
        page = await browser.open(url, width=1280, height=800)
        assert await page.evaluate("document.title") == "..."
        await page.click_named("button", "Record")

Every request that a page makes is kept in `page.requests`, its console errors and exceptions in `page.errors`.
Protocol: https://chromedevtools.github.io/devtools-protocol/ (Page, Target, Emulation; others in chromium_*.py).
"""

from __future__ import annotations

import asyncio
import base64
import os
import shutil
import signal
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path

import aiohttp
import cv2
import numpy as np

from tests.system import chromium_network, chromium_pad
from tests.system.chromium_named import Named
from tests.system.chromium_network import Network
from tests.system.chromium_session import Session

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-background-timer-throttling",  # several pages at once, each as lively as the one in front
    "--disable-backgrounding-occluded-windows",
    "--disable-renderer-backgrounding",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--remote-debugging-port=0",
)
START_S = 30.0


class Page(Named, Network):
    """One tab: hands, controls by name, network. Coordinates are CSS pixels from the top left of the page."""

    async def screenshot(self, path: str | Path | None = None) -> np.ndarray:
        """The page as it is seen, an array (height, width, 3) of 0..255, red first; also a PNG file at `path`."""
        data = base64.b64decode((await self.call("Page.captureScreenshot", format="png"))["data"])
        if path is not None:
            Path(path).write_bytes(data)
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        return np.ascontiguousarray(image[:, :, ::-1])

    async def resize(self, width: int, height: int, touch: bool = False) -> None:
        """Give the page a size, and fingers where `touch`."""
        await self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False
        )
        await self.call("Emulation.setTouchEmulationEnabled", enabled=touch, maxTouchPoints=5)

    async def go(self, url: str) -> None:
        """Navigate; returns once the load event of that page has passed."""
        await self.evaluate("window.leftBehind = true")
        await self.call("Page.navigate", url=url)
        await self.until(
            "!window.leftBehind && document.readyState === 'complete' && location.href.startsWith("
            + repr(url[:20])
            + ")"
        )


class Browser:
    """A running Chromium. Pages of different contexts are different people: each has its own storage and cookies."""

    def __init__(self, http: aiohttp.ClientSession, port: int, session: Session) -> None:
        self._http, self._port, self._session = http, port, session
        self._pages: list[Page] = []

    async def context(self) -> str:
        """A person of their own, for `open(context=...)`."""
        return str((await self._session.call("Target.createBrowserContext"))["browserContextId"])

    async def open(
        self,
        url: str,
        width: int = 1280,
        height: int = 800,
        touch: bool = False,
        context: str | None = None,
        pad: bool = False,
    ) -> Page:
        """A new window of that size at `url`; returns once its load event has passed. `pad`: see chromium_pad."""
        whose = {} if context is None else {"browserContextId": context}
        made = await self._session.call("Target.createTarget", url="about:blank", newWindow=True, **whose)
        address = f"ws://127.0.0.1:{self._port}/devtools/page/{made['targetId']}"
        page = Page(await self._http.ws_connect(address, max_msg_size=0))
        self._pages.append(page)
        for domain in ("Page", "Runtime", "Network", "Log"):
            await page.call(f"{domain}.enable")
        await page.call("Emulation.setFocusEmulationEnabled", enabled=True)
        await page.resize(width, height, touch)
        for script in (chromium_network.SCRIPT, *([chromium_pad.SCRIPT] if pad else [])):
            await page.before_scripts(script)
        await page.go(url)
        return page

    async def shut(self, page: Page) -> None:
        """Close a page as its person would."""
        with suppress(RuntimeError, asyncio.TimeoutError):
            await page.call("Page.close")
        self._pages.remove(page)
        await page.close()

    async def close(self) -> None:
        """Speak no more to any page."""
        for page in self._pages:
            await page.close()
        await self._session.close()


@asynccontextmanager
async def chromium(*flags: str) -> AsyncIterator[Browser]:
    """Start a Chromium of our own with a fresh profile, and end it and remove the profile afterwards."""
    if CHROMIUM is None:
        raise FileNotFoundError("this test needs Chromium; on Debian: apt install chromium")
    profile = Path(tempfile.mkdtemp(prefix="chromium-"))
    process = await asyncio.create_subprocess_exec(
        CHROMIUM,
        *FLAGS,
        *flags,
        f"--user-data-dir={profile}",
        "about:blank",
        stdout=asyncio.subprocess.DEVNULL,
        stderr=asyncio.subprocess.DEVNULL,
        start_new_session=True,
    )
    try:
        port, path = await _debugging_port(profile, process)
        async with aiohttp.ClientSession() as http:
            session = Session(await http.ws_connect(f"ws://127.0.0.1:{port}{path}", max_msg_size=0))
            browser = Browser(http, port, session)
            try:
                yield browser
            finally:
                await browser.close()
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)  # the group is our own: Chromium and its helpers
        await process.wait()
        shutil.rmtree(profile, ignore_errors=True)


async def _debugging_port(profile: Path, process: asyncio.subprocess.Process) -> tuple[int, str]:
    """Port and path of the browser's own websocket."""
    deadline = asyncio.get_running_loop().time() + START_S
    file = profile / "DevToolsActivePort"
    while asyncio.get_running_loop().time() < deadline:
        if process.returncode is not None:
            raise RuntimeError(f"Chromium ended at once with exit code {process.returncode}")
        if file.exists() and len(text := file.read_text().split("\n")) > 1 and text[0].isdigit():
            return int(text[0]), text[1]
        await asyncio.sleep(0.05)
    raise TimeoutError(f"Chromium did not open its debugging port within {START_S} s")


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run a test's coroutine function to its end."""

    async def whole() -> None:
        await test()

    asyncio.run(whole())
