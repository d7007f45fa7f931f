"""The venue's page in a real headless Chromium: what is seen, what hands do, and what leaves the machine.

One browser per test, frames made up by `made_venue`. The pictures are judged by counts of pixels; a person has
to look at them too: set TETHERLIGHT_SHOTS to a folder to keep them.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import cv2
import numpy as np
import pytest
from scipy.spatial import ConvexHull
from shapely import Polygon

from bridge.venue.view import View
from tests.system import made_venue
from tests.system.chromium import CHROMIUM, Page, chromium

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
SHOTS = os.environ.get("TETHERLIGHT_SHOTS")
TEST_S = 120


@dataclass
class Stage:
    """A page, the view that feeds it, and the made-up venue behind it."""

    page: Page
    view: View
    url: str
    scene: dict[str, Any]
    frames: list[dict[str, Any]] = field(default_factory=list)
    feeder: asyncio.Task[None] | None = None

    def feed(self, rate_hz: float = 30.0) -> None:
        """Publish the frames over and over until stopped."""

        async def whole() -> None:
            loop = asyncio.get_running_loop()
            began, sent = loop.time(), 0
            while True:
                await self.view.publish(self.frames[sent % len(self.frames)])
                sent += 1
                await asyncio.sleep(max(0.0, began + sent / rate_hz - loop.time()))

        self.feeder = asyncio.create_task(whole())

    async def pause(self) -> None:
        if self.feeder is not None:
            self.feeder.cancel()
            await asyncio.gather(self.feeder, return_exceptions=True)
            self.feeder = None

    async def show(self, index: int) -> None:
        """Publish one frame and wait until the page has drawn it."""
        before = await self.page.evaluate("venue.state.pictures")
        await self.view.publish(self.frames[index])
        await self.page.until(f"venue.state.pictures > {before} && !venue.state.dirty && !venue.drawing.turn")

    async def picture(self, name: str = "") -> np.ndarray:
        """What is seen of the drawing, its buttons left out: (height, width, 3)."""
        path = Path(SHOTS) / f"{name}.png" if SHOTS and name else None
        image = await self.page.screenshot(path)
        left, top, right, bottom = await self.page.box("#drawing")
        return image[top : bottom - 80, left:right].astype(int)


@asynccontextmanager
async def staged(
    heads: int = 12, size: tuple[int, int] = (1280, 800), touch: bool = False, calm: bool = True
) -> AsyncIterator[Stage]:
    """A page that shows the first frame."""
    scene = made_venue.scene(heads)
    view = View("127.0.0.1", 0, scene)
    url = await view.start()
    try:
        async with chromium(*(["--force-prefers-reduced-motion"] if calm else [])) as browser:
            page = await browser.open(url, *size, touch=touch)
            frames = [made_venue.frame(scene, k / made_venue.FRAME_RATE) for k in range(150)]
            stage = Stage(page, view, url, scene, frames)
            await page.until("venue.state.scene")
            await stage.show(0)
            try:
                yield stage
            finally:
                await stage.pause()
            assert page.errors == []
    finally:
        await view.stop()


def in_browser(test: Callable[[], Awaitable[None]]) -> None:
    async def whole() -> None:
        await test()

    asyncio.run(asyncio.wait_for(whole(), TEST_S))


def bright(image: np.ndarray) -> int:
    return int((image.max(axis=2) > 90).sum())


def changed(first: np.ndarray, second: np.ndarray) -> float:
    """Share of the pixels that differ by more than noise."""
    return float((np.abs(first - second).max(axis=2) > 12).mean())


@pytest.mark.parametrize(("heads", "size"), [(12, (1280, 800)), (48, (1280, 800)), (48, (820, 1180))])
def test_draws_beams_in_the_dark(heads: int, size: tuple[int, int]) -> None:
    async def test() -> None:
        async with staged(heads, size) as stage:
            image = await stage.picture(f"free-{heads}-{size[0]}")
            dark = (image.max(axis=2) < 40).mean()
            warm = ((image[:, :, 0] > image[:, :, 2] + 15) & (image[:, :, 0] > 60)).mean()
            assert bright(image) > 8_000
            assert dark > 0.3, "the room should stay dark"
            assert warm > 0.03, "the light should be warm"
            assert await stage.page.evaluate("document.title") == "Harbour Hall: simulated venue"

    in_browser(test)


def test_light_goes_when_the_heads_go_dark() -> None:
    """The bright pixels are the beams and not the paint round them."""

    async def test() -> None:
        async with staged(48) as stage:
            lit = bright(await stage.picture())
            black = {
                **stage.frames[0],
                "heads": [{**h, "level": 0.0, "ellipse": None} for h in stage.frames[0]["heads"]],
            }
            stage.frames.append(black)
            await stage.show(len(stage.frames) - 1)
            assert bright(await stage.picture("black")) < lit / 2
            values = await stage.page.evaluate("[...document.querySelectorAll('.head .value')].map((v) => v.innerText)")
            await stage.page.until("document.getElementById('lit').innerText === '0 of 48'")
            assert len(values) == 48

    in_browser(test)


def test_moves_as_frames_come_and_rests_as_they_stay() -> None:
    async def test() -> None:
        async with staged() as stage:
            first = await stage.picture()
            await stage.show(0)
            assert changed(first, await stage.picture()) < 0.002
            await stage.show(60)
            assert changed(first, await stage.picture()) > 0.02

    in_browser(test)


def test_three_views_are_three_pictures_of_one_drawing() -> None:
    async def test() -> None:
        async with staged() as stage:
            seen = {}
            for name in ("plan", "section", "free"):
                await stage.page.click(f"[data-view={name}]")
                await stage.page.until("!venue.state.dirty && !venue.drawing.turn")
                seen[name] = await stage.picture(f"view-{name}")
                pressed = "document.querySelector('[data-view][aria-pressed=true]').dataset.view"
                assert await stage.page.evaluate(pressed) == name
                assert bright(seen[name]) > 5_000
            assert changed(seen["plan"], seen["section"]) > 0.05
            assert changed(seen["plan"], seen["free"]) > 0.05
            assert changed(seen["section"], seen["free"]) > 0.05

    in_browser(test)


TO_SCALE = [
    ("plan", [1, 0, 0], (1, 0)),  # x to the right as the audience sees it
    ("plan", [0, 1, 0], (0, -1)),  # upstage is up on the screen (pixels count downwards)
    ("plan", [0, 0, 1], (0, 0)),
    ("section", [0, 1, 0], (1, 0)),  # audience on the left, upstage on the right
    ("section", [0, 0, 1], (0, -1)),
    ("section", [1, 0, 0], (0, 0)),
]


def test_plan_and_section_are_drawn_to_scale() -> None:
    """One metre along each axis of design/conventions.md, as a plan and a section show it."""

    async def test() -> None:
        async with staged() as stage:
            for view, one_metre, expected in TO_SCALE:
                await stage.page.click(f"[data-view={view}]")
                await stage.page.until("!venue.state.dirty && !venue.drawing.turn")
                camera = "venue.drawing.camera"
                a = np.array(await stage.page.evaluate(f"{camera}.project([0, 0, 0])"))
                b = np.array(await stage.page.evaluate(f"{camera}.project({one_metre})"))
                metre = await stage.page.evaluate(f"{camera}.pixels")
                assert b - a == pytest.approx(np.array(expected) * metre, abs=1e-6), (view, one_metre)
                assert metre > 20

    in_browser(test)


def test_perspective_is_that_of_a_pinhole_camera() -> None:
    """Against OpenCV's projectPoints, with the eye where the page says it stands."""

    async def test() -> None:
        async with staged() as stage:
            points = [[-4.0, -2.0, 0.0], [3.0, 5.0, 2.0], [0.0, 8.0, 7.0], [6.0, 0.5, 1.3], [-6.0, 7.0, 0.0]]
            camera = "venue.drawing.camera"
            drawn = await stage.page.evaluate(f"{points}.map((p) => {camera}.project(p))")
            names = ("right", "up", "back", "centre", "pixels", "fade", "width", "height")
            c = await stage.page.evaluate("((c) => ({" + ",".join(f"{n}: c.{n}" for n in names) + f"}}))({camera})")
            away = 1 / c["fade"]
            eye = np.array(c["centre"]) + away * np.array(c["back"])
            camera_from_stage = np.array([c["right"], -np.array(c["up"]), -np.array(c["back"])])
            assert np.linalg.det(camera_from_stage) == pytest.approx(1.0), "a mirrored stage would be drawn"
            turn, _ = cv2.Rodrigues(camera_from_stage)
            focal = c["pixels"] * away
            lens = np.array([[focal, 0, c["width"] / 2], [0, focal, c["height"] / 2], [0, 0, 1]])
            expected, _ = cv2.projectPoints(np.array(points), turn, -camera_from_stage @ eye, lens, None)
            assert np.array(drawn) == pytest.approx(expected[:, 0], abs=1e-6)

    in_browser(test)


