"""The page that asks for the key, in a real headless Chromium: what a browser sends along, and what is seen."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.web.key import made_key
from tests.system.chromium import CHROMIUM, chromium
from tests.system.view_stage import SHOTS
from tests.system.web_site import opened, run

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
PAGE = b"""<!doctype html><meta charset="utf-8"><title>steering</title><script type="module" src="main.js"></script>"""
CODE = b"""const ws = new WebSocket(`ws://${location.host}/stream`);
ws.onopen = () => ws.send("hello"); ws.onmessage = (event) => { window.heard = event.data; };"""
FILES = {"index.html": (PAGE, "text/html"), "main.js": (CODE, "text/javascript")}


@pytest.mark.parametrize("size", [(390, 844), (820, 1180), (1280, 800), (1920, 1080)])
def test_a_person_types_the_key_and_is_in(size: tuple[int, int]) -> None:
    async def test() -> None:
        key = made_key()
        async with opened(files=FILES, key=key) as site, chromium() as browser:
            page = await browser.open("about:blank", *size)
            await page.call("Network.enable")
            await page.call("Network.setExtraHTTPHeaders", headers={"Via": "1.1 proxy"})  # so it is not this machine
            await page.call("Page.navigate", url=site.url)
            await page.until("document.title === 'Key needed' && document.activeElement.id === 'key'")
            await page.until("getComputedStyle(document.body).margin === '0px'")
            if SHOTS:
                await page.screenshot(Path(SHOTS) / f"key-{size[0]}.png")
            heights = await page.evaluate("['input', 'button'].map((n) => document.querySelector(n).offsetHeight)")
            assert min(heights) >= 64
            assert await page.evaluate("document.documentElement.scrollWidth") <= size[0]
            await page.evaluate("(document.getElementById('key').value = 'not the key', 1)")
            await page.click("button")
            await page.until("document.getElementById('why')?.innerText.startsWith('That is not the key')")
            await page.evaluate(f"(document.getElementById('key').value = '{key.text.upper()}', 1)")
            await page.click("button")
            await page.until("document.title === 'steering' && window.heard === 'hello'")
            assert await page.evaluate("location.pathname + location.search") == "/"
            assert await page.evaluate("document.cookie") == "", "no script can read the cookie"
            await page.call("Page.navigate", url=site.url + "?key=an-old-bookmark")
            await page.until("location.search === '' && document.title === 'steering' && window.heard === 'hello'")

    run(test)


def test_a_key_in_the_address_is_taken_out_of_it() -> None:
    async def test() -> None:
        key = made_key()
        async with opened(files=FILES, key=key) as site, chromium() as browser:
            page = await browser.open("about:blank")
            await page.call("Network.enable")
            await page.call("Network.setExtraHTTPHeaders", headers={"Via": "1.1 proxy"})
            await page.call("Page.navigate", url=f"{site.url}?key={key.text}")
            await page.until("window.heard === 'hello'")
            assert await page.evaluate("location.pathname + location.search") == "/"
            assert await page.evaluate("history.length") <= 2, "about:blank and the page: none with the key"

    run(test)
