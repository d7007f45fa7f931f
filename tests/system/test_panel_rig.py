"""The screen Rig by clicks in a real browser: arming, people aloft, lock, what was refused, captures, the report."""

from __future__ import annotations

from pathlib import Path

import aiohttp
import pytest

from tests.system.axe import violations
from tests.system.chromium import CHROMIUM, Page
from tests.system.page_looks import looks
from tests.system.panel_stage import PanelStage, on_stage

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")


async def rig(stage: PanelStage) -> Page:
    await stage.page.click_named("tab", "Rig")
    return stage.page


def test_arming_asks_first_and_disarming_too(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await rig(stage)
        stage.say("/target/lead/position", 1.0, 3.0)
        await page.click_named("switch", "Armed")
        await page.click_named("button", "Not yet")
        assert not await page.evaluate("panel.store.frame.bridge.armed")
        await page.click_named("switch", "Armed")
        await page.click_named("button", "Everybody is clear: arm")
        await stage.lit_at(1.0, 3.0)
        assert await (await page.named("switch", "Armed")).on()
        await page.until("document.body.textContent.includes('last by operator@127.0.0.1')")
        await page.click_named("switch", "Armed")
        await page.click_named("button", "Stop sending")
        await stage.dark(within_s=3.0)
        assert page.errors == []

    on_stage(tmp_path, test, armed=False, universe=30230)


def test_people_aloft_are_let_down_by_a_yes_and_by_another_only_by_a_second_one(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await rig(stage)
        stage.say("/target/lead/position", 1.0, 3.0)
        await stage.lit_at(1.0, 3.0)
        await page.click_named("switch", "Still")
        await stage.dark()
        await page.until("panel.store.frame.stills.length === 1")
        other = await stage.open("Ann")
        await other.click_named("tab", "Rig")
        await other.until(
            "document.querySelector('.switches').textContent.includes('everything by operator@127.0.0.1')"
        )
        await other.click_named("switch", "Still")
        await other.click_named("button", "Stay still")
        assert await (await page.named("switch", "Still")).on()
        await other.click_named("switch", "Still")
        await other.click_named("button", "Nobody is aloft: clear it for them")
        await stage.lit_at(1.0, 3.0)
        await page.evaluate("(document.querySelector('details').open = true, 1)")
        await page.click_named("switch", "Still: truss foh")
        await stage.lit_at(1.0, 3.0, heads=8)
        await page.until("document.querySelector('[aria-label=\"Still: truss foh\"]').ariaChecked === 'true'")
        await page.click_named("switch", "Still: truss foh")
        await page.click_named("button", "Nobody is aloft")
        await stage.lit_at(1.0, 3.0)

    on_stage(tmp_path, test, universe=30232)


def test_locked_only_follow_works(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await rig(stage)
        await page.click_named("switch", "Lock")
        await page.until("panel.store.frame.bridge.locked")
        await page.until("document.querySelector('#focus').inert")
        await page.click_named("tab", "Focus session")
        await page.until("!document.querySelector('#locked').hidden")
        await page.click_named("tab", "Rig")
        armed = await page.named("switch", "Armed")
        assert (await armed.states()).get("disabled")
        stage.say("/target/lead/position", 1.0, 3.0)
        await stage.lit_at(1.0, 3.0)
        await page.click_named("switch", "Lock")
        await page.until("!panel.store.frame.bridge.locked && !document.querySelector('#focus').inert")

    on_stage(tmp_path, test, universe=30234)


def test_what_was_refused_is_told_counted_and_found_again(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await rig(stage)
        await page.evaluate("(panel.link.osc('/target/lead/size', 900), 1)")
        await page.until("document.querySelector('#says').textContent.includes('size must lie in')")
        await page.until("document.querySelector('[aria-label=\"Refused messages\"]').textContent.includes('range')", 5)
        stage.say("/level", 7)
        await page.until("panel.store.frame.counts.range === 2", 5)
        assert not await page.evaluate("document.querySelector('#says').textContent.includes('level must')")
        await page.click("[aria-label='Find in news']")
        await page.write("size must")
        await page.until("document.querySelectorAll('.newslist li').length === 1")
        other = await stage.open("Ann")  # what was refused to somebody else is not hers
        await other.click_named("tab", "Rig")
        assert await other.evaluate("panel.store.news.every((news) => news.what !== 'refused')")

    on_stage(tmp_path, test, universe=30236)


def test_captures_are_listed_and_downloaded_and_the_report_is_made(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        with (stage.staged.folder / "network.yaml").open("a", encoding="utf-8") as network:
            network.write("record: {folder: kept}\n")
        folder = stage.staged.folder / "kept"
        folder.mkdir()
        (folder / "show-20260101T000000Z.pcapng").write_bytes(b"\x0a\x0d\x0d\x0a" + bytes(100))
        (folder / "notes.txt").write_text("not for pages")
        await stage.page.until("panel.store.scene.revision > 1")
        page = await rig(stage)
        await page.until("document.querySelector('.captures a')?.textContent === 'show-20260101T000000Z.pcapng'")
        async with aiohttp.ClientSession() as http:
            async with http.get(stage.url + "captures/show-20260101T000000Z.pcapng") as answer:
                assert (answer.status, len(await answer.read())) == (200, 104)
                assert "attachment" in answer.headers["Content-Disposition"]
            for name in ("notes.txt", "..%2Frig.yaml", "%2E%2E/stage.yaml", "show.pcapng"):
                async with http.get(stage.url + "captures/" + name) as answer:
                    assert answer.status == 404, name
            async with http.get(stage.url + "report") as answer:  # no sightings: it says so
                assert answer.status == 409
                assert "sighting" in await answer.text()

    on_stage(tmp_path, test, universe=30238)


def test_every_size_is_whole_and_free_of_barriers(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = await rig(stage)
        for width, height in ((390, 844), (820, 1180), (1280, 800), (1920, 1080)):
            await page.resize(width, height)
            await page.until(f"innerWidth === {width}")
            assert await violations(page) == []
            assert await looks(page, 24) == [], f"{width} x {height}"

    on_stage(tmp_path, test, universe=30240)
