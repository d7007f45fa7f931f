"""The tests' browser: controls by name, a cut network, paint and transfer, held against small pages of our own."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from tests.system.chromium import CHROMIUM, Page, chromium
from tests.system.local_pages import serving
from tests.system.view_stage import in_browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

CONTROLS = """<style>#tall { writing-mode: vertical-lr; direction: rtl; height: 200px }</style><main>
<button id=take onclick="this.ariaPressed = 'true'">Take</button>
<button hidden>Record</button><button aria-hidden=true>Record</button>
<button id=record aria-label=Record style="margin-top: 1500px"
 onclick="window.recorded = (window.recorded ?? 0) + 1">R</button>
<div role=switch tabindex=0 aria-checked=false aria-label=Armed
 onclick="this.ariaChecked = String(this.ariaChecked !== 'true')">on or off</div>
<label>Level <input type=range min=0 max=1 step=0.01 value=0.2></label>
<label>Height <input id=tall type=range min=0.5 max=3 step=0.1 value=1.3></label>
<button style="position: relative; width: 80px">Solve</button><div style="position: relative; top: -40px; height: 60px;
 background: #ccc">over it</div></main>"""


@asynccontextmanager
async def opened(body: str, head: str = "") -> AsyncIterator[Page]:
    async with serving(body, head) as url, chromium() as browser:
        yield await browser.open(url)


def test_controls_are_found_by_role_and_accessible_name() -> None:
    async def test() -> None:
        async with opened(CONTROLS) as page:
            take = await page.named("button", "Take")
            assert not await take.on()
            await take.click()
            assert await take.on()
            await page.click_named("button", "Record")  # far below: scrolled to; the hidden ones are none
            assert await page.evaluate("recorded") == 1
            armed = await page.named("switch", "Armed")
            await armed.click("touch")
            await page.until("document.querySelector('[role=switch]').ariaChecked === 'true'")
            assert await armed.on()
            assert {control.name for control in await page.all_named("button")} == {"Take", "Record", "Solve"}

    in_browser(test)


def test_what_is_not_there_or_lies_under_something_fails_with_what_is_there() -> None:
    async def test() -> None:
        async with opened(CONTROLS) as page:
            with pytest.raises(AssertionError, match=r"0 of role 'button' named 'Lock'.*'Record', 'Solve', 'Take'"):
                await page.named("button", "Lock", within_s=0.2)
            with pytest.raises(AssertionError, match=r"(?s)'Solve' cannot be pressed at .*over it"):
                await page.click_named("button", "Solve")

    in_browser(test)


@pytest.mark.parametrize(("name", "value"), [("Level", 0.73), ("Level", 0.0), ("Height", 2.2), ("Height", 0.5)])
def test_a_slider_is_brought_to_a_value(name: str, value: float) -> None:
    async def test() -> None:
        async with opened(CONTROLS) as page:
            assert await page.slide(name, value) == pytest.approx(value)
            wanted = "Level" if name == "Level" else "Height"
            text = f"[...document.querySelectorAll('label')].find((l) => l.innerText.startsWith('{wanted}'))"
            assert float(await page.evaluate(f"{text}.control.value")) == pytest.approx(value)

    in_browser(test)


TALKS = """<h1>Small</h1><script>
const socket = new WebSocket(`ws://${location.host}/echo`);
window.heard = [];
socket.onmessage = (e) => heard.push(e.data);
socket.onclose = () => heard.push('closed');
socket.onopen = () => socket.send('hello');
</script>"""


def test_sockets_are_dropped_and_the_network_is_cut_and_comes_back() -> None:
    async def test() -> None:
        async with opened(TALKS) as page:
            await page.until("heard[0] === 'hello'")
            assert await page.drop_sockets() == 1
            await page.until("heard.at(-1) === 'closed'")
            assert await page.open_sockets() == 0
            asked = "fetch(location.href).then((r) => r.status, () => 'cut')"
            assert await page.evaluate(asked) == 200
            await page.offline()
            assert await page.evaluate(asked) == "cut"
            assert await page.evaluate("navigator.onLine") is False
            await page.offline(False)
            assert await page.evaluate(asked) == 200

    in_browser(test)


DRAWS = """<h1>Small</h1><div data-plan><canvas id=a width=50 height=50></canvas></div><canvas id=b></canvas><script>
const a = document.getElementById('a').getContext('2d'), b = document.getElementById('b').getContext('2d');
setInterval(() => { a.clearRect(0, 0, 50, 50); a.fillRect(1, 1, 9, 9); }, 100);
(function more() { b.fillRect(0, 0, 5, 5); requestAnimationFrame(more); })();
</script>"""


def test_paint_transfer_and_pictures_are_measured() -> None:
    async def test() -> None:
        padding = "<!--" + "x" * 50_000 + "-->"
        async with opened(DRAWS + padding) as page:
            assert 0 < await page.first_paint_ms() < 20_000
            assert await page.first_picture_ms("[data-plan]") >= 100, "drawn on by a timer of 100 ms"
            assert 50_000 < page.transferred() < 60_000
            assert page.transferred(".js") == 0
            # drawn on ten times a second, two calls each: ten pictures, not twenty, and not the other canvas's sixty
            assert await page.pictures_per_s("[data-plan]", 2.0) == pytest.approx(10, abs=2.5)
            assert await page.pictures_per_s("body", 2.0) > 20

    in_browser(test)
