"""Beside a desk: who has which head, given and taken back by hand on Follow; what is heard of the desk on Rig."""

from __future__ import annotations

import asyncio
import math
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bridge.daemon.status import DeskRow
from bridge.door.door import make
from bridge.show.load import load
from bridge.show.model import Show
from bridge.venue.desk_file import load_desk
from bridge.venue.desk_sender import DeskSender
from bridge.wire.settings import DeskGuide, DeskSettings
from tests.system import panel_shows
from tests.system.axe import violations
from tests.system.chromium import CHROMIUM, Page
from tests.system.page_looks import looks
from tests.system.panel_shows import SHOWS, StagedShow
from tests.system.panel_stage import PanelStage, on_stage
from tests.system.stand_in_bridge import HeadRow, StandInBridge, told_panel
from tests.system.view_stage import in_browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

SIZES = [(390, 844), (820, 1180), (1280, 800), (1920, 1080)]
TABLE = "document.querySelector('[aria-label=\"Desk\"]')"
WHO = "document.querySelector('.who-has')?.textContent"
Part = Callable[[StandInBridge, Page, Show], Awaitable[None]]


def aimed(show: Show) -> dict[str, HeadRow]:
    """Where its heads point with a performer near the middle, by the engine itself."""
    engine = make(show).engine
    engine.place.targets[0].put(0.5, 3.0, None, 0.0)
    frames = [engine.tick(0.02 * n) for n in range(400)]
    pan, tilt = np.degrees(frames[-1].pan_rad).tolist(), np.degrees(frames[-1].tilt_rad).tolist()
    return {name: ("lit", pan[n], tilt[n], 0.8) for n, name in enumerate(engine.rig.names)}


def beside_a_desk(tmp_path: Path, part: Part, show: str = "demo", desk: bool = True) -> None:
    """Run a part of a test on a page of a show that has a desk, or none."""
    staged = SHOWS[show](tmp_path / "show", 1)
    universes = sorted({fixture.universe for fixture in staged.show.fixtures})
    guide = DeskGuide(staged.show.fixtures[0].name, staged.show.stage.targets[0].name)
    settings = DeskSettings("overlay", {one: 100 + one for one in universes}, guide=guide) if desk else None
    changed = replace(staged.show, network=replace(staged.show.network, desk=settings))

    async def test() -> None:
        async with told_panel(staged.folder, changed, aimed(changed)) as (bridge, page):
            await part(bridge, page, changed)
            assert page.errors == []

    in_browser(test)


def asked(bridge: StandInBridge) -> list[tuple[object, ...]]:
    return [(message.address, *message.args) for message in bridge.asked]


async def one_head(bridge: StandInBridge, page: Page, show: Show) -> None:
    name = show.fixtures[2].name
    await page.click_named("button", f"Desk {name}")
    await page.until(f'document.querySelector(\'[data-head="{name}"] .word\').textContent === "Desk\'s, not guarded"')
    assert (
        await (await page.named("button", f"Desk {name}")).apply("function () { return this.ariaPressed; }") == "true"
    )
    shape = f"document.querySelector('[data-head=\"{name}\"] .state').dataset.shape"
    assert await page.evaluate(shape) == "diamond", "another shape than any state of ours"
    await page.click_named("button", f"Desk {name}")
    await page.until(f"document.querySelector('[data-head=\"{name}\"] .word').textContent === 'Lit'")
    assert asked(bridge) == [(f"/fixture/{name}/desk", 1), (f"/fixture/{name}/desk", 0)]


async def all_heads(bridge: StandInBridge, page: Page, show: Show) -> None:
    await page.click_named("button", "All to desk")
    await page.until("document.querySelector('#says').textContent.includes('not guarded by areas')")
    assert asked(bridge) == [], "asked first"
    await page.click_named("button", "All to desk")
    await page.until("panel.store.frame.heads.every((head) => head.desk)")
    await page.click_named("button", "All back")
    await page.until("panel.store.frame.heads.every((head) => !head.desk)")
    assert asked(bridge) == [("/desk", 1), ("/desk", 0)]
    await page.evaluate("document.activeElement.blur()")
    await page.key("g")
    await page.key("r")
    await page.key("g")
    await page.key("g")
    await page.until("panel.store.frame.heads.every((head) => head.desk)")
    assert asked(bridge)[2:] == [("/desk", 0), ("/desk", 1)], "what takes them back forgets that it was asked"


