"""The hand on the target, with a real daemon, panel and Chromium: feed and venue's beams say where it went."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any

import pytest

from tests.system.chromium import CHROMIUM, Page
from tests.system.chromium_hands import Point, between
from tests.system.daemon_process import Client
from tests.system.panel_stage import PanelStage, on_stage

STALLED_MS = 90  # a page that a loaded machine held for longer does not make up for it with a leap
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")


@dataclass
class Hand:
    """A stage, and an ear for the daemon's feed."""

    stage: PanelStage
    client: Client

    async def told(self, seen: Callable[[float, float], bool], within_s: float = 8.0) -> Point:
        """The place of the first target of the daemon's own `/feed/target` for which `seen` holds."""
        last = (0.0, 0.0)

        def fits(row: Sequence[object]) -> bool:
            nonlocal last
            if row[0] == "lead":
                last = float(str(row[1])), float(str(row[2]))
            return row[0] == "lead" and seen(*last)

        try:
            self.client.drop_old()
            await asyncio.to_thread(self.client.event, "/feed/target", fits, 30.0, within_s)
        except AssertionError as error:
            sent = await self.stage.page.evaluate("[panel.hand.wanted, panel.hand.sent, panel.hand.holding]")
            raise AssertionError(f"{error}; last at {last}; the page's hand {sent}") from None
        return last

    async def now(self) -> Point:
        """Where the daemon says the target is, once nothing moves any more."""
        await asyncio.sleep(0.3)
        return await self.told(lambda x, y: True)

    async def dark(self) -> None:
        """No head of the crew gives light, and the page knows."""
        await self.stage.page.evaluate("panel.link.osc('/target/lead/level', 0)")
        await self.stage.page.until("panel.store.frame.targets[0].level === 0 && !panel.hand.lit")

    async def lit(self) -> None:
        """The crew gives light, and the page knows."""
        await self.stage.page.evaluate("panel.link.osc('/target/lead/level', 1)")
        await self.stage.page.until("panel.store.lit('lead')")


def with_hand(folder: Path, test: Callable[[PanelStage, Hand], Any], **how: Any) -> None:
    """Run a test's coroutine function on a stage of its own, with an ear for the feed."""

    async def whole(stage: PanelStage) -> None:
        client = Client(stage.staged.port)
        try:
            await test(stage, Hand(stage, client))
        finally:
            client.close()

    on_stage(folder, whole, **how)


def near(x: float, y: float, within_m: float = 0.06) -> Callable[[float, float], bool]:
    """Whether a place is as near as a pixel of the plan allows."""
    return lambda a, b: abs(a - x) <= within_m and abs(b - y) <= within_m


def test_in_the_dark_a_touch_jumps_and_in_the_light_it_drags_by_its_way(tmp_path: Path) -> None:
    async def test(stage: PanelStage, hand: Hand) -> None:
        await hand.dark()
        for pointer, x, y in (("mouse", 2.0, 3.0), ("touch", -3.0, 2.0), ("pen", 1.0, 6.0)):
            await stage.press_plan(x, y, pointer=pointer)  # type: ignore[arg-type]
            await hand.told(near(x, y))
        await stage.drag_plan((0.0, 2.0), (2.0, 4.0), pointer="touch")
        await hand.told(near(2.0, 4.0))

        await hand.lit()
        await stage.lit_at(2.0, 4.0)
        for pointer in ("mouse", "touch", "pen"):
            await stage.press_plan(-4.0, 1.0, pointer=pointer)  # type: ignore[arg-type]
        assert near(2.0, 4.0)(*await hand.now()), "a touch never throws the light"
        await stage.drag_plan((-4.0, 1.0), (-5.0, 3.0))
        await hand.told(near(1.0, 6.0))
        await stage.lit_at(1.0, 6.0)
        await stage.drag_plan((1.0, 6.0), (-2.0, 5.0), pointer="pen")
        await hand.told(near(-2.0, 5.0))

        await stage.page.evaluate("(panel.hand.relative = true, 1)")
        await hand.dark()
        await stage.press_plan(4.0, 1.0)
        assert near(-2.0, 5.0)(*await hand.now()), "always drag: not in the dark either"
        assert stage.page.errors == []

    with_hand(tmp_path, test, universe=30260)


