"""A focus session on the panel by clicks alone: real Chromium, panel and daemon, and a simulated venue that measures."""

from __future__ import annotations

from pathlib import Path

import pytest

from bridge.show.load import load
from bridge.venue.calibration import calibration
from tests.system.chromium import CHROMIUM
from tests.system.focus_person import Person
from tests.system.panel_stage import PanelStage, on_stage

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Chromium")
HEADS, MARKS = ("foh-2", "mid-3"), ("A", "B", "C", "D")


async def choose(stage: PanelStage, heads: tuple[str, ...], marks: tuple[str, ...]) -> None:
    """In the list: these heads and marks, the first of each in hand."""
    page = stage.page
    hand = Person(stage, page)
    await page.click_named("tab", "Focus session")
    await hand.press_until("Choose", "!document.querySelector('.f-list').hidden", 2.0)
    await page.click_named("button", f"{heads[0]}: take it")
    await page.click_named("button", "Only the one in hand of the heads")
    await page.click_named("button", f"{marks[0]}: take it")
    await page.click_named("button", "Only the one in hand of the marks")
    for name in (*heads[1:], *marks[1:]):
        await page.click_named("checkbox", f"{name} is chosen")
    await hand.press_until("Aim", "!document.querySelector('.f-pad').parentElement.hidden", 2.0)


def test_a_person_sights_two_heads_by_clicks_and_the_venue_measures_them(tmp_path: Path) -> None:
    async def test(stage: PanelStage) -> None:
        page = stage.page
        await choose(stage, HEADS, MARKS)
        assert await page.evaluate("document.querySelector('.f-far').textContent") == "0 of 8 sighted"
        person = Person(stage, page, hand_m=0.01)
        for number in range(len(HEADS) * len(MARKS)):
            await person.sight(aim=number == 0)
        assert set(person.left) == {(head, mark) for head in HEADS for mark in MARKS}
        assert max(person.left.values()) < 0.05
        sighted = {(s.fixture, s.mark) for s in load(stage.staged.folder).sightings}
        assert sighted == set(person.left)

        await person.press("Solve")
        await page.until("panel.store.scene.heads.filter((head) => head.solved).length === 2", 60.0)
        errors = calibration(load(stage.staged.folder), stage.staged.truth)["fixtures"]
        assert set(errors) == set(HEADS)
        assert max(one["rms_m"] for one in errors.values()) < 0.06, errors
        await page.until("document.querySelectorAll('.f-poses tbody tr').length === 2", 45.0)
        assert page.errors == []

    on_stage(tmp_path, test, solved=False, universe=30220)
