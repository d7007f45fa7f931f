"""A real headless Chromium for tests, driven by the Chrome DevTools protocol over an aiohttp websocket.

    async with chromium() as browser:
        page = await browser.open(url, width=1280, height=800)
        assert await page.evaluate("document.title") == "..."

Every request that a page makes is kept in `page.requests`, its console errors and exceptions in `page.errors`.
Protocol: https://chromedevtools.github.io/devtools-protocol/ (domains Page, Runtime, Input, Network, Emulation).
"""

from __future__ import annotations

import asyncio
import base64
import itertools
import os
import shutil
import signal
import tempfile
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import aiohttp
import cv2
import numpy as np

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
    "--remote-debugging-port=0",
)
START_S = 30.0
ANSWER_S = 20.0


class Page:
    """One tab. Coordinates are CSS pixels from the top left of the page."""

    def __init__(self, ws: aiohttp.ClientWebSocketResponse) -> None:
        self._ws = ws
        self._ids = itertools.count(1)
        self._waiting: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self.requests: list[str] = []
        self.responses: list[dict[str, Any]] = []
        self.errors: list[str] = []
        self._reader = asyncio.create_task(self._read())

    async def call(self, method: str, **params: Any) -> dict[str, Any]:
        """One command of the protocol; raises RuntimeError with the browser's words when it fails."""
        number = next(self._ids)
        self._waiting[number] = asyncio.get_running_loop().create_future()
        await self._ws.send_json({"id": number, "method": method, "params": params})
        try:
            answer = await asyncio.wait_for(self._waiting[number], ANSWER_S)
        finally:
            del self._waiting[number]
        if "error" in answer:
            raise RuntimeError(f"{method}: {answer['error'].get('message')}")
        return dict(answer["result"])

    async def evaluate(self, expression: str) -> Any:
        """The value of a JavaScript expression; promises are awaited, exceptions raised."""
        result = await self.call("Runtime.evaluate", expression=expression, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in result:
            details = result["exceptionDetails"]
            raise RuntimeError(str(details.get("exception", {}).get("description", details["text"])))
        return result["result"].get("value")

    async def until(self, expression: str, within_s: float = 10.0) -> Any:
        """Wait until the expression is true; AssertionError with the expression and what is shown otherwise."""
        deadline = asyncio.get_running_loop().time() + within_s
        while not (value := await self.evaluate(expression)):
            if asyncio.get_running_loop().time() > deadline:
                raise AssertionError(f"not true within {within_s} s: {expression}; errors {self.errors}")
            await asyncio.sleep(0.05)
        return value

    async def screenshot(self, path: str | Path | None = None) -> np.ndarray:
        """The page as it is seen, an array (height, width, 3) of 0..255, red first; also a PNG file at `path`."""
        data = base64.b64decode((await self.call("Page.captureScreenshot", format="png"))["data"])
        if path is not None:
            Path(path).write_bytes(data)
        image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        return np.ascontiguousarray(image[:, :, ::-1])

    async def box(self, selector: str) -> tuple[int, int, int, int]:
        """Left, top, right and bottom of an element."""
        found = await self.evaluate(
            f"(() => {{ const b = document.querySelector({selector!r}).getBoundingClientRect();"
            " return [b.left, b.top, b.right, b.bottom]; })()"
        )
        left, top, right, bottom = (round(value) for value in found)
        return left, top, right, bottom

    async def click(self, selector: str) -> None:
        """Press and release the mouse in the middle of an element."""
        left, top, right, bottom = await self.box(selector)
        at = {"x": (left + right) / 2, "y": (top + bottom) / 2, "button": "left", "clickCount": 1}
        await self.call("Input.dispatchMouseEvent", type="mousePressed", **at)
        await self.call("Input.dispatchMouseEvent", type="mouseReleased", **at)

    async def drag(self, start: tuple[float, float], end: tuple[float, float], steps: int = 6) -> None:
        """Drag with the left mouse button."""
        held = {"button": "left", "buttons": 1, "clickCount": 1}
        await self.call("Input.dispatchMouseEvent", type="mousePressed", x=start[0], y=start[1], **held)
        for x, y in _between(start, end, steps):
            await self.call("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y, button="left", buttons=1)
        await self.call("Input.dispatchMouseEvent", type="mouseReleased", x=end[0], y=end[1], **held)

    async def touch(self, *fingers: tuple[tuple[float, float], tuple[float, float]], steps: int = 6) -> None:
        """Fingers that go down together, each from a start to an end, and up again."""
        paths = [_between(start, end, steps) for start, end in fingers]
        await self._fingers("touchStart", [start for start, _ in fingers])
        for points in zip(*paths, strict=True):
            await self._fingers("touchMove", list(points))
        await self._fingers("touchEnd", [])

    async def _fingers(self, kind: str, points: list[tuple[float, float]]) -> None:
        touches = [{"x": x, "y": y, "id": i} for i, (x, y) in enumerate(points)]
        await self.call("Input.dispatchTouchEvent", type=kind, touchPoints=touches)

    async def key(self, key: str) -> None:
        """Press and release a key by its name (`ArrowLeft`, `1`, `Tab`)."""
        text = {"text": key} if len(key) == 1 else {}
        codes = {"Tab": 9, "Enter": 13, " ": 32}
        code = {"windowsVirtualKeyCode": codes[key]} if key in codes else {}
        await self.call("Input.dispatchKeyEvent", type="keyDown", key=key, **text, **code)
        await self.call("Input.dispatchKeyEvent", type="keyUp", key=key, **code)

    async def resize(self, width: int, height: int, touch: bool = False) -> None:
        """Give the page a size, and fingers where `touch`."""
        await self.call(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=False
        )
        await self.call("Emulation.setTouchEmulationEnabled", enabled=touch, maxTouchPoints=5)

    async def close(self) -> None:
        self._reader.cancel()
        with suppress(asyncio.CancelledError):
            await self._reader
        await self._ws.close()

    async def _read(self) -> None:
        async for message in self._ws:
            event = message.json()
            if "id" in event:
                if (waiting := self._waiting.get(event["id"])) is not None and not waiting.done():
                    waiting.set_result(event)
            else:
                self._note(event["method"], event["params"])

    def _note(self, method: str, params: dict[str, Any]) -> None:
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Network.webSocketCreated":
            self.requests.append(params["url"])
        elif method == "Network.responseReceived":
            self.responses.append(params["response"])
        elif method == "Runtime.exceptionThrown":
            details = params["exceptionDetails"]
            self.errors.append(str(details.get("exception", {}).get("description", details["text"])))
        elif method == "Log.entryAdded" and params["entry"]["level"] == "error":
            self.errors.append(f"{params['entry']['text']} {params['entry'].get('url', '')}")


class Browser:
    """A running Chromium."""

    def __init__(self, http: aiohttp.ClientSession, port: int) -> None:
        self._http, self._port = http, port
        self._pages: list[Page] = []

    async def open(self, url: str, width: int = 1280, height: int = 800, touch: bool = False) -> Page:
        """A new tab of that size at `url`; returns once the page's load event has passed."""
        async with self._http.put(f"http://127.0.0.1:{self._port}/json/new?about:blank") as answer:
            target = await answer.json(content_type=None)
        ws = await self._http.ws_connect(target["webSocketDebuggerUrl"], max_msg_size=0)
        page = Page(ws)
        self._pages.append(page)
        for domain in ("Page", "Runtime", "Network", "Log"):
            await page.call(f"{domain}.enable")
        await page.resize(width, height, touch)
        await page.call("Page.navigate", url=url)
        await page.until(f"document.readyState === 'complete' && location.href.startsWith({url[:20]!r})")
        return page

    async def close(self) -> None:
        for page in self._pages:
            await page.close()


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
        port = await _debugging_port(profile, process)
        async with aiohttp.ClientSession() as http:
            browser = Browser(http, port)
            try:
                yield browser
            finally:
                await browser.close()
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)  # the group is our own: Chromium and its helpers
        await process.wait()
        shutil.rmtree(profile, ignore_errors=True)


async def _debugging_port(profile: Path, process: asyncio.subprocess.Process) -> int:
    deadline = asyncio.get_running_loop().time() + START_S
    file = profile / "DevToolsActivePort"
    while asyncio.get_running_loop().time() < deadline:
        if process.returncode is not None:
            raise RuntimeError(f"Chromium ended at once with exit code {process.returncode}")
        if file.exists() and (text := file.read_text().split("\n"))[0].isdigit():
            return int(text[0])
        await asyncio.sleep(0.05)
    raise TimeoutError(f"Chromium did not open its debugging port within {START_S} s")


def _between(start: tuple[float, float], end: tuple[float, float], steps: int) -> list[tuple[float, float]]:
    return [
        (start[0] + (end[0] - start[0]) * k / steps, start[1] + (end[1] - start[1]) * k / steps)
        for k in range(1, steps + 1)
    ]


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run a test's coroutine function to its end."""

    async def whole() -> None:
        await test()

    asyncio.run(whole())