def test_second_fingers_palms_and_the_other_button_steer_nothing(tmp_path: Path) -> None:
    async def test(stage: PanelStage, hand: Hand) -> None:
        page = stage.page
        await hand.dark()
        await stage.press_plan(0.0, 4.0)
        await hand.told(near(0.0, 4.0))

        view = await page.evaluate("({...panel.plan.view})")
        a, b = await stage.plan_at(-4.0, 2.0), await stage.plan_at(4.0, 6.0)
        await page.touch((a, (a[0] - 60, a[1] + 40)), (b, (b[0] + 60, b[1] - 40)))
        assert await page.evaluate("panel.plan.view.scale") > 1.1 * view["scale"], "two fingers zoom"
        assert near(0.0, 4.0)(*await hand.now()), "and steer nothing"
        await page.click_named("button", "Whole stage")
        assert await page.evaluate("({...panel.plan.view})") == view

        palm = {"x": a[0], "y": a[1], "id": 0, "radiusX": 60, "radiusY": 50}
        await page.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[palm])
        await asyncio.sleep(0.2)
        await page.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
        for kind, x, buttons in (
            ("mousePressed", a[0], 2),
            ("mouseMoved", a[0] + 50, 2),
            ("mouseReleased", a[0] + 50, 0),
        ):
            await page.call(
                "Input.dispatchMouseEvent", type=kind, x=x, y=a[1], button="right", buttons=buttons, clickCount=1
            )
        assert await page.evaluate("panel.plan.view.left") < view["left"] - 0.3, "the right button moves the picture"
        await page.call("Input.dispatchMouseEvent", type="mouseWheel", x=b[0], y=b[1], deltaX=0, deltaY=-200)
        await page.until(f"panel.plan.view.scale > {1.1 * view['scale']}")
        assert near(0.0, 4.0)(*await hand.now()), "none of these steers"
        await page.click_named("button", "Whole stage")

        await hand.lit()
        start, mid, end = [await stage.plan_at(*at) for at in ((0.0, 4.0), (1.0, 4.0), (3.0, 4.0))]
        await page.fingers("touchStart", [start])
        for at in between(start, mid, 6):
            await page.fingers("touchMove", [at])
        other = await stage.plan_at(-5.0, 1.0)
        await page.fingers("touchStart", [mid, other])
        for at in between(mid, end, 6):
            await page.fingers("touchMove", [at, other])
        await page.fingers("touchEnd", [])
        await hand.told(near(1.4, 4.0))
        assert await page.evaluate("panel.hand.fine") is False
        assert page.errors == []

    with_hand(tmp_path, test, universe=30262)


async def seat_at(page: Page, x: float, y: float, z: float = 0.0) -> Point:
    """Pixels of the page where a point of the stage is seen from the seat."""
    found = await page.evaluate(
        "(() => { const b = document.querySelector('[data-seat]').getBoundingClientRect();"
        f" const [x, y] = panel.seat.toPixels([{x}, {y}, {z}]); return [b.left + x, b.top + y]; }})()"
    )
    return float(found[0]), float(found[1])