def test_helpers_of_the_drawing_agree_with_reference_libraries() -> None:
    """Margin outlines against Shapely's buffer, silhouettes against SciPy's convex hull."""

    async def test() -> None:
        async with staged() as stage:
            await stage.page.evaluate("import('/vectors.js').then((m) => { window.vectors = m; })")
            for plan in (
                [[-6, 0], [6, 0], [6, 8], [-6, 8]],
                [[0, 0], [0, 5], [4, 6], [3, 3], [7, 2]],
                [[0, 0], [5, 0], [1, 4]],
            ):
                grown = await stage.page.evaluate(f"vectors.grow({plan}, 0.15)")
                expected = Polygon(plan).buffer(0.15, quad_segs=32)
                assert Polygon(grown).hausdorff_distance(expected) < 0.004
            points = np.random.default_rng(5).normal(size=(40, 2)) * 100
            hull = np.array(await stage.page.evaluate(f"vectors.hull({points.tolist()})"))
            expected = points[ConvexHull(points).vertices]
            assert sorted(hull.tolist()) == pytest.approx(np.array(sorted(expected.tolist())))

    in_browser(test)


def test_close_up_finds_the_height_that_the_beams_aim_at() -> None:
    async def test() -> None:
        async with staged() as stage:
            await stage.page.evaluate("import('/closeup.js').then((m) => { window.closeup = m; })")
            x, y, z = stage.frames[0]["performers"][0]["at"]
            found = await stage.page.evaluate("closeup.litPoint(venue.state.frame, venue.state.frame.performers[0])")
            assert found == pytest.approx([x, y, z + made_venue.LIT_HEIGHT_M], abs=0.051)

    in_browser(test)


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


