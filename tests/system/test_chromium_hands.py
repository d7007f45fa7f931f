"""The hands of the tests' browser, held against what a small page of our own hears from them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

from tests.system.chromium import CHROMIUM, Page, chromium
from tests.system.chromium_pad import Pad
from tests.system.local_pages import serving
from tests.system.view_stage import in_browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

LISTENS = """<style>body { margin: 0 }
#pad { width: 400px; height: 300px; touch-action: none; background: #ddd }</style>
<div id=pad></div><script>
window.heard = [];
for (const word of ['pointerdown', 'pointermove', 'pointerup']) document.getElementById('pad').addEventListener(word,
  (e) => heard.push([word.slice(7), e.pointerType, Math.round(e.clientX), e.clientY, Math.round(e.pressure * 100)]));
for (const word of ['keydown', 'keyup']) addEventListener(word,
  (e) => heard.push([word.slice(3), e.key, e.code, e.repeat, e.shiftKey]));
for (const word of ['gamepadconnected', 'gamepaddisconnected']) addEventListener(word,
  (e) => heard.push([word.slice(7), e.gamepad.id, e.gamepad.index, e.gamepad.mapping]));
</script>"""


@asynccontextmanager
async def listening(pad: bool = False) -> AsyncIterator[Page]:
    async with serving(LISTENS) as url, chromium() as browser:
        page = await browser.open(url, touch=True, pad=pad)
        yield page
        assert page.errors == []


@pytest.mark.parametrize(("pointer", "pressure"), [("mouse", 50), ("pen", 80), ("touch", 80)])
def test_a_drag_is_of_the_pointer_that_was_asked_for_with_its_pressure(pointer: str, pressure: int) -> None:
    """Pointer Events: a mouse with a button down has pressure 0.5, whatever it is told; lifted, all have 0."""

    async def test() -> None:
        async with listening() as page:
            await page.drag((50, 60), (150, 60), steps=2, pointer=pointer, pressure=0.8)  # type: ignore[arg-type]
            await page.until("heard.some(([word]) => word === 'up')")
            heard = await page.evaluate("heard")
            assert heard[0] == ["down", pointer, 50, 60, pressure]
            assert heard[-2:] == [["move", pointer, 150, 60, pressure], ["up", pointer, 150, 60, 0]]

    in_browser(test)


def test_a_pen_can_be_held_down_and_pressed_harder() -> None:
    async def test() -> None:
        async with listening() as page:
            await page.press((50, 60), "pen", 0.2)
            await page.move((60, 60), "pen", 0.9)
            await page.until("heard.length >= 2")
            assert [(word, force) for word, _, _, _, force in await page.evaluate("heard")] == [
                ("down", 20),
                ("move", 90),
            ]
            await page.lift((60, 60), "pen")

    in_browser(test)


def test_keys_go_down_and_up_apart_with_their_codes_and_modifiers() -> None:
    async def test() -> None:
        async with listening() as page:
            await page.key_down("ArrowLeft")
            await page.key_down("ArrowLeft", again=True)
            await page.key_down("Shift")
            await page.key("d")
            await page.key_up("Shift")
            await page.key_up("ArrowLeft")
            assert await page.evaluate("heard") == [
                ["down", "ArrowLeft", "ArrowLeft", False, False],
                ["down", "ArrowLeft", "ArrowLeft", True, False],
                ["down", "Shift", "ShiftLeft", False, True],
                ["down", "d", "KeyD", False, True],
                ["up", "d", "KeyD", False, True],
                ["up", "Shift", "ShiftLeft", False, False],
                ["up", "ArrowLeft", "ArrowLeft", False, False],
            ]

    in_browser(test)


def test_a_stand_in_pad_comes_moves_and_goes() -> None:
    async def test() -> None:
        async with listening(pad=True) as page:
            assert await page.evaluate("navigator.getGamepads()") == [None] * 4
            pad = await Pad(page, 1).connect("Test pad")
            await page.evaluate("(window.before = navigator.getGamepads()[1], 1)")
            await pad.hold({0: -0.5, 3: 1}, {2: 1, 6: 0.3})
            now = await page.evaluate("navigator.getGamepads()[1]")
            assert (now["axes"], len(now["buttons"])) == ([-0.5, 0, 0, 1], 17)
            assert now["buttons"][2] == {"value": 1, "pressed": True, "touched": True}
            assert now["buttons"][6] == {"value": 0.3, "pressed": False, "touched": True}
            assert await page.evaluate("before.axes[0]") == 0, "a snapshot does not change"
            assert await page.evaluate("before.timestamp") < now["timestamp"]
            await pad.disconnect()
            assert await page.evaluate("heard") == [
                ["connected", "Test pad", 1, "standard"],
                ["disconnected", "Test pad", 1, "standard"],
            ]
            assert await page.evaluate("navigator.getGamepads()[1]") is None

    in_browser(test)


def test_pages_of_two_people_share_nothing_and_all_stay_lively() -> None:
    async def test() -> None:
        async with serving("<h1>Small</h1>") as url, chromium() as browser:
            ann = await browser.open(url)
            again = await browser.open(url)
            bob = await browser.open(url, context=await browser.context())
            await ann.evaluate("(localStorage.name = 'Ann', document.cookie = 'key=1', 1)")
            both = "[localStorage.name ?? '', document.cookie]"
            assert await again.evaluate(both) == ["Ann", "key=1"]
            assert await bob.evaluate(both) == ["", ""]
            count = "(window.n = 0, (function more() { n += 1; requestAnimationFrame(more); })(), 1)"
            for page in (ann, again, bob):
                await page.evaluate(count)
            await asyncio.sleep(1.0)
            for page in (ann, again, bob):
                assert await page.evaluate("[document.visibilityState, document.hasFocus()]") == ["visible", True]
                assert await page.evaluate("n") > 10
            await browser.shut(again)
            assert await ann.evaluate("localStorage.name") == "Ann"

    in_browser(test)