def test_from_the_seat_the_pointer_means_the_floor(tmp_path: Path) -> None:
    async def test(stage: PanelStage, hand: Hand) -> None:
        page = stage.page
        await hand.dark()
        await page.click_named("button", "From my seat")
        await page.until("Boolean(document.querySelector('[data-seat]')?.offsetParent)")
        for x, y in ((2.0, 3.0), (-4.0, 1.0), (4.5, 7.0)):
            await page.click_at(await seat_at(page, x, y), "pen")
            await hand.told(near(x, y, 0.1))
        await page.click_at(await seat_at(page, 1.0, 6.5, 0.6))  # on the riser
        await hand.told(near(1.0, 6.5, 0.1))
        left, top, right, _ = await page.box("[data-seat]")
        await page.click_at(((left + right) / 2, top + 60))
        assert near(1.0, 6.5, 0.1)(*await hand.now()), "the sky is no floor"

        await page.click_at(await seat_at(page, 0.0, 2.0))
        await hand.told(near(0.0, 2.0, 0.1))
        await hand.lit()
        await page.click_at(await seat_at(page, 3.0, 4.0))
        assert near(0.0, 2.0, 0.1)(*await hand.now()), "lit, it does not jump"
        await page.drag(await seat_at(page, 0.0, 2.0), await seat_at(page, -3.0, 4.0), steps=20)
        await hand.told(near(-3.0, 4.0, 0.1))
        # a point is seen where a lens at the seat would show it: along the line of sight, whatever its distance
        eye = await page.evaluate("panel.seat.eye")
        on_the_way = [e + 0.5 * (p - e) for e, p in zip(eye, (2.0, 3.0, 1.0), strict=True)]
        assert await seat_at(page, *on_the_way) == pytest.approx(await seat_at(page, 2.0, 3.0, 1.0), abs=1e-6)

        await page.click_named("button", "Sit here")
        await page.click_at(await stage.plan_at(6.0, -9.0))
        await page.until("Math.abs(panel.seat.eye[0] - 6) < 0.1 && Math.abs(panel.seat.eye[1] + 9) < 0.1")
        assert near(-3.0, 4.0, 0.1)(*await hand.now()), "choosing a seat steers nothing"
        assert page.errors == []

    with_hand(tmp_path, test, show="many", universe=30264)


def test_a_tab_keeps_its_name_and_another_tab_is_somebody_else(tmp_path: Path) -> None:
    async def test(stage: PanelStage, _hand: Hand) -> None:
        page = stage.page
        await page.click(".me")
        await page.evaluate("document.getElementById('my-name').select()")
        await page.write("Bea")
        await page.key("Enter")
        await page.until("panel.store.me.name === 'Bea' && !document.querySelector('dialog[open]')")
        other = await stage.open()
        await other.until("panel.store.me.name === 'Bea 2'")
        await other.click(".me")
        assert "Also here: Bea" in await other.evaluate("document.querySelector('dialog[open]').innerText")
        await other.evaluate("document.getElementById('my-name').value = 'Cy@ho st '")
        await other.click_named("button", "Use this name")
        await other.until("panel.store.me.name === 'Cyho st'")
        for tab, name in ((page, "Bea"), (other, "Cyho st")):
            await tab.call("Page.reload")
            await tab.until(f"window.panel?.store.frame && panel.store.me.name === {name!r}")
            assert tab.errors == []

    with_hand(tmp_path, test, universe=30272)


def test_two_pages_are_two_hands_and_take_asks_once(tmp_path: Path) -> None:
    async def test(stage: PanelStage, hand: Hand) -> None:
        first = stage.page
        second = await stage.open("Ann")
        await second.until("panel.store.me.name === 'Ann'")
        await hand.dark()
        await stage.press_plan(2.0, 3.0)
        await second.until("panel.store.hand('lead') === 'operator'")
        assert "operator's hand" in await second.evaluate("document.querySelector('.whose').innerText")
        before = await second.evaluate("panel.hand.sent")
        for _ in range(2):
            await stage.press_plan(-3.0, 6.0, page=second)
        assert await second.evaluate("panel.hand.sent") == before, "what another steers is left alone"
        said = await second.evaluate("document.getElementById('says').innerText")
        assert said.count("operator steers lead") == 1
        await hand.told(near(2.0, 3.0))

        await second.click_named("button", "Take")
        assert "Take it?" in await second.evaluate("document.querySelector('dialog[open]').innerText")
        await second.key("Escape")
        await second.until("!document.querySelector('dialog[open]')")
        assert await first.evaluate("panel.hand.holding")
        await second.click_named("button", "Take")
        await second.click_named("button", "Take it")
        await first.until("panel.store.hand('lead') === 'Ann'")
        await stage.press_plan(-3.0, 6.0, page=second)
        await hand.told(near(-3.0, 6.0))
        assert await first.evaluate("[panel.hand.holding, panel.hand.mine]") == [False, False]
        await first.named("button", "Take")
        await second.click_named("button", "Let go")
        await first.until("panel.hand.mine", within_s=8)  # after lost_input
        assert [page.errors for page in stage.pages] == [[], []]

    with_hand(tmp_path, test, universe=30268)


