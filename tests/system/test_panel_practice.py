"""Practice: the venue's performer walks, a hand follows it by the page, and the page scores that hand."""

from __future__ import annotations

import asyncio
from pathlib import Path

import pytest

from tests.system.axe import violations
from tests.system.chromium import CHROMIUM
from tests.system.page_looks import looks
from tests.system.panel_stage import PanelStage, on_stage

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")

FOLLOW = """(() => { window.follower = setInterval(() => {
  const place = panel.store.frame?.practice?.performer;
  if (place) panel.link.osc('/target/lead/position', place[0] + %s, place[1]);
}, 33); return 1; })()"""


def test_a_hand_on_the_performer_scores_well_and_one_aside_by_as_much_as_it_is_aside(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await page.click_named("button", "Practice")
        await page.click_named("button", "Practise")
        await page.until("panel.store.frame.practice?.performer")
        here = await page.evaluate("panel.store.frame.practice.performer")
        assert stage.venue.performers["lead"].feet[:2] == pytest.approx(here[:2], abs=0.3)
        await page.evaluate(FOLLOW % "0.5")
        await asyncio.sleep(1.5)  # until the hand is there; then the score begins anew
        await page.evaluate("panel.link.ask('practice', { kind: 'stroll', target: 'lead' })")
        await page.until("panel.store.frame.practice.seconds < 1")
        await page.until("panel.store.frame.practice.seconds > 6", 30)
        score = await page.evaluate("panel.store.frame.practice")
        assert score["rms"] == pytest.approx(0.5, abs=0.25), "half a metre aside, and a little late"
        assert score["share"] > 0.9
        assert 0.0 <= score["delay"] < 0.5
        assert "cm" in await page.evaluate("document.querySelector('.score').textContent")
        assert await violations(page) == []
        for width, height in ((390, 844), (1280, 800)):
            await page.resize(width, height)
            assert await looks(page, 24) == [], f"{width} x {height}"
        await page.resize(1280, 800)
        await page.click_named("button", "End practice")
        await page.until("panel.store.frame.practice === null")
        before = stage.venue.performers["lead"].feet
        await asyncio.sleep(0.5)
        assert stage.venue.performers["lead"].feet == before, "the performer is the venue's again, and nobody walks it"
        assert page.errors == []

    on_stage(tmp_path, test, universe=30270, view=True)


def test_a_page_that_is_gone_gives_the_performer_back(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await page.key("p")
        await page.until("panel.store.frame.practice?.performer")
        await stage.panel.end()
        await asyncio.sleep(4.0)  # the venue waits for three
        before = stage.venue.performers["lead"].feet
        await asyncio.sleep(0.5)
        assert stage.venue.performers["lead"].feet == before

    on_stage(tmp_path, test, universe=30272, view=True)


def test_without_a_venue_there_is_no_practice_and_the_key_says_why(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        assert await page.all_named("button", "Practice") == []
        await page.key("p")
        await page.until("document.querySelector('#says').textContent.includes('simulated venue')")

    on_stage(tmp_path, test, universe=30274)
