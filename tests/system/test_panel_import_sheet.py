"""The sheet of an import by hand in a real browser, with a command and a bridge that say what the test wants."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from bridge.wire import osc
from tests.system.axe import violations
from tests.system.chromium import CHROMIUM, Page
from tests.system.import_stand_in import ImportPanel, import_page
from tests.system.page_looks import looks
from tests.system.stand_in_bridge import BRIDGE, StandInBridge

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
SIZES = [(390, 844), (820, 1180), (1280, 800), (1920, 1080)]
STATE = "(document.querySelector('.i-state')?.textContent ?? '')"
WHY = "document.querySelector('.i-why').textContent"
SHEET = "document.querySelector('#import')"
BEHIND = "(document.querySelectorAll('#strip, main, #says').forEach((e) => { e.inert = true; }), 1)"
"""What lies behind an open sheet is out of reach: said in a way that the checks of looks know."""


@pytest.fixture
def on_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    def run(test: Callable[[ImportPanel, StandInBridge, Page], Any], script: str = "asks") -> None:
        async def whole() -> None:
            async with import_page(tmp_path, monkeypatch, script) as (stage, bridge, page):
                await test(stage, bridge, page)
                assert page.errors == []

        asyncio.run(asyncio.wait_for(whole(), 120.0))

    return run


@pytest.fixture
def drawing(tmp_path: Path) -> str:
    file = tmp_path / "harbour-hall-autumn-plot-final-2.mvr"
    file.write_bytes(b"PK" * 300_000)
    return str(file)


async def looked(page: Page, file: str) -> None:
    await page.drop_file((600, 300), file)
    await page.until(f"{STATE}.includes('Nothing is changed yet')", 20.0)


async def disabled(page: Page, name: str) -> bool:
    return bool((await (await page.named("button", name)).states()).get("disabled"))


async def choose(page: Page, label: str, value: str) -> None:
    box = await page.named("combobox", label)
    await box.apply("function (v) { this.value = v; this.dispatchEvent(new Event('change')); }", value)


def test_a_file_over_the_screen_is_seen_and_only_the_rig_takes_it(on_page: Any, drawing: str) -> None:
    over = "!document.querySelector('.i-over').hidden"

    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await page.drag_file("dragEnter", (200, 200), drawing)
        await page.drag_file("dragOver", (200, 200), drawing)
        await page.until(over)
        words = await page.evaluate("document.querySelector('.i-over').innerText")
        assert "Drop to look at it: nothing changes yet" in words
        await page.until(f"!({over})", 3.0)  # dragged away again
        await page.click_named("tab", "Follow")
        await page.drop_file((400, 400), drawing)
        await asyncio.sleep(0.3)
        assert await page.evaluate(f"location.pathname === '/' && !{SHEET}"), "the page was not left for the file"
        assert stage.files == []

    on_page(test)


def test_questions_are_answered_then_it_is_taken_over_and_the_bridge_reads_it(on_page: Any, drawing: str) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await looked(page, drawing)
        assert await page.evaluate(WHY) == "Answer the questions first."
        assert await disabled(page, "Take it over")
        await page.click_named("button", "Standard 27 slots")
        await page.until(f"{STATE}.includes('42 changes, 2 questions open, 1 left out. Nothing is changed yet.')", 20.0)
        assert await (await page.named("button", "Standard 27 slots")).on(), "an answer can be seen and changed"
        await choose(page, "Column “Ch no”", "address")
        await page.until(f"{STATE}.includes('1 question open')", 20.0)
        await choose(page, "Profile of type “Old”", "spot-16bit")
        await page.until(f"{STATE}.includes('42 changes, 1 left out')", 20.0)
        words = await page.evaluate(f"{SHEET}.innerText")
        for said in (
            *("foh-1.at", "[1.2, 3.4, 8]", "[1.25, 3.4, 8.1]", "new head east-0 at 1/0", "rig.yaml: 1 changed, 40 new"),
            *("Show the other 33", "it has no pan and tilt", "Two heads share 1/23.", "Which way does pan turn?"),
            "Imported profiles are unproven: first light low, nobody under or in front of the heads.",
        ):
            assert said in words, said
        await page.click_named("button", "Take it over")
        await page.until(f"{STATE}.includes('Taken over: profiles/harbour-works-beacon-standard.yaml, rig.yaml')", 20.0)
        assert stage.said[0].startswith("import: operator took over harbour-hall-autumn-plot-final-2.mvr: 42 changes")
        assert stage.files == []
        await page.click_named("button", "Reload")
        await page.until(f"{STATE}.includes('The bridge reads the show')")
        await page.until(f"{STATE}.includes('Taken over:')", 20.0)  # this bridge says nothing to it
        assert "has not answered within 10 s" in await page.evaluate(f"{SHEET}.innerText")
        await page.click_named("button", "Reload")
        await page.until(f"{STATE}.includes('The bridge reads the show')")
        await asyncio.sleep(0.1)
        bridge.feed.send([osc.encode("/feed/reload", "done", "the show is read again")], bridge.feed.due(1e9))
        stage.asks._reload.heard_news({"what": "reload", "word": "done", "text": "the show is read again"})
        await page.until(f"{STATE}.includes('and the bridge goes by it')")
        await page.click_named("button", "Close")
        await page.until(f"!{SHEET}")
        assert await page.evaluate("document.activeElement.textContent") == "Import a file"
        assert [message.address for message in bridge.asked if message.address == "/reload"] == ["/reload"] * 2

    on_page(test)


def test_keys_alone_and_escape_leaves_everything_as_it_was(on_page: Any, drawing: str) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await page.give_file("input[type=file]", drawing)
        await page.until(f"{STATE}.includes('Nothing is changed yet')", 20.0)
        assert await page.evaluate("document.activeElement.textContent") == "Leave it"
        been = set()
        for _ in range(14):
            await page.key("Tab")
            been.add(
                await page.evaluate(
                    f"{SHEET}.contains(document.activeElement) || document.activeElement === document.body"
                )
            )
        assert been == {True}, "the keyboard stays in the sheet"
        mode = await page.named("button", "Compact 18 slots")
        await mode.focus()
        await page.key("Enter")
        await page.until(f"{STATE}.includes('42 changes')", 20.0)
        assert await page.evaluate("document.activeElement.textContent.startsWith('Compact')"), "and is where it was"
        await page.key("Escape")
        await page.until(f"!{SHEET}")
        assert await page.evaluate("document.activeElement.textContent") == "Import a file"
        end = asyncio.get_running_loop().time() + 5
        while stage.files:
            assert asyncio.get_running_loop().time() < end
            await asyncio.sleep(0.02)
        assert stage.said == []

    on_page(test)


def test_what_cannot_be_taken_over_is_said_in_the_programs_words(on_page: Any, tmp_path: Path) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        for name, body, words in (
            ("notes.pdf", b"x", "allowed are files that end in .gdtf, .mvr, .csv"),
            ("rig.csv", b"", "The file is empty"),
            ("rig.mvr", b"PK", "rig.mvr: is broken"),
        ):
            file = tmp_path / name
            file.write_bytes(body)
            await page.drop_file((600, 300), str(file))
            await page.until(f"{STATE}.includes('Nothing was taken over')", 20.0)
            assert words in await page.evaluate("document.querySelector('.i-no').textContent")
            assert await disabled(page, "Take it over")
            assert await violations(page, within="#import") == []
            assert not await page.all_named("button", "Send it again"), "it would only be refused again"
            await page.click_named("button", "Leave it")
            await page.until(f"!{SHEET}")

    on_page(test, "refuses")


def test_locked_or_changed_meanwhile_nothing_is_taken_over(on_page: Any, drawing: str, tmp_path: Path) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await looked(page, drawing)
        original = stage.panel.heard._begin

        def locked(args: Any, now_s: float) -> None:
            original((*BRIDGE[:-1], True), now_s)

        stage.panel.heard._begin = locked  # type: ignore[method-assign]
        await page.until(f"{WHY}.includes('Locked for the show')")
        assert await disabled(page, "Take it over")
        stage.panel.heard._begin = original  # type: ignore[method-assign]
        await page.until(f"!{WHY}")
        rig = tmp_path / "show" / "rig.yaml"
        rig.write_text(rig.read_text() + "# by hand\n")
        await page.click_named("button", "Take it over")
        await page.until("document.querySelector('.i-no').textContent.includes('changed by somebody else')", 20.0)
        await page.click_named("button", "Look again")
        await page.until(f"{STATE}.includes('1 change')", 20.0)
        await page.click_named("button", "Take it over")
        await page.until(f"{STATE}.includes('Taken over')", 20.0)

    on_page(test, "plain")


def test_a_line_that_is_cut_is_said_and_the_file_is_sent_again(on_page: Any, drawing: str) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await looked(page, drawing)
        await page.drop_sockets()
        await page.until("!panel.link.open")
        await page.until("panel.link.open")
        await page.click_named("button", "Compact 18 slots")
        await page.until("document.querySelector('.i-no').textContent.includes('send it again')", 20.0)
        await page.click_named("button", "Send it again")
        await page.until(f"{STATE}.includes('42 changes')", 20.0)  # with the answer that was given

    on_page(test)


def test_everything_dark_is_in_reach_of_the_sheet(on_page: Any, drawing: str) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await looked(page, drawing)
        await page.click_named("button", "Everything dark")
        end = asyncio.get_running_loop().time() + 5
        while not [message for message in bridge.asked if message.address == "/dark"]:
            assert asyncio.get_running_loop().time() < end
            await asyncio.sleep(0.02)

    on_page(test)


def test_every_size_is_whole_and_free_of_barriers(on_page: Any, drawing: str) -> None:
    async def test(stage: ImportPanel, bridge: StandInBridge, page: Page) -> None:
        await looked(page, drawing)
        await page.evaluate(BEHIND)

        async def look(what: str) -> None:
            for width, height in SIZES:
                await page.resize(width, height)
                await page.until(f"innerWidth === {width}")
                assert await violations(page) == []
                assert await looks(page) == [], f"{what}, {width} x {height}"

        await look("questions")
        await page.click_named("button", "Standard 27 slots")
        await page.until(f"{STATE}.includes('42 changes')", 20.0)
        await page.evaluate("document.querySelectorAll('#import details').forEach((d) => { d.open = true; })")
        await look("changes")

    on_page(test)