RATE = """(() => { const sent = window.sent = [], osc = panel.link.osc.bind(panel.link);
  panel.link.osc = (address, ...args) => {
    sent.push([performance.now(), address.split('/').pop(), ...args]);
    return osc(address, ...args);
  }; })()"""
MANY = """(() => { const end = performance.now() + 500;
  while (performance.now() < end) panel.hand.place(Math.random(), 4); })()"""
HIDE = """(Object.defineProperty(document, 'hidden', { value: true, configurable: true }),
  document.dispatchEvent(new Event('visibilitychange')))"""


async def sent(page: Page, seconds: float, word: str) -> float:
    """How many messages of an address's last word go out in a second."""
    await page.evaluate("(window.sent.length = 0, 1)")
    took = await page.evaluate(
        f"new Promise((done) => {{ const t = performance.now();"
        f" setTimeout(() => done((performance.now() - t) / 1000), {1000 * seconds}); }})"
    )
    return float(await page.evaluate(f"window.sent.filter((s) => s[1] === {word!r}).length")) / float(took)


def test_sixty_a_second_while_active_twice_a_second_alive_and_ends(tmp_path: Path) -> None:
    async def test(stage: PanelStage, hand: Hand) -> None:
        page = stage.page
        await page.evaluate(RATE)
        assert await sent(page, 1.0, "position") + await sent(page, 1.0, "alive") == 0, "nobody steers yet"
        await page.evaluate("panel.hand.place(0, 4)")
        await hand.told(near(0.0, 4.0))
        await page.evaluate("panel.hand.push(1, 0)")
        assert await sent(page, 2.0, "position") <= 66
        await page.evaluate("panel.hand.push(0, 0)")
        steps: list[Any] = await page.evaluate(
            "window.sent.filter((s) => s[1] === 'position').map((s) => [s[0], s[2]])"
        )
        turns = [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(steps) if b[0] - a[0] < STALLED_MS]
        assert len(turns) > 30
        assert median(took_ms for took_ms, _ in turns) == pytest.approx(1000 / 60, abs=2.5)
        speed = 1000 * sum(way for _, way in turns) / sum(took_ms for took_ms, _ in turns)
        assert speed == pytest.approx(1.0, rel=0.05)
        assert 1.3 <= await sent(page, 3.0, "alive") <= 2.4
        assert await sent(page, 0.5, "position") == 0
        # however many events come, no more than 120 a second and a few at once
        await page.evaluate("(window.sent.length = 0, 1)")
        await page.evaluate(MANY)
        assert 50 <= await page.evaluate("window.sent.length") <= 66
        await page.evaluate("panel.hand.place(500, -500)")
        await hand.told(near(26.0, -20.0, 0.01))
        await page.evaluate("panel.link.socket.close()")
        await page.until("panel.hand.holding === false")
        await page.until("panel.link.open")
        assert await sent(page, 1.2, "alive") == 0, "a line that was cut ends it, and it does not go on by itself"
        await page.evaluate("panel.hand.place(1, 1)")
        assert await page.evaluate("panel.hand.holding") is True
        await page.evaluate(HIDE)
        assert await page.evaluate("panel.hand.holding") is False
        assert await sent(page, 1.2, "alive") == 0, "a page that nobody sees steers nothing"
        assert page.errors == []

    with_hand(tmp_path, test, universe=30270)