def test_errors_are_read_out_in_centimetres_with_a_word_for_the_far_one() -> None:
    async def test() -> None:
        async with staged() as stage:
            frame = stage.frames[0]
            for i, error in ((0, 0.034), (1, 0.2), (2, 0.41), (3, 1.24), (4, 12.5)):
                frame["heads"][i]["error_m"] = error
            frame["heads"][5]["level"] = 0.0
            frame["heads"][6]["error_m"] = None
            await stage.page.evaluate("(venue.state.frame = null, 1)")
            await stage.show(0)
            read = (
                "[...document.querySelectorAll('.head')].map("
                "(h) => ['.name', '.value'].map((part) => h.querySelector(part).innerText))"
            )
            await stage.page.until(f"({read})[2][1] === '41 cm'")
            rows = await stage.page.evaluate(read)
            assert [value for _, value in rows[:7]] == ["3.4 cm", "20 cm", "41 cm", "124 cm", "12.5 m", "dark", "lit"]
            assert ["far" in name for name, _ in rows[:6]] == [False, False, True, True, True, False]
            shapes = await stage.page.evaluate(
                "[...document.querySelectorAll('.head svg path')].map((p) => p.getAttribute('d'))"
            )
            assert len({shapes[0], shapes[1], shapes[2], shapes[5], shapes[6]}) == 5, (
                "every grade has a shape of its own"
            )
            assert await stage.page.evaluate("document.getElementById('worst').innerText") == "12.5 m mid-1"

    in_browser(test)


def test_believed_beams_are_drawn_beside_the_truth_with_their_offset() -> None:
    async def test() -> None:
        async with staged() as stage:
            head = stage.frames[0]["heads"][0]
            x, y, z = head["hit"]
            head["solved"]["hit"] = [x + 0.3, y + 0.4, z]
            await stage.show(0)
            before = await stage.picture()
            await stage.page.click("#believe")
            await stage.page.until("document.querySelector('.head .extra').innerText === '\u25c7 50 cm'")
            await stage.page.until("!venue.state.dirty")
            after = await stage.picture("believed")
            fresh = (after[:, :, 1] > after[:, :, 0] + 15) & (after[:, :, 2] > after[:, :, 0] + 10)
            old = (before[:, :, 1] > before[:, :, 0] + 15) & (before[:, :, 2] > before[:, :, 0] + 10)
            assert fresh.sum() > old.sum() + 500, "the believed beams have a colour that nothing else has"
            await stage.page.click("#believe")
            await stage.page.until("document.querySelector('.head .extra').innerText === ''")

    in_browser(test)


def test_a_venue_without_solved_poses_and_with_beams_into_the_sky_is_drawn() -> None:
    async def test() -> None:
        async with staged() as stage:
            for head in stage.frames[1]["heads"]:
                head.update(hit=None, ellipse=None, dir=[0.0, 0.6, 0.8], error_m=None, solved=None)
            stage.frames[1]["performers"] = []
            await stage.page.click("#believe")
            await stage.show(1)
            assert bright(await stage.picture("sky")) > 2_000

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


@pytest.mark.parametrize("view", ["free", "plan", "section"])
def test_pictures_per_second_with_48_heads(view: str, record_property: Any, capsys: Any) -> None:
    """Printed, not judged: other work on this machine decides it as much as the page does."""

    async def test() -> None:
        async with staged(48) as stage:
            await stage.page.click(f"[data-view={view}]")
            stage.feed(60.0)
            await stage.page.until("venue.state.pictures > 40")
            clock = "[performance.now() / 1000, venue.state.pictures]"
            began, first = await stage.page.evaluate(clock)
            await stage.page.until(f"performance.now() / 1000 > {began + 3}")
            ended, last = await stage.page.evaluate(clock)
            rate = (last - first) / (ended - began)
            record_property("pictures_per_second", rate)
            with capsys.disabled():
                print(f"\n48 heads, {view}, software rendering, frames offered at 60/s: {rate:.1f} pictures/s")
            assert rate > 0

    in_browser(test)
