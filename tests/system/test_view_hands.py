"""The venue's page in a real headless Chromium: what hands do, what is survived, and what leaves the machine."""

from __future__ import annotations

from urllib.parse import urlsplit

import numpy as np
import pytest

from bridge.venue.view import View
from tests.system.chromium import CHROMIUM
from tests.system.view_stage import bright, changed, in_browser, staged

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")


@pytest.mark.parametrize("calm", [True, False])
def test_views_turn_at_once_where_motion_is_not_wanted(calm: bool) -> None:
    async def test() -> None:
        async with staged(calm=calm) as stage:
            press = "document.querySelector('[data-view=plan]').click()"
            pitch = await stage.page.evaluate(f"({press}, [venue.drawing.camera.pitch, Boolean(venue.drawing.turn)])")
            assert pitch == ([pytest.approx(np.pi / 2), False] if calm else [pytest.approx(0.44), True])
            await stage.page.until("!venue.drawing.turn")
            assert await stage.page.evaluate("venue.drawing.camera.pitch") == pytest.approx(np.pi / 2)

    in_browser(test)


@pytest.mark.parametrize("touch", [False, True], ids=["mouse", "finger"])
def test_a_drag_orbits_the_perspective(touch: bool) -> None:
    async def test() -> None:
        async with staged(touch=touch) as stage:
            before = await stage.picture()
            yaw = await stage.page.evaluate("venue.drawing.camera.yaw")
            if touch:
                await stage.page.touch(((300, 300), (480, 340)))
            else:
                await stage.page.drag((300, 300), (480, 340))
            await stage.page.until(f"Math.abs(venue.drawing.camera.yaw - {yaw}) > 1")
            await stage.page.until("!venue.state.dirty")
            after = await stage.picture(f"orbit-{'finger' if touch else 'mouse'}")
            assert changed(before, after) > 0.05
            assert bright(after) > 5_000

    in_browser(test)


def test_two_fingers_zoom_and_the_wheel_does() -> None:
    async def test() -> None:
        async with staged(touch=True) as stage:
            span = await stage.page.evaluate("venue.drawing.camera.span")
            await stage.page.touch(((380, 350), (300, 350)), ((420, 350), (500, 350)))
            await stage.page.until(f"venue.drawing.camera.span < {0.5 * span}")
            near = await stage.page.evaluate("venue.drawing.camera.span")
            await stage.page.call("Input.dispatchMouseEvent", type="mouseWheel", x=400, y=350, deltaX=0, deltaY=240)
            await stage.page.until(f"venue.drawing.camera.span > {1.2 * near}")

    in_browser(test)


def test_keys_do_all_that_hands_do() -> None:
    async def test() -> None:
        async with staged() as stage:
            page = stage.page
            await page.key("Tab")
            assert await page.evaluate("document.activeElement.id") == "drawing"
            yaw = await page.evaluate("venue.drawing.camera.yaw")
            await page.key("ArrowLeft")
            assert await page.evaluate("venue.drawing.camera.yaw") != yaw
            for key, name in (("1", "plan"), ("2", "section"), ("3", "free")):
                await page.key(key)
                assert await page.evaluate("venue.drawing.view") == name
            span = await page.evaluate("venue.drawing.camera.span")
            await page.key("+")
            assert await page.evaluate("venue.drawing.camera.span") < span
            await page.key("b")
            assert await page.evaluate("document.getElementById('believe').ariaChecked") == "true"
            reached = set()
            for _ in range(12):
                await page.key("Tab")
                reached.add(await page.evaluate("document.activeElement.dataset.view ?? document.activeElement.id"))
            assert {"plan", "section", "free", "nearer", "farther", "whole", "believe"} <= reached

    in_browser(test)


def test_buttons_are_big_enough_for_a_thumb_in_the_dark() -> None:
    """WCAG 2.2, 2.5.5 (level AAA): targets of 44 by 44 CSS pixels."""

    async def test() -> None:
        async with staged(48, (820, 1180), touch=True) as stage:
            sizes = await stage.page.evaluate(
                "[...document.querySelectorAll('button')].map((b) => [b.offsetWidth, b.offsetHeight])"
            )
            assert len(sizes) > 50
            assert min(min(size) for size in sizes) >= 44

    in_browser(test)


def test_a_stopped_venue_is_told_and_a_restarted_one_is_picked_up() -> None:
    async def test() -> None:
        async with staged() as stage:
            page = stage.page
            await page.evaluate("(venue.drawing.camera.zoom(0.5), 1)")
            span = await page.evaluate("venue.drawing.camera.span")
            port = urlsplit(stage.url).port
            await stage.view.stop()
            await page.until("document.getElementById('banner').innerText.startsWith('No data for ')")
            await page.until("/No data for [2-9] s/.test(document.getElementById('banner').innerText)")
            assert "stopped or cannot be reached" in await page.evaluate("document.getElementById('banner').innerText")
            await stage.picture("stopped")
            stage.view = View("127.0.0.1", port, stage.scene)
            await stage.view.start()
            try:
                stage.feed()
                await page.until("document.getElementById('banner').hidden")
                received = await page.evaluate("venue.stream.received")
                await page.until(f"venue.stream.received > {received + 10}")
                assert await page.evaluate("venue.drawing.camera.span") == span, "the view stays as it was"
            finally:
                await stage.pause()
                await page.until("document.getElementById('banner').innerText.includes('sends nothing')")
                await stage.view.stop()
            # the only errors are of sockets that found nobody while the venue was away
            assert all("WebSocket" in error or "ERR_CONNECTION" in error for error in page.errors)
            page.errors.clear()

    in_browser(test)


def test_nothing_leaves_the_machine() -> None:
    async def test() -> None:
        async with staged() as stage:
            stage.feed()
            await stage.page.click("[data-view=plan]")
            await stage.page.click("#believe")
            await stage.page.until("venue.stream.received > 30")
            await stage.pause()
            asked = [urlsplit(url) for url in stage.page.requests]
            assert {part.hostname for part in asked} == {"127.0.0.1"}
            assert {part.port for part in asked} == {urlsplit(stage.url).port}
            assert {"/", "/main.js", "/style.css", "/stream"} <= {part.path for part in asked}
            documents = [r for r in stage.page.responses if r["url"] == stage.url]
            policy = {k.lower(): v for k, v in documents[0]["headers"].items()}["content-security-policy"]
            assert "default-src 'self'" in policy
            blocked = await stage.page.evaluate("fetch('http://127.0.0.2:9/').then(() => 'went', () => 'stopped')")
            assert blocked == "stopped"
            assert any("Content Security Policy" in error for error in stage.page.errors)
            stage.page.errors.clear()

    in_browser(test)