async def the_rig(bridge: StandInBridge, page: Page, show: Show) -> None:
    names = [fixture.name for fixture in show.fixtures]
    bridge.desk = [
        DeskRow(60, "", 0, False, math.inf),
        DeskRow(101, "Desk, main", 100, True, 0.012),
        DeskRow(102, "Desk, main", 100, False, 7.0),
    ]
    await page.click_named("tab", "Rig")
    await page.until(f"{TABLE}?.rows.length === 4 && {WHO}", 10.0)
    await page.until(f"{TABLE}.innerText.includes('12 ms')")
    rows = await page.evaluate(f"[...{TABLE}.tBodies[0].rows].map((row) => [...row.cells].map((c) => c.innerText))")
    assert rows[0] == ["60", "none", "none", "", "never"]
    assert rows[1] == ["101", "1", "Desk, main", "100", "12 ms"]
    assert rows[2] == ["102", "2", "Desk, main", "100", "lost, 7 s ago"]
    shapes = f"[...{TABLE}.tBodies[0].rows].map((row) => row.lastChild.dataset.shape)"
    assert await page.evaluate(shapes) == ["ring", "dot", "triangle"]
    assert await page.evaluate(WHO) == f"Ours: all {len(names)}."
    for name in (names[0], names[2]):
        bridge.give(name, True)
    await page.until(f"{WHO} === {f'Desk: {names[0]}, {names[2]}. Ours: the other {len(names) - 2}.'!r}")
    for name in names[:-1]:
        bridge.give(name, True)
    await page.until(f"{WHO} === {f'Desk: the other {len(names) - 1}. Ours: {names[-1]}.'!r}")
    bridge.give(names[-1], True)
    await page.until(f"{WHO} === 'Desk: all {len(names)}.'")
    told = await page.evaluate("document.querySelector('.who-has').nextSibling.textContent")
    assert told == f"What the desk has is not guarded by areas. Its pan and tilt of {names[0]} steer lead."


async def refusals(bridge: StandInBridge, page: Page, show: Show) -> None:
    bridge.feed.refused("desk", "/target/lead/size", "other-sender", "steered by Ann", 1.0, "desk")
    await page.click_named("tab", "Rig")
    await page.until("document.querySelector('.newslist').innerText.includes('size: steered by Ann')")
    said = await page.evaluate("document.querySelector('#says').textContent")
    assert "Ann" not in said, "a fader that moves must not cover the stage with sentences"


async def without_a_desk(bridge: StandInBridge, page: Page, show: Show) -> None:
    assert await page.all_named("button", "All to desk") == []
    assert await page.all_named("button", f"Desk {show.fixtures[0].name}") == []
    await page.evaluate("document.activeElement.blur()")
    await page.key("g")
    await page.until("document.querySelector('#says').textContent.includes('has no desk')")
    await page.click_named("tab", "Rig")
    await page.until("document.querySelector('[aria-label=\"Counters\"]').rows.length > 3")
    assert await page.evaluate(f"{TABLE}.checkVisibility()") is False
    assert asked(bridge) == []


@pytest.mark.parametrize("part", [one_head, all_heads, the_rig, refusals])
def test_beside_a_desk(tmp_path: Path, part: Part) -> None:
    beside_a_desk(tmp_path, part)


def test_without_a_desk_nothing_of_it_is_shown(tmp_path: Path) -> None:
    beside_a_desk(tmp_path, without_a_desk, desk=False)


@pytest.mark.parametrize("show", ["demo", "many"])
def test_every_size_is_whole_and_free_of_barriers(tmp_path: Path, show: str) -> None:
    async def part(bridge: StandInBridge, page: Page, show: Show) -> None:
        universes = sorted({fixture.universe for fixture in show.fixtures})
        bridge.desk = [DeskRow(100 + one, "Desk, main", 100, True, 0.012) for one in universes]
        bridge.desk.append(DeskRow(60, "", 0, False, math.inf))
        for fixture in show.fixtures[::3]:
            bridge.give(fixture.name, True)
        for width, height in SIZES:
            await page.resize(width, height)
            for tab in ("Follow", "Rig"):
                await page.click_named("tab", tab)
                await page.until(f"innerWidth === {width}")
                await page.evaluate("document.querySelector('.side').scrollTo(0, 420)")
                await page.screenshot(tmp_path / f"{tab}-{width}x{height}.png")
                assert await violations(page) == []
                assert await looks(page, 24 if tab == "Rig" else 48) == [], f"{tab} {width} x {height}"

    beside_a_desk(tmp_path, part, show)


