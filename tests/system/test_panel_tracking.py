"""Tracking inputs on the page: what is heard of them, who steers, and an input's frame from marks."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from pathlib import Path

import pytest

from bridge.daemon.input_report import InputRow, PointTold
from bridge.geometry.input_frame import InputFrame, Recorded
from bridge.show.model import Show
from bridge.wire.settings import InputSettings
from tests.system.axe import violations
from tests.system.chromium import CHROMIUM, Page
from tests.system.page_looks import looks
from tests.system.panel_shows import SHOWS
from tests.system.running import until
from tests.system.stand_in_bridge import StandInBridge, told_panel
from tests.system.test_panel_desk import aimed, asked
from tests.system.view_stage import in_browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

SIZES = [(390, 844), (820, 1180), (1280, 800), (1920, 1080)]
INPUTS = {"tags": InputSettings("otp"), "stage": InputSettings("psn"), "sound": InputSettings("adm-osc")}
RECORDS = tuple(Recorded(mark, "1/7", at, 0.004) for mark, at in (("A", (-5.5, 0.5, 1.1)), ("B", (5.5, 0.53, 1.1))))
FRAME = InputFrame(sigma=0.04, recorded=RECORDS)
ROWS = [
    InputRow("tags", "otp", 3, 60.2, 0.4, 12.0, True, "1/7 1/8", "1/8", 0),
    InputRow("stage", "psn", 2, 30.0, 2.25, 33.0, False, "", "", 12),
    InputRow("sound", "adm-osc", 0, 0.0, 0.0, -1.0, False, "", "", 0),
]
POINTS = [PointTold("tags", f"1/{n}", 1.0, 2.0, 1.1, 60.2, 12.0) for n in (10, 7, 9)]
TABLE = "document.querySelector('[aria-label=\"Tracking inputs\"]')"
CELLS = f"[...{TABLE}.tBodies[0].rows].map((row) => [...row.cells].map((c) => c.innerText.replace(/\\s/g, ' ')))"
SHAPES = f"[...{TABLE}.tBodies[0].rows].map((row) => [...row.cells].map((c) => c.dataset.shape ?? ''))"
TOLD = "document.querySelector('.f-lines').innerText"
LIVE = "document.querySelectorAll('.f-state-of')[1].innerText.trim().replace(/\\s/g, ' ')"
LAST = {
    "Rig": f"{TABLE}.scrollIntoView({{block: 'center'}})",
    "Focus session": "document.querySelector('.f-part').scrollTo(0, 9999)",
}
FIRST = {
    "Rig": "document.querySelector('.switches').scrollIntoView()",
    "Focus session": "document.querySelector('.f-part').scrollTo(0, 0)",
}
PLAN = """(() => { const box = document.querySelector('[data-plan]').getBoundingClientRect();
  return [box.left, box.top, box.width, box.height]; })()"""
Part = Callable[[StandInBridge, Page], Awaitable[None]]


def tracked(tmp_path: Path, part: Part, show: str = "demo", inputs: bool = True) -> None:
    """Run a part of a test on a page of a show that has three tracking inputs, `tags` with a frame; or none."""
    staged = SHOWS[show](tmp_path / "show", 1)
    network = replace(staged.show.network, inputs=INPUTS if inputs else {})
    changed: Show = replace(staged.show, network=network, frames={"tags": FRAME} if inputs else {})

    async def test() -> None:
        async with told_panel(staged.folder, changed, aimed(changed)) as (bridge, page):
            if inputs:
                bridge.inputs, bridge.points = list(ROWS), list(POINTS)
            await part(bridge, page)
            assert page.errors == []

    in_browser(test)


async def the_rig(bridge: StandInBridge, page: Page) -> None:
    await page.click_named("tab", "Rig")
    await page.until(f"{TABLE}?.rows.length === 4 && {TABLE}.innerText.includes('tags (otp)')")
    rows, shapes = await page.evaluate(CELLS), await page.evaluate(SHAPES)
    assert rows[0] == ["tags (otp)", "12 ms, 60 Hz, jitter 0.4 ms", "3 heard; lost: 1/8", "has a frame", "0"]
    assert rows[1][2:] == ["2 heard; none followed", "no frame: heard, not followed", "12"]
    assert rows[2][:2] == ["sound (adm-osc)", "never"]
    assert shapes[0] == ["", "dot", "triangle", "dot", ""]
    assert shapes[1] == ["", "dot", "ring", "triangle", "triangle"]
    bridge.inputs[0] = ROWS[0]._replace(points=0, age_ms=9000.0, lost="1/7 1/8")
    await page.until(f"{CELLS}[0][1] === 'lost, 9 s ago' && {SHAPES}[0][1] === 'triangle'")
    assert (await page.evaluate(CELLS))[0][2] == "0 heard; lost: 1/7, 1/8"


async def who_steers(bridge: StandInBridge, page: Page) -> None:
    whose = "document.querySelector('.whose')"
    bridge.hand, bridge.ahead = "input tags", (0.9, 3.0, 1.3)
    await page.until(f"{whose}.innerText.trim() === 'Tracked by tags' && {whose}.dataset.shape === 'diamond'")
    await page.until("panel.store.target('lead').ahead?.[0] === 0.9")
    assert await page.evaluate("document.querySelector('.rule').innerText") == "tags tracks lead"
    for name in ("Level", "Spot size", "Height"):
        slider = await page.named("slider", name)
        assert await slider.apply("function () { return this.disabled || Boolean(this.closest('[inert]')); }") is False
    await page.evaluate(
        "(panel.controls.size.range.value = '3', panel.controls.size.range.dispatchEvent(new Event('input')))"
    )
    await page.click_named("button", "Take")
    text = await page.evaluate("document.querySelector('dialog[open]').innerText")
    assert "tags tracks lead. Take it? tags tracks it again soon after you let go." in text
    await page.click_named("button", "Take it")
    bridge.hand = "operator@127.0.0.1"
    await page.until(f"{whose}.innerText.trim() === 'Your hand'")
    words = lambda: [address for address, *_ in asked(bridge)][:2]  # noqa: E731
    await until(lambda: len(words()) == 2, 10.0, lambda: str(words()))
    assert words() == ["/target/lead/size", "/target/lead/take"]
    bridge.hand = "input tags@127.0.0.1"
    await page.until(f'{whose}.innerText.trim() === "input tags\'s hand"', 5.0)


async def a_tap_is_said_again(bridge: StandInBridge, page: Page) -> None:
    """A far jump in a stream is taken only once a second position confirms it; then it is said that it stands."""
    for name, row in bridge.heads.items():
        bridge.heads[name] = ("dark", *row[1:3], 0.0)
    await page.until("panel.hand.jumps")
    left, top, width, height = await page.evaluate(PLAN)
    await page.evaluate(
        "(window.at = [], panel.link.osc = (...said) => window.at.push([performance.now(), ...said]), 1)"
    )
    await page.click_at((left + width / 3, top + height / 3), "touch")
    await page.until("window.at.filter(([, address]) => address.endsWith('/position')).length >= 3", 3.0)
    said = [one for one in await page.evaluate("window.at") if one[1] == "/target/lead/position"]
    assert all(one[2:] == said[0][2:] for one in said)
    assert said[1][0] - said[0][0] < 200.0
    await page.until("window.at.some(([, address]) => address.endsWith('/alive'))", 3.0)
    told = [address for _, address, *_ in await page.evaluate("window.at")]
    assert told[: told.index("/target/lead/alive")] == ["/target/lead/position"] * told.index("/target/lead/alive")


async def a_frame(bridge: StandInBridge, page: Page) -> None:
    await page.click_named("tab", "Focus session")
    await page.click_named("button", "Choose")
    await page.click_named("button", "Frame of an input")
    for name in ("Record", "Near", "Solve"):
        assert await page.all_named("button", name) == [], "of heads"
    await page.until(f"{LIVE} === '1/7 stands still: 1.00 2.00 1.10 in its own axes, 60 Hz'")
    names = "[...document.querySelector('[aria-label=Point]').options].map((o) => o.value).join()"
    assert await page.evaluate(names) == "1/7,1/9,1/10"
    kept = "document.querySelector('[aria-label=\"Kept on marks\"]').innerText.replace(/\\s+/g, ' ')"
    assert "A 1/7 0.0 cm Drop B 1/7 3.0 cm Drop" in await page.evaluate(kept)
    state = await page.evaluate("document.querySelector('.f-state-of').innerText.trim()")
    assert state == "tags (otp) has a frame, places good to 4.0 cm."
    bridge.points = [one._replace(x=one.x + 0.5) for one in POINTS]
    await page.until(f"{LIVE}.startsWith('1/7 moves: 1.50')")
    bridge.points = []
    await page.until(f"{LIVE} === '1/7 is not heard: is its tag on?'", 8.0)
    bridge.points = list(POINTS)
    await page.until(f"{LIVE}.startsWith('1/7 stands still')", 8.0)
    mark = "document.querySelector('[aria-label=Mark]')"
    await page.evaluate("(panel.focusSession.chooseMark('B'), 1)")
    assert await page.evaluate(f"{mark}.value") == "B", "as a tap on the plan does"
    await page.evaluate(f"({mark}.value = 'C', {mark}.dispatchEvent(new Event('change')))")
    assert await page.evaluate("panel.focusSession.mark") == "C"
    await page.click_named("button", "Keep point on mark")
    bridge.feed.event("/feed/frame", "tags", "recorded", "C: 1/7 at 1 2 1.1; recorded: A, B, C")
    await page.until(f"{TOLD} === 'Kept: C: 1/7 at 1 2 1.1; recorded: A, B, C'")
    await page.click_named("button", "Solve frame")
    bridge.feed.event("/feed/frame", "tags", "warning", "B may be C")
    bridge.feed.event("/feed/frame", "tags", "doubted", "NOT TAKEN")
    bridge.feed.event("/feed/frame", "stage", "solved", "of another input")
    await page.until(f"{TOLD}.includes('Not taken: NOT TAKEN')")
    assert await page.evaluate("[...document.querySelectorAll('.f-lines p')].map((p) => p.dataset.how)") == [
        "bad",
        "bad",
    ]
    await page.click_named("button", "Drop what is kept on B")
    bridge.feed.refused("127.0.0.1", "/frame/tags/forget", "range", "no record on B", 1.0, "operator@127.0.0.1")
    await page.until(f"{TOLD} === 'no record on B'")
    await page.click_named("button", "Forget frame")
    await page.click_named("button", "Forget it")
    await page.until(f"{TOLD}.includes('No answer from the bridge')", 9.0)
    frames = lambda: [one for one in asked(bridge) if str(one[0]).startswith("/frame")]  # noqa: E731
    await until(lambda: len(frames()) == 4, 10.0, lambda: str(frames()))
    assert frames() == [
        ("/frame/tags/record", "C", "1/7"),
        ("/frame/tags/solve",),
        ("/frame/tags/forget", "B"),
        ("/frame/tags/forget",),
    ]
    await page.click_named("button", "Aim")
    assert len(await page.all_named("button", "Record")) == 1


@pytest.mark.parametrize("part", [the_rig, who_steers, a_tap_is_said_again, a_frame])
def test_tracking_inputs_on_the_page(tmp_path: Path, part: Part) -> None:
    tracked(tmp_path, part)


def test_without_inputs_nothing_of_it_is_shown(tmp_path: Path) -> None:
    async def part(bridge: StandInBridge, page: Page) -> None:
        await page.click_named("tab", "Rig")
        await page.until("document.querySelector('[aria-label=\"Counters\"]').rows.length > 3")
        assert await page.evaluate(f"{TABLE}.checkVisibility()") is False
        await page.click_named("tab", "Focus session")
        await page.click_named("button", "Choose")
        assert await page.all_named("button", "Frame of an input") == []

    tracked(tmp_path, part, inputs=False)


@pytest.mark.parametrize("show", ["demo", "many"])
def test_every_size_is_whole_and_free_of_barriers(tmp_path: Path, show: str) -> None:
    async def part(bridge: StandInBridge, page: Page) -> None:
        bridge.hand, bridge.ahead = "input tags", (1.1, 3.3, 1.3)
        await page.click_named("tab", "Focus session")
        await page.click_named("button", "Choose")
        await page.click_named("button", "Frame of an input")
        await page.until(f"{LIVE}.includes('stands still')")
        text = "places good to 5 cm (95 %, worst corner); cm off: A 1.2, B 0.4, C 2.2, D 1.4"
        bridge.feed.event("/feed/frame", "tags", "solved", text)
        wrong: list[str] = []
        for width, height in SIZES:
            await page.resize(width, height)
            for tab in ("Follow", "Rig", "Focus session"):
                await page.click_named("tab", tab)
                await page.until(f"innerWidth === {width}")
                await page.screenshot(tmp_path / f"{tab}-{width}x{height}.png")
                seen = [*await violations(page), *await looks(page, 24 if tab == "Rig" else 48)]
                wrong += [f"{tab} {width} x {height}: {one}" for one in seen]
                if tab != "Follow":
                    await page.evaluate(LAST[tab])
                    await page.screenshot(tmp_path / f"{tab}-below-{width}x{height}.png")
                    await page.evaluate(FIRST[tab])
        assert wrong == []

    tracked(tmp_path, part, show)