# With a real daemon, a desk that sends, and a venue that measures

FIRST = 30260
CONTROLS = f"{FIRST + 200}"
LOOKS = """version: 1
looks:
  all:
    fixtures: {{"*": {{7: 255, 13: 255, 21: 255, 22: 255, 23: 255, dimmer: 1.0, pan: 20, tilt: 30}}}}
    slots: {{{at}.1: 51}}
cues: [{{at: 0, look: all}}]
"""


def desked(folder: Path, first_universe: int, solved: bool = True) -> StagedShow:
    """The demo's heads beside a desk, which sends a hundred universes higher and sets the size of the spot."""
    staged = SHOWS["demo"](folder, first_universe, solved)
    universes = {one: one + 100 for one in sorted({fixture.universe for fixture in staged.show.fixtures})}
    control = f"{{slots: [{CONTROLS}.1], to: /target/lead/size, from: [1.0], until: [6.0]}}"
    with (folder / "network.yaml").open("a", encoding="utf-8") as network:
        network.write(f"desk: {{universes: {universes}, controls: [{control}]}}\n")
    return replace(staged, show=load(folder))


@asynccontextmanager
async def desk_sends(stage: PanelStage, folder: Path) -> AsyncIterator[DeskSender]:
    """A desk that lights every head white at pan 20, tilt 30, until the end of the block."""
    cues = folder / "cues.yaml"
    cues.write_text(LOOKS.format(at=CONTROLS))
    sender = DeskSender(load_desk(cues, stage.staged.show), "127.0.0.1")
    loop = asyncio.get_running_loop()

    async def play() -> None:
        while True:
            sender.tick(loop.time())
            await asyncio.sleep(0.005)

    playing = asyncio.create_task(play())
    try:
        yield sender
    finally:
        playing.cancel()
        await asyncio.gather(playing, return_exceptions=True)
        sender.close()


def test_a_head_goes_into_the_desks_hands_and_back_by_hand(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(panel_shows.SHOWS, "desked", desked)

    async def test(stage: PanelStage) -> None:
        page = stage.page
        async with desk_sends(stage, tmp_path):
            stage.say("/target/lead/position", 1.0, 3.0)
            await stage.lit_at(1.0, 3.0, within_s=20.0)
            await page.until("Math.abs(panel.store.target('lead').size - 2) < 0.001")
            await page.click_named("button", "Desk foh-1")
            word = "document.querySelector('[data-head=\"foh-1\"] .word').textContent"
            await page.until(f'{word} === "Desk\'s, not guarded"', 15.0)
            desks = lambda: {name for name, off in stage.misses(1.0, 3.0).items() if off > 1.0}  # noqa: E731
            await stage.until(lambda: desks() == {"foh-1"}, 10.0, lambda: str(stage.misses(1.0, 3.0)))
            assert "12 of 12 lit" in await page.evaluate("document.querySelector('.list-head').innerText")
            await page.click_named("tab", "Rig")
            await page.until(f"{WHO} === 'Desk: foh-1. Ours: the other 11.'")
            rows = f"[...{TABLE}.tBodies[0].rows].map((row) => row.cells[2].innerText + row.cells[4].dataset.shape)"
            await page.until(f"{rows}.join() === Array(3).fill('Harbour Hall deskdot').join()")
            await page.click_named("tab", "Follow")
            await page.click_named("button", "Desk foh-1")
            await stage.lit_at(1.0, 3.0, within_s=15.0)
        await page.click_named("tab", "Rig")
        await page.until(f"{TABLE}.innerText.includes('lost')")
        await stage.lit_at(1.0, 3.0)
        assert page.errors == []

    on_stage(tmp_path, test, show="desked", universe=FIRST)
